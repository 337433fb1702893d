//! The grid current of sound valves: why a grid is never quite at the volts of its leak.
//!
//! Electrons that land on a grid near its cathode's volts, and a trace of gas, make a sound
//! valve's grid draw or give a little current, which its leak turns into tens of millivolts.
//! The spread, either way, is in the table of tolerances, for small and for power valves.

use crate::tolerance::{Case, Tolerances};
use solve::netlist::{Element, Law, NodeIndex};

/// A pentode whose space current reaches this at 0 V grid, 250 V screen is a power valve.
const POWER_SPACE_AMPS: f64 = 0.08;

/// A current that is none in the equations: of a control grid at rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct GridAmps {
    /// The grid it flows into,
    pub(crate) grid: NodeIndex,
    /// from this cathode.
    pub(crate) cathode: NodeIndex,
    /// One standard deviation, amperes.
    pub(crate) sigma: f64,
}

/// Each grid with the spread of its current.
pub(crate) fn grid_amps(elements: &[Element], tolerances: &Tolerances) -> Vec<GridAmps> {
    elements
        .iter()
        .filter_map(|e| match e.law {
            Law::Triode { grid, cathode, .. } => Some((grid, cathode, Case::GridAmpsSmall)),
            Law::Pentode {
                grid, cathode, law, ..
            } => {
                let space = law.currents(250.0, 250.0, 0.0);
                let power = space.plate.amps + space.screen.amps > POWER_SPACE_AMPS;
                let case = if power {
                    Case::GridAmpsPower
                } else {
                    Case::GridAmpsSmall
                };
                Some((grid, cathode, case))
            }
            _ => None,
        })
        .filter(|(grid, ..)| *grid != 0)
        .map(|(grid, cathode, case)| GridAmps {
            grid,
            cathode,
            sigma: tolerances.spread(case, 0.0).sigma,
        })
        .collect()
}
