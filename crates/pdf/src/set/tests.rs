use super::pdf;
use report::{
    Block, Cell, Column, Content, Document, Fact, Label, Mark, Paper, Picture, Run, Table, Warning,
};
use std::io::Write as _;
use std::process::{Command, Stdio};

/// A photo of nothing but noise, which JPEG keeps worst, nearly as large as a report has them.
fn noise(seed: u32) -> Content {
    let mut seed = seed;
    let picture = image::RgbImage::from_fn(400, 300, |_, _| {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let [a, b, c, _] = seed.to_be_bytes();
        image::Rgb([a, b, c])
    });
    let mut out = Vec::new();
    let quality = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut out, 70);
    picture.write_with_encoder(quality).unwrap();
    assert!((110_000..=150_000).contains(&out.len()), "{}", out.len());
    Content::jpeg(&out)
}

fn long(rows: usize, photos: usize) -> Document {
    let mut d = Document {
        title: "Marram Turnstone".to_owned(),
        above: "Hand-over report for Ilsa Brandreth".to_owned(),
        number: "39".to_owned(),
        number_of: "job".to_owned(),
        running: "Marram Turnstone T-0052, job 39".to_owned(),
        version: "full record".to_owned(),
        author: "A bench".to_owned(),
        date: "2026-11-27".to_owned(),
        warning: Some(Warning {
            title: "Not electrically safe".to_owned(),
            lines: vec!["Earth: not tested.".to_owned()],
        }),
        facts: vec![Fact {
            name: "Serial".to_owned(),
            value: "T-0052".to_owned(),
        }],
        ..Document::default()
    };
    let note = d.note("common practice, no source");
    d.heading_beside("Readings", "both at 231 V");
    d.say("Typed: #strong[no] *markup* _here_ $x$ @label <tag> \\u{4e2d} \u{4e2d}.");
    d.say("Glyphs: 4 k\u{3a9} 22 \u{b5}F 65 \u{b0}C \u{2212}31 V \u{2264} \u{2265} \u{bd} \u{b1} \u{d7} \u{2192} \u{2248} \u{2013} \u{20ac}");
    d.blocks.push(Block::Table(Table {
        name: "Readings".to_owned(),
        columns: vec![
            Column::words("Point head", 30),
            Column::figures("Left", 20),
            Column::words("Mark", 50),
        ],
        rows: (0..rows)
            .map(|i| {
                vec![
                    Cell::strong(format!("V{i}.1")),
                    Cell {
                        text: vec![Run {
                            text: format!("{} V", 100 + i),
                            strong: false,
                            note: Some(note),
                        }],
                        ..Cell::default()
                    },
                    Cell {
                        mark: Mark::ALL.get(i % Mark::ALL.len()).copied(),
                        picture: report::band(1.0, 2.0, Some(1.5), Some(1.2)),
                        ..Cell::default()
                    },
                ]
            })
            .collect(),
    }));
    d.blocks.push(Block::Picture(report::wire(&[
        ("Intake", "done"),
        ("Safety", "begun"),
    ])));
    d.blocks.push(Block::Labels {
        labels: vec![Label {
            goes_on: "Fuse".to_owned(),
            title: "Fuselink".to_owned(),
            lines: vec!["230 V".to_owned()],
        }],
    });
    let pictures = (0..photos)
        .map(|i| Picture {
            alt: format!("photo {i}"),
            caption: "inside".to_owned(),
            width: 400,
            height: 300,
            content: noise(u32::try_from(i).unwrap() + 7),
        })
        .collect();
    d.blocks.push(Block::Pictures { pictures });
    d.blocks.push(Block::Caution {
        text: "This amplifier holds voltages that kill.".to_owned(),
    });
    d.blocks.push(Block::Signatures {
        lines: vec!["at the bench, date".to_owned(), "owner, date".to_owned()],
    });
    d
}

