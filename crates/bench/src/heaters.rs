//! Heater current by supply, from a list of valves and their data sheets.
//!
//! Adds what the sheets say each heater takes, by volts, and holds the sum against the windings. Knows no circuit:
//! which winding feeds which valve is taken from the volts alone. A heater with a centre tap counts at 6.3 V, ends
//! joined, unless 12.6 V is typed behind its type.

mod list;
mod series;

#[cfg(test)]
mod tests;

pub use list::{HeaterItem, ListError, Winding, read_item};

use crate::part::{ResistorNeed, Toward, power_factor, resistor};
use crate::rules::rules;
use crate::sheet::{Expected, Figure, Limit, Line, Origin, Outcome, Sheet};
use wiring::sheet::Library;

/// What was typed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct HeaterRequest {
    /// The valves.
    pub valves: Vec<HeaterItem>,
    /// The set of valves that the transformer was made for.
    pub original: Vec<HeaterItem>,
    /// Windings with what is marked on them.
    pub windings: Vec<Winding>,
    /// Volts read at the socket pins, all valves in.
    pub read: Vec<f64>,
    /// Amperes of a chain, when the heaters are in series.
    pub chain: Option<f64>,
    /// Volts that feed the chain.
    pub mains: Option<f64>,
}

/// Volts this near to a nominal are the same supply: a fraction.
const SAME_SUPPLY: f64 = 0.15;

/// Volts read may be this far from a supply's nominal, as a natural logarithm: 40 %.
const FARTHEST_READ: f64 = 0.34;

/// Valves on one supply.
#[derive(Debug, Clone, PartialEq)]
pub struct HeaterGroup<'a> {
    /// Nominal volts.
    pub volts: f64,
    /// The valves.
    pub items: Vec<&'a HeaterItem>,
    /// Amperes in all.
    pub amps: f64,
}

/// The valves by heater volts, rising.
#[must_use]
pub fn groups(items: &[HeaterItem]) -> Vec<HeaterGroup<'_>> {
    let mut found: Vec<HeaterGroup<'_>> = Vec::new();
    for item in items {
        let amps = item.way.amps * f64::from(item.count);
        match found
            .iter_mut()
            .find(|g| (item.way.volts / g.volts - 1.0).abs() < 0.05)
        {
            Some(group) => {
                group.items.push(item);
                group.amps += amps;
            }
            None => found.push(HeaterGroup {
                volts: item.way.volts,
                items: vec![item],
                amps,
            }),
        }
    }
    found.sort_by(|a, b| a.volts.total_cmp(&b.volts));
    found
}

/// The supply that volts were most likely read at: the nearest by ratio, when it is near at all.
fn nearest(supplies: &[HeaterGroup<'_>], volts: f64) -> Option<usize> {
    supplies
        .iter()
        .enumerate()
        .map(|(i, group)| (i, (volts / group.volts).ln().abs()))
        .filter(|(_, apart)| *apart < FARTHEST_READ)
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(i, _)| i)
}

/// The sheet.
#[must_use]
pub fn heaters(given: &HeaterRequest, library: &Library) -> Sheet {
    let mut sheet = Sheet::new("heaters", "Heater supplies");
    if given.valves.is_empty() {
        sheet.missing(
            "the valves",
            "Type their types, `--valves 12AX7,12AX7,EL84x2,EZ81`.",
        );
        return sheet;
    }
    if let Some(amps) = given.chain {
        series::add(&mut sheet, given, amps, library);
        return sheet;
    }
    let mut windings: Vec<Option<&Winding>> = given.windings.iter().map(Some).collect();
    let original = groups(&given.original);
    let supplies = groups(&given.valves);
    let mut reads: Vec<(Option<usize>, f64)> = given
        .read
        .iter()
        .map(|volts| (nearest(&supplies, *volts), *volts))
        .collect();
    for (i, group) in supplies.iter().enumerate() {
        let near = |volts: f64| (volts / group.volts - 1.0).abs() < SAME_SUPPLY;
        let winding = windings
            .iter_mut()
            .find(|w| w.is_some_and(|w| near(w.volts)))
            .and_then(Option::take);
        let read = reads
            .iter()
            .position(|(supply, _)| *supply == Some(i))
            .map(|at| reads.remove(at).1);
        let before = original.iter().find(|g| near(g.volts)).map(|g| g.amps);
        one(&mut sheet, group, winding, before, read, library);
    }
    for winding in windings.into_iter().flatten() {
        sheet.note(format!(
            "No valve here goes on a winding of {}.",
            Figure::new(winding.volts, "V")
        ));
    }
    for (_, volts) in reads {
        sheet.note(format!(
            "No supply here is near the {} read, or it was read twice.",
            Figure::new(volts, "V ac")
        ));
    }
    sheet.note("Which winding feeds which valve is taken from the volts alone; trace it where two windings have the same.");
    if given
        .valves
        .iter()
        .any(|v| v.centre_tapped && v.way.volts < 10.0)
    {
        sheet.note("Heaters with a centre tap are taken at 6.3 V, both ends joined; in series type `\"12AX7 12.6V\"`.");
    }
    sheet
}

