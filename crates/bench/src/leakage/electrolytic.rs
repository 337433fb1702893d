//! Electrolytics: leakage, series resistance and capacitance against what age may leave.

use crate::rules::rules;
use crate::sheet::{Figure, Limit, Line, Origin, Sheet};
use crate::typed::positive_if_given;
use std::f64::consts::TAU;
use wiring::units::{Quantity, engineering};

/// Above this a meter's series resistance is that of a test at tens of kilohertz, to which the limit does not belong.
const HIGHEST_HERTZ: f64 = 1000.0;

/// Readings of an electrolytic.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Electrolytic {
    /// Marked capacitance, farads.
    pub farads: Option<f64>,
    /// Marked volts.
    pub rated: Option<f64>,
    /// Leakage after charging, amperes.
    pub leakage: Option<f64>,
    /// Or the volts across a resistor in series with it, nothing else drawing.
    pub drop: Option<f64>,
    /// That resistor, ohms.
    pub over: Option<f64>,
    /// Equivalent series resistance, ohms.
    pub esr: Option<f64>,
    /// The frequency it was read at, hertz.
    pub hertz: Option<f64>,
    /// Capacitance read, farads.
    pub measured: Option<f64>,
}

/// Largest leakage of an older part, amperes: `k C + 0.3 mA`, `k` by voltage class. Above 450 V the class below counts.
#[must_use]
pub fn old_leakage_limit(farads: f64, rated: f64) -> Option<f64> {
    let class = if rated <= 100.0 {
        "k up to 100 V"
    } else if rated <= 250.0 {
        "k 101-250 V"
    } else if rated <= 350.0 {
        "k 251-350 V"
    } else {
        "k 351-450 V"
    };
    let figure = |name| rules().figure("cap.electrolytic.leakage.old", name);
    let milliamps = figure(class)? * farads * 1e6 + figure("offset")?;
    Some(milliamps * 1e-3)
}

/// Largest leakage of a present-day part after two minutes, amperes: `0.06 C V + 10 µA`, C in µF.
#[must_use]
pub fn new_leakage_limit(farads: f64, rated: f64) -> Option<f64> {
    let k = rules().figure("cap.electrolytic.leakage.new", "leakage")?;
    Some((k * farads * 1e6 * rated + 10.0) * 1e-6)
}

/// Series resistance from which an electrolytic is rejected, ohms: `tan d / (2 pi f C)`.
#[must_use]
pub fn esr_limit(farads: f64, hertz: f64) -> Option<f64> {
    let tangent = rules().figure("cap.electrolytic.esr", "reject tan delta at 100/120 Hz")?;
    let ohms = tangent / (TAU * hertz * farads);
    (ohms.is_finite() && ohms > 0.0).then_some(ohms)
}

pub(super) fn add(sheet: &mut Sheet, given: &Electrolytic) {
    let farads = positive_if_given(
        sheet,
        given.farads,
        "the marked capacitance",
        "Type it, `--capacitance 32u`.",
    );
    let rated = positive_if_given(
        sheet,
        given.rated,
        "the marked volts",
        "Type them, `--rated 450`.",
    );
    if given.farads.is_none() {
        sheet.missing(
            "the marked capacitance of an electrolytic",
            "Type it, `--capacitance 32u`; its limits go by it.",
        );
    }
    let mut lines = Vec::new();
    current(sheet, given, farads.zip(rated), &mut lines);
    if given.rated.is_none() {
        sheet.missing(
            "the marked volts",
            "Type them, `--rated 450`: the limit of leakage goes by them.",
        );
    }
    resistance(sheet, given, farads, &mut lines);
    capacitance(given, farads, &mut lines);
    let title = match (farads, rated) {
        (Some(c), Some(v)) => format!(
            "Electrolytic, {} {}",
            engineering(c, Quantity::Farads),
            engineering(v, Quantity::Volts)
        ),
        _ => "Electrolytic".to_owned(),
    };
    sheet.section(title, lines);
    sheet.note("Leakage counts only after the capacitor has been charged to its working volts and has settled; one that was long idle is reformed first.");
}

