//! A few rows for many: what a fit takes part in is bounded, however long the file.

use super::rows::FitRow;
use super::{Finding, MOST_ROWS};

/// Keeps [`MOST_ROWS`] of the used rows, evenly spread in the order of screen, grid and plate volts, and says so. One row
/// of each stretch of that order is taken, not always at the same place of it: a row's place in a sweep then
/// does not decide.
pub(super) fn thin(rows: &[FitRow], used: &mut [bool]) -> Option<Finding> {
    let mut order: Vec<usize> = (0..rows.len()).filter(|i| used[*i]).collect();
    let count = order.len();
    if count <= MOST_ROWS {
        return None;
    }
    let keys = |i: usize| {
        let row = &rows[i];
        [
            f64::from(u8::from(row.is_triode_connected())),
            row.cathode_ohms().unwrap_or(0.0),
            row.screen_volts().unwrap_or(0.0),
            row.grid_volts().unwrap_or(0.0),
            row.plate_volts(),
            row.main().unwrap_or(0.0),
        ]
    };
    order.sort_by(|a, b| {
        let pairs = keys(*a).into_iter().zip(keys(*b));
        let apart = pairs.map(|(a, b)| a.total_cmp(&b)).find(|o| o.is_ne());
        apart.unwrap_or_else(|| a.cmp(b))
    });
    used.fill(false);
    for stretch in 0..MOST_ROWS {
        let (from, to) = (
            stretch * count / MOST_ROWS,
            (stretch + 1) * count / MOST_ROWS,
        );
        // Multiples of the golden section, which falls in step with no sweep.
        let part = (stretch as f64 * 0.618_033_988_749_894_9).fract();
        let at = from + (part * (to - from) as f64) as usize;
        used[order[at.min(to - 1)]] = true;
    }
    Some(Finding::Thinned {
        rows: MOST_ROWS,
        of: count,
    })
}
