//! What the wall gives: lowest, nominal and highest likely mains volts, by what the amplifier is made for.
//!
//! A sheet that guards a capacitor or a valve is worked out at the highest. Knows no amplifier
//! beyond its primary; measures nothing.

use crate::rules::rules;
use serde::Serialize;
use wiring::circuit::{Circuit, History, Kind, Part};

/// A market by its mains.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Market {
    /// 220 to 240 V, 50 Hz mostly.
    High,
    /// 110 to 127 V, 60 Hz mostly.
    Low,
    /// 100 V.
    Hundred,
}

impl Market {
    /// The market of an amplifier whose primary, or whose wall, has these volts.
    #[must_use]
    pub fn of(volts: f64) -> Self {
        if volts >= 180.0 {
            Self::High
        } else if volts >= 105.0 {
            Self::Low
        } else {
            Self::Hundred
        }
    }
}

/// The mains that an amplifier may meet, volts rms.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Wall {
    /// Lowest.
    pub lowest: f64,
    /// Nominal.
    pub nominal: f64,
    /// Highest, never below what was stated for today.
    pub highest: f64,
    /// Where the three are from.
    pub source: String,
}

/// The mains around `today`, for a primary made for `made_for` volts.
///
/// The primary says the market where it is known, the wall otherwise. What is stated for today
/// widens the range when it lies outside, up to a tenth beyond: a variable transformer turned
/// down, or a slip of the keyboard, says nothing about the wall.
#[must_use]
pub fn wall(made_for: Option<f64>, today: Option<f64>) -> Wall {
    let sound = |v: &f64| v.is_finite() && *v > 0.0;
    let made_for = made_for.filter(sound);
    let today = today.filter(sound);
    let market = Market::of(made_for.or(today).unwrap_or(230.0));
    let (nominal, lowest, highest, source) = match market {
        Market::High => {
            let figure = |name, safe| rules().figure("mains.level_then_now", name).unwrap_or(safe);
            (
                230.0,
                figure("Europe lowest", 207.0),
                figure("Europe highest", 253.0).max(253.0),
                "230 V and 10 % either way, EN 50160, seen second-hand (not verified in the original)",
            )
        }
        Market::Low => {
            let part = rules()
                .figure("mains.level_then_now", "US supply tolerance")
                .unwrap_or(5.0)
                .max(5.0)
                / 100.0;
            (
                120.0,
                120.0 * (1.0 - part),
                120.0 * (1.0 + part),
                "120 V and 5 % either way, seen second-hand (not verified in the original)",
            )
        }
        Market::Hundred => (
            100.0,
            95.0,
            107.0,
            "101 V and 6 V either way, from memory of Japanese practice, not seen",
        ),
    };
    let near = today.filter(|v| (0.9 * lowest..=1.1 * highest).contains(v));
    Wall {
        lowest: near.map_or(lowest, |v| lowest.min(v)),
        nominal,
        highest: near.map_or(highest, |v| highest.max(v)),
        source: source.to_owned(),
    }
}

/// The nominal mains of a wall with these volts: what a transformer of unknown primary is taken to be made for.
#[must_use]
pub fn nominal(volts: f64) -> f64 {
    wall(None, Some(volts)).nominal
}

/// How far from the mains of use a reading of the bias may be taken, a fraction either way.
///
/// Common practice, no source. One per cent of mains moves the idle watts of an output valve by about
/// two and a half; within 2 per cent that stays about as small as what the readings leave unsure.
const NEAR_USE: f64 = 0.02;

/// The mains on which an amplifier lives, and between which volts a reading says how it idles there.
#[derive(Debug, Clone, PartialEq)]
pub struct OfUse {
    /// The volts of use.
    pub volts: f64,
    /// From here.
    pub from: f64,
    /// To here.
    pub to: f64,
}

/// The mains of use: what the heading of the wiring says of the wall, where a wall can give that; else the nominal
/// volts of what the primary is made for; none where neither is known.
#[must_use]
pub fn of_use(circuit: &Circuit) -> Option<OfUse> {
    let said = circuit.heading.mains.map(|m| m.volts);
    let made_for = made_for(circuit);
    let likely = wall(Some(made_for.or(said)?), None);
    let volts = said
        .filter(|v| (likely.lowest..=likely.highest).contains(v))
        .unwrap_or(likely.nominal);
    Some(OfUse {
        volts,
        from: volts * (1.0 - NEAR_USE),
        to: volts * (1.0 + NEAR_USE),
    })
}

impl OfUse {
    /// Whether a reading at these volts says how it idles in use.
    #[must_use]
    pub fn holds(&self, read_at: f64) -> bool {
        (self.from..=self.to).contains(&read_at)
    }
}

