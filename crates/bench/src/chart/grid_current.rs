//! The grid current of sound valves: why a grid is never quite at the volts of its leak.
//!
//! Electrons that land on a grid near its cathode's volts, and a trace of gas, make a sound
//! valve's grid draw or give a little current, which its leak turns into tens of millivolts. One
//! standard deviation is taken as 20 nA for a small valve and 100 nA for a power valve (common
//! practice, no source; with 1 megohm and 470 kilohm they put two deviations at 0.04 V and
//! 0.1 V, what a bench calls good at such grids).

use solve::netlist::{Element, Law, NodeIndex};

/// One standard deviation for a small valve, amperes.
const SMALL_AMPS: f64 = 20e-9;
/// One standard deviation for a power valve.
const POWER_AMPS: f64 = 100e-9;
/// A pentode whose space current reaches this at 0 V grid, 250 V screen is a power valve.
const POWER_SPACE_AMPS: f64 = 0.08;

/// Each grid with the spread of its current.
pub(super) fn grids(elements: &[Element]) -> Vec<(NodeIndex, f64)> {
    elements
        .iter()
        .filter_map(|e| match e.law {
            Law::Triode { grid, .. } => Some((grid, SMALL_AMPS)),
            Law::Pentode { grid, law, .. } => {
                let space = law.currents(250.0, 250.0, 0.0);
                let power = space.plate.amps + space.screen.amps > POWER_SPACE_AMPS;
                Some((grid, if power { POWER_AMPS } else { SMALL_AMPS }))
            }
            _ => None,
        })
        .filter(|(grid, _)| *grid != 0)
        .collect()
}
