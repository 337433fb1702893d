//! One mains cycle of a rectifier group, steady volts given.
//!
//! The whole cycle is solved at once: all plate volts at all angles are the unknowns. The network
//! around the plates is passive and the laws never fall, so the equations are monotone and have
//! one answer. Newton's method finds it, each step a sweep over the cycle with the laws replaced
//! by their tangents, shortened when the equations turn against the step before its end.
//!
//! Pure and deterministic. Knows [`Rectifiers`], refuses to know where its figures come from.

use super::matrix;
use crate::netlist::{CYCLE_STEPS, LEAST_DECAY, Rectifiers};
use std::f64::consts::TAU;

/// Newton steps after which the best found is returned as it is.
const MOST_STEPS: usize = 80;
/// Accepted departure of the laws from the network's currents, relative to the greatest.
const TOLERANCE: f64 = 1e-11;

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
        let m = self.plates.len();
        if across.len() < m || out.len() < m || jacobian.len() < m * m {
            return false;
        }
        let mut sweep = Sweep::new(self, across);
        let solved = sweep.solve();
        for (d, slot) in out.iter_mut().enumerate().take(m) {
            *slot = sweep.law_amps.iter().skip(d).step_by(m).sum::<f64>() / CYCLE_STEPS as f64;
        }
        sweep.slopes(jacobian);
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

/// The working arrays of one solution. Arrays over the cycle are step by step, plate within step.
struct Sweep<'a> {
    group: &'a Rectifiers,
    /// Plates.
    m: usize,
    /// Stores.
    n: usize,
    /// Resistances with the trapezium's share of the stores, `m` by `m`.
    ohms: Vec<f64>,
    /// The stores from one step to the next, `n` by `n`.
    carry: Vec<f64>,
    /// What the currents add to them on the way, `n` by `m`.
    feed: Vec<f64>,
    /// What the stores take from the plates, `m` by `n`.
    reach: Vec<f64>,
    /// The trapezium's share of the stores, `n` by `m`.
    share: Vec<f64>,
    /// Plate volts now.
    volts: Vec<f64>,
    /// What the network passes at those volts.
    net_amps: Vec<f64>,
    /// What the laws pass at those volts, and their slopes.
    law_amps: Vec<f64>,
    law_slope: Vec<f64>,
    iterations: usize,
}

