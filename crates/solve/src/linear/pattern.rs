//! Where a matrix has entries, in which order it is eliminated, and the list of places that
//! the elimination touches. Found once for each wiring; holds no numbers of any circuit.

use std::collections::BTreeMap;

use super::{Scalar, Single};

/// Places that one term `coefficient * (x[plus] - x[minus])` of a row adds to.
///
/// Made by [`Pattern::stamp`]; good for every matrix on that pattern.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stamp {
    plus: u32,
    minus: u32,
    ground: u32,
    ground_sign: f64,
}

impl Stamp {
    /// Adds the term to `values`, a matrix made by [`Pattern::zeros`].
    #[inline(always)]
    pub fn add<S: Scalar>(&self, values: &mut [S], coefficient: S) {
        values[self.plus as usize] += coefficient;
        values[self.minus as usize] -= coefficient;
        values[self.ground as usize] += coefficient.scaled(self.ground_sign);
    }
}

/// The pattern of a matrix with the order of its elimination.
///
/// Unknowns are numbered from 0; the first `nodes` are node voltages, the rest anything else.
/// Matrices on a pattern are slices of [`Pattern::len`] values, made by [`Pattern::zeros`]
/// and filled through [`Stamp`]s.
#[derive(Debug, Clone, PartialEq)]
pub struct Pattern {
    pub(super) size: usize,
    pub(super) nodes: usize,
    /// Is the diagonal of this row rebuilt from its ground part?
    pub(super) derived: Vec<bool>,
    /// Place of each stored entry, fill included.
    pub(super) places: BTreeMap<(usize, usize), u32>,
    pub(super) steps: Vec<Step>,
    /// All lists of the steps, one after another.
    pub(super) upper: Vec<Upper>,
    pub(super) lower: Vec<Lower>,
    /// For each entry below a pivot, what each entry right of it changes; the waste place where
    /// that is a diagonal that is rebuilt.
    pub(super) targets: Vec<u32>,
    /// Steps of `upper` alone, which is all that solving asks for.
    pub(super) upper_steps: Vec<u32>,
    /// What is below the pivots once more, row by row, so that a row is added up before it is written.
    pub(super) rows: Rows,
    /// How many steps come before the late unknowns, and the targets of those steps.
    pub(super) early: usize,
    pub(super) early_targets: usize,
    len: usize,
}

/// One pivot.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Step {
    pub(super) row: u32,
    pub(super) column: u32,
    /// Place of the pivot when it is stored, of the row's ground part when it is rebuilt.
    pub(super) pivot: u32,
    pub(super) derived: bool,
    /// Is the pivot's column a node voltage?
    pub(super) node: bool,
    /// Ends of this step's parts of `upper` and `lower`.
    pub(super) upper_end: u32,
    pub(super) lower_end: u32,
}

/// An entry right of a pivot.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Upper {
    pub(super) place: u32,
    /// Step that eliminates its column.
    pub(super) step: u32,
    /// Is its column a node voltage?
    pub(super) node: bool,
}

/// An entry below a pivot.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Lower {
    pub(super) place: u32,
    /// Step that uses its row as pivot row.
    pub(super) step: u32,
    /// Where the row keeps its ground part (the waste place if it keeps none).
    pub(super) ground: u32,
    /// Its place among the entries row by row.
    pub(super) slot: u32,
}

/// The entries below the pivots, row by row in the order of the steps, and in each row so as well.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Rows {
    /// Step of each entry's column.
    pub(super) steps: Vec<u32>,
    /// Where the rows begin, and where the last one ends.
    begins: Vec<u32>,
    /// Where in each row the entries of early columns end.
    splits: Vec<u32>,
}

impl Rows {
    /// Tells each entry of `lower` its place.
    fn new(steps: &[Step], lower: &mut [Lower]) -> Option<Self> {
        let mut next = vec![0_u32; steps.len() + 1];
        for entry in &*lower {
            next[entry.step as usize + 1] += 1;
        }
        for at in 1..next.len() {
            next[at] += next[at - 1];
        }
        let begins = next.clone();
        let mut of_row = vec![0; lower.len()];
        let mut at = 0;
        for (column, step) in steps.iter().enumerate() {
            let these = at..step.lower_end as usize;
            at = these.end;
            for entry in &mut lower[these] {
                let slot = &mut next[entry.step as usize];
                entry.slot = *slot;
                of_row[*slot as usize] = u32::try_from(column).ok()?;
                *slot += 1;
            }
        }
        Some(Self {
            steps: of_row,
            splits: begins.iter().take(steps.len()).copied().collect(),
            begins,
        })
    }

