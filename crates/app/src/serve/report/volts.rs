//! Readings: the charts as found and as left beside each other, and every reading there is.

use super::{Gathered, count, list};
use crate::serve::state;
use crate::serve::work_out::{self, Found};
use bench::chart::{Chart, Line, Word};
use bench::sheet::Figure;
use report::{Block, Cell, Column, Document, Mark, Table};
use shop::{Reader, ReadingState, ShopError};
use std::sync::Arc;

/// A figure with Ω where a sheet writes ohm.
pub(super) fn figure(figure: &Figure) -> String {
    ohms(&figure.to_string())
}

/// `4.7 ohm` as `4.7 Ω`.
pub(super) fn ohms(text: &str) -> String {
    text.replace(" kohm", " kΩ")
        .replace(" Mohm", " MΩ")
        .replace(" ohm", " Ω")
        .replace('-', "\u{2212}")
}

/// The chart against the last conditions under power; none without readings there.
fn chart(g: &Gathered<'_>, found: &Found) -> Option<Arc<bench::chart::Worked>> {
    let block = found
        .blocks
        .iter()
        .rev()
        .find(|b| !state::parsed(&found.traced.circuit, &b.conditions).power_off)?;
    Some(work_out::chart(g.site, found, Some(block.id)))
}

fn read(line: &&Line) -> bool {
    line.reading.is_some() || line.shown.is_some()
}

/// Volts stay volts, so that two of them can be compared at a glance; all else as on a sheet.
fn value(v: f64, unit: &str) -> String {
    if unit.starts_with('V') && v.abs() >= 0.1 {
        let places = match v.abs() {
            a if a >= 99.95 => 0,
            a if a >= 9.995 => 1,
            _ => 2,
        };
        return ohms(&format!("{v:.places$} {unit}"));
    }
    ohms(&Figure::new(v, unit).to_string())
}

fn shown(line: &Line) -> String {
    match (&line.reading, &line.shown) {
        (Some(v), _) => value(*v, line.unit),
        (None, Some(s)) => s.clone(),
        (None, None) => String::new(),
    }
}

fn mark(line: &Line) -> Option<Mark> {
    let high = line.sigmas.is_some_and(|s| s > 0.0);
    Some(match line.verdict? {
        Word::Inside => Mark::Inside,
        Word::Doubtful => Mark::Doubtful,
        Word::Outside if high => Mark::Above,
        Word::Outside => Mark::Below,
    })
}

fn band_words(line: &Line) -> String {
    match (line.low, line.high) {
        (Some(low), Some(high)) => {
            let (low, high) = (value(low, line.unit), value(high, line.unit));
            let unit = |t: &str| t.split_once(' ').map(|(_, u)| u.to_owned());
            match (unit(&low), unit(&high)) {
                (Some(a), Some(b)) if a == b => {
                    format!("{} to {high}", low.split(' ').next().unwrap_or_default())
                }
                _ => format!("{low} to {high}"),
            }
        }
        _ => String::new(),
    }
}

fn at(chart: Option<&Chart>) -> Option<String> {
    let volts = chart?.mains_volts?;
    Some(format!("{volts} V"))
}

/// What the chart as found says, in a sentence; nothing where it was not read.
pub(super) fn summary(g: &Gathered<'_>) -> Option<String> {
    let worked = chart(g, &g.found)?;
    let judged: Vec<&Line> = worked
        .chart
        .points
        .iter()
        .filter(|l| l.verdict.is_some())
        .collect();
    let outside: Vec<String> = judged
        .iter()
        .filter(|l| l.verdict == Some(Word::Outside))
        .map(|l| l.point.clone())
        .collect();
    if judged.is_empty() {
        return None;
    }
    Some(if outside.is_empty() {
        format!(
            "All {} lay inside what a sound amplifier of this wiring shows.",
            count(judged.len(), "reading", "readings")
        )
    } else {
        format!(
            "{} of {} lay outside what a sound amplifier of this wiring shows: {}.",
            outside.len(),
            count(judged.len(), "reading", "readings"),
            list(&outside)
        )
    })
}

