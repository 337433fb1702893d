//! Parts to fit: the standard value and rating that a computed need asks for.
//!
//! A rating proposed here is never below the need times the trade's factor; where no part that is
//! sold reaches it, several in series share it, or there is no proposal. Values are those of IEC
//! 60063 (`wiring::units::series`); the ratings that parts are sold in are common practice, no
//! source.

use crate::rules::rules;
use serde::Serialize;
use wiring::units::series::Series;
use wiring::units::{Quantity, engineering};

/// Watts that resistors are sold with. Common practice, no source.
const RATED_WATTS: [f64; 13] = [
    0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 25.0, 50.0, 100.0, 200.0,
];

/// Volts that capacitors for direct volts are sold with. Common practice, no source.
const RATED_VOLTS: [f64; 13] = [
    16.0, 25.0, 35.0, 50.0, 63.0, 100.0, 160.0, 250.0, 350.0, 400.0, 450.0, 500.0, 600.0,
];

/// No chain of resistors is longer than this.
const MOST_IN_SERIES: u32 = 8;

/// Which neighbour in the series a resistance may move to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Toward {
    /// The next value up.
    Larger,
    /// The next value down.
    Smaller,
    /// The nearest.
    Nearest,
}

impl Toward {
    fn of(self, series: Series, value: f64) -> Option<f64> {
        match self {
            Self::Larger => series.at_least(value),
            Self::Smaller => series.at_most(value),
            Self::Nearest => series.nearest(value),
        }
    }
}

/// What a resistor has to do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ResistorNeed {
    /// Ohms in all.
    pub ohms: f64,
    /// Where a standard value may lie beside them.
    pub toward: Toward,
    /// Direct volts across it, at their highest.
    pub volts: f64,
    /// Rated watts are at least this many times those dissipated.
    pub factor: f64,
    /// Watts it has to stand besides those of its own volts; 0 for none.
    pub least_watts: f64,
}

/// A resistor, or a chain of equal ones in series.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Resistor {
    /// How many in series.
    pub count: u32,
    /// Of each.
    pub ohms: f64,
    /// Rating of each.
    pub watts: f64,
    /// Volts that each may have across it.
    pub volts: f64,
    /// Watts that each dissipates.
    pub dissipates: f64,
}

impl Resistor {
    /// Ohms of the whole chain.
    #[must_use]
    pub fn total_ohms(&self) -> f64 {
        self.ohms * f64::from(self.count)
    }

    /// As one orders it: `100k 5 W`, `2 x 47k 3 W in series`.
    #[must_use]
    pub fn words(&self) -> String {
        let one = format!(
            "{} {} W",
            engineering(self.ohms, Quantity::Ohms),
            self.watts
        );
        if self.count == 1 {
            one
        } else {
            format!("{} x {one} in series", self.count)
        }
    }
}

/// Volts that a resistor of a rating stands, after the sizes of carbon composition (`res.voltage`);
/// larger ones are taken as no better than 1 W. None without the rule.
#[must_use]
pub fn resistor_volts(rated_watts: f64) -> Option<f64> {
    let name = if rated_watts >= 1.0 {
        "1 W and 2 W"
    } else if rated_watts >= 0.5 {
        "1/2 W"
    } else {
        "1/4 W"
    };
    rules().figure("res.voltage", name)
}

/// The smallest rating in watts that is sold and not below the need.
#[must_use]
pub fn rated_watts(need: f64) -> Option<f64> {
    RATED_WATTS.into_iter().find(|rating| *rating >= need)
}

/// The smallest rating in volts that is sold and not below the need.
#[must_use]
pub fn rated_volts(need: f64) -> Option<f64> {
    RATED_VOLTS.into_iter().find(|rating| *rating >= need)
}

/// The trade's factor between rated and dissipated watts of a film or wirewound resistor in a hot
/// chassis (`res.power`). None without the rule.
#[must_use]
pub fn power_factor() -> Option<f64> {
    let film = rules().figure("res.power", "film")?;
    let wirewound = rules().figure("res.power", "wirewound")?;
    Some(100.0 / film.min(wirewound))
}

