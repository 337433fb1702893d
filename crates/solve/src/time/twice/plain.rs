//! What no device bends, over both steps: laid out in the order in which a pair works through it.

use super::memory::Memory;
use super::{SECOND, SHARE, parted};
use crate::linear::{Complex, Factors, Runs, Scalar, Triangle};
use crate::time::build::Moving;

/// Takes from a row of equations what a store remembers, `turns` times.
#[derive(Debug, Clone, Copy)]
struct Feed {
    store: u32,
    turns: f64,
}

/// The equations of both steps along the eigenvector, in the order of the elimination; ground's slot comes last.
#[derive(Debug, Clone)]
pub(super) struct Plain {
    /// Length of a single step that all is made ready for.
    h: f64,
    early: usize,
    factors: Factors<Complex>,
    /// The matrix with all that no device touches eliminated; empty where that failed.
    begun: Vec<Complex>,
    below_early: Triangle,
    below_late: Triangle,
    right_early: Triangle,
    right_late: Triangle,
    /// Right-hand side of what always stays.
    still: Vec<Complex>,
    feeds: Runs<Feed>,
    memory: Memory,
    /// Place of each unknown and of each row of equations, by its number among those of the circuit, ground's first.
    columns: Vec<u32>,
    rows: Vec<u32>,
    /// Right-hand side, and then the unknowns.
    work: Vec<Complex>,
    /// The right-hand side of the late rows without the devices.
    late: Vec<Complex>,
}

fn number(at: usize) -> u32 {
    u32::try_from(at).unwrap_or(u32::MAX)
}

impl Plain {
    pub(super) fn new(moving: &Moving) -> Self {
        let pattern = &moving.pattern;
        let (size, early) = (pattern.size(), pattern.early());
        let (mut columns, mut rows) = (vec![number(size); size + 1], vec![number(size); size + 1]);
        for (at, (row, column)) in pattern.pivots().enumerate() {
            rows[row + 1] = number(at);
            columns[column + 1] = number(at);
        }
        let mut still = vec![Complex::ZERO; size + 1];
        let whole = Complex::ONE + SECOND;
        for mean in &moving.means {
            let amps = whole.scaled(mean.amps);
            still[rows[mean.plate] as usize] -= amps;
            still[rows[mean.cathode] as usize] += amps;
        }
        still[size] = Complex::ZERO;
        let mut feeds_of: Vec<Vec<Feed>> = vec![Vec::new(); size + 1];
        for (store, part) in moving.stores.iter().enumerate() {
            let store = number(store);
            let mut feed = |at: usize, turns| {
                feeds_of[rows[at] as usize].push(Feed { store, turns });
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
        let feeds = feeds.map(|(row, feeds)| (number(row), feeds)).collect();
        Self {
            h: 0.0,
            early,
            factors: Factors::new(pattern),
            begun: Vec::new(),
            below_early: Triangle::below(pattern, 0..size, &(0..early)),
            below_late: Triangle::below(pattern, early..size, &(early..size)),
            right_early: Triangle::right(pattern, 0..early),
            right_late: Triangle::right(pattern, early..size),
            still,
            feeds: Runs::new(feeds, |_| None),
            memory: Memory::new(moving, &columns),
            columns,
            rows,
            work: vec![Complex::ZERO; size + 1],
            late: vec![Complex::ZERO; size - early],
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
            if self.factors.begin(pattern, &matrix, &mut self.begun) {
                self.below_early.fill_below(&self.factors);
                self.right_early.fill_right(&self.factors);
            } else {
                self.begun.clear();
            }
        }
        (!self.begun.is_empty()).then_some(anew)
    }

    /// Begins a pair with the sources at `emf(i)` at both ends: all up to where devices matter.
    #[inline(always)]
    pub(super) fn begin(&mut self, moving: &Moving, emf: impl Fn(usize) -> [f64; 2]) {
        self.work.copy_from_slice(&self.still);
        for (at, source) in moving.sources.iter().enumerate() {
            let [first, second] = emf(at);
            let amps = (Complex::real(first) + SECOND.scaled(second)).scaled(source.siemens);
            self.work[self.rows[source.a] as usize] += amps;
            self.work[self.rows[source.b] as usize] -= amps;
        }
        // ground has no equation
        if let Some(ground) = self.work.last_mut() {
            *ground = Complex::ZERO;
        }
        let history = self.memory.history();
        let work = &mut self.work;
        self.feeds.each(
            #[inline(always)]
            |row, feeds| {
                let mut sum = Complex::ZERO;
                for feed in feeds {
                    let [re, im] = history[feed.store as usize];
                    sum += Complex::new(feed.turns * re, feed.turns * im);
                }
                work[row] -= sum;
            },
        );
        self.below_early.pass(&mut self.work);
        for (value, inverse) in self.work[..self.early]
            .iter_mut()
            .zip(self.factors.inverse())
        {
            *value = *value * *inverse;
        }
        let end = self.early + self.late.len();
        self.late.copy_from_slice(&self.work[self.early..end]);
    }

    /// The matrix of the late part, for the devices to be added; [`Plain::eliminated`] is to follow.
    pub(super) fn matrix(&mut self) -> &mut [Complex] {
        self.factors.resume(&self.begun)
    }

    /// False where a pivot is not to be trusted.
    pub(super) fn eliminated(&mut self, moving: &Moving) -> bool {
        let good = self.factors.finish(&moving.pattern);
        if good {
            self.below_late.fill_below(&self.factors);
            self.right_late.fill_right(&self.factors);
        }
        good
    }

    /// The late unknowns along the eigenvector, where `ends(i)` is what the devices put on the late row number i at both ends.
    #[inline(always)]
    pub(super) fn solve_late(&mut self, ends: impl Fn(usize) -> [f64; 2]) -> &[Complex] {
        let these = self.early..self.early + self.late.len();
        let slots = self.work[these.clone()].iter_mut().zip(&self.late);
        for (at, (slot, late)) in slots.enumerate() {
            let [first, second] = ends(at);
            *slot = *late + Complex::new(first + SECOND.re * second, SECOND.im * second);
        }
        self.below_late.pass(&mut self.work);
        let late = self.work[these.clone()].iter_mut();
        for (value, inverse) in late.zip(&self.factors.inverse()[these.clone()]) {
            *value = *value * *inverse;
        }
        self.right_late.pass(&mut self.work);
        &self.work[these]
    }

    /// All unknowns, and what the circuit's are midway and at the end. False where a number is none.
    #[inline(always)]
    pub(super) fn finish(&mut self, midway: &mut [f64], end: &mut [f64]) -> bool {
        self.right_early.pass(&mut self.work);
        // nought as long as all are finite
        let mut whole = 0.0;
        for ((&column, first), second) in self.columns.iter().zip(midway).zip(end) {
            let found = self.work[column as usize];
            [*first, *second] = parted(found);
            whole += 0.0 * (found.re + found.im);
        }
        whole == 0.0
    }

    /// What remembers is at the end now: its states, and its amperes.
    #[inline(always)]
    pub(super) fn count(&mut self, states: &mut [f64], amps: &mut [f64]) {
        self.memory.count(&self.work, states, amps);
    }
}
