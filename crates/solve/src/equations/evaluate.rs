//! Residual and Jacobian at one point.

use super::ports::Farthest;
use super::{AMPLIFIER_OHMS, Approach, Equations, FLOOR_SIEMENS, Loaded, Point, Ports, two_sum};
use crate::supply::CycleMemory;

/// What the equations say at a point. Index 0 collects what ground takes.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Evaluation {
    /// Amperes that leave each node; volts for an amplifier.
    pub(crate) residual: Vec<f64>,
    /// What `residual` lost in summing; only a fine evaluation fills it.
    lost: Vec<f64>,
    /// Sum of the absolute currents at each node; of the absolute volts for an amplifier.
    pub(crate) flow: Vec<f64>,
    /// The Jacobian, on the pattern of the equations.
    pub(crate) matrix: Vec<f64>,
    /// The mains cycle of each rectifier group: from the last evaluation, as a start for the next.
    pub(crate) cycles: Vec<CycleMemory>,
}

impl Evaluation {
    pub(crate) fn new(equations: &Equations) -> Self {
        Self {
            residual: vec![0.0; equations.len()],
            lost: vec![0.0; equations.len()],
            flow: vec![0.0; equations.len()],
            matrix: equations.pattern.zeros(),
            cycles: vec![CycleMemory::default(); equations.groups.len()],
        }
    }

    #[inline]
    fn add<const FINE: bool>(&mut self, node: usize, amps: f64) {
        self.sum::<FINE>(node, amps);
        self.flow[node] += amps.abs();
    }

    /// Adds a part of a terminal's current, without counting it as a flow.
    #[inline]
    fn sum<const FINE: bool>(&mut self, node: usize, amps: f64) {
        if FINE {
            let (sum, lost) = two_sum(self.residual[node], amps);
            self.residual[node] = sum;
            self.lost[node] += lost;
        } else {
            self.residual[node] += amps;
        }
    }
}

/// Volts between two nodes: plain, or to the last digit of both numbers.
#[inline]
fn across<const FINE: bool>(point: &Point, a: usize, b: usize) -> f64 {
    if FINE {
        point.across(a, b)
    } else {
        point.high[a] - point.high[b]
    }
}

impl Equations {
    /// Evaluates residual, flows and Jacobian at `point` with the devices at their nodes, to the
    /// last digit.
    pub(crate) fn evaluate_exactly(
        &self,
        loaded: &Loaded,
        point: &Point,
        ports: &mut Ports,
        out: &mut Evaluation,
    ) {
        self.evaluate::<true>(loaded, point, Approach::AtOnce, ports, out);
    }

    /// Evaluates residual, flows and Jacobian at `point`. A fine evaluation keeps the digits
    /// that plain sums and differences lose.
    pub(crate) fn evaluate<const FINE: bool>(
        &self,
        loaded: &Loaded,
        point: &Point,
        approach: Approach,
        ports: &mut Ports,
        out: &mut Evaluation,
    ) {
        ports.restart();
        out.matrix.copy_from_slice(&loaded.base);
        out.lost.fill(0.0);
        out.residual[0] = 0.0;
        out.flow[0] = 0.0;
        for node in 1..self.nodes {
            let mut amps = FLOOR_SIEMENS * point.high[node];
            if loaded.hold_siemens > 0.0 {
                amps += loaded.hold_siemens * (point.high[node] - loaded.held[node]);
            }
            out.residual[node] = amps;
            out.flow[node] = amps.abs();
        }
        for (branch, &(siemens, emf)) in self.branches.iter().zip(&loaded.branches) {
            let volts = if FINE {
                let (difference, lost) = two_sum(point.high[branch.a], -point.high[branch.b]);
                let (driving, more) = two_sum(difference, -emf);
                driving + (lost + more + (point.low[branch.a] - point.low[branch.b]))
            } else {
                point.high[branch.a] - point.high[branch.b] - emf
            };
            let amps = siemens * volts;
            out.add::<FINE>(branch.a, amps);
            out.add::<FINE>(branch.b, -amps);
        }
        self.devices::<FINE>(loaded, point, approach, ports, out);
        for (follower, &gain) in self.followers.iter().zip(&loaded.gains) {
            let amps = point.high[follower.unknown] + point.low[follower.unknown];
            out.add::<FINE>(follower.output, amps);
            let (output, input) = (follower.output, follower.input);
            let own = AMPLIFIER_OHMS * amps;
            let wanted = gain * point.high[input];
            let rest = if FINE {
                point.low[output]
                    - gain * point.low[input]
                    - gain.mul_add(point.high[input], -wanted)
            } else {
                0.0
            };
            out.residual[follower.unknown] = ((point.high[output] - wanted) + rest) - own;
            out.flow[follower.unknown] = point.high[output].abs() + wanted.abs() + own.abs();
        }
        if FINE {
            for (residual, lost) in out.residual.iter_mut().zip(&out.lost) {
                *residual += lost;
            }
        }
    }

