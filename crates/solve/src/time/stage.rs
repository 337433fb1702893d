//! One implicit stage: a resistive circuit, solved by Newton's method.

use super::build::Moving;
use super::held::Held;
use super::stores::Branch;
use crate::equations::{Approach, Ports};
use crate::linear::Factors;

/// Iterations with the devices at their nodes, before they are held back.
const STRAIGHT: u32 = 6;
/// Iterations with the devices held back, before the step counts as too long.
const HELD_BACK: u32 = 30;
/// The error that an iteration leaves is its own correction squared over about this many volts
/// (twice the emission volts of a silicon junction, the sharpest bend there is).
const BEND_VOLTS: f64 = 0.1;

/// Work done, in numbers that do not depend on the machine.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Work {
    /// Steps that counted.
    pub steps: u64,
    /// Steps that were tried and made anew shorter.
    pub rejected: u64,
    /// Newton iterations; each is one solution, and one factorisation unless slopes are held. Where two steps are made at once,
    /// one serves both.
    pub iterations: u64,
}

/// What an iteration did to the unknowns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Found {
    /// The next would move nothing to speak of.
    Settled,
    Moved,
    /// A number is none any more.
    Lost,
}

impl Found {
    #[inline]
    fn and(self, other: Self) -> Self {
        match (self, other) {
            (Self::Lost, _) | (_, Self::Lost) => Self::Lost,
            (Self::Settled, Self::Settled) => Self::Settled,
            _ => Self::Moved,
        }
    }
}

/// Room for stages, kept between them.
#[derive(Debug, Clone)]
pub(super) struct Room {
    pub(super) factors: Factors<f64>,
    /// The matrix of everything but the devices, for stages of `h` seconds.
    base: Vec<f64>,
    /// What the elimination of all that no device touches has made of it; empty where that failed.
    pub(super) begun: Vec<f64>,
    matrix: Vec<f64>,
    /// Right-hand sides in the order of the elimination: its early part done, and in work.
    early: Vec<[f64; 1]>,
    pub(super) work: Vec<[f64; 1]>,
    pub(super) branches: Vec<Branch>,
    pub(super) h: f64,
    /// Right-hand side without the devices; slot 0 is ground's.
    steady: Vec<f64>,
    pub(super) right: Vec<f64>,
    pub(super) ports: Ports,
    pub(super) held: Held,
    /// When the stage ends.
    pub(super) now: f64,
    pub(super) count: Work,
}

impl Room {
    pub(super) fn new(moving: &Moving) -> Self {
        let size = moving.pattern.size() + 1;
        let count =
            moving.bent.pairs.len() + 2 * moving.bent.threes.len() + 3 * moving.bent.fours.len();
        Self {
            factors: Factors::new(&moving.pattern),
            base: moving.pattern.zeros(),
            begun: Vec::new(),
            early: vec![[0.0]; size - 1],
            work: vec![[0.0]; size - 1],
            matrix: moving.pattern.zeros(),
            branches: vec![Branch::default(); moving.stores.len()],
            h: 0.0,
            steady: vec![0.0; size],
            right: vec![0.0; size],
            ports: Ports::at_rest(count),
            held: Held::new(moving),
            now: 0.0,
            count: Work::default(),
        }
    }
}

impl Moving {
    /// Makes ready for stages whose own rate counts over `h` seconds.
    pub(super) fn prepare(&self, room: &mut Room, h: f64) {
        if room.h == h {
            return;
        }
        room.h = h;
        room.held.let_go();
        room.base.fill(0.0);
        for (stamp, value) in &self.still {
            stamp.add(&mut room.base, *value);
        }
        for (store, branch) in self.stores.iter().zip(&mut room.branches) {
            *branch = store.sort.branch(h);
            for (stamp, factor) in &store.stamps {
                stamp.add(&mut room.base, factor * branch.siemens);
            }
        }
        let Room {
            factors,
            base,
            begun,
            ..
        } = room;
        if !factors.begin(&self.pattern, base, begun) {
            begun.clear();
        }
    }

    /// Finds the unknowns `x` at the end of a stage that began at `base` and ends at `seconds`,
    /// from what stands in `x`. False if they were not found.
    pub(super) fn settle(
        &self,
        room: &mut Room,
        seconds: f64,
        base: &[f64],
        x: &mut [f64],
        within: &[f64],
    ) -> bool {
        room.steady.fill(0.0);
        for source in &self.sources {
            let amps = source.siemens * source.emf.at(seconds);
            room.steady[source.a] += amps;
            room.steady[source.b] -= amps;
        }
        for mean in &self.means {
            room.steady[mean.plate] -= mean.amps;
            room.steady[mean.cathode] += mean.amps;
        }
        for ((store, branch), state) in self.stores.iter().zip(&room.branches).zip(base) {
            store.feed(&mut room.steady, branch.drive * state);
        }
        room.now = seconds;
        if !room.begun.is_empty() {
            let pivots = self.pattern.pivots();
            for (slot, (row, _)) in room.early.iter_mut().zip(pivots) {
                *slot = [room.steady[row + 1]];
            }
            room.factors.forward_early(&self.pattern, &mut room.early);
        }
        if self.settled_as_held(room, x, within)
            || self.iterate(room, Approach::AtOnce, STRAIGHT, x, within)
        {
            return true;
        }
        if x.iter().any(|v| !v.is_finite()) {
            return false;
        }
        room.ports.forget_moves();
        self.iterate(room, Approach::Eager, HELD_BACK, x, within)
    }