impl<'a> Sweep<'a> {
    fn new(group: &'a Rectifiers, across: &[f64]) -> Self {
        let m = group.plates.len();
        let n = group.stores.len();
        let step = 1.0 / (group.hertz.max(1e-3) * CYCLE_STEPS as f64);
        // (1 - h/2 A)^-1 applied to [1 + h/2 A | h/2 B].
        let mut left = vec![0.0; n * n];
        let mut right = vec![0.0; n * (n + m)];
        for (s, store) in group.stores.iter().enumerate() {
            for q in 0..n {
                let rate = 0.5 * step * store.rates.get(q).copied().unwrap_or(0.0);
                let one = if q == s { 1.0 } else { 0.0 };
                let rate = rate - one * 0.5 * step * LEAST_DECAY;
                left[s * n + q] = one - rate;
                right[s * (n + m) + q] = one + rate;
            }
            for d in 0..m {
                right[s * (n + m) + n + d] =
                    0.5 * step * store.charge.get(d).copied().unwrap_or(0.0);
            }
        }
        // Passive networks never make this singular; a damaged one gets stores that stand still.
        if !matrix::solve(&mut left, &mut right, n, n + m) {
            right.fill(0.0);
        }
        let mut carry = vec![0.0; n * n];
        let mut share = vec![0.0; n * m];
        for s in 0..n {
            for q in 0..n {
                carry[s * n + q] = right[s * (n + m) + q];
            }
            for d in 0..m {
                share[s * m + d] = right[s * (n + m) + n + d];
            }
        }
        let mut feed = share.clone();
        for s in 0..n {
            for d in 0..m {
                for q in 0..n {
                    feed[s * m + d] += carry[s * n + q] * share[q * m + d];
                }
            }
        }
        let mut reach = vec![0.0; m * n];
        for (s, store) in group.stores.iter().enumerate() {
            for d in 0..m {
                reach[d * n + s] = store.reach.get(d).copied().unwrap_or(0.0);
            }
        }
        let mut ohms = vec![0.0; m * m];
        for d in 0..m {
            for e in 0..m {
                let mut z = group
                    .ohms
                    .get(d)
                    .and_then(|row| row.get(e))
                    .copied()
                    .unwrap_or(0.0);
                for s in 0..n {
                    z += reach[d * n + s] * share[s * m + e];
                }
                ohms[d * m + e] = z;
            }
        }
        let mut drive = vec![0.0; CYCLE_STEPS * m];
        for (d, plate) in group.plates.iter().enumerate() {
            let turn = TAU / CYCLE_STEPS as f64;
            for j in 0..CYCLE_STEPS {
                let angle = turn * (j + 1) as f64 + plate.phase;
                drive[j * m + d] = across[d]
                    + if plate.emf_peak == 0.0 {
                        0.0
                    } else {
                        plate.emf_peak * angle.cos()
                    };
            }
        }
        Sweep {
            group,
            m,
            n,
            ohms,
            carry,
            feed,
            reach,
            share,
            // With no current the plates see steady volts and emf alone, which is a consistent start.
            volts: drive,
            net_amps: vec![0.0; CYCLE_STEPS * m],
            law_amps: vec![0.0; CYCLE_STEPS * m],
            law_slope: vec![0.0; CYCLE_STEPS * m],
            iterations: 0,
        }
    }

    /// Evaluates the laws at the present volts; returns the greatest current and the greatest
    /// departure from the network's.
    fn laws(&mut self) -> (f64, f64) {
        let (mut greatest, mut apart) = (0.0_f64, 0.0_f64);
        for (d, plate) in self.group.plates.iter().enumerate() {
            for at in (d..CYCLE_STEPS * self.m).step_by(self.m) {
                let (i, g) = plate.law.conduction(self.volts[at]);
                self.law_amps[at] = i;
                self.law_slope[at] = g;
                greatest = greatest.max(i.abs());
                apart = apart.max((i - self.net_amps[at]).abs());
            }
        }
        (greatest, apart)
    }

    /// Newton's method over the whole cycle.
    fn solve(&mut self) -> bool {
        let size = CYCLE_STEPS * self.m;
        let (mut step_volts, mut step_amps) = (vec![0.0; size], vec![0.0; size]);
        for _ in 0..MOST_STEPS {
            let (greatest, apart) = self.laws();
            if apart <= TOLERANCE * greatest + 1e-16 {
                return true;
            }
            self.iterations += 1;
            if !self.linear_cycle(&mut step_volts, &mut step_amps) {
                return false;
            }
            let fraction = self.line_search(&step_volts, &step_amps);
            for at in 0..size {
                self.volts[at] += fraction * step_volts[at];
                self.net_amps[at] += fraction * step_amps[at];
            }
        }
        let (greatest, apart) = self.laws();
        apart <= 1e3 * TOLERANCE * greatest + 1e-15
    }

    /// What the unbalanced currents do along the step: never falls with `fraction`, because the
    /// equations are monotone, and is 0 where the step should end.
    fn slope_along(&self, fraction: f64, volts: &[f64], amps: &[f64]) -> f64 {
        let mut sum = 0.0;
        for (d, plate) in self.group.plates.iter().enumerate() {
            for at in (d..CYCLE_STEPS * self.m).step_by(self.m) {
                let (i, _) = plate.law.conduction(self.volts[at] + fraction * volts[at]);
                sum += volts[at] * (i - self.net_amps[at] - fraction * amps[at]);
            }
        }
        sum
    }

