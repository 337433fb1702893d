//! Currents and watts from the readings, with their uncertainty.
//!
//! Each reading has a rectangular half-width: the meter's share of reading plus two digits, a resistor's tolerance or
//! its own reading, the range of the typical screen share. Their effects on a result are added as squares, each over the
//! root of 3 (JCGM 100:2008, from memory, not seen), and doubled for about 95 %.

use super::BiasRequest;
use super::limits::{MEASURING_OHMS, screen_share, section_of};
use crate::chart::uncertainty::combine_half_widths;
use crate::sheet::Origin;
use crate::typed::Typed;
use wiring::sheet::Sheet as DataSheet;

/// Error of reading of an unknown meter on direct volts: 0.5 %, with two digits. Common practice, no source.
pub(super) const METER: f64 = 0.005;

/// Error of an unknown meter on ohms: 1 %, with two digits. Common practice, no source.
const OHMS_METER: f64 = 0.01;

/// Digits of the display that count besides. Common practice, no source.
const DIGITS: f64 = 2.0;

/// A cathode resistor that was not read: the 10 % that an output stage's may have drifted (rule `res.drift.cathode`).
const UNREAD: f64 = 0.10;

/// A resistor that is there to measure at: 1 % (rule `bias.method`).
const MEASURING: f64 = 0.01;

/// Two ways to the same current may differ by this. Common practice, no source.
pub(super) const CLASH_PERCENT: f64 = 5.0;

/// A result and its expanded uncertainty (k = 2), same unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// The result.
    pub value: f64,
    /// Either way, about 95 %.
    pub expanded: f64,
}

/// What the readings say of one valve.
#[derive(Debug, Clone, PartialEq)]
pub struct Currents {
    /// Plate to cathode.
    pub plate_volts: Option<Reading>,
    /// Screen to cathode.
    pub screen_volts: Option<Reading>,
    /// Plate and screen together.
    pub cathode_amps: Option<Reading>,
    /// Screen alone.
    pub screen_amps: Option<Reading>,
    /// How it is known.
    pub screen_origin: Origin,
    /// Plate alone.
    pub plate_amps: Option<Reading>,
    /// How it is known.
    pub plate_origin: Origin,
    /// Plate dissipation.
    pub plate_watts: Option<Reading>,
    /// Screen dissipation.
    pub screen_watts: Option<Reading>,
    /// By how many per cent the primary's figure differs from the cathode's.
    pub two_ways: Option<f64>,
}

/// Values with half-widths, by name.
struct Inputs {
    values: [f64; COUNT],
    halves: [f64; COUNT],
    there: [bool; COUNT],
}

const PLATE: usize = 0;
const CATHODE: usize = 1;
const OHMS: usize = 2;
const SCREEN: usize = 3;
const SCREEN_DROP: usize = 4;
const SCREEN_OHMS: usize = 5;
const PRIMARY_DROP: usize = 6;
const PRIMARY_OHMS: usize = 7;
const SHARE: usize = 8;
const COUNT: usize = 9;

impl Inputs {
    fn has(&self, all: &[usize]) -> bool {
        all.iter().all(|i| self.there.get(*i) == Some(&true))
    }

    /// A result of these inputs: its value, and the effect of each half-width on it.
    fn result(&self, of: impl Fn(&[f64; COUNT]) -> f64) -> Option<Reading> {
        let value = of(&self.values);
        let effects: Vec<f64> = (0..COUNT)
            .map(|i| {
                let moved = |sign: f64| {
                    let mut values = self.values;
                    values[i] += sign * self.halves[i];
                    of(&values)
                };
                (moved(1.0) - moved(-1.0)) / 2.0
            })
            .collect();
        let expanded = 2.0 * combine_half_widths(&effects);
        (value.is_finite() && expanded.is_finite()).then_some(Reading { value, expanded })
    }
}

/// The tolerance that an unread resistor counts with, a fraction.
pub(super) fn tolerance(given: &BiasRequest<'_>, ohms: Option<Typed>) -> f64 {
    given.tolerance.unwrap_or(match ohms {
        Some(ohms) if ohms.value <= MEASURING_OHMS => MEASURING,
        _ => UNREAD,
    })
}

