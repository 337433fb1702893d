//! Valves, diodes and lamps as straight lines: through where they stand, or with slopes that are held.
//!
//! Valves are evaluated four side by side.

use std::array::from_fn;

use super::build::{Four, Moving, Pair, PairLaw, Three};
use super::cathodes::{Warming, at_emission};
use super::held::Held;
use crate::device::{PentodeLaw, TriodeLaw, pentode_currents, triode_currents};
use crate::equations::{Approach, Farthest, Ports};
use crate::lanes::{LANES, Wide, Work, widely};
use crate::linear::{Scalar, Stamp};

/// Up to four valves of a kind side by side; those that are missing are the last once more.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Abreast<L, const NODES: usize> {
    law: L,
    nodes: [[usize; NODES]; LANES],
}

impl<L, const NODES: usize> Abreast<L, NODES> {
    /// Puts valves side by side, in their order.
    pub(super) fn all<V>(
        valves: &[V],
        law: impl Fn([&V; LANES]) -> L,
        nodes: impl Fn(&V) -> [usize; NODES],
    ) -> Vec<Self> {
        let put = |few: &[V]| {
            let four = from_fn(|lane| &few[lane.min(few.len() - 1)]);
            Self {
                law: law(four),
                nodes: four.map(&nodes),
            }
        };
        valves.chunks(LANES).map(put).collect()
    }

    /// How far each port's node is above the last node, and where that lets the port stand.
    #[inline(always)]
    fn ports<const PORTS: usize>(
        &self,
        count: usize,
        x: &[f64],
        follow: &mut impl FnMut(f64, Farthest) -> f64,
    ) -> [Wide; PORTS] {
        let mut volts = [Wide::all(0.0); PORTS];
        for (lane, nodes) in self.nodes.iter().enumerate().take(count) {
            for (port, slot) in volts.iter_mut().enumerate() {
                // the grid is the last of them
                let farthest = if port + 1 == PORTS {
                    Farthest::Grid
                } else {
                    Farthest::Other
                };
                slot.0[lane] = follow(x[nodes[port]] - x[nodes[PORTS]], farthest);
            }
        }
        for slot in &mut volts {
            for lane in count..LANES {
                slot.0[lane] = slot.0[count - 1];
            }
        }
        volts
    }
}

/// A current and its slopes by each port's volts.
type Line<const PORTS: usize> = (Wide, [Wide; PORTS]);

/// Puts currents through the ports of valves side by side on the right-hand side, less what their slopes, held from now or from before, say.
/// Returns the slopes.
#[inline(always)]
fn put<const HELD: bool, const PORTS: usize, const NODES: usize>(
    right: &mut [f64],
    held: &mut [[f64; LANES]],
    nodes: &[[usize; NODES]],
    volts: &[Wide; PORTS],
    lines: &[Line<PORTS>; PORTS],
) {
    for (port, ((amps, slopes), held)) in lines.iter().zip(held.chunks_mut(PORTS)).enumerate() {
        let mut along = Wide::all(0.0);
        for (by, (slope, (held, volts))) in
            slopes.iter().zip(held.iter_mut().zip(volts)).enumerate()
        {
            if !HELD {
                *held = slope.0;
            }
            let part = Wide(*held) * *volts;
            along = if by == 0 { part } else { along + part };
        }
        let rest = *amps - along;
        for (nodes, rest) in nodes.iter().zip(rest.0) {
            right[nodes[port]] -= rest;
            right[nodes[PORTS]] += rest;
        }
    }
}

/// By which part each of a few cathodes is warm; none where all are hot.
#[inline(always)]
fn warmth<V>(few: &[V], now: f64, of: impl Fn(&V) -> Option<Warming>) -> Option<Wide> {
    if few.iter().all(|valve| of(valve).is_none()) {
        return None;
    }
    Some(Wide::from_lanes(|lane| {
        let warming = few.get(lane).and_then(&of);
        warming.map_or(1.0, |warming| warming.part(now))
    }))
}

/// All that bends: diodes and lamps one by one, valves as they are and side by side.
#[derive(Clone, Copy)]
pub(super) struct Bent<'a> {
    pub(super) pairs: &'a [Pair],
    pub(super) threes: &'a [Three],
    pub(super) fours: &'a [Four],
    pub(super) triodes: &'a [Triodes],
    pub(super) pentodes: &'a [Pentodes],
}

/// Triodes side by side: plate, grid, cathode.
pub(super) type Triodes = Abreast<TriodeLaw<Wide>, 3>;
/// Pentodes side by side: plate, screen, grid, cathode.
pub(super) type Pentodes = Abreast<PentodeLaw<Wide>, 4>;

