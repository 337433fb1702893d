//! Rows that take no part: the far tail, and the few that are wildly off all others.

use super::Sort;
use super::fitted::{Fitted, scatter, taken};
use super::kin::{Start, residuals};
use super::rows::FitRow;

/// Below this the equations' far tail is out by a factor of several, amperes.
const TAIL_AMPS: f64 = 1e-4;

/// Of a valve that draws little altogether, the tail begins at this part of the largest row.
const TAIL_PART: f64 = 0.05;

/// A figure so many times the usual scatter off does not go with the others.
pub(super) const STRANGE: f64 = 4.0;

/// And so many times off it is left out, where enough others remain;
const WILD: f64 = 10.0;

/// but only beyond what sheets of two makers differ by: this, of a logarithm.
const BEYOND_SHEETS: f64 = 0.4;

/// Up to so many rows each is predicted by all the others, and each may be the stranger.
const ONE_BY_ONE: usize = 30;

/// Of more, so many parts are left out in turn, and so many of the worst are looked at.
const PARTS: usize = 8;

/// How many fits to spend on leaving rows out.
pub(super) fn tries(rows: usize) -> usize {
    if rows <= ONE_BY_ONE { rows } else { PARTS }
}

/// So many strangers at most are left out; more of them are no slips.
const STRANGERS: usize = 8;

/// Which rows a law can be fitted to: those with a current that is not in the far tail.
pub(super) fn usable(rows: &[FitRow]) -> Vec<bool> {
    let most = rows.iter().filter_map(FitRow::main).fold(0.0, f64::max);
    let tail = TAIL_AMPS.min(TAIL_PART * most);
    rows.iter()
        .map(|row| row.main().is_some_and(|amps| amps >= tail))
        .collect()
}

/// The one row without which the others agree far better, if it is wildly off them and enough of them remain.
pub(super) fn stranger(
    sort: Sort,
    rows: &[FitRow],
    used: &[bool],
    already: usize,
    start: &Start,
) -> Option<usize> {
    let remain = used.iter().filter(|u| **u).count().checked_sub(1)?;
    if remain < 3 || already >= STRANGERS || 4 * (already + 1) > remain {
        return None;
    }
    let own: Vec<FitRow> = rows.iter().map(|row| row.at_own_bias(sort)).collect();
    let fitted = Fitted::of(&own, used, start);
    let mut doubted: Vec<(f64, usize)> = own
        .iter()
        .enumerate()
        .filter(|(i, _)| used[*i])
        .map(|(i, row)| {
            let sizes = residuals(sort, fitted.law, row).into_iter().map(f64::abs);
            (sizes.fold(0.0, f64::max), i)
        })
        .collect();
    doubted.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    if doubted.first().is_none_or(|(worst, _)| *worst < STRANGE) {
        return None;
    }
    doubted.truncate(tries(remain + 1));
    let mut best: Option<(f64, usize)> = None;
    for (_, row) in doubted {
        let mut without = used.to_vec();
        without[row] = false;
        let rest: Vec<FitRow> = taken(&own, &without).cloned().collect();
        let sum = start.minimise(&rest, &fitted.free, &fitted.u).sum;
        if best.is_none_or(|(least, _)| sum < least) {
            best = Some((sum, row));
        }
    }
    let (_, row) = best?;
    let mut without = used.to_vec();
    without[row] = false;
    let others = Fitted::of(&own, &without, start);
    let scatter = scatter(sort, others.law, &own, &without);
    let stands_out = own
        .get(row)?
        .given()
        .iter()
        .zip(residuals(sort, others.law, &own[row]))
        .any(|(given, off)| {
            let off = off.abs();
            given.figure.is_main()
                && off > WILD * scatter
                && off * own[row].sigma(sort, given) > BEYOND_SHEETS
        });
    let agree = taken(&own, &without)
        .flat_map(|r| residuals(sort, others.law, r))
        .all(|off| off.abs() < WILD);
    (stands_out && (agree || others.sum < 0.5 * fitted.sum)).then_some(row)
}
