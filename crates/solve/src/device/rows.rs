//! A law at the operating points that a sheet prints, and how far it is off.
//!
//! Where a row has a cathode resistor the bias is solved with it: the grid returns to the resistor's far end, the
//! row's plate and screen volts are from the cathode.

use super::{PentodeLaw, TriodeLaw, ValveLaw};
use serde::Serialize;
use wiring::sheet::StaticRow;

/// What a law gives at a row's point. Amperes, siemens, ohms.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct RowPoint {
    /// Grid volts, solved where a cathode resistor sets them.
    pub grid: f64,
    /// Plate current (with the screen's, where the row is triode-connected).
    pub plate_a: f64,
    /// Screen current of a pentode.
    pub screen_a: Option<f64>,
    /// Mutual conductance.
    pub gm: f64,
    /// Plate resistance.
    pub plate_ohms: f64,
}

/// Errors of a law at a row, as fractions of the sheet's figures: above 0 where the law gives more.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct RowErrors {
    /// Of the plate current.
    pub plate: Option<f64>,
    /// Of the screen current.
    pub screen: Option<f64>,
    /// Of the mutual conductance.
    pub gm: Option<f64>,
    /// Of the plate resistance; where the sheet prints a least figure, only what is missing to it.
    pub rp: Option<f64>,
    /// Of the amplification factor, `gm rp`.
    pub mu: Option<f64>,
}

/// The law at the row's point; none where the law and the row do not go together (a pentode row for a triode).
///
/// ```
/// use solve::device::{law_for, row_errors, row_point};
/// let sheet = wiring::sheet::Library::built_in().find("EL84").unwrap();
/// let (law, row) = (law_for(sheet, None).unwrap(), &sheet.static_rows[0]);
/// let point = row_point(law, row).unwrap();
/// assert!(row_errors(&point, row).plate.unwrap().abs() < 0.05);
/// ```
#[must_use]
pub fn row_point(law: ValveLaw, row: &StaticRow) -> Option<RowPoint> {
    match (law, row.screen, row.triode_connected) {
        (ValveLaw::Triode(law), None, false) => {
            let grid = bias(row, |grid| law.currents(row.plate, grid).plate_a);
            Some(triode(law, row.plate, grid))
        }
        (ValveLaw::Pentode(law), Some(screen), false) => {
            let grid = bias(row, |grid| {
                let p = law.currents(row.plate, screen, grid);
                p.plate.amps + p.screen.amps
            });
            Some(pentode(law, row.plate, screen, grid))
        }
        (ValveLaw::Pentode(law), None, true) => {
            let grid = bias(row, |grid| law.triode_connected(row.plate, grid).plate_a);
            let p = law.triode_connected(row.plate, grid);
            Some(RowPoint {
                grid,
                plate_a: p.plate_a,
                screen_a: None,
                gm: p.plate_by_grid,
                plate_ohms: 1.0 / p.plate_by_plate,
            })
        }
        _ => None,
    }
}

/// The row's grid volts, or those at which its cathode resistor carries what the valve draws.
fn bias(row: &StaticRow, cathode_a: impl Fn(f64) -> f64) -> f64 {
    let Some(ohms) = row.cathode_ohms else {
        return row.grid.unwrap_or(0.0);
    };
    // The current rises with the grid and the bias falls with the current: one crossing.
    let (mut low, mut high) = (-row.plate.abs(), 0.0);
    for _ in 0..200 {
        let mid = 0.5 * (low + high);
        if mid + ohms * cathode_a(mid) < 0.0 {
            low = mid;
        } else {
            high = mid;
        }
    }
    0.5 * (low + high)
}

fn triode(law: TriodeLaw, plate: f64, grid: f64) -> RowPoint {
    let p = law.currents(plate, grid);
    RowPoint {
        grid,
        plate_a: p.plate_a,
        screen_a: None,
        gm: p.plate_by_grid,
        plate_ohms: 1.0 / p.plate_by_plate,
    }
}

fn pentode(law: PentodeLaw, plate: f64, screen: f64, grid: f64) -> RowPoint {
    let p = law.currents(plate, screen, grid);
    RowPoint {
        grid,
        plate_a: p.plate.amps,
        screen_a: Some(p.screen.amps),
        gm: p.plate.by_grid,
        plate_ohms: 1.0 / p.plate.by_plate,
    }
}

/// How far a point is off its row.
#[must_use]
pub fn row_errors(point: &RowPoint, row: &StaticRow) -> RowErrors {
    let off = |ours: f64, sheet: Option<f64>| sheet.map(|s| ours / s - 1.0);
    RowErrors {
        plate: off(point.plate_a, Some(row.plate_amps)),
        screen: point.screen_a.and_then(|ours| off(ours, row.screen_amps)),
        gm: off(point.gm, row.gm),
        rp: off(point.plate_ohms, row.plate_ohms)
            .or_else(|| off(point.plate_ohms, row.plate_ohms_least).map(|e| e.min(0.0))),
        mu: off(point.gm * point.plate_ohms, row.mu),
    }
}
