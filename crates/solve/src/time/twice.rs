//! Two steps of one length at once, for sound.
//!
//! Both ends are sought together, by a rule of three points: where the pair begins, midway, and its end,
//!
//! ```text
//! y1 = y0 + H (f0 / 8 + f1 / 2 - f2 / 8)
//! y2 = y0 + H (f0 / 6 + 2 f1 / 3 + f2 / 6)
//! ```
//!
//! with the rates `f` of what remembers and `H` the length of both steps. The end is of third order (Simpson's rule), and on
//! `y' = a y` it is the Padé approximation (1 + z/3) / (1 - 2z/3 + z²/6) of the exponential, which is L-stable (Hairer and
//! Wanner, Solving Ordinary Differential Equations II, sections IV.3 and IV.5, from memory, not seen; stability and order
//! are tested). Midway, what is infinitely fast is still there with minus a quarter of what it was.
//!
//! The shares of f1 and f2 have the eigenvalues 1/3 ± j √2/6. Along the left eigenvector (1, w) of their inverse both ends
//! become one complex end, which a single complex matrix gives: half the work of the four stages that two steps take
//! one after the other, and an error a power of ten smaller where nothing bends sharply. That needs the same slopes of the
//! devices at both ends; they are held anyway, as long as holding them serves (see [`super::held`]).

use super::build::{Moving, PairLaw};
use super::devices::Bent;
use super::past::Past;
use super::stage::Work;
use super::stores::{Branch, Sort};
use crate::linear::{Complex, Factors, Scalar};

/// Share of the pair's length on an end's own rate, along the eigenvector: 1 / (2 + j √2).
const SHARE: Complex = Complex::new(1.0 / 3.0, -std::f64::consts::SQRT_2 / 6.0);
/// How much of the second end is in the complex one: (1 - (2 + j √2)) / 4.
const SECOND: Complex = Complex::new(-0.25, -std::f64::consts::SQRT_2 / 4.0);
/// One over its imaginary part: a quotient takes many times as long as a product.
const PER_SECOND: f64 = -4.0 / std::f64::consts::SQRT_2;
/// Shares of the rates at the beginning, midway and the end in what the end gains.
const SIMPSON: [f64; 3] = [1.0 / 6.0, 2.0 / 3.0, 1.0 / 6.0];
/// Share of the rate at the beginning in what midway gains.
const MIDWAY_FROM_FIRST: f64 = 0.125;

/// Part of the accuracy of an unknown that may be left. Nothing adds up from pair to pair, and no error of a step is watched.
const LEFT: f64 = 0.5;
/// Iterations of a pair before it is made in single steps.
const MOST: u32 = 16;
/// So many iterations with the same slopes, or a correction that leaves more than this part, call for new ones.
const FEW: u32 = 3;
const SLOW: f64 = 0.03;
/// Pairs between two measurements of what a correction leaves.
const MEASURED_EVERY: u32 = 32;
/// What a correction leaves is taken no lower, and falls no faster from one measurement to the next.
const LEAST_RATE: f64 = 1e-3;
const SLOWEST: f64 = 0.1;

/// Two steps at once, with the room that they need.
#[derive(Debug, Clone)]
pub(super) struct Twice {
    /// Length of a single step that all is made ready for.
    h: f64,
    factors: Factors<Complex>,
    /// The matrix with all that no device touches eliminated; empty where that failed.
    begun: Vec<Complex>,
    gains: Vec<Gain>,
    /// What each store puts on the right-hand side.
    history: Vec<Complex>,
    /// Right-hand side without the devices; slot 0 is ground's.
    steady: Vec<Complex>,
    early: Vec<[Complex; 1]>,
    work: Vec<[Complex; 1]>,
    /// Unknowns along the eigenvector.
    along: Vec<Complex>,
    /// Unknowns that devices touch, in the order of the elimination.
    late: Vec<usize>,
    /// Unknowns of both ends, one after the other, ground first in each; and what the devices put on their rows.
    both: Vec<f64>,
    right: Vec<f64>,
    /// The devices at both ends.
    bent: Bent,
    slopes: Vec<f64>,
    /// Do the factors hold these slopes?
    good: bool,
    /// Pairs since a correction's rest was measured, and that rest.
    unmeasured: u32,
    rate: f64,
    past: Past,
    /// Rates of what remembers where the pair begins, if they are known.
    rates: Vec<f64>,
    known: bool,
    pub(super) states: Vec<f64>,
    pub(super) amps: Vec<f64>,
}

