//! Steps of one length, and steps of any length.

use super::build::{Emf, Moving, PairLaw};
use super::gains::Gains;
use super::rules::{EVEN, FREE, Rule};
use super::stage::Room;
use super::twice::Told;
use super::{Running, TimeError, Watch};

/// First step after the beginning or a jump, seconds.
const FIRST: f64 = 1e-8;
/// Least step as part of the time that has passed, and seconds.
const LEAST: (f64, f64) = (1e-14, 1e-15);
/// Steps in a cycle of the fastest sine, at least.
const CYCLE_STEPS: f64 = 16.0;
/// How near to its striking or holding volts a glow lamp's step must end, volts.
const STRIKES_WITHIN: f64 = 0.01;
/// Steps between two questions whether to go on.
const ASKED_EVERY: u32 = 64;
/// How often one step of fixed length may be halved.
const MOST_HALVINGS: u32 = 24;

/// A step that was computed and does not count yet.
#[derive(Debug, Clone, Default)]
pub(super) struct Trial {
    pub(super) x: Vec<f64>,
    pub(super) states: Vec<f64>,
    pub(super) amps: Vec<f64>,
    /// Largest error over what is allowed; 0 where the rule has no estimate.
    pub(super) error: f64,
    base: Vec<f64>,
    rates: Vec<Vec<f64>>,
    /// Where the stages are sought.
    pub(super) gains: Gains,
}

impl Trial {
    /// Rates of the stores at the step's end.
    pub(super) fn last_rates(&self) -> &[f64] {
        self.rates.last().map_or(&[], |rates| &rates[..])
    }
}

/// Is shown the end of each stage: its number, the unknowns, the stores' amperes, the room.
pub(super) type Look<'a> = &'a mut dyn FnMut(usize, &[f64], &[f64], &Room);

/// Computes one step of `rule` from `(seconds, x, states)` over `h` seconds.
#[allow(
    clippy::too_many_arguments,
    reason = "the state of a step has as many parts"
)]
pub(super) fn attempt(
    moving: &Moving,
    room: &mut Room,
    rule: &Rule,
    (seconds, h): (f64, f64),
    (x, states): (&[f64], &[f64]),
    within: &[f64],
    trial: &mut Trial,
    mut look: Option<Look<'_>>,
) -> bool {
    let stages = rule.stages();
    trial.rates.resize(stages, Vec::new());
    for rates in &mut trial.rates {
        rates.resize(states.len(), 0.0);
    }
    trial.base.resize(states.len(), 0.0);
    trial.amps.resize(states.len(), 0.0);
    trial.x.clear();
    trial.x.extend_from_slice(x);
    let own = rule.gamma * h;
    moving.prepare(room, own);
    // whoever looks at a stage is to find its own slopes
    room.held.want(look.is_none(), !rule.error.is_empty());
    trial.gains.begin(seconds, h, stages);
    let mut before = 0.0;
    for stage in 0..stages {
        trial.base.copy_from_slice(states);
        for (share, rates) in rule.shares[stage].iter().zip(&trial.rates) {
            for (base, rate) in trial.base.iter_mut().zip(rates) {
                *base += h * share * rate;
            }
        }
        let at = rule.times[stage];
        if !trial.gains.guess(stage, &mut trial.x) && before > 0.0 {
            // on along the line from the step's beginning through the last stage
            for (now, &from) in trial.x.iter_mut().zip(x) {
                *now = from + at / before * (*now - from);
            }
        }
        before = at;
        if !moving.settle(room, seconds + at * h, &trial.base, &mut trial.x, within) {
            return false;
        }
        trial.gains.found(stage, &trial.x);
        let rates = &mut trial.rates[stage];
        moving.rates(room, &trial.base, &trial.x, &mut trial.amps, rates);
        if let Some(look) = look.as_mut() {
            look(stage, &trial.x, &trial.amps, room);
        }
    }
    trial.states.clear();
    let last = trial.rates.last().map_or(&[][..], |rates| &rates[..]);
    let ends = trial
        .base
        .iter()
        .zip(last)
        .map(|(base, rate)| base + own * rate);
    trial.states.extend(ends);
    trial.error = 0.0;
    if !rule.error.is_empty() {
        let mut misses = vec![0.0; states.len()];
        for (share, rates) in rule.error.iter().zip(&trial.rates) {
            for (miss, rate) in misses.iter_mut().zip(rates) {
                *miss += h * share * rate;
            }
        }
        // What the circuit makes of that miss within two stages: stiff parts forget theirs, in
        // which the inner rule, which is not stiffly accurate, is much worse than the rule itself.
        let misses = moving.carried(room, &misses);
        let seen = moving.straight(room, &misses);
        for (miss, within) in seen.iter().zip(within).take(moving.nodes).skip(1) {
            trial.error = trial.error.max(miss.abs() / within);
        }
    }
    true
}

