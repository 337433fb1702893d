//! Many frequencies of one drive, side by side.

use std::f64::consts::TAU;

use super::{ResponseError, SmallSignal, summed};
use crate::lanes::{LANES, Wide, Work, widely};
use crate::linear::{Complex, Factors, Phasor, Phasors, Scalar};
use crate::netlist::NodeIndex;

/// Volts of every node at each frequency of a list.
#[derive(Debug, Clone, PartialEq)]
pub struct Sweep {
    nodes: usize,
    volts: Vec<Complex>,
}

impl Sweep {
    /// Volts of every node (ground first) at the frequency with this number; none past the last.
    #[must_use]
    pub fn at(&self, frequency: usize) -> &[Complex] {
        let from = frequency.saturating_mul(self.nodes);
        let all = self.volts.get(from..).unwrap_or_default();
        all.get(..self.nodes).unwrap_or_default()
    }

    /// For each frequency in turn, as [`Sweep::at`].
    pub fn iter(&self) -> impl ExactSizeIterator<Item = &[Complex]> {
        self.volts.chunks_exact(self.nodes)
    }
}

/// A current into one node and out at another, and what is left out meanwhile.
struct Feed {
    into: NodeIndex,
    from: NodeIndex,
    amps: f64,
    left_out: Option<usize>,
}

impl SmallSignal {
    /// [`super::Response::per_volt`] at every frequency of `hertz`: the same bits, in a fraction of the time.
    ///
    /// # Errors
    /// As [`SmallSignal::at`], for the first frequency that has no answer.
    pub fn per_volt_over(&self, source: usize, hertz: &[f64]) -> Result<Sweep, ResponseError> {
        let Some(Some((into, from, amps))) = self.sources.get(source).copied() else {
            return self.over(hertz, None);
        };
        let left_out = None;
        let feed = Feed {
            into,
            from,
            amps,
            left_out,
        };
        self.over(hertz, Some(&feed))
    }

    /// [`SmallSignal::input_impedance`] at every frequency of `hertz`: the same bits, in a fraction of the time.
    ///
    /// # Errors
    /// As [`SmallSignal::input_impedance`], for the first frequency that has no answer.
    pub fn input_impedance_over(
        &self,
        source: usize,
        hertz: &[f64],
    ) -> Result<Vec<Complex>, ResponseError> {
        let Some(Some((into, from, _))) = self.sources.get(source).copied() else {
            return Err(ResponseError::NoSource { element: source });
        };
        let feed = Feed {
            into,
            from,
            amps: 1.0,
            left_out: Some(source),
        };
        let sweep = self.over(hertz, Some(&feed))?;
        let volts = |all: &[Complex], node: NodeIndex| all.get(node).copied().unwrap_or_default();
        let across = |all: &[Complex]| volts(all, into) - volts(all, from);
        Ok(sweep.iter().map(across).collect())
    }

    fn over(&self, hertz: &[f64], feed: Option<&Feed>) -> Result<Sweep, ResponseError> {
        if let Some(&hertz) = hertz.iter().find(|h| !(**h > 0.0 && h.is_finite())) {
            return Err(ResponseError::Frequency { hertz });
        }
        let mut sweep = Sweep {
            nodes: self.nodes,
            volts: vec![Complex::ZERO; self.nodes * hertz.len()],
        };
        let Some(feed) = feed else {
            return Ok(sweep);
        };
        let still: Vec<Phasors> = match feed.left_out {
            None => self.still.iter().map(|v| Phasors::real(v.re)).collect(),
            left_out => summed(&self.pattern, &self.resistive, left_out)
                .iter()
                .map(|v| Phasors::real(v.re))
                .collect(),
        };
        let mut factors = Factors::new(&self.pattern);
        let mut work = Vec::with_capacity(self.pattern.size());
        let rooms = sweep.volts.chunks_mut(self.nodes * LANES);
        for (hertz, room) in hertz.chunks(LANES).zip(rooms) {
            let four = Four {
                circuit: self,
                feed,
                still: &still,
                factors: &mut factors,
                work: &mut work,
                hertz,
                room,
            };
            if !widely(four) {
                // Some lane wants row exchange: each by itself.
                for (&hertz, room) in hertz.iter().zip(room.chunks_mut(self.nodes)) {
                    let alone = self.without(feed.left_out, hertz)?;
                    room.copy_from_slice(&alone.fed(feed.into, feed.from, feed.amps));
                }
            }
        }
        Ok(sweep)
    }
}

/// As many frequencies as there are lanes.
struct Four<'a> {
    circuit: &'a SmallSignal,
    feed: &'a Feed,
    still: &'a [Phasors],
    factors: &'a mut Factors<Phasors>,
    work: &'a mut Vec<[Phasors; 1]>,
    hertz: &'a [f64],
    room: &'a mut [Complex],
}

impl Work for Four<'_> {
    type Output = bool;

    /// False where a pivot is not to be trusted.
    #[inline(always)]
    fn call(self) -> bool {
        let (circuit, feed) = (self.circuit, self.feed);
        let (pattern, nodes) = (&circuit.pattern, circuit.nodes);
        // The last few are filled up with the last.
        let last = self.hertz.len() - 1;
        let turning = Phasors::imaginary(Wide::from_lanes(
            #[inline(always)]
            |lane| TAU * self.hertz[lane.min(last)],
        ));
        circuit.add_reactive(self.factors.resume(self.still), turning, feed.left_out);
        if !self.factors.finish(pattern) {
            return false;
        }
        self.work.clear();
        self.work.resize(pattern.size(), [Phasors::ZERO]);
        for ((row, _), slot) in pattern.pivots().zip(&mut *self.work) {
            let mut amps = 0.0;
            for (node, share) in [(feed.into, feed.amps), (feed.from, -feed.amps)] {
                if node == row + 1 && node < nodes {
                    amps += share;
                }
            }
            *slot = [Phasors::real(amps)];
        }
        self.factors.solve_late(pattern, self.work);
        for ((_, column), [volts]) in pattern.pivots().zip(&*self.work) {
            let node = column + 1;
            if node < nodes {
                for (lane, room) in self.room.chunks_mut(nodes).enumerate() {
                    room[node] = volts.lane(lane);
                }
            }
        }
        true
    }
}
