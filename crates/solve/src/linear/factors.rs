//! The numbers of one elimination, and solving with them.

use super::dense::Dense;
use super::{Pattern, Scalar, Single};
use crate::lanes::{Mask, Wide};

/// A pivot that kept less than this part of what it was made from is not trusted: eight of
/// sixteen digits may cancel before the dense elimination takes over.
const LEAST_REMAINDER: f64 = 1e-8;

/// The equations have no single solution: no pivot is left for this unknown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the equations leave unknown {unknown} free")]
pub struct Singular {
    /// Number of the unknown.
    pub unknown: usize,
}

/// Factors of a matrix, with the room that solving needs; kept and filled again and again.
#[derive(Debug, Clone)]
pub struct Factors<S> {
    values: Vec<S>,
    /// Factors right of each pivot, and those below the pivots row by row: in the order in which solving takes them.
    pub(super) upper: Vec<S>,
    pub(super) lower: Vec<S>,
    /// One over each pivot, in the order of the steps.
    inverse: Vec<S>,
    work: Vec<[S; 1]>,
    dense: Option<Dense<S>>,
    dense_count: u64,
    solvable: bool,
}

impl<S: Scalar> Factors<S> {
    /// Room for factors on this pattern.
    #[must_use]
    pub fn new(pattern: &Pattern) -> Self {
        Self {
            values: pattern.zeros(),
            upper: vec![S::ZERO; pattern.upper.len()],
            lower: vec![S::ZERO; pattern.lower.len()],
            inverse: vec![S::ZERO; pattern.size],
            work: vec![[S::ZERO]; pattern.size],
            dense: None,
            dense_count: 0,
            solvable: false,
        }
    }

    /// Eliminates the early part of `matrix` ([`Pattern::with_late`]) and leaves in `begun` what the
    /// late part has become, for [`Factors::resume`]. False if a pivot is not to be trusted: then only
    /// [`Factors::factor`] helps.
    pub fn begin(&mut self, pattern: &Pattern, matrix: &[S], begun: &mut Vec<S>) -> bool {
        self.dense = None;
        self.solvable = false;
        self.values.copy_from_slice(matrix);
        begun.clear();
        let done = self.eliminate(pattern, 0..pattern.early);
        begun.extend_from_slice(&self.values);
        done
    }

    /// The matrix where [`Factors::begin`] left it, for stamps between late unknowns to be
    /// added; [`Factors::finish`] is to follow.
    #[inline(always)]
    pub fn resume(&mut self, begun: &[S]) -> &mut [S] {
        self.solvable = false;
        self.values.copy_from_slice(begun);
        &mut self.values
    }

    /// Eliminates the late part. False as in [`Factors::begin`].
    #[inline(always)]
    pub fn finish(&mut self, pattern: &Pattern) -> bool {
        self.dense = None;
        self.solvable = self.eliminate(pattern, pattern.early..pattern.steps.len());
        self.solvable
    }

    /// Repeats steps of the compiled elimination; false if a pivot is not to be trusted.
    #[inline(always)]
    fn eliminate(&mut self, pattern: &Pattern, range: std::ops::Range<usize>) -> bool {
        self.eliminate_judged(pattern, range, |pivot, made_from| {
            pivot.keeps(LEAST_REMAINDER, made_from)
        })
    }

    /// Repeats steps of the compiled elimination as long as `judge` trusts each pivot, knowing what it was made from.
    #[inline(always)]
    fn eliminate_judged(
        &mut self,
        pattern: &Pattern,
        range: std::ops::Range<usize>,
        mut judge: impl FnMut(S, S::Size) -> bool,
    ) -> bool {
        let values = &mut self.values[..];
        let (mut at_upper, mut at_lower) = ends(pattern, range.start);
        let mut at_target = if range.start == 0 {
            0
        } else {
            pattern.early_targets
        };
        let steps = &pattern.steps[range.clone()];
        for (step, inverse) in steps.iter().zip(&mut self.inverse[range]) {
            let these = at_upper..step.upper_end as usize;
            at_upper = these.end;
            let right = &mut self.upper[these.clone()];
            // Sum over the node columns right of the pivot, and what the pivot is made from.
            let mut sum = S::ZERO;
            let mut made_from = S::Size::default();
            for (entry, slot) in pattern.upper[these].iter().zip(&mut *right) {
                let value = values[entry.place as usize];
                *slot = value;
                if entry.node {
                    sum += value;
                    value.add_size(&mut made_from);
                }
            }
            let stored = values[step.pivot as usize];
            let (pivot, ground) = if step.derived {
                stored.add_size(&mut made_from);
                (stored - sum, stored)
            } else {
                // A stored pivot is judged against its row, as nothing tells what it was.
                (stored, if step.node { sum + stored } else { sum })
            };
            if !judge(pivot, made_from) {
                return false;
            }
            *inverse = pivot.inverse();
            let these = at_lower..step.lower_end as usize;
            at_lower = these.end;
            for entry in &pattern.lower[these] {
                let factor = values[entry.place as usize] * *inverse;
                self.lower[entry.slot as usize] = factor;
                values[entry.ground as usize] -= factor * ground;
                let targets = &pattern.targets[at_target..at_target + right.len()];
                at_target += right.len();
                for (&target, &right) in targets.iter().zip(&*right) {
                    values[target as usize] -= factor * right;
                }
            }
        }
        true
    }