    /// The part of the step to take: all of it unless the currents have turned against it by then.
    fn line_search(&self, volts: &[f64], amps: &[f64]) -> f64 {
        let start = self.slope_along(0.0, volts, amps);
        let end = self.slope_along(1.0, volts, amps);
        if start.is_nan() || end.is_nan() || start >= 0.0 || end <= 0.5 * start.abs() {
            return 1.0;
        }
        let (mut low, mut high, mut at_low, mut at_high) = (0.0, 1.0, start, end);
        for _ in 0..30 {
            // The chord, kept off both ends so that the bracket shrinks on either side.
            let chord = low + (high - low) * (-at_low / (at_high - at_low));
            let margin = 0.1 * (high - low);
            let middle = chord.clamp(low + margin, high - margin);
            let slope = self.slope_along(middle, volts, amps);
            if slope.abs() <= 0.3 * start.abs() {
                return middle;
            }
            if slope < 0.0 {
                (low, at_low) = (middle, slope);
            } else {
                (high, at_high) = (middle, slope);
            }
        }
        if low > 0.0 { low } else { high }
    }

    /// The Newton step: departures of volts and network currents at which the tangents of the
    /// laws meet the network. Departures, so that large network resistances (a floating
    /// winding's against ground) act on small numbers only.
    fn linear_cycle(&self, volts: &mut [f64], amps: &mut [f64]) -> bool {
        let (m, n) = (self.m, self.n);
        let Some(unknown) = self.closed(1, true, |_, _| {}) else {
            return false;
        };
        // Forward once more with the closing values in place.
        let (start, means) = unknown.split_at(n);
        let mut state = start.to_vec();
        let mut next = vec![0.0; n];
        let mut active = Vec::with_capacity(m);
        let (mut a, mut b) = (vec![0.0; m * m], vec![0.0; m]);
        for j in 0..CYCLE_STEPS {
            let here = j * m..(j + 1) * m;
            active.clear();
            for d in 0..m {
                let at = j * m + d;
                let mut w = 0.0;
                for (reach, x) in self.reach[d * n..].iter().zip(&state) {
                    w -= reach * x;
                }
                for (z, mean) in self.ohms[d * m..].iter().zip(means) {
                    w += z * mean;
                }
                volts[at] = w;
                amps[at] = self.law_amps[at] - self.net_amps[at];
                if self.law_slope[at] > 0.0 {
                    active.push(d);
                }
            }
            self.tangent_step(
                j,
                &active,
                &mut volts[here.clone()],
                &mut amps[here.clone()],
                &mut a,
                &mut b,
            );
            for (s, x) in next.iter_mut().enumerate() {
                *x = 0.0;
                for (carry, y) in self.carry[s * n..].iter().zip(&state) {
                    *x += carry * y;
                }
                for (d, i) in amps[here.clone()].iter().enumerate() {
                    *x += self.feed[s * m + d] * (i - means[d]);
                }
            }
            state.copy_from_slice(&next);
        }
        volts.iter().chain(amps.iter()).all(|x| x.is_finite())
    }

    /// At one step: from the volts with no current flowing to those with it. On entry `amps`
    /// holds what the laws pass beyond the network's currents.
    fn tangent_step(
        &self,
        j: usize,
        active: &[usize],
        volts: &mut [f64],
        amps: &mut [f64],
        a: &mut [f64],
        b: &mut [f64],
    ) {
        let m = self.m;
        if active.is_empty() && amps.iter().all(|i| *i == 0.0) {
            return;
        }
        let count = active.len();
        for (r, &d) in active.iter().enumerate() {
            let mut w = volts[d];
            for (z, i) in self.ohms[d * m..].iter().zip(amps.iter()) {
                w -= z * i;
            }
            b[r] = w;
            for (c, &e) in active.iter().enumerate() {
                a[r * count + c] = self.ohms[d * m + e] * self.law_slope[j * m + e]
                    + if r == c { 1.0 } else { 0.0 };
            }
        }
        if !matrix::solve(&mut a[..count * count], &mut b[..count], count, 1) {
            b[..count].fill(f64::NAN);
        }
        for (r, &d) in active.iter().enumerate() {
            amps[d] += self.law_slope[j * m + d] * b[r];
        }
        for (d, v) in volts.iter_mut().enumerate() {
            for (z, i) in self.ohms[d * m..].iter().zip(amps.iter()) {
                *v -= z * i;
            }
        }
        // The solved volts are free of the cancellation that the subtraction suffers.
        for (r, &d) in active.iter().enumerate() {
            volts[d] = b[r];
        }
    }

