//! One triangle of complex factors, laid out for solving with it again and again.

use std::ops::Range;

use super::factors::ends;
use super::runs::Runs;
use super::{Complex, Factors, Pattern, Place, Placed, add, at};
use crate::lanes::{Work, widely};

/// Where a term's factor comes from: its row, and its number among the factors.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Origin {
    row: usize,
    slot: usize,
}

/// Rows of a triangle. Each term is a factor, and the unknown that it is multiplied by.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Triangle {
    /// The unknowns.
    rows: Runs<Place>,
    /// The factors in the same order, and where they come from.
    by: Vec<[f64; 2]>,
    origins: Vec<Origin>,
}

impl Triangle {
    /// What is below the pivots, in columns of `columns` and rows of `rows`; none where there is no room for so many.
    pub(crate) fn below(
        pattern: &Pattern,
        rows: Range<usize>,
        columns: &Range<usize>,
    ) -> Option<Self> {
        let rows = rows.map(|row| {
            let [early, late] = pattern.rows.parts(row);
            let all = (early.start..late.end).map(|at| (pattern.rows.steps[at], at));
            let terms = all.filter(|(column, _)| columns.contains(&(*column as usize)));
            (row, terms.collect())
        });
        Self::laid_out(rows)
    }

    /// What is right of the pivots of `rows`; none where there is no room for so many.
    pub(crate) fn right(pattern: &Pattern, rows: Range<usize>) -> Option<Self> {
        let rows = rows.rev().map(|row| {
            let all = ends(pattern, row).0..ends(pattern, row + 1).0;
            let terms = all.map(|at| (pattern.upper_steps[at], at));
            // what is found last comes last
            (row, terms.rev().collect())
        });
        Self::laid_out(rows)
    }

    fn laid_out(rows: impl Iterator<Item = (usize, Vec<(u32, usize)>)>) -> Option<Self> {
        let rows = rows.map(|(row, terms)| {
            let terms = terms
                .into_iter()
                .map(|(from, slot)| Some((Place::of(from as usize)?, Origin { row, slot })));
            Some((Place::of(row)?, terms.collect::<Option<_>>()?))
        });
        let rows = Runs::new(rows.collect::<Option<_>>()?, |(from, _)| Some(*from));
        let (rows, origins) = rows.parted();
        Some(Self {
            by: vec![[0.0; 2]; origins.len()],
            rows,
            origins,
        })
    }

    #[inline(always)]
    fn fill(&mut self, factor: impl Fn(&Origin) -> Complex) {
        for (by, origin) in self.by.iter_mut().zip(&self.origins) {
            let Complex { re, im } = factor(origin);
            *by = [re, im];
        }
    }

    /// Takes the factors below the pivots.
    #[inline(always)]
    pub(crate) fn fill_below(&mut self, factors: &Factors<Complex>) {
        self.fill(|origin| factors.lower[origin.slot]);
    }

    /// Takes the factors right of the pivots, over their pivots.
    #[inline(always)]
    pub(crate) fn fill_right(&mut self, factors: &Factors<Complex>) {
        self.fill(|origin| factors.upper[origin.slot] * factors.inverse()[origin.row]);
    }

    /// Takes from each row's unknown what its terms say.
    pub(crate) fn pass(&self, work: &mut Placed) {
        // one piece of code for every triangle: what is gone through again and again must stay near the processor
        widely(Pass {
            triangle: self,
            work,
        });
    }
}

struct Pass<'a> {
    triangle: &'a Triangle,
    work: &'a mut Placed,
}

impl Work for Pass<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let Some(flat) = self.work.flat_mut() else {
            return;
        };
        self.triangle.rows.each(
            &self.triangle.by,
            #[inline(always)]
            |row, from, by| {
                // by real and imaginary factors apart, so that nothing changes places in between
                let (mut real, mut imaginary) = ([0.0; 2], [0.0; 2]);
                for (from, [by_re, by_im]) in from.iter().zip(by) {
                    let [re, im] = at(flat, *from);
                    real = [real[0] + re * by_re, real[1] + im * by_re];
                    imaginary = [imaginary[0] + re * by_im, imaginary[1] + im * by_im];
                }
                let sum = [real[0] - imaginary[1], real[1] + imaginary[0]];
                add(flat, row, [-sum[0], -sum[1]]);
            },
        );
    }
}
