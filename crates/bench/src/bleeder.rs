//! Resistors across HT electrolytics: the bleeder that empties them, and the pair that shares the volts of two in
//! series.
//!
//! A bleeder must empty the reservoir in time, `t = R C ln(V0 / V)`, and stand the highest HT. Two capacitors
//! in series share by their leakage; a current through equal resistors must swamp the difference: with resistors
//! of `R` a difference of `dI` moves the middle by `dI R / 2`. Watts *and* volts are rated.

use crate::discharge::seconds_to;
use crate::part::{Resistor, ResistorNeed, Toward, resistor};
use crate::rules::rules;
use crate::sheet::{Expected, Figure, Limit, Line, Origin, Sheet};
use crate::typed::{positive, positive_if_given};
use wiring::units::{Quantity, engineering};

/// Volts a bleeder must bring the supply down to within its time: the 60 V d.c. of rule `live.bleeder`.
const EMPTY_VOLTS: f64 = 60.0;

/// What was typed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct BleederRequest {
    /// Highest HT, volts.
    pub volts: Option<f64>,
    /// What is to be emptied, farads; of two in series, each.
    pub farads: Option<f64>,
    /// The bleeder, or each balance resistor, that is fitted, ohms.
    pub fitted_ohms: Option<f64>,
    /// Its rating, watts.
    pub fitted_watts: Option<f64>,
    /// Two capacitors in series share the volts.
    pub series: bool,
    /// Difference of their leakage, amperes, when measured.
    pub leakage: Option<f64>,
}

/// The bleeder that empties `farads` from `volts` in the rule's time, within the rule's range, rated for watts and
/// volts. None where that can't be, or for anything that is no number above zero.
#[must_use]
pub fn bleeder_for(volts: f64, farads: f64) -> Option<Resistor> {
    let seconds = rules().figure("live.bleeder", "time to 60 V")?;
    let (least, most) = rules().range("live.bleeder", "resistance")?;
    let per_ohm = seconds_to(1.0, farads, volts, EMPTY_VOLTS)?;
    let slowest = if per_ohm > 0.0 {
        (seconds / per_ohm).min(most)
    } else {
        most
    };
    if slowest < least {
        return None;
    }
    rated(slowest, volts)
}

/// A resistor of at most `ohms` across `volts`, with the bleeder rule's factors.
fn rated(ohms: f64, volts: f64) -> Option<Resistor> {
    let factor = rules().figure("live.bleeder", "rated watts / V^2/R at highest HT")?;
    let over = rules().figure("live.bleeder", "rated volts of the part / highest HT")?;
    resistor(&ResistorNeed {
        ohms,
        toward: Toward::Smaller,
        volts,
        factor,
        least_watts: 0.0,
    })
    .filter(|part| part.volts * f64::from(part.count) >= volts * over)
}

/// One of the two equal resistors across capacitors in series: at most what the leakage allows, within the rule's
/// range, and rated for the larger share of the volts. Without a measured difference of leakage the smallest of
/// the range, which shares best.
#[must_use]
pub fn balance_for(volts: f64, leakage: Option<f64>) -> Option<Resistor> {
    if !(volts.is_finite() && volts > 0.0) {
        return None;
    }
    let (least, most) = rules().range("cap.electrolytic.series", "balancing resistor")?;
    let watts = rules().figure("cap.electrolytic.series", "balancing resistor rating")?;
    let error = rules().figure("cap.electrolytic.series", "voltage sharing error")? / 100.0;
    let allowed = match leakage.filter(|i| i.is_finite() && *i > 0.0) {
        Some(amps) => (error * volts / amps).min(most),
        None => least,
    };
    if allowed < least {
        return None;
    }
    let factor = rules().figure("live.bleeder", "rated watts / V^2/R at highest HT")?;
    resistor(&ResistorNeed {
        ohms: allowed,
        toward: Toward::Smaller,
        volts: volts / 2.0 * (1.0 + error),
        factor,
        least_watts: watts,
    })
}

