//! One cycle on a fixed grid of steps: the wave itself, and what it makes of a nudge.

use super::advance::{Trial, attempt};
use super::build::Moving;
use super::rules::FREE;
use super::stage::Room;
use super::stores::Branch;
use crate::linear::Factors;

/// What one step left behind to carry nudges with.
struct Kept {
    h: f64,
    branches: Vec<Branch>,
    factors: Vec<Factors<f64>>,
}

/// A cycle's steps, ready to carry a nudge from its beginning to its end.
#[derive(Default)]
pub(super) struct Sweep {
    steps: Vec<Kept>,
}

/// The end of a cycle.
pub(super) struct End {
    pub(super) x: Vec<f64>,
    pub(super) states: Vec<f64>,
    /// How fast the states move there.
    pub(super) rates: Vec<f64>,
}

/// Is shown each stage of a cycle: seconds, its weight in a mean over time, unknowns, amperes.
pub(super) type Witness<'a> = &'a mut dyn FnMut(f64, f64, &[f64], &[f64]);

/// Goes through a cycle that begins at `seconds` in the steps of `grid`. None where a step was
/// not managed.
pub(super) fn wave(
    moving: &Moving,
    room: &mut Room,
    (seconds, grid): (f64, &[f64]),
    (x, states): (&[f64], &[f64]),
    within: &[f64],
    mut keep: Option<&mut Sweep>,
    mut witness: Option<Witness<'_>>,
) -> Option<End> {
    let mut trial = Trial::default();
    let (mut x, mut states) = (x.to_vec(), states.to_vec());
    let mut rates = vec![0.0; states.len()];
    let mut at = seconds;
    if let Some(sweep) = keep.as_mut() {
        sweep.steps.clear();
    }
    for &h in grid {
        let mut factors = Vec::new();
        let keeping = keep.is_some();
        let mut look = |stage: usize, x: &[f64], amps: &[f64], room: &Room| {
            if keeping {
                factors.push(room.factors.clone());
            }
            if let Some(witness) = witness.as_mut() {
                let weight = h * FREE.weight(stage);
                witness(at + h * FREE.times[stage], weight, x, amps);
            }
        };
        let begin = (at, h);
        if !attempt(
            moving,
            room,
            &FREE,
            begin,
            (&x, &states),
            within,
            &mut trial,
            Some(&mut look),
        ) {
            return None;
        }
        if let Some(sweep) = keep.as_mut() {
            sweep.steps.push(Kept {
                h,
                branches: room.branches.clone(),
                factors,
            });
        }
        std::mem::swap(&mut x, &mut trial.x);
        std::mem::swap(&mut states, &mut trial.states);
        rates.copy_from_slice(trial.last_rates());
        at += h;
    }
    Some(End { x, states, rates })
}

impl Sweep {
    /// What a nudge of the states at the beginning has become at the end.
    pub(super) fn carry(&mut self, moving: &Moving, nudge: &[f64]) -> Vec<f64> {
        let count = nudge.len();
        let mut now = nudge.to_vec();
        let mut base = vec![0.0; count];
        let mut x = vec![0.0; moving.pattern.size() + 1];
        let mut rates = vec![vec![0.0; count]; FREE.stages()];
        for step in &mut self.steps {
            let own = FREE.gamma * step.h;
            for (stage, factors) in step.factors.iter_mut().enumerate() {
                base.copy_from_slice(&now);
                for (share, rates) in FREE.shares[stage].iter().zip(&rates) {
                    for (base, rate) in base.iter_mut().zip(rates) {
                        *base += step.h * share * rate;
                    }
                }
                x.fill(0.0);
                let stores = moving.stores.iter().zip(&step.branches).zip(&base);
                for ((store, branch), state) in stores {
                    store.feed(&mut x, branch.drive * state);
                }
                factors.solve(&moving.pattern, &mut x[1..]);
                x[0] = 0.0;
                let stores = moving.stores.iter().zip(&step.branches).zip(&base);
                for (rate, ((store, branch), &base)) in rates[stage].iter_mut().zip(stores) {
                    let amps = branch.siemens * store.volts(&x) + branch.drive * base;
                    *rate = store.sort.rate(amps, base, own);
                }
            }
            if let Some(last) = rates.last() {
                for ((now, base), rate) in now.iter_mut().zip(&base).zip(last) {
                    *now = base + own * rate;
                }
            }
        }
        now
    }
}
