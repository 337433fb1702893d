//! Responses as text, JSON and CSV.

use super::{Range, Run};
use crate::csv_text;
use crate::outcome::Failure;
use crate::table::{Side, Table, hanging, paragraph};
use bench::voicing::Contributions;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::path::Path;
use wiring::units::{Quantity, rounded};

/// Parts that are listed, what moves the curve most first.
const PARTS: usize = 15;

/// Rows of the table of the curve.
const ROWS: usize = 11;

pub(super) fn text(
    runs: &[Run],
    ranges: &[Range],
    left_out: &[String],
    parts: Option<&Contributions>,
    plot: Option<&Path>,
) -> String {
    let mut out = String::new();
    if let Some(first) = runs.first() {
        out.push_str(&paragraph(
            &format!(
                "Small signals, volts at {}, 0 dB is one for one.",
                if first.found.to.contains(" over ") {
                    first.found.to.clone()
                } else {
                    format!(
                        "{} over the open-circuit volts of the source",
                        first.found.to
                    )
                }
            ),
            "",
        ));
        if !first.found.knobs.is_empty() {
            let knobs = first.found.knobs.iter().map(|(k, v)| format!("{k} {v}"));
            out.push_str(&hanging(
                &knobs.collect::<Vec<_>>().join(", "),
                "Knobs: ",
                "       ",
            ));
        }
        out.push('\n');
    }
    out.push_str(&figures(runs).render());
    if runs.first().is_some_and(|r| r.found.hz.len() > 1) {
        out.push('\n');
        for chunk in runs.chunks(5) {
            out.push_str(&curve(chunk).render());
        }
    }
    let differences = differences(runs);
    if !differences.is_empty() {
        out.push_str("\nDifferences\n");
        for (label, words) in differences {
            out.push_str(&hanging(&format!("{label}: {words}."), "- ", "  "));
        }
    }
    if !ranges.is_empty() {
        out.push_str("\nFrom 0 to 10\n");
        for range in ranges {
            out.push_str(&hanging(
                &format!("{}: {}.", range.knob, range.words),
                "- ",
                "  ",
            ));
        }
    }
    if let Some(found) = parts {
        out.push_str(&contributed(found));
    }
    let notes: BTreeSet<&str> = runs
        .iter()
        .flat_map(|r| &r.found.notes)
        .chain(left_out)
        .map(String::as_str)
        .collect();
    if !notes.is_empty() {
        out.push_str("\nNotes\n");
        for note in notes {
            out.push_str(&hanging(note, "- ", "  "));
        }
    }
    if let Some(path) = plot {
        out.push('\n');
        out.push_str(&paragraph(
            &format!("Plot written to {}.", path.display()),
            "",
        ));
    }
    out
}

/// What each part's spread does to the first curve.
fn contributed(found: &Contributions) -> String {
    let mut out = String::from("\nWhat the parts contribute\n");
    let widest = found.band_db.iter().copied().fold(0.0, f64::max);
    out.push_str(&paragraph(
        &format!(
            "95 of 100 sound amplifiers of this wiring lie within {widest:.1} dB of the curve, at its widest; each part by itself:"
        ),
        "",
    ));
    let mut table = Table::new()
        .column("part", Side::Left)
        .column("within", Side::Right)
        .column("at", Side::Right)
        .column("", Side::Left);
    for part in found.parts.iter().take(PARTS) {
        table.row([
            part.part.clone(),
            format!("{:.2} dB", part.most_db),
            rounded(part.at_hz, Quantity::Hertz, 2),
            if part.measured { "measured" } else { "" }.to_owned(),
        ]);
    }
    out.push_str(&table.without_empty_columns().render());
    let more = found.parts.len().saturating_sub(PARTS);
    if more > 0 {
        let word = if more == 1 { "part" } else { "parts" };
        out.push_str(&paragraph(&format!("And {more} {word} with less."), ""));
    }
    out
}

