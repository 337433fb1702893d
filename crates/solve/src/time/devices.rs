//! Valves, diodes and lamps as straight lines: through where they stand, or with slopes that are held.

use super::build::{Moving, PairLaw};
use super::cathodes::at_emission;
use super::held::Held;
use crate::equations::{Approach, Farthest, Ports};
use crate::linear::Stamp;

impl Moving {
    /// Numbers of all slopes of all devices.
    pub(super) fn slopes(&self) -> usize {
        self.pairs.len() + 4 * self.threes.len() + 9 * self.fours.len()
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
        let slopes = held.slopes_mut();
        self.devices::<false>((matrix, right, slopes), now, x, &mut |volts, farthest| {
            ports.follow(approach, volts, farthest)
        });
    }

    /// Adds all devices to the right-hand side where they stand, of a matrix that holds the slopes they once had.
    pub(super) fn with_slopes_held(&self, right: &mut [f64], held: &mut Held, now: f64, x: &[f64]) {
        let slopes = held.slopes_mut();
        self.devices::<true>((&mut [], right, slopes), now, x, &mut |volts, _| volts);
    }

    #[inline]
    fn devices<const HELD: bool>(
        &self,
        (matrix, right, slopes): (&mut [f64], &mut [f64], &mut [f64]),
        now: f64,
        x: &[f64],
        follow: &mut impl FnMut(f64, Farthest) -> f64,
    ) {
        let (own, slopes) = slopes.split_at_mut(self.pairs.len());
        for (pair, held) in self.pairs.iter().zip(own) {
            let volts = follow(x[pair.a] - x[pair.b], Farthest::Other);
            let (amps, slope) = match pair.law {
                PairLaw::Diode(law) => match pair.warming {
                    Some(warming) => at_emission(law, warming.part(now)).current(volts),
                    None => law.current(volts),
                },
                PairLaw::Neon(law) => law.current(volts, pair.lit),
            };
            if !HELD {
                *held = slope;
                pair.stamps[0].add(matrix, slope);
                pair.stamps[1].add(matrix, slope);
            }
            let rest = amps - *held * volts;
            right[pair.a] -= rest;
            right[pair.b] += rest;
        }
        let (own, slopes) = slopes.split_at_mut(4 * self.threes.len());
        for (three, held) in self.threes.iter().zip(own.as_chunks_mut::<4>().0) {
            let [p, g, k] = three.nodes;
            let volts = [
                follow(x[p] - x[k], Farthest::Other),
                follow(x[g] - x[k], Farthest::Grid),
            ];
            let mut law = three.law;
            if let Some(warming) = three.warming {
                law.k *= warming.part(now);
            }
            let at = law.currents(volts[0], volts[1]);
            if !HELD {
                *held = [
                    at.plate_by_plate,
                    at.plate_by_grid,
                    at.grid_by_plate,
                    at.grid_by_grid,
                ];
                stamp(&three.stamps, held.as_chunks::<2>().0, matrix);
            }
            let rows = held.as_chunks::<2>().0.iter();
            for ((node, amps), by) in [p, g].into_iter().zip([at.plate_a, at.grid_a]).zip(rows) {
                let rest = amps - (by[0] * volts[0] + by[1] * volts[1]);
                right[node] -= rest;
                right[k] += rest;
            }
        }
        for (four, held) in self.fours.iter().zip(slopes.as_chunks_mut::<9>().0) {
            let [p, s, g, k] = four.nodes;
            let volts = [
                follow(x[p] - x[k], Farthest::Other),
                follow(x[s] - x[k], Farthest::Other),
                follow(x[g] - x[k], Farthest::Grid),
            ];
            let mut law = four.law;
            if let Some(warming) = four.warming {
                law.k *= warming.part(now);
            }
            let at = law.currents(volts[0], volts[1], volts[2]);
            let currents = [at.plate, at.screen, at.grid];
            if !HELD {
                for (row, current) in held.as_chunks_mut::<3>().0.iter_mut().zip(currents) {
                    *row = [current.by_plate, current.by_screen, current.by_grid];
                }
                stamp(&four.stamps, held.as_chunks::<3>().0, matrix);
            }
            let rows = held.as_chunks::<3>().0.iter();
            for ((node, current), by) in [p, s, g].into_iter().zip(currents).zip(rows) {
                let along: f64 = by.iter().zip(&volts).map(|(by, volts)| by * volts).sum();
                let rest = current.amps - along;
                right[node] -= rest;
                right[k] += rest;
            }
        }
    }
}

/// Adds a valve's slopes to the matrix; its last row, the cathode's, is what leaves the others.
#[inline]
fn stamp<const OVER: usize, const ROWS: usize>(
    stamps: &[[Stamp; OVER]; ROWS],
    slopes: &[[f64; OVER]],
    matrix: &mut [f64],
) {
    let mut cathode = [0.0; OVER];
    for (stamps, by) in stamps.iter().zip(slopes) {
        for ((stamp, slope), cathode) in stamps.iter().zip(by).zip(&mut cathode) {
            stamp.add(matrix, *slope);
            *cathode -= slope;
        }
    }
    for (stamp, slope) in stamps[ROWS - 1].iter().zip(cathode) {
        stamp.add(matrix, slope);
    }
}
