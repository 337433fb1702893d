//! Heaters in series: one current for all, and the volts add up.

use super::{HeaterItem, HeaterRequest};
use crate::part::{ResistorNeed, Toward, power_factor, resistor};
use crate::sheet::{Expected, Figure, Limit, Line, Origin, Sheet};
use wiring::sheet::Library;

/// A heater of a chain may differ from its current by this fraction; our choice, the usual spread of heaters.
const SPREAD: f64 = 0.05;

pub(super) fn add(sheet: &mut Sheet, given: &HeaterRequest, amps: f64, library: &Library) {
    if !(amps.is_finite() && amps > 0.0) {
        sheet.missing(
            "the chain's current",
            "Type amperes above zero, `--series 150mA`.",
        );
        return;
    }
    let mut lines = Vec::new();
    let mut volts = 0.0;
    for item in &given.valves {
        let line = one(item, amps, library);
        volts += item.way.volts * f64::from(item.count);
        lines.push(line);
    }
    let current = Figure::new(amps, "A");
    lines.push(
        Line::told("The chain in all", Origin::computed("sum of the volts"))
            .expecting(Expected::value(volts, "V ac")),
    );
    match given.mains {
        Some(mains) if mains.is_finite() && mains > 0.0 => {
            lines.push(dropper(mains, volts, amps));
            lines.push(
                Line::stop("Heaters across the mains", Origin::rule("live.habits")).because(
                    "Such a set has no mains transformer as a rule, and its chassis can be live. No work without an isolating transformer on the bench.",
                ),
            );
        }
        _ => sheet.missing(
            "the resistor that takes the rest of the volts",
            "Type what feeds the chain, `--mains 230`.",
        ),
    }
    sheet.section(format!("Chain of {current}"), lines);
}

fn one(item: &HeaterItem, amps: f64, library: &Library) -> Line {
    let name = if item.count == 1 {
        item.name.clone()
    } else {
        format!("{} x {}", item.count, item.name)
    };
    let line = Line::computed(
        name,
        Expected::value(item.way.amps, "A"),
        Limit::between(amps * (1.0 - SPREAD), amps * (1.0 + SPREAD), "A"),
        Origin::data_sheet(library.cite(&item.origin)),
    )
    .at(Figure::new(item.way.volts * f64::from(item.count), "V").to_string());
    if line.outcome() == crate::sheet::Outcome::Fail {
        line.because("Its heater is not made for this current: it gets the wrong volts, and so do the others.")
    } else {
        line
    }
}

fn dropper(mains: f64, volts: f64, amps: f64) -> Line {
    let what = "Resistor in the chain";
    let origin = || Origin::computed("(mains - chain) / current");
    let rest = mains - volts;
    let need = ResistorNeed {
        ohms: rest / amps,
        toward: Toward::Nearest,
        volts: rest,
        factor: power_factor().unwrap_or(2.0),
        least_watts: 0.0,
    };
    match resistor(&need) {
        Some(part) => Line::told(what, origin())
            .at(part.words())
            .expecting(Expected::value(rest / amps, "ohm"))
            .because(format!(
                "It takes {}; the standard value beside it is nearest.",
                Figure::new(rest * amps, "W")
            )),
        None if rest <= 0.0 => Line::told(what, origin())
            .because("The chain takes all the volts, or more than there are: no resistor."),
        None => Line::told(what, origin())
            .expecting(Expected::value(rest / amps, "ohm"))
            .because("No resistor that is sold takes this heat; a transformer does."),
    }
}
