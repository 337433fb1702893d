//! What a circuit in time is made of, but for what remembers: sources, diodes and lamps, valves, averaged rectifiers.

use super::cathodes::Warming;
use crate::device::{DiodeLaw, NeonLaw, PentodeLaw, TriodeLaw};
use crate::linear::Stamp;

/// What a source's emf does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Emf {
    Steady(f64),
    Sine {
        peak: f64,
        hertz: f64,
    },
    /// In a straight line from one value to the next.
    Ramp {
        from: f64,
        to: f64,
        since: f64,
        length: f64,
    },
}

impl Emf {
    pub(super) fn at(self, seconds: f64) -> f64 {
        match self {
            Self::Steady(volts) => volts,
            // a generator that stands still asks for no sine
            Self::Sine { peak: 0.0, .. } => 0.0,
            Self::Sine { peak, hertz } => peak * (std::f64::consts::TAU * hertz * seconds).sin(),
            Self::Ramp {
                from,
                to,
                since,
                length,
            } => from + (to - from) * ((seconds - since) / length).clamp(0.0, 1.0),
        }
    }
}

#[derive(Debug, Clone, PartialEq)]
pub(super) struct Source {
    pub(super) element: usize,
    pub(super) a: usize,
    pub(super) b: usize,
    pub(super) siemens: f64,
    pub(super) emf: Emf,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum PairLaw {
    Diode(DiodeLaw),
    Neon(NeonLaw),
}

#[derive(Debug, Clone, PartialEq)]
pub(super) struct Pair {
    pub(super) element: usize,
    pub(super) a: usize,
    pub(super) b: usize,
    pub(super) stamps: [Stamp; 2],
    pub(super) law: PairLaw,
    pub(super) lit: bool,
    pub(super) warming: Option<Warming>,
}

/// A triode: plate, grid, cathode; stamps by row and controlling volts.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Three {
    pub(super) element: usize,
    pub(super) nodes: [usize; 3],
    pub(super) stamps: [[Stamp; 2]; 3],
    pub(super) law: TriodeLaw,
    pub(super) warming: Option<Warming>,
}

/// A pentode: plate, screen, grid, cathode.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Four {
    pub(super) element: usize,
    pub(super) nodes: [usize; 4],
    pub(super) stamps: [[Stamp; 3]; 4],
    pub(super) law: PentodeLaw,
    pub(super) warming: Option<Warming>,
}

/// Mean amperes through a rectifying plate at no volts, its slopes being in the matrix.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Mean {
    pub(super) element: usize,
    pub(super) plate: usize,
    pub(super) cathode: usize,
    pub(super) amps: f64,
    /// Siemens by the volts over each plate of the group.
    pub(super) slopes: Vec<(usize, usize, f64)>,
}
