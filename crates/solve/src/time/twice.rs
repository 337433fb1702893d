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

mod memory;
mod plain;

use super::build::{Moving, PairLaw};
use super::devices::Bent;
use super::past::Past;
use super::stage::Work;
use crate::lanes::{Work as Widely, widely};
use crate::linear::Complex;

use plain::Plain;

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
/// A correction that leaves more than this part, with slopes taken within its pair, leads nowhere; so many of them are enough to know.
const STUCK: f64 = 0.6;
const ENOUGH: u32 = 2;
/// Pairs between two measurements of what a correction leaves.
const MEASURED_EVERY: u32 = 32;
/// Pairs between two looks at how high the nodes have been, which the accuracy goes by.
const LOOKS_EVERY: u32 = 8;
/// What a correction leaves is taken no lower, and falls no faster from one measurement to the next.
const LEAST_RATE: f64 = 1e-3;
const SLOWEST: f64 = 0.1;

/// Two steps at once, with the room that they need.
#[derive(Debug, Clone)]
pub(super) struct Twice {
    plain: Plain,
    /// Unknowns that devices touch, in the order of the elimination; and the slot of what each of the late rows is the row of, or
    /// ground's.
    late: Vec<usize>,
    rows: Vec<usize>,
    /// These unknowns midway and at the end, ground's slot first; and what the devices put on their rows.
    both: Vec<[f64; 2]>,
    right: Vec<[f64; 2]>,
    /// One over the accuracy of each; nought where none is asked for.
    accuracy: Vec<f64>,
    /// The devices at both ends, between these slots.
    bent: Bent,
    slopes: Vec<f64>,
    /// Do the factors hold these slopes?
    good: bool,
    /// Pairs since a correction's rest was measured, and that rest.
    unmeasured: u32,
    rate: f64,
    past: Past,
    /// Pairs since the accuracy was looked at.
    unlooked: u32,
    /// Is it known how what remembers goes on?
    known: bool,
}

impl Twice {
    pub(super) fn new(moving: &Moving) -> Self {
        let late: Vec<usize> = Plain::late(moving).map(|(_, column)| column).collect();
        let mut slots = vec![0; moving.pattern.size() + 1];
        for (at, column) in late.iter().enumerate() {
            slots[*column] = at + 1;
        }
        let bent = moving.bent.doubled(|node, end| 2 * slots[node] + end);
        Self {
            plain: Plain::new(moving),
            rows: Plain::late(moving).map(|(row, _)| slots[row]).collect(),
            both: vec![[0.0; 2]; late.len() + 1],
            right: vec![[0.0; 2]; late.len() + 1],
            accuracy: vec![0.0; late.len()],
            slopes: vec![0.0; bent.slopes()],
            bent,
            good: false,
            unmeasured: 0,
            rate: 1.0,
            past: Past::default(),
            unlooked: 0,
            known: false,
            late,
        }
    }

    /// Something jumped: neither the rates nor the past say anything any more.
    pub(super) fn forget(&mut self) {
        self.known = false;
        self.unlooked = 0;
        self.past.forget();
    }

    /// Steps of `h` seconds come next.
    pub(super) fn begin(&mut self, h: f64) {
        self.past.at_distance(h);
    }

    /// After single steps: how what remembers goes on. Unless something jumped meanwhile.
    pub(super) fn goes_on_from(&mut self, states: &[f64], rates: &[f64]) {
        self.plain.goes_on_from(states, rates);
        self.known = self.past.known() > 1;
    }

    /// Tells the states and the amperes of what remembers, at the end of the last pair.
    pub(super) fn tell(&self, states: &mut [f64], amps: &mut [f64]) {
        self.plain.tell(states, amps);
    }

    /// A sample was found by itself.
    pub(super) fn passed(&mut self, x: &[f64]) {
        let sample = self.past.push(self.late.len());
        for (slot, &at) in sample.iter_mut().zip(&self.late) {
            *slot = x[at];
        }
    }

    /// Is it time to look at the accuracy again?
    pub(super) fn looks(&self) -> bool {
        self.unlooked == 0
    }

    /// Asks for this accuracy from now on.
    pub(super) fn look(&mut self, moving: &Moving, within: &[f64]) {
        for (slot, &at) in self.accuracy.iter_mut().zip(&self.late) {
            *slot = if at < moving.nodes {
                1.0 / within[at]
            } else {
                0.0
            };
        }
    }

    /// Finds both ends of two steps of `h` seconds each that begin at `seconds`, the emf of source number
    /// `i` being `emf(i)` at both ends, and goes on from there; tells the unknowns midway and at the end. [`Twice::tell`] tells the rest. False if they were not found; no state has changed then.
    pub(super) fn attempt(
        &mut self,
        moving: &Moving,
        (seconds, h): (f64, f64),
        emf: impl Fn(usize) -> [f64; 2],
        told: Told<'_>,
        count: &mut Work,
    ) -> bool {
        if !std::mem::take(&mut self.known) || moving.warms() {
            return false;
        }
        let Some(anew) = self.plain.prepare(moving, h) else {
            return false;
        };
        self.good &= !anew;
        let pairs = moving.bent.pairs.iter().cycle();
        for (pair, now) in self.bent.pairs.iter_mut().zip(pairs) {
            pair.lit = now.lit;
        }
        self.past.guess(&mut self.both[1..]);
        let found = widely(Attempt {
            twice: self,
            moving,
            seconds,
            emf,
            told,
            count,
        });
        count.rejected += u64::from(!found);
        self.known = found;
        found
    }

