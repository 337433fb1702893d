//! Readings: what a meter showed, where, and under which conditions.

use crate::circuit::{NodeId, PartId, Setting};
use crate::diagnostic::Place;
use serde::Serialize;

/// One `readings` block: one set of conditions and what was read under it.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Block {
    /// The text after the word `readings` (`as found, valves out`).
    pub name: String,
    /// What held while reading; what is not said stays as in the wiring.
    pub conditions: Conditions,
    /// Readings in the order typed; the same point may stand twice.
    pub readings: Vec<Reading>,
    /// Answers to the questions of a sheet, in the order typed; the last to a question counts.
    pub answers: Vec<Answer>,
    /// Where the block begins.
    pub place: Place,
}

/// Conditions of a block.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Conditions {
    /// `mains 231 V`.
    pub mains_volts: Option<f64>,
    /// Hertz after it, when said.
    pub mains_hertz: Option<f64>,
    /// `meter 10M 0.5%`.
    pub meter: Option<Meter>,
    /// `valves all in`, `without V2 V3`, `only V3`.
    pub valves: ValvesIn,
    /// `set VOLUME 0`.
    pub sets: Vec<Setting>,
    /// `standby open` is `Some(true)`.
    pub standby_open: Option<bool>,
    /// `speaker off` is `Some(false)`.
    pub speaker_on: Option<bool>,
    /// `limiter 60 W`: lamp in series with the mains.
    pub limiter_watts: Option<f64>,
    /// `minutes 10` since switch-on.
    pub minutes: Option<f64>,
    /// `signal J1 0.05 1000`: jack, volts rms, hertz.
    pub signal: Option<(String, f64, f64)>,
    /// `power off`.
    pub power_off: bool,
    /// `heard`, free text, in order.
    pub heard: Vec<String>,
    /// `seen`, free text, in order.
    pub seen: Vec<String>,
}

/// The meter that was used.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Meter {
    /// Input resistance in ohms.
    pub ohms: f64,
    /// Error of reading as a fraction (0.5% is 0.005).
    pub error: f64,
}

/// Which valves are in their sockets.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ValvesIn {
    /// All.
    #[default]
    All,
    /// All but these.
    Without(Vec<String>),
    /// Only these.
    Only(Vec<String>),
}

impl ValvesIn {
    /// Whether the valve of this name is in its socket.
    #[must_use]
    pub fn is_in(&self, name: &str) -> bool {
        match self {
            Self::All => true,
            Self::Without(out) => !out.iter().any(|v| v == name),
            Self::Only(only) => only.iter().any(|v| v == name),
        }
    }
}

/// One reading.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reading {
    /// The point as typed: `V1.1`, `B1 to B2`, `LS1`.
    pub point: String,
    /// What that means.
    pub probe: Probe,
    /// What the display showed.
    pub value: Shown,
    /// Its unit.
    pub unit: Unit,
    /// The size of the last digit typed, in the unit (`172` is 1, `1.32` is 0.01).
    pub digit: f64,
    /// A quoted remark.
    pub note: Option<String>,
    /// Where it stands.
    pub place: Place,
}

/// One answer to a question that a sheet asks (`answer cord yes "new, three cores"`).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Answer {
    /// The question's name, as the sheet prints it (`cord`, `C7`, `earth-bond`).
    pub item: String,
    /// What was said.
    pub said: Said,
    /// A quoted remark.
    pub note: Option<String>,
    /// Where it stands.
    pub place: Place,
}

/// What an answer says.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Said {
    /// As it should be.
    Yes,
    /// Not as it should be.
    No,
    /// A figure.
    Figure {
        /// What the display showed; in SI units where the unit is one of ours.
        shown: Shown,
        /// `V`, `V ac`, `A`, `ohm`, `F`, `H`, `W`, `Hz`, `s`, or the word typed behind the number
        /// (`min`, `C`, `%`); none for a bare number.
        unit: Option<String>,
        /// The size of the last digit typed, in the unit.
        digit: f64,
    },
}

/// What the meter's leads were on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Probe {
    /// Red lead on the node, black on ground.
    At(NodeId),
    /// The first less the second.
    Between(NodeId, NodeId),
    /// Across a part: its first terminal less its second.
    Across(PartId),
    /// The point is not in the wiring (a diagnostic says so); kept, never lost.
    Nowhere,
}

/// What a display shows.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Shown {
    /// A number, in SI units.
    Number(f64),
    /// Over range.
    Over,
    /// `< 0.01`.
    Below(f64),
    /// `> 20M`.
    Above(f64),
}

/// Unit of a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Unit {
    /// Volts DC.
    #[serde(rename = "V")]
    VoltsDc,
    /// Volts AC, rms.
    #[serde(rename = "V ac")]
    VoltsAc,
    /// Ohms.
    #[serde(rename = "ohm")]
    Ohms,
    /// Amperes DC.
    #[serde(rename = "A")]
    AmpsDc,
    /// Swings a second, as counted at a tremolo's valve; 0 where it stands still.
    #[serde(rename = "Hz")]
    Hertz,
}