impl Triodes {
    /// Triodes, in their order.
    pub(super) fn of(threes: &[Three]) -> Vec<Self> {
        Self::all(
            threes,
            |four| {
                let numbers = four.map(|three| three.law.numbers());
                TriodeLaw::of_numbers(from_fn(|at| Wide(numbers.map(|law| law[at]))))
            },
            |three| three.nodes,
        )
    }
}

impl Pentodes {
    /// Pentodes, in their order.
    pub(super) fn of(fours: &[Four]) -> Vec<Self> {
        Self::all(
            fours,
            |four| {
                let numbers = four.map(|four| four.law.numbers());
                PentodeLaw::of_numbers(from_fn(|at| Wide(numbers.map(|law| law[at]))))
            },
            |four| four.nodes,
        )
    }
}

/// Slopes of a triode, and of a pentode: currents times ports.
pub(super) const OF_THREE: usize = 4;
pub(super) const OF_FOUR: usize = 9;

/// All devices on the right-hand side, with slopes that are held or found; these on the matrix if it is wanted.
struct Devices<'a, F, const HELD: bool> {
    bent: Bent<'a>,
    /// Empty where no stamps are wanted.
    matrix: &'a mut [f64],
    right: &'a mut [f64],
    slopes: &'a mut [f64],
    now: f64,
    x: &'a [f64],
    follow: F,
}

impl<F: FnMut(f64, Farthest) -> f64, const HELD: bool> Work for Devices<'_, F, HELD> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let Self {
            bent,
            matrix,
            right,
            slopes,
            now,
            x,
            mut follow,
        } = self;
        let stamped = !HELD && !matrix.is_empty();
        let (own, slopes) = slopes.split_at_mut(bent.pairs.len());
        for (pair, held) in bent.pairs.iter().zip(own) {
            let volts = follow(x[pair.a] - x[pair.b], Farthest::Other);
            let (amps, slope) = pair.current(volts, now);
            if !HELD {
                *held = slope;
            }
            if stamped {
                pair.stamps[0].add(matrix, slope);
                pair.stamps[1].add(matrix, slope);
            }
            let rest = amps - *held * volts;
            right[pair.a] -= rest;
            right[pair.b] += rest;
        }
        let (own, slopes) = slopes.split_at_mut(bent.triodes.len() * OF_THREE * LANES);
        let valves = bent.threes.chunks(LANES);
        let held = own.as_chunks_mut::<LANES>().0.chunks_mut(OF_THREE);
        for ((four, valves), held) in bent.triodes.iter().zip(valves).zip(held) {
            let volts: [Wide; 2] = four.ports(valves.len(), x, &mut follow);
            let mut law = four.law;
            if let Some(part) = warmth(valves, now, |three| three.warming) {
                law.k = law.k * part;
            }
            let at = triode_currents(law, volts[0], volts[1]);
            let lines = [
                (at.plate_a, [at.plate_by_plate, at.plate_by_grid]),
                (at.grid_a, [at.grid_by_plate, at.grid_by_grid]),
            ];
            put::<HELD, 2, 3>(right, held, &four.nodes[..valves.len()], &volts, &lines);
            if stamped {
                for (lane, three) in valves.iter().enumerate() {
                    let by = |at: usize| held[at][lane];
                    stamp(&three.stamps, &[[by(0), by(1)], [by(2), by(3)]], matrix);
                }
            }
        }
        let valves = bent.fours.chunks(LANES);
        let held = slopes.as_chunks_mut::<LANES>().0.chunks_mut(OF_FOUR);
        for ((four, valves), held) in bent.pentodes.iter().zip(valves).zip(held) {
            let volts: [Wide; 3] = four.ports(valves.len(), x, &mut follow);
            let mut law = four.law;
            if let Some(part) = warmth(valves, now, |four| four.warming) {
                law.k = law.k * part;
            }
            let at = pentode_currents(law, volts[0], volts[1], volts[2]);
            let lines = [at.plate, at.screen, at.grid].map(|current| {
                (
                    current.amps,
                    [current.by_plate, current.by_screen, current.by_grid],
                )
            });
            put::<HELD, 3, 4>(right, held, &four.nodes[..valves.len()], &volts, &lines);
            if stamped {
                for (lane, four) in valves.iter().enumerate() {
                    let by: [[f64; 3]; 3] =
                        from_fn(|row| from_fn(|over| held[3 * row + over][lane]));
                    stamp(&four.stamps, &by, matrix);
                }
            }
        }
    }
}

impl Pair {
    /// Amperes and their slope.
    #[inline]
    fn current(&self, volts: f64, now: f64) -> (f64, f64) {
        match self.law {
            PairLaw::Diode(law) => match self.warming {
                Some(warming) => at_emission(law, warming.part(now)).current(volts),
                None => law.current(volts),
            },
            PairLaw::Neon(law) => law.current(volts, self.lit),
        }
    }
}