/// The sheet.
#[must_use]
pub fn bleeder(given: &BleederRequest) -> Sheet {
    let title = if given.series {
        "Balance resistors across two electrolytics in series"
    } else {
        "Bleeder across an HT electrolytic"
    };
    let mut sheet = Sheet::new("bleeder", title);
    let volts = positive(
        &mut sheet,
        given.volts,
        "the highest HT",
        "Type the volts with cold valves at the highest mains, `--volts 450`.",
    );
    let farads = positive_if_given(
        &mut sheet,
        given.farads,
        "the capacitance",
        "Type it, `--capacitance 50u`.",
    );
    if given.farads.is_none() {
        sheet.missing(
            "the capacitance to empty",
            "Type it, `--capacitance 50u`; of two in series, each.",
        );
    }
    let Some(volts) = volts else {
        return sheet;
    };
    sheet
        .conditions
        .push(format!("{} at the highest", Figure::new(volts, "V")));
    if let Some(farads) = farads {
        let each = if given.series { " each" } else { "" };
        sheet
            .conditions
            .push(format!("{}{each}", engineering(farads, Quantity::Farads)));
    }
    if given.series {
        balance(&mut sheet, given, volts, farads);
    } else {
        bleed(&mut sheet, given, volts, farads);
    }
    if given.fitted_watts.is_some() && given.fitted_ohms.is_none() {
        sheet.missing(
            "the ohms of what is fitted",
            "Type them beside the watts, `--ohms 220k`.",
        );
    }
    sheet.note("A bleeder can be open: it never replaces the measurement before touching.");
    sheet
}

fn bleed(sheet: &mut Sheet, given: &BleederRequest, volts: f64, farads: Option<f64>) {
    let rule = || Origin::rule("live.bleeder");
    let seconds = rules().figure("live.bleeder", "time to 60 V");
    let proposed = farads.and_then(|c| bleeder_for(volts, c));
    if let Some(farads) = farads {
        match &proposed {
            Some(part) => {
                sheet.section("To fit", propose(part, volts, rule()));
                times(sheet, part.total_ohms(), farads, volts, "With it");
            }
            None => sheet.missing(
                "a bleeder that is quick enough",
                "A resistor in the trade's range empties this too slowly. Use several supplies' own bleeders, or rely on the discharge resistor alone.",
            ),
        }
    }
    let Some(ohms) = fitted(sheet, given) else {
        return;
    };
    let mut lines = Vec::new();
    if let Some((time, limit)) = farads
        .and_then(|c| seconds_to(ohms, c, volts, EMPTY_VOLTS))
        .zip(seconds)
    {
        lines.push(Line::read(
            format!("Time to {EMPTY_VOLTS} V"),
            Figure::new(time, "s"),
            Limit::at_most(limit, "s"),
            rule(),
        ));
    }
    lines.extend(stress(ohms, given.fitted_watts, volts, rule()));
    sheet.section("Fitted", lines);
    if let Some(farads) = farads {
        times(sheet, ohms, farads, volts, "As fitted");
    }
}

