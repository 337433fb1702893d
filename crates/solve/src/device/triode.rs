//! Equation set T: a triode's plate and grid currents, with their slopes.
//!
//! ```text
//! va+ = 0.5 softplus(Va / 0.5)
//! w   = sqrt(w0^2 + (w1 va+)^2)                       cut-off width, widens with plate volts
//! E   = w softplus((Vg + v0 va+ / (va+ + vb) + Va / mu) / w)
//! Ik  = K E^x
//! vg+ = wg softplus((Vg - vg0) / wg)
//! d   = vg+ / (vg+ + D va+)                           the grid's share
//! Ig  = d Ik        Ia = (1 - d) Ik
//! ```
//!
//! An own combination of known pieces. Fitted for plate volts from 50 up and grid volts from cut-off to a volt or so
//! above 0. Its known faults: currents below 0.1 mA are out by a factor of several, second-harmonic distortion of a
//! high-mu triode comes out low by a third, and there is no reverse grid current.

use super::TriodeLaw;
use super::number::Number;
use super::smooth::{FURTHEST_VOLTS, SLIVER};

/// Knee of the positive part of plate and screen volts.
pub(super) const KNEE_VOLTS: f64 = 0.5;

/// Currents and slopes of a triode at one point. Amperes and siemens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TriodePoint<T = f64> {
    /// Plate current, never negative.
    pub plate_a: T,
    /// Grid current, never negative.
    pub grid_a: T,
    /// Of the plate current, by plate volts: one over the plate resistance. Never negative.
    pub plate_by_plate: T,
    /// Of the plate current, by grid volts: the mutual conductance.
    pub plate_by_grid: T,
    /// Of the grid current, by plate volts.
    pub grid_by_plate: T,
    /// Of the grid current, by grid volts.
    pub grid_by_grid: T,
}

impl TriodeLaw {
    /// Currents at plate and grid volts, both against the cathode.
    ///
    /// Finite for every finite voltage; beyond 1 MV either way nothing changes any more.
    ///
    /// ```
    /// let law = solve::device::triode_law("12AX7", None).unwrap();
    /// let point = law.currents(250.0, -2.0);
    /// assert!((point.plate_a - 1.2e-3).abs() < 0.05e-3);
    /// ```
    #[must_use]
    pub fn currents(self, plate: f64, grid: f64) -> TriodePoint {
        triode_currents(self, plate, grid)
    }
}

/// What drives the space current.
pub(super) struct Driven<T> {
    /// Positive part of the plate volts, and its slope by them.
    pub(super) plate_part: (T, T),
    /// Grid volts, within what is looked at.
    pub(super) grid: T,
    /// Width of the cut-off, and the slope of its logarithm by plate volts.
    pub(super) width: T,
    width_log_slope: T,
    /// The drive over that width, and the slope of the drive by plate volts.
    pub(super) by_width: T,
    by_plate: T,
}

#[inline(always)]
pub(super) fn driven<T: Number>(law: &TriodeLaw<T>, plate: T, grid: T) -> Driven<T> {
    let plate = plate.within(FURTHEST_VOLTS);
    let grid = grid.within(FURTHEST_VOLTS);

    let (p, p_slope) = plate.positive_part(T::of(KNEE_VOLTS));
    // volts are bounded: no square overflows
    let w = (law.w0 * law.w0 + law.w1 * law.w1 * p * p).sqrt();
    let offset = p + law.vb;
    let drive = grid + law.v0 * p / offset + plate / law.mu;
    Driven {
        plate_part: (p, p_slope),
        grid,
        width: w,
        width_log_slope: law.w1 * law.w1 * p * p_slope / (w * w),
        by_width: drive / w,
        by_plate: law.v0 * law.vb / (offset * offset) * p_slope + T::of(1.0) / law.mu,
    }
}

/// The space current, of the logarithm of `E`.
#[inline(always)]
pub(super) fn space_current<T: Number>(law: &TriodeLaw<T>, log: T) -> T {
    law.k * (law.x * log).exp_of_few()
}

/// Positive part of what the grid is above its onset, and its slope.
#[inline(always)]
pub(super) fn grid_part<T: Number>(law: &TriodeLaw<T>, grid: T) -> (T, T) {
    (grid - law.vg0).positive_part(law.wg)
}

/// The grid's share and the plate's, and what they are parts of: the plate's part, and both.
#[inline(always)]
pub(super) fn shared<T: Number>(law: &TriodeLaw<T>, g: T, p: T) -> (T, T, T, T) {
    let rest = law.d * (p + SLIVER);
    let whole = g + rest;
    (g / whole, rest / whole, rest, whole)
}

/// [`TriodeLaw::currents`], of one section or of several side by side.
#[inline(always)]
pub(crate) fn triode_currents<T: Number>(law: TriodeLaw<T>, plate: T, grid: T) -> TriodePoint<T> {
    let Driven {
        plate_part: (p, p_slope),
        grid,
        width: w,
        width_log_slope: w_log_slope,
        by_width: z,
        by_plate: drive_by_plate,
    } = driven(&law, plate, grid);
    let s = z.softplus(w);

    // Everything through ln E, so that deep cut-off neither divides 0 by 0 nor underflows on the way.
    let ik = space_current(&law, s.log);
    let log_by_grid = s.log_slope / w;
    let log_by_plate = w_log_slope * (T::of(1.0) - z * s.log_slope) + log_by_grid * drive_by_plate;
    let ik_by_grid = ik * law.x * log_by_grid;
    let ik_by_plate = ik * law.x * log_by_plate;

    let (g, g_slope) = grid_part(&law, grid);
    let (share, left, rest, whole) = shared(&law, g, p);
    let share_by_grid = g_slope * rest / (whole * whole);
    let share_by_plate = -g * law.d * p_slope / (whole * whole);

    TriodePoint {
        plate_a: left * ik,
        grid_a: share * ik,
        plate_by_plate: left * ik_by_plate - share_by_plate * ik,
        plate_by_grid: left * ik_by_grid - share_by_grid * ik,
        grid_by_plate: share * ik_by_plate + share_by_plate * ik,
        grid_by_grid: share * ik_by_grid + share_by_grid * ik,
    }
}
