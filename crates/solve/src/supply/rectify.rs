//! One mains cycle of a rectifier group, steady volts given.
//!
//! The whole cycle is solved at once: all plate volts at all angles are the unknowns. The network
//! around the plates is passive and the laws never fall, so the equations are monotone and have
//! one answer. Newton's method finds it, each step a sweep over the cycle with the laws replaced
//! by their tangents.
//!
//! Pure and deterministic. Knows [`Rectifiers`], refuses to know where its figures come from.

mod steps;
mod sweep;
mod tangents;

use crate::netlist::{CYCLE_STEPS, Rectifiers, Store};
use std::f64::consts::TAU;
use steps::Steps;
use sweep::{Care, Sweep};

/// Volts and amperes of a cycle that is kept as a start, at most. Its rounding stays in all that
/// start from it; slow stores make a few billionths of the current of it.
const MOST_KEPT_VOLTS: f64 = 1e5;
const MOST_KEPT_AMPS: f64 = 100.0;

/// The last cycle of one group, as a start for the next.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CycleMemory {
    /// The plates and the network that it belongs to.
    plates: Vec<usize>,
    ohms: Vec<Vec<f64>>,
    stores: Vec<Store>,
    hertz: f64,
    steps: Steps,
    /// The cycle, step by step, plate within step: volts without any current, volts, amperes.
    drive: Vec<f64>,
    volts: Vec<f64>,
    amps: Vec<f64>,
}

impl CycleMemory {
    /// Is it of a group with the same diodes?
    pub(crate) fn is_of(&self, group: &Rectifiers) -> bool {
        self.plates.len() == group.plates.len()
            && group
                .plates
                .iter()
                .zip(&self.plates)
                .all(|(p, e)| p.element == *e)
    }

    /// Is the network of `group` the one it knows?
    fn knows(&self, group: &Rectifiers) -> bool {
        self.is_of(group)
            && self.hertz == group.hertz
            && self.ohms == group.ohms
            && self.stores == group.stores
    }

    /// Takes the steps of the network of `group`, and makes the cycle one of them.
    fn learn(&mut self, group: &Rectifiers) {
        let steps = Steps::new(group);
        let cycle = if self.is_of(group) && self.amps.len() == CYCLE_STEPS * steps.m {
            steps.volts(&self.drive, &self.amps)
        } else {
            None
        };
        match cycle.filter(|volts| volts.iter().all(|v| v.is_finite())) {
            Some(volts) => self.volts = volts,
            None => self.amps.clear(),
        }
        self.steps = steps;
        self.ohms.clone_from(&group.ohms);
        self.stores.clone_from(&group.stores);
        self.hertz = group.hertz;
        self.plates = group.plates.iter().map(|plate| plate.element).collect();
    }
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

    /// Harmonics from the first up to `most` of the current through plate `d`, as pairs of peak
    /// amplitudes `(re, im)` with `i(a) = ... + re cos(k a) - im sin(k a) + ...`, so `re + j im` is
    /// the peak phasor.
    pub fn harmonics(&self, d: usize, most: usize) -> Vec<(f64, f64)> {
        let amps = self.amps.get(d).map_or(&[][..], Vec::as_slice);
        let turns: Vec<(f64, f64)> = (0..CYCLE_STEPS)
            .map(|j| (TAU * j as f64 / CYCLE_STEPS as f64).sin_cos())
            .collect();
        (1..=most)
            .map(|k| {
                let (mut re, mut im) = (0.0, 0.0);
                for (j, x) in amps.iter().enumerate() {
                    let (sin, cos) = turns[k * (j + 1) % CYCLE_STEPS];
                    re += x * cos;
                    im -= x * sin;
                }
                (re * 2.0 / CYCLE_STEPS as f64, im * 2.0 / CYCLE_STEPS as f64)
            })
            .collect()
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
    /// The answer depends on the start by no more than the tolerance. The memory of a group with
    /// other ohms, stores, emfs or laws is a start as well; a new one is a start from nothing.
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
        self.solved_from(memory, across, out, jacobian, Care::Whole)
    }