impl Twice {
    pub(super) fn new(moving: &Moving) -> Self {
        let size = moving.pattern.size() + 1;
        let stores = moving.stores.len();
        let bent = moving.bent.doubled(size);
        Self {
            h: 0.0,
            factors: Factors::new(&moving.pattern),
            begun: Vec::new(),
            gains: vec![Gain::default(); stores],
            history: vec![Complex::ZERO; stores],
            steady: vec![Complex::ZERO; size],
            early: vec![[Complex::ZERO]; size - 1],
            work: vec![[Complex::ZERO]; size - 1],
            along: vec![Complex::ZERO; size],
            late: moving
                .pattern
                .pivots()
                .skip(moving.pattern.early())
                .map(|(_, column)| column + 1)
                .collect(),
            both: vec![0.0; 2 * size],
            right: vec![0.0; 2 * size],
            slopes: vec![0.0; bent.slopes()],
            bent,
            good: false,
            unmeasured: 0,
            rate: 1.0,
            past: Past::default(),
            rates: vec![0.0; stores],
            known: false,
            states: vec![0.0; stores],
            amps: vec![0.0; stores],
        }
    }

    /// Something jumped: neither the rates nor the past say anything any more.
    pub(super) fn forget(&mut self) {
        self.known = false;
        self.past.forget();
    }

    /// Steps of `h` seconds come next.
    pub(super) fn begin(&mut self, h: f64) {
        self.past.at_distance(h);
    }

    /// After single steps: how what remembers goes on. Unless something jumped meanwhile.
    pub(super) fn goes_on_from(&mut self, rates: &[f64]) {
        self.rates.copy_from_slice(rates);
        self.known = self.past.known() > 1;
    }

    /// A sample was found by itself.
    pub(super) fn passed(&mut self, x: &[f64]) {
        self.past.push(self.late.iter().map(|&at| x[at]));
    }

    /// Unknowns midway.
    pub(super) fn midway(&self) -> &[f64] {
        &self.both[..self.along.len()]
    }

    /// Unknowns at the end.
    pub(super) fn end(&self) -> &[f64] {
        &self.both[self.along.len()..]
    }

    fn prepare(&mut self, moving: &Moving, h: f64) {
        if self.h == h {
            return;
        }
        self.h = h;
        self.good = false;
        let own = SHARE.scaled(2.0 * h);
        let mut matrix = moving.pattern.zeros();
        for (stamp, value) in &moving.still {
            stamp.add(&mut matrix, Complex::real(*value));
        }
        for (store, gain) in moving.stores.iter().zip(&mut self.gains) {
            let branch = store.sort.branch(own);
            *gain = Gain::new(store.sort, branch, 2.0 * h);
            for (stamp, factor) in &store.stamps {
                stamp.add(&mut matrix, branch.siemens.scaled(*factor));
            }
        }
        if !self
            .factors
            .begin(&moving.pattern, &matrix, &mut self.begun)
        {
            self.begun.clear();
        }
    }

    /// Finds both ends of two steps of `h` seconds each that begin in `(x, states)` at `seconds`, the emf of source number
    /// `i` being `emf(i)` at both ends. False if they were not found; nothing else has changed then.
    pub(super) fn attempt(
        &mut self,
        moving: &Moving,
        (seconds, h): (f64, f64),
        (x, states): (&[f64], &[f64]),
        emf: impl Fn(usize) -> [f64; 2],
        within: &[f64],
        count: &mut Work,
    ) -> bool {
        if !std::mem::take(&mut self.known) || moving.warms() {
            return false;
        }
        self.prepare(moving, h);
        if self.begun.is_empty() {
            return false;
        }
        self.steady(moving, states, emf);
        for (pair, now) in self
            .bent
            .pairs
            .iter_mut()
            .zip(moving.bent.pairs.iter().cycle())
        {
            pair.lit = now.lit;
        }
        let size = self.along.len();
        let (firsts, ends) = self.both.split_at_mut(size);
        for &at in &self.late {
            firsts[at] = x[at];
            ends[at] = x[at];
        }
        self.past.guess(|order, [first, second]| {
            let at = self.late[order];
            firsts[at] = first;
            ends[at] = second;
        });
        if !self.settle(moving, seconds, within, count) {
            // where something bends sharply the past misleads
            self.good = false;
            for &at in &self.late {
                self.both[at] = x[at];
                self.both[size + at] = x[at];
            }
            if !self.settle(moving, seconds, within, count) {
                self.good = false;
                count.rejected += 1;
                return false;
            }
        }
        let counts = self.finish(moving, states) && !self.strikes();
        count.rejected += u64::from(!counts);
        counts
    }