    /// One over each pivot, in the order of the steps.
    pub(crate) fn inverse(&self) -> &[S] {
        &self.inverse
    }

    /// The early part of solving `A x = b`, `b` in the order of the steps; the late part of `b` may
    /// change afterwards. Asks for no more than [`Factors::begin`].
    #[inline(always)]
    pub fn forward_early(&self, pattern: &Pattern, b: &mut [[S; 1]]) {
        self.forward(pattern, 0..pattern.early, b);
    }

    /// The late unknowns, after [`Factors::forward_early`] and [`Factors::finish`].
    #[inline(always)]
    pub fn solve_late(&self, pattern: &Pattern, b: &mut [[S; 1]]) {
        let late = pattern.early..pattern.steps.len();
        self.forward(pattern, late.clone(), b);
        self.backward(pattern, late, b);
    }

    /// The early unknowns, after [`Factors::solve_late`].
    #[inline(always)]
    pub fn backward_early(&self, pattern: &Pattern, b: &mut [[S; 1]]) {
        self.backward(pattern, 0..pattern.early, b);
    }

    /// The columns of `range`, which is the early part, the late part or all.
    #[inline(always)]
    fn forward<const LANES: usize>(
        &self,
        pattern: &Pattern,
        range: std::ops::Range<usize>,
        work: &mut [[S; LANES]],
    ) {
        let rows = &pattern.rows;
        for row in range.start..work.len().min(pattern.size) {
            let [early, late] = rows.parts(row);
            let from = if range.start < pattern.early {
                early.start
            } else {
                late.start
            };
            let to = if range.end > pattern.early {
                late.end
            } else {
                early.end
            };
            let mut sum = work[row];
            for (&column, &factor) in rows.steps[from..to].iter().zip(&self.lower[from..to]) {
                for (sum, known) in sum.iter_mut().zip(work[column as usize]) {
                    *sum -= factor * known;
                }
            }
            work[row] = sum;
        }
    }

    #[inline(always)]
    fn backward<const LANES: usize>(
        &self,
        pattern: &Pattern,
        range: std::ops::Range<usize>,
        work: &mut [[S; LANES]],
    ) {
        let (mut end, _) = ends(pattern, range.end);
        for k in range.rev() {
            let (start, _) = ends(pattern, k);
            let mut sum = work[k];
            let these = start..end;
            end = start;
            for (&right, &factor) in pattern.upper_steps[these.clone()]
                .iter()
                .zip(&self.upper[these])
            {
                for (sum, known) in sum.iter_mut().zip(work[right as usize]) {
                    *sum -= factor * known;
                }
            }
            work[k] = sum.map(|sum| sum * self.inverse[k]);
        }
    }
}

impl Factors<Wide> {
    /// Factors matrices side by side; tells in which lanes every pivot is to be trusted. The others hold no factors.
    #[inline(always)]
    pub(crate) fn factor_abreast(&mut self, pattern: &Pattern, matrix: &[Wide]) -> Mask {
        self.values.copy_from_slice(matrix);
        // The least that a pivot kept beyond what it must keep, and nought as long as all are finite.
        let (mut least, mut whole) = (Wide::all(f64::INFINITY), Wide::all(0.0));
        let judge = |pivot: Wide, made_from: Wide| {
            least = least.lower(pivot.abs() - made_from * LEAST_REMAINDER);
            whole += pivot * 0.0;
            true
        };
        self.solvable = self.eliminate_judged(pattern, 0..pattern.steps.len(), judge);
        Wide::all(0.0).less(least) & whole.is_number()
    }

    /// As [`Factors::solve`], of each lane its own equations.
    #[inline(always)]
    pub(crate) fn solve_abreast(&mut self, pattern: &Pattern, b: &mut [Wide]) {
        for (slot, step) in self.work.iter_mut().zip(&pattern.steps) {
            *slot = [b[step.row as usize]];
        }
        let mut work = std::mem::take(&mut self.work);
        self.forward(pattern, 0..pattern.steps.len(), &mut work);
        self.backward(pattern, 0..pattern.steps.len(), &mut work);
        for (step, [value]) in pattern.steps.iter().zip(&work) {
            b[step.column as usize] = *value;
        }
        self.work = work;
    }
}

impl<S: Single> Factors<S> {
    /// Factors `matrix`, which must be a matrix on `pattern`, the pattern these factors were
    /// made for.
    ///
    /// # Errors
    /// [`Singular`] with an unknown that the equations leave free.
    pub fn factor(&mut self, pattern: &Pattern, matrix: &[S]) -> Result<(), Singular> {
        self.dense = None;
        self.solvable = true;
        self.values.copy_from_slice(matrix);
        if self.eliminate(pattern, 0..pattern.steps.len()) {
            return Ok(());
        }
        self.dense_count += 1;
        match Dense::factor(pattern.dense(matrix)) {
            Ok(dense) => {
                self.dense = Some(dense);
                Ok(())
            }
            Err(singular) => {
                self.solvable = false;
                Err(singular)
            }
        }
    }

