//! The report of the demo's finished job: from the command, printed by a browser (Chromium), and on its page.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

mod common;
mod server;

use common::run;
use server::Server;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A demo's folder with its shop; it is taken away with the value.
struct Demo(PathBuf);

impl Demo {
    fn new() -> Self {
        let ran = run(&["demo", "--once"]);
        ran.ends(0);
        let folder = ran
            .out
            .lines()
            .find(|l| l.contains("tubewright-demo-"))
            .unwrap()
            .trim();
        Self(PathBuf::from(folder))
    }

    fn shop(&self) -> String {
        self.0.join("shop").display().to_string()
    }
}

impl Drop for Demo {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// Text of a file that the browser printed, page by page, as another program (poppler) takes it out.
fn printed(file: &Path, more: &[&str]) -> Vec<String> {
    let folder = tempfile::tempdir().unwrap();
    let pdf = folder.path().join("report.pdf");
    let ran = Command::new("chromium")
        .args([
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-first-run",
        ])
        .args([
            "--disable-background-networking",
            "--disable-sync",
            "--no-pdf-header-footer",
        ])
        .arg(format!(
            "--user-data-dir={}",
            folder.path().join("profile").display()
        ))
        .arg(format!("--print-to-pdf={}", pdf.display()))
        .arg(format!("file://{}", file.display()))
        .output()
        .expect("`chromium` runs: `./check` installs it");
    assert!(pdf.exists(), "{}", String::from_utf8_lossy(&ran.stderr));
    let out = Command::new("pdftotext")
        .args(more)
        .arg(&pdf)
        .arg("-")
        .output()
        .expect("`pdftotext` runs: `./check` installs it (poppler-utils)");
    let text = String::from_utf8(out.stdout).unwrap();
    text.split('\u{c}')
        .filter(|p| !p.trim().is_empty())
        .map(str::to_owned)
        .collect()
}

/// Ten photos as a camera makes them go home small, and at their addresses on the page.
#[test]
fn photos_of_the_record_go_home_small() {
    let demo = Demo::new();
    let shop = demo.shop();
    let photo = image::RgbImage::from_fn(1400, 1050, |x, y| {
        let ripple = ((x * x + y * y) / 97 % 251) as u8;
        image::Rgb([ripple, (x % 255) as u8, (y % 255) as u8])
    });
    let mut png = std::io::Cursor::new(Vec::new());
    photo.write_to(&mut png, image::ImageFormat::Png).unwrap();
    {
        let server = Server::start(Path::new(&shop), &[]);
        let mut b = server.browser();
        for n in 0..10 {
            let page = b.upload("/job/38/photos", &format!("inside-{n}.png"), png.get_ref());
            assert_eq!(page.status, 200, "{}", page.words());
        }
        let page = b.get("/job/38/report?version=full");
        assert_eq!(page.text.matches("/large\" alt=\"inside-").count(), 10);
        assert!(
            !page.text.contains("data:image"),
            "the page's policy forbids it"
        );
        let owner = b.get("/job/38/report");
        owner.has(&["The record holds 6 more."]);
    }
    let file = demo.0.join("full.html");
    let path = file.to_str().unwrap();
    run(&["report", "38", "--shop", &shop, "--full", "--html", path]).ends(0);
    let html = std::fs::read_to_string(&file).unwrap();
    let photos: Vec<usize> = html
        .split("data:image/jpeg;base64,")
        .skip(1)
        .map(|p| p.find('"').unwrap() * 3 / 4)
        .collect();
    assert_eq!(photos.len(), 10);
    // what the PDF takes over as it is, and with it all the rest
    assert!(photos.iter().all(|bytes| *bytes <= 150_000), "{photos:?}");
    assert!(photos.iter().sum::<usize>() < 1_500_000);
}

/// Heads of tables.
const HEADS: [&str; 14] = [
    "Part",
    "Was",
    "Now",
    "Because",
    "Before",
    "After",
    "Point",
    "Found",
    "Left",
    "Expected",
    "Limit",
    "Read or seen",
    "Result",
    "Read",
];

#[test]
fn the_report_prints_on_numbered_pages_and_long_tables_keep_their_heads() {
    let demo = Demo::new();
    let shop = demo.shop();
    let file = demo.0.join("full.html");
    let path = file.to_str().unwrap();
    run(&["report", "38", "--shop", &shop, "--full", "--html", path]).ends(0);
    let pages = printed(&file, &[]);
    assert!((8..=16).contains(&pages.len()), "{} pages", pages.len());
    for (i, page) in pages.iter().enumerate() {
        let foot = format!("page {} of {}", i + 1, pages.len());
        assert!(page.contains(&foot), "{foot} in {page}");
        assert!(page.contains("Marram Curlew C 0987, job 38"), "{page}");
    }
    // the play test runs over a page: its head stands on both
    let with = |words: &str| pages.iter().filter(|p| p.contains(words)).count();
    assert!(with("Read or seen") >= 3, "{}", with("Read or seen"));
    // no page ends with the head of a table whose rows are on the next
    for page in printed(&file, &["-layout"]) {
        let lines: Vec<&str> = page.lines().filter(|l| !l.trim().is_empty()).collect();
        let last = lines
            .iter()
            .rev()
            .find(|l| !l.contains("full record, page"));
        let cells: Vec<&str> = last.map_or(Vec::new(), |l| {
            l.split("  ")
                .map(str::trim)
                .filter(|c| !c.is_empty())
                .collect()
        });
        assert!(
            !cells.iter().all(|c| HEADS.contains(c)),
            "{cells:?} ends\n{page}"
        );
    }
    let all = pages.concat();
    for glyph in ["\u{3a9}", "\u{b5}A", "\u{2212}", "\u{b1}"] {
        assert!(all.contains(glyph), "{glyph}");
    }
}

#[test]
fn what_cannot_be_done_is_said_and_nothing_is_written() {
    let demo = Demo::new();
    let shop = demo.shop();
    let ran = run(&["report", "38", "--shop", &shop]);
    ran.ends(0);
    assert!(ran.out.contains("Next check: autumn 2028"), "{}", ran.out);
    assert!(
        ran.out.lines().all(|l| l.chars().count() <= 80),
        "{}",
        ran.out
    );
    let ran = run(&["report", "38", "--shop", &shop, "--html", "report.pdf"]);
    ran.ends(2);
    assert!(ran.err.contains(".html"), "{}", ran.err);
    assert_ne!(run(&["report", "7", "--shop", &shop]).status, 0);
    run(&["report", "38", "--shop", "/nowhere/at/all"]).ends(2);
}

#[test]
fn the_page_takes_down_what_is_written_and_shows_what_is_open() {
    let demo = Demo::new();
    let server = Server::start(Path::new(&demo.shop()), &[]);
    let mut b = server.browser();
    b.get("/job/38/report").has(&[
        "Hand-over report for Tilda Merrow",
        "In your own words",
        "Full record",
    ]);
    let form = b.get("/job/38/report").form("name=\"report: next\"");
    b.send(&form.with("report: next", "spring 2030"))
        .has(&["Next check: spring 2030."]);
    let form = b.get("/job/38/report").form("name=\"report: next\"");
    b.send(&form.with("report: next", ""))
        .has(&["none was agreed"]);
    b.get("/job/38/report/print?version=full&paper=letter")
        .has(&["Every reading as typed"]);
    let css = b.get("/job/38/report.css?paper=letter");
    assert!(
        css.text.contains("size:letter") && !css.text.contains("data:"),
        "{}",
        css.text
    );
    b.get("/job/38/report?version=labels")
        .has(&["Bag of old parts"]);
    // one that was never tested says so before all else
    let page = b.get("/job/42/report");
    page.has(&["Electrical safety not tested", "things open"]);
    let said = page.text.find("Electrical safety not tested").unwrap();
    assert!(said < page.text.find("You said").unwrap());
}

#[test]
fn a_pdf_is_made_where_its_program_is_beside_and_else_it_is_said_how_to_get_it() {
    let demo = Demo::new();
    let shop = demo.shop();
    let file = demo.0.join("full.pdf");
    let path = file.to_str().unwrap();
    let of = ["report", "38", "--shop", &shop, "--full", "--pdf", path];
    let beside = Path::new(env!("CARGO_BIN_EXE_tubewright")).with_file_name("tubewright-pdf");
    let ran = run(&of);
    if !beside.is_file() {
        ran.ends(3);
        assert!(
            ran.err.contains("./pdf") && ran.err.contains("browser"),
            "{}",
            ran.err
        );
        assert!(!file.exists());
        return;
    }
    ran.ends(0);
    let first = std::fs::read(&file).unwrap();
    assert!(
        first.starts_with(b"%PDF-") && first.len() < 2_000_000,
        "{}",
        first.len()
    );
    run(&of).ends(0);
    assert!(
        first == std::fs::read(&file).unwrap(),
        "the same bytes for the same record"
    );
    let out = Command::new("pdftotext")
        .arg(&file)
        .arg("-")
        .output()
        .unwrap();
    let text = String::from_utf8(out.stdout).unwrap();
    let at = |w: &str| text.find(w).unwrap_or_else(|| panic!("{w} in {text}"));
    assert!(at("Marram Curlew") < at("You said") && at("You said") < at("What we found"));
    assert!(at("Electrical safety") < at("Where limits and figures are from"));
    for glyph in ["\u{3a9}", "\u{b5}A", "\u{2212}50", "\u{b1}"] {
        assert!(text.contains(glyph), "{glyph}");
    }
}
