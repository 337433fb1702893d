//! The cycle with every law replaced by its tangent: a linear problem that closes on itself.
//!
//! The states at the start and the mean currents are its unknowns. They are found by carrying
//! one column for each of them, and one for each right side, through the cycle, eight side by
//! side. Stretches in which no plate conducts are crossed at once.

use super::super::matrix::{self, add};
use super::steps::Steps;
use crate::netlist::CYCLE_STEPS;

/// Columns that go through the cycle side by side.
const LANES: usize = 8;
type Lanes = [f64; LANES];

/// A step at which some plate conducts, or a law passes something beyond the network.
#[derive(Debug, Clone, Copy)]
struct Busy {
    /// Which step.
    step: usize,
    /// Idle steps since the last busy one.
    idle: usize,
    /// Where its conducting plates stand in `plates`, and how many there are.
    first: usize,
    count: usize,
    /// Where its factors stand in `factors`.
    factors: usize,
}

/// The right sides that a cycle is closed for.
#[derive(Clone, Copy)]
enum Known<'a> {
    /// What each law passes beyond the network, amperes over the cycle: one column.
    Beyond(&'a [f64]),
    /// The same, and after it a volt more across each plate: a column for each.
    Both(&'a [f64]),
    /// The volts alone.
    Volts,
}

impl<'a> Known<'a> {
    /// What the laws pass, and how many columns stand before those of the volts.
    fn beyond(self) -> (Option<&'a [f64]>, usize) {
        match self {
            Self::Beyond(amps) | Self::Both(amps) => (Some(amps), 1),
            Self::Volts => (None, 0),
        }
    }

    /// Columns of `m` plates in all.
    fn columns(self, m: usize) -> usize {
        match self {
            Self::Beyond(_) => 1,
            Self::Both(_) => 1 + m,
            Self::Volts => m,
        }
    }
}

/// The tangents of all laws at all steps, with the resistances before them factored.
#[derive(Debug, Clone, Default)]
pub(super) struct Tangents {
    busy: Vec<Busy>,
    plates: Vec<usize>,
    exchanged: Vec<usize>,
    factors: Vec<f64>,
}

impl Tangents {
    /// Takes the slopes over the cycle. Steps at which `beyond` is not 0 count as busy, too.
    /// False where a step has no answer.
    pub(super) fn factor(&mut self, steps: &Steps, slope: &[f64], beyond: Option<&[f64]>) -> bool {
        let m = steps.m;
        self.busy.clear();
        self.plates.clear();
        self.exchanged.clear();
        self.factors.clear();
        let mut idle = 0;
        for step in 0..CYCLE_STEPS {
            let here = step * m..(step + 1) * m;
            let first = self.plates.len();
            for (d, slope) in slope[here.clone()].iter().enumerate() {
                if *slope > 0.0 {
                    self.plates.push(d);
                }
            }
            let count = self.plates.len() - first;
            let still = beyond.is_none_or(|b| b[here.clone()].iter().all(|x| *x == 0.0));
            if count == 0 && still {
                idle += 1;
                continue;
            }
            let factors = self.factors.len();
            self.busy.push(Busy {
                step,
                idle: std::mem::take(&mut idle),
                first,
                count,
                factors,
            });
            for r in first..first + count {
                let row = &steps.ohms[self.plates[r] * m..];
                for c in first..first + count {
                    let e = self.plates[c];
                    let one = if r == c { 1.0 } else { 0.0 };
                    self.factors.push(one + row[e] * slope[step * m + e]);
                }
            }
            self.exchanged.resize(first + count, 0);
            let exchanged = &mut self.exchanged[first..];
            if !matrix::factor(&mut self.factors[factors..], exchanged, count) {
                return false;
            }
        }
        true
    }

    /// Departures of volts and currents at which tangents and network meet. On entry `amps`
    /// holds what each law passes beyond the network's current, as told to [`Tangents::factor`].
    pub(super) fn departures(
        &self,
        steps: &Steps,
        slope: &[f64],
        volts: &mut [f64],
        amps: &mut [f64],
        slopes: Option<&mut Vec<f64>>,
    ) -> bool {
        let (m, n) = (steps.m, steps.n);
        let known = match slopes {
            Some(_) => Known::Both(amps),
            None => Known::Beyond(amps),
        };
        let wide = known.columns(m);
        let Some(answer) = self.closed(steps, slope, known) else {
            return false;
        };
        if let Some(slopes) = slopes {
            let rows = answer[n * wide..].chunks_exact(wide);
            slopes.extend(rows.flat_map(|row| &row[1..]));
            if slopes.iter().any(|slope| !slope.is_finite()) {
                slopes.clear();
            }
        }
        let unknown: Vec<f64> = answer.iter().copied().step_by(wide).collect();
        // Forward once more with the closing values in place.
        let (start, means) = unknown.split_at(n);
        let stores = n / 2;
        // What the means alone do to the plates' volts and to the stores.
        let by_means = |matrix: &[f64], row: usize| -> f64 {
            let row = matrix[row * m..].iter().zip(means);
            row.map(|(x, mean)| x * mean).sum()
        };
        let still: Vec<f64> = (0..m).map(|d| by_means(&steps.ohms, d)).collect();
        let drain: Vec<f64> = (0..stores).map(|s| by_means(&steps.feed, s)).collect();
        let mut state = start.to_vec();
        let mut next = vec![0.0; n];
        let mut solved: Vec<[f64; 1]> = Vec::with_capacity(m);
        let mut busy = self.busy.iter().peekable();
        for step in 0..CYCLE_STEPS {
            let here = step * m..(step + 1) * m;
            let (volts, amps) = (&mut volts[here.clone()], &mut amps[here]);
            for (d, v) in volts.iter_mut().enumerate() {
                *v = still[d];
                for (reach, x) in steps.reach[d * n..(d + 1) * n].iter().zip(&state) {
                    *v -= reach * x;
                }
            }
            let busy = busy.next_if(|busy| busy.step == step);
            if let Some(busy) = busy {
                self.meet(steps, busy, &slope[step * m..], volts, amps, &mut solved);
            }
            next[stores..].copy_from_slice(&state[..stores]);
            for (s, x) in next.iter_mut().enumerate().take(stores) {
                *x = -drain[s];
                for (carry, y) in steps.carry[s * n..(s + 1) * n].iter().zip(&state) {
                    *x += carry * y;
                }
                if busy.is_some() {
                    for (feed, i) in steps.feed[s * m..(s + 1) * m].iter().zip(&*amps) {
                        *x += feed * i;
                    }
                }
            }
            std::mem::swap(&mut state, &mut next);
        }
        volts.iter().chain(amps.iter()).all(|x| x.is_finite())
    }

    /// At one step: from the volts with no current flowing to those with it. On entry `amps`
    /// holds what the laws pass beyond the network's currents.
    fn meet(
        &self,
        steps: &Steps,
        busy: &Busy,
        slope: &[f64],
        volts: &mut [f64],
        amps: &mut [f64],
        solved: &mut Vec<[f64; 1]>,
    ) {
        let m = steps.m;
        let active = &self.plates[busy.first..busy.first + busy.count];
        let fall = |d: usize, amps: &[f64]| -> f64 {
            let row = steps.ohms[d * m..].iter().zip(amps);
            row.map(|(z, i)| z * i).sum()
        };
        solved.clear();
        solved.extend(active.iter().map(|&d| [volts[d] - fall(d, amps)]));
        self.solve(busy, solved);
        for (&d, [v]) in active.iter().zip(&*solved) {
            amps[d] += slope[d] * v;
        }
        for (d, v) in volts.iter_mut().enumerate() {
            *v -= fall(d, amps);
        }
        // The solved volts are free of the cancellation that the subtraction suffers.
        for (&d, [v]) in active.iter().zip(&*solved) {
            volts[d] = *v;
        }
    }

    /// Slopes of the mean currents with the steady volts, `m` by `m`; those without a number
    /// are left at what stands there.
    pub(super) fn slopes(&self, steps: &Steps, slope: &[f64], jacobian: &mut [f64]) {
        let (m, n) = (steps.m, steps.n);
        let Some(answer) = self.closed(steps, slope, Known::Volts) else {
            return;
        };
        for (slot, slope) in jacobian.iter_mut().zip(&answer[n * m..]) {
            if slope.is_finite() {
                *slot = *slope;
            }
        }
    }

    fn solve<const COLUMNS: usize>(&self, busy: &Busy, b: &mut [[f64; COLUMNS]]) {
        let exchanged = &self.exchanged[busy.first..busy.first + busy.count];
        matrix::back(&self.factors[busy.factors..], exchanged, b);
    }

    /// Closes the cycle: states at the start and mean currents, one row each, a column for each
    /// right side; `None` when singular.
    fn closed(&self, steps: &Steps, slope: &[f64], known: Known) -> Option<Vec<f64>> {
        let (m, n) = (steps.m, steps.n);
        let extra = known.columns(m);
        let unknowns = n + m;
        // States at the end less those at the start are 0; sums over steps less means are 0.
        let mut a = vec![0.0; unknowns * unknowns];
        let mut b = vec![0.0; unknowns * extra];
        let mut column = Column::new(steps);
        for from in (0..extra + unknowns).step_by(LANES) {
            self.carry(steps, slope, known, (from, extra), &mut column);
            let sums = column.sums.iter();
            let sums = sums.map(|row| row.map(|x| x / CYCLE_STEPS as f64));
            for (r, row) in column.state.iter().copied().chain(sums).enumerate() {
                for (lane, x) in row.into_iter().enumerate() {
                    match (from + lane).checked_sub(extra) {
                        None => b[r * extra + from + lane] = -x,
                        Some(u) if u < unknowns => a[r * unknowns + u] = x,
                        Some(_) => {}
                    }
                }
            }
        }
        for r in 0..unknowns {
            a[r * unknowns + r] -= 1.0;
        }
        matrix::solve(&mut a, &mut b, unknowns, extra).then_some(b)
    }

    /// Carries the columns from `from` on through the cycle; the first `extra` are right sides,
    /// then come the states at the start, then the means.
    fn carry(
        &self,
        steps: &Steps,
        slope: &[f64],
        known: Known,
        (from, extra): (usize, usize),
        column: &mut Column,
    ) {
        let (m, n) = (steps.m, steps.n);
        let stores = n / 2;
        let lane_of = |index: usize| index.checked_sub(from).filter(|lane| *lane < LANES);
        column.state.fill([0.0; LANES]);
        column.sums.fill([0.0; LANES]);
        for s in 0..n {
            if let Some(lane) = lane_of(extra + s) {
                column.state[s][lane] = 1.0;
            }
        }
        let (beyond, first) = known.beyond();
        let beyond = beyond.filter(|_| from == 0);
        let volts = !matches!(known, Known::Beyond(_));
        // Lanes of the means that go by in this pass.
        let means: Vec<(usize, usize)> = (0..m)
            .filter_map(|e| Some((lane_of(extra + n + e)?, e)))
            .collect();
        for busy in &self.busy {
            column.coast(steps, busy.idle, &means);
            let active = &self.plates[busy.first..busy.first + busy.count];
            column.amps.fill([0.0; LANES]);
            let beyond = beyond.map(|amps| &amps[busy.step * m..(busy.step + 1) * m]);
            if let Some(beyond) = beyond {
                for (row, i) in column.amps.iter_mut().zip(beyond) {
                    row[0] = *i;
                }
            }
            for (row, &d) in column.solved.iter_mut().zip(active) {
                *row = [0.0; LANES];
                let ohms = &steps.ohms[d * m..(d + 1) * m];
                if let Some(beyond) = beyond {
                    row[0] -= ohms.iter().zip(beyond).map(|(z, i)| z * i).sum::<f64>();
                }
                if let Some(lane) = lane_of(first + d).filter(|_| volts) {
                    row[lane] += 1.0;
                }
                for &(lane, e) in &means {
                    row[lane] += ohms[e];
                }
                for (reach, state) in steps.reach[d * n..(d + 1) * n].iter().zip(&column.state) {
                    if *reach != 0.0 {
                        add(row, -reach, state);
                    }
                }
            }
            self.solve(busy, &mut column.solved[..busy.count]);
            for (row, &d) in column.solved.iter().zip(active) {
                add(&mut column.amps[d], slope[busy.step * m + d], row);
            }
            let flowing = |d: &usize| beyond.is_some() || active.contains(d);
            for d in (0..m).filter(flowing) {
                add(&mut column.sums[d], 1.0, &column.amps[d]);
            }
            // The later half of the states is the earlier half of the step before.
            column.next[stores..].copy_from_slice(&column.state[..stores]);
            for s in 0..stores {
                let mut row = [0.0; LANES];
                for (carry, state) in steps.carry[s * n..(s + 1) * n].iter().zip(&column.state) {
                    add(&mut row, *carry, state);
                }
                for &(lane, e) in &means {
                    row[lane] -= steps.feed[s * m + e];
                }
                for d in (0..m).filter(flowing) {
                    add(&mut row, steps.feed[s * m + d], &column.amps[d]);
                }
                column.next[s] = row;
            }
            std::mem::swap(&mut column.state, &mut column.next);
        }
        let after = self.busy.last().map_or(0, |busy| busy.step + 1);
        column.coast(steps, CYCLE_STEPS - after, &means);
    }
}

/// What one pass through the cycle carries.
struct Column {
    state: Vec<Lanes>,
    next: Vec<Lanes>,
    amps: Vec<Lanes>,
    sums: Vec<Lanes>,
    solved: Vec<Lanes>,
}

impl Column {
    fn new(steps: &Steps) -> Self {
        let rows = |count: usize| vec![[0.0; LANES]; count];
        Self {
            state: rows(steps.n),
            next: rows(steps.n),
            amps: rows(steps.m),
            sums: rows(steps.m),
            solved: rows(steps.m),
        }
    }

    /// The states after `run` steps in which no plate conducts.
    fn coast(&mut self, steps: &Steps, run: usize, means: &[(usize, usize)]) {
        let (m, n) = (steps.m, steps.n);
        for (level, (carry, feed)) in steps.coasts.iter().enumerate() {
            if run >> level & 1 == 0 {
                continue;
            }
            for (s, row) in self.next.iter_mut().enumerate() {
                *row = [0.0; LANES];
                for (carry, state) in carry[s * n..(s + 1) * n].iter().zip(&self.state) {
                    add(row, *carry, state);
                }
                for &(lane, e) in means {
                    row[lane] -= feed[s * m + e];
                }
            }
            std::mem::swap(&mut self.state, &mut self.next);
        }
    }
}