/// The resistor that meets a need, with as few in series as its watts and volts allow. None where
/// the need is no number above zero, or beyond what is sold.
#[must_use]
pub fn resistor(need: &ResistorNeed) -> Option<Resistor> {
    let sound = [need.ohms, need.volts, need.factor];
    if sound.iter().any(|v| !(v.is_finite() && *v > 0.0))
        || !(need.least_watts.is_finite() && need.least_watts >= 0.0)
    {
        return None;
    }
    (1..=MOST_IN_SERIES).find_map(|count| chain(need, count))
}

fn chain(need: &ResistorNeed, count: u32) -> Option<Resistor> {
    let n = f64::from(count);
    let ohms = need.toward.of(Series::E12, need.ohms / n)?;
    let volts = need.volts / n;
    let dissipates = volts * volts / ohms;
    let watts = (dissipates * need.factor).max(need.least_watts / n);
    RATED_WATTS
        .into_iter()
        .filter(|rating| *rating >= watts)
        .map(|rating| (rating, resistor_volts(rating).unwrap_or(0.0)))
        .find(|(_, rated)| *rated >= volts)
        .map(|(watts, rated)| Resistor {
            count,
            ohms,
            watts,
            volts: rated,
            dissipates,
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// 100k at 450 V dissipates 2 W and needs twice that, rated for the volts (the worked example of
    /// a bleeder; computed, choice common practice, no source).
    #[test]
    fn a_bleeder_gets_twice_its_watts_and_its_volts() {
        let need = ResistorNeed {
            ohms: 100e3,
            toward: Toward::Smaller,
            volts: 450.0,
            factor: 2.0,
            least_watts: 0.0,
        };
        let part = resistor(&need).unwrap();
        assert_eq!((part.count, part.ohms, part.watts), (1, 100e3, 5.0));
        assert!(part.volts >= 450.0);
        assert_eq!(part.words(), "100k 5 W");
        let high = resistor(&ResistorNeed {
            volts: 700.0,
            ..need
        })
        .unwrap();
        assert_eq!(high.count, 2, "700 V is too much for one part");
        assert_eq!(high.ohms, 47e3);
    }

    #[test]
    fn small_parts_are_chosen_by_volts_where_watts_would_allow_less() {
        let need = ResistorNeed {
            ohms: 1e6,
            toward: Toward::Nearest,
            volts: 300.0,
            factor: 1.0,
            least_watts: 0.0,
        };
        assert_eq!(resistor(&need).unwrap().watts, 0.5, "1/4 W stands 250 V");
    }

    proptest! {
        /// No part is rated below what it needs, whatever is asked for.
        #[test]
        fn no_part_is_rated_below_its_need(
            ohms in prop_oneof![any::<f64>(), 1.0..1e7_f64],
            volts in prop_oneof![any::<f64>(), 0.1..2e3_f64],
            factor in 1.0..4.0_f64,
            least in 0.0..50.0_f64,
            toward in prop_oneof![Just(Toward::Larger), Just(Toward::Smaller), Just(Toward::Nearest)],
        ) {
            let need = ResistorNeed { ohms, toward, volts, factor, least_watts: least };
            if let Some(part) = resistor(&need) {
                let n = f64::from(part.count);
                let each = volts / n;
                prop_assert!(part.watts >= each * each / part.ohms * factor);
                prop_assert!(part.watts * n >= least);
                prop_assert!(part.volts >= each);
                match toward {
                    Toward::Larger => prop_assert!(part.total_ohms() >= ohms * (1.0 - 1e-9)),
                    Toward::Smaller => prop_assert!(part.total_ohms() <= ohms * (1.0 + 1e-9)),
                    Toward::Nearest => prop_assert!((part.total_ohms() / ohms).ln().abs() < 0.12),
                }
            }
        }

        #[test]
        fn ratings_reach_their_need(need in any::<f64>()) {
            for rating in [rated_watts(need), rated_volts(need)].into_iter().flatten() {
                prop_assert!(rating >= need);
            }
        }
    }
}
