//! One frequency, level after level: up until it clips, then back to the limit that was asked for.

use crate::driven::{Bench, Driven, Watch};
use serde::Serialize;
use solve::time::TimeError;

/// Watts of the first, quiet level.
const QUIET_WATTS: f64 = 0.05;
/// From one level to the next: 3 dB, and twice that where it is still far from clipping.
const STEP: f64 = std::f64::consts::SQRT_2;
/// Below this part of the limit's distortion it is far from clipping.
const FAR: f64 = 0.1;
/// Levels on the way up, at most.
const MOST_LEVELS: usize = 16;
/// Distortion at which the way up ends: far into clipping.
const CLIPPED: f64 = 0.15;
/// The limit is found when its distortion is this near, as part of it.
const NEAR: f64 = 0.03;
/// Levels that the search for the limit may take.
const MOST_SEARCHED: usize = 8;
/// Orders that are listed by themselves.
const ORDERS: u32 = 7;
/// A nudge that grows slower than this swings at the pace of a tremolo, hertz.
const TREMOLO_HERTZ: f64 = 30.0;

/// One level.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Level {
    /// Frequency, hertz.
    pub hertz: f64,
    /// Volts rms at the jack.
    pub volts: f64,
    /// Watts in all loudspeakers, harmonics with them.
    pub watts: f64,
    /// Volts rms at the first loudspeaker.
    pub output_volts: f64,
    /// Orders 2 to 20 over the first, a ratio.
    pub distortion: f64,
    /// Orders 2 to 7 over the first, ratios.
    pub harmonics: Vec<f64>,
    /// A nudge grows: it oscillates besides, at about so many hertz.
    pub oscillates_hz: Option<f64>,
}

/// The levels of one frequency.
pub(super) struct Search<'a> {
    bench: &'a Bench,
    hertz: f64,
    seen: Vec<(Level, Driven)>,
}

impl<'a> Search<'a> {
    pub(super) fn new(bench: &'a Bench, hertz: f64) -> Self {
        Self {
            bench,
            hertz,
            seen: Vec::new(),
        }
    }

    /// Everything that was looked at, the quietest first.
    pub(super) fn levels(&self) -> Vec<Level> {
        let mut all: Vec<Level> = self.seen.iter().map(|s| s.0.clone()).collect();
        all.sort_by(|a, b| a.volts.total_cmp(&b.volts));
        all
    }

    /// One level, by itself.
    pub(super) fn at(
        &mut self,
        volts: f64,
        near: Option<&Driven>,
        go: Watch<'_>,
    ) -> Result<(Level, Driven), TimeError> {
        let driven = self.bench.drive(volts, self.hertz, near, go)?;
        let (a, b) = self.bench.loads.first().map_or((0, 0), |l| l.ends);
        let cycle = &driven.cycle;
        let fundamental = cycle.harmonic(a, b, 1).abs();
        let level = Level {
            hertz: self.hertz,
            volts,
            watts: self.bench.watts(&driven),
            output_volts: cycle.rms_volts(a, b),
            distortion: cycle.distortion(a, b),
            harmonics: (2..=ORDERS)
                .map(|order| cycle.harmonic(a, b, order).abs() / fundamental)
                .collect(),
            oscillates_hz: (!cycle.stable())
                .then(|| cycle.multipliers().first().map(|m| swing(*m, self.hertz)))
                .flatten()
                .filter(|hertz| *hertz > TREMOLO_HERTZ),
        };
        Ok((level, driven))
    }

    /// Up in steps of 3 dB, until it clips.
    pub(super) fn up(&mut self, clean: f64, go: Watch<'_>) -> Result<(), TimeError> {
        let ohms = self.bench.loads.first().map_or(8.0, |l| l.ohms);
        let mut volts = (QUIET_WATTS * ohms).sqrt() / self.bench.gain(self.hertz).max(1e-9);
        for _ in 0..MOST_LEVELS {
            let near = self.seen.last().map(|s| s.1.clone());
            let next = self.at(volts, near.as_ref(), go)?;
            let done = next.0.distortion > CLIPPED.max(2.0 * clean);
            let far = next.0.distortion < FAR * clean;
            self.seen.push(next);
            if done {
                break;
            }
            volts *= if far { STEP * STEP } else { STEP };
        }
        Ok(())
    }

    /// The loudest level within the limit; the distortion rises through it there for the last time.
    pub(super) fn clean(
        &mut self,
        limit: f64,
        go: Watch<'_>,
    ) -> Result<Option<(Level, Driven)>, TimeError> {
        let Some(last) = self.seen.iter().rposition(|s| s.0.distortion <= limit) else {
            return Ok(None);
        };
        let (mut low, mut high) = (last, last + 1);
        if high >= self.seen.len() {
            // it never came to the limit: the loudest there is
            return Ok(self.seen.get(last).map(|s| (s.0.clone(), s.1.clone())));
        }
        for _ in 0..MOST_SEARCHED {
            let (a, b) = (&self.seen[low].0, &self.seen[high].0);
            if (a.distortion / limit - 1.0).abs() <= NEAR || b.volts / a.volts < 1.001 {
                break;
            }
            let volts = between(a, b, limit);
            let near = self.seen[low].1.clone();
            let next = self.at(volts, Some(&near), go)?;
            let within = next.0.distortion <= limit;
            self.seen.push(next);
            let new = self.seen.len() - 1;
            if within { low = new } else { high = new }
        }
        Ok(self.seen.get(low).map(|s| (s.0.clone(), s.1.clone())))
    }

    /// The same where the limit of another frequency is known.
    pub(super) fn clean_near(
        &mut self,
        other: &Level,
        limit: f64,
        go: Watch<'_>,
    ) -> Result<Option<Level>, TimeError> {
        let gain = self.bench.gain(self.hertz);
        let mut volts = other.volts * self.bench.gain(other.hertz) / gain.max(1e-9);
        // bracket it in steps of 3 dB
        let first = self.at(volts, None, go)?;
        let down = first.0.distortion > limit;
        self.seen.push(first);
        for _ in 0..MOST_SEARCHED {
            volts = if down { volts / STEP } else { volts * STEP };
            let near = self.seen.last().map(|s| s.1.clone());
            let next = self.at(volts, near.as_ref(), go)?;
            let crossed = (next.0.distortion > limit) != down;
            self.seen.push(next);
            if crossed {
                break;
            }
        }
        self.seen.sort_by(|a, b| a.0.volts.total_cmp(&b.0.volts));
        Ok(self.clean(limit, go)?.map(|found| found.0))
    }
}

/// What a multiplier of a cycle swings at, hertz: the slowest that gives it.
fn swing(multiplier: solve::linear::Complex, hertz: f64) -> f64 {
    multiplier.angle().abs() / std::f64::consts::TAU * hertz
}

/// Where a line through both, distortion over level in decibels, meets the limit; kept off the ends.
fn between(a: &Level, b: &Level, limit: f64) -> f64 {
    let (la, lb) = (a.volts.ln(), b.volts.ln());
    let (da, db) = (a.distortion.max(1e-9).ln(), b.distortion.max(1e-9).ln());
    let share = if db > da {
        (limit.ln() - da) / (db - da)
    } else {
        0.5
    };
    (la + share.clamp(0.1, 0.9) * (lb - la)).exp()
}
