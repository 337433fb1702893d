//! From a group's equations to those from one step of the cycle to the next.
//!
//! Holds the network alone: no emf, no steady volts, no law. So it serves every cycle of a group,
//! and of any other with the same ohms and stores.

use super::super::matrix;
use crate::netlist::{CYCLE_STEPS, LEAST_DECAY, Rectifiers};

/// Powers of two of steps that are kept: 1, 2, 4 ... 256.
const LEVELS: usize = 9;

/// What takes a group's network from one step to the next.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Steps {
    /// Plates.
    pub(super) m: usize,
    /// States: all stores at the step before, then all at the step before that.
    pub(super) n: usize,
    /// Resistances with what a current puts on the stores at once, `m` by `m`.
    pub(super) ohms: Vec<f64>,
    /// The states from one step to the next, `n` by `n`.
    pub(super) carry: Vec<f64>,
    /// What the currents add to them on the way, `n` by `m`.
    pub(super) feed: Vec<f64>,
    /// `carry` and `feed` of 1, 2, 4 ... 256 steps with currents that stand still.
    pub(super) coasts: Vec<(Vec<f64>, Vec<f64>)>,
    /// What the states before a step take from the plates at it, `m` by `n`.
    pub(super) reach: Vec<f64>,
    /// The resistance that each plate sees with all others conducting, `m`.
    pub(super) seen: Vec<f64>,
}

impl Steps {
    /// The steps of a group's network.
    pub(super) fn new(group: &Rectifiers) -> Self {
        let m = group.plates.len();
        let stores = group.stores.len();
        let n = 2 * stores;
        let step = 1.0 / (group.hertz.max(1e-3) * CYCLE_STEPS as f64);
        // (1 - 2h/3 A)^-1 applied to [4/3 | -1/3 | 2h/3 B].
        let width = n + m;
        let mut left = vec![0.0; stores * stores];
        let mut right = vec![0.0; stores * width];
        for (s, store) in group.stores.iter().enumerate() {
            for q in 0..stores {
                let rate = store.rates.get(q).copied().unwrap_or(0.0);
                let one = if q == s { 1.0 } else { 0.0 };
                left[s * stores + q] = one - 2.0 / 3.0 * step * (rate - one * LEAST_DECAY);
            }
            right[s * width + s] = 4.0 / 3.0;
            right[s * width + stores + s] = -1.0 / 3.0;
            for d in 0..m {
                let charge = store.charge.get(d).copied().unwrap_or(0.0);
                right[s * width + n + d] = 2.0 / 3.0 * step * charge;
            }
        }
        // Passive networks never make this singular; a damaged one gets stores that stand still.
        if !matrix::solve(&mut left, &mut right, stores, width) {
            right.fill(0.0);
        }
        let mut carry = vec![0.0; n * n];
        let mut feed = vec![0.0; n * m];
        let mut reach = vec![0.0; m * n];
        let mut ohms = vec![0.0; m * m];
        for s in 0..stores {
            carry[s * n..(s + 1) * n].copy_from_slice(&right[s * width..s * width + n]);
            carry[(stores + s) * n + s] = 1.0;
            feed[s * m..(s + 1) * m].copy_from_slice(&right[s * width + n..(s + 1) * width]);
        }
        for d in 0..m {
            for (e, z) in ohms[d * m..(d + 1) * m].iter_mut().enumerate() {
                let row = group.ohms.get(d);
                *z = row.and_then(|row| row.get(e)).copied().unwrap_or(0.0);
            }
            for (s, store) in group.stores.iter().enumerate() {
                let take = store.reach.get(d).copied().unwrap_or(0.0);
                for q in 0..n {
                    reach[d * n + q] += take * carry[s * n + q];
                }
                for e in 0..m {
                    ohms[d * m + e] += take * feed[s * m + e];
                }
            }
        }
        Self {
            m,
            n,
            coasts: coasts(&carry, &feed, n, m),
            seen: seen(&ohms, m),
            ohms,
            carry,
            feed,
            reach,
        }
    }

    /// Volts of each plate at each step with these currents, `drive` being those without any;
    /// `None` when the network has no cycle that closes.
    pub(super) fn volts(&self, drive: &[f64], amps: &[f64]) -> Option<Vec<f64>> {
        let (m, n) = (self.m, self.n);
        let means = means(amps, m);
        let mut volts = drive.to_vec();
        self.run(amps, &means, |j, before, _| {
            for d in 0..m {
                let mut fall = 0.0;
                for e in 0..m {
                    fall += self.ohms[d * m + e] * (amps[j * m + e] - means[e]);
                }
                for (reach, x) in self.reach[d * n..(d + 1) * n].iter().zip(before) {
                    fall += reach * x;
                }
                volts[j * m + d] -= fall;
            }
        })?;
        Some(volts)
    }

