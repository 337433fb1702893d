//! Newton's method over a whole cycle at once.
//!
//! Between steps the volts and amperes of the network are brought to the nearest point of each
//! law: nearest along a line of the resistance that the plate sees. A plate found 30 V above
//! its cathode then gets the amperes that 30 V drive through that resistance, not those of the
//! bare law, and a steep law is as easy as a soft one (resolvent of a monotone operator; Minty,
//! Duke Math. J. 29, 1962, from memory, not seen). Steps are halved until the misfit falls.

mod start;

use super::super::matrix;
use crate::netlist::{CYCLE_STEPS, Rectifiers};

/// Newton steps of one approach.
const MOST_STEPS: usize = 40;
/// Accepted departure of the laws from the network's currents, relative to the greatest.
const TOLERANCE: f64 = 1e-11;

/// The working arrays of one solution. Arrays over the cycle are step by step, plate within step.
pub(super) struct Sweep<'a> {
    group: &'a Rectifiers,
    /// Plates.
    m: usize,
    /// States: all stores at the step before, then all at the step before that.
    n: usize,
    /// Resistances with what a current puts on the stores at once, `m` by `m`.
    ohms: Vec<f64>,
    /// The states from one step to the next, `n` by `n`.
    carry: Vec<f64>,
    /// What the currents add to them on the way, `n` by `m`.
    feed: Vec<f64>,
    /// `carry` and `feed` of 1, 2, 4 ... 256 steps without any current.
    coasts: Vec<(Vec<f64>, Vec<f64>)>,
    /// What the states before a step take from the plates at it, `m` by `n`.
    reach: Vec<f64>,
    /// The resistance that each plate sees with all others conducting, `m`.
    seen: Vec<f64>,
    /// Resistance in series with every plate, for the time being.
    series: f64,
    /// Plate volts and amperes that satisfy the network.
    pub(super) net_volts: Vec<f64>,
    pub(super) net_amps: Vec<f64>,
    /// The nearest volts and amperes that satisfy the laws, and the slopes there.
    pub(super) volts: Vec<f64>,
    pub(super) law_amps: Vec<f64>,
    law_slope: Vec<f64>,
    pub(super) iterations: usize,
}