fn inputs(given: &BiasRequest<'_>, valve: &DataSheet) -> Inputs {
    let mut all = Inputs {
        values: [0.0; COUNT],
        halves: [0.0; COUNT],
        there: [false; COUNT],
    };
    let mut put = |i: usize, typed: Option<Typed>, half: f64, sound: bool| {
        if let Some(typed) = typed.filter(|t| t.value.is_finite() && sound) {
            all.values[i] = typed.value;
            all.halves[i] = if half.is_finite() { half.abs() } else { 0.0 };
            all.there[i] = true;
        }
    };
    let meter = given.meter.filter(|m| m.is_finite()).unwrap_or(METER);
    let volts = |typed: Option<Typed>| {
        typed.map_or(0.0, |t| meter * t.value.abs() + DIGITS * t.digit.abs())
    };
    let read = |typed: Option<Typed>| {
        typed.map_or(0.0, |t| OHMS_METER * t.value.abs() + DIGITS * t.digit.abs())
    };
    let resistor = |typed: Option<Typed>| {
        if given.ohms_measured {
            read(typed)
        } else {
            tolerance(given, typed) * typed.map_or(0.0, |t| t.value.abs())
        }
    };
    let above_zero = |typed: Option<Typed>| typed.is_some_and(|t| t.value > 0.0);
    let not_below = |typed: Option<Typed>| typed.is_some_and(|t| t.value >= 0.0);
    put(
        PLATE,
        given.plate,
        volts(given.plate),
        above_zero(given.plate),
    );
    put(
        CATHODE,
        given.cathode,
        volts(given.cathode),
        not_below(given.cathode),
    );
    put(
        OHMS,
        given.ohms,
        resistor(given.ohms),
        above_zero(given.ohms),
    );
    put(
        SCREEN,
        given.screen,
        volts(given.screen),
        above_zero(given.screen),
    );
    let drop = given.screen_drop;
    put(SCREEN_DROP, drop, volts(drop), not_below(drop));
    let ohms = given.screen_ohms;
    put(SCREEN_OHMS, ohms, resistor(ohms), above_zero(ohms));
    let drop = given.primary_drop;
    put(PRIMARY_DROP, drop, volts(drop), not_below(drop));
    // A winding has no marking: its ohms were read.
    let ohms = given.primary_ohms;
    put(PRIMARY_OHMS, ohms, read(ohms), above_zero(ohms));
    let share = screen_share(valve);
    put(
        SHARE,
        Some(Typed::exact((share.low + share.high) / 2.0)),
        (share.high - share.low) / 2.0,
        true,
    );
    all
}

/// Everything that the readings give.
pub(super) fn of(given: &BiasRequest<'_>, valve: &DataSheet) -> Currents {
    let all = inputs(given, valve);
    let share = screen_share(valve);
    let sharing = given.sharing();
    let on_half = f64::from(given.on_half.max(1));
    let cathode = move |x: &[f64; COUNT]| x[CATHODE] / (x[OHMS] * sharing);
    let measured_screen = |x: &[f64; COUNT]| x[SCREEN_DROP] / x[SCREEN_OHMS];
    let by_primary = move |x: &[f64; COUNT]| x[PRIMARY_DROP] / (x[PRIMARY_OHMS] * on_half);
    let has_cathode = all.has(&[CATHODE, OHMS]);
    let has_screen = all.has(&[SCREEN_DROP, SCREEN_OHMS]);
    let has_primary = all.has(&[PRIMARY_DROP, PRIMARY_OHMS]);

    let screen = move |x: &[f64; COUNT]| {
        if has_screen {
            measured_screen(x)
        } else if has_cathode {
            x[SHARE] * cathode(x)
        } else {
            x[SHARE] / (1.0 - x[SHARE]) * by_primary(x)
        }
    };
    let plate = move |x: &[f64; COUNT]| {
        if has_cathode {
            cathode(x) - screen(x)
        } else {
            by_primary(x)
        }
    };
    let known = has_cathode || has_primary;
    let screened = section_of(valve).1;
    let when =
        |there: bool, of: &dyn Fn(&[f64; COUNT]) -> f64| there.then(|| all.result(of)).flatten();
    let plate_volts = |x: &[f64; COUNT]| x[PLATE] - x[CATHODE];
    let screen_volts = |x: &[f64; COUNT]| x[SCREEN] - x[CATHODE];
    let two_ways = (has_cathode && has_primary)
        .then(|| 100.0 * (by_primary(&all.values) / plate(&all.values) - 1.0))
        .filter(|percent| percent.is_finite());
    Currents {
        plate_volts: when(all.has(&[PLATE]), &plate_volts),
        screen_volts: when(all.has(&[SCREEN]), &screen_volts),
        cathode_amps: when(has_cathode, &cathode),
        screen_amps: when(screened && (known || has_screen), &screen),
        screen_origin: if has_screen {
            Origin::computed("screen drop / screen resistor")
        } else {
            share.origin
        },
        plate_amps: when(known, &plate),
        plate_origin: Origin::computed(if has_cathode {
            "cathode current less screen current"
        } else {
            "drop across half the primary / its ohms / valves on it"
        }),
        plate_watts: when(known && all.has(&[PLATE]), &|x| plate_volts(x) * plate(x)),
        screen_watts: when(
            screened && (known || has_screen) && all.has(&[SCREEN]),
            &|x| screen_volts(x) * screen(x),
        ),
        two_ways,
    }
}
