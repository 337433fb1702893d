//! Where the bias should be, the current that is, and the cathode resistor that brings it there.

use super::currents::Currents;
use super::limits::{screen_share, section_of};
use super::{BiasRequest, told};
use crate::part::{Resistor, ResistorNeed, Toward, power_factor, resistor};
use crate::rules::rules;
use crate::sheet::{Expected, Figure, Limit, Line, Origin, Outcome, Sheet};
use solve::device::{ValveLaw, law_for};
use wiring::sheet::{LimitQuantity, Sheet as DataSheet};
use wiring::units::{Quantity, engineering};

/// How an output stage gets its bias.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// Push-pull with a negative supply.
    FixedBias,
    /// Push-pull with cathode resistors.
    CathodePair,
    /// One valve, or several in step, with a cathode resistor.
    SingleEnded,
}

impl Stage {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::FixedBias => "fixed bias, push-pull",
            Self::CathodePair => "cathode bias, push-pull",
            Self::SingleEnded => "single-ended",
        }
    }

    fn rule(self) -> &'static str {
        match self {
            Self::FixedBias => "bias.target.fixed_ab",
            Self::CathodePair | Self::SingleEnded => "bias.target.cathode",
        }
    }
}

/// Plate watts at idle that a stage should have, fractions of the lowest limit of its valves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Below this it is cold.
    pub low: f64,
    /// Never above.
    pub high: f64,
    /// Where to begin.
    pub start: f64,
}

/// The window of a stage; never above all of the limit. None without the rules.
#[must_use]
pub fn window(stage: Stage) -> Option<Window> {
    let range = |name| rules().range(stage.rule(), name);
    let (low, high, start) = match stage {
        Stage::FixedBias => {
            let (low, high) = range("range")?;
            let never = rules().figure(stage.rule(), "never above")?;
            let start = rules().figure(stage.rule(), "start")?;
            (low, high.min(never), start)
        }
        Stage::CathodePair => {
            let (low, high) = range("push-pull")?;
            (low, high, (low + high) / 2.0)
        }
        Stage::SingleEnded => {
            let (low, high) = range("single-ended")?;
            (low, high, (low + high) / 2.0)
        }
    };
    let high = (high / 100.0).min(1.0);
    Some(Window {
        low: low / 100.0,
        high,
        start: (start / 100.0).min(high),
    })
}

/// A cathode resistor that brings a valve to plate watts, as the valve's law has it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CathodeResistor {
    /// The resistor.
    pub part: Resistor,
    /// Volts across it then.
    pub volts: f64,
    /// Plate watts of each valve then.
    pub plate_watts: f64,
}

/// What the law needs to know.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NowPoint {
    /// Plate volts against ground.
    pub plate: f64,
    /// Screen volts against ground; those of the plate for a valve without a screen.
    pub screen: f64,
    /// Cathode volts.
    pub cathode: f64,
    /// Plate current, amperes.
    pub plate_amps: f64,
    /// Valves on the resistor.
    pub sharing: f64,
}

/// The next larger standard resistor for plate watts of at most `aim`, plate and screen staying where they are.
///
/// The valve's law is scaled so that it gives the current read at the volts read. None where the law is unknown, doesn't
/// fit the readings within a factor of two, or no resistor does it.
#[must_use]
pub fn cathode_resistor(valve: &DataSheet, now: &NowPoint, aim: f64) -> Option<CathodeResistor> {
    let law = law_for(valve, section_of(valve).0)?;
    let plain = currents(law, now, now.cathode)?;
    let emission = now.plate_amps / plain.0;
    if !(0.5..=2.0).contains(&emission) {
        return None;
    }
    let law = law.at_emission(emission);
    let watts = |volts: f64| Some(currents(law, now, volts)?.0 * (now.plate - volts));
    // Plate watts fall as the cathode rises.
    let mut low = 0.0;
    let mut high = now.plate / 2.0;
    if !(watts(low)? > aim && watts(high)? < aim) {
        return None;
    }
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if watts(middle)? > aim {
            low = middle;
        } else {
            high = middle;
        }
    }
    let (plate, screen) = currents(law, now, high)?;
    let ohms = high / ((plate + screen) * now.sharing);
    let part = resistor(&ResistorNeed {
        ohms,
        toward: Toward::Larger,
        volts: high * 1.2,
        factor: power_factor()?,
        least_watts: 0.0,
    })?;
    // The volts that settle across the standard value: they rise with it.
    let settled = |volts: f64| {
        let (plate, screen) = currents(law, now, volts)?;
        Some((plate + screen) * now.sharing * part.total_ohms() - volts)
    };
    let (mut low, mut high) = (0.0, now.plate / 2.0);
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if settled(middle)? > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    let volts = (low + high) / 2.0;
    let plate_watts = watts(volts)?;
    // Rated for the volts it really gets.
    let enough =
        volts * volts / part.total_ohms() * power_factor()? <= part.watts * f64::from(part.count);
    (enough && plate_watts <= aim * (1.0 + 1e-6)).then_some(CathodeResistor {
        part,
        volts,
        plate_watts,
    })
}

