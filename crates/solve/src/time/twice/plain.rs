//! What no device bends, over both steps: laid out in the order in which a pair works through it.

use super::memory::{Memory, order};
use super::{SECOND, SHARE, parted};
use crate::linear::{Complex, Factors, Place, Placed, Runs, Scalar, Triangle, add, at};
use crate::time::build::Moving;

/// The equations of both steps along the eigenvector, in the order of the elimination; ground's slot comes last.
#[derive(Debug, Clone)]
pub(super) struct Plain {
    /// Length of a single step that all is made ready for.
    h: f64,
    early: usize,
    factors: Factors<Complex>,
    /// The matrix with all that no device touches eliminated; empty where that failed.
    begun: Vec<Complex>,
    layout: Layout,
    /// Is there room for so many unknowns?
    fits: bool,
    /// Right-hand side of what always stays.
    still: Vec<[f64; 2]>,
    memory: Memory,
    /// Right-hand side, and then the unknowns.
    work: Placed,
    /// The right-hand side of the late rows without the devices.
    late: Vec<[f64; 2]>,
}

/// What is gone through, in its order.
#[derive(Debug, Clone, Default)]
struct Layout {
    below_early: Triangle,
    below_late: Triangle,
    right_early: Triangle,
    right_late: Triangle,
    /// Takes from a row of equations what stores remember, so many times each.
    feeds: Runs<Place>,
    times: Vec<f64>,
    /// Place of each unknown and of each row of equations, by its number among those of the circuit, ground's first.
    columns: Vec<Place>,
    rows: Vec<Place>,
}

impl Layout {
    /// None where there is no room for so many unknowns.
    fn new(moving: &Moving) -> Option<Self> {
        let pattern = &moving.pattern;
        let (size, early) = (pattern.size(), pattern.early());
        let ground = Place::of(size)?;
        let (mut columns, mut rows) = (vec![ground; size + 1], vec![ground; size + 1]);
        for (at, (row, column)) in pattern.pivots().enumerate() {
            rows[row + 1] = Place::of(at)?;
            columns[column + 1] = Place::of(at)?;
        }
        let mut feeds_of: Vec<Vec<(Place, f64)>> = vec![Vec::new(); size + 1];
        for (number, ranked) in order(moving).into_iter().enumerate() {
            let (store, part) = (Place::of(number)?, &moving.stores[ranked.store]);
            let mut feed = |at: usize, turns: f64| {
                feeds_of[rows[at].number()].push((store, turns * ranked.times));
            };
            feed(part.plus, 1.0);
            feed(part.minus, -1.0);
            if part.core != 0 {
                feed(part.core, -part.turns);
            }
        }
        // ground has no equation
        feeds_of.truncate(size);
        let feeds = feeds_of.into_iter().enumerate();
        let feeds = feeds.map(|(row, feeds)| Some((Place::of(row)?, feeds)));
        let (feeds, times) = Runs::new(feeds.collect::<Option<_>>()?, |_| None).parted();
        Some(Self {
            below_early: Triangle::below(pattern, 0..size, &(0..early))?,
            below_late: Triangle::below(pattern, early..size, &(early..size))?,
            right_early: Triangle::right(pattern, 0..early)?,
            right_late: Triangle::right(pattern, early..size)?,
            feeds,
            times,
            columns,
            rows,
        })
    }
}

impl Plain {
    pub(super) fn new(moving: &Moving) -> Self {
        let pattern = &moving.pattern;
        let (size, early) = (pattern.size(), pattern.early());
        let layout = Layout::new(moving);
        let fits = layout.is_some();
        let layout = layout.unwrap_or_default();
        let mut still = vec![[0.0; 2]; size + 1];
        let whole = Complex::ONE + SECOND;
        for mean in &moving.means {
            let mut put = |node: usize, amps: f64| {
                if let Some(place) = layout.rows.get(node) {
                    let [re, im] = &mut still[place.number()];
                    *re += whole.re * amps;
                    *im += whole.im * amps;
                }
            };
            put(mean.plate, -mean.amps);
            put(mean.cathode, mean.amps);
        }
        still[size] = [0.0; 2];
        Self {
            h: 0.0,
            early,
            factors: Factors::new(pattern),
            begun: Vec::new(),
            fits,
            still,
            memory: Memory::new(moving, &layout.columns),
            layout,
            work: Placed::later(size + 1),
            late: vec![[0.0; 2]; size - early],
        }
    }

