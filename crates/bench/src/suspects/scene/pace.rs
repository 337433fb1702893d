//! Whether the tremolo runs, and at what pace.
//!
//! A pair of natural frequencies that grows at the operating point is an oscillator that starts. Its pace
//! once settled is a little faster than its beginning; how much is not computed for every fault. What
//! touches no point of the oscillator and leaves its currents alone leaves its pace alone, too.

use super::{Expected, Scene};
use crate::suspects::edit::Edit;
use solve::netlist::{Law, Netlist, NodeIndex};
use solve::operating::Solution;
use solve::time::natural_frequencies;

/// What stands still, hertz: no tremolo is as slow.
pub(in crate::suspects) const STILL_HERTZ: f64 = 0.2;
/// No tremolo is slower, hertz,
const SLOWEST: f64 = 0.5;
/// or faster.
const FASTEST: f64 = 30.0;
/// A settled swing over its beginning (ours: between as fast and 1.4 times).
const SETTLED: f64 = 1.15;
/// One sigma of the logarithm of the pace: that, and the spread of three capacitors and resistors (ours).
const PACE_OFF: f64 = 0.2;
/// One sigma of what growth is left to one, as part of the angular frequency: gain and ladder spread (ours).
const GROWTH_OFF: f64 = 0.06;
/// The oscillator's current moved by less than this part leaves its pace alone.
const CURRENT_PART: f64 = 0.02;

/// The oscillator of a sound amplifier.
#[derive(Debug, Clone, Default)]
pub(super) struct Oscillator {
    /// Its nodes but ground and rails.
    pub(super) nodes: Vec<NodeIndex>,
    /// What it is expected to do: mean and variance of the logarithm of hertz.
    pub(super) sound: (f64, f64),
}

impl Scene {
    /// Says where the oscillator is, and what a sound one does.
    pub(in crate::suspects) fn oscillates(&mut self, nodes: Vec<NodeIndex>) -> Option<()> {
        let solution = solve::operating::solve(&self.base, Some(&self.volts));
        let sound = pace(&self.base, &solution)?;
        self.oscillator = Oscillator { nodes, sound };
        Some(())
    }

    /// What is counted on every lead of this scene.
    pub(super) fn swings(
        &self,
        net: &Netlist,
        solution: &Solution,
        edits: &[Edit],
    ) -> Option<Expected> {
        let (mean, own) = if self.touched(edits) || self.has_shifted(net, solution) {
            pace(net, solution)?
        } else {
            self.oscillator.sound
        };
        let count = self.leads.len();
        let mut out = Expected::with_room(count, self.causes);
        out.mean = vec![mean; count];
        out.own = vec![own; count];
        Some(out)
    }

    /// Does a change act on what hangs on the oscillator's nodes?
    fn touched(&self, edits: &[Edit]) -> bool {
        let on = |law: &Law| {
            law.terminals()
                .iter()
                .any(|n| self.oscillator.nodes.contains(n))
        };
        edits.iter().any(|edit| match edit {
            Edit::Add { law, .. } => on(law),
            _ => {
                let mut of = edit.elements().filter_map(|i| self.base.elements.get(i));
                of.any(|e| on(&e.law))
            }
        })
    }

    /// Do the sections on these nodes carry another current?
    fn has_shifted(&self, net: &Netlist, solution: &Solution) -> bool {
        let now = super::plate_amps(net, &solution.volts);
        let pairs = self.base.elements.iter().zip(&now).zip(&self.sound_amps);
        pairs
            .filter(|((e, _), _)| {
                let at = |n: &NodeIndex| self.oscillator.nodes.contains(n);
                e.law.terminals().iter().any(at)
            })
            .any(|((_, now), sound)| (now - sound).abs() > CURRENT_PART * sound.abs())
    }
}

/// Mean and variance of the logarithm of hertz: of a mixture, where it may start or not.
fn pace(net: &Netlist, solution: &Solution) -> Option<(f64, f64)> {
    let all = natural_frequencies(net, solution).ok()?;
    let slow = all.iter().find(|n| n.hertz > SLOWEST && n.hertz < FASTEST);
    let still = STILL_HERTZ.ln();
    let Some(slow) = slow else {
        return Some((still, PACE_OFF * PACE_OFF));
    };
    let growth = slow.growth / (GROWTH_OFF * std::f64::consts::TAU * slow.hertz);
    // the logistic curve is near enough to a normal distribution's here
    let runs = 1.0 / (1.0 + (-1.7 * growth).exp());
    let apart = (SETTLED * slow.hertz).ln() - still;
    Some((
        still + runs * apart,
        PACE_OFF * PACE_OFF + runs * (1.0 - runs) * apart * apart,
    ))
}
