//! Bias from typed readings: plate and screen watts of each output valve, in per cent of its limits, with the
//! uncertainty of the readings; where it should be, and the resistor to fit.
//!
//! Plate watts are plate volts *against the cathode* times plate current. A cathode resistor reads plate and screen
//! current together; the drop across half the output transformer's primary reads the plates alone. Of the limits that a
//! type's sheets list the lowest guards the valve, and no target is above it.

mod currents;
mod limits;
mod target;

#[cfg(test)]
mod tests;

pub use currents::{Currents, Reading};
pub use limits::{ScreenShare, screen_share};
pub use target::{CathodeResistor, NowPoint, Stage, Window, cathode_resistor, window};

use crate::rules::rules;
use crate::sheet::{Expected, Figure, Limit, Line, Origin, Outcome, Sheet};
use crate::typed::Typed;
use wiring::sheet::{Library, LimitQuantity, Sheet as DataSheet};

/// What was typed. Volts are against ground.
#[derive(Debug, Clone, Default)]
pub struct BiasRequest<'l> {
    /// The valve's data sheet.
    pub valve: Option<&'l DataSheet>,
    /// Volts at the plate.
    pub plate: Option<Typed>,
    /// Volts across the cathode resistor.
    pub cathode: Option<Typed>,
    /// The cathode resistor, ohms.
    pub ohms: Option<Typed>,
    /// Valves that share it; 0 counts as 1.
    pub shared: u32,
    /// Volts across the other side's cathode resistor.
    pub other: Option<Typed>,
    /// Volts at the screen.
    pub screen: Option<Typed>,
    /// Volts across the screen resistor of one valve.
    pub screen_drop: Option<Typed>,
    /// That resistor, ohms.
    pub screen_ohms: Option<Typed>,
    /// Volts across one half of the output transformer's primary.
    pub primary_drop: Option<Typed>,
    /// Ohms of that half, read warm.
    pub primary_ohms: Option<Typed>,
    /// Valves on that half; 0 counts as 1.
    pub on_half: u32,
    /// Error of reading of the meter on direct volts, a fraction; 0.5 % when it isn't said.
    pub meter: Option<f64>,
    /// The resistors were read with a meter.
    pub ohms_measured: bool,
    /// Their tolerance, a fraction, when they were not.
    pub tolerance: Option<f64>,
    /// What sort of stage it is.
    pub stage: Option<Stage>,
    /// Plate watts to aim at, a fraction of the lowest limit.
    pub target: Option<f64>,
}

impl BiasRequest<'_> {
    fn sharing(&self) -> f64 {
        f64::from(self.shared.max(1))
    }

    /// What sort of stage the readings speak of, when nothing was said: a small resistor is there to measure, and
    /// valves that share one are a pair.
    fn sort(&self) -> Option<Stage> {
        self.stage.or(match self.ohms {
            Some(ohms) if ohms.value <= limits::MEASURING_OHMS => Some(Stage::FixedBias),
            Some(_) if self.shared >= 2 => Some(Stage::CathodePair),
            _ => None,
        })
    }
}

/// The sheet.
#[must_use]
pub fn bias(given: &BiasRequest<'_>, library: &Library) -> Sheet {
    let mut sheet = Sheet::new("bias", "Bias of the output valves");
    ask(&mut sheet, given);
    let Some(valve) = given.valve else {
        return sheet;
    };
    sheet.title = format!("Bias of the output valves, {}", valve.name);
    conditions(&mut sheet, given);
    let now = currents::of(given, valve);
    readings(&mut sheet, given, valve, &now, library);
    limits::add(&mut sheet, given, valve, &now, library);
    target::add(&mut sheet, given, valve, &now);
    sheet.note("Set it after 20 to 30 minutes, read the plate again after each change, and look again at the highest mains expected.");
    if !given.ohms_measured && given.ohms.is_some() && given.tolerance.is_none() {
        let percent = 100.0 * currents::tolerance(given, given.ohms);
        sheet.note(format!(
            "The ohms count as marked, {percent} % either way. Read them and add `--measured`; the result gets that much surer."
        ));
    }
    sheet.note("Uncertainties are expanded, about 95 % (k = 2): meter 0.5 % + 2 digits unless typed, resistors, screen share; rectangular half-widths over the root of 3.");
    sheet
}

/// Currents and volts of one valve; nothing without its type.
pub(crate) fn currents_of(given: &BiasRequest<'_>) -> Option<Currents> {
    Some(currents::of(given, given.valve?))
}