impl Running {
    /// Goes on to `seconds`, in steps as long as the accuracy allows, and lands there exactly.
    ///
    /// # Errors
    /// [`TimeError::Stuck`] when no step is short enough; everything is then as it was at the
    /// end of the last step that was.
    pub fn until(&mut self, seconds: f64) -> Result<(), TimeError> {
        self.until_seeing(seconds, &mut |_, _| true)
    }

    /// As [`Running::until`], as long as `watch` says so; it is asked every few steps with the
    /// share of the time that is done.
    ///
    /// # Errors
    /// Besides that, [`TimeError::Stopped`]: everything is as it was at the last step.
    pub fn until_while(&mut self, seconds: f64, watch: Watch<'_>) -> Result<(), TimeError> {
        let (begin, mut steps) = (self.seconds, 0_u32);
        self.until_seeing(seconds, &mut |now, _| {
            steps = steps.wrapping_add(1);
            steps % ASKED_EVERY != 0 || watch((now - begin) / (seconds - begin))
        })
    }

    /// As [`Running::until`], showing each step: the time at its end, and its length.
    pub(super) fn until_seeing(
        &mut self,
        seconds: f64,
        see: &mut dyn FnMut(f64, f64) -> bool,
    ) -> Result<(), TimeError> {
        let longest = self.longest_step();
        while self.seconds < seconds {
            let longest = longest.min(self.moving.pace(self.seconds));
            let left = seconds - self.seconds;
            let wanted = self.next.min(longest);
            let mut h = wanted.min(left);
            if left > h && left < 1.5 * h {
                h = 0.5 * left;
            }
            let asked = h;
            h = self.one(h)?;
            if asked == left && h == left {
                self.seconds = seconds;
            }
            // a step that was cut to land says nothing about the next
            if h == asked && asked < wanted {
                self.next = self.next.max(wanted);
            }
            if !see(self.seconds, h) {
                return Err(TimeError::Stopped);
            }
        }
        Ok(())
    }

    /// One step of at most `h` seconds; returns how long it was.
    fn one(&mut self, mut h: f64) -> Result<f64, TimeError> {
        self.catch_up();
        let mut trial = std::mem::take(&mut self.trial);
        let mut rejected = false;
        let done = loop {
            if h < LEAST.0 * self.seconds.abs() + LEAST.1 {
                break Err(TimeError::Stuck {
                    seconds: self.seconds,
                });
            }
            self.set_within();
            let found = attempt(
                &self.moving,
                &mut self.room,
                &FREE,
                (self.seconds, h),
                (&self.x, &self.states),
                &self.within,
                &mut trial,
                None,
            );
            if !found || !trial.error.is_finite() {
                h *= 0.25;
            } else if trial.error > 1.0 {
                h *= (0.9 * trial.error.powf(-0.25)).clamp(0.1, 0.8);
            } else if let Some(part) = self.strikes_early(&trial.x, h) {
                h *= part;
            } else {
                break Ok(h);
            }
            rejected = true;
            self.room.count.rejected += 1;
        };
        if let Ok(h) = done {
            let longer = (0.9 * trial.error.max(1e-6).powf(-0.25)).clamp(0.3, 5.0);
            self.next = h * if rejected { longer.min(1.0) } else { longer };
            self.twice.forget();
            self.take(&mut trial, h);
        }
        self.trial = trial;
        done
    }

