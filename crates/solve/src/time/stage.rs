//! One implicit stage: a resistive circuit, solved by Newton's method.

use super::build::{Moving, PairLaw};
use super::cathodes::at_emission;
use super::stores::Branch;
use crate::equations::{Approach, Farthest, Ports};
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
    /// Newton iterations; each is one factorisation and one solution.
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
    begun: Vec<f64>,
    matrix: Vec<f64>,
    /// Right-hand sides in the order of the elimination: its early part done, and in work.
    early: Vec<[f64; 1]>,
    work: Vec<[f64; 1]>,
    pub(super) branches: Vec<Branch>,
    pub(super) h: f64,
    /// Right-hand side without the devices; slot 0 is ground's.
    steady: Vec<f64>,
    right: Vec<f64>,
    ports: Ports,
    /// When the stage ends.
    now: f64,
    pub(super) count: Work,
}

impl Room {
    pub(super) fn new(moving: &Moving) -> Self {
        let size = moving.pattern.size() + 1;
        let count = moving.pairs.len() + 2 * moving.threes.len() + 3 * moving.fours.len();
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
        if self.iterate(room, Approach::AtOnce, STRAIGHT, x, within) {
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
            now,
            ..
        } = &mut *room;
        self.devices((factors.resume(begun), right, ports), *now, approach, x);
        if !factors.finish(&self.pattern) {
            return None;
        }
        let early = self.pattern.early();
        let late = self.pattern.pivots().enumerate().skip(early);
        for (at, (row, _)) in late.clone() {
            room.work[at] = [room.early[at][0] + room.right[row + 1]];
        }
        room.factors.solve_late(&self.pattern, &mut room.work);
        let mut found = Found::Settled;
        for (at, (_, column)) in late {
            found = found.and(self.moves(column + 1, room.work[at][0], x, within));
        }
        if found == Found::Settled && !room.ports.apart {
            room.work[..early].copy_from_slice(&room.early[..early]);
            room.factors.backward_early(&self.pattern, &mut room.work);
            for ((_, column), [new]) in self.pattern.pivots().zip(&room.work).take(early) {
                x[column + 1] = *new;
                if !new.is_finite() {
                    return Some(Found::Lost);
                }
            }
        }
        Some(found)
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
            now,
            ..
        } = &mut *room;
        self.devices((matrix, right, ports), *now, approach, x);
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

    /// Adds valves, diodes and lamps to matrix and right-hand side, linearised where their ports
    /// stand.
    fn devices(
        &self,
        (matrix, right, ports): (&mut [f64], &mut [f64], &mut Ports),
        now: f64,
        approach: Approach,
        x: &[f64],
    ) {
        ports.restart();
        for pair in &self.pairs {
            let volts = ports.follow(approach, x[pair.a] - x[pair.b], Farthest::Other);
            let (amps, slope) = match pair.law {
                PairLaw::Diode(law) => match pair.warming {
                    Some(warming) => at_emission(law, warming.part(now)).current(volts),
                    None => law.current(volts),
                },
                PairLaw::Neon(law) => law.current(volts, pair.lit),
            };
            let rest = amps - slope * volts;
            right[pair.a] -= rest;
            right[pair.b] += rest;
            pair.stamps[0].add(matrix, slope);
            pair.stamps[1].add(matrix, slope);
        }
        for three in &self.threes {
            let [p, g, k] = three.nodes;
            let volts = [
                ports.follow(approach, x[p] - x[k], Farthest::Other),
                ports.follow(approach, x[g] - x[k], Farthest::Grid),
            ];
            let mut law = three.law;
            if let Some(warming) = three.warming {
                law.k *= warming.part(now);
            }
            let at = law.currents(volts[0], volts[1]);
            let slopes = [
                [at.plate_by_plate, at.plate_by_grid],
                [at.grid_by_plate, at.grid_by_grid],
            ];
            let mut cathode = [0.0; 2];
            for (row, (amps, by)) in [at.plate_a, at.grid_a].into_iter().zip(slopes).enumerate() {
                let rest = amps - (by[0] * volts[0] + by[1] * volts[1]);
                right[three.nodes[row]] -= rest;
                right[k] += rest;
                for (over, &slope) in by.iter().enumerate() {
                    three.stamps[row][over].add(matrix, slope);
                    cathode[over] -= slope;
                }
            }
            for (stamp, slope) in three.stamps[2].iter().zip(cathode) {
                stamp.add(matrix, slope);
            }
        }
        for four in &self.fours {
            let [p, s, g, k] = four.nodes;
            let volts = [
                ports.follow(approach, x[p] - x[k], Farthest::Other),
                ports.follow(approach, x[s] - x[k], Farthest::Other),
                ports.follow(approach, x[g] - x[k], Farthest::Grid),
            ];
            let mut law = four.law;
            if let Some(warming) = four.warming {
                law.k *= warming.part(now);
            }
            let at = law.currents(volts[0], volts[1], volts[2]);
            let mut cathode = [0.0; 3];
            for (row, current) in [at.plate, at.screen, at.grid].into_iter().enumerate() {
                let by = [current.by_plate, current.by_screen, current.by_grid];
                let along: f64 = by.iter().zip(&volts).map(|(by, volts)| by * volts).sum();
                let rest = current.amps - along;
                right[four.nodes[row]] -= rest;
                right[k] += rest;
                for (over, &slope) in by.iter().enumerate() {
                    four.stamps[row][over].add(matrix, slope);
                    cathode[over] -= slope;
                }
            }
            for (stamp, slope) in four.stamps[3].iter().zip(cathode) {
                stamp.add(matrix, slope);
            }
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
