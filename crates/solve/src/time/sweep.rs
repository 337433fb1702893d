//! One cycle on a fixed grid of steps: the wave itself, and what it makes of a nudge.

use nalgebra::DMatrix;

use super::advance::{Trial, attempt};
use super::build::Moving;
use super::rules::FREE;
use super::stage::Room;
use super::stores::Branch;
use crate::lanes::{Work, widely};
use crate::linear::Factors;

/// What one step left behind to carry nudges with.
struct Kept {
    h: f64,
    branches: Vec<Branch>,
    factors: Vec<Factors<f64>>,
}

/// A cycle's steps, ready to carry a nudge from its beginning to its end.
#[derive(Default)]
pub(super) struct Sweep {
    steps: Vec<Kept>,
}

/// The end of a cycle.
pub(super) struct End {
    pub(super) x: Vec<f64>,
    pub(super) states: Vec<f64>,
    /// How fast the states move there.
    pub(super) rates: Vec<f64>,
}

/// Is shown each stage of a cycle: seconds, its weight in a mean over time, unknowns, amperes.
pub(super) type Witness<'a> = &'a mut dyn FnMut(f64, f64, &[f64], &[f64]);

/// Goes through a cycle that begins at `seconds` in the steps of `grid`. None where a step was
/// not managed.
pub(super) fn wave(
    moving: &Moving,
    room: &mut Room,
    (seconds, grid): (f64, &[f64]),
    (x, states): (&[f64], &[f64]),
    within: &[f64],
    mut keep: Option<&mut Sweep>,
    mut witness: Option<Witness<'_>>,
) -> Option<End> {
    let mut trial = Trial::default();
    let (mut x, mut states) = (x.to_vec(), states.to_vec());
    let mut rates = vec![0.0; states.len()];
    let mut at = seconds;
    if let Some(sweep) = keep.as_mut() {
        sweep.steps.clear();
    }
    for &h in grid {
        let mut factors = Vec::new();
        let keeping = keep.is_some();
        let mut look = |stage: usize, x: &[f64], amps: &[f64], room: &Room| {
            if keeping {
                factors.push(room.factors.kept());
            }
            if let Some(witness) = witness.as_mut() {
                let weight = h * FREE.weight(stage);
                witness(at + h * FREE.times[stage], weight, x, amps);
            }
        };
        let begin = (at, h);
        if !attempt(
            moving,
            room,
            &FREE,
            begin,
            (&x, &states),
            within,
            &mut trial,
            Some(&mut look),
        ) {
            return None;
        }
        if let Some(sweep) = keep.as_mut() {
            sweep.steps.push(Kept {
                h,
                branches: room.branches.clone(),
                factors,
            });
        }
        std::mem::swap(&mut x, &mut trial.x);
        std::mem::swap(&mut states, &mut trial.states);
        rates.copy_from_slice(trial.last_rates());
        trial.gains.count();
        at += h;
    }
    Some(End { x, states, rates })
}

/// Nudges that go through a cycle side by side.
const LANES: usize = 8;
type Lanes = [f64; LANES];

/// Parts of a cycle after which dead nudges are let go.
const LOOKED_AT: [f64; 5] = [0.02, 0.08, 0.2, 0.5, 1.0];
/// A nudge is dead when so little of the root of its energy is left.
const DEAD: f64 = 1e-8;

