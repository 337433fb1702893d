//! Fitting a law to rows: from a data sheet's typical points, or from own readings.
//!
//! Every type whose law is known is tried as a start (its *kin*); the one that has to be changed least to
//! meet the rows wins. Parameters that the rows tell no more about than that kin does stay at
//! the kin's value, and are listed as held. Errors are relative: a row counts by the logarithm
//! of computed over given, over how well the figure is known. A row that is far off bends the
//! result little, and is named.
//!
//! Method: least squares by damped Gauss-Newton steps (K. Levenberg, Quarterly of Applied Mathematics 2, 1944;
//! D. Marquardt, J. SIAM 11, 1963; from memory, not seen) with the weights of P.J. Huber, Annals
//! of Mathematical Statistics 35, 1964 (from memory, not seen). Pure: same rows, same bits.

mod findings;
mod fitted;
mod judge;
mod kin;
mod least_squares;
mod rectifier;
mod rows;
mod stranger;
mod thin;
mod unknowns;

#[cfg(test)]
mod tests;

pub use findings::{Finding, Slip};
pub use judge::{Compared, Covers, FittedRow, Rms, Worst};
pub use rectifier::{RectifierFit, fit_rectifier};
pub use rows::{FIGURES, Figure, FitRow, Given};

use super::ValveLaw;
use super::library::LawEntry;
use serde::Serialize;

/// Which equations are fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Sort {
    /// Equation set T.
    Triode,
    /// Equation set P.
    Pentode,
}

impl Sort {
    pub(crate) fn of(law: ValveLaw) -> Option<Self> {
        match law {
            ValveLaw::Triode(_) => Some(Self::Triode),
            ValveLaw::Pentode(_) => Some(Self::Pentode),
            ValveLaw::Rectifier(_) => None,
        }
    }

    /// In a word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Triode => "triode",
            Self::Pentode => "pentode",
        }
    }
}

/// A fitted law with everything needed to judge it.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// The law, its numbers rounded to five digits: every other figure here was computed with exactly these.
    pub law: ValveLaw,
    /// The known type that needed the least change.
    pub kin: String,
    /// That type's section, if its law is of one.
    pub kin_section: Option<char>,
    /// Each parameter, in the order of the equations.
    pub parameters: Vec<Parameter>,
    /// Each row, in the order given.
    pub rows: Vec<FittedRow>,
    /// Root mean square of the errors by figure, over the rows that were used.
    pub rms: Vec<Rms>,
    /// The figure that is out most, over the rows that were used.
    pub worst: Option<Worst>,
    /// Plate (or cathode) current of each row from a fit without it (of more than 30 rows: without every thirtieth):
    /// rms of those errors. None below three rows.
    pub predicted_rms: Option<f64>,
    /// What the rows cover.
    pub covers: Covers,
    /// What is odd.
    pub findings: Vec<Finding>,
}

/// One parameter of a fitted law.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Parameter {
    /// Its name in the equations.
    pub name: &'static str,
    /// Its value.
    pub value: f64,
    /// Standard uncertainty, same unit; none where it is held.
    pub uncertainty: Option<f64>,
    /// Why it was not fitted.
    pub held: Option<Held>,
}

/// Why a parameter was not fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Held {
    /// The rows tell less about it than the kin does; it has the kin's value.
    RowsSayTooLittle,
    /// It goes with `mu` (`d` is 6.5 over it; `w1` where it is not fitted has the kin's product with it).
    GoesWithMu,
    /// It is the same in every known type, or nothing in the rows could tell.
    NeverFitted,
}

/// Why there is no fit.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FitError {
    /// Nothing to fit to.
    #[error("no row has a current that a law could be fitted to")]
    NoRows,
    /// A row that the equations don't go with.
    #[error("row {} does not go with the equations of a {}", row + 1, sort.word())]
    NotThisSort {
        /// Its index.
        row: usize,
        /// The equations.
        sort: Sort,
    },
    /// No law to start from.
    #[error("no known {} to start from", .0.word())]
    NoKin(Sort),
    /// The best that the equations can do is too far off.
    #[error("no {} does what these rows say: the best is {:.0} % off in current", sort.word(), 100.0 * rms)]
    TooPoor {
        /// The equations.
        sort: Sort,
        /// Rms error of the plate or cathode current.
        rms: f64,
        /// The fit all the same, to look at.
        fit: Box<Fit>,
    },
}

/// An rms error of current beyond this is no valve that the equations describe: our own choice, ten times what
/// they owe a data sheet.
const TOO_POOR: f64 = 0.25;

/// So many rows at most take part in a fit: more say nothing new about a dozen numbers.
pub const MOST_ROWS: usize = 150;

/// Fits the equations of a sort to rows, starting from each law of that sort in `known`.
///
/// The rows' volts are against the cathode. Deterministic. Takes some milliseconds; of more than [`MOST_ROWS`] rows
/// that many are fitted to, spread over the volts that all cover, and all are compared ([`Finding::Thinned`]).
///
/// # Errors
/// [`FitError`]: no usable row, a row of the other sort, no law to start from, or rows that no such valve meets.
///
/// ```
/// use solve::device::fit::{Figure, FitRow, Sort, fit};
/// use solve::device::laws;
/// // Readings of a triode on a bench: grid volts, plate volts, plate milliamperes.
/// let rows: Vec<FitRow> = [(-1.0, 150.0, 1.8), (-2.0, 200.0, 1.5), (-2.0, 250.0, 2.9), (-3.0, 250.0, 1.0)]
///     .map(|(grid, plate, ma)| FitRow::at(plate, grid).with(Figure::Plate, ma * 1e-3))
///     .into();
/// let fit = fit(Sort::Triode, &rows, laws()).unwrap();
/// assert!(fit.rms[0].rms < 0.06);
/// ```
pub fn fit(sort: Sort, rows: &[FitRow], known: &[LawEntry]) -> Result<Fit, FitError> {
    for (row, r) in rows.iter().enumerate() {
        if !r.goes_with(sort) {
            return Err(FitError::NotThisSort { row, sort });
        }
    }
    let mut used = stranger::usable(rows);
    if !used.contains(&true) {
        return Err(FitError::NoRows);
    }
    let tails: Vec<usize> = (0..rows.len())
        .filter(|i| !used[*i] && rows[*i].main().is_some())
        .collect();
    let thinned = thin::thin(rows, &mut used);
    let mut left_out: Vec<usize> = Vec::new();
    let start = loop {
        let start = kin::nearest(sort, rows, &used, known).ok_or(FitError::NoKin(sort))?;
        match stranger::stranger(sort, rows, &used, left_out.len(), &start) {
            Some(row) => {
                used[row] = false;
                left_out.push(row);
            }
            None => break start,
        }
    };
    let mut fit = judge::judged(sort, rows, &used, &tails, &left_out, &start);
    fit.findings.extend(thinned);
    match fit.rms.iter().find(|r| r.figure.is_main()) {
        Some(main) if main.rms > TOO_POOR => Err(FitError::TooPoor {
            sort,
            rms: main.rms,
            fit: Box::new(fit),
        }),
        _ => Ok(fit),
    }
}
