//! The state that repeats itself: mains ripple, a driven signal, an oscillator.
//!
//! Newton's method on the states at the beginning of a cycle (shooting; Aprille and Trick, Proc.
//! IEEE 60, 1972, from memory, not seen), so that bypass and supply capacitors need not be waited
//! for. The steps of the cycle are those that the accuracy asks for; their factors carry nudges
//! through it, eight side by side, and what it makes of a nudge of each state is the matrix of
//! Newton's equations. That is kept while the corrections shrink fast. What is driven is sought on few
//! steps first.

use nalgebra::linalg::Schur;
use nalgebra::{DMatrix, DVector};

use super::cycle::Cycle;
use super::stores::Sort;
use super::sweep::{End, Sweep, wave};
use super::{CYCLE_ACCURACY, Running, TimeError};
use crate::linear::Complex;

/// Cycles that are let run before the first correction, and between rounds.
const RUN_IN: u32 = 3;
/// Accuracy of those at most: they only have to come near.
const RUN_IN_ACCURACY: f64 = 1e-4;
/// Corrections of one round.
const MOST_CORRECTIONS: u32 = 12;
/// Rounds; between them the circuit is let run for longer.
const MOST_ROUNDS: u32 = 4;
/// The first corrections that find the steps of the cycle anew.
const GRIDS: u32 = 2;
/// A map of nudges serves again while each correction leaves no more than this part of the miss.
const KEPT_BELOW: f64 = 0.1;
/// A state repeats when it is within these of itself: volts or amperes, and as part of it.
const REPEATS: (f64, f64) = (1e-8, 1e-8);
/// A last correction is smaller than this part of the state (and of a volt, of a milliampere).
const MOVED: f64 = 1e-5;
/// Where the miss shrinks no more because an amplifier of much gain makes rounding large, a state
/// repeats within this many times as much.
const ROUNDED: f64 = 100.0;
/// A miss that is left with more than this part by a correction shrinks no more.
const STALLED: f64 = 0.2;
/// The last correction may then be this many times as large.
const ROUNDED_MOVE: f64 = 10.0;
/// An oscillator none of whose capacitors moves so far in a cycle, volts, is at rest.
const LEAST_SWING: f64 = 1e-3;

/// Asked now and then with the share that is done, 0 to 1; false stops the work.
pub type Watch<'a> = &'a mut dyn FnMut(f64) -> bool;

/// How well a state is to repeat, on which steps.
#[derive(Clone, Copy)]
struct Level {
    /// Error that a step may leave.
    accuracy: f64,
    /// Steps of a cycle, at least.
    least_steps: f64,
    /// Error of a cycle's unknowns within a stage, as part of their peak.
    stage: f64,
    /// How far the end may be from the beginning, in [`REPEATS`].
    off: f64,
    /// How large the last correction may be, in [`MOVED`].
    moved: f64,
}

/// What the figures are taken from. So many steps that a sum over them gives the tenth harmonic to a part in a
/// thousand.
const FINE: Level = Level {
    accuracy: CYCLE_ACCURACY,
    least_steps: 200.0,
    stage: 1e-10,
    off: 1.0,
    moved: 1.0,
};

/// What only has to come near.
const ROUGH: Level = Level {
    accuracy: 1e-3,
    least_steps: 40.0,
    stage: 1e-8,
    off: 1e4,
    moved: 10.0,
};

/// What is sought.
#[derive(Clone)]
struct Shot {
    x: Vec<f64>,
    states: Vec<f64>,
    period: f64,
}

/// A state that repeats on the steps of `grid`, which are parts of its period.
struct Repeating {
    shot: Shot,
    grid: Vec<f64>,
    /// What a cycle makes of nudges, as roots of their energy.
    map: DMatrix<f64>,
}

impl Running {
    /// The periodic state of a circuit that its sources drive: all of them must repeat
    /// after `period` seconds (a sine of a whole number of hertz does after 1 s). Starts from
    /// where the circuit is.
    ///
    /// # Errors
    /// [`TimeError::Stuck`] where a cycle could not be followed, [`TimeError::Unsettled`] when
    /// no state was found that repeats.
    pub fn cycle(self, period: f64) -> Result<Cycle, TimeError> {
        self.cycle_while(period, &mut |_| true)
    }

    /// As [`Running::cycle`], as long as `watch` says so.
    ///
    /// # Errors
    /// Besides those, [`TimeError::Stopped`].
    pub fn cycle_while(self, period: f64, watch: Watch<'_>) -> Result<Cycle, TimeError> {
        self.shoot(period, false, watch)
    }