impl Sweep<'_> {
    /// Brings the network's volts and amperes to the laws; returns the greatest current and the
    /// greatest departure from the network's.
    fn laws(&mut self) -> (f64, f64) {
        let (mut greatest, mut apart) = (0.0_f64, 0.0_f64);
        for (d, plate) in self.group.plates.iter().enumerate() {
            let ohms = self.seen[d];
            for at in (d..CYCLE_STEPS * self.m).step_by(self.m) {
                let emf = self.net_volts[at] + ohms * self.net_amps[at];
                let point = plate.law.behind(ohms + self.series, emf);
                self.volts[at] = point.volts + self.series * point.amps;
                self.law_amps[at] = point.amps;
                self.law_slope[at] = point.slope / (1.0 + self.series * point.slope);
                greatest = greatest.max(point.amps.abs());
                apart = apart.max((point.amps - self.net_amps[at]).abs());
            }
        }
        (greatest, apart)
    }

    /// How far laws and network are apart: sum of squares, each weighted with its resistance.
    fn misfit(&self, fraction: f64, volts: &[f64], amps: &[f64]) -> f64 {
        let mut sum = 0.0;
        for (d, plate) in self.group.plates.iter().enumerate() {
            let ohms = self.seen[d];
            for at in (d..CYCLE_STEPS * self.m).step_by(self.m) {
                let net = self.net_amps[at] + fraction * amps[at];
                let emf = self.net_volts[at] + fraction * volts[at] + ohms * net;
                let apart = ohms * (plate.law.behind(ohms + self.series, emf).amps - net);
                sum += apart * apart;
            }
        }
        sum
    }

    /// Newton's method over the whole cycle; where it stalls, once more with a resistance in
    /// series with each plate that is as large as anything in the network, then less and less.
    pub(super) fn solve(&mut self) -> bool {
        let start = self.net_volts.clone();
        if self.newton(14) {
            return true;
        }
        self.net_volts.copy_from_slice(&start);
        self.net_amps.fill(0.0);
        let m = self.m;
        let largest = (0..m).fold(0.0_f64, |z, d| z.max(self.ohms[d * m + d].abs()));
        let least = self.seen.iter().copied().fold(f64::INFINITY, f64::min);
        self.series = largest;
        while self.series > 1e-2 * least {
            self.newton(MOST_STEPS);
            self.series *= 0.2;
        }
        self.series = 0.0;
        self.newton(MOST_STEPS)
    }

    /// Newton's method from the volts and amperes that stand in the network.
    pub(super) fn newton(&mut self, most: usize) -> bool {
        let size = CYCLE_STEPS * self.m;
        let (mut step_volts, mut step_amps) = (vec![0.0; size], vec![0.0; size]);
        let (mut greatest, mut apart) = self.laws();
        let mut best = f64::INFINITY;
        for count in 0..most {
            if apart <= TOLERANCE * greatest + 1e-16 {
                return true;
            }
            self.iterations += 1;
            if !self.linear_cycle(&mut step_volts, &mut step_amps) {
                return false;
            }
            // Full steps are the rule; the misfit is looked at only when they do not pay.
            let mut fraction = 1.0;
            if count >= 12 && apart >= best {
                let before = self.misfit(0.0, &step_volts, &step_amps);
                while fraction > 1e-4
                    && self.misfit(fraction, &step_volts, &step_amps)
                        > (1.0 - 0.1 * fraction) * before
                {
                    fraction *= 0.5;
                }
            }
            best = best.min(apart);
            for at in 0..size {
                self.net_volts[at] += fraction * step_volts[at];
                self.net_amps[at] += fraction * step_amps[at];
            }
            (greatest, apart) = self.laws();
        }
        apart <= 1e3 * TOLERANCE * greatest + 1e-15
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
        let stores = n / 2;
        let mut state = start.to_vec();
        let mut next = vec![0.0; n];
        let mut active = Vec::with_capacity(m);
        let (mut a, mut b) = (vec![0.0; m * m], vec![0.0; m]);
        // What the means alone do to the plates' volts and to the stores.
        let by_means = |matrix: &[f64], row: usize| -> f64 {
            let row = matrix[row * m..].iter().zip(means);
            row.map(|(x, mean)| x * mean).sum()
        };
        let still: Vec<f64> = (0..m).map(|d| by_means(&self.ohms, d)).collect();
        let drain: Vec<f64> = (0..stores).map(|s| by_means(&self.feed, s)).collect();
        for j in 0..CYCLE_STEPS {
            let here = j * m..(j + 1) * m;
            active.clear();
            let mut idle = true;
            for (d, still) in still.iter().enumerate() {
                let at = j * m + d;
                let mut w = *still;
                for (reach, x) in self.reach[d * n..(d + 1) * n].iter().zip(&state) {
                    w -= reach * x;
                }
                volts[at] = w;
                amps[at] = self.beyond(at);
                idle &= amps[at] == 0.0;
                if self.law_slope[at] > 0.0 {
                    active.push(d);
                    idle = false;
                }
            }
            if !idle {
                self.tangent_step(
                    j,
                    &active,
                    &mut volts[here.clone()],
                    &mut amps[here.clone()],
                    &mut a,
                    &mut b,
                );
            }
            next[stores..].copy_from_slice(&state[..stores]);
            for (s, x) in next.iter_mut().enumerate().take(stores) {
                *x = -drain[s];
                for (carry, y) in self.carry[s * n..(s + 1) * n].iter().zip(&state) {
                    *x += carry * y;
                }
                if !idle {
                    let feed = &self.feed[s * m..(s + 1) * m];
                    for (feed, i) in feed.iter().zip(&amps[here.clone()]) {
                        *x += feed * i;
                    }
                }
            }
            std::mem::swap(&mut state, &mut next);
        }
        volts.iter().chain(amps.iter()).all(|x| x.is_finite())
    }

    /// What a law's tangent passes beyond the network's current at the network's volts.
    fn beyond(&self, at: usize) -> f64 {
        (self.law_amps[at] - self.net_amps[at])
            - self.law_slope[at] * (self.volts[at] - self.net_volts[at])
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
        let idle = |j: usize| {
            (j * m..(j + 1) * m).all(|at| {
                self.law_slope[at] == 0.0 && (!constants || self.law_amps[at] == self.net_amps[at])
            })
        };
        let mut j = 0;
        while j < CYCLE_STEPS {
            let mut run = 0;
            while j + run < CYCLE_STEPS && idle(j + run) {
                run += 1;
            }
            if run > 3 {
                self.coast(run, k, extra, &mut state, &mut next);
                j += run;
                continue;
            }
            active.clear();
            let mut still = true;
            for d in 0..m {
                let at = j * m + d;
                if self.law_slope[at] > 0.0 {
                    active.push(d);
                }
                let c = if constants { self.beyond(at) } else { 0.0 };
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
            // The later half of the states is the earlier half of the step before.
            let stores = n / 2;
            next[stores * k..].copy_from_slice(&state[..stores * k]);
            for s in 0..stores {
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
            j += 1;
        }
        (state, sums)
    }

    /// The columns' states after `run` steps in which no plate conducts.
    fn coast(&self, run: usize, k: usize, extra: usize, state: &mut [f64], next: &mut [f64]) {
        let (m, n) = (self.m, self.n);
        for (level, (carry, feed)) in self.coasts.iter().enumerate() {
            if run >> level & 1 == 0 {
                continue;
            }
            for s in 0..n {
                let row = &mut next[s * k..(s + 1) * k];
                row.fill(0.0);
                for q in 0..n {
                    let carry = carry[s * n + q];
                    for (x, y) in row.iter_mut().zip(&state[q * k..(q + 1) * k]) {
                        *x += carry * y;
                    }
                }
                for d in 0..m {
                    row[extra + n + d] -= feed[s * m + d];
                }
            }
            state.copy_from_slice(next);
        }
    }

    /// Slopes of the mean currents with the steady volts, at the present laws.
    pub(super) fn slopes(&self, jacobian: &mut [f64]) {
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
    pub(super) fn ripple(&self) -> Vec<Vec<f64>> {
        let (m, n) = (self.m, self.n);
        let mut out = vec![vec![0.0; CYCLE_STEPS]; n / 2];
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
                let next: Vec<f64> = (0..n)
                    .map(|s| {
                        (0..n)
                            .map(|q| self.carry[s * n + q] * state[q])
                            .sum::<f64>()
                            + (0..m).map(|d| self.feed[s * m + d] * part(d)).sum::<f64>()
                    })
                    .collect();
                if let Some(keep) = keep.as_deref_mut() {
                    for (x, slot) in next.iter().zip(keep.iter_mut()) {
                        slot[j] = *x;
                    }
                }
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
