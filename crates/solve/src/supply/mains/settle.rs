//! From one round to the next: fixed-point steps with a memory.
//!
//! The next state is the one that the last rounds' misfits, taken as linear, put at no misfit
//! (Anderson, Journal of the ACM 12, 1965, from memory, not seen). A lamp alone would settle
//! without it; lamp, heaters and load together may swing. If they still swing after
//! [`Settler::EAGER`] rounds, small plain steps, as warming up would take them, take turns with
//! a new memory, smaller and smaller.

use super::super::matrix;

/// Earlier rounds that are remembered.
const DEPTH: usize = 4;

pub(super) struct Settler {
    size: usize,
    rounds: usize,
    /// Last state and misfit.
    last: Option<(Vec<f64>, Vec<f64>)>,
    /// Differences of states and misfits between rounds.
    steps: Vec<(Vec<f64>, Vec<f64>)>,
}

impl Settler {
    /// Rounds with memory.
    pub(super) const EAGER: usize = 40;
    /// Rounds in all.
    pub(super) const MOST: usize = 240;
    /// Rounds of one kind after those.
    const TURN: usize = 20;

    pub(super) fn new(size: usize) -> Self {
        Settler {
            size,
            rounds: 0,
            last: None,
            steps: Vec::new(),
        }
    }

    /// Moves `state` towards where `wanted` leads, within `bounds`.
    pub(super) fn next(&mut self, state: &mut [f64], wanted: &[f64], bounds: &[(f64, f64)]) {
        self.rounds += 1;
        let late = self.rounds.saturating_sub(Self::EAGER);
        let turn = late.div_ceil(Self::TURN);
        let plain = turn % 2 == 1;
        if plain {
            self.last = None;
            self.steps.clear();
        }
        let misfit: Vec<f64> = wanted
            .iter()
            .zip(state.iter())
            .map(|(w, s)| w - s)
            .collect();
        if let Some((last_state, last_misfit)) = &self.last {
            let moved = state.iter().zip(last_state).map(|(a, b)| a - b).collect();
            let changed = misfit.iter().zip(last_misfit).map(|(a, b)| a - b).collect();
            self.steps.push((moved, changed));
            if self.steps.len() > DEPTH {
                self.steps.remove(0);
            }
        }
        self.last = Some((state.to_vec(), misfit.clone()));
        let mut step = misfit.clone();
        if !plain {
            if let Some(weights) = self.weights(&misfit) {
                for ((moved, changed), weight) in self.steps.iter().zip(&weights) {
                    for ((slot, a), b) in step.iter_mut().zip(moved).zip(changed) {
                        *slot -= weight * (a + b);
                    }
                }
            }
        } else {
            let part = 0.2_f64.powi(1 + i32::try_from(turn / 2).unwrap_or(0));
            step.iter_mut().for_each(|s| *s *= part);
        }
        for ((slot, s), (low, high)) in state.iter_mut().zip(&step).zip(bounds) {
            *slot = (*slot + s.clamp(-1.0, 1.0)).clamp(*low, *high);
        }
    }

    /// The mixture of earlier changes of misfit that is nearest to the present misfit.
    fn weights(&self, misfit: &[f64]) -> Option<Vec<f64>> {
        let n = self.steps.len();
        if n == 0 || self.size == 0 {
            return None;
        }
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
        let mut a = vec![0.0; n * n];
        let mut b = vec![0.0; n];
        for (r, (_, f)) in self.steps.iter().enumerate() {
            for (c, (_, g)) in self.steps.iter().enumerate() {
                a[r * n + c] = dot(f, g);
            }
            // Keeps changes that are nearly the same from fighting.
            a[r * n + r] *= 1.0 + 1e-10;
            b[r] = dot(f, misfit);
        }
        (matrix::solve(&mut a, &mut b, n, 1) && b.iter().all(|w| w.is_finite() && w.abs() < 1e3))
            .then_some(b)
    }
}
