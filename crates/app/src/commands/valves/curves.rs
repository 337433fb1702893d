//! The curves that the program computes with, as a table: plate current over plate and grid volts.

use crate::table::{Side, Table, hanging, paragraph};
use solve::device::{LawEntry, ValveLaw, law_entry};
use wiring::sheet::{LimitQuantity, Sheet};

/// One table a section, with what its law was fitted to; sections that share a law share a table.
pub(super) fn text(sheet: &Sheet) -> String {
    let mut out = String::new();
    let mut shown: Vec<LawEntry> = Vec::new();
    for section in sheet.sections() {
        let Some(entry) = law_entry(sheet, section.letter) else {
            let of = section
                .letter
                .map_or_else(String::new, |s| format!(" of section {s}"));
            out.push('\n');
            out.push_str(&paragraph(
                &format!("No curves{of} are known: a circuit with it is open there, and says so."),
                "",
            ));
            continue;
        };
        if shown.contains(&entry) {
            continue;
        }
        out.push_str(&curves(sheet, section.letter, &entry));
        shown.push(entry);
    }
    out
}

fn curves(sheet: &Sheet, section: Option<char>, entry: &LawEntry) -> String {
    let most = sheet
        .guarding_limit(section, LimitQuantity::PlateVolts)
        .unwrap_or(300.0);
    let of = match section {
        Some(letter) if entry.section.is_some() => format!(", section {letter}"),
        _ => String::new(),
    };
    let fit = hanging(
        &format!("Fitted to {}: {}", entry.valve, entry.fit),
        "  ",
        "  ",
    );
    match entry.law {
        ValveLaw::Triode(law) => {
            let grids = grid_steps(most / law.mu);
            let table = grid_table(&grids, &plate_steps(most), |plate, grid| {
                law.currents(plate, grid).plate_a
            });
            format!("\nComputed plate current, mA, average valve{of}\n{table}{fit}")
        }
        ValveLaw::Pentode(law) => {
            let screen = sheet
                .static_rows
                .iter()
                .find(|r| !r.triode_connected && (r.section.is_none() || r.section == section))
                .and_then(|r| r.screen)
                .unwrap_or(250.0);
            let grids = grid_steps(screen / law.mu);
            let table = grid_table(&grids, &plate_steps(most), |plate, grid| {
                law.currents(plate, screen, grid).plate.amps
            });
            format!(
                "\nComputed plate current, mA, average valve{of}, screen at {screen} V\n{table}{fit}"
            )
        }
        ValveLaw::Rectifier(perveance) => {
            let mut table = Table::new()
                .column("one plate, mA", Side::Right)
                .column("drop, V", Side::Right);
            for amps in [0.025, 0.05, 0.1, 0.15, 0.2, 0.25] {
                let volts = (amps / perveance).powf(2.0 / 3.0);
                table.row([format!("{:.0}", amps * 1e3), format!("{volts:.1}")]);
            }
            format!("\nComputed drop, average valve\n{}{fit}", table.render())
        }
    }
}

/// Plate volts: eight steps or so up to the limit, in round figures.
fn plate_steps(most: f64) -> Vec<f64> {
    let step = round_step(most / 7.0);
    (1..=12)
        .map(|n| f64::from(n) * step)
        .take_while(|v| *v <= most * 1.001)
        .collect()
}

/// Grid volts from nothing down to about cut-off, in round figures.
fn grid_steps(cut_off: f64) -> Vec<f64> {
    let step = round_step(cut_off / 6.0);
    (0..8).map(|n| -f64::from(n) * step).collect()
}

/// The nearest 1, 2 or 5 of a decade.
fn round_step(about: f64) -> f64 {
    if !(about.is_finite() && about > 0.0) {
        return 1.0;
    }
    let decade = 10f64.powf(about.log10().floor());
    let lead = about / decade;
    let round = [(1.5, 1.0), (3.5, 2.0), (7.5, 5.0)]
        .into_iter()
        .find(|(most, _)| lead <= *most)
        .map_or(10.0, |(_, step)| step);
    decade * round
}

fn grid_table(grids: &[f64], plates: &[f64], amps: impl Fn(f64, f64) -> f64) -> String {
    let plain = |v: f64| {
        let text = format!("{v:.3}");
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    };
    let mut table = Table::new().column("plate V", Side::Right);
    for (i, grid) in grids.iter().enumerate() {
        let unit = if i == 0 { "grid " } else { "" };
        // A rounded nothing carries no sign.
        table = table.column(&format!("{unit}{}", plain(*grid + 0.0)), Side::Right);
    }
    for plate in plates {
        let mut row = vec![plain(*plate)];
        row.extend(grids.iter().map(|grid| {
            let ma = amps(*plate, *grid) * 1e3;
            if ma < 0.005 {
                "0".to_owned()
            } else {
                format!("{ma:.2}")
            }
        }));
        table.row(row);
    }
    table.render()
}

/// What a reader should know before trusting the tables.
pub(super) fn caution() -> String {
    paragraph(
        "The average of new valves. Sound ones differ by 20 to 30 % in current (common practice, no source).",
        "",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round() {
        assert_eq!(
            plate_steps(300.0),
            vec![50.0, 100.0, 150.0, 200.0, 250.0, 300.0]
        );
        assert_eq!(grid_steps(3.0).get(1), Some(&-0.5));
        assert_eq!(round_step(f64::NAN), 1.0);
        assert_eq!(round_step(0.0), 1.0);
    }
}