    /// Departures of the stores from their means over the cycle, with these currents.
    pub(super) fn ripple(&self, amps: &[f64]) -> Vec<Vec<f64>> {
        let mut out = vec![vec![0.0; CYCLE_STEPS]; self.n / 2];
        let means = means(amps, self.m);
        self.run(amps, &means, |j, _, after| {
            for (slot, x) in out.iter_mut().zip(after) {
                slot[j] = *x;
            }
        });
        out
    }

    /// Runs through the cycle that closes, showing the states before and after each step.
    fn run(
        &self,
        amps: &[f64],
        means: &[f64],
        mut show: impl FnMut(usize, &[f64], &[f64]),
    ) -> Option<()> {
        let n = self.n;
        let mut state = vec![0.0; n];
        let mut next = vec![0.0; n];
        for j in 0..CYCLE_STEPS {
            self.step(j, amps, means, &state, &mut next);
            std::mem::swap(&mut state, &mut next);
        }
        // What the cycle makes of a start from rest, and of each state, says which start closes.
        let around = self.around();
        let mut a: Vec<f64> = around.iter().map(|x| -x).collect();
        for s in 0..n {
            a[s * n + s] += 1.0;
        }
        if !matrix::solve(&mut a, &mut state, n, 1) {
            return None;
        }
        for j in 0..CYCLE_STEPS {
            self.step(j, amps, means, &state, &mut next);
            show(j, &state, &next);
            std::mem::swap(&mut state, &mut next);
        }
        Some(())
    }

    fn step(&self, j: usize, amps: &[f64], means: &[f64], state: &[f64], next: &mut [f64]) {
        let (m, n) = (self.m, self.n);
        for (s, x) in next.iter_mut().enumerate() {
            *x = 0.0;
            for (carry, y) in self.carry[s * n..(s + 1) * n].iter().zip(state) {
                *x += carry * y;
            }
            for d in 0..m {
                *x += self.feed[s * m + d] * (amps[j * m + d] - means[d]);
            }
        }
    }

    /// `carry` of the whole cycle.
    fn around(&self) -> Vec<f64> {
        let n = self.n;
        let mut around = vec![0.0; n * n];
        for s in 0..n {
            around[s * n + s] = 1.0;
        }
        for (level, (carry, _)) in self.coasts.iter().enumerate() {
            if CYCLE_STEPS >> level & 1 == 1 {
                around = product(carry, &around, n, n);
            }
        }
        around
    }
}

/// Means over the cycle of each plate's values.
fn means(values: &[f64], m: usize) -> Vec<f64> {
    let sum = |d: usize| values.iter().skip(d).step_by(m).sum::<f64>();
    (0..m).map(|d| sum(d) / CYCLE_STEPS as f64).collect()
}

/// Two, four, eight ... steps at once: carry twice, and the feed of both halves.
fn coasts(carry: &[f64], feed: &[f64], n: usize, m: usize) -> Vec<(Vec<f64>, Vec<f64>)> {
    let mut all = vec![(carry.to_vec(), feed.to_vec())];
    while let (Some((carry, feed)), true) = (all.last(), all.len() < LEVELS) {
        let mut both = product(carry, feed, n, m);
        for (x, y) in both.iter_mut().zip(feed) {
            *x += y;
        }
        all.push((product(carry, carry, n, n), both));
    }
    all
}

/// `n` by `n` times `n` by `width`.
fn product(left: &[f64], right: &[f64], n: usize, width: usize) -> Vec<f64> {
    let mut out = vec![0.0; n * width];
    for s in 0..n {
        for q in 0..n {
            let by = left[s * n + q];
            if by == 0.0 {
                continue;
            }
            let row = &right[q * width..(q + 1) * width];
            for (x, y) in out[s * width..(s + 1) * width].iter_mut().zip(row) {
                *x += by * y;
            }
        }
    }
    out
}

/// Reciprocal diagonal of the inverse; a little is added for plates in parallel.
fn seen(ohms: &[f64], m: usize) -> Vec<f64> {
    let mut seen = vec![1.0; m];
    let mut left = ohms.to_vec();
    let mut right = vec![0.0; m * m];
    for d in 0..m {
        left[d * m + d] += 1e-2;
        right[d * m + d] = 1.0;
    }
    if matrix::solve(&mut left, &mut right, m, m) {
        for (d, slot) in seen.iter_mut().enumerate() {
            let ohms = 1.0 / right[d * m + d];
            if ohms.is_finite() {
                *slot = ohms.clamp(1e-3, 1e8);
            }
        }
    }
    seen
}