    /// Goes on by `seconds` in one step of the second-order rule, while the sources named in
    /// `drives` (element, volts) move in a straight line from where they are to these volts.
    ///
    /// For sound, at a fixed rate: the error of a step goes with its square, and nobody watches
    /// it. A step that Newton's method does not manage is made in halves.
    ///
    /// # Errors
    /// [`TimeError::Stuck`] when no halving helps, [`TimeError::NoSource`] for an element that is no source.
    pub fn step(&mut self, seconds: f64, drives: &[(usize, f64)]) -> Result<(), TimeError> {
        if !(seconds > 0.0 && seconds.is_finite()) {
            return Err(TimeError::Length { seconds });
        }
        for &(element, to) in drives {
            self.ramp(element, to, seconds)?;
        }
        self.twice.forget();
        let end = self.seconds + seconds;
        self.even(seconds, 0)?;
        self.seconds = end;
        Ok(())
    }

    /// Goes on by two steps of `seconds` each, while the sources named in `drives` (element, volts) stand at these volts at
    /// the end of the first step and of the second. Returns the volts of all nodes at the end of the first.
    ///
    /// For sound, where it takes half the time of two single steps: both ends are sought at once, by an L-stable rule of third
    /// order, for which what the sources do in between is the parabola through where they stand. After a jump, and where
    /// Newton's method does not manage it, or a glow lamp strikes or a cathode warms, two single steps are made.
    ///
    /// # Errors
    /// As [`Running::step`].
    pub fn two_steps(
        &mut self,
        seconds: f64,
        drives: &[(usize, [f64; 2])],
    ) -> Result<&[f64], TimeError> {
        if !(seconds > 0.0 && seconds.is_finite()) {
            return Err(TimeError::Length { seconds });
        }
        for &(element, _) in drives {
            self.source(element)?;
        }
        self.twice.begin(seconds);
        if !self.pair_of_steps(seconds, drives) {
            for end in 0..2 {
                for &(element, to) in drives {
                    self.ramp(element, to[end], seconds)?;
                }
                let until = self.seconds + seconds;
                self.even(seconds, 0)?;
                self.seconds = until;
                if end == 0 {
                    self.midway.clone_from(&self.x);
                }
                self.twice.passed(&self.x);
            }
            self.twice
                .goes_on_from(&self.states, self.trial.last_rates());
        }
        Ok(&self.midway[..self.moving.nodes])
    }

    /// Two steps at once; false, and nothing has changed, if that does not do.
    fn pair_of_steps(&mut self, h: f64, drives: &[(usize, [f64; 2])]) -> bool {
        let looks = self.twice.looks();
        if looks {
            self.set_within();
            self.twice.look(&self.moving, &self.within);
        }
        let ends = [self.seconds + h, self.seconds + 2.0 * h];
        let moving = &self.moving;
        let emf = |at: usize| {
            let source = &moving.sources[at];
            let driven = drives
                .iter()
                .find(|(element, _)| *element == source.element);
            driven.map_or_else(|| ends.map(|end| source.emf.at(end)), |(_, volts)| *volts)
        };
        let begin = (self.seconds, h);
        self.midway.resize(self.x.len(), 0.0);
        self.ahead.resize(self.x.len(), 0.0);
        let told = Told {
            midway: &mut self.midway,
            end: &mut self.ahead,
        };
        let count = &mut self.room.count;
        if !self.twice.attempt(moving, begin, emf, told, count) {
            return false;
        }
        self.behind = true;
        std::mem::swap(&mut self.x, &mut self.ahead);
        for source in &mut self.moving.sources {
            let driven = drives
                .iter()
                .find(|(element, _)| *element == source.element);
            if let Some((_, [_, volts])) = driven {
                source.emf = Emf::Steady(*volts);
            }
        }
        self.seconds = ends[1];
        self.room.count.steps += 2;
        // the single steps' own past is older than this
        self.trial.gains.forget();
        if looks {
            let seen = self.midway.iter().zip(&self.x);
            for (peak, (first, second)) in self.peaks.iter_mut().zip(seen) {
                *peak = peak.max(first.abs()).max(second.abs());
            }
        }
        true
    }

