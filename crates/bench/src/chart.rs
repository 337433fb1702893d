//! The chart: what every point should read, with a band, next to what the meter says.
//!
//! Against a readings block the expected volts are those that block's meter would show: its
//! resistance is put between the leads and the circuit is solved again, one reading at a
//! time. Without a block nothing loads the circuit. `volts` is the circuit with every part as
//! marked or measured, at today's mains; `low` to `high` hold 95 % of sound amplifiers, whose
//! parts have drifted and whose valves have aged, so the band may be off-centre.
//!
//! Knows the trade's expectations. Refuses to guess: what cannot be computed is listed with
//! its reason.

use crate::kirchhoff::Finding;
use crate::slips::Hint;
use serde::Serialize;
use wiring::circuit::Setting;

mod bands;
mod builds;
mod compute;
pub(crate) mod conditions;
mod currents;
pub mod entry;
mod fitted;
mod fuse;
pub(crate) mod grid_current;
pub mod judge;
mod listing;
mod model;
pub(crate) mod ohms;
pub mod points;
mod sample;
pub(crate) mod state;
pub mod trouble;
pub mod uncertainty;
pub mod verdict;

pub use compute::{Worked, chart, chart_with, work_out};
pub use verdict::{Band, Word};

/// What is asked of a chart.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ChartRequest {
    /// Name of the readings block to hold against; none: the last one, if there is any.
    pub block: Option<String>,
    /// Leave all readings aside: an unloaded chart.
    pub without_readings: bool,
    /// Mains volts in place of what block or heading say.
    pub mains_volts: Option<f64>,
    /// Knobs and switches in place of what wiring and block say.
    pub sets: Vec<Setting>,
    /// Valves out of their sockets, besides those of the block.
    pub without_valves: Vec<String>,
    /// Take the bands from sampled builds instead of from sensitivities.
    pub samples: Option<Samples>,
}

/// How to sample sound amplifiers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Samples {
    /// How many.
    pub builds: usize,
    /// Seed of the generator (ChaCha, 8 rounds); the same seed gives the same bands.
    pub seed: u64,
}

/// Expected values and readings.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Chart {
    /// The readings block it was held against.
    pub block: Option<String>,
    /// One line a point, and one a reading.
    pub points: Vec<Line>,
    /// Currents of valves and resistors.
    pub currents: Vec<Current>,
    /// What could not be computed, and why.
    pub unsolved: Vec<Unsolved>,
    /// How much was computed.
    pub status: Status,
    /// What was assumed and what else is worth knowing.
    pub notes: Vec<String>,
    /// Mains volts that the expected values are for.
    pub mains_volts: Option<f64>,
    /// Meter that loads the circuit, when there is one.
    pub meter: Option<MeterUsed>,
    /// Readings that clash with each other.
    pub findings: Vec<Finding>,
    /// Readings that a slip would explain.
    pub slips: Vec<Hint>,
    /// Where the trouble seems to be, most striking first.
    pub trouble: Vec<String>,
}

/// One line of the chart.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Line {
    /// The point as typed in the reading, else its first name.
    pub point: String,
    /// Other names of the same node.
    pub also: Vec<String>,
    /// `V`, `V ac`, `ohm` or `A`.
    pub unit: &'static str,
    /// Expected with every part as marked or measured.
    pub volts: Option<f64>,
    /// 2.5 % of sound amplifiers are lower.
    pub low: Option<f64>,
    /// 2.5 % of sound amplifiers are higher.
    pub high: Option<f64>,
    /// What was read, when it is a number.
    pub reading: Option<f64>,
    /// Verdict, where there is a band and a reading.
    pub verdict: Option<Word>,
    /// What the display showed, when it was no number: `OL`, `< 0.01`, `> 20M`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shown: Option<String>,
    /// Standard uncertainty of the reading by itself, in the line's unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<f64>,
    /// How far out, signed, in standard deviations of band and reading together.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sigmas: Option<f64>,
}

/// A current at rest.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Current {
    /// A part, or an electrode (`V1a.plate`).
    pub part: String,
    /// Milliamperes: into the part's first terminal; of an electrode, positive in normal working.
    pub ma: f64,
}

/// A point without an expected value.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Unsolved {
    /// Point or part.
    pub point: String,
    /// The reason, in words.
    pub why: String,
}

/// How much of the chart was computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Status {
    /// Every point; those of the mains side, where nothing should be sought, do not count.
    Solved,
    /// Some points have a reason instead of a number.
    Partly,
    /// None.
    Failed,
}

/// The meter in the circuit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MeterUsed {
    /// Input ohms on DC volts.
    pub ohms: f64,
    /// Error of reading, a fraction.
    pub error: f64,
    /// The block named no meter, so 10 Mohm and 0.5 % + 2 digits were taken.
    pub assumed: bool,
}
