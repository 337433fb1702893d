//! What is odd about rows or about the fitted numbers, and which slip would explain it.

use super::super::ValveLaw;
use super::Sort;
use super::rows::{FIGURES, Figure, FitRow};
use serde::Serialize;
use std::collections::BTreeMap;

/// Two readings at the same volts differ by more than this, of a logarithm, if they are not of one valve.
const SAME: f64 = 0.15;

/// Something odd about rows or parameters. Rows by index.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "what", rename_all = "snake_case")]
pub enum Finding {
    /// Too little current for the equations; shown, not used.
    Tail {
        /// The row.
        row: usize,
    },
    /// A figure that does not go with the other rows.
    Strange {
        /// The row.
        row: usize,
        /// The figure.
        figure: Figure,
        /// The row was left out of the fit for it.
        left_out: bool,
        /// A slip that would explain it.
        slip: Option<Slip>,
    },
    /// Rows at the same volts with different currents: the two that are farthest apart.
    SamePoint {
        /// The first.
        row: usize,
        /// The second.
        other: usize,
    },
    /// More rows than a fit takes: these were spread over the volts that all of them cover.
    Thinned {
        /// How many were picked.
        rows: usize,
        /// Of how many.
        of: usize,
    },
    /// The rows leave more unknown than known: fewer of them than parameters that tell one type from another.
    Few {
        /// How many rows were used.
        rows: usize,
    },
    /// A parameter stands at the end of its range: the rows ask for a valve the equations don't describe.
    AtBound {
        /// Its name.
        parameter: &'static str,
    },
}

/// A slip of hand or meter that would explain a strange row.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Slip {
    /// The decimal point, or the meter's range: it should be this many times what is there.
    Factor(f64),
    /// The sign of the grid volts.
    GridSign,
}

/// Rows at the same volts whose currents differ by more than they are known to: of each such point the two that are
/// farthest apart.
pub(super) fn same_points(own: &[FitRow]) -> Vec<Finding> {
    let key = |row: &FitRow| {
        // Six digits: what is typed twice is the same.
        let six = |v: Option<f64>| v.map(|v| format!("{v:.5e}"));
        let grid = six(row.grid_volts())?;
        let triode = row.is_triode_connected();
        Some((
            triode,
            six(row.screen_volts()),
            grid,
            six(Some(row.plate_volts())),
        ))
    };
    let mut points: BTreeMap<_, Vec<usize>> = BTreeMap::new();
    for (i, row) in own.iter().enumerate() {
        if let Some(key) = key(row) {
            points.entry(key).or_default().push(i);
        }
    }
    let mut found: Vec<(usize, usize)> = points
        .into_values()
        .filter_map(|members| farthest_apart(own, &members))
        .collect();
    found.sort_unstable();
    found
        .into_iter()
        .map(|(row, other)| Finding::SamePoint { row, other })
        .collect()
}

/// Of rows at the same volts the two whose currents are farthest apart, if that is more than the same reading twice
/// would be.
fn farthest_apart(own: &[FitRow], members: &[usize]) -> Option<(usize, usize)> {
    let mut most: Option<(f64, usize, usize)> = None;
    for figure in FIGURES.into_iter().filter(|f| f.is_current()) {
        let mut with: Vec<(f64, usize)> = members
            .iter()
            .filter_map(|i| Some((own.get(*i)?.value(figure)?, *i)))
            .collect();
        with.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        if let (Some((low, one)), Some((high, other))) = (with.first(), with.last()) {
            let apart = (high / low).ln();
            if apart > SAME && most.is_none_or(|(least, ..)| apart > least) {
                most = Some((apart, *one.min(other), *one.max(other)));
            }
        }
    }
    most.map(|(_, one, other)| (one, other))
}

/// The slip that would bring a strange figure back among the others.
pub(super) fn slip(
    sort: Sort,
    law: ValveLaw,
    row: &FitRow,
    figure: Figure,
    scatter: f64,
) -> Option<Slip> {
    let given = row.given().iter().find(|g| g.figure == figure)?;
    let close = (2.0 * scatter * row.sigma(sort, given)).max(0.1);
    let point = row.point(law)?;
    let ratio = row.computed(law, figure, &point) / given.value;
    for factor in [10.0, 0.1, 1000.0, 0.001, 100.0, 0.01] {
        if (ratio / factor).ln().abs() < close {
            return Some(Slip::Factor(factor));
        }
    }
    let grid = row.grid_volts().filter(|g| *g > 0.0)?;
    let turned = row.with_grid(-grid);
    let point = turned.point(law)?;
    let ratio = turned.computed(law, figure, &point) / given.value;
    (ratio.ln().abs() < close).then_some(Slip::GridSign)
}