    /// The right-hand side of all but the devices, with its early part eliminated.
    fn steady(&mut self, moving: &Moving, states: &[f64], emf: impl Fn(usize) -> [f64; 2]) {
        self.steady.fill(Complex::ZERO);
        for (at, source) in moving.sources.iter().enumerate() {
            let [first, second] = emf(at);
            let amps = (Complex::real(first) + SECOND.scaled(second)).scaled(source.siemens);
            self.steady[source.a] += amps;
            self.steady[source.b] -= amps;
        }
        let whole = Complex::ONE + SECOND;
        for mean in &moving.means {
            let amps = whole.scaled(mean.amps);
            self.steady[mean.plate] -= amps;
            self.steady[mean.cathode] += amps;
        }
        let stores = moving.stores.iter().zip(&self.gains);
        let before = states.iter().zip(&self.rates);
        for (((store, gain), (state, rate)), history) in stores.zip(before).zip(&mut self.history) {
            *history = gain.by_state.scaled(*state) + gain.by_rate.scaled(*rate);
            store.feed(&mut self.steady, *history);
        }
        for (slot, (row, _)) in self.early.iter_mut().zip(moving.pattern.pivots()) {
            *slot = [self.steady[row + 1]];
        }
        self.factors.forward_early(&moving.pattern, &mut self.early);
    }

    /// Newton's method on what the devices touch, with slopes that are held as long as they serve.
    fn settle(&mut self, moving: &Moving, seconds: f64, within: &[f64], count: &mut Work) -> bool {
        let (mut before, mut since) = (None, 0);
        for round in 0..MOST {
            if !self.good {
                if !self.renew(moving, seconds) {
                    return false;
                }
                (before, since) = (None, round);
            }
            count.iterations += 1;
            let off = self.correct(moving, seconds, within);
            if !off.is_finite() {
                return false;
            }
            // what cannot be told from rounding says nothing about the rest of a correction
            if let Some(before) = before.filter(|&before| before > LEFT) {
                let rate: f64 = off / before;
                self.rate = rate.max(SLOWEST * self.rate).clamp(LEAST_RATE, 1.0);
                self.unmeasured = 0;
                self.good = rate < SLOW && round < since + FEW;
            }
            // a correction leaves less than itself, whatever was measured
            let trusted = self.unmeasured < MEASURED_EVERY && off * self.rate <= LEFT;
            if off <= LEFT || trusted {
                self.unmeasured = self.unmeasured.saturating_add(1);
                return true;
            }
            before = Some(off);
        }
        false
    }

    /// Takes the slopes anew, as the mean of those at both ends, and makes the factors anew. False where a pivot is not to be trusted.
    fn renew(&mut self, moving: &Moving, seconds: f64) -> bool {
        let mut slopes = std::mem::take(&mut self.slopes);
        let mut right = std::mem::take(&mut self.right);
        // what this puts on the right-hand side has slopes that differ between the ends: it is not used
        self.bent
            .on_right::<false>(&mut right, &mut slopes, seconds, &self.both);
        self.right = right;
        let matrix = self.factors.resume(&self.begun);
        self.bent.stamp_means(matrix, &mut slopes);
        self.slopes = slopes;
        self.good = self.factors.finish(&moving.pattern);
        self.good
    }

    /// One iteration; by how much it moved anything, over what is allowed.
    fn correct(&mut self, moving: &Moving, seconds: f64, within: &[f64]) -> f64 {
        let size = self.along.len();
        let mut slopes = std::mem::take(&mut self.slopes);
        let mut right = std::mem::take(&mut self.right);
        right.fill(0.0);
        self.bent
            .on_right::<true>(&mut right, &mut slopes, seconds, &self.both);
        let early = moving.pattern.early();
        let late = moving.pattern.pivots().enumerate().skip(early);
        for (at, (row, _)) in late {
            let ends = Complex::real(right[row + 1]) + SECOND.scaled(right[size + row + 1]);
            self.work[at] = [self.early[at][0] + ends];
        }
        self.slopes = slopes;
        self.right = right;
        self.factors.solve_late(&moving.pattern, &mut self.work);
        let mut most = 0.0_f64;
        for (&at, [new]) in self.late.iter().zip(&self.work[early..]) {
            let [first, second] = parted(*new);
            let off = (first - self.both[at])
                .abs()
                .max((second - self.both[size + at]).abs());
            self.both[at] = first;
            self.both[size + at] = second;
            let off = if at < moving.nodes {
                off / within[at]
            } else {
                // no bound, but it must be a number
                0.0 * off
            };
            most = if off > most || off.is_nan() {
                off
            } else {
                most
            };
        }
        most
    }

