//! When to switch off, relative to what is expected at a step.
//!
//! Each limit is the tighter of the sources that there are, and never looser than its rule.

use crate::rules::rules;
use serde::Serialize;

/// The rule of the bench.
pub(super) const RULE: &str = "power.abort";

/// What is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Current from the mains, rms.
    MainsAmps,
    /// A high-tension node: less means a short or a leak, more too little load or too much mains.
    HighTension,
    /// Bias at an output grid.
    Bias,
    /// Current of one output plate.
    PlateAmps,
}

/// One source of a limit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Source {
    /// The figure it gives.
    pub figure: f64,
    /// What it is.
    pub from: &'static str,
}

/// A limit at a step.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Abort {
    /// What is read.
    pub quantity: Quantity,
    /// Where.
    pub point: String,
    /// What is expected there.
    pub expected: f64,
    /// Off when less than this (for bias: when it is less negative, see `at_most`).
    pub at_least: Option<f64>,
    /// Off when more than this.
    pub at_most: Option<f64>,
    /// The figures that were compared for `at_most`.
    pub sources: Vec<Source>,
}

/// A percentage of the rule as a fraction; the frozen figure where the file lacks it or is looser.
fn part(name: &str, frozen: f64, most: bool) -> f64 {
    let figure = rules().figure(RULE, name).map_or(frozen, |p| p / 100.0);
    if most {
        figure.min(frozen)
    } else {
        figure.max(frozen)
    }
}

/// Most of the expected mains current: 150 %.
pub(super) fn mains_share() -> f64 {
    part("mains current above expected", 1.5, true)
}

/// Least of the expected high tension: 70 %.
pub(super) fn tension_share() -> f64 {
    part("HT below expected", 0.7, false)
}

/// Least of the expected bias: 70 %.
pub(super) fn bias_share() -> f64 {
    part("bias magnitude at any fixed-bias output grid", 0.7, false)
}

/// Most of a plate's dissipation limit: 110 %.
pub(super) fn plate_share() -> f64 {
    part("plate dissipation", 1.1, true)
}

/// The tightest upper limit of several.
fn tightest(sources: &[Source]) -> Option<f64> {
    sources
        .iter()
        .map(|s| s.figure)
        .filter(|f| f.is_finite())
        .reduce(f64::min)
}

/// Mains current: by what is expected, and by the mark of the fuse.
pub(super) fn mains(expected: f64, fuse: Option<f64>) -> Abort {
    let mut sources = vec![Source {
        figure: mains_share() * expected,
        from: "150 % of what is expected",
    }];
    sources.extend(fuse.map(|figure| Source {
        figure,
        from: "the fuse's mark",
    }));
    Abort {
        quantity: Quantity::MainsAmps,
        point: "mains".to_owned(),
        expected,
        at_least: None,
        at_most: tightest(&sources),
        sources,
    }
}

/// A high-tension node: not too low, and not above the rating of any capacitor on it.
pub(super) fn tension(point: &str, expected: f64, rated: Option<f64>) -> Abort {
    let sources: Vec<Source> = rated
        .map(|figure| Source {
            figure,
            from: "rated volts of the capacitor on it",
        })
        .into_iter()
        .collect();
    Abort {
        quantity: Quantity::HighTension,
        point: point.to_owned(),
        expected,
        at_least: Some(tension_share() * expected),
        at_most: tightest(&sources),
        sources,
    }
}

/// Bias at an output grid, a negative figure: it must not come nearer to 0 than this.
pub(super) fn bias(point: &str, expected: f64) -> Abort {
    Abort {
        quantity: Quantity::Bias,
        point: point.to_owned(),
        expected,
        at_least: None,
        at_most: Some(bias_share() * expected),
        sources: vec![Source {
            figure: bias_share() * expected,
            from: "70 % of what is expected",
        }],
    }
}

/// Current of an output plate: by its dissipation limit and, where the sheet has one, by the
/// cathode's.
pub(super) fn plate(
    point: &str,
    expected: f64,
    volts: f64,
    watts: Option<f64>,
    cathode_amps: Option<f64>,
) -> Option<Abort> {
    let mut sources = Vec::new();
    if let (Some(watts), true) = (watts, volts > 1.0) {
        sources.push(Source {
            figure: plate_share() * watts / volts,
            from: "110 % of the plate's dissipation limit",
        });
    }
    sources.extend(cathode_amps.map(|figure| Source {
        figure,
        from: "the sheet's cathode current",
    }));
    Some(Abort {
        quantity: Quantity::PlateAmps,
        point: point.to_owned(),
        expected,
        at_least: None,
        at_most: Some(tightest(&sources)?),
        sources,
    })
}