fn balance(sheet: &mut Sheet, given: &BleederRequest, volts: f64, farads: Option<f64>) {
    let rule = || Origin::rule("cap.electrolytic.series");
    let leakage = positive_if_given(
        sheet,
        given.leakage,
        "the difference of leakage",
        "Type amperes, `--leakage 0.2mA`.",
    );
    match balance_for(volts, leakage) {
        Some(part) => {
            let mut lines = propose(&part, volts / 2.0, rule());
            if let Some(error) = rules().figure("cap.electrolytic.series", "voltage sharing error") {
                lines.push(
                    Line::told("Difference of leakage that it bears", rule())
                        .expecting(Expected::value(error / 100.0 * volts / part.total_ohms(), "A"))
                        .because(format!(
                            "Then the capacitors share the volts within {error} %. Two old ones, or two of different make, can differ by more: measure each."
                        )),
                );
            }
            sheet.section("To fit, two equal ones", lines);
            if let Some(farads) = farads {
                times(sheet, 2.0 * part.total_ohms(), farads / 2.0, volts, "With them");
            }
        }
        None => sheet.missing(
            "balance resistors for these capacitors",
            "Their leakage differs by more than the trade's resistors even out: fit a pair of one make and age.",
        ),
    }
    if leakage.is_none() && given.leakage.is_none() {
        sheet.note("No leakage was typed, so the smallest resistor of the trade's range is proposed; `--leakage` with the measured difference may allow a larger.");
    }
    sheet.note("If one capacitor shorts, the other and its resistor get all the volts.");
    if let Some(ohms) = fitted(sheet, given) {
        let mut lines = Vec::new();
        if let Some(i) = leakage {
            let limit = rules()
                .figure("cap.electrolytic.series", "voltage sharing error")
                .unwrap_or(0.0);
            lines.push(Line::read(
                "Sharing error from leakage",
                Figure::new(100.0 * i * ohms / volts, "%"),
                Limit::at_most(limit, "%"),
                rule(),
            ));
        }
        lines.extend(stress(ohms, given.fitted_watts, volts / 2.0, rule()));
        sheet.section("Fitted, each", lines);
    }
}

fn fitted(sheet: &mut Sheet, given: &BleederRequest) -> Option<f64> {
    positive_if_given(
        sheet,
        given.fitted_ohms,
        "the resistor fitted",
        "Type its ohms, `--ohms 220k`.",
    )
}

fn propose(part: &Resistor, volts: f64, origin: Origin) -> Vec<Line> {
    let each = volts / f64::from(part.count);
    let current = volts / part.total_ohms();
    vec![
        Line::told("Resistor", origin.clone())
            .at(part.words())
            .expecting(Expected::value(part.total_ohms(), "ohm")),
        Line::told("Current through it", Origin::computed("V / R"))
            .expecting(Expected::value(current, "A")),
        Line::told(
            "Watts in each",
            Origin::computed("V^2 / R at the highest HT"),
        )
        .expecting(Expected::value(part.dissipates, "W")),
        Line::told("Rated watts of each, at least", origin)
            .expecting(Expected::value(part.watts, "W")),
        Line::told("Volts across each", Origin::rule("res.voltage"))
            .expecting(Expected::value(each, "V"))
            .because(format!(
                "A part of this size stands {} or its sheet says more.",
                Figure::new(part.volts, "V")
            )),
    ]
}

/// Watts of a fitted resistor against its rating.
fn stress(ohms: f64, rating: Option<f64>, volts: f64, origin: Origin) -> Vec<Line> {
    let watts = volts * volts / ohms;
    let mut lines = vec![
        Line::told("Watts in it", Origin::computed("V^2 / R at the highest HT"))
            .showing(Figure::new(watts, "W")),
    ];
    let factor = rules().figure("live.bleeder", "rated watts / V^2/R at highest HT");
    match (rating.filter(|r| r.is_finite() && *r > 0.0), factor) {
        (Some(rating), Some(factor)) => lines.push(Line::read(
            "Its rating over those watts",
            Figure::new(rating / watts, "x"),
            Limit::at_least(factor, "x"),
            origin,
        )),
        _ => lines.push(
            Line::open("Its rating over those watts", origin)
                .because("Type the rating of the fitted part, `--rated 3`."),
        ),
    }
    lines
}

