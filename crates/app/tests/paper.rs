//! Sheets on paper: printed by a browser (Chromium, which `./check` installs), one page each.

mod common;

use common::{root, run};
use std::path::Path;
use std::process::Command;

const SHEETS: [&str; 5] = ["chart", "cold", "inspect", "powerup", "safety"];
const AMPLIFIERS: [&str; 3] = ["pip", "curlew", "turnstone"];

/// Pages of the PDF that the browser makes of a file, and their size in points.
fn printed(file: &Path) -> (usize, String) {
    let folder = tempfile::tempdir().expect("a folder");
    let pdf = folder.path().join("sheet.pdf");
    let ran = Command::new("chromium")
        .args([
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
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
    let bytes = std::fs::read(&pdf)
        .unwrap_or_else(|e| panic!("no PDF ({e}): {}", String::from_utf8_lossy(&ran.stderr)));
    let text = String::from_utf8_lossy(&bytes);
    let pages = text.matches("/Type /Page\n").count() + text.matches("/Type /Page ").count();
    let size = text
        .split("/MediaBox [")
        .nth(1)
        .and_then(|t| t.split(']').next())
        .expect("a page has a size")
        .to_owned();
    (pages, size)
}

/// Points that the letters of a sheet have at least, the plan of nine valves on Letter included.
const LEAST_LETTERS: f64 = 5.5;

#[track_caller]
fn one_page(arguments: &[&str], letter: bool) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("sheet.html");
    let mut all = arguments.to_vec();
    all.extend(["--paper", file.to_str().expect("a path")]);
    if letter {
        all.push("--letter");
    }
    let ran = run(&all);
    ran.ends(0).fits().calm();
    assert!(ran.out.contains("written to"), "{}", ran.out);
    let text = std::fs::read_to_string(&file).expect("written");
    assert!(text.contains(bench::rules::STANDARD_CAUTION));
    let letters: f64 = text
        .split("font:500 ")
        .nth(1)
        .and_then(|t| t.split("pt").next())
        .and_then(|t| t.parse().ok())
        .expect("letters have a size");
    assert!(letters >= LEAST_LETTERS, "{arguments:?}: {letters} pt");
    let (pages, size) = printed(&file);
    assert_eq!(pages, 1, "{arguments:?}");
    let width: f64 = size
        .split(' ')
        .nth(2)
        .and_then(|w| w.parse().ok())
        .expect("a width");
    let wanted = if letter { 612.0 } else { 595.3 };
    assert!((width - wanted).abs() < 1.0, "{arguments:?}: {size}");
}

fn example(command: &str, name: &str) -> Vec<String> {
    ["wiring", "readings"]
        .iter()
        .fold(vec![command.to_owned()], |mut all, ending| {
            all.push(
                root()
                    .join(format!("examples/{name}.{ending}"))
                    .display()
                    .to_string(),
            );
            all
        })
}

#[test]
fn each_sheet_of_each_example_is_one_page_of_a4() {
    for command in SHEETS {
        for name in AMPLIFIERS {
            let arguments = example(command, name);
            one_page(
                &arguments.iter().map(String::as_str).collect::<Vec<_>>(),
                false,
            );
        }
    }
}

/// Letter is shorter: the largest amplifier decides.
#[test]
fn each_sheet_of_the_largest_is_one_page_of_letter() {
    for command in SHEETS {
        let arguments = example(command, "turnstone");
        one_page(
            &arguments.iter().map(String::as_str).collect::<Vec<_>>(),
            true,
        );
    }
}

/// On half a tracing, and on nothing.
#[test]
fn what_is_not_traced_is_one_page_too() {
    let folder = tempfile::tempdir().expect("a folder");
    let half = folder.path().join("half.wiring");
    std::fs::write(
        &half,
        "amp Half\nmains 230 V\nV2 EL84\nV2.3 - R12 130 - ground\nB1 - +C7 32u 450V - ground\n",
    )
    .expect("written");
    let half = half.to_str().expect("a path");
    for command in SHEETS {
        one_page(&[command, half], false);
    }
    one_page(&["inspect"], true);
    one_page(&["safety", "--region", "us"], true);
    one_page(
        &[
            "bias",
            "--valve",
            "EL84",
            "--plate",
            "310",
            "--cathode",
            "11.2",
            "--ohms",
            "130",
        ],
        false,
    );
}

#[test]
fn a_page_has_the_name_of_a_page() {
    let ran = run(&["safety", "--paper", "sheet.wiring"]);
    ran.ends(2).fits();
    assert!(ran.err.contains("--paper sheet.html"), "{}", ran.err);
    run(&["safety", "--letter"]).ends(2);
    run(&["safety", "--paper", "/nowhere/at/all/sheet.html"]).ends(3);
}