/// Plate and screen amperes with so many volts at the cathode, grid at ground.
fn currents(law: ValveLaw, now: &NowPoint, cathode: f64) -> Option<(f64, f64)> {
    let (plate, screen) = (now.plate - cathode, now.screen - cathode);
    let found = match law {
        ValveLaw::Pentode(law) => {
            let point = law.currents(plate, screen, -cathode);
            (point.plate.amps, point.screen.amps)
        }
        ValveLaw::Triode(law) => (law.currents(plate, -cathode).plate_a, 0.0),
        ValveLaw::Rectifier(_) => return None,
    };
    (found.0 > 0.0 && found.0.is_finite() && found.1.is_finite()).then_some(found)
}

pub(super) fn add(sheet: &mut Sheet, given: &BiasRequest<'_>, valve: &DataSheet, now: &Currents) {
    let Some(limit) = valve.guarding_limit(section_of(valve).0, LimitQuantity::PlateWatts) else {
        return;
    };
    let Some(stage) = given.sort() else {
        sheet.missing(
            "where the bias should be",
            "Say what stage it is, `--stage fixed`, `--stage pair` (cathode bias, push-pull) or `--stage single`.",
        );
        return;
    };
    let Some(window) = window(stage) else { return };
    let rule = || Origin::rule(stage.rule());
    let mut lines = Vec::new();
    if let Some(watts) = now.plate_watts {
        let scale = 100.0 / limit;
        let percent = Figure::new(watts.value * scale, "%").plus_minus(watts.expanded * scale);
        let line = Line::read(
            "Plate, of its lowest limit",
            percent,
            Limit::at_most(window.high * 100.0, "%"),
            rule(),
        )
        .expecting(Expected::range(
            window.low * 100.0,
            window.high * 100.0,
            "%",
        ));
        lines.push(if line.outcome() == Outcome::Fail {
            line.because("Too hot for this stage.")
        } else if watts.value * scale < window.low * 100.0 {
            line.because("Cold: safe for the valve, and it may sound thin.")
        } else {
            line
        });
    }
    let aim = match given.target {
        Some(target) => {
            let line = Line::read(
                "The target typed",
                Figure::new(target * 100.0, "%"),
                Limit::at_most(window.high * 100.0, "%"),
                rule(),
            );
            let allowed = line.outcome() == Outcome::Pass && target > 0.0;
            lines.push(if allowed {
                line
            } else {
                line.because("Nothing is proposed for it.")
            });
            if !allowed {
                sheet.section("Where it should be", lines);
                return;
            }
            target
        }
        None => window.start,
    };
    if let Some(volts) = now.plate_volts.filter(|v| v.value > 0.0) {
        let amps = aim * limit / volts.value;
        if amps <= most_amps(given, valve, volts.value) {
            currents_to_aim_at(given, valve, limit, aim, amps, &mut lines);
        } else {
            sheet.missing(
                "the plate current to aim at",
                "The valve cannot idle at that current with so few plate volts: read the plate again, against ground.",
            );
        }
    }
    if stage != Stage::FixedBias {
        the_resistor(
            sheet,
            given,
            valve,
            now,
            limit * aim,
            window,
            limit,
            &mut lines,
        );
    }
    sheet.section("Where it should be", lines);
}

/// No valve idles at more amperes, whatever its type: common practice, no source.
const NEVER_AMPS: f64 = 1.0;