/// Text as another program (poppler) takes it out, in the order of the tags or of the page.
fn words(pdf: &[u8]) -> String {
    let mut child = Command::new("pdftotext")
        .args(["-", "-"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("*** pdftotext is not installed; install poppler-utils");
    child.stdin.take().unwrap().write_all(pdf).unwrap();
    let out = child.wait_with_output().unwrap();
    assert!(out.status.success());
    String::from_utf8(out.stdout).unwrap()
}

fn said(program: &str, pdf: &[u8], arguments: &[&str]) -> String {
    let mut file = std::env::temp_dir();
    file.push(format!("tubewright-{program}-{}.pdf", std::process::id()));
    std::fs::write(&file, pdf).unwrap();
    let out = Command::new(program).args(arguments).arg(&file).output();
    std::fs::remove_file(&file).unwrap();
    String::from_utf8(out.expect("*** poppler-utils is not installed").stdout).unwrap()
}

#[test]
fn the_same_document_gives_the_same_bytes() {
    assert!(pdf(long(8, 0)).unwrap() == pdf(long(8, 0)).unwrap());
}

#[test]
fn text_comes_out_whole_and_in_reading_order() {
    let text = words(&pdf(long(90, 0)).unwrap());
    let at = |w: &str| {
        text.find(w)
            .unwrap_or_else(|| panic!("{w:?} is missing in {text}"))
    };
    let order = [
        "Hand-over report for",
        "Marram Turnstone",
        "Not electrically safe",
        "T-0052",
        "Readings",
        "V0.1",
        "V89.1",
        "Fuselink",
        "CAUTION.",
        "owner, date",
        "Where limits and figures",
    ];
    for pair in order.windows(2) {
        assert!(at(pair[0]) < at(pair[1]), "{pair:?} in {text}");
    }
    // what was typed is text, and what no typeface holds has its number
    assert!(
        text.contains("#strong[no] *markup* _here_ $x$ @label <tag>"),
        "{text}"
    );
    assert!(text.contains("(U+4E2D)"), "{text}");
    for glyph in [
        "k\u{3a9}",
        "\u{b5}F",
        "\u{b0}C",
        "\u{2212}31",
        "\u{2264}",
        "\u{2265}",
        "\u{bd}",
        "\u{b1}",
        "\u{2192}",
    ] {
        assert!(text.contains(glyph), "{glyph} in {text}");
    }
    // the head of a table that runs over two page ends stands three times
    assert!(text.matches("Point head").count() >= 3, "{text}");
    assert!(text.contains("page 2 of "), "{text}");
}

/// However long a table is, no page begins with its one last row.
#[test]
fn the_last_row_of_a_table_is_not_alone_on_a_page() {
    let mut breaks = 0;
    for rows in 24..54 {
        let made = pdf(long(rows, 0)).unwrap();
        let text = words(&made);
        let last = format!("V{}.1", rows - 1);
        let before = format!("V{}.1", rows - 2);
        let page_of = |w: &str| {
            text.split('\u{c}')
                .position(|page| page.lines().any(|l| l == w))
        };
        let (at, of_before) = (page_of(&last), page_of(&before));
        assert!(at.is_some(), "{last} in {text}");
        assert_eq!(at, of_before, "{rows} rows: {text}");
        breaks += usize::from(at > page_of("V0.1"));
    }
    assert!(breaks > 10, "tables went over a page end: {breaks}");
}

/// Wherever on a page a table begins, its heading, its head and its first two rows are together.
#[test]
fn the_first_row_of_a_table_is_not_alone_on_a_page() {
    let (mut first, mut second) = (0, 0);
    for lines in 10..50 {
        let mut d = long(12, 0);
        let of = |b: &Block| matches!(b, Block::Table(_));
        let table = d.blocks.split_off(d.blocks.iter().position(of).unwrap());
        for _ in 0..lines {
            d.say("A line before.");
        }
        d.heading("The table");
        d.blocks.extend(table);
        let text = words(&pdf(d).unwrap());
        let page_of = |w: &str| {
            text.split('\u{c}')
                .position(|page| page.lines().any(|l| l == w))
        };
        let at = page_of("The table");
        assert!(at.is_some(), "{text}");
        assert_eq!(at, page_of("Point head"), "{lines} lines: {text}");
        assert_eq!(at, page_of("V0.1"), "{lines} lines: {text}");
        assert_eq!(at, page_of("V1.1"), "{lines} lines: {text}");
        first += usize::from(at == Some(0));
        second += usize::from(at == Some(1));
    }
    assert!(first > 3 && second > 3, "{first} {second}");
}

/// No glyph number 0, which is the empty box of a typeface: every font is a subset with its own letters, embedded.
#[test]
fn every_font_is_embedded_as_a_subset_and_the_pages_are_tagged() {
    let made = pdf(long(8, 0)).unwrap();
    let fonts = said("pdffonts", &made, &[]);
    let rows: Vec<&str> = fonts.lines().skip(2).collect();
    assert!(!rows.is_empty(), "{fonts}");
    for row in rows {
        assert!(
            row.contains("SofiaSans") || row.contains("CommitMono"),
            "{fonts}"
        );
        assert!(row.contains("yes yes yes"), "{fonts}");
    }
    let info = said("pdfinfo", &made, &[]);
    assert!(info.contains("Tagged:          yes"), "{info}");
    assert!(
        info.contains("Title:           Marram Turnstone T-0052, job 39, full record"),
        "{info}"
    );
    assert!(info.contains("595.2") && info.contains("841.8"), "{info}");
    let structure = said("pdfinfo", &made, &["-struct-text"]);
    // what is read aloud comes in the order of the tags: a name before its value, the head of a table before its rows
    let at = |w: &str| {
        structure
            .find(w)
            .unwrap_or_else(|| panic!("{w} in {structure}"))
    };
    assert!(at("\"Serial\"") < at("\"T-0052\"") && at("THead") < at("\"V0.1\""));
    assert!(at("\"V0.1\"") < at("\"100 V\"") && at("\"100 V\"") < at("\"V1.1\""));
    for tag in ["H1", "H2", "Table", "THead", "TH", "TD", "Figure"] {
        assert!(structure.contains(tag), "{tag} in {structure}");
    }
    assert!(
        made.windows(12).any(|w| w == b"pdfuaid:part"),
        "it says that it keeps to PDF/UA"
    );
    let letter = Document {
        paper: Paper::Letter,
        ..long(1, 0)
    };
    assert!(said("pdfinfo", &pdf(letter).unwrap(), &[]).contains("612 x 792"));
}

#[test]
fn ten_photos_of_the_largest_size_stay_under_two_megabytes() {
    let made = pdf(long(60, 10)).unwrap();
    assert!(made.len() < 2_000_000, "{}", made.len());
    assert!(made.len() > 1_000_000, "the photos are in it");
}

#[test]
fn what_is_no_document_is_said_and_nothing_is_made() {
    let mut bad = long(1, 1);
    bad.date = "yesterday".to_owned();
    assert!(pdf(bad).is_err());
    let mut bad = long(1, 0);
    bad.blocks.push(Block::Picture(Picture {
        alt: "x".to_owned(),
        caption: String::new(),
        width: 1,
        height: 1,
        content: Content::At("/etc/passwd".to_owned()),
    }));
    assert!(pdf(bad).unwrap_err().contains("address"));
}
