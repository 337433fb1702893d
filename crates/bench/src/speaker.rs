//! The load that several loudspeakers make, the tap to put it on, and who gets how much of the power.
//!
//! Impedances are taken as the nominal ones and as resistances, as the trade does: a real driver is two to ten
//! times its nominal at resonance. Drivers are written as in a wiring: `8 - 8` in series, `[16 | 16]` side by side,
//! with their rating behind the ohms, `[16 30W | 16 30W]`.

mod load;

pub use load::{Driver, Load, LoadError};

use crate::rules::rules;
use crate::sheet::{Expected, Figure, Limit, Line, Origin, Sheet};
use crate::typed::positive_if_given;

/// What was typed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SpeakerRequest {
    /// The drivers and how they are joined.
    pub load: Option<Load>,
    /// Taps of the output transformer, ohms.
    pub taps: Vec<f64>,
    /// Output power of the amplifier, watts.
    pub output: Option<f64>,
    /// Rating of each driver that has none of its own, watts.
    pub rated: Option<f64>,
    /// Ohms read with direct current at the loudspeaker's plug.
    pub read_ohms: Option<f64>,
}

/// The tap for a load: that of the least mismatch; of two as near, the higher, since a valve output stage bears too
/// low a load better than too high a one. None without taps.
#[must_use]
pub fn tap_for(load: f64, taps: &[f64]) -> Option<f64> {
    taps.iter()
        .copied()
        .filter(|tap| tap.is_finite() && *tap > 0.0)
        .map(|tap| (mismatch(load, tap), tap))
        .filter(|(off, _)| off.is_finite())
        .reduce(|best, next| {
            let nearer = next.0 < best.0 * (1.0 - 1e-9);
            let as_near = next.0 <= best.0 * (1.0 + 1e-9) && next.1 > best.1;
            if nearer || as_near { next } else { best }
        })
        .map(|(_, tap)| tap)
}

/// How many times load and tap differ, whichever is larger: 1 for a match.
#[must_use]
pub fn mismatch(load: f64, tap: f64) -> f64 {
    (load / tap).max(tap / load)
}

/// The sheet.
#[must_use]
pub fn speaker(given: &SpeakerRequest) -> Sheet {
    let mut sheet = Sheet::new("speaker", "Loudspeaker load");
    let output = positive_if_given(
        &mut sheet,
        given.output,
        "the output power",
        "Type watts, `--output 30`.",
    );
    let read = positive_if_given(
        &mut sheet,
        given.read_ohms,
        "the ohms read",
        "Type them, `--read 6.4`.",
    );
    let Some(load) = &given.load else {
        sheet.missing(
            "the drivers",
            "Type them, `--drivers 8`, in series `--drivers \"8 - 8\"`, side by side `--drivers \"[16 | 16]\"`.",
        );
        return sheet;
    };
    let total = load.ohms();
    let mut lines = vec![
        Line::told(
            "Load, nominal",
            Origin::computed("series and parallel of the nominal ohms"),
        )
        .at(load.words())
        .expecting(Expected::value(total, "ohm")),
    ];
    if let Some((low, high)) = rules().range("speaker.power", "voice-coil DC ohms / nominal") {
        let limit = Limit::between(total * low, total * high, "ohm");
        let rule = Origin::rule("speaker.power");
        let what = "Ohms read at the plug, direct current";
        lines.push(match read {
            Some(ohms) => {
                let line = Line::read(what, Figure::new(ohms, "ohm"), limit, rule);
                if line.outcome() == crate::sheet::Outcome::Fail {
                    line.because(if ohms > total * high {
                        "A driver or a lead is open, or the drivers are joined otherwise."
                    } else {
                        "A coil is shorted, or the drivers are joined otherwise."
                    })
                } else {
                    line
                }
            }
            None => Line::open(what, rule).limited(limit),
        });
    }
    sheet.section("", lines);
    tap(&mut sheet, total, &given.taps);
    share(&mut sheet, load, output, given.rated);
    sheet.note("Never drive the amplifier without a load.");
    sheet
}

fn tap(sheet: &mut Sheet, total: f64, taps: &[f64]) {
    let Some(tap) = tap_for(total, taps) else {
        sheet.missing(
            "the tap to use",
            "Type the taps of the output transformer, `--taps 4,8,16`.",
        );
        return;
    };
    let rule = || Origin::rule("power.load_first");
    let off = mismatch(total, tap);
    let mut lines = vec![
        Line::told("Tap to use", Origin::practice())
            .expecting(Expected::value(tap, "ohm"))
            .because("The least mismatch; of two as near the higher tap, since too low a load is borne better than too high a one."),
    ];
    if let Some(most) = rules().figure("power.load_first", "impedance mismatch") {
        let line = Line::computed(
            "Load and tap differ by",
            Expected::value(off, "x"),
            Limit::at_most(most, "x"),
            rule(),
        );
        lines.push(if line.outcome() == crate::sheet::Outcome::Fail {
            line.because("Too far for any tap: join the drivers otherwise.")
        } else if off > 1.1 {
            line.because("Bearable for a test; for use, the valves' load differs as much from what the transformer was made for.")
        } else {
            line
        });
    }
    sheet.section("Tap", lines);
}

