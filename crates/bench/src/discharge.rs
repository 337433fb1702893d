//! How long capacitors take to empty through a resistor, what they hold, and the resistor it takes.
//!
//! From typed numbers alone. Exponential discharge, `t = R C ln(V0 / V)`, without the soakage of the
//! dielectric, which brings volts back after the resistor is taken off: hence the second measurement.
//! Energy `E = C V^2 / 2`.

use crate::part::{power_factor, rated_watts, resistor_volts};
use crate::rules::rules;
use crate::sheet::{Expected, Figure, Limit, Line, Origin, Sheet};
use crate::typed::{positive, positive_if_given};
use wiring::units::series::Series;
use wiring::units::{Quantity, engineering, rounded};

/// Volts below which a shock is no longer the danger, on the way to the volts to work at.
///
/// Below the 60 V of rule `live.discharge`; common practice, no source.
const ON_THE_WAY_VOLTS: f64 = 50.0;

/// What was typed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Discharge {
    /// Each capacitor, farads.
    pub capacitors: Vec<f64>,
    /// Volts they stand at.
    pub volts: Option<f64>,
    /// The discharge resistor, ohms.
    pub ohms: Option<f64>,
    /// Volts measured afterwards.
    pub left: Option<f64>,
}

/// Seconds from one voltage down to another through a resistor. 0 where it is already below; none
/// for anything that is no number above zero.
#[must_use]
pub fn seconds_to(ohms: f64, farads: f64, from: f64, to: f64) -> Option<f64> {
    let sound = [ohms, farads, from, to];
    if sound.iter().any(|v| !(v.is_finite() && *v > 0.0)) {
        return None;
    }
    Some(ohms * farads * (from / to).ln().max(0.0))
}

/// Joules in a capacitor.
#[must_use]
pub fn joules(farads: f64, volts: f64) -> f64 {
    farads * volts * volts / 2.0
}

/// The sheet.
#[must_use]
pub fn discharge(given: &Discharge) -> Sheet {
    let mut sheet = Sheet::new("discharge", "Discharge of capacitors");
    let volts = positive(
        &mut sheet,
        given.volts,
        "the volts the capacitors stand at",
        "Type `--volts 420`; without a reading take the highest the supply can reach, 1.41 times the secondary's volts rms per side.",
    );
    let ohms = positive_if_given(
        &mut sheet,
        given.ohms,
        "the discharge resistor",
        "Type its ohms, `--ohms 10k`.",
    );
    let capacitors: Vec<f64> = given
        .capacitors
        .iter()
        .copied()
        .filter(|c| c.is_finite() && *c > 0.0)
        .collect();
    if capacitors.len() < given.capacitors.len() || capacitors.is_empty() {
        sheet.missing(
            "every capacitance as a number above zero",
            "Type each, `--capacitance 32u,16u`; a can of two is `8+8u`.",
        );
    }
    if let Some(volts) = volts {
        let ohms = ohms.or_else(|| suggested(&mut sheet, volts));
        sheet
            .conditions
            .push(format!("from {}", engineering(volts, Quantity::Volts)));
        if let Some(ohms) = ohms {
            sheet
                .conditions
                .push(format!("through {}", resistance(ohms)));
        }
        each(&mut sheet, &capacitors, volts, ohms);
        if let Some(ohms) = ohms {
            the_resistor(&mut sheet, &capacitors, volts, ohms);
        }
    }
    then(&mut sheet, &capacitors, given.left);
    sheet
}

fn resistance(ohms: f64) -> String {
    if ohms < 1000.0 {
        format!("{ohms} ohm")
    } else {
        engineering(ohms, Quantity::Ohms)
    }
}

/// A resistor where none was typed: the first current at most 50 mA, inside the rule's range.
fn suggested(sheet: &mut Sheet, volts: f64) -> Option<f64> {
    let (least, most) = rules().range("live.discharge", "discharge resistor")?;
    let ohms = Series::E12.at_least((volts / 0.05).clamp(least, most))?;
    sheet.note(format!(
        "No resistor was typed, so {} is taken: it keeps the first current at or near 50 mA (our choice) and is within the trade's {} to {}.",
        resistance(ohms),
        resistance(least),
        resistance(most)
    ));
    Some(ohms)
}