    /// The periodic state of an oscillator that nothing drives, and its period. Starts from where the
    /// circuit is, which must be on its way: `period` is what its period is about.
    ///
    /// # Errors
    /// As [`Running::cycle`]; at rest it finds no state but rest, which is
    /// [`TimeError::Unsettled`] too.
    pub fn oscillation(self, period: f64) -> Result<Cycle, TimeError> {
        self.oscillation_while(period, &mut |_| true)
    }

    /// As [`Running::oscillation`], as long as `watch` says so.
    ///
    /// # Errors
    /// Besides those, [`TimeError::Stopped`].
    pub fn oscillation_while(self, period: f64, watch: Watch<'_>) -> Result<Cycle, TimeError> {
        self.shoot(period, true, watch)
    }

    fn shoot(mut self, period: f64, free: bool, watch: Watch<'_>) -> Result<Cycle, TimeError> {
        self.catch_up();
        if !(period > 0.0 && period.is_finite()) {
            return Err(TimeError::Length { seconds: period });
        }
        let mut shot_at = period;
        for round in 0..MOST_ROUNDS {
            let cycles = RUN_IN * (1 + 4 * round * round);
            let accuracy = self.accuracy;
            self.accuracy = accuracy.max(RUN_IN_ACCURACY);
            for _ in 0..cycles {
                if !watch(f64::from(round) / f64::from(MOST_ROUNDS)) {
                    return Err(TimeError::Stopped);
                }
                self.until(self.seconds + shot_at)?;
            }
            self.accuracy = accuracy;
            if free {
                shot_at = self.time_of_return(shot_at)?;
            }
            if let Some(found) = self.correct(shot_at, free, round, watch)? {
                return Ok(found);
            }
        }
        Err(TimeError::Unsettled {
            seconds: self.seconds,
        })
    }

    /// One round of corrections; none if they did not settle. First on few steps, from whose state and map of
    /// nudges the steps that the accuracy asks for need few corrections more.
    fn correct(
        &mut self,
        period: f64,
        free: bool,
        round: u32,
        watch: Watch<'_>,
    ) -> Result<Option<Cycle>, TimeError> {
        let began = Shot {
            x: self.x.clone(),
            states: self.states.clone(),
            period,
        };
        let roots = self.roots();
        let fine = if self.told {
            Level {
                accuracy: self.accuracy,
                ..FINE
            }
        } else {
            FINE
        };
        let mut ask = |share: f64| watch((f64::from(round) + share) / f64::from(MOST_ROUNDS));
        // An oscillator's first corrections move it along its own way, and with it where its cycle begins: it has
        // only steps as they are wanted.
        let rough = if free {
            None
        } else {
            let begin = began.clone();
            self.corrections(&ROUGH, begin, None, (free, &roots), &mut |share| {
                ask(0.5 * share)
            })?
        };
        let (shot, map) = match rough {
            Some(near) => (near.shot, Some(near.map)),
            None => (began, None),
        };
        let found = self.corrections(&fine, shot, map, (free, &roots), &mut |share| {
            ask(0.5 + 0.5 * share)
        })?;
        Ok(found.map(|at| self.finish(at.shot, &at.grid, &roots, free)))
    }

    /// Corrects `shot` until it repeats as well as `level` asks for; none if it did not. `map` is what a cycle makes of
    /// nudges, as far as that is known.
    fn corrections(
        &mut self,
        level: &Level,
        mut shot: Shot,
        map: Option<DMatrix<f64>>,
        (free, roots): (bool, &[f64]),
        ask: &mut dyn FnMut(f64) -> bool,
    ) -> Result<Option<Repeating>, TimeError> {
        let begin = self.seconds;
        let grids = if map.is_some() { 1 } else { GRIDS };
        // A map from elsewhere is trusted until a correction has shown what it is worth.
        let (mut before, mut shrank) = (f64::INFINITY, map.as_ref().map_or(f64::INFINITY, |_| 0.0));
        let mut map = map.unwrap_or_else(|| DMatrix::zeros(0, 0));
        let mut sweep = Sweep::default();
        let mut grid: Vec<f64> = Vec::new();
        let mut halved = false;
        for correction in 0..MOST_CORRECTIONS {
            if !ask(f64::from(correction) / f64::from(MOST_CORRECTIONS)) {
                return Err(TimeError::Stopped);
            }
            // The grid follows the first corrections; then it stays, so that they converge.
            if correction < grids && !halved {
                match self.grid(level, begin, &shot) {
                    Some(made) => grid = made,
                    None => return Ok(None),
                }
            }
            let within = self.stage_within(level);
            let (moving, room) = (&self.moving, &mut self.room);
            let steps: Vec<f64> = grid.iter().map(|part| part * shot.period).collect();
            let from = (&shot.x[..], &shot.states[..]);
            // A map that shrank the last miss well enough serves once more, on whatever grid.
            let keeping = map.is_empty() || shrank > KEPT_BELOW;
            let keep = keeping.then_some(&mut sweep);
            let Some(end) = wave(moving, room, (begin, &steps), from, &within, keep, None) else {
                if halved {
                    return Ok(None);
                }
                halved = true;
                grid = grid.iter().flat_map(|part| [0.5 * part; 2]).collect();
                continue;
            };
            if free && !self.swings(&end.rates, shot.period) {
                return Err(TimeError::Unsettled { seconds: begin });
            }
            let off = self.off(&shot.states, &end.states);
            if keeping {
                map = scaled(sweep.carried(&self.moving), roots);
            }
            let miss = apart(&shot.states, &end.states, roots);
            (before, shrank) = (miss, miss / before);
            let Some(moved) = self.newton(&mut shot, &end, &map, roots, free) else {
                return Ok(None);
            };
            let stalled = correction > GRIDS && shrank > STALLED;
            let there = (off <= level.off && moved <= level.moved)
                || (stalled && off <= ROUNDED * level.off && moved <= ROUNDED_MOVE * level.moved);
            // What creeps, a core or a large capacitor, hardly misses however far it is off: so
            // the correction has to be small too.
            if there && correction > 0 {
                return Ok(Some(Repeating { shot, grid, map }));
            }
        }
        Ok(None)
    }

