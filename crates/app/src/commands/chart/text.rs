//! The chart as the terminal shows it.

use super::rows;
use crate::table::{Side, Table, hanging, paragraph};
use bench::chart::{Chart, Status};
use bench::digits;
use wiring::Circuit;
use wiring::assume::Assumed;
use wiring::units::{Quantity, rounded};

/// Heading, table, cross-checks, hints, trouble, and what could not be computed. The caller adds the caution.
pub(crate) fn text(circuit: &Circuit, chart: &Chart, currents: bool) -> String {
    let mut out = heading(circuit, chart);
    out.push('\n');
    out.push_str(&table(circuit, chart));
    out.push_str(&list("Trouble", chart.trouble.iter().map(String::as_str)));
    out.push_str(&list(
        "Readings that clash",
        chart.findings.iter().map(|f| f.text.as_str()),
    ));
    out.push_str(&list(
        "Readings to take again",
        chart.slips.iter().map(|s| s.text.as_str()),
    ));
    if currents && !chart.currents.is_empty() {
        out.push_str("\nCurrents at rest\n");
        let mut table = Table::new()
            .column("part", Side::Left)
            .column("mA", Side::Right);
        for current in &chart.currents {
            table.row([current.part.clone(), digits::volts(current.ma)]);
        }
        out.push_str(&table.render());
    }
    out.push_str(&unsolved(chart));
    if let Some(said) = Assumed::of(circuit).sentence() {
        out.push('\n');
        out.push_str(&paragraph(&said, ""));
    }
    out.push_str(&list("Notes", chart.notes.iter().map(String::as_str)));
    out
}

fn heading(circuit: &Circuit, chart: &Chart) -> String {
    let heading = &circuit.heading;
    let mut who: Vec<String> = Vec::new();
    who.push(
        heading
            .amp
            .clone()
            .unwrap_or_else(|| "An amplifier without a name".to_owned()),
    );
    if let Some(serial) = &heading.serial {
        who.push(format!("serial {serial}"));
    }
    if let Some(state) = &heading.state {
        who.push(state.clone());
    }
    let mut out = paragraph(&who.join(", "), "");
    let mut how: Vec<String> = Vec::new();
    match &chart.block {
        Some(block) if block.is_empty() => how.push("Against the readings".to_owned()),
        Some(block) => how.push(format!("Against the readings \"{block}\"")),
        None => how.push("Without readings".to_owned()),
    }
    if let Some(volts) = chart.mains_volts {
        how.push(format!("mains {} V", digits::volts(volts)));
    }
    if let Some(meter) = chart.meter {
        let ohms = rounded(meter.ohms, Quantity::Ohms, 3);
        let assumed = if meter.assumed { " (assumed)" } else { "" };
        how.push(format!("meter {ohms}{assumed}"));
    }
    out.push_str(&paragraph(&format!("{}.", how.join(", ")), ""));
    let ohms = chart.points.iter().any(|l| l.unit == "ohm");
    out.push_str(if ohms && chart.points.iter().all(|l| l.unit == "ohm") {
        "Ohms in circuit, power off.\n"
    } else {
        "Volts DC against ground, unless a point or unit says otherwise.\n"
    });
    out
}

fn table(circuit: &Circuit, chart: &Chart) -> String {
    if chart.points.is_empty() {
        return "Nothing is traced yet that could have volts.\n".to_owned();
    }
    let mut table = Table::new()
        .wrapping("point", 9)
        .wrapping("what", 12)
        .column("expect", Side::Right)
        .column("low", Side::Right)
        .column("high", Side::Right)
        .column("read", Side::Right)
        .column("", Side::Left)
        .column("verdict", Side::Left);
    for line in &chart.points {
        let (low, high) = rows::band(line);
        let verdict = match line.verdict {
            Some(verdict) => rows::word(verdict),
            None if line.volts.is_none() => "(open)",
            None => "",
        };
        table.row([
            line.point.clone(),
            rows::what(circuit, line),
            line.volts
                .map_or_else(String::new, |v| rows::figure(v, line.unit)),
            low,
            high,
            rows::read(line),
            rows::sign_of(line).to_owned(),
            verdict.to_owned(),
        ]);
    }
    let mut out = table.without_empty_columns().render();
    if chart.points.iter().any(|l| l.low.is_some()) {
        out.push_str("95 % of sound amplifiers are between low and high.\n");
    }
    if chart.points.iter().any(|l| l.volts.is_none()) {
        out.push_str("(open): not computed; the reasons are below.\n");
    }
    out
}

fn unsolved(chart: &Chart) -> String {
    if chart.unsolved.is_empty() {
        return String::new();
    }
    let title = match chart.status {
        Status::Failed => "Nothing could be computed",
        Status::Solved | Status::Partly => "Not computed",
    };
    let mut out = format!("\n{title}\n");
    // The same reason for many points is said once.
    let mut groups: Vec<(&str, Vec<&str>)> = Vec::new();
    for item in &chart.unsolved {
        match groups.iter_mut().find(|(why, _)| *why == item.why) {
            Some((_, points)) => points.push(&item.point),
            None => groups.push((&item.why, vec![&item.point])),
        }
    }
    for (why, points) in groups {
        out.push_str(&hanging(
            &format!("{}: {why}", points.join(", ")),
            "- ",
            "  ",
        ));
    }
    out
}

/// A titled list, nothing when it is empty.
fn list<'a>(title: &str, items: impl Iterator<Item = &'a str>) -> String {
    let mut out = String::new();
    for item in items {
        if out.is_empty() {
            out.push_str(&format!("\n{title}\n"));
        }
        out.push_str(&hanging(item, "- ", "  "));
    }
    out
}