fn each(sheet: &mut Sheet, capacitors: &[f64], volts: f64, ohms: Option<f64>) {
    let how = || Origin::computed("R x C x ln(V0 / V), exponential discharge");
    let safe = rules().figure("live.discharge", "work only below");
    let mut all: Vec<(String, f64)> = Vec::new();
    for farads in capacitors {
        let equal = capacitors.iter().filter(|c| *c == farads).count();
        let mut name = rounded(*farads, Quantity::Farads, 3);
        if equal > 1 {
            name.push_str(&format!(", each of {equal}"));
        }
        if !all.iter().any(|(known, _)| *known == name) {
            all.push((name, *farads));
        }
    }
    if capacitors.len() > 1 {
        let sum: f64 = capacitors.iter().sum();
        all.push((
            format!("all joined, {}", rounded(sum, Quantity::Farads, 3)),
            sum,
        ));
    }
    let mut lines = Vec::new();
    for (name, farads) in &all {
        if let Some(ohms) = ohms {
            for to in [Some(ON_THE_WAY_VOLTS), safe].into_iter().flatten() {
                if let Some(seconds) = seconds_to(ohms, *farads, volts, to) {
                    lines.push(
                        Line::told(format!("{name}: to {to} V"), how())
                            .expecting(Expected::value(seconds, "s")),
                    );
                }
            }
        }
        let energy = joules(*farads, volts);
        lines.push(
            Line::told(format!("{name}: holds"), Origin::computed("C x V^2 / 2"))
                .expecting(Expected::value(energy, "J")),
        );
    }
    sheet.section("", lines);
    let total = joules(capacitors.iter().sum(), volts);
    if total.is_finite() && total > 0.0 {
        meaning(sheet, total, volts);
    }
}

/// What so many joules at so many volts do.
fn meaning(sheet: &mut Sheet, joules: f64, volts: f64) {
    let hazard = rules()
        .figure("live.discharge", "hazard threshold")
        .unwrap_or(0.0);
    if volts < ON_THE_WAY_VOLTS.min(hazard) {
        sheet.note("At these volts a shock is not the danger; a spark and a burn are.");
        return;
    }
    // A discharge of more than 10 J into the body can be lethal, 0.25 J gives a heavy shock: a laboratory
    // safety sheet "Discharge of Capacitors", seen second-hand, not verified in the original.
    let words = if joules >= 10.0 {
        "10 J and more through a body can kill."
    } else if joules >= 0.25 {
        "0.25 J already is a heavy shock, and 10 J can kill."
    } else {
        "Less than the 0.25 J of a heavy shock, but a hand that is thrown back meets other live parts."
    };
    sheet.note(format!(
        "{} in all. {words} These figures are of a laboratory's sheet on capacitors, not verified in the original; no stored energy, however small, makes such volts safe to touch.",
        Figure::new(joules, "J")
    ));
}

fn the_resistor(sheet: &mut Sheet, capacitors: &[f64], volts: f64, ohms: f64) {
    let mut lines = Vec::new();
    let rule = || Origin::rule("live.discharge");
    let farads: f64 = capacitors.iter().sum();
    if let Some((least, most)) = rules().range("live.discharge", "discharge resistor") {
        lines.push(Line::read(
            "Resistance",
            Figure::new(ohms, "ohm"),
            Limit::between(least, most, "ohm"),
            rule(),
        ));
    }
    lines.push(
        Line::told("Current in the first moment", Origin::computed("V / R"))
            .expecting(Expected::value(volts / ohms, "A")),
    );
    lines.push(
        Line::told("Watts in the first moment", Origin::computed("V^2 / R"))
            .expecting(Expected::value(volts * volts / ohms, "W"))
            .because("It falls with the square of the volts. Left on while the amplifier is switched on, the resistor has all of it."),
    );
    let least = rules().figure("live.discharge", "discharge resistor rating");
    let heat = first_second_joules(farads, volts, ohms);
    let need = power_factor()
        .zip(least)
        .map(|(factor, least)| (heat * factor).max(least));
    let rating = need.and_then(rated_watts);
    match (rating, rating.and_then(resistor_volts)) {
        (Some(watts), Some(stands)) => {
            let in_series = (volts / stands).ceil().max(1.0);
            let words = if in_series > 1.0 {
                format!("{in_series} equal ones in series, each of this rating. ")
            } else {
                String::new()
            };
            lines.push(
                Line::told("Rating to use, at least", rule())
                    .expecting(Expected::value(watts, "W"))
                    .because(format!(
                        "{words}Wirewound, insulated for 1 kV. The heat of the first second, {}, over the share of its rating that a resistor may take, and no less than the rule's watts.",
                        Figure::new(heat, "J")
                    )),
            );
            lines.push(
                Line::told("Volts it must stand, at least", Origin::rule("res.voltage"))
                    .expecting(Expected::value(volts, "V"))
                    .because(format!(
                        "One resistor of this size stands {}.",
                        Figure::new(stands, "V")
                    )),
            );
        }
        _ => sheet.missing(
            "a rating for this resistor",
            "No single resistor that is sold takes this heat: use a larger resistance, or empty the capacitors one by one.",
        ),
    }
    let longest = rules()
        .figure("live.discharge", "time")
        .zip(rules().figure("live.discharge", "work only below"))
        .and_then(|(times, safe)| {
            let down = seconds_to(ohms, farads, volts, safe)?;
            Some(2.0 * down.max(times * ohms * farads))
        });
    if let Some(seconds) = longest {
        lines.push(
            Line::told("Leave it on for, at least", rule())
                .expecting(Expected::value(seconds, "s"))
                .because("Twice the longer of 5 x R x C and the time to 10 V, for all capacitors joined: an electrolytic may have twice its marked capacitance (-20/+100 %, common practice, no source). Then measure."),
        );
    }
    sheet.section("The resistor", lines);
}