    /// Moves the beginning of the cycle so that its end meets it, and says how far, 1 being a small move. None
    /// where the equations have no answer. `map` is what the cycle makes of nudges, scaled by `roots`.
    fn newton(
        &self,
        shot: &mut Shot,
        end: &End,
        map: &DMatrix<f64>,
        roots: &[f64],
        free: bool,
    ) -> Option<f64> {
        let moving = &self.moving;
        let count = roots.len();
        let size = if free { count + 1 } else { count };
        let mut equations = DMatrix::identity(size, size);
        for (column, own) in map.column_iter().enumerate() {
            for (row, value) in own.iter().enumerate() {
                equations[(row, column)] -= value;
            }
        }
        let mut right = DVector::zeros(size);
        let states = end.states.iter().zip(&shot.states).zip(roots);
        for (slot, ((end, begin), root)) in right.iter_mut().zip(states) {
            *slot = (end - begin) * root;
        }
        // An oscillator's beginning stays where it is along its own way, and the period moves.
        let way: Vec<f64> = end
            .rates
            .iter()
            .zip(roots)
            .map(|(v, root)| v * root)
            .collect();
        let speed = way.iter().map(|v| v * v).sum::<f64>().sqrt();
        if free {
            for (at, way) in way.iter().enumerate() {
                equations[(at, count)] = -way / speed;
                equations[(count, at)] = way / speed;
            }
            equations[(count, count)] = 0.0;
        }
        let found = equations.lu().solve(&right)?;
        if found.iter().any(|by| !by.is_finite()) {
            return None;
        }
        let mut far = 0.0_f64;
        let stores = moving.stores.iter().zip(&mut shot.states);
        for ((store, state), (by, root)) in stores.zip(found.iter().zip(roots)) {
            let by = by / root;
            let least = match store.sort {
                Sort::Capacitor { .. } => MOVED,
                Sort::Coil { .. } => 1e-3 * MOVED,
            };
            far = far.max(by.abs() / (least + MOVED * state.abs()));
            *state += by;
        }
        if free {
            let later = found[count] / speed;
            shot.period += later.clamp(-0.2 * shot.period, 0.2 * shot.period);
        }
        shot.x.clone_from(&end.x);
        Some(far)
    }

    /// What makes the square of a state twice its energy.
    fn roots(&self) -> Vec<f64> {
        let stores = self.moving.stores.iter();
        stores.map(|store| store.sort.size().sqrt()).collect()
    }

    fn stage_within(&self, level: &Level) -> Vec<f64> {
        let peaks = self.peaks.iter();
        peaks.map(|peak| level.stage * (peak + 0.1)).collect()
    }

    /// How far the end is from the beginning, 1 being what counts as the same.
    fn off(&self, begin: &[f64], end: &[f64]) -> f64 {
        let both = begin.iter().zip(end);
        both.map(|(a, b)| (a - b).abs() / (REPEATS.0 + REPEATS.1 * a.abs()))
            .fold(0.0, f64::max)
    }

    /// Does anything move to speak of within a cycle?
    fn swings(&self, rates: &[f64], period: f64) -> bool {
        let mut both = self.moving.stores.iter().zip(rates);
        both.any(|(store, rate)| {
            matches!(store.sort, Sort::Capacitor { .. }) && rate.abs() * period > LEAST_SWING
        })
    }

