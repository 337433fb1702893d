//! One mains cycle of a rectifier group, steady volts given.
//!
//! The whole cycle is solved at once: all plate volts at all angles are the unknowns. The network
//! around the plates is passive and the laws never fall, so the equations are monotone and have
//! one answer. Newton's method finds it, each step a sweep over the cycle with the laws replaced
//! by their tangents.
//!
//! Pure and deterministic. Knows [`Rectifiers`], refuses to know where its figures come from.

mod sweep;

use crate::netlist::{CYCLE_STEPS, Rectifiers};
use std::f64::consts::TAU;
use sweep::Sweep;

/// The last cycle of one group, as a start for the next.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CycleMemory {
    across: Vec<f64>,
    volts: Vec<f64>,
    amps: Vec<f64>,
}

/// One solved mains cycle.
#[derive(Debug, Clone, PartialEq)]
pub struct Cycle {
    /// Plate volts less cathode volts, for each plate at the angles `2 pi j / CYCLE_STEPS`, `j` from 1.
    pub volts: Vec<Vec<f64>>,
    /// Amperes through each plate at those angles.
    pub amps: Vec<Vec<f64>>,
    /// Departure of each store from its mean.
    pub ripple: Vec<Vec<f64>>,
    /// Newton steps taken.
    pub iterations: usize,
    /// Did it meet its tolerance?
    pub solved: bool,
}

impl Cycle {
    /// Mean of the current through plate `d`.
    pub fn mean(&self, d: usize) -> f64 {
        self.amps.get(d).map_or(0.0, |i| mean(i))
    }

    /// Root mean square of the current through plate `d`.
    pub fn rms(&self, d: usize) -> f64 {
        self.amps.get(d).map_or(0.0, |i| {
            mean(&i.iter().map(|x| x * x).collect::<Vec<_>>()).sqrt()
        })
    }

    /// Greatest current through plate `d`.
    pub fn peak(&self, d: usize) -> f64 {
        self.amps
            .get(d)
            .map_or(0.0, |i| i.iter().copied().fold(0.0, f64::max))
    }

    /// Greatest inverse volts across plate `d` (positive).
    pub fn inverse_volts(&self, d: usize) -> f64 {
        self.volts
            .get(d)
            .map_or(0.0, |v| v.iter().copied().fold(0.0, |a, b| f64::max(a, -b)))
    }

    /// Harmonic `k` of the current through plate `d`, as the pair of peak amplitudes `(re, im)` with
    /// `i(a) = ... + re cos(k a) - im sin(k a) + ...`, so `re + j im` is its peak phasor.
    pub fn harmonic(&self, d: usize, k: usize) -> (f64, f64) {
        self.amps.get(d).map_or((0.0, 0.0), |i| harmonic(i, k))
    }

    /// Root mean square of the ripple of store `s`.
    pub fn ripple_rms(&self, s: usize) -> f64 {
        self.ripple.get(s).map_or(0.0, |x| {
            mean(&x.iter().map(|x| x * x).collect::<Vec<_>>()).sqrt()
        })
    }
}

fn mean(x: &[f64]) -> f64 {
    x.iter().sum::<f64>() / x.len().max(1) as f64
}

/// Peak phasor of harmonic `k` of samples at the angles `2 pi j / len`, `j` from 1.
pub(super) fn harmonic(samples: &[f64], k: usize) -> (f64, f64) {
    let count = samples.len();
    let (mut re, mut im) = (0.0, 0.0);
    for (j, x) in samples.iter().enumerate() {
        let angle = TAU * ((k * (j + 1)) % count) as f64 / count as f64;
        re += x * angle.cos();
        im -= x * angle.sin();
    }
    let scale = if k == 0 { 1.0 } else { 2.0 } / count as f64;
    (re * scale, im * scale)
}

impl Rectifiers {
    /// Mean current of each plate and its slopes, given the mean volts across each plate.
    ///
    /// `across[d]` is `V_plate - V_cathode` of plate `d`; `out[d]` receives `I_d` in amperes,
    /// `jacobian[d * plates + e]` the slope of `I_d` with the volts across plate `e`, siemens.
    /// Defined for all finite volts, for no emf at all, and for emfs of any size. Slices that
    /// are too short are left alone and false is returned; so it is when the tolerance was not
    /// met (the figures are then the best found). Costs some tens of microseconds.
    pub fn mean_currents(&self, across: &[f64], out: &mut [f64], jacobian: &mut [f64]) -> bool {
        self.mean_currents_from(&mut CycleMemory::default(), across, out, jacobian)
    }

    /// [`Rectifiers::mean_currents`], started from the cycle that `memory` holds and leaving the
    /// new one in it: a third of the work when the volts have moved little.
    ///
    /// The answer depends on the start by no more than the tolerance. A memory of another group,
    /// or a new one, is a start from nothing.
    pub fn mean_currents_from(
        &self,
        memory: &mut CycleMemory,
        across: &[f64],
        out: &mut [f64],
        jacobian: &mut [f64],
    ) -> bool {
        let m = self.plates.len();
        if across.len() < m || out.len() < m || jacobian.len() < m * m {
            return false;
        }
        let mut sweep = Sweep::new(self, across);
        let size = CYCLE_STEPS * m;
        let warm = memory.across.len() == m && memory.amps.len() == size;
        let mut solved = false;
        if warm {
            // The same amperes satisfy the network when the volts move with the means.
            let cold = sweep.net_volts.clone();
            for at in 0..size {
                let d = at % m;
                sweep.net_volts[at] = memory.volts[at] + (across[d] - memory.across[d]);
                sweep.net_amps[at] = memory.amps[at];
            }
            solved = sweep.newton(14);
            if !solved {
                sweep.net_volts = cold;
                sweep.net_amps.fill(0.0);
            }
        }
        if !solved {
            solved = sweep.solve();
        }
        for (d, slot) in out.iter_mut().enumerate().take(m) {
            *slot = sweep.law_amps.iter().skip(d).step_by(m).sum::<f64>() / CYCLE_STEPS as f64;
        }
        sweep.slopes(jacobian);
        if solved {
            memory.across.clear();
            memory.across.extend_from_slice(&across[..m]);
            std::mem::swap(&mut memory.volts, &mut sweep.net_volts);
            std::mem::swap(&mut memory.amps, &mut sweep.net_amps);
        } else {
            memory.across.clear();
        }
        solved
    }

    /// The whole cycle at given mean volts across each plate; missing volts count as 0.
    pub fn cycle(&self, across: &[f64]) -> Cycle {
        let m = self.plates.len();
        let mut given = vec![0.0; m];
        for (slot, v) in given.iter_mut().zip(across) {
            *slot = *v;
        }
        let mut sweep = Sweep::new(self, &given);
        let solved = sweep.solve();
        let column = |x: &[f64], d: usize| x.iter().skip(d).step_by(m).copied().collect();
        Cycle {
            volts: (0..m).map(|d| column(&sweep.volts, d)).collect(),
            amps: (0..m).map(|d| column(&sweep.law_amps, d)).collect(),
            ripple: sweep.ripple(),
            iterations: sweep.iterations,
            solved,
        }
    }
}

#[cfg(test)]
mod tests;