    /// The first `early` columns are eliminated apart from the others.
    fn split(&mut self, early: usize) {
        let rows = self.begins.windows(2).zip(&mut self.splits);
        for (ends, split) in rows {
            let row = &self.steps[ends[0] as usize..ends[1] as usize];
            let before = row.partition_point(|step| (*step as usize) < early);
            *split = ends[0] + u32::try_from(before).unwrap_or(0);
        }
    }

    /// Entries of row `row` in early columns, and in late ones.
    #[inline(always)]
    pub(super) fn parts(&self, row: usize) -> [std::ops::Range<usize>; 2] {
        let split = self.splits[row] as usize;
        [
            self.begins[row] as usize..split,
            split..self.begins[row + 1] as usize,
        ]
    }
}

impl Pattern {
    /// Pattern of a square matrix with entries at `entries` (row, column), in any order, repeats
    /// allowed; entries outside `0..size` are left out. Every diagonal of a node is in it by
    /// itself.
    ///
    /// `None` when some row can have no pivot whatever its numbers are, or the matrix would
    /// have more than 2^32 places.
    #[must_use]
    pub fn new(size: usize, nodes: usize, entries: &[(usize, usize)]) -> Option<Self> {
        Self::with_weak_diagonals(size, nodes, entries, &[])
    }

    /// As [`Pattern::new`]; the rows in `weak` have a diagonal that is small or can be nought,
    /// so it becomes a pivot only when nothing else can.
    #[must_use]
    pub fn with_weak_diagonals(
        size: usize,
        nodes: usize,
        entries: &[(usize, usize)],
        weak: &[usize],
    ) -> Option<Self> {
        Self::with_late(size, nodes, entries, weak, &[])
    }

    /// As [`Pattern::with_weak_diagonals`]; rows and columns in `late` are eliminated after all
    /// others. What stands between late unknowns may then change without the early part being eliminated
    /// anew: [`super::Factors::begin`].
    #[must_use]
    pub fn with_late(
        size: usize,
        nodes: usize,
        entries: &[(usize, usize)],
        weak: &[usize],
        late: &[usize],
    ) -> Option<Self> {
        let nodes = nodes.min(size);
        let mut rows: Vec<Vec<usize>> = vec![Vec::new(); size];
        for &(row, column) in entries {
            if row < size && column < size {
                rows[row].push(column);
            }
        }
        for (node, row) in rows.iter_mut().enumerate().take(nodes) {
            row.push(node);
        }
        for row in &mut rows {
            row.sort_unstable();
            row.dedup();
        }
        let column_of = pair_rows_with_columns(&rows, weak)?;
        let mut waits = vec![late.is_empty(); size];
        for (row, waits) in waits.iter_mut().enumerate() {
            *waits |= late.contains(&row) || late.contains(&column_of[row]);
        }
        let order = markowitz(&mut rows, &column_of, &waits);
        let mut made = Self::compile(size, nodes, &rows, &column_of, &order)?;
        made.early = waits.iter().filter(|waits| !**waits).count();
        let mut begin = (0, 0);
        for step in made.steps.iter().take(made.early) {
            let wide = step.upper_end as usize - begin.0;
            made.early_targets += wide * (step.lower_end as usize - begin.1);
            begin = (step.upper_end as usize, step.lower_end as usize);
        }
        made.rows.split(made.early);
        Some(made)
    }

    /// Number of unknowns.
    #[must_use]
    pub fn size(&self) -> usize {
        self.size
    }