fn current(
    sheet: &mut Sheet,
    given: &Electrolytic,
    marked: Option<(f64, f64)>,
    lines: &mut Vec<Line>,
) {
    let drop = positive_if_given(
        sheet,
        given.drop,
        "the volts across the resistor",
        "Type them, `--drop 24`.",
    );
    let over = positive_if_given(
        sheet,
        given.over,
        "the resistor in series",
        "Type its ohms, `--over 10k`.",
    );
    if given.drop.is_some() != given.over.is_some() {
        sheet.missing(
            "the leakage current",
            "Type both the volts across the resistor and its ohms, `--drop 24 --over 10k`.",
        );
    }
    let typed = positive_if_given(
        sheet,
        given.leakage,
        "the leakage",
        "Type amperes, `--leakage 0.8mA`.",
    );
    let amps = typed.or_else(|| drop.zip(over).map(|(v, r)| v / r));
    let Some((farads, rated)) = marked else {
        return;
    };
    let old = || Origin::rule("cap.electrolytic.leakage.old");
    let new = || Origin::rule("cap.electrolytic.leakage.new");
    let (Some(most), Some(fresh)) = (
        old_leakage_limit(farads, rated),
        new_leakage_limit(farads, rated),
    ) else {
        return;
    };
    match amps {
        Some(amps) => {
            let read = Figure::new(amps, "A");
            lines.push(Line::read(
                "Leakage, an older part",
                read.clone(),
                Limit::at_most(most, "A"),
                old(),
            ));
            lines.push(
                Line::told("Beside a present-day part", new())
                    .showing(read)
                    .limited(Limit::at_most(fresh, "A")),
            );
        }
        None => {
            lines.push(
                Line::open("Leakage, an older part", old()).limited(Limit::at_most(most, "A")),
            );
            lines.push(
                Line::told("Beside a present-day part", new()).limited(Limit::at_most(fresh, "A")),
            );
        }
    }
    if rated > 450.0 {
        sheet.note("The limit of older parts ends at 450 V; its last class is used above.");
    }
}

fn resistance(sheet: &mut Sheet, given: &Electrolytic, farads: Option<f64>, lines: &mut Vec<Line>) {
    let esr = positive_if_given(
        sheet,
        given.esr,
        "the series resistance",
        "Type its ohms, `--esr 8`.",
    );
    let hertz = given.hertz.filter(|h| h.is_finite() && *h > 0.0);
    let Some(farads) = farads else { return };
    let rule = || Origin::rule("cap.electrolytic.esr");
    let what = |hertz: f64| {
        format!(
            "Series resistance at {}",
            engineering(hertz, Quantity::Hertz)
        )
    };
    match (esr, hertz) {
        (Some(ohms), Some(hertz)) if hertz > HIGHEST_HERTZ => lines.push(
            Line::told(what(hertz), rule())
                .showing(Figure::new(ohms, "ohm"))
                .because("Limits are for 100 or 120 Hz; a meter that tests at tens of kilohertz reads far lower and is not held against them."),
        ),
        (Some(ohms), Some(hertz)) => {
            if let Some(most) = esr_limit(farads, hertz) {
                lines.push(Line::read(
                    what(hertz),
                    Figure::new(ohms, "ohm"),
                    Limit::at_most(most, "ohm"),
                    rule(),
                ));
            }
        }
        (Some(_), None) => sheet.missing(
            "the frequency of the series resistance",
            "Type what the meter tests at, `--hertz 120`; without it the ohms mean nothing.",
        ),
        (None, _) => {
            let at = hertz.filter(|h| *h <= HIGHEST_HERTZ).unwrap_or(120.0);
            if let Some(most) = esr_limit(farads, at) {
                lines.push(Line::open(what(at), rule()).limited(Limit::at_most(most, "ohm")));
            }
        }
    }
}

