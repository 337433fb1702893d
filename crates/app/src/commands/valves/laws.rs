//! How far the computed curves are off the published points, row by row.

use crate::table::{Side, Table, hanging};
use bench::valves::{RowCheck, SectionLaw, section_laws};
use serde_json::Value;
use wiring::sheet::{Library, Sheet};

/// One table a law: the published points it is held against, and its errors there.
pub(super) fn text(sheet: &Sheet, library: &Library) -> String {
    section_laws(library, sheet)
        .iter()
        .map(|law| errors(law) + &drops(law) + &hanging(law.validity, "  ", "  ") + &covers(law))
        .collect()
}

/// What the rows of a user's own law cover.
fn covers(law: &SectionLaw) -> String {
    let Some(covers) = law.covers else {
        return String::new();
    };
    let span = |what: &str, span: Option<(f64, f64)>, unit: &str, factor: f64| {
        let (low, high) = span?;
        let (low, high) = (factor * low, factor * high);
        let short = |v: f64| {
            let three: f64 = format!("{v:.2e}").parse().unwrap_or(v);
            three.to_string()
        };
        Some(if low == high {
            format!("{what} {} {unit}", short(low))
        } else {
            format!("{what} {} to {} {unit}", short(low), short(high))
        })
    };
    let all: Vec<String> = [
        span("plate", covers.plate_volts, "V", 1.0),
        span("screen", covers.screen_volts, "V", 1.0),
        span("grid", covers.grid_volts, "V", 1.0),
        span("plate current", covers.plate_amps, "mA", 1e3),
    ]
    .into_iter()
    .flatten()
    .collect();
    if all.is_empty() {
        return String::new();
    }
    hanging(&format!("Its rows cover {}.", all.join(", ")), "  ", "  ")
}

/// The laws as JSON: SI units, errors as fractions of the sheet's figures.
pub(super) fn json(sheet: &Sheet, library: &Library) -> Value {
    serde_json::to_value(section_laws(library, sheet)).unwrap_or_default()
}

/// `, section a` where sections have laws of their own.
fn of(law: &SectionLaw) -> String {
    match law.sections.as_slice() {
        [one] => format!(", section {one}"),
        _ => String::new(),
    }
}

/// An error in percent with its sign.
fn percent(error: Option<f64>) -> String {
    error.map_or_else(String::new, |e| {
        let text = format!("{:+.1}", 100.0 * e);
        if text == "-0.0" {
            "+0.0".to_owned()
        } else {
            text
        }
    })
}

fn volts(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn errors(law: &SectionLaw) -> String {
    if law.rows.is_empty() {
        return String::new();
    }
    let mut table = Table::new();
    for head in [
        "plate V", "screen V", "grid V", "plate %", "screen %", "mS %", "rp %",
    ] {
        table = table.column(head, Side::Right);
    }
    table = table
        .column("tested", Side::Left)
        .column("row of", Side::Left);
    for check in &law.rows {
        let RowCheck {
            of,
            row,
            computed,
            errors,
        } = check;
        let screen = match (row.screen, row.triode_connected) {
            (Some(v), _) => volts(v),
            (None, true) => "plate".to_owned(),
            (None, false) => String::new(),
        };
        let tested = if row.not_gated.is_some() { "no" } else { "yes" };
        table.row([
            volts(row.plate),
            screen,
            volts(computed.grid),
            percent(errors.plate),
            percent(errors.screen),
            percent(errors.gm),
            percent(errors.rp),
            tested.to_owned(),
            of.clone(),
        ]);
    }
    format!(
        "\nError of the computed figures at published points{}\n{}",
        self::of(law),
        table.without_empty_columns().render()
    )
}

fn drops(law: &SectionLaw) -> String {
    if law.drops.is_empty() {
        return String::new();
    }
    let mut table = Table::new()
        .column("one plate, mA", Side::Right)
        .column("published V", Side::Right)
        .column("computed V", Side::Right)
        .column("error %", Side::Right)
        .column("row of", Side::Left);
    for check in &law.drops {
        table.row([
            volts(check.row.amps * 1e3),
            volts(check.row.volts),
            format!("{:.1}", check.volts),
            percent(Some(check.error)),
            check.of.clone(),
        ]);
    }
    format!("\nError of the computed drop\n{}", table.render())
}