/// Charts as found and as left, beside each other. The owner's version leaves out what was in order both times.
pub(super) fn side_by_side(g: &Gathered<'_>, d: &mut Document) {
    let (found, left) = (chart(g, &g.found), chart(g, &g.left));
    let found = found.as_deref().map(|w| &w.chart);
    let left = left.as_deref().map(|w| &w.chart);
    if found.is_none() && left.is_none() {
        d.heading("Volts");
        d.say("Not read, neither as found nor as left.");
        return;
    }
    let beside = match (at(found), at(left)) {
        (Some(a), Some(b)) if a == b => format!("both at {a} mains"),
        (Some(a), Some(b)) => format!("found at {a} mains, left at {b}"),
        (Some(a), None) => format!("found at {a} mains; as left: not read"),
        (None, Some(b)) => format!("left at {b} mains; as found: not read"),
        (None, None) => String::new(),
    };
    d.heading_beside("Readings, as found and as left", &beside);
    // the order of the chart as left, then what was read only before
    let mut points: Vec<(&str, &str)> = Vec::new();
    for chart in [left, found].into_iter().flatten() {
        for line in chart.points.iter().filter(read) {
            if !points.contains(&(line.point.as_str(), line.unit)) {
                points.push((&line.point, line.unit));
            }
        }
    }
    let line = |chart: Option<&'_ Chart>, point: &(&str, &str)| -> Option<Line> {
        let all = &chart?.points;
        all.iter()
            .filter(read)
            .find(|l| l.point == point.0 && l.unit == point.1)
            .cloned()
    };
    let mut calm = 0;
    let mut rows = Vec::new();
    for point in &points {
        let (was, is) = (line(found, point), line(left, point));
        let good = |l: &Option<Line>| {
            l.as_ref()
                .is_none_or(|l| matches!(l.verdict, Some(Word::Inside) | None))
        };
        let rail = point.0.starts_with('B') && !point.0.contains(' ');
        if !g.wanted.full && good(&was) && good(&is) && !rail {
            calm += 1;
            continue;
        }
        let expected = is.as_ref().or(was.as_ref());
        let picture = expected.and_then(|l| {
            let reading = is.as_ref().and_then(|l| l.reading);
            report::band(l.low?, l.high?, l.volts, reading)
        });
        rows.push(vec![
            Cell::strong(point.0),
            Cell::plain(was.as_ref().map_or_else(String::new, shown)),
            Cell::mark(was.as_ref().and_then(mark)),
            Cell::strong(is.as_ref().map_or_else(|| "not read".to_owned(), shown)),
            Cell::plain(expected.map_or_else(String::new, band_words)),
            Cell {
                picture,
                ..Cell::default()
            },
            Cell::mark(is.as_ref().and_then(mark)),
        ]);
    }
    if !rows.is_empty() {
        d.blocks.push(Block::Table(Table {
            name: "Readings as found and as left".to_owned(),
            columns: vec![
                Column::words("Point", 14),
                Column::figures("Found", 11),
                Column::words("", 17),
                Column::figures("Left", 11),
                Column::words("Expected", 15),
                Column::words("", 15),
                Column::words("", 17),
            ],
            rows,
        }));
    }
    if calm > 0 {
        d.say(format!(
            "{} more lay inside their bands or have none; the full record has them.",
            count(calm, "reading", "readings")
        ));
    }
    d.say("The band holds 95 % of sound amplifiers of this wiring at the mains named, computed from what was traced. Under Expected stands the band as left; the mark beside a reading as found is against its own.");
}

/// Every reading with its conditions and its instrument: for the full record.
pub(super) fn every_reading(
    g: &Gathered<'_>,
    r: &Reader<'_>,
    d: &mut Document,
) -> Result<(), ShopError> {
    let instruments = r.instruments()?;
    if g.found.readings.is_empty() && g.left.readings.is_empty() {
        return Ok(());
    }
    d.heading("Every reading as typed");
    for found in [&g.found, &g.left] {
        for block in &found.blocks {
            let of: Vec<_> = found
                .readings
                .iter()
                .filter(|x| x.block == block.id)
                .collect();
            if of.is_empty() {
                continue;
            }
            let state = match block.state {
                ReadingState::AsFound => "as found",
                ReadingState::AsLeft => "as left",
            };
            d.blocks.push(Block::Subheading {
                text: if block.name == state {
                    crate::words::capital(state)
                } else {
                    format!("{}: {}", crate::words::capital(state), block.name)
                },
            });
            let meter = block
                .instrument
                .and_then(|id| instruments.iter().find(|i| i.id == id))
                .map(|i| format!("with the {}", i.fields.name));
            let conditions: Vec<String> = block
                .conditions
                .lines()
                .map(str::to_owned)
                .chain(meter)
                .collect();
            if !conditions.is_empty() {
                d.say(format!("{}.", conditions.join("; ")));
            }
            let cell = |x: &&shop::Reading| {
                let f = &x.fields;
                let unit = match f.unit.as_str() {
                    "" => String::new(),
                    u => format!(" {u}"),
                };
                let note = if f.note.is_empty() {
                    String::new()
                } else {
                    format!(" ({})", f.note)
                };
                (f.point.clone(), format!("{}{unit}{note}", f.shown))
            };
            let all: Vec<(String, String)> = of.iter().map(cell).collect();
            let rows = all
                .chunks(3)
                .map(|three| {
                    let mut cells = Vec::new();
                    for i in 0..3 {
                        let (point, shown) = three.get(i).cloned().unwrap_or_default();
                        cells.push(Cell::strong(point));
                        cells.push(Cell::plain(shown));
                    }
                    cells
                })
                .collect();
            let columns = (0..3)
                .flat_map(|_| [Column::words("Point", 17), Column::words("Read", 16)])
                .collect();
            d.blocks.push(Block::Table(Table {
                name: format!("Readings {}", block.name),
                columns,
                rows,
            }));
        }
    }
    Ok(())
}