/// Volts that the primary in use is made for: between the wired ends, else end to end; none
/// without a mains transformer that says its volts.
#[must_use]
pub fn made_for(circuit: &Circuit) -> Option<f64> {
    circuit.parts.iter().find_map(|part| {
        let Kind::PowerTransformer(t) = &part.kind else {
            return None;
        };
        if part.known.history == Some(History::Removed) {
            return None;
        }
        let wired = |terminal: usize| {
            part.terminals
                .get(terminal)
                .is_some_and(|x| x.node.is_some())
        };
        let span = |taps: &[f64]| {
            let low = taps.iter().copied().fold(f64::INFINITY, f64::min);
            let high = taps.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            (high - low)
                .is_finite()
                .then_some(high - low)
                .filter(|v| *v > 0.0)
        };
        let used: Vec<f64> = t
            .primary
            .iter()
            .filter(|p| wired(p.0) && !put_away(circuit, part, p.0))
            .map(|p| p.1)
            .collect();
        let all: Vec<f64> = t.primary.iter().map(|p| p.1).collect();
        span(&used).or_else(|| span(&all))
    })
}

/// A lead that was put away on purpose.
fn put_away(circuit: &Circuit, part: &Part, terminal: usize) -> bool {
    let node = part.terminals.get(terminal).and_then(|t| t.node);
    node.and_then(|n| circuit.nodes.get(n.0))
        .is_some_and(|n| n.unused.is_some())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 253 V is the highest of a 230 V wall and 126 V that of a 120 V wall (the rules' figures,
    /// seen second-hand). A capacitor is judged there, so neither may get lower.
    #[test]
    fn the_highest_mains_gets_no_lower() {
        assert!(wall(Some(230.0), None).highest >= 253.0);
        assert!(wall(Some(220.0), Some(221.0)).highest >= 253.0);
        assert!(wall(Some(117.0), Some(118.0)).highest >= 126.0);
        assert!(wall(Some(100.0), None).highest >= 107.0);
        assert!(wall(None, None).highest >= 253.0);
        assert_eq!(wall(Some(230.0), Some(258.0)).highest, 258.0);
    }

    #[test]
    fn a_variable_transformer_does_not_change_the_wall() {
        let turned_down = wall(Some(230.0), Some(60.0));
        assert_eq!((turned_down.lowest, turned_down.highest), (207.0, 253.0));
        let slip = wall(Some(230.0), Some(2300.0));
        assert_eq!(slip.highest, 253.0);
        assert_eq!(wall(Some(230.0), Some(f64::NAN)).highest, 253.0);
    }

    #[test]
    fn the_mains_of_use_are_the_walls_and_not_a_variable_transformers() {
        let of = |mains: &str, primary: &str| {
            let text = format!("{mains}T1 power {primary}: hv 275-0-275 V 70 mA\n");
            of_use(&wiring::read_one(&text).circuit).map(|u| u.volts)
        };
        assert_eq!(of("mains 236 V 50 Hz\n", "230 V"), Some(236.0));
        assert_eq!(of("mains 90 V 50 Hz\n", "230 V"), Some(230.0));
        assert_eq!(of("", "240 V"), Some(230.0));
        assert_eq!(of("", "117 V"), Some(120.0));
        // a transformer for 230 V that is fed with 120 V was turned down or is on the wrong wall
        assert_eq!(of("mains 120 V 60 Hz\n", "230 V"), Some(230.0));
        let none = of_use(&wiring::read_one("R1 1k\n").circuit);
        assert_eq!(none, None);
    }

    /// Two per cent either way and no more: a bias read beyond says little of the bias in use.
    #[test]
    fn a_reading_far_from_the_mains_of_use_does_not_hold() {
        let of_use = OfUse {
            volts: 230.0,
            from: 230.0 * (1.0 - NEAR_USE),
            to: 230.0 * (1.0 + NEAR_USE),
        };
        for (volts, holds) in [
            (230.0, true),
            (226.0, true),
            (234.5, true),
            (225.0, false),
            (235.0, false),
            (f64::NAN, false),
        ] {
            assert_eq!(of_use.holds(volts), holds, "{volts}");
        }
    }

    #[test]
    fn the_tap_in_use_says_what_it_is_made_for() {
        let text = "T1 power 0-220-240 V: hv 250-0-250 V\nlive - T1.pri240\nneutral - T1.pri0\n\
                    T1.pri220 unused \"taped\"\n";
        assert_eq!(made_for(&wiring::read_one(text).circuit), Some(240.0));
        let text = "T1 power 0-110-220 V: hv 250-0-250 V\nlive - T1.pri110\nneutral - T1.pri0\n";
        assert_eq!(made_for(&wiring::read_one(text).circuit), Some(110.0));
        let text = "T1 power 117 V: hv 250-0-250 V\nT1.hv0 - ground\n";
        assert_eq!(made_for(&wiring::read_one(text).circuit), Some(117.0));
        assert_eq!(made_for(&wiring::read_one("R1 10k\n").circuit), None);
    }
}