impl Sweep {
    /// What a nudge of each state at the beginning makes of all states at the end: a row for
    /// each state at the end, a column for each at the beginning. A nudge that has died on the way, as stray picofarads'
    /// do, is carried no further.
    pub(super) fn carried(&self, moving: &Moving) -> DMatrix<f64> {
        let count = moving.stores.len();
        let roots: Vec<f64> = moving.stores.iter().map(|s| s.sort.size().sqrt()).collect();
        let mut matrix = DMatrix::identity(count, count);
        let mut rooms: Vec<CarryRoom> = Vec::new();
        let mut alive: Vec<usize> = (0..count).collect();
        let mut begin = 0;
        for part in LOOKED_AT {
            let end = (part * self.steps.len() as f64).round() as usize;
            rooms.resize_with(alive.len().div_ceil(LANES), || CarryRoom::new(moving));
            for (room, columns) in rooms.iter_mut().zip(alive.chunks(LANES)) {
                for (row, state) in room.now.iter_mut().enumerate() {
                    *state = [0.0; LANES];
                    for (slot, &column) in state.iter_mut().zip(columns) {
                        *slot = matrix[(row, column)];
                    }
                }
            }
            widely(Carry {
                steps: &self.steps[begin..end],
                moving,
                rooms: &mut rooms,
            });
            for (room, columns) in rooms.iter().zip(alive.chunks(LANES)) {
                for (row, state) in room.now.iter().enumerate() {
                    for (value, &column) in state.iter().zip(columns) {
                        matrix[(row, column)] = *value;
                    }
                }
            }
            begin = end;
            alive.retain(|&column| {
                let mut own = matrix.column_mut(column);
                let each = own.iter().zip(&roots).map(|(v, root)| (v * root).powi(2));
                let dead = each.sum::<f64>().sqrt() <= DEAD * roots[column];
                if dead {
                    own.fill(0.0);
                }
                !dead
            });
        }
        matrix
    }
}

/// Carries all nudges through some steps: each step's factors are fetched from memory once.
struct Carry<'a> {
    steps: &'a [Kept],
    moving: &'a Moving,
    rooms: &'a mut [CarryRoom],
}

impl Work for Carry<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        for step in self.steps {
            for room in &mut *self.rooms {
                step.carry(self.moving, room);
            }
        }
    }
}

/// Room to carry nudges in.
struct CarryRoom {
    now: Vec<Lanes>,
    base: Vec<Lanes>,
    x: Vec<Lanes>,
    work: Vec<Lanes>,
    rates: Vec<Vec<Lanes>>,
}

impl CarryRoom {
    fn new(moving: &Moving) -> Self {
        let none = [0.0; LANES];
        let states = vec![none; moving.stores.len()];
        Self {
            x: vec![none; moving.pattern.size() + 1],
            work: Vec::new(),
            rates: vec![states.clone(); FREE.stages()],
            base: states.clone(),
            now: states,
        }
    }
}

impl Kept {
    /// The nudges at the end of the step.
    #[inline(always)]
    fn carry(&self, moving: &Moving, room: &mut CarryRoom) {
        let own = FREE.gamma * self.h;
        let CarryRoom {
            now,
            base,
            x,
            work,
            rates,
        } = room;
        for (stage, factors) in self.factors.iter().enumerate() {
            base.copy_from_slice(now);
            for (share, rates) in FREE.shares[stage].iter().zip(&*rates) {
                let share = self.h * share;
                for (base, rate) in base.iter_mut().zip(rates) {
                    add(base, share, rate);
                }
            }
            x.fill([0.0; LANES]);
            for ((store, branch), state) in moving.stores.iter().zip(&self.branches).zip(&*base) {
                add(&mut x[store.plus], -branch.drive, state);
                add(&mut x[store.minus], branch.drive, state);
                if store.core != 0 {
                    add(&mut x[store.core], store.turns * branch.drive, state);
                }
            }
            factors.solve_lanes(&moving.pattern, &mut x[1..], work);
            x[0] = [0.0; LANES];
            let stores = moving.stores.iter().zip(&self.branches).zip(&*base);
            for (rate, ((store, branch), base)) in rates[stage].iter_mut().zip(stores) {
                let (plus, minus, core) = (&x[store.plus], &x[store.minus], &x[store.core]);
                for (lane, rate) in rate.iter_mut().enumerate() {
                    let volts = plus[lane] - minus[lane] - store.turns * core[lane];
                    let amps = branch.siemens * volts + branch.drive * base[lane];
                    *rate = store.sort.rate(amps, base[lane], own);
                }
            }
        }
        if let Some(last) = rates.last() {
            for ((now, base), rate) in now.iter_mut().zip(&*base).zip(last) {
                *now = *base;
                add(now, own, rate);
            }
        }
    }
}

#[inline(always)]
fn add(to: &mut Lanes, by: f64, what: &Lanes) {
    for (to, what) in to.iter_mut().zip(what) {
        *to += by * what;
    }
}
