#![allow(clippy::unwrap_used, reason = "a test: a panic is its failure")]

use super::*;
use bench::answers::Answers;
use bench::sheet::{Expected, Limit, Line, Origin, Sheet};
use report::Paper;
use wiring::sheet::Library;

fn sheet() -> Sheet {
    let circuit = wiring::read_one("amp <Half>\nV1 12AX7\n").circuit;
    bench::inspect::inspect(&circuit, Library::built_in(), None, &Answers::default())
}

#[test]
fn one_document_that_loads_nothing_and_runs_nothing() {
    let text = page(&sheet(), Paper::A4);
    assert!(text.starts_with("<!DOCTYPE html>"));
    for never in ["<script", "http://", "src=\"", "@import", "<link"] {
        assert!(!text.contains(never), "{never}");
    }
    assert!(text.contains("&lt;Half&gt;"), "names are escaped");
    assert!(text.contains("size:A4") && page(&sheet(), Paper::Letter).contains("size:letter"));
}

/// The caution stands on every sheet, word for word.
#[test]
fn the_caution_is_on_it() {
    assert!(page(&sheet(), Paper::A4).contains(bench::rules::STANDARD_CAUTION));
    let long = many(600);
    assert!(page(&long, Paper::Letter).contains(bench::rules::STANDARD_CAUTION));
}

fn many(count: usize) -> Sheet {
    let mut sheet = Sheet::new("long", "Very long");
    let lines = (0..count)
        .map(|i| {
            Line::open(format!("line {i} of many"), Origin::practice())
                .expecting(Expected::band(100.0, 90.0, 110.0, "V"))
                .limited(Limit::at_most(120.0, "V"))
                .because("A reason that is as long as reasons usually are on these sheets.")
        })
        .collect();
    sheet.section("All", lines);
    sheet
}

/// More lines, smaller letters; never below what can be read at all.
#[test]
fn letters_shrink_with_the_lines() {
    let size = |count: usize| {
        let text = page(&many(count), Paper::A4);
        let at = text.find("font:500 ").unwrap() + 9;
        text[at..]
            .split("pt")
            .next()
            .unwrap()
            .parse::<f64>()
            .unwrap()
    };
    assert!(
        size(5) > size(60) && size(60) > size(120),
        "{} {} {}",
        size(5),
        size(60),
        size(120)
    );
    assert!(size(600) >= 5.0);
}

/// Steps by points become a grid; a plain list does not.
#[test]
fn steps_become_a_grid() {
    let mut sheet = Sheet::new("steps", "Steps");
    let mut lines = Vec::new();
    for step in ["25 %", "50 %"] {
        for point in ["mains", "B1"] {
            lines.push(
                Line::open(step, Origin::practice())
                    .at(point)
                    .expecting(Expected::value(1.0, "V")),
            );
        }
    }
    sheet.section("On", lines);
    assert!(page(&sheet, Paper::A4).contains("<table"));
    assert!(!page(&many(4), Paper::A4).contains("<table"));
}