fn capacitance(given: &Electrolytic, farads: Option<f64>, lines: &mut Vec<Line>) {
    let figure = |name| rules().figure("cap.electrolytic.esr", name);
    let (Some(marked), Some(least), Some(most)) = (
        farads,
        figure("reject capacitance below"),
        figure("suspect capacitance above (leakage fools the meter)"),
    ) else {
        return;
    };
    let rule = || Origin::rule("cap.electrolytic.esr");
    let what = "Capacitance, of the marked";
    match given.measured.filter(|c| c.is_finite() && *c > 0.0) {
        Some(read) => {
            let share = 100.0 * read / marked;
            let line = Line::read(
                what,
                Figure::new(share, "%"),
                Limit::at_least(least, "%"),
                rule(),
            );
            lines.push(if share >= most {
                line.doubted("Far more than marked: leakage fools the meter.")
            } else {
                line
            });
        }
        None => lines.push(Line::open(what, rule()).limited(Limit::at_least(least, "%"))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::leakage::{LeakageRequest, leakage};
    use crate::sheet::Outcome;

    fn sheet(electrolytic: Electrolytic) -> Sheet {
        leakage(&LeakageRequest {
            electrolytic,
            ..LeakageRequest::default()
        })
    }

    /// JAN-C-62 as quoted at https://www.mail-archive.com/amradio@mailman.qth.net/msg21215.html: 20 µF at 450 V is
    /// 0.04 x 20 + 0.3 = 1.1 mA, and 24 V across 10k is 2.4 mA (worked case of the trade).
    #[test]
    fn the_worked_case_of_leakage() {
        assert!((old_leakage_limit(20e-6, 450.0).unwrap() - 1.1e-3).abs() < 1e-9);
        assert!((old_leakage_limit(25e-6, 50.0).unwrap() - 0.55e-3).abs() < 1e-9);
        let sheet = sheet(Electrolytic {
            farads: Some(20e-6),
            rated: Some(450.0),
            drop: Some(24.0),
            over: Some(10e3),
            ..Electrolytic::default()
        });
        let line = sheet.lines().next().unwrap();
        assert!((line.reading().unwrap().value - 2.4e-3).abs() < 1e-9);
        assert_eq!(line.outcome(), Outcome::Fail);
    }

    /// 20 µF at 120 Hz: reject above 20 ohm (worked example of rule `cap.electrolytic.esr`, computed from tan d 0.30).
    #[test]
    fn the_worked_example_of_series_resistance() {
        let ohms = esr_limit(20e-6, 120.0).unwrap();
        assert!((ohms - 20.0).abs() < 0.2, "{ohms}");
        let judged = |esr, hertz| {
            let sheet = sheet(Electrolytic {
                farads: Some(20e-6),
                rated: Some(450.0),
                esr: Some(esr),
                hertz: Some(hertz),
                ..Electrolytic::default()
            });
            sheet
                .lines()
                .find(|l| l.what().starts_with("Series"))
                .map(Line::outcome)
        };
        assert_eq!(judged(8.0, 120.0), Some(Outcome::Pass));
        assert_eq!(judged(25.0, 120.0), Some(Outcome::Fail));
        assert_eq!(judged(3.0, 100e3), Some(Outcome::Told), "never mixed");
    }

    #[test]
    fn a_reading_of_twice_the_marked_is_doubted() {
        let judged = |measured| {
            let sheet = sheet(Electrolytic {
                farads: Some(16e-6),
                rated: Some(450.0),
                measured: Some(measured),
                ..Electrolytic::default()
            });
            sheet
                .lines()
                .find(|l| l.what().starts_with("Capacitance"))
                .map(Line::outcome)
        };
        assert_eq!(judged(15e-6), Some(Outcome::Pass));
        assert_eq!(judged(11e-6), Some(Outcome::Fail));
        assert_eq!(judged(40e-6), Some(Outcome::Open));
    }
}
