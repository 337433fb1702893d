//! One triangle of complex factors, laid out for solving with it again and again.

use std::ops::Range;

use super::factors::ends;
use super::runs::Runs;
use super::{Complex, Factors, Pattern, Scalar};

/// A factor, and the unknown that it is multiplied by.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Term {
    by: Complex,
    from: u32,
    /// Its row, and its place among the factors.
    row: u32,
    slot: u32,
}

/// Rows of a triangle.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Triangle {
    rows: Runs<Term>,
}

impl Triangle {
    /// What is below the pivots, in columns of `columns` and rows of `rows`.
    pub(crate) fn below(pattern: &Pattern, rows: Range<usize>, columns: &Range<usize>) -> Self {
        let rows = rows.map(|row| {
            let [early, late] = pattern.rows.parts(row);
            let all = (early.start..late.end).map(|at| (pattern.rows.steps[at], at));
            let terms = all.filter(|(column, _)| columns.contains(&(*column as usize)));
            (row, terms.collect())
        });
        Self::laid_out(rows)
    }

    /// What is right of the pivots of `rows`.
    pub(crate) fn right(pattern: &Pattern, rows: Range<usize>) -> Self {
        let rows = rows.rev().map(|row| {
            let all = ends(pattern, row).0..ends(pattern, row + 1).0;
            let terms = all.map(|at| (pattern.upper_steps[at], at));
            // what is found last comes last
            (row, terms.rev().collect())
        });
        Self::laid_out(rows)
    }

    fn laid_out(rows: impl Iterator<Item = (usize, Vec<(u32, usize)>)>) -> Self {
        let number = |at: usize| u32::try_from(at).unwrap_or(u32::MAX);
        let rows = rows.map(|(row, terms)| {
            let term = |(from, slot)| Term {
                by: Complex::ZERO,
                from,
                row: number(row),
                slot: number(slot),
            };
            (number(row), terms.into_iter().map(term).collect())
        });
        Self {
            rows: Runs::new(rows.collect(), |term| Some(term.from)),
        }
    }

    /// Takes the factors below the pivots.
    pub(crate) fn fill_below(&mut self, factors: &Factors<Complex>) {
        for term in self.rows.terms_mut() {
            term.by = factors.lower[term.slot as usize];
        }
    }

    /// Takes the factors right of the pivots, over their pivots.
    pub(crate) fn fill_right(&mut self, factors: &Factors<Complex>) {
        for term in self.rows.terms_mut() {
            term.by = factors.upper[term.slot as usize] * factors.inverse()[term.row as usize];
        }
    }

    /// Takes from each row's unknown what its terms say.
    #[inline(always)]
    pub(crate) fn pass(&self, work: &mut [Complex]) {
        self.rows.each(
            #[inline(always)]
            |row, terms| {
                // by real and imaginary factors apart, so that nothing changes places in between
                let (mut real, mut imaginary) = (Complex::ZERO, Complex::ZERO);
                for term in terms {
                    let known = work[term.from as usize];
                    real += known.scaled(term.by.re);
                    imaginary += known.scaled(term.by.im);
                }
                let sum = Complex::new(real.re - imaginary.im, real.im + imaginary.re);
                work[row] -= sum;
            },
        );
    }
}