    /// Newton's method on what the devices touch, with slopes that are held as long as they serve.
    #[inline(always)]
    fn settle(&mut self, moving: &Moving, seconds: f64, count: &mut Work) -> bool {
        let (mut before, mut since) = (None, 0);
        let (mut renewed, mut stuck) = (false, 0);
        for round in 0..MOST {
            if !self.good {
                self.renew(moving, seconds);
                if !self.good {
                    return false;
                }
                (before, since) = (None, round);
                renewed = true;
            }
            count.iterations += 1;
            let off = self.correct(seconds);
            if !off.is_finite() {
                return false;
            }
            // what cannot be told from rounding says nothing about the rest of a correction
            if let Some(before) = before.filter(|&before| before > LEFT) {
                let rate: f64 = off / before;
                self.rate = rate.max(SLOWEST * self.rate).clamp(LEAST_RATE, 1.0);
                self.unmeasured = 0;
                self.good = rate < SLOW && round < since + FEW;
                stuck += u32::from(renewed && rate > STUCK);
                if stuck == ENOUGH {
                    return false;
                }
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

    /// Takes the slopes anew, as the mean of those at both ends, and makes the factors anew; they are not good where a pivot is not
    /// to be trusted.
    fn renew(&mut self, moving: &Moving, seconds: f64) {
        widely(Renewal {
            twice: self,
            moving,
            seconds,
        });
    }

    /// One iteration; by how much it moved anything, over what is allowed.
    #[inline(always)]
    fn correct(&mut self, seconds: f64) -> f64 {
        self.right.fill([0.0; 2]);
        let (right, both) = (self.right.as_flattened_mut(), self.both.as_flattened());
        self.bent
            .on_right::<true>(right, &mut self.slopes, seconds, both);
        // ground has no equation
        self.right[0] = [0.0; 2];
        let (right, rows) = (&self.right, &self.rows);
        let found = self.plain.solve_late(|at| right[rows[at]]);
        // what has no bound must be a number still
        let (mut most, mut whole) = ([0.0_f64; 2], [0.0; 2]);
        let slots = self.both[1..].iter_mut().zip(&self.accuracy);
        for (along, (slot, accuracy)) in found.iter().zip(slots) {
            let new = parted(*along);
            for end in 0..2 {
                let off = (new[end] - slot[end]).abs() * accuracy;
                most[end] = if off > most[end] { off } else { most[end] };
                whole[end] += 0.0 * new[end];
            }
            *slot = new;
        }
        most[0].max(most[1]) + (whole[0] + whole[1])
    }

    /// Would a glow lamp strike or go out?
    fn strikes(&self) -> bool {
        let both = self.both.as_flattened();
        self.bent.pairs.iter().any(|pair| match pair.law {
            PairLaw::Neon(law) => law.lit_after(both[pair.a] - both[pair.b], pair.lit) != pair.lit,
            PairLaw::Diode(_) => false,
        })
    }

    /// Both ends count.
    #[inline(always)]
    fn remember(&mut self) {
        for end in 0..2 {
            let sample = self.past.push(self.late.len());
            for (slot, both) in sample.iter_mut().zip(&self.both[1..]) {
                *slot = both[end];
            }
        }
        self.unlooked = (self.unlooked + 1) % LOOKS_EVERY;
    }
}

/// What a pair tells: the unknowns midway and at its end.
pub(super) struct Told<'a> {
    pub(super) midway: &'a mut [f64],
    pub(super) end: &'a mut [f64],
}

/// A pair that all is made ready for, with the widest vectors.
struct Attempt<'a, F> {
    twice: &'a mut Twice,
    moving: &'a Moving,
    seconds: f64,
    emf: F,
    told: Told<'a>,
    count: &'a mut Work,
}

impl<F: Fn(usize) -> [f64; 2]> Widely for Attempt<'_, F> {
    type Output = bool;

    #[inline(always)]
    fn call(self) -> bool {
        let Self {
            twice,
            moving,
            seconds,
            emf,
            told,
            count,
        } = self;
        twice.plain.begin(moving, emf);
        let mut settled = false;
        for trial in 0..2 {
            if trial == 1 {
                // where something bends sharply the past misleads
                twice.good = false;
                twice.past.stay(&mut twice.both[1..]);
            }
            settled = twice.settle(moving, seconds, count);
            if settled {
                break;
            }
        }
        if !settled {
            twice.good = false;
            return false;
        }
        if !twice.plain.finish(told.midway, told.end) || twice.strikes() {
            return false;
        }
        twice.plain.count();
        twice.remember();
        true
    }
}

/// The slopes of all devices at both ends, and the factors with their means.
struct Renewal<'a> {
    twice: &'a mut Twice,
    moving: &'a Moving,
    seconds: f64,
}

impl Widely for Renewal<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let Self {
            twice,
            moving,
            seconds,
        } = self;
        // what this puts on the right-hand side has slopes that differ between the ends: it is not used
        let (right, both) = (twice.right.as_flattened_mut(), twice.both.as_flattened());
        twice
            .bent
            .on_right::<false>(right, &mut twice.slopes, seconds, both);
        twice
            .bent
            .stamp_means(twice.plain.matrix(), &mut twice.slopes);
        twice.good = twice.plain.eliminated(moving);
    }
}

/// Both ends of what stands along the eigenvector.
#[inline(always)]
fn parted([re, im]: [f64; 2]) -> [f64; 2] {
    let second = im * PER_SECOND;
    [re - SECOND.re * second, second]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::linear::Scalar;

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
            let base =
                Complex::real(1.0 + MIDWAY_FROM_FIRST * z) + SECOND.scaled(1.0 + SIMPSON[0] * z);
            let along = base / (Complex::ONE - SHARE.scaled(z));
            for (got, wanted) in parted([along.re, along.im]).iter().zip(ends(z)) {
                assert!((got - wanted).abs() < 1e-14, "{z}: {got} for {wanted}");
            }
        }
    }
}