    /// All that no device touches, and what remembers, once the rest is settled. False where a number is none.
    fn finish(&mut self, moving: &Moving, states: &[f64]) -> bool {
        let size = self.along.len();
        let early = moving.pattern.early();
        self.work[..early].copy_from_slice(&self.early[..early]);
        self.factors.backward_early(&moving.pattern, &mut self.work);
        let mut whole = true;
        for ((_, column), [new]) in moving.pattern.pivots().zip(&self.work) {
            self.along[column + 1] = *new;
            let [first, second] = parted(*new);
            self.both[column + 1] = first;
            self.both[size + column + 1] = second;
            whole &= first.is_finite() && second.is_finite();
        }
        let length = 2.0 * self.h;
        let own = Complex::ONE / SHARE.scaled(length);
        let shares = SIMPSON.map(|share| length * share);
        for (at, (store, gain)) in moving.stores.iter().zip(&self.gains).enumerate() {
            let (state, rate) = (states[at], self.rates[at]);
            let amps = gain.siemens * store.volts(&self.along) + self.history[at];
            let rates = match store.sort {
                Sort::Capacitor { .. } => amps.scaled(gain.per_farad),
                Sort::Coil { .. } => (amps - based(state, length * rate)) * own,
            };
            let [midway, end] = parted(rates);
            self.states[at] = state + shares[0] * rate + shares[1] * midway + shares[2] * end;
            self.amps[at] = parted(amps)[1];
            self.rates[at] = end;
        }
        whole
    }

    /// Would a glow lamp strike or go out?
    fn strikes(&self) -> bool {
        self.bent.pairs.iter().any(|pair| match pair.law {
            PairLaw::Neon(law) => {
                law.lit_after(self.both[pair.a] - self.both[pair.b], pair.lit) != pair.lit
            }
            PairLaw::Diode(_) => false,
        })
    }

    /// Both ends count.
    pub(super) fn count(&mut self) {
        self.known = true;
        let size = self.along.len();
        self.past.push(self.late.iter().map(|&at| self.both[at]));
        self.past
            .push(self.late.iter().map(|&at| self.both[size + at]));
    }
}

/// A store over both steps: its amperes are `siemens` times its volts, and what its state and its rate at the beginning add.
#[derive(Debug, Clone, Copy, Default)]
struct Gain {
    siemens: Complex,
    by_state: Complex,
    by_rate: Complex,
    /// One over its farads, or nought.
    per_farad: f64,
}

impl Gain {
    fn new(sort: Sort, branch: Branch<Complex>, length: f64) -> Self {
        Self {
            siemens: branch.siemens,
            by_state: branch.drive * based(1.0, 0.0),
            by_rate: branch.drive * based(0.0, length),
            per_farad: match sort {
                Sort::Capacitor { farads, .. } => 1.0 / farads,
                Sort::Coil { .. } => 0.0,
            },
        }
    }
}

/// What both ends begin from, along the eigenvector: `state`, and what they gain by the rate at the beginning, which is
/// `gains` over both steps.
#[inline]
fn based(state: f64, gains: f64) -> Complex {
    Complex::real(state + MIDWAY_FROM_FIRST * gains) + SECOND.scaled(state + SIMPSON[0] * gains)
}

/// Both ends of what stands along the eigenvector.
#[inline]
fn parted(along: Complex) -> [f64; 2] {
    let second = along.im * PER_SECOND;
    [along.re - SECOND.re * second, second]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Midway and end of `y' = z y` over a length of one from 1, from the rule as it is written above.
    fn ends(z: f64) -> [f64; 2] {
        // (1 - z/2) y1 + z/8 y2 = 1 + z/8; -2z/3 y1 + (1 - z/6) y2 = 1 + z/6
        let (a, b, c, d) = (1.0 - z / 2.0, z / 8.0, -2.0 * z / 3.0, 1.0 - z / 6.0);
        let (first, second) = (1.0 + z / 8.0, 1.0 + z / 6.0);
        let below = a * d - b * c;
        [
            (first * d - b * second) / below,
            (a * second - c * first) / below,
        ]
    }

    /// The end is the Padé approximation of the exponential with one power above and two below, and what is infinitely fast
    /// is gone there, and minus a quarter of it left midway.
    #[test]
    fn the_end_is_what_the_books_say() {
        for z in [-1e-3, -0.1, -1.0, -10.0, -1e3, 0.5] {
            let pade = (1.0 + z / 3.0) / (1.0 - 2.0 * z / 3.0 + z * z / 6.0);
            assert!(
                (ends(z)[1] - pade).abs() < 1e-14 * (1.0 + pade.abs()),
                "{z}"
            );
        }
        let [midway, end] = ends(-1e12);
        assert!((midway + 0.25).abs() < 1e-9 && end.abs() < 1e-9);
    }

    /// Along the eigenvector one complex equation has both ends.
    #[test]
    fn one_complex_end_is_both() {
        for z in [-1e-3, -1.0, -30.0, 0.5] {
            // y' = z y: y = base + SHARE z y
            let along = based(1.0, z) / (Complex::ONE - SHARE.scaled(z));
            for (got, wanted) in parted(along).iter().zip(ends(z)) {
                assert!((got - wanted).abs() < 1e-14, "{z}: {got} for {wanted}");
            }
        }
    }
}