fn times(sheet: &mut Sheet, ohms: f64, farads: f64, volts: f64, title: &str) {
    let safe = rules().figure("live.discharge", "work only below");
    let lines = [Some(EMPTY_VOLTS), safe]
        .into_iter()
        .flatten()
        .filter_map(|to| {
            let seconds = seconds_to(ohms, farads, volts, to)?;
            Some(
                Line::told(
                    format!("Down to {to} V in"),
                    Origin::computed("R x C x ln(V0 / V)"),
                )
                .expecting(Expected::value(seconds, "s")),
            )
        })
        .collect();
    sheet.section(title, lines);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::STANDARD_CAUTION;
    use crate::sheet::Outcome;
    use proptest::prelude::*;

    /// 220k on 50 µF from 450 V reaches 60 V in 22 s (worked example, computed); a minute allows more.
    #[test]
    fn the_bleeder_is_quick_enough_and_within_the_range() {
        let part = bleeder_for(450.0, 50e-6).unwrap();
        assert_eq!(part.total_ohms(), 470e3, "{part:?}");
        let seconds = seconds_to(part.total_ohms(), 50e-6, 450.0, 60.0).unwrap();
        assert!(seconds <= 60.0, "{seconds}");
        assert!(bleeder_for(450.0, 2000e-6).is_none());
        let sheet = bleeder(&BleederRequest {
            volts: Some(450.0),
            farads: Some(50e-6),
            fitted_ohms: Some(220e3),
            fitted_watts: Some(1.0),
            ..BleederRequest::default()
        });
        let time = sheet.lines().find(|l| l.what() == "Time to 60 V").unwrap();
        assert!((time.reading().unwrap().value - 22.0).abs() < 0.5);
        assert_eq!(sheet.count(Outcome::Fail), 1, "0.92 W in a 1 W part");
    }

    /// 225 V and a tenth across 100k is 0.61 W, so 2 W (twice the watts, common practice, no source).
    #[test]
    fn balance_resistors_share_and_stand_the_volts() {
        let part = balance_for(450.0, None).unwrap();
        assert_eq!((part.count, part.ohms, part.watts), (1, 100e3, 2.0));
        // 10 % of 450 V over 0.2 mA is 225k.
        let part = balance_for(450.0, Some(0.2e-3)).unwrap();
        assert_eq!(part.total_ohms(), 220e3);
        assert!(balance_for(450.0, Some(5e-3)).is_none());
    }

    proptest! {
        #[test]
        fn any_numbers_give_a_sheet_with_its_caution(
            volts in proptest::option::of(any::<f64>()),
            farads in proptest::option::of(any::<f64>()),
            fitted_ohms in proptest::option::of(any::<f64>()),
            fitted_watts in proptest::option::of(any::<f64>()),
            leakage in proptest::option::of(any::<f64>()),
            series in any::<bool>(),
        ) {
            let sheet = bleeder(&BleederRequest { volts, farads, fitted_ohms, fitted_watts, series, leakage });
            prop_assert_eq!(sheet.caution(), STANDARD_CAUTION);
            for line in sheet.lines().filter(|l| l.outcome() == Outcome::Pass) {
                prop_assert!(line.reading().is_some());
            }
        }

        /// Proposed resistors stand twice their watts, their volts, and do their work.
        #[test]
        fn what_is_proposed_is_rated_and_does_its_work(
            volts in 20.0..900.0_f64, farads in 1e-6..300e-6_f64, leakage in 1e-6..2e-3_f64,
        ) {
            if let Some(part) = bleeder_for(volts, farads) {
                let each = volts / f64::from(part.count);
                prop_assert!(part.watts >= 2.0 * each * each / part.ohms);
                prop_assert!(part.volts >= each);
                prop_assert!(seconds_to(part.total_ohms(), farads, volts, 60.0).unwrap() <= 60.0);
            }
            if let Some(part) = balance_for(volts, Some(leakage)) {
                let each = 1.1 * volts / 2.0 / f64::from(part.count);
                prop_assert!(part.watts >= 2.0 * each * each / part.ohms * (1.0 - 1e-12));
                prop_assert!(leakage * part.total_ohms() <= 0.1 * volts * (1.0 + 1e-9));
            }
        }
    }
}
