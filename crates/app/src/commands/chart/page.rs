//! The chart as a sheet for paper: what each point should read, and room for what it does.

use super::rows;
use bench::chart::{Chart, Line as Point};
use bench::sheet::{Expected, Figure, Line, Origin, Sheet};
use wiring::Circuit;
use wiring::circuit::Kind;

/// The sheet: supply and other points first, then valve by valve.
pub(crate) fn sheet(circuit: &Circuit, chart: &Chart) -> Sheet {
    let mut sheet = Sheet::new("chart", "Chart: what each point should read");
    bench::head(&mut sheet, circuit);
    if let Some(volts) = chart.mains_volts {
        sheet.conditions.push(format!("mains {volts:.0} V"));
    }
    if let Some(meter) = chart.meter {
        sheet
            .conditions
            .push(format!("meter {:.0}M", meter.ohms / 1e6));
    }
    sheet.conditions.push(
        "volts DC against ground unless a point or unit says otherwise; 95 % of sound amplifiers lie in the band".to_owned(),
    );
    let mut groups: Vec<(String, Vec<Line>)> = Vec::new();
    for point in &chart.points {
        // What has no figure is told under what is not known.
        if point.point == "ground"
            || point.volts.is_none() && point.reading.is_none() && point.shown.is_none()
        {
            continue;
        }
        let title = group(circuit, &point.point);
        let line = line(circuit, chart, point);
        match groups.iter_mut().find(|(t, _)| *t == title) {
            Some((_, lines)) => lines.push(line),
            None => groups.push((title, vec![line])),
        }
    }
    for (title, lines) in groups {
        sheet.section(title, lines);
    }
    for item in &chart.unsolved {
        sheet.missing(&item.point, &item.why);
    }
    for text in chart.trouble.iter().chain(&chart.notes) {
        sheet.note(text);
    }
    sheet
}

/// The valve that a point is a pin of, else the points between the valves.
fn group(circuit: &Circuit, point: &str) -> String {
    let valve = circuit
        .terminal(point)
        .and_then(|(id, _)| circuit.parts.get(id.0))
        .and_then(|part| match &part.kind {
            Kind::Valve(valve) => Some(format!("{} {}", part.name, valve.type_in_socket())),
            _ => None,
        });
    valve.unwrap_or_else(|| "Supply and other points".to_owned())
}

fn line(circuit: &Circuit, chart: &Chart, point: &Point) -> Line {
    let origin = Origin::computed("the solved circuit, every part as marked or measured");
    let mut line = Line::told(rows::what(circuit, point), origin).at(&point.point);
    match (point.volts, point.low, point.high) {
        (Some(volts), Some(low), Some(high)) => {
            line = line.expecting(Expected::band(volts, low, high, point.unit));
        }
        (Some(volts), _, _) => line = line.expecting(Expected::value(volts, point.unit)),
        _ => {}
    }
    match (&point.shown, point.reading) {
        (Some(shown), _) => line = line.because(format!("It showed {shown}.")),
        (None, Some(read)) => line = line.showing(Figure::new(read, point.unit)),
        (None, None) => line = line.blank(),
    }
    if let Some(verdict) = point.verdict {
        line = line.because(format!("{}.", rows::word(verdict)));
    } else if let Some(why) = rows::why(chart, &point.point) {
        line = line.because(why);
    }
    line
}