    /// How often the dense elimination had to take over.
    #[must_use]
    pub fn dense_count(&self) -> u64 {
        self.dense_count
    }

    /// Puts the solution of `A x = b` in the place of `b`; noughts after a failed factorisation.
    pub fn solve(&mut self, pattern: &Pattern, b: &mut [S]) {
        let mut work = std::mem::take(&mut self.work);
        self.solve_lanes(pattern, b.as_chunks_mut::<1>().0, &mut work);
        self.work = work;
    }

    /// As [`Factors::solve`], with room of its own, for factors that are shared.
    pub fn solve_beside(&self, pattern: &Pattern, b: &mut [S]) {
        self.solve_lanes(pattern, b.as_chunks_mut::<1>().0, &mut Vec::new());
    }

    /// Puts the solution of the transposed equations, `A^T x = b`, in the place of `b`: the
    /// adjoint network. Noughts after a failed factorisation.
    pub fn solve_transposed(&mut self, pattern: &Pattern, b: &mut [S]) {
        let mut work = std::mem::take(&mut self.work);
        self.back(pattern, b, work.as_flattened_mut());
        self.work = work;
    }

    /// As [`Factors::solve_transposed`], with room of its own, for factors that are shared.
    pub fn solve_transposed_beside(&self, pattern: &Pattern, b: &mut [S]) {
        self.back(pattern, b, &mut vec![S::ZERO; pattern.size]);
    }

    /// As [`Factors::solve`] for several right sides side by side: row by row, a column for
    /// each. `work` is room, kept between calls.
    #[inline(always)]
    pub fn solve_lanes<const LANES: usize>(
        &self,
        pattern: &Pattern,
        b: &mut [[S; LANES]],
        work: &mut Vec<[S; LANES]>,
    ) {
        if !self.solvable || b.len() != pattern.size {
            b.fill([S::ZERO; LANES]);
            return;
        }
        if let Some(dense) = &self.dense {
            let mut column = vec![S::ZERO; pattern.size];
            for lane in 0..LANES {
                for (slot, row) in column.iter_mut().zip(&*b) {
                    *slot = row[lane];
                }
                dense.solve(&mut column);
                for (value, row) in column.iter().zip(&mut *b) {
                    row[lane] = *value;
                }
            }
            return;
        }
        work.clear();
        work.extend(pattern.steps.iter().map(|step| b[step.row as usize]));
        self.forward(pattern, 0..pattern.steps.len(), work);
        self.backward(pattern, 0..pattern.steps.len(), work);
        for (step, value) in pattern.steps.iter().zip(&*work) {
            b[step.column as usize] = *value;
        }
    }

    /// These factors for solving alone, without the room for others.
    #[must_use]
    pub fn kept(&self) -> Self {
        Self {
            values: Vec::new(),
            upper: self.upper.clone(),
            lower: self.lower.clone(),
            inverse: self.inverse.clone(),
            work: Vec::new(),
            dense: self.dense.clone(),
            dense_count: self.dense_count,
            solvable: self.solvable,
        }
    }

    fn back(&self, pattern: &Pattern, b: &mut [S], work: &mut [S]) {
        if !self.solvable || b.len() != pattern.size {
            b.fill(S::ZERO);
            return;
        }
        if let Some(dense) = &self.dense {
            dense.solve_transposed(b);
            return;
        }
        for (step, value) in pattern.steps.iter().zip(work.iter_mut()) {
            *value = b[step.column as usize];
        }
        let mut at = 0;
        for (k, step) in pattern.steps.iter().enumerate() {
            let value = work[k] * self.inverse[k];
            work[k] = value;
            let these = at..step.upper_end as usize;
            at = these.end;
            for (&right, &factor) in pattern.upper_steps[these.clone()]
                .iter()
                .zip(&self.upper[these])
            {
                work[right as usize] -= factor * value;
            }
        }
        let mut end = pattern.lower.len();
        for (k, step) in pattern.steps.iter().enumerate().rev() {
            let start = match k.checked_sub(1) {
                Some(before) => pattern.steps[before].lower_end as usize,
                None => 0,
            };
            let mut sum = work[k];
            let these = start..end;
            end = start;
            for entry in &pattern.lower[these] {
                sum -= self.lower[entry.slot as usize] * work[entry.step as usize];
            }
            work[k] = sum;
            b[step.row as usize] = sum;
        }
    }
}

/// Where the lists of `upper` and `lower` begin for step number `step`.
#[inline(always)]
pub(super) fn ends(pattern: &Pattern, step: usize) -> (usize, usize) {
    match step.checked_sub(1).and_then(|at| pattern.steps.get(at)) {
        Some(step) => (step.upper_end as usize, step.lower_end as usize),
        None => (0, 0),
    }
}