    /// Length of a matrix on this pattern.
    #[must_use]
    #[expect(
        clippy::len_without_is_empty,
        reason = "the waste place is always there"
    )]
    pub fn len(&self) -> usize {
        self.len
    }

    /// Steps of the elimination before the late unknowns, for matrices made by [`Pattern::with_late`].
    #[must_use]
    pub fn early(&self) -> usize {
        self.early
    }

    /// Row and column of each pivot, in the order of the elimination.
    pub fn pivots(&self) -> impl ExactSizeIterator<Item = (usize, usize)> + Clone + '_ {
        self.steps
            .iter()
            .map(|step| (step.row as usize, step.column as usize))
    }

    /// Multiply-adds of one factorisation.
    #[must_use]
    pub fn multiply_adds(&self) -> usize {
        self.targets.len() + self.lower.len()
    }

    /// Entries of both factors, pivots left out.
    #[must_use]
    pub fn factor_entries(&self) -> usize {
        self.upper.len() + self.lower.len()
    }

    /// A matrix of noughts.
    #[must_use]
    pub fn zeros<S: Scalar>(&self) -> Vec<S> {
        vec![S::ZERO; self.len]
    }

    /// Where `coefficient * (x[plus] - x[minus])` goes in row `row`; `None` for an unknown
    /// means ground, or that there is no such term. Node voltages that stand as a difference
    /// should be added as one, so that their common part cancels exactly.
    ///
    /// `None` when the pattern has no such entry or row.
    #[must_use]
    pub fn stamp(&self, row: usize, plus: Option<usize>, minus: Option<usize>) -> Option<Stamp> {
        let waste = self.waste();
        if row >= self.size {
            return None;
        }
        let derived = self.derived[row];
        let place = |column: Option<usize>| match column {
            None => Some(waste),
            Some(column) if column == row && derived => Some(waste),
            Some(column) => self.places.get(&(row, column)).copied(),
        };
        let weight = |column: Option<usize>| match column {
            Some(column) if column < self.nodes => 1.0,
            _ => 0.0,
        };
        let ground_sign = weight(plus) - weight(minus);
        Some(Stamp {
            plus: place(plus)?,
            minus: place(minus)?,
            ground: if derived && ground_sign != 0.0 {
                row_ground(row)?
            } else {
                waste
            },
            ground_sign,
        })
    }

    /// A stamp that adds to no equation: for terms of ground's own row.
    #[must_use]
    pub fn nowhere(&self) -> Stamp {
        let waste = self.waste();
        Stamp {
            plus: waste,
            minus: waste,
            ground: waste,
            ground_sign: 0.0,
        }
    }

    /// The matrix as rows of ordinary numbers, for checks and for dense elimination.
    #[must_use]
    pub fn dense<S: Single>(&self, values: &[S]) -> Vec<Vec<S>> {
        let mut dense = vec![vec![S::ZERO; self.size]; self.size];
        for (&(row, column), &place) in &self.places {
            dense[row][column] = values[place as usize];
        }
        for (row, entries) in dense.iter_mut().enumerate() {
            if self.derived[row] {
                let mut diagonal = values[row];
                for &entry in entries.iter().take(self.nodes) {
                    diagonal -= entry;
                }
                entries[row] = diagonal;
            }
        }
        dense
    }

    /// The place that takes what goes nowhere.
    pub(super) fn waste(&self) -> u32 {
        // `compile` has checked that the length fits.
        u32::try_from(self.len - 1).unwrap_or(u32::MAX)
    }

    fn compile(
        size: usize,
        nodes: usize,
        rows: &[Vec<usize>],
        column_of: &[usize],
        order: &[usize],
    ) -> Option<Self> {
        let derived: Vec<bool> = (0..size)
            .map(|row| row < nodes && column_of[row] == row)
            .collect();
        let mut places = BTreeMap::new();
        let mut next = u32::try_from(size).ok()?;
        for (row, columns) in rows.iter().enumerate() {
            for &column in columns {
                if !(column == row && derived[row]) {
                    places.insert((row, column), next);
                    next = next.checked_add(1)?;
                }
            }
        }
        let waste = next;
        let len = usize::try_from(waste).ok()?.checked_add(1)?;

        let mut step_of_row = vec![0_u32; size];
        let mut step_of_column = vec![0_u32; size];
        for (step, &row) in order.iter().enumerate() {
            step_of_row[row] = u32::try_from(step).ok()?;
            step_of_column[column_of[row]] = u32::try_from(step).ok()?;
        }
        let mut rows_of: Vec<Vec<usize>> = vec![Vec::new(); size];
        for (row, columns) in rows.iter().enumerate() {
            for &column in columns {
                rows_of[column].push(row);
            }
        }

        let (mut upper, mut lower, mut targets) = (Vec::new(), Vec::new(), Vec::new());
        let mut steps = Vec::with_capacity(size);
        for (step, &row) in order.iter().enumerate() {
            let step = u32::try_from(step).ok()?;
            let column = column_of[row];
            let mut right = Vec::new();
            for &to in &rows[row] {
                if step_of_column[to] > step {
                    right.push(to);
                    upper.push(Upper {
                        place: *places.get(&(row, to))?,
                        step: step_of_column[to],
                        node: to < nodes,
                    });
                }
            }
            for &below in &rows_of[column] {
                if step_of_row[below] <= step {
                    continue;
                }
                for &to in &right {
                    targets.push(if to == below && derived[below] {
                        waste
                    } else {
                        *places.get(&(below, to))?
                    });
                }
                lower.push(Lower {
                    place: *places.get(&(below, column))?,
                    step: step_of_row[below],
                    ground: if derived[below] {
                        row_ground(below)?
                    } else {
                        waste
                    },
                    slot: 0,
                });
            }
            steps.push(Step {
                row: u32::try_from(row).ok()?,
                column: u32::try_from(column).ok()?,
                pivot: if derived[row] {
                    row_ground(row)?
                } else {
                    *places.get(&(row, column))?
                },
                derived: derived[row],
                node: column < nodes,
                upper_end: u32::try_from(upper.len()).ok()?,
                lower_end: u32::try_from(lower.len()).ok()?,
            });
        }
        let rows = Rows::new(&steps, &mut lower)?;
        Some(Self {
            size,
            nodes,
            derived,
            places,
            steps,
            upper_steps: upper.iter().map(|entry: &Upper| entry.step).collect(),
            rows,
            upper,
            lower,
            targets,
            early: 0,
            early_targets: 0,
            len,
        })
    }
}

