//! From one size of a fault to the next, and where between them it comes nearest to the readings.

use super::super::likelihood::{Covariance, sum_of_exp};
use super::super::scene::Expected;
use super::super::spread::residual;
use super::Room;
use super::sizes::Solved;

/// A size on a stretch, solved.
pub(super) struct Point {
    /// Its place on the stretch's logarithm, 0 to 1.
    pub(super) at: f64,
    pub(super) size: f64,
    pub(super) mean: Vec<f64>,
}

/// From one size of a fault to the next: straight from each point that was solved to the next one.
pub(super) struct Stretch {
    pub(super) points: Vec<Point>,
    /// The covariance where it comes nearest to the readings; none: that of a sound amplifier.
    pub(super) around: Option<Covariance>,
    /// The slopes and variances it was made of.
    pub(super) slopes: Option<(Vec<f64>, Vec<f64>)>,
}

impl Stretch {
    pub(super) fn between(here: &Solved, next: Option<&Solved>) -> Self {
        let point = |at: f64, look: &Solved| Point {
            at,
            size: look.size,
            mean: look.expected.mean.clone(),
        };
        let mut points = vec![point(0.0, here)];
        points.extend(next.map(|n| point(1.0, n)));
        Self {
            points,
            around: None,
            slopes: None,
        }
    }

    /// Start and direction of a leg, as residuals.
    fn leg(&self, room: &Room<'_>, leg: usize) -> Option<(Vec<f64>, Option<Vec<f64>>)> {
        let from = self.points.get(leg)?;
        let r = residual(room.evidence, &from.mean);
        let along = self.points.get(leg + 1).map(|to| {
            let pairs = to.mean.iter().zip(&from.mean);
            pairs.map(|(to, from)| to - from).collect()
        });
        Some((r, along))
    }

    fn legs(&self) -> usize {
        (self.points.len() - 1).max(1)
    }

    /// The leg that comes nearest to the readings, the place on it, and the likelihood there.
    pub(super) fn nearest(
        &self,
        room: &Room<'_>,
        around: &Covariance,
    ) -> Option<(usize, f64, f64)> {
        let mut best: Option<(usize, f64, f64)> = None;
        for leg in 0..self.legs() {
            let (r, along) = self.leg(room, leg)?;
            let mut places = vec![0.0, 1.0, around.place(&r, along.as_deref())];
            if along.is_none() {
                places.truncate(1);
            }
            for place in places {
                let r: Vec<f64> = match &along {
                    Some(d) => r.iter().zip(d).map(|(r, d)| r - place * d).collect(),
                    None => r.clone(),
                };
                let log = room.likelihood(around, &r, None);
                if best.is_none_or(|b| log > b.2) {
                    best = Some((leg, place, log));
                }
            }
        }
        best
    }

    /// The place on the whole stretch, and the size there.
    pub(super) fn on(&self, leg: usize, place: f64) -> (f64, f64) {
        match (self.points.get(leg), self.points.get(leg + 1)) {
            (Some(from), Some(to)) => {
                let at = from.at + place * (to.at - from.at);
                (at, from.size * (to.size / from.size).powf(place))
            }
            (Some(from), None) => (from.at, from.size),
            _ => (0.0, 1.0),
        }
    }

    /// The mean over the whole stretch, which is even on its logarithm.
    pub(super) fn log_likelihood(&self, room: &Room<'_>, around: &Covariance) -> f64 {
        let logs: Vec<f64> = (0..self.legs())
            .filter_map(|leg| {
                let (r, along) = self.leg(room, leg)?;
                let width = match (self.points.get(leg), self.points.get(leg + 1)) {
                    (Some(from), Some(to)) => (to.at - from.at).max(1e-9),
                    _ => 1.0,
                };
                Some(width.ln() + room.likelihood(around, &r, along.as_deref()))
            })
            .collect();
        sum_of_exp(&logs)
    }

    /// The likeliest size, what it expects, and its likelihood.
    pub(super) fn peak(&self, room: &Room<'_>, around: &Covariance) -> (f64, Expected, f64) {
        let (leg, place, log) = self
            .nearest(room, around)
            .unwrap_or((0, 0.0, f64::NEG_INFINITY));
        let (_, size) = self.on(leg, place);
        let mean = match (self.points.get(leg), self.points.get(leg + 1)) {
            (Some(from), Some(to)) => {
                let pairs = from.mean.iter().zip(&to.mean);
                pairs.map(|(x, y)| x + place * (y - x)).collect()
            }
            (Some(from), None) => from.mean.clone(),
            _ => Vec::new(),
        };
        let (slope, own) = match &self.slopes {
            Some((slope, own)) => (slope.clone(), own.clone()),
            None => (room.sound.slope.clone(), room.sound.own.clone()),
        };
        (size, Expected { mean, slope, own }, log)
    }
}