/// The highest plate current that the valve can idle at: its law's at zero grid volts, its limit of cathode current.
///
/// A screen that wasn't typed is taken at the plate's volts. Plate to cathode volts, amperes.
fn most_amps(given: &BiasRequest<'_>, valve: &DataSheet, plate_volts: f64) -> f64 {
    let section = section_of(valve).0;
    let cathode = given.cathode.map_or(0.0, |c| c.value.max(0.0));
    let by_law = law_for(valve, section).map(|law| {
        let now = NowPoint {
            plate: plate_volts,
            screen: given.screen.map_or(plate_volts, |s| s.value - cathode),
            cathode: 0.0,
            plate_amps: 0.0,
            sharing: 1.0,
        };
        currents(law, &now, 0.0).map_or(0.0, |(plate, _)| plate)
    });
    let by_limit = valve.guarding_limit(section, LimitQuantity::CathodeAmps);
    by_law
        .into_iter()
        .chain(by_limit)
        .fold(NEVER_AMPS, f64::min)
}

/// The plate current of the aim and what the cathode resistor shows then.
fn currents_to_aim_at(
    given: &BiasRequest<'_>,
    valve: &DataSheet,
    limit: f64,
    aim: f64,
    amps: f64,
    lines: &mut Vec<Line>,
) {
    lines.push(
        told(
            format!("Plate current for {} % of {limit} W", round(aim * 100.0)),
            Origin::computed("aim x lowest limit / plate to cathode volts"),
            amps,
            "A",
        )
        .because("At these plate volts; they fall as the current rises: read both again."),
    );
    let share = screen_share(valve);
    let middle = (share.low + share.high) / 2.0;
    if let Some(ohms) = given
        .ohms
        .filter(|o| o.value > 0.0 && o.value <= super::limits::MEASURING_OHMS)
    {
        let all = amps / (1.0 - middle) * given.sharing();
        lines.push(told(
            format!("Then {} shows", engineering(ohms.value, Quantity::Ohms)),
            share.origin,
            all * ohms.value,
            "V",
        ));
    }
}

fn round(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

#[allow(
    clippy::too_many_arguments,
    reason = "one place puts the resistor's lines on the sheet; a struct of the same names would say no more"
)]
fn the_resistor(
    sheet: &mut Sheet,
    given: &BiasRequest<'_>,
    valve: &DataSheet,
    now: &Currents,
    aim: f64,
    window: Window,
    limit: f64,
    lines: &mut Vec<Line>,
) {
    let (Some(plate), Some(cathode), Some(amps), Some(watts)) =
        (given.plate, given.cathode, now.plate_amps, now.plate_watts)
    else {
        return;
    };
    let hot = watts.value > window.high * limit;
    if !hot && given.target.is_none() {
        return;
    }
    let screened = section_of(valve).1;
    if screened && given.screen.is_none() {
        sheet.missing(
            "the cathode resistor to fit",
            "Type the screen volts against ground, `--screen 305`: the valve's current hangs on them.",
        );
        return;
    }
    let point = NowPoint {
        plate: plate.value,
        screen: given.screen.map_or(plate.value, |s| s.value),
        cathode: cathode.value,
        plate_amps: amps.value,
        sharing: given.sharing(),
    };
    let Some(found) = cathode_resistor(valve, &point, aim) else {
        sheet.missing(
            "the cathode resistor to fit",
            "The readings are too far from this type's curves, or no curves are known: is the type right, and were the readings taken together?",
        );
        return;
    };
    lines.push(
        Line::told(
            "Cathode resistor to fit",
            Origin::computed("the type's curves, scaled to the current read; plate and screen volts as typed"),
        )
        .at(found.part.words())
        .expecting(Expected::value(found.part.total_ohms(), "ohm"))
        .because(format!(
            "About {} across it and {} in each plate, {} % of {limit} W. Plate and screen volts rise a little with less current: read again.",
            Figure::new(found.volts, "V"),
            Figure::new(found.plate_watts, "W"),
            round(100.0 * found.plate_watts / limit),
        )),
    );
    if let Some(factor) = rules().figure(
        "cap.cathode_bypass.voltage",
        "output bypass rated / standing",
    ) {
        lines.push(told(
            "Its bypass capacitor rated at least",
            Origin::rule("cap.cathode_bypass.voltage"),
            factor * found.volts.max(cathode.value),
            "V",
        ));
    }
}