    fn even(&mut self, h: f64, halvings: u32) -> Result<(), TimeError> {
        self.catch_up();
        let mut trial = std::mem::take(&mut self.trial);
        self.set_within();
        let found = attempt(
            &self.moving,
            &mut self.room,
            &EVEN,
            (self.seconds, h),
            (&self.x, &self.states),
            &self.within,
            &mut trial,
            None,
        );
        if found {
            self.take(&mut trial, h);
            self.trial = trial;
            return Ok(());
        }
        self.trial = trial;
        self.room.count.rejected += 1;
        if halvings == MOST_HALVINGS {
            return Err(TimeError::Stuck {
                seconds: self.seconds,
            });
        }
        self.even(0.5 * h, halvings + 1)?;
        self.even(0.5 * h, halvings + 1)
    }

    /// Makes a computed step count.
    fn take(&mut self, trial: &mut Trial, h: f64) {
        std::mem::swap(&mut self.x, &mut trial.x);
        std::mem::swap(&mut self.states, &mut trial.states);
        std::mem::swap(&mut self.amps, &mut trial.amps);
        self.seconds += h;
        self.room.count.steps += 1;
        for (peak, volts) in self.peaks.iter_mut().zip(&self.x) {
            *peak = peak.max(volts.abs());
        }
        trial.gains.count();
        let mut struck = false;
        for pair in &mut self.moving.bent.pairs {
            if let PairLaw::Neon(law) = pair.law {
                let lit = law.lit_after(self.x[pair.a] - self.x[pair.b], pair.lit);
                struck |= lit != pair.lit;
                pair.lit = lit;
            }
        }
        if struck {
            trial.gains.forget();
            self.jumped();
        }
    }

    /// If a glow lamp strikes or goes out within a step that ends at `x`, well past its volts:
    /// the part of the step at which it does.
    fn strikes_early(&self, x: &[f64], h: f64) -> Option<f64> {
        let mut first: Option<f64> = None;
        for pair in &self.moving.bent.pairs {
            let PairLaw::Neon(law) = pair.law else {
                continue;
            };
            let (from, to) = (self.x[pair.a] - self.x[pair.b], x[pair.a] - x[pair.b]);
            if law.lit_after(to, pair.lit) == pair.lit {
                continue;
            }
            let limit = if pair.lit { law.hold } else { law.strike };
            let (from, to) = (from.abs(), to.abs());
            if (to - limit).abs() > STRIKES_WITHIN && h > FIRST {
                let part = ((limit - from) / (to - from)).clamp(0.05, 0.95);
                first = Some(first.map_or(part, |f| f.min(part)));
            }
        }
        first
    }

    /// After something jumped, steps begin short.
    pub(super) fn jumped(&mut self) {
        self.trial.gains.forget();
        self.twice.forget();
        self.next = FIRST;
    }

    fn longest_step(&self) -> f64 {
        let fastest =
            self.moving
                .sources
                .iter()
                .fold(0.0_f64, |fastest, source| match source.emf {
                    Emf::Sine { peak, hertz } if peak != 0.0 => fastest.max(hertz),
                    _ => fastest,
                });
        if fastest > 0.0 {
            self.longest.min(1.0 / (CYCLE_STEPS * fastest))
        } else {
            self.longest
        }
    }

    /// What error each node's volts may have.
    fn set_within(&mut self) {
        for (within, peak) in self.within.iter_mut().zip(&self.peaks) {
            *within = self.accuracy * (peak + super::FLOOR_VOLTS);
        }
    }
}