fn figures(runs: &[Run]) -> Table {
    let mut table = Table::new()
        .column("", Side::Left)
        .column("1 kHz", Side::Right)
        .column("highest", Side::Right)
        .column("at", Side::Right)
        .column("-3 dB from", Side::Right)
        .column("to", Side::Right)
        .column("dip at", Side::Right)
        .column("noise", Side::Right)
        .column("input", Side::Right);
    let db = |v: Option<f64>| v.map_or_else(String::new, |v| format!("{v:.1} dB"));
    let hz = |v: Option<f64>| v.map_or_else(String::new, |v| rounded(v, Quantity::Hertz, 2));
    for run in runs {
        let f = &run.found.figures;
        table.row([
            run.label.clone(),
            db(f.gain_1k_db),
            db(f.highest.map(|h| h.1)),
            hz(f.highest.map(|h| h.0)),
            hz(f.low_corner_hz),
            hz(f.high_corner_hz),
            hz(f.dip.map(|d| d.0)),
            run.found
                .noise_volts
                .map_or_else(String::new, |v| rounded(v, Quantity::Volts, 2)),
            f.input_ohms_1k
                .map_or_else(String::new, |v| rounded(v, Quantity::Ohms, 2)),
        ]);
    }
    table.without_empty_columns()
}

/// The curves at a few of the frequencies asked for, dB.
fn curve(runs: &[Run]) -> Table {
    let mut table = Table::new().column("Hz", Side::Right);
    for run in runs {
        table = table.column(&run.label, Side::Right);
    }
    let hz = runs.first().map_or(&[][..], |r| &r.found.hz);
    let last = hz.len().saturating_sub(1);
    let rows = ROWS.min(hz.len());
    for row in 0..rows {
        let i = (row * last).checked_div(rows - 1).unwrap_or(0);
        let Some(at) = hz.get(i) else { continue };
        let mut cells = vec![rounded(*at, Quantity::Hertz, 3)];
        for run in runs {
            let db = run.found.db.get(i);
            cells.push(db.map_or_else(String::new, |v| format!("{v:.1}")));
        }
        table.row(cells);
    }
    table
}

/// Each against the first, in words; of one frequency only there is nothing more to say.
fn differences(runs: &[Run]) -> Vec<(String, String)> {
    let Some(first) = runs.first().filter(|r| r.found.hz.len() > 1) else {
        return Vec::new();
    };
    runs.iter()
        .skip(1)
        .map(|run| {
            let words = run.found.against(&first.found);
            (format!("{} against {}", run.label, first.label), words)
        })
        .collect()
}

pub(super) fn json(
    runs: &[Run],
    ranges: &[Range],
    left_out: &[String],
    parts: Option<&Contributions>,
) -> Value {
    let differences = differences(runs);
    let mut all = runs
        .iter()
        .map(|r| (r, serde_json::to_value(&r.found).unwrap_or_default()));
    let mut value = match all.next() {
        Some((_, first)) => first,
        None => json!({}),
    };
    let others: Vec<Value> = all
        .enumerate()
        .map(|(i, (run, mut other))| {
            other["label"] = json!(run.label);
            other["difference"] = json!(differences.get(i).map(|d| &d.1));
            other
        })
        .collect();
    value["others"] = Value::Array(others);
    value["ranges"] = ranges
        .iter()
        .map(|r| json!({"knob": r.knob, "words": r.words}))
        .collect();
    value["left_out"] = json!(left_out);
    value["spread"] = match parts {
        Some(found) => json!({ "band_db": found.band_db, "parts": found.parts }),
        None => Value::Null,
    };
    value
}

pub(super) fn csv(runs: &[Run]) -> Result<String, Failure> {
    let mut head = vec!["hz".to_owned()];
    for run in runs {
        head.push(format!("{} dB", run.label));
        head.push(format!("{} degrees", run.label));
    }
    let hz = runs.first().map_or(&[][..], |r| &r.found.hz);
    let rows = hz.iter().enumerate().map(|(i, at)| {
        let mut row = vec![at.to_string()];
        for run in runs {
            let cell = |of: &[f64]| of.get(i).map_or_else(String::new, f64::to_string);
            row.push(cell(&run.found.db));
            row.push(cell(&run.found.deg));
        }
        row
    });
    csv_text::of(std::iter::once(head).chain(rows))
}