/// Joules that the resistor turns to heat in the first second.
fn first_second_joules(farads: f64, volts: f64, ohms: f64) -> f64 {
    joules(farads, volts) * -(-2.0 / (ohms * farads)).exp_m1()
}

fn then(sheet: &mut Sheet, capacitors: &[f64], left: Option<f64>) {
    let Some(safe) = rules().figure("live.discharge", "work only below") else {
        sheet.missing("the volts to work below", "Keep to 10 V.");
        return;
    };
    let limit = || Limit::at_most(safe, "V");
    let origin = || Origin::rule("live.discharge");
    let what = if capacitors.len() > 1 {
        "Volts left, the highest of all"
    } else {
        "Volts left"
    };
    let first = match left {
        Some(volts) => Line::read(what, Figure::new(volts.abs(), "V"), limit(), origin()).or_stop(),
        None => Line::open(what, origin()).limited(limit()),
    };
    let again = Line::open("The same, 5 minutes later", origin())
        .limited(limit())
        .because("Volts come back out of the dielectric. Leave the resistor on while working.");
    sheet.section("Measure before touching", vec![first, again]);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::Outcome;
    use proptest::prelude::*;

    /// 220k on 50 µF from 450 V is 22 s to 60 V: the worked example of a bleeder (computed; the
    /// choice is common practice, no source).
    #[test]
    fn the_worked_example_of_a_bleeder() {
        let seconds = seconds_to(220e3, 50e-6, 450.0, 60.0).unwrap();
        assert!((seconds - 22.0).abs() < 0.5, "{seconds}");
    }

    /// After one time constant 36.8 % is left, after five less than 1 % (any textbook).
    #[test]
    fn a_time_constant_leaves_what_it_should() {
        let tau = 10e3 * 32e-6;
        let one = seconds_to(10e3, 32e-6, 420.0, 420.0 / std::f64::consts::E).unwrap();
        assert!((one / tau - 1.0).abs() < 1e-12);
        let five = seconds_to(10e3, 32e-6, 420.0, 420.0 * 0.006_738).unwrap();
        assert!((five / tau - 5.0).abs() < 1e-3);
        assert_eq!(seconds_to(10e3, 32e-6, 5.0, 10.0), Some(0.0));
    }

    #[test]
    fn a_usual_reservoir() {
        let sheet = discharge(&Discharge {
            capacitors: vec![32e-6],
            volts: Some(420.0),
            ohms: Some(10e3),
            left: None,
        });
        let expected = |what: &str| {
            sheet
                .lines()
                .find(|l| l.what().starts_with(what))
                .and_then(|l| l.expected()?.value)
                .unwrap_or_else(|| panic!("{what}"))
        };
        assert!((expected("32 µF: to 10 V") - 1.196).abs() < 0.01);
        assert!((expected("32 µF: holds") - 2.82).abs() < 0.01);
        assert!((expected("Rating") - 5.0).abs() < 1e-9);
        assert_eq!(sheet.count(Outcome::Open), 2, "both measurements");
        assert_eq!(sheet.count(Outcome::Pass), 1, "the resistor typed");
    }

    #[test]
    fn volts_left_are_judged_and_stop_the_work() {
        let given = |left| Discharge {
            capacitors: vec![32e-6, 16e-6],
            volts: Some(420.0),
            ohms: Some(10e3),
            left: Some(left),
        };
        assert_eq!(discharge(&given(-38.0)).count(Outcome::Stop), 1);
        assert_eq!(discharge(&given(3.0)).count(Outcome::Stop), 0);
    }

    proptest! {
        #[test]
        fn any_numbers_give_a_sheet_with_its_caution(
            capacitors in proptest::collection::vec(any::<f64>(), 0..4),
            volts in proptest::option::of(any::<f64>()),
            ohms in proptest::option::of(any::<f64>()),
            left in proptest::option::of(any::<f64>()),
        ) {
            let sheet = discharge(&Discharge { capacitors, volts, ohms, left });
            prop_assert_eq!(sheet.caution(), crate::rules::STANDARD_CAUTION);
            for line in sheet.lines().filter(|l| l.outcome() == Outcome::Pass) {
                prop_assert!(line.reading().is_some());
            }
        }

        /// The rating told is never below the mean watts of the first second with the trade's factor.
        #[test]
        fn the_rating_is_not_below_the_need(
            farads in 1e-7..1e-3_f64, volts in 20.0..900.0_f64, ohms in 100.0..1e6_f64,
        ) {
            let sheet = discharge(&Discharge {
                capacitors: vec![farads], volts: Some(volts), ohms: Some(ohms), left: None,
            });
            let rating = sheet.lines().find(|l| l.what().starts_with("Rating"));
            if let Some(watts) = rating.and_then(|l| l.expected()?.value) {
                let need = first_second_joules(farads, volts, ohms) * power_factor().unwrap();
                prop_assert!(watts >= need && watts >= 5.0);
            } else {
                prop_assert!(!sheet.missing.is_empty());
            }
        }
    }
}