    fn iterate(
        &self,
        room: &mut Room,
        approach: Approach,
        most: u32,
        x: &mut [f64],
        within: &[f64],
    ) -> bool {
        for _ in 0..most {
            room.count.iterations += 1;
            let found = match self.late_step(room, approach, x, within) {
                Some(found) => found,
                None => self.whole_step(room, approach, x, within),
            };
            match found {
                Found::Lost => return false,
                Found::Settled if !room.ports.apart => return true,
                Found::Settled | Found::Moved => {}
            }
        }
        false
    }

    /// One iteration on what the devices touch; everything else follows once that is settled. None
    /// where a pivot is not to be trusted.
    fn late_step(
        &self,
        room: &mut Room,
        approach: Approach,
        x: &mut [f64],
        within: &[f64],
    ) -> Option<Found> {
        if room.begun.is_empty() {
            return None;
        }
        room.right.fill(0.0);
        let Room {
            factors,
            begun,
            right,
            ports,
            held,
            now,
            ..
        } = &mut *room;
        let matrix = factors.resume(begun);
        self.linearised((matrix, right, ports, held), *now, approach, x);
        if !factors.finish(&self.pattern) {
            held.let_go();
            return None;
        }
        self.solve_late(room);
        let early = self.pattern.early();
        let late = self.pattern.pivots().enumerate().skip(early);
        let corrections = late.clone().map(|(at, (_, column))| {
            let allowed = if column + 1 < self.nodes {
                within[column + 1]
            } else {
                f64::INFINITY
            };
            (room.work[at][0] - x[column + 1], allowed)
        });
        room.held.made_anew(corrections);
        let mut found = Found::Settled;
        for (at, (_, column)) in late {
            found = found.and(self.moves(column + 1, room.work[at][0], x, within));
        }
        if found == Found::Settled && !room.ports.apart && !self.solve_early(room, x) {
            return Some(Found::Lost);
        }
        Some(found)
    }

    /// The late unknowns, into the room's work, from what the devices put on the right-hand side.
    pub(super) fn solve_late(&self, room: &mut Room) {
        let late = self.pattern.pivots().enumerate().skip(self.pattern.early());
        for (at, (row, _)) in late {
            room.work[at] = [room.early[at][0] + room.right[row + 1]];
        }
        room.factors.solve_late(&self.pattern, &mut room.work);
    }

    /// The early unknowns, once the late ones are settled. False where a number is none any more.
    pub(super) fn solve_early(&self, room: &mut Room, x: &mut [f64]) -> bool {
        let early = self.pattern.early();
        room.work[..early].copy_from_slice(&room.early[..early]);
        room.factors.backward_early(&self.pattern, &mut room.work);
        let mut whole = true;
        for ((_, column), [new]) in self.pattern.pivots().zip(&room.work).take(early) {
            x[column + 1] = *new;
            whole &= new.is_finite();
        }
        whole
    }

    /// One iteration on all unknowns.
    fn whole_step(
        &self,
        room: &mut Room,
        approach: Approach,
        x: &mut [f64],
        within: &[f64],
    ) -> Found {
        room.matrix.copy_from_slice(&room.base);
        room.right.copy_from_slice(&room.steady);
        let Room {
            matrix,
            right,
            ports,
            held,
            now,
            ..
        } = &mut *room;
        self.linearised((matrix, right, ports, held), *now, approach, x);
        held.let_go();
        if room.factors.factor(&self.pattern, &room.matrix).is_err() {
            return Found::Lost;
        }
        room.factors.solve(&self.pattern, &mut room.right[1..]);
        let unknowns = room.right.iter().enumerate().skip(1);
        unknowns.fold(Found::Settled, |found, (at, &new)| {
            found.and(self.moves(at, new, x, within))
        })
    }

    /// Moves unknown number `at` to `new`.
    #[inline]
    fn moves(&self, at: usize, new: f64, x: &mut [f64], within: &[f64]) -> Found {
        let moved = (new - x[at]).abs();
        x[at] = new;
        if !new.is_finite() {
            Found::Lost
        } else if at < self.nodes && moved * moved > BEND_VOLTS * within[at] * 0.01 {
            Found::Moved
        } else {
            Found::Settled
        }
    }

    /// Rates of all stores at the end of a stage that began at `base`; writes their amperes too.
    pub(super) fn rates(
        &self,
        room: &Room,
        base: &[f64],
        x: &[f64],
        amps: &mut [f64],
        rates: &mut [f64],
    ) {
        for (at, (store, branch)) in self.stores.iter().zip(&room.branches).enumerate() {
            amps[at] = branch.siemens * store.volts(x) + branch.drive * base[at];
            rates[at] = store.sort.rate(amps[at], base[at], room.h);
        }
    }

    /// The unknowns that stores at `base` alone would give, everything else being the straight
    /// line that the last iteration took it for: `(1 - h A)^-1 base`.
    pub(super) fn straight(&self, room: &mut Room, base: &[f64]) -> Vec<f64> {
        let mut x = vec![0.0; self.pattern.size() + 1];
        for ((store, branch), state) in self.stores.iter().zip(&room.branches).zip(base) {
            store.feed(&mut x, branch.drive * state);
        }
        room.factors.solve(&self.pattern, &mut x[1..]);
        x[0] = 0.0;
        x
    }
}
