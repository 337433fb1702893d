//! Sampled builds, solved: what the bands of [`super::model`] are checked against.

use super::Samples;
use super::grid_current::GridAmps;
use super::sample::{normals, quantile};
use super::state::State;
use super::verdict::{Band, K95};
use crate::tolerance::Causes;
use solve::netlist::{Element, Law, Netlist, NodeIndex};

/// Volts behind which a grid current is fed; its source is so stiff that it is a current.
const FEED_OHMS: f64 = 1e11;

/// Sound amplifiers, each solved by itself.
pub(super) struct Builds {
    /// Volts by node of each; no more is kept, so that thousands fit in memory.
    builds: Vec<Vec<f64>>,
    /// How many had no operating point.
    pub(super) lost: usize,
}

impl Builds {
    /// Draws and solves the builds, each from the solution of `middle`.
    pub(super) fn new(
        netlist: &Netlist,
        causes: &Causes,
        grids: &[GridAmps],
        middle: &State,
        samples: Samples,
    ) -> Self {
        let count = causes.causes.len();
        let mut all = Self {
            builds: Vec::new(),
            lost: 0,
        };
        for z in normals(samples.seed, samples.builds, count + grids.len()) {
            let mut build = netlist.scaled(&causes.factors(&z));
            for (grid, z) in grids.iter().zip(z.iter().skip(count)) {
                build.elements.push(Element {
                    name: "grid current".to_owned(),
                    law: Law::Source {
                        plus: grid.grid,
                        minus: grid.cathode,
                        volts: grid.sigma * z * FEED_OHMS,
                        ohms: FEED_OHMS,
                    },
                });
            }
            match middle.near(&build) {
                Ok(state) => all.builds.push(state.volts().to_vec()),
                Err(_) => all.lost += 1,
            }
        }
        all
    }

    /// Median and 95 % of the builds, as a band.
    pub(super) fn band(&self, a: NodeIndex, b: NodeIndex, keeps: f64) -> Band {
        let at = |volts: &[f64], node: NodeIndex| volts.get(node).copied().unwrap_or(0.0);
        let builds = self.builds.iter();
        let mut volts: Vec<f64> = builds.map(|v| (at(v, a) - at(v, b)) * keeps).collect();
        let mut share_of = |share| quantile(&mut volts, share).unwrap_or(f64::NAN);
        let (low, centre, high) = (share_of(0.025), share_of(0.5), share_of(0.975));
        Band {
            centre,
            down: (centre - low) / K95,
            up: (high - centre) / K95,
        }
    }
}