    /// [`Rectifiers::mean_currents_from`] on the way to somewhere else: the slopes may be those before the last
    /// correction.
    pub(crate) fn rough_currents_from(
        &self,
        memory: &mut CycleMemory,
        across: &[f64],
        out: &mut [f64],
        jacobian: &mut [f64],
    ) -> bool {
        self.solved_from(memory, across, out, jacobian, Care::RoughSlopes)
    }

    /// [`Rectifiers::mean_currents_from`] for a first look, two thirds of the work: laws and network agree to a billionth
    /// of the greatest current, and the slopes are those before the last correction (of a ten-thousandth at most). Slices
    /// that are too short are left alone and false is returned.
    pub fn loose_currents_from(
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
        self.solved_from(memory, across, out, jacobian, Care::Loose)
    }

    fn solved_from(
        &self,
        memory: &mut CycleMemory,
        across: &[f64],
        out: &mut [f64],
        jacobian: &mut [f64],
        care: Care,
    ) -> bool {
        self.sweep_from(memory, across, care, |sweep, solved| {
            for (slot, mean) in out.iter_mut().zip(sweep.means()) {
                *slot = mean;
            }
            sweep.slopes(jacobian);
            solved
        })
    }

    /// The mean currents alone; missing volts count as 0.
    pub fn amps_from(&self, memory: &mut CycleMemory, across: &[f64]) -> Vec<f64> {
        let given = self.given(across);
        self.sweep_from(memory, &given, Care::Whole, |sweep, _| sweep.means())
    }

    /// Volts across each plate, missing ones 0.
    fn given(&self, across: &[f64]) -> Vec<f64> {
        let given = across.iter().copied().chain(std::iter::repeat(0.0));
        given.take(self.plates.len()).collect()
    }

    /// The whole cycle at given mean volts across each plate; missing volts count as 0.
    pub fn cycle(&self, across: &[f64]) -> Cycle {
        self.cycle_from(&mut CycleMemory::default(), across)
    }

    /// [`Rectifiers::cycle`], with a memory as in [`Rectifiers::mean_currents_from`].
    pub fn cycle_from(&self, memory: &mut CycleMemory, across: &[f64]) -> Cycle {
        let m = self.plates.len();
        let given = self.given(across);
        let column = |x: &[f64], d: usize| x.iter().skip(d).step_by(m).copied().collect();
        let mut cycle = self.sweep_from(memory, &given, Care::Whole, |sweep, solved| Cycle {
            volts: (0..m).map(|d| column(&sweep.volts, d)).collect(),
            amps: (0..m).map(|d| column(&sweep.law_amps, d)).collect(),
            ripple: Vec::new(),
            iterations: sweep.iterations,
            solved,
        });
        let by_step = (0..CYCLE_STEPS).flat_map(|j| cycle.amps.iter().map(move |i| i[j]));
        cycle.ripple = memory.steps.ripple(&by_step.collect::<Vec<f64>>());
        cycle
    }

    /// Solves the cycle from what `memory` holds, shows it, and leaves it there.
    fn sweep_from<Answer>(
        &self,
        memory: &mut CycleMemory,
        across: &[f64],
        care: Care,
        show: impl FnOnce(&mut Sweep, bool) -> Answer,
    ) -> Answer {
        if !memory.knows(self) {
            memory.learn(self);
        }
        let CycleMemory {
            steps,
            drive,
            volts,
            amps,
            ..
        } = memory;
        let mut sweep = Sweep::new(self, steps, across);
        sweep.care = care;
        let known = amps.len() == sweep.drive.len();
        if known {
            // The same amperes satisfy the network when the volts move with what drives it.
            for (v, (new, old)) in volts.iter_mut().zip(sweep.drive.iter().zip(&*drive)) {
                *v += new - old;
            }
        }
        let solved = if known && volts.iter().chain(&*amps).all(|x| x.is_finite()) {
            sweep.solve_from(volts, amps)
        } else {
            sweep.solve()
        };
        let answer = show(&mut sweep, solved);
        let within = |x: &[f64], most: f64| x.iter().all(|x| x.abs() <= most);
        let small =
            within(&sweep.drive, MOST_KEPT_VOLTS) && within(&sweep.net_amps, MOST_KEPT_AMPS);
        if solved && small {
            *drive = sweep.drive;
            *volts = sweep.net_volts;
            *amps = sweep.net_amps;
        } else {
            amps.clear();
        }
        answer
    }
}

#[cfg(test)]
mod tests;