    /// The steps, as parts of the period, that the level's accuracy asks for from this beginning.
    fn grid(&mut self, level: &Level, begin: f64, shot: &Shot) -> Option<Vec<f64>> {
        let mut run = self.clone();
        run.x.clone_from(&shot.x);
        run.states.clone_from(&shot.states);
        run.seconds = begin;
        run.accuracy = level.accuracy;
        run.longest = shot.period / level.least_steps;
        run.next = self.next.min(run.longest);
        let mut steps = Vec::new();
        let went = run.until_seeing(begin + shot.period, &mut |_, h| {
            steps.push(h);
            true
        });
        // its work is this circuit's
        self.room.count = run.room.count;
        went.ok()?;
        let whole: f64 = steps.iter().sum();
        Some(steps.iter().map(|h| h / whole).collect())
    }

    /// How long the circuit takes to come back near to where it is, about `period` from now.
    fn time_of_return(&self, period: f64) -> Result<f64, TimeError> {
        let mut run = self.clone();
        let roots = self.roots();
        let mut best = (f64::INFINITY, period);
        run.until(self.seconds + 0.5 * period)?;
        for step in 0..200 {
            run.until(self.seconds + period * (0.5 + f64::from(step) / 200.0))?;
            let pairs = run.states.iter().zip(&self.states).zip(&roots);
            let far: f64 = pairs.map(|((a, b), r)| ((a - b) * r).powi(2)).sum();
            if far < best.0 {
                best = (far, run.seconds - self.seconds);
            }
        }
        Ok(best.1)
    }

    /// Goes through the cycle that was found once more and looks at all of it.
    fn finish(&mut self, shot: Shot, grid: &[f64], roots: &[f64], free: bool) -> Cycle {
        let begin = self.seconds;
        let within = self.stage_within(&FINE);
        let steps: Vec<f64> = grid.iter().map(|part| part * shot.period).collect();
        let from = (&shot.x[..], &shot.states[..]);
        let mut sweep = Sweep::default();
        let mut cycle = Cycle::new(&self.netlist, begin, shot.period);
        let (netlist, moving, room) = (&self.netlist, &self.moving, &mut self.room);
        let mut witness = |seconds: f64, weight: f64, x: &[f64], amps: &[f64]| {
            cycle.see(netlist, moving, (seconds, weight), x, amps);
        };
        let see = Some(&mut witness as super::sweep::Witness<'_>);
        let keep = Some(&mut sweep);
        let end = wave(moving, room, (begin, &steps), from, &within, keep, see);
        let mut multipliers = largest(scaled(sweep.carried(moving), roots));
        if free {
            // the one along its own way is always there, and says nothing
            let one = |v: &Complex| (*v - Complex::new(1.0, 0.0)).abs();
            let nearest = (0..multipliers.len())
                .min_by(|&a, &b| one(&multipliers[a]).total_cmp(&one(&multipliers[b])));
            if let Some(nearest) = nearest {
                multipliers.remove(nearest);
            }
        }
        // The beginning is the end of the cycle before.
        self.x = end.map_or(shot.x, |end| end.x);
        self.states = shot.states;
        self.twice.forget();
        self.seconds = begin;
        cycle.closes(self.clone(), multipliers);
        cycle
    }
}

/// A map of states as one of their roots of energy.
fn scaled(mut map: DMatrix<f64>, roots: &[f64]) -> DMatrix<f64> {
    for (mut column, from) in map.column_iter_mut().zip(roots) {
        for (value, to) in column.iter_mut().zip(roots) {
            *value *= to / from;
        }
    }
    map
}

/// How far two sets of states are apart, root of energy.
fn apart(a: &[f64], b: &[f64], roots: &[f64]) -> f64 {
    let each = a.iter().zip(b).zip(roots);
    let sum: f64 = each.map(|((a, b), root)| ((a - b) * root).powi(2)).sum();
    sum.sqrt()
}

/// Eigenvalues of a map, largest first; none where it holds no numbers.
fn largest(map: DMatrix<f64>) -> Vec<Complex> {
    if map.is_empty() || map.iter().any(|v| !v.is_finite()) {
        return Vec::new();
    }
    let Some(schur) = Schur::try_new(map, f64::EPSILON, 100_000) else {
        return Vec::new();
    };
    let found = schur.complex_eigenvalues();
    let mut found: Vec<Complex> = found.iter().map(|v| Complex::new(v.re, v.im)).collect();
    found.sort_by(|a, b| {
        let size = b.abs().total_cmp(&a.abs());
        size.then(b.re.total_cmp(&a.re)).then(b.im.total_cmp(&a.im))
    });
    found
}