    /// Closes the linear cycle for `extra` known columns: `known` adds its share to the volts of
    /// a plate; with `constants`, what the laws pass beyond the network joins the first column.
    /// Returns stores at the start and means, one row each; `None` when singular.
    fn closed(
        &self,
        extra: usize,
        constants: bool,
        known: impl Fn(usize, &mut [f64]),
    ) -> Option<Vec<f64>> {
        let (m, n) = (self.m, self.n);
        let unknowns = n + m;
        let k = extra + unknowns;
        let (end, sums) = self.columns(k, extra, constants, &known);
        // Stores at the end less those at the start are 0; sums over steps less means are 0.
        let mut a = vec![0.0; unknowns * unknowns];
        let mut b = vec![0.0; unknowns * extra];
        for r in 0..unknowns {
            let (row, scale) = if r < n {
                (&end[r * k..(r + 1) * k], 1.0)
            } else {
                (
                    &sums[(r - n) * k..(r - n + 1) * k],
                    1.0 / CYCLE_STEPS as f64,
                )
            };
            for u in 0..unknowns {
                a[r * unknowns + u] = row[extra + u] * scale;
            }
            a[r * unknowns + r] -= 1.0;
            for c in 0..extra {
                b[r * extra + c] = -row[c] * scale;
            }
        }
        matrix::solve(&mut a, &mut b, unknowns, extra).then_some(b)
    }

    /// Sweeps the cycle with affine columns; returns the stores at the end (`n` by `k`) and the
    /// sums of the currents (`m` by `k`).
    fn columns(
        &self,
        k: usize,
        extra: usize,
        constants: bool,
        known: &impl Fn(usize, &mut [f64]),
    ) -> (Vec<f64>, Vec<f64>) {
        let (m, n) = (self.m, self.n);
        let mut state = vec![0.0; n * k];
        for s in 0..n {
            state[s * k + extra + s] = 1.0;
        }
        let mut next = vec![0.0; n * k];
        let mut sums = vec![0.0; m * k];
        let mut amps = vec![0.0; m * k];
        let (mut a, mut b) = (vec![0.0; m * m], vec![0.0; m * k]);
        let mut active = Vec::with_capacity(m);
        for j in 0..CYCLE_STEPS {
            active.clear();
            let mut still = true;
            for d in 0..m {
                let at = j * m + d;
                if self.law_slope[at] > 0.0 {
                    active.push(d);
                }
                let c = if constants {
                    self.law_amps[at] - self.net_amps[at]
                } else {
                    0.0
                };
                still &= c == 0.0;
                amps[d * k..(d + 1) * k].fill(0.0);
                amps[d * k] = c;
            }
            let count = active.len();
            still &= count == 0;
            if !still {
                for (r, &d) in active.iter().enumerate() {
                    let row = &mut b[r * k..(r + 1) * k];
                    row.fill(0.0);
                    known(d, row);
                    for e in 0..m {
                        let z = self.ohms[d * m + e];
                        row[0] -= z * amps[e * k];
                        row[extra + n + e] += z;
                    }
                    for s in 0..n {
                        let reach = self.reach[d * n + s];
                        if reach != 0.0 {
                            for (x, y) in row.iter_mut().zip(&state[s * k..(s + 1) * k]) {
                                *x -= reach * y;
                            }
                        }
                    }
                    for (c, &e) in active.iter().enumerate() {
                        a[r * count + c] = self.ohms[d * m + e] * self.law_slope[j * m + e]
                            + if r == c { 1.0 } else { 0.0 };
                    }
                }
                if !matrix::solve(&mut a[..count * count], &mut b[..count * k], count, k) {
                    b[..count * k].fill(f64::NAN);
                }
                for (r, &d) in active.iter().enumerate() {
                    let g = self.law_slope[j * m + d];
                    for c in 0..k {
                        amps[d * k + c] += g * b[r * k + c];
                    }
                }
                for (x, y) in sums.iter_mut().zip(&amps) {
                    *x += y;
                }
            }
            for s in 0..n {
                let row = &mut next[s * k..(s + 1) * k];
                row.fill(0.0);
                for q in 0..n {
                    let carry = self.carry[s * n + q];
                    for (x, y) in row.iter_mut().zip(&state[q * k..(q + 1) * k]) {
                        *x += carry * y;
                    }
                }
                for d in 0..m {
                    let feed = self.feed[s * m + d];
                    row[extra + n + d] -= feed;
                    if !still {
                        for (x, y) in row.iter_mut().zip(&amps[d * k..(d + 1) * k]) {
                            *x += feed * y;
                        }
                    }
                }
            }
            std::mem::swap(&mut state, &mut next);
        }
        (state, sums)
    }