    /// The unknowns of the circuit that devices touch, in the order of the elimination.
    pub(super) fn late(moving: &Moving) -> impl Iterator<Item = (usize, usize)> + '_ {
        let pivots = moving.pattern.pivots();
        pivots
            .skip(moving.pattern.early())
            .map(|(row, column)| (row + 1, column + 1))
    }

    /// What remembers goes on from these states at these rates.
    pub(super) fn goes_on_from(&mut self, states: &[f64], rates: &[f64]) {
        self.memory.goes_on_from(states, rates);
    }

    /// Makes ready for steps of `h` seconds: nothing to do where it is; whether anything was done, and `None` where that failed.
    pub(super) fn prepare(&mut self, moving: &Moving, h: f64) -> Option<bool> {
        if !self.fits {
            return None;
        }
        let anew = self.h != h;
        if anew {
            self.h = h;
            let own = SHARE.scaled(2.0 * h);
            let pattern = &moving.pattern;
            let mut matrix = pattern.zeros();
            for (stamp, value) in &moving.still {
                stamp.add(&mut matrix, Complex::real(*value));
            }
            for store in &moving.stores {
                let siemens = store.sort.branch(own).siemens;
                for (stamp, factor) in &store.stamps {
                    stamp.add(&mut matrix, siemens.scaled(*factor));
                }
            }
            self.memory.prepare(moving, h);
            self.work.make_room();
            if self.factors.begin(pattern, &matrix, &mut self.begun) {
                self.layout.below_early.fill_below(&self.factors);
                self.layout.right_early.fill_right(&self.factors);
            } else {
                self.begun.clear();
            }
        }
        (!self.begun.is_empty()).then_some(anew)
    }

    /// Begins a pair with the sources at `emf(i)` at both ends: all up to where devices matter.
    #[inline(always)]
    pub(super) fn begin(&mut self, moving: &Moving, emf: impl Fn(usize) -> [f64; 2]) {
        self.work.pairs_mut().copy_from_slice(&self.still);
        let (layout, history) = (&self.layout, self.memory.history());
        let (Some(flat), Some(history)) = (self.work.flat_mut(), history.flat()) else {
            return;
        };
        for (number, source) in moving.sources.iter().enumerate() {
            let [first, second] = emf(number);
            let amps = (Complex::real(first) + SECOND.scaled(second)).scaled(source.siemens);
            add(flat, layout.rows[source.a], [amps.re, amps.im]);
            add(flat, layout.rows[source.b], [-amps.re, -amps.im]);
        }
        layout.feeds.each(
            &layout.times,
            #[inline(always)]
            |row, stores, times| {
                let mut sum = [0.0; 2];
                for (store, times) in stores.iter().zip(times) {
                    let [re, im] = at(history, *store);
                    sum = [sum[0] + times * re, sum[1] + times * im];
                }
                add(flat, row, [-sum[0], -sum[1]]);
            },
        );
        // ground has no equation
        if let Some(ground) = self.work.pairs_mut().last_mut() {
            *ground = [0.0; 2];
        }
        layout.below_early.pass(&mut self.work);
        let (early, late) = self.work.pairs_mut().split_at_mut(self.early);
        over_pivots(early, self.factors.inverse());
        // ground's slot comes last
        for (kept, late) in self.late.iter_mut().zip(&*late) {
            *kept = *late;
        }
    }

    /// The matrix of the late part, for the devices to be added; [`Plain::eliminated`] is to follow.
    #[inline(always)]
    pub(super) fn matrix(&mut self) -> &mut [Complex] {
        self.factors.resume(&self.begun)
    }

    /// False where a pivot is not to be trusted.
    #[inline(always)]
    pub(super) fn eliminated(&mut self, moving: &Moving) -> bool {
        let good = self.factors.finish(&moving.pattern);
        if good {
            self.layout.below_late.fill_below(&self.factors);
            self.layout.right_late.fill_right(&self.factors);
        }
        good
    }

    /// The late unknowns along the eigenvector, where `ends(i)` is what the devices put on the late row number i at both ends.
    #[inline(always)]
    pub(super) fn solve_late(&mut self, ends: impl Fn(usize) -> [f64; 2]) -> &[[f64; 2]] {
        let these = self.early..self.early + self.late.len();
        let late = &mut self.work.pairs_mut()[these.clone()];
        for (at, (slot, [re, im])) in late.iter_mut().zip(&self.late).enumerate() {
            let [first, second] = ends(at);
            *slot = [re + (first + SECOND.re * second), im + SECOND.im * second];
        }
        self.layout.below_late.pass(&mut self.work);
        let late = &mut self.work.pairs_mut()[these.clone()];
        over_pivots(late, &self.factors.inverse()[these.clone()]);
        self.layout.right_late.pass(&mut self.work);
        &self.work.pairs()[these]
    }

    /// All unknowns, and what the circuit's are midway and at the end. False where a number is none.
    #[inline(always)]
    pub(super) fn finish(&mut self, midway: &mut [f64], end: &mut [f64]) -> bool {
        self.layout.right_early.pass(&mut self.work);
        let Some(flat) = self.work.flat() else {
            return false;
        };
        // nought as long as all are finite
        let mut whole = 0.0;
        let ends = midway.iter_mut().zip(end);
        for (&column, (first, second)) in self.layout.columns.iter().zip(ends) {
            let found = at(flat, column);
            [*first, *second] = parted(found);
            whole += 0.0 * (found[0] + found[1]);
        }
        whole == 0.0
    }

    /// What remembers is at the end now.
    #[inline(always)]
    pub(super) fn count(&mut self) {
        self.memory.count(&self.work);
    }

    /// Tells the states and the amperes of what remembers.
    pub(super) fn tell(&self, states: &mut [f64], amps: &mut [f64]) {
        self.memory.tell(states, amps);
    }
}

/// What stands in rows, over their pivots.
#[inline(always)]
fn over_pivots(rows: &mut [[f64; 2]], inverse: &[Complex]) {
    for (value, inverse) in rows.iter_mut().zip(inverse) {
        let product = Complex::new(value[0], value[1]) * *inverse;
        *value = [product.re, product.im];
    }
}