impl Moving {
    /// All that bends.
    pub(super) fn bent(&self) -> Bent<'_> {
        Bent {
            pairs: &self.pairs,
            threes: &self.threes,
            fours: &self.fours,
            triodes: &self.triodes,
            pentodes: &self.pentodes,
        }
    }

    /// Puts the valves side by side, once all are known.
    pub(super) fn put_abreast(&mut self) {
        self.triodes = Triodes::of(&self.threes);
        self.pentodes = Pentodes::of(&self.fours);
    }

    /// Adds all devices to matrix and right-hand side, linearised where their ports stand.
    pub(super) fn linearised(
        &self,
        (matrix, right, ports, held): (&mut [f64], &mut [f64], &mut Ports, &mut Held),
        now: f64,
        approach: Approach,
        x: &[f64],
    ) {
        ports.restart();
        widely(Devices::<_, false> {
            bent: self.bent(),
            matrix,
            right,
            slopes: held.slopes_mut(),
            now,
            x,
            follow: |volts, farthest| ports.follow(approach, volts, farthest),
        });
    }
}

impl Bent<'_> {
    /// Numbers of all slopes of all devices.
    pub(super) fn slopes(self) -> usize {
        self.pairs.len() + LANES * (OF_THREE * self.triodes.len() + OF_FOUR * self.pentodes.len())
    }

    /// Adds all devices to the right-hand side where they stand, of a matrix that holds the slopes they once had.
    pub(super) fn with_slopes_held(
        self,
        right: &mut [f64],
        slopes: &mut [f64],
        now: f64,
        x: &[f64],
    ) {
        widely(Devices::<_, true> {
            bent: self,
            matrix: &mut [],
            right,
            slopes,
            now,
            x,
            follow: |volts: f64, _| volts,
        });
    }

    /// Finds the slopes of all devices where they stand, and adds them to the right-hand side with these.
    pub(super) fn with_slopes_found(
        self,
        right: &mut [f64],
        slopes: &mut [f64],
        now: f64,
        x: &[f64],
    ) {
        widely(Devices::<_, false> {
            bent: self,
            matrix: &mut [],
            right,
            slopes,
            now,
            x,
            follow: |volts: f64, _| volts,
        });
    }

    /// Adds slopes to a matrix: those of the pairs, then of the triodes and the pentodes, each with its lanes side by side.
    pub(super) fn stamp_slopes<S: Scalar>(self, matrix: &mut [S], slopes: Slopes<'_>) {
        for (pair, &slope) in self.pairs.iter().zip(slopes.pairs) {
            pair.stamps[0].add(matrix, S::real(slope));
            pair.stamps[1].add(matrix, S::real(slope));
        }
        for (at, three) in self.threes.iter().enumerate() {
            let by = |port: usize| S::real(slopes.of_three(at, port));
            stamp(&three.stamps, &[[by(0), by(1)], [by(2), by(3)]], matrix);
        }
        for (at, four) in self.fours.iter().enumerate() {
            let by: [[S; 3]; 3] =
                from_fn(|row| from_fn(|over| S::real(slopes.of_four(at, 3 * row + over))));
            stamp(&four.stamps, &by, matrix);
        }
    }
}

/// Slopes as the devices leave them.
#[derive(Clone, Copy)]
pub(super) struct Slopes<'a> {
    pub(super) pairs: &'a [f64],
    pub(super) threes: &'a [f64],
    pub(super) fours: &'a [f64],
}

/// Place of a slope among those of its kind: number of the valve, of the slope, and how many slopes a valve has.
#[inline]
pub(super) fn slot(at: usize, slope: usize, each: usize) -> usize {
    (at / LANES * each + slope) * LANES + at % LANES
}

impl Slopes<'_> {
    #[inline]
    fn of_three(self, at: usize, slope: usize) -> f64 {
        self.threes[slot(at, slope, OF_THREE)]
    }

    #[inline]
    fn of_four(self, at: usize, slope: usize) -> f64 {
        self.fours[slot(at, slope, OF_FOUR)]
    }
}

/// Adds a valve's slopes to the matrix; its last row, the cathode's, is what leaves the others.
#[inline]
fn stamp<S: Scalar, const OVER: usize, const ROWS: usize>(
    stamps: &[[Stamp; OVER]; ROWS],
    slopes: &[[S; OVER]],
    matrix: &mut [S],
) {
    let mut cathode = [S::ZERO; OVER];
    for (stamps, by) in stamps.iter().zip(slopes) {
        for ((stamp, slope), cathode) in stamps.iter().zip(by).zip(&mut cathode) {
            stamp.add(matrix, *slope);
            *cathode -= *slope;
        }
    }
    for (stamp, slope) in stamps[ROWS - 1].iter().zip(cathode) {
        stamp.add(matrix, slope);
    }
}