/// Names what is missing for a result.
fn ask(sheet: &mut Sheet, given: &BiasRequest<'_>) {
    if given.valve.is_none() {
        sheet.missing("the valve's type", "Type it, `--valve EL84`.");
    }
    if given.plate.is_none() {
        sheet.missing(
            "the plate volts",
            "Type them against ground, `--plate 310`.",
        );
    }
    let half = |a: Option<Typed>, b: Option<Typed>| a.is_some() != b.is_some();
    if half(given.cathode, given.ohms) {
        sheet.missing(
            "the cathode current",
            "Type both the volts across the cathode resistor and its ohms, `--cathode 11.2 --ohms 130`; with 1 ohm to measure at, `--cathode 38mV --ohms 1`.",
        );
    }
    if half(given.screen_drop, given.screen_ohms) {
        sheet.missing(
            "the screen current",
            "Type both the volts across one screen resistor and its ohms, `--screen-drop 4.7 --screen-ohms 1k`.",
        );
    }
    if half(given.primary_drop, given.primary_ohms) {
        sheet.missing(
            "the plate current",
            "Type both the volts across half the primary and its ohms, `--primary-drop 4.1 --primary-ohms 62`.",
        );
    }
    let none = given.cathode.is_none() && given.primary_drop.is_none();
    if none {
        sheet.missing(
            "a reading of the current",
            "Type the volts across the cathode resistor and its ohms, `--cathode 11.2 --ohms 130`, or the drop across half the primary, `--primary-drop 4.1 --primary-ohms 62`.",
        );
    }
}

fn conditions(sheet: &mut Sheet, given: &BiasRequest<'_>) {
    if let Some(stage) = given.sort() {
        sheet.conditions.push(stage.words().to_owned());
    }
    if given.shared >= 2 {
        sheet
            .conditions
            .push(format!("{} valves on one cathode resistor", given.shared));
    }
    let meter = given.meter.unwrap_or(currents::METER);
    sheet
        .conditions
        .push(format!("meter {} % + 2 digits", 100.0 * meter));
}

fn figure(reading: Reading, unit: &str) -> Figure {
    Figure::new(reading.value, unit).plus_minus(reading.expanded)
}

fn readings(
    sheet: &mut Sheet,
    given: &BiasRequest<'_>,
    valve: &DataSheet,
    now: &Currents,
    library: &Library,
) {
    let mut lines = Vec::new();
    let section = limits::section_of(valve);
    let guarded =
        |quantity, what: &str, reading: Reading, unit: &str, how: Origin| match limits::guarding(
            valve, section, quantity, library,
        ) {
            Some((limit, origin)) => Line::read(
                what,
                figure(reading, unit),
                Limit::at_most(limit, unit),
                origin,
            ),
            None => Line::told(what, how).showing(figure(reading, unit)),
        };
    if let Some(volts) = now.plate_volts {
        lines.push(guarded(
            LimitQuantity::PlateVolts,
            "Plate to cathode",
            volts,
            "V",
            Origin::computed("plate less cathode"),
        ));
        if given.cathode.is_none() {
            sheet.note("No cathode volts were typed: the cathode is taken at ground.");
        }
    }
    if let Some(amps) = now.cathode_amps {
        lines.push(guarded(
            LimitQuantity::CathodeAmps,
            "Cathode current, each valve",
            amps,
            "A",
            Origin::computed("cathode volts / ohms / valves that share it"),
        ));
    }
    if let Some(amps) = now.screen_amps {
        lines.push(
            Line::told("Screen current, each valve", now.screen_origin.clone())
                .showing(figure(amps, "A")),
        );
    }
    if let Some(amps) = now.plate_amps {
        lines.push(
            Line::told("Plate current, each valve", now.plate_origin.clone())
                .showing(figure(amps, "A")),
        );
    }
    if let Some(percent) = now.two_ways {
        lines.push(
            Line::read(
                "Plate current by the primary, off by",
                Figure::new(percent.abs(), "%"),
                Limit::at_most(currents::CLASH_PERCENT, "%"),
                Origin::practice(),
            )
            .because(if percent.abs() > currents::CLASH_PERCENT {
                "Cathode and primary disagree: read both again before any valve or part is blamed. The cathode's figure is used."
            } else {
                ""
            }),
        );
    }
    lines.extend(balance(given));
    sheet.section("Readings", lines);
}

/// The difference between two sides, against what a pair may differ.
fn balance(given: &BiasRequest<'_>) -> Option<Line> {
    let (one, other) = (given.cathode?.value, given.other?.value);
    let mean = (one + other) / 2.0;
    let percent = 100.0 * ((one - other) / mean).abs();
    let good = rules().figure("bias.balance", "good")?;
    let again = rules().figure("bias.balance", "re-match above")?;
    let line = Line::read(
        "Difference between the two sides",
        Figure::new(percent, "%"),
        Limit::at_most(again, "%"),
        Origin::rule("bias.balance"),
    );
    Some(if line.outcome() == Outcome::Fail {
        line.because("Match the valves again, and look at the circuit of the side that is off.")
    } else if percent > good {
        line.doubted("More than a good pair: it costs some hum and bass.")
    } else {
        line
    })
}

/// A line for a figure that a sheet tells without judging.
fn told(what: impl Into<String>, origin: Origin, value: f64, unit: &str) -> Line {
    Line::told(what, origin).expecting(Expected::value(value, unit))
}
