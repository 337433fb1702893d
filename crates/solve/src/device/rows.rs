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
    spot_point(
        law,
        &Spot {
            plate: row.plate,
            screen: row.screen,
            triode_connected: row.triode_connected,
            bias: match row.cathode_ohms {
                Some(ohms) => Bias::CathodeOhms(ohms),
                None => Bias::Grid(row.grid.unwrap_or(0.0)),
            },
        },
    )
}

/// What sets a row's grid volts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Bias {
    /// Volts from grid to cathode.
    Grid(f64),
    /// A resistor under the cathode, the grid on its far end.
    CathodeOhms(f64),
}

/// The volts of a row, against the cathode.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spot {
    pub(super) plate: f64,
    pub(super) screen: Option<f64>,
    pub(super) triode_connected: bool,
    pub(super) bias: Bias,
}

/// The law at a spot; none where they do not go together.
pub(super) fn spot_point(law: ValveLaw, spot: &Spot) -> Option<RowPoint> {
    match (law, spot.screen, spot.triode_connected) {
        (ValveLaw::Triode(law), None, false) => {
            let grid = bias(spot, |grid| {
                let p = law.currents(spot.plate, grid);
                (p.plate_a, p.plate_by_grid)
            });
            Some(triode(law, spot.plate, grid))
        }
        (ValveLaw::Pentode(law), Some(screen), false) => {
            let grid = bias(spot, |grid| {
                let p = law.currents(spot.plate, screen, grid);
                (
                    p.plate.amps + p.screen.amps,
                    p.plate.by_grid + p.screen.by_grid,
                )
            });
            Some(pentode(law, spot.plate, screen, grid))
        }
        (ValveLaw::Pentode(law), None, true) => {
            let grid = bias(spot, |grid| {
                let p = law.triode_connected(spot.plate, grid);
                (p.plate_a, p.plate_by_grid)
            });
            let p = law.triode_connected(spot.plate, grid);
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

/// The grid volts, or those at which the cathode resistor carries what the valve draws. `cathode` gives amperes and
/// their slope by the grid volts.
fn bias(spot: &Spot, cathode: impl Fn(f64) -> (f64, f64)) -> f64 {
    let ohms = match spot.bias {
        Bias::Grid(volts) => return volts,
        Bias::CathodeOhms(ohms) => ohms,
    };
    // The current rises with the grid and the bias falls with the current: one crossing, which Newton's steps approach
    // inside a bracket that halves where they would leave it.
    let (mut low, mut high) = (-spot.plate.abs(), 0.0);
    let mut at = 0.5 * (low + high);
    for _ in 0..200 {
        let (amps, by_grid) = cathode(at);
        let off = at + ohms * amps;
        if off < 0.0 {
            low = at;
        } else {
            high = at;
        }
        let step = off / (1.0 + ohms * by_grid);
        let inside = step.is_finite() && at - step > low && at - step < high;
        let next = if inside {
            at - step
        } else {
            0.5 * (low + high)
        };
        let done = (next - at).abs() <= 1e-15 * spot.plate.abs();
        at = next;
        if done {
            break;
        }
    }
    at
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
        plate: off(point.plate_a, row.plate_amps),
        screen: point.screen_a.and_then(|ours| off(ours, row.screen_amps)),
        gm: off(point.gm, row.gm),
        rp: off(point.plate_ohms, row.plate_ohms)
            .or_else(|| off(point.plate_ohms, row.plate_ohms_least).map(|e| e.min(0.0))),
        mu: off(point.gm * point.plate_ohms, row.mu),
    }
}