/// Ground parts come first in a matrix, in the order of the rows.
fn row_ground(row: usize) -> Option<u32> {
    u32::try_from(row).ok()
}

/// Gives each row a column in which it has an entry, its own where it has one. A row without
/// (the equation of an ideal amplifier has no term in the amplifier's own current) takes
/// the shortest chain of exchanges that frees one.
fn pair_rows_with_columns(rows: &[Vec<usize>], weak: &[usize]) -> Option<Vec<usize>> {
    let size = rows.len();
    let mut column_of: Vec<Option<usize>> = vec![None; size];
    let mut row_of: Vec<Option<usize>> = vec![None; size];
    for (row, columns) in rows.iter().enumerate() {
        if !weak.contains(&row) && columns.binary_search(&row).is_ok() {
            column_of[row] = Some(row);
            row_of[row] = Some(row);
        }
    }
    for start in 0..size {
        if column_of[start].is_some() {
            continue;
        }
        let chain = chain(rows, weak, &row_of, start, false)
            .or_else(|| chain(rows, weak, &row_of, start, true))?;
        for (row, column) in chain {
            column_of[row] = Some(column);
            row_of[column] = Some(row);
        }
    }
    column_of.into_iter().collect()
}

/// The shortest chain of pairs (row, column) that gives row `start` a column: the first row
/// takes a column from its holder, which takes another, and so on to a column that is free.
fn chain(
    rows: &[Vec<usize>],
    weak: &[usize],
    row_of: &[Option<usize>],
    start: usize,
    weak_allowed: bool,
) -> Option<Vec<(usize, usize)>> {
    // Breadth first over rows; `came[column]` is the row that reached the column, and
    // `held[row]` the column that the row holds now.
    let mut came: Vec<Option<usize>> = vec![None; rows.len()];
    let mut held: Vec<Option<usize>> = vec![None; rows.len()];
    let mut queue = vec![start];
    let mut head = 0;
    while let Some(&row) = queue.get(head) {
        head += 1;
        for &column in &rows[row] {
            let own = column == row && weak.contains(&row);
            if came[column].is_some() || (own && !weak_allowed) {
                continue;
            }
            came[column] = Some(row);
            if let Some(holder) = row_of[column] {
                held[holder] = Some(column);
                queue.push(holder);
                continue;
            }
            let mut chain = Vec::new();
            let mut at = Some(column);
            while let Some(column) = at {
                let row = came[column]?;
                chain.push((row, column));
                at = if row == start { None } else { held[row] };
            }
            return Some(chain);
        }
    }
    None
}

/// Order of pivots by least Markowitz count among the paired entries, those that wait after all others, ties
/// by number; adds the fill to `rows`.
fn markowitz(rows: &mut [Vec<usize>], column_of: &[usize], waits: &[bool]) -> Vec<usize> {
    let size = rows.len();
    let mut columns: Vec<Vec<usize>> = vec![Vec::new(); size];
    for (row, entries) in rows.iter().enumerate() {
        for &column in entries {
            columns[column].push(row);
        }
    }
    // Active entries only; `rows` keeps everything.
    let mut active: Vec<Vec<usize>> = rows.to_vec();
    let mut left: Vec<usize> = (0..size).collect();
    let mut order = Vec::with_capacity(size);
    while !left.is_empty() {
        let mut best = ((true, usize::MAX), 0);
        for (at, &row) in left.iter().enumerate() {
            let count = (active[row].len().saturating_sub(1))
                * (columns[column_of[row]].len().saturating_sub(1));
            if (waits[row], count) < best.0 {
                best = ((waits[row], count), at);
            }
        }
        let row = left.remove(best.1);
        let column = column_of[row];
        order.push(row);
        let right: Vec<usize> = active[row]
            .iter()
            .copied()
            .filter(|&to| to != column)
            .collect();
        let below: Vec<usize> = columns[column]
            .iter()
            .copied()
            .filter(|&other| other != row)
            .collect();
        for &other in &below {
            for &to in &right {
                if let Err(at) = active[other].binary_search(&to) {
                    active[other].insert(at, to);
                    if let Err(at) = columns[to].binary_search(&other) {
                        columns[to].insert(at, other);
                    }
                    if let Err(at) = rows[other].binary_search(&to) {
                        rows[other].insert(at, to);
                    }
                }
            }
            if let Ok(at) = active[other].binary_search(&column) {
                active[other].remove(at);
            }
        }
        for &to in &right {
            if let Ok(at) = columns[to].binary_search(&row) {
                columns[to].remove(at);
            }
        }
        columns[column].clear();
        active[row].clear();
    }
    order
}