    fn devices<const FINE: bool>(
        &self,
        loaded: &Loaded,
        point: &Point,
        approach: Approach,
        ports: &mut Ports,
        out: &mut Evaluation,
    ) {
        for (pair, law) in self.pairs.iter().zip(&loaded.pairs) {
            let volts = across::<FINE>(point, pair.a, pair.b);
            let true_volts = volts;
            let volts = ports.follow(approach, volts, Farthest::Other);
            let (amps, slope) = law.current(volts);
            let amps = amps + slope * (true_volts - volts);
            out.add::<FINE>(pair.a, amps);
            out.add::<FINE>(pair.b, -amps);
            pair.stamps[0].add(&mut out.matrix, slope);
            pair.stamps[1].add(&mut out.matrix, slope);
        }
        for (triode, law) in self.triodes.iter().zip(&loaded.triodes) {
            let [plate, grid, cathode] = triode.nodes;
            let v = [
                across::<FINE>(point, plate, cathode),
                across::<FINE>(point, grid, cathode),
            ];
            let u = [
                ports.follow(approach, v[0], Farthest::Other),
                ports.follow(approach, v[1], Farthest::Grid),
            ];
            let mut at = law.currents(u[0], u[1]);
            let d = [v[0] - u[0], v[1] - u[1]];
            at.plate_a += at.plate_by_plate * d[0] + at.plate_by_grid * d[1];
            at.grid_a += at.grid_by_plate * d[0] + at.grid_by_grid * d[1];
            out.add::<FINE>(plate, at.plate_a);
            out.add::<FINE>(grid, at.grid_a);
            // Added one by one, so that exact sums over a floating part come to nothing.
            out.sum::<FINE>(cathode, -at.plate_a);
            out.sum::<FINE>(cathode, -at.grid_a);
            out.flow[cathode] += (at.plate_a + at.grid_a).abs();
            let slopes = [
                [at.plate_by_plate, at.plate_by_grid],
                [at.grid_by_plate, at.grid_by_grid],
                [
                    -(at.plate_by_plate + at.grid_by_plate),
                    -(at.plate_by_grid + at.grid_by_grid),
                ],
            ];
            for (stamps, slopes) in triode.stamps.iter().zip(&slopes) {
                for (stamp, &slope) in stamps.iter().zip(slopes) {
                    stamp.add(&mut out.matrix, slope);
                }
            }
        }
        for (pentode, law) in self.pentodes.iter().zip(&loaded.pentodes) {
            let [plate, screen, grid, cathode] = pentode.nodes;
            let v = [
                across::<FINE>(point, plate, cathode),
                across::<FINE>(point, screen, cathode),
                across::<FINE>(point, grid, cathode),
            ];
            let u = [
                ports.follow(approach, v[0], Farthest::Other),
                ports.follow(approach, v[1], Farthest::Other),
                ports.follow(approach, v[2], Farthest::Grid),
            ];
            let at = law.currents(u[0], u[1], u[2]);
            let d = [v[0] - u[0], v[1] - u[1], v[2] - u[2]];
            let mut slopes = [[0.0; 3]; 4];
            let mut cathode_amps = 0.0;
            for ((node, current), row) in [plate, screen, grid]
                .into_iter()
                .zip([at.plate, at.screen, at.grid])
                .zip(0..3)
            {
                let by = [current.by_plate, current.by_screen, current.by_grid];
                let amps = current.amps + (by[0] * d[0] + by[1] * d[1] + by[2] * d[2]);
                out.add::<FINE>(node, amps);
                out.sum::<FINE>(cathode, -amps);
                cathode_amps += amps;
                slopes[row] = by;
                for (sum, by) in slopes[3].iter_mut().zip(by) {
                    *sum -= by;
                }
            }
            out.flow[cathode] += f64::abs(cathode_amps);
            for (stamps, slopes) in pentode.stamps.iter().zip(&slopes) {
                for (stamp, &slope) in stamps.iter().zip(slopes) {
                    stamp.add(&mut out.matrix, slope);
                }
            }
        }
        let groups = self.groups.iter().zip(&loaded.groups);
        for (at, (group, law)) in groups.enumerate() {
            let count = group.ends.len();
            let volts: Vec<f64> = group
                .ends
                .iter()
                .map(|&(plate, cathode)| across::<FINE>(point, plate, cathode))
                .collect();
            let follow = |&volts: &f64| ports.follow(approach, volts, Farthest::Other);
            let stands: Vec<f64> = volts.iter().map(follow).collect();
            let mut amps = vec![0.0; count];
            let mut slopes = vec![0.0; count * count];
            // A cycle that missed its own tolerance is the best there is; the acceptance of
            // the whole point decides.
            let cycle = &mut out.cycles[at];
            let _solved = if FINE && approach == Approach::AtOnce {
                law.mean_currents_from(cycle, &stands, &mut amps, &mut slopes)
            } else {
                law.rough_currents_from(cycle, &stands, &mut amps, &mut slopes)
            };
            for (plate, amps) in amps.iter_mut().enumerate() {
                let row = slopes.iter().skip(plate * count);
                for ((slope, volts), stands) in row.zip(&volts).zip(&stands) {
                    *amps += slope * (volts - stands);
                }
            }
            for (&(plate, cathode), &amps) in group.ends.iter().zip(&amps) {
                out.add::<FINE>(plate, amps);
                out.add::<FINE>(cathode, -amps);
            }
            for (stamps, &slope) in group.stamps.iter().zip(&slopes) {
                stamps[0].add(&mut out.matrix, slope);
                stamps[1].add(&mut out.matrix, slope);
            }
        }
    }
}
