//! Valves, diodes and lamps as straight lines: through where they stand, or with slopes that are held.
//!
//! Valves are evaluated four side by side.

use std::array::from_fn;

use super::build::{Four, Moving, Pair, PairLaw, Three};
use super::cathodes::{Warming, at_emission};
use super::held::Held;
use crate::device::{
    PentodeLaw, TOGETHER, TriodeLaw, pentode_currents, triode_currents, triodes_currents,
};
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
        for (lane, nodes) in self.nodes.iter().enumerate() {
            if lane < count {
                let last = x[nodes[PORTS]];
                for (port, slot) in volts.iter_mut().enumerate() {
                    // the grid is the last of them
                    let farthest = if port + 1 == PORTS {
                        Farthest::Grid
                    } else {
                        Farthest::Other
                    };
                    slot.0[lane] = follow(x[nodes[port]] - last, farthest);
                }
            } else {
                for slot in &mut volts {
                    slot.0[lane] = slot.0[lane - 1];
                }
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
    (count, nodes): (usize, &[[usize; NODES]; LANES]),
    volts: &[Wide; PORTS],
    lines: &[Line<PORTS>; PORTS],
) {
    let mut rests = [Wide::all(0.0); PORTS];
    let lines = lines.iter().zip(held.as_chunks_mut::<PORTS>().0);
    for (rest, ((amps, slopes), held)) in rests.iter_mut().zip(lines) {
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
        *rest = *amps - along;
    }
    for (lane, nodes) in nodes.iter().enumerate() {
        if lane < count {
            for (node, rest) in nodes.iter().zip(&rests) {
                right[*node] -= rest.0[lane];
            }
            let mut last = right[nodes[PORTS]];
            for rest in &rests {
                last += rest.0[lane];
            }
            right[nodes[PORTS]] = last;
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
#[derive(Debug, Clone, Default)]
pub(super) struct Bent {
    pub(super) pairs: Vec<Pair>,
    pub(super) threes: Vec<Three>,
    pub(super) fours: Vec<Four>,
    /// The same valves side by side, as they are evaluated.
    triodes: Vec<Abreast<TriodeLaw<Wide>, 3>>,
    pentodes: Vec<Abreast<PentodeLaw<Wide>, 4>>,
}

/// Slopes of a triode, and of a pentode: currents times ports.
const OF_THREE: usize = 4;
const OF_FOUR: usize = 9;

/// All devices on the right-hand side, with slopes that are held or found; these on the matrix if it is wanted.
struct Devices<'a, F, const HELD: bool> {
    bent: &'a Bent,
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
        let held = own.as_chunks_mut::<LANES>().0;
        if HELD {
            triodes_held(bent, right, held, x, &mut follow);
        } else {
            let groups = bent.triodes.iter().zip(bent.threes.chunks(LANES));
            for ((four, valves), held) in groups.zip(held.chunks_mut(OF_THREE)) {
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
                put::<HELD, 2, 3>(right, held, (valves.len(), &four.nodes), &volts, &lines);
                if stamped {
                    for (lane, three) in valves.iter().enumerate() {
                        let by = |at: usize| held[at][lane];
                        stamp(&three.stamps, &[[by(0), by(1)], [by(2), by(3)]], matrix);
                    }
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
            put::<HELD, 3, 4>(right, held, (valves.len(), &four.nodes), &volts, &lines);
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

/// Triodes with slopes that are held: all groups go through their law together. No cathode warms then.
#[inline(always)]
fn triodes_held(
    bent: &Bent,
    right: &mut [f64],
    held: &mut [[f64; LANES]],
    x: &[f64],
    follow: &mut impl FnMut(f64, Farthest) -> f64,
) {
    const NONE: [[Wide; 2]; TOGETHER] = [[Wide::all(0.0); 2]; TOGETHER];
    let valves = bent.threes.chunks(TOGETHER * LANES);
    let held = held.chunks_mut(TOGETHER * OF_THREE);
    for ((groups, valves), held) in bent.triodes.chunks(TOGETHER).zip(valves).zip(held) {
        let (mut volts, mut amps) = (NONE, NONE);
        let counts = || valves.chunks(LANES).map(<[Three]>::len);
        for ((volts, four), count) in volts.iter_mut().zip(groups).zip(counts()) {
            *volts = four.ports(count, x, follow);
        }
        triodes_currents(
            #[inline(always)]
            |group| &groups[group].law,
            &volts[..groups.len()],
            &mut amps,
        );
        let all = groups.iter().zip(counts()).zip(volts.iter().zip(&amps));
        for (((four, count), (volts, amps)), held) in all.zip(held.chunks_mut(OF_THREE)) {
            let lines = amps.map(|amps| (amps, [Wide::all(0.0); 2]));
            put::<true, 2, 3>(right, held, (count, &four.nodes), volts, &lines);
        }
    }
}

#[inline(always)]
fn where_it_stands(volts: f64, _: Farthest) -> f64 {
    volts
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
            bent: &self.bent,
            matrix,
            right,
            slopes: held.slopes_mut(),
            now,
            x,
            follow: |volts, farthest| ports.follow(approach, volts, farthest),
        });
    }
}

impl Bent {
    /// Puts the valves side by side, once all are known.
    pub(super) fn put_abreast(&mut self) {
        self.triodes = Abreast::all(
            &self.threes,
            |four| {
                let numbers = four.map(|three| three.law.numbers());
                TriodeLaw::of_numbers(from_fn(|at| Wide(numbers.map(|law| law[at]))))
            },
            |three| three.nodes,
        );
        self.pentodes = Abreast::all(
            &self.fours,
            |four| {
                let numbers = four.map(|four| four.law.numbers());
                PentodeLaw::of_numbers(from_fn(|at| Wide(numbers.map(|law| law[at]))))
            },
            |four| four.nodes,
        );
    }

    /// At two ends, one after the other, between the slots that `slot` tells for a node at the first (0) and at the second (1).
    pub(super) fn doubled(&self, slot: impl Fn(usize, usize) -> usize) -> Self {
        let mut twice = Self::default();
        for end in 0..2 {
            let slot = |node| slot(node, end);
            twice.pairs.extend(self.pairs.iter().map(|pair| Pair {
                a: slot(pair.a),
                b: slot(pair.b),
                ..pair.clone()
            }));
            twice.threes.extend(self.threes.iter().map(|three| Three {
                nodes: three.nodes.map(slot),
                ..three.clone()
            }));
            twice.fours.extend(self.fours.iter().map(|four| Four {
                nodes: four.nodes.map(slot),
                ..four.clone()
            }));
        }
        twice.put_abreast();
        twice
    }

    /// Numbers of all slopes of all devices.
    pub(super) fn slopes(&self) -> usize {
        self.pairs.len() + LANES * (OF_THREE * self.triodes.len() + OF_FOUR * self.pentodes.len())
    }

    /// Adds all devices to the right-hand side where they stand: with the slopes that are held, or with those found there, which are
    /// written down. From within [`widely`].
    #[inline(always)]
    pub(super) fn on_right<const HELD: bool>(
        &self,
        right: &mut [f64],
        slopes: &mut [f64],
        now: f64,
        x: &[f64],
    ) {
        let devices = Devices::<_, HELD> {
            bent: self,
            matrix: &mut [],
            right,
            slopes,
            now,
            x,
            follow: where_it_stands,
        };
        devices.call();
    }

    /// Where each is doubled ([`Bent::doubled`]): puts the mean of each slope and its like in the place of both,
    /// and adds it to the matrix where the first half stands.
    #[inline(always)]
    pub(super) fn stamp_means<S: Scalar>(&self, matrix: &mut [S], slopes: &mut [f64]) {
        let mean = |slopes: &mut [f64], first: usize, second: usize| {
            let mean = 0.5 * (slopes[first] + slopes[second]);
            slopes[first] = mean;
            slopes[second] = mean;
            S::real(mean)
        };
        let (own, slopes) = slopes.split_at_mut(self.pairs.len());
        let half = self.pairs.len() / 2;
        for (at, pair) in self.pairs[..half].iter().enumerate() {
            let slope = mean(own, at, half + at);
            pair.stamps[0].add(matrix, slope);
            pair.stamps[1].add(matrix, slope);
        }
        let (own, slopes) = slopes.split_at_mut(self.triodes.len() * OF_THREE * LANES);
        let half = self.threes.len() / 2;
        for (at, three) in self.threes[..half].iter().enumerate() {
            let mut by = |slope| {
                let place = |valve| slot(valve, slope, OF_THREE);
                mean(own, place(at), place(half + at))
            };
            let by: [[S; 2]; 2] = from_fn(|row| from_fn(|over| by(2 * row + over)));
            stamp(&three.stamps, &by, matrix);
        }
        let half = self.fours.len() / 2;
        for (at, four) in self.fours[..half].iter().enumerate() {
            let mut by = |slope| {
                let place = |valve| slot(valve, slope, OF_FOUR);
                mean(slopes, place(at), place(half + at))
            };
            let by: [[S; 3]; 3] = from_fn(|row| from_fn(|over| by(3 * row + over)));
            stamp(&four.stamps, &by, matrix);
        }
    }
}

/// Place of a slope among those of its kind: number of the valve, of the slope, and how many slopes a valve has.
#[inline]
fn slot(at: usize, slope: usize, each: usize) -> usize {
    (at / LANES * each + slope) * LANES + at % LANES
}

/// Adds a valve's slopes to the matrix; its last row, the cathode's, is what leaves the others.
#[inline(always)]
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