fn one(
    sheet: &mut Sheet,
    group: &HeaterGroup<'_>,
    winding: Option<&Winding>,
    before: Option<f64>,
    read: Option<f64>,
    library: &Library,
) {
    let mut lines: Vec<Line> = group.items.iter().map(|i| taken(i, library)).collect();
    lines.push(
        Line::told(
            "In all",
            Origin::computed("sum of the data sheets' currents"),
        )
        .expecting(Expected::value(group.amps, "A"))
        .because(format!("{}.", Figure::new(group.amps * group.volts, "W"))),
    );
    let budget = || Origin::rule("heater.budget");
    match winding.and_then(|w| w.amps) {
        Some(amps) => {
            let line = Line::computed(
                "On the winding",
                Expected::value(group.amps, "A"),
                Limit::at_most(amps, "A"),
                budget(),
            );
            let spare = amps - group.amps;
            lines.push(if line.outcome() == Outcome::Fail {
                line.because("More than the winding is marked for: it runs hot and its volts come out low.")
            } else {
                line.because(format!(
                    "{} to spare, {} of the winding.",
                    Figure::new(spare, "A"),
                    Figure::new(100.0 * spare / amps, "%")
                ))
            });
        }
        None => sheet.missing(
            format!("what the {} winding may give", Figure::new(group.volts, "V")),
            format!(
                "Type it, `--winding \"{}V 3A\"`; not marked: type the valves it was made for, `--original`.",
                group.volts
            ),
        ),
    }
    if let Some(before) = before {
        let limit = rules().figure("heater.budget", "load / original load");
        if let Some(most) = limit {
            lines.push(Line::computed(
                "Beside the original valves",
                Expected::value(group.amps / before, "x"),
                Limit::at_most(most, "x"),
                budget(),
            ));
        }
    }
    at_the_pins(group, read, &mut lines);
    reference(group, &mut lines);
    sheet.section(format!("{} supply", Figure::new(group.volts, "V")), lines);
}

fn taken(item: &HeaterItem, library: &Library) -> Line {
    let origin = Origin::data_sheet(library.cite(&item.origin));
    let name = if item.count == 1 {
        item.name.clone()
    } else {
        format!("{} x {}", item.count, item.name)
    };
    Line::told(name, origin).expecting(Expected::value(item.way.amps * f64::from(item.count), "A"))
}

/// Volts at the pins, held against the limits for this supply.
fn at_the_pins(group: &HeaterGroup<'_>, read: Option<f64>, lines: &mut Vec<Line>) {
    let rule = || Origin::rule("heater.tolerance");
    let range = |name| rules().range("heater.tolerance", name);
    let scale = group.volts / 6.3;
    let (limit, target) = if (group.volts - 5.0).abs() < 0.3 {
        (range("5 V rectifier limit"), None)
    } else {
        let scaled = |r: Option<(f64, f64)>| r.map(|(low, high)| (low * scale, high * scale));
        (scaled(range("limit")), scaled(range("target")))
    };
    let Some((low, high)) = limit else { return };
    let what = "Volts at the pins, all valves in";
    let within = Limit::between(low, high, "V ac");
    let Some(volts) = read else {
        let line = Line::open(what, rule()).limited(within);
        lines.push(match target {
            Some((low, high)) => line.expecting(Expected::range(low, high, "V ac")),
            None => line,
        });
        return;
    };
    let line = Line::read(what, Figure::new(volts, "V ac"), within, rule());
    let line = match target {
        Some((low, high)) => line.expecting(Expected::range(low, high, "V ac")),
        None => line,
    };
    let too_high = volts > target.map_or(high, |(_, top)| top);
    let too_low = volts < target.map_or(low, |(bottom, _)| bottom);
    lines.push(if too_high {
        line.because("High: at today's mains a small resistor in each heater lead brings it down.")
    } else if too_low {
        line.because("Low: measure at the transformer too; a bad joint or socket takes volts.")
    } else {
        line
    });
    if too_high {
        let need = ResistorNeed {
            ohms: (volts - group.volts) / group.amps / 2.0,
            toward: Toward::Nearest,
            volts: (volts - group.volts) / 2.0,
            factor: power_factor().unwrap_or(2.0),
            least_watts: 0.0,
        };
        if let Some(part) = resistor(&need) {
            lines.push(
                Line::told(
                    "In each of the two leads",
                    Origin::computed("half the volts too many over the current of all valves"),
                )
                .at(part.words())
                .expecting(Expected::value(part.total_ohms(), "ohm"))
                .because(format!(
                    "Each takes {}; measure again after fitting.",
                    Figure::new(part.dissipates, "W")
                )),
            );
        }
    }
}

/// The pair of resistors that gives a winding its reference, where it has no centre tap.
fn reference(group: &HeaterGroup<'_>, lines: &mut Vec<Line>) {
    if (group.volts - 5.0).abs() < 0.3 {
        lines.push(
            Line::told("Its winding", Origin::practice())
                .because("It carries the HT where the rectifier's filament is its cathode: no reference to ground."),
        );
        return;
    }
    let half = group.volts * 1.1 / 2.0;
    let need = ResistorNeed {
        ohms: 100.0,
        toward: Toward::Nearest,
        volts: half,
        factor: power_factor().unwrap_or(2.0),
        least_watts: 0.5,
    };
    if let Some(part) = resistor(&need) {
        lines.push(
            Line::told("Reference without a centre tap", Origin::rule("heater.reference"))
                .at(format!("2 x {}", part.words()))
                .expecting(Expected::value(part.total_ohms(), "ohm"))
                .because(format!(
                    "One from each side to ground or to the point that raises the heaters; each takes {} at 10 % too many volts. Matched to 5 %.",
                    Figure::new(part.dissipates, "W")
                )),
        );
    }
}