fn share(sheet: &mut Sheet, load: &Load, output: Option<f64>, rated: Option<f64>) {
    let factor = rules().figure("speaker.power", "speaker rating / amp rating");
    let shares = load.shares();
    let several = shares.len() > 1;
    let mut lines = Vec::new();
    let mut unrated = false;
    for (i, (driver, share)) in shares.iter().enumerate() {
        let name = if several {
            format!("Driver {}, {} ohm", i + 1, driver.ohms)
        } else {
            format!("The driver, {} ohm", driver.ohms)
        };
        if several {
            lines.push(
                Line::told(
                    format!("{name}: of the power"),
                    Origin::computed("I^2 R of each"),
                )
                .expecting(Expected::value(100.0 * share, "%")),
            );
        }
        let Some(output) = output else { continue };
        let watts = output * share;
        lines.push(
            Line::told(
                format!("{name}: gets"),
                Origin::computed("its share of the output power"),
            )
            .expecting(Expected::value(watts, "W")),
        );
        let rating = driver.watts.or(rated).filter(|w| w.is_finite() && *w > 0.0);
        match (rating, factor) {
            (Some(rating), Some(factor)) => lines.push(
                Line::read(
                    format!("{name}: its rating"),
                    Figure::new(rating, "W"),
                    Limit::at_least(factor * watts, "W"),
                    Origin::rule("speaker.power"),
                )
                .because("Twice its share for old ones: a clipped valve amplifier gives up to nearly twice its sine power."),
            ),
            _ => unrated = true,
        }
    }
    if output.is_none() {
        sheet.missing(
            "the watts of each driver",
            "Type the output power of the amplifier, `--output 30`.",
        );
    }
    if unrated {
        sheet.missing(
            "whether the drivers bear it",
            "Type their rating behind the ohms, `--drivers \"[16 30W | 16 30W]\"`, or for all, `--rated 30`.",
        );
    }
    if several
        && shares
            .iter()
            .any(|(d, _)| (d.ohms / shares[0].0.ohms - 1.0).abs() > 0.05)
    {
        sheet.note("Drivers of different ohms share unequally: in series the larger, side by side the smaller gets more.");
    }
    sheet.section("Power", lines);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::STANDARD_CAUTION;
    use crate::sheet::Outcome;
    use proptest::prelude::*;

    fn load(text: &str) -> Load {
        Load::read(text).unwrap_or_else(|e| panic!("{text}: {e}"))
    }

    #[test]
    fn the_nearest_tap_and_of_two_the_higher() {
        assert_eq!(tap_for(8.0, &[4.0, 8.0, 16.0]), Some(8.0));
        assert_eq!(tap_for(5.6, &[4.0, 8.0, 16.0]), Some(4.0));
        assert_eq!(tap_for(32f64.sqrt(), &[8.0, 4.0]), Some(8.0));
        assert_eq!(tap_for(5.333, &[4.0, 8.0]), Some(4.0));
        assert_eq!(tap_for(8.0, &[]), None);
        assert_eq!(tap_for(8.0, &[f64::NAN, -4.0]), None);
    }

    /// Two of 16 ohm side by side are 8 ohm and share equally; 8 and 16 in series share 1 to 2 (any textbook).
    #[test]
    fn the_power_is_shared_by_ohms() {
        let sheet = speaker(&SpeakerRequest {
            load: Some(load("[16 30W | 16]")),
            taps: vec![4.0, 8.0],
            output: Some(50.0),
            rated: Some(40.0),
            read_ohms: Some(6.2),
        });
        assert_eq!(
            sheet.count(Outcome::Fail),
            1,
            "25 W wants 37.5 W, one has 30"
        );
        assert_eq!(sheet.count(Outcome::Pass), 2);
        let shares = load("8 - 16").shares();
        assert!((shares[1].1 / shares[0].1 - 2.0).abs() < 1e-12);
    }

    #[test]
    fn an_open_driver_shows_in_the_ohms() {
        let sheet = speaker(&SpeakerRequest {
            load: Some(load("[16 | 16]")),
            read_ohms: Some(12.5),
            ..SpeakerRequest::default()
        });
        let line = sheet
            .lines()
            .find(|l| l.what().starts_with("Ohms"))
            .unwrap();
        assert_eq!(line.outcome(), Outcome::Fail);
        assert!(line.why().contains("open"));
    }

    proptest! {
        #[test]
        fn any_numbers_give_a_sheet_with_its_caution(
            ohms in proptest::collection::vec(0.1..1e3_f64, 1..4),
            taps in proptest::collection::vec(any::<f64>(), 0..4),
            output in proptest::option::of(any::<f64>()),
            rated in proptest::option::of(any::<f64>()),
            read_ohms in proptest::option::of(any::<f64>()),
            side in any::<bool>(),
        ) {
            let words: Vec<String> = ohms.iter().map(|o| format!("{o:.2}")).collect();
            let text = if side { format!("[{}]", words.join(" | ")) } else { words.join(" - ") };
            let load = load(&text);
            let sum: f64 = load.shares().iter().map(|(_, s)| s).sum();
            prop_assert!((sum - 1.0).abs() < 1e-9);
            let sheet = speaker(&SpeakerRequest { load: Some(load), taps, output, rated, read_ohms });
            prop_assert_eq!(sheet.caution(), STANDARD_CAUTION);
        }
    }
}