    /// Slopes of the mean currents with the steady volts, at the present laws.
    fn slopes(&self, jacobian: &mut [f64]) {
        let (m, n) = (self.m, self.n);
        jacobian[..m * m].fill(0.0);
        if self.law_slope.iter().all(|g| *g == 0.0) {
            return;
        }
        let Some(answer) = self.closed(m, false, |d, row| row[d] += 1.0) else {
            return;
        };
        for d in 0..m {
            for e in 0..m {
                let slope = answer[(n + d) * m + e];
                jacobian[d * m + e] = if slope.is_finite() { slope } else { 0.0 };
            }
        }
    }

    /// Departures of the stores from their means over the cycle.
    fn ripple(&self) -> Vec<Vec<f64>> {
        let (m, n) = (self.m, self.n);
        let mut out = vec![vec![0.0; CYCLE_STEPS]; n];
        if n == 0 {
            return out;
        }
        let means: Vec<f64> = (0..m)
            .map(|d| self.law_amps.iter().skip(d).step_by(m).sum::<f64>() / CYCLE_STEPS as f64)
            .collect();
        // From rest, then the start that closes the cycle is added.
        let run = |start: &[f64], out: Option<&mut Vec<Vec<f64>>>| -> Vec<f64> {
            let mut state = start.to_vec();
            let mut keep = out;
            for j in 0..CYCLE_STEPS {
                let part = |d: usize| self.law_amps[j * m + d] - means[d];
                if let Some(keep) = keep.as_deref_mut() {
                    for s in 0..n {
                        keep[s][j] =
                            state[s] + (0..m).map(|d| self.share[s * m + d] * part(d)).sum::<f64>();
                    }
                }
                let next: Vec<f64> = (0..n)
                    .map(|s| {
                        (0..n)
                            .map(|q| self.carry[s * n + q] * state[q])
                            .sum::<f64>()
                            + (0..m).map(|d| self.feed[s * m + d] * part(d)).sum::<f64>()
                    })
                    .collect();
                state = next;
            }
            state
        };
        let mut b = run(&vec![0.0; n], None);
        let mut a = vec![0.0; n * n];
        for q in 0..n {
            let mut column = vec![0.0; n];
            column[q] = 1.0;
            for _ in 0..CYCLE_STEPS {
                column = (0..n)
                    .map(|s| (0..n).map(|p| self.carry[s * n + p] * column[p]).sum())
                    .collect();
            }
            for s in 0..n {
                a[s * n + q] = if s == q { 1.0 } else { 0.0 } - column[s];
            }
        }
        if matrix::solve(&mut a, &mut b, n, 1) {
            run(&b, Some(&mut out));
        }
        out
    }
}

#[cfg(test)]
mod tests;
