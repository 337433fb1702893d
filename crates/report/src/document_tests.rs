use crate::{
    Block, Cell, Column, Content, Document, Fact, Label, Mark, Paper, Picture, Run, Table, Warning,
};

fn everything() -> Document {
    let mut d = Document {
        title: "Marram <b>Pip</b>".to_owned(),
        above: "Restored for Odo Kestle".to_owned(),
        number: "36".to_owned(),
        number_of: "job".to_owned(),
        running: "Marram Pip 00317, \"job\" 36".to_owned(),
        version: "owner's version".to_owned(),
        date: "2026-11-27".to_owned(),
        warning: Some(Warning {
            title: "Not electrically safe".to_owned(),
            lines: vec!["Earth: not tested".to_owned()],
        }),
        facts: vec![Fact {
            name: "Serial".to_owned(),
            value: "00317".to_owned(),
        }],
        ..Document::default()
    };
    let n = d.note("common practice, no source");
    d.heading_beside("Volts", "at 231 V");
    d.blocks.push(Block::Table(Table {
        name: "Volts".to_owned(),
        columns: vec![
            Column::words("Point", 20),
            Column::figures("Left", 30),
            Column::words("", 50),
        ],
        rows: vec![vec![
            Cell::strong("V1.1"),
            Cell {
                text: vec![Run {
                    text: "4 kΩ ½".to_owned(),
                    strong: false,
                    note: Some(n),
                }],
                ..Cell::default()
            },
            Cell {
                mark: Some(Mark::Above),
                picture: crate::band(1.0, 2.0, Some(1.5), Some(9.0)),
                text: Vec::new(),
            },
        ]],
    }));
    d.blocks.push(Block::Labels {
        labels: vec![Label {
            goes_on: "Fuse".to_owned(),
            title: "T 1 A".to_owned(),
            lines: vec!["230 V".to_owned()],
        }],
    });
    d.blocks.push(Block::Picture(Picture {
        alt: "a photo".to_owned(),
        caption: "inside".to_owned(),
        width: 4,
        height: 3,
        content: Content::At("/job/1/photos/1/large".to_owned()),
    }));
    d.blocks.push(Block::Caution {
        text: bench::rules::STANDARD_CAUTION.to_owned(),
    });
    d
}

#[test]
fn a_document_comes_back_from_json_as_it_was() {
    let d = everything();
    let json = serde_json::to_string(&d).unwrap();
    assert_eq!(serde_json::from_str::<Document>(&json).unwrap(), d);
    assert_eq!(
        serde_json::to_string(&everything()).unwrap(),
        json,
        "the same twice"
    );
}

#[test]
fn nothing_typed_becomes_markup_or_style() {
    let page = crate::whole(&everything());
    assert!(page.contains("Marram &lt;b&gt;Pip&lt;/b&gt;") && !page.contains("<b>Pip"));
    assert!(
        page.contains("content:\"Marram Pip 00317, \\22 job\\22  36\""),
        "the running foot stays a string"
    );
    let mut bad = everything();
    bad.running = "</style><script>".to_owned();
    assert!(!crate::whole(&bad).contains("</style><script>"));
}

/// A word stands with every shape, heads are heads, a note is a link to its source.
#[test]
fn what_a_shape_says_is_also_a_word() {
    let page = crate::whole(&everything());
    for has in [
        "outside, high",
        "scope=\"col\"",
        "scope=\"row\"",
        "href=\"#source-1\"",
        "id=\"source-1\"",
        "alt=\"a photo\"",
        "Not electrically safe",
        "size:A4",
    ] {
        assert!(page.contains(has), "{has}");
    }
    for mark in Mark::ALL {
        assert!(!mark.word().is_empty());
    }
    let mut letter = everything();
    letter.paper = Paper::Letter;
    assert!(crate::whole(&letter).contains("size:letter"));
}

#[test]
fn words_come_in_reading_order() {
    let text = crate::text(&everything());
    let at = |w: &str| text.find(w).unwrap_or_else(|| panic!("{w} in {text}"));
    assert!(at("NOT ELECTRICALLY SAFE") < at("Serial") && at("Serial") < at("Volts at 231 V"));
    assert!(text.contains("V1.1 | 4 kΩ ½ (1) | outside, high"), "{text}");
    assert!(at("CAUTION.") < at("1 common practice"));
}

/// A note is kept once, and its number is where it stands.
#[test]
fn a_source_is_named_once() {
    let mut d = Document::default();
    assert_eq!((d.note("a"), d.note("b"), d.note("a")), (1, 2, 1));
    assert_eq!(d.notes, ["a", "b"]);
}

#[test]
fn a_reading_far_out_stops_at_the_end_of_its_band() {
    let Content::Svg(far) = crate::band(1.0, 2.0, None, Some(1e9)).unwrap().content else {
        panic!()
    };
    assert!(far.contains("M106 12"));
    assert!(crate::band(1.0, 1.0, None, None).is_none());
    assert!(crate::band(f64::NAN, 1.0, None, None).is_none());
}
