//! Equation set P: a pentode's or beam tetrode's currents, with their slopes.
//!
//! ```text
//! v2+ = 0.5 softplus(Vg2 / 0.5)      va+ = 0.5 softplus(Va / 0.5)
//! w   = sqrt(w0^2 + (w1 v2+)^2)
//! E   = w softplus((Vg1 + (Vg2 + lam Va) / mu) / w)
//! Ik  = K E^x                                         space current
//! Vk  = vmin + v1 (Ik / 0.1 A)^(2/3)                  the knee grows with current
//! u   = va+ / Vk      h = u / (1 + u^n)^(1/n)         how much of the beam the plate accepts
//! s   = S (1 + m (v2+ - va+) / (v2+ + va+))           what the screen wires catch
//! Ic  = Ik (r0 + (1 - r0) h)                          some of what returns reaches the cathode again
//! vg+ = wg softplus((Vg1 - vg0) / wg)   d = vg+ / (vg+ + D v2+)
//! Ig1 = d Ic     Ia = (1 - d)(1 - s) h Ic     Ig2 = (1 - d) Ic - Ia
//! ```
//!
//! Division of current after K.R. Spangenberg, Vacuum Tubes, 1948 (from memory, not seen): the space
//! current hardly depends on plate volts, its division on the ratio of plate to screen. The three
//! currents sum to Ic. Grid 3 is at the cathode.
//!
//! Trust plate current to 5 %, screen current at full signal to 15 %, at rest in cold bias it may come out 70 % high. There is no
//! secondary-emission kink, no gas and no grid emission.

use super::PentodeLaw;
use super::number::Number;
use super::smooth::{FURTHEST_VOLTS, SLIVER};
use super::triode::KNEE_VOLTS;

/// `v1` is the growth of the knee at 0.1 A: one over that, to the power of 2/3.
const PER_KNEE_AMPS: f64 = 4.641_588_833_612_779;

/// A current and its slopes. Amperes and siemens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sloped<T = f64> {
    /// The current, never negative.
    pub amps: T,
    /// By plate volts.
    pub by_plate: T,
    /// By screen volts.
    pub by_screen: T,
    /// By grid volts.
    pub by_grid: T,
}

/// Currents and slopes of a pentode at one point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PentodePoint<T = f64> {
    /// Plate current; never falls with rising plate volts.
    pub plate: Sloped<T>,
    /// Screen current.
    pub screen: Sloped<T>,
    /// Control-grid current.
    pub grid: Sloped<T>,
}

impl PentodeLaw {
    /// Currents at plate, screen and grid volts, all against the cathode.
    ///
    /// Finite for every finite voltage; beyond 1 MV either way nothing changes any more.
    ///
    /// ```
    /// let law = solve::device::pentode_law("EL84", None).unwrap();
    /// let point = law.currents(250.0, 250.0, -7.3);
    /// assert!((point.plate.amps - 48e-3).abs() < 2e-3);
    /// ```
    #[must_use]
    pub fn currents(self, plate: f64, screen: f64, grid: f64) -> PentodePoint {
        pentode_currents(self, plate, screen, grid)
    }

    /// Currents with the screen joined to the plate.
    #[must_use]
    pub fn triode_connected(self, plate: f64, grid: f64) -> super::TriodePoint {
        let p = self.currents(plate, plate, grid);
        super::TriodePoint {
            plate_a: p.plate.amps + p.screen.amps,
            grid_a: p.grid.amps,
            plate_by_plate: p.plate.by_plate
                + p.plate.by_screen
                + p.screen.by_plate
                + p.screen.by_screen,
            plate_by_grid: p.plate.by_grid + p.screen.by_grid,
            grid_by_plate: p.grid.by_plate + p.grid.by_screen,
            grid_by_grid: p.grid.by_grid,
        }
    }
}

/// [`PentodeLaw::currents`], of one valve or of several side by side.
#[inline(always)]
pub(crate) fn pentode_currents<T: Number>(
    law: PentodeLaw<T>,
    plate: T,
    screen: T,
    grid: T,
) -> PentodePoint<T> {
    let plate = plate.within(FURTHEST_VOLTS);
    let screen = screen.within(FURTHEST_VOLTS);
    let grid = grid.within(FURTHEST_VOLTS);

    let (v2, v2_slope) = screen.positive_part(T::of(KNEE_VOLTS));
    let (p, p_slope) = plate.positive_part(T::of(KNEE_VOLTS));

    // Space current; logarithmic slopes keep deep cut-off whole.
    let w = (law.w0 * law.w0 + law.w1 * law.w1 * v2 * v2).sqrt();
    let w_log_slope = law.w1 * law.w1 * v2 * v2_slope / (w * w);
    let z = (grid + (screen + law.lam * plate) / law.mu) / w;
    let e = z.softplus(w);
    let ik_log = law.k.ln() + law.x * e.log;
    let root_ik = (ik_log / 3.0).exp_of_few();
    let ik = root_ik * root_ik * root_ik;
    let q = law.x * e.log_slope / w;
    let ik_log_by = [
        q * law.lam / law.mu,
        law.x * w_log_slope * (T::of(1.0) - z * e.log_slope) + q / law.mu,
        q,
    ];

    // Knee and how much of the beam the plate accepts.
    let growth = law.v1 * PER_KNEE_AMPS * root_ik * root_ik;
    let knee = law.vmin + growth;
    let u = p / knee;
    let t = (law.n * u.ln()).exp();
    let root = (-t.ln_1p() / law.n).exp();
    let h = u * root;
    let h_slope = root / (t + 1.0);
    let by_knee = -u / knee * (2.0 / 3.0) * growth;
    let h_by = [
        h_slope * (p_slope / knee + by_knee * ik_log_by[0]),
        h_slope * by_knee * ik_log_by[1],
        h_slope * by_knee * ik_log_by[2],
    ];

    // What the screen wires catch.
    let both = v2 + p + SLIVER;
    let s = law.s * (law.m * (v2 - p) / both + 1.0);
    let s_by = [
        -law.s * law.m * (v2 * 2.0 + SLIVER) / (both * both) * p_slope,
        law.s * law.m * (p * 2.0 + SLIVER) / (both * both) * v2_slope,
        T::of(0.0),
    ];

    // What the cathode gives in all.
    let returned = T::of(1.0) - law.r0;
    let kept = law.r0 + returned * h;
    let ic = ik * kept;
    let ic_by: [T; 3] = three(
        #[inline(always)]
        |i| ic * ik_log_by[i] + ik * returned * h_by[i],
    );

    // The control grid's share.
    let (g, g_slope) = (grid - law.vg0).positive_part(law.wg);
    let rest = law.d * (v2 + SLIVER);
    let whole = g + rest;
    let share = g / whole;
    let left = rest / whole;
    let share_by = [
        T::of(0.0),
        -g * law.d * v2_slope / (whole * whole),
        g_slope * rest / (whole * whole),
    ];

    // The plate's part of the rest, and the screen's.
    let passed = T::of(1.0) - s;
    let part = passed * h;
    let part_by: [T; 3] = three(
        #[inline(always)]
        |i| passed * h_by[i] - s_by[i] * h,
    );
    let out = left * ic;
    let out_by: [T; 3] = three(
        #[inline(always)]
        |i| left * ic_by[i] - share_by[i] * ic,
    );

    let others = T::of(1.0) - part;
    PentodePoint {
        plate: sloped(
            part * out,
            three(
                #[inline(always)]
                |i| part * out_by[i] + part_by[i] * out,
            ),
        ),
        screen: sloped(
            others * out,
            three(
                #[inline(always)]
                |i| others * out_by[i] - part_by[i] * out,
            ),
        ),
        grid: sloped(
            share * ic,
            three(
                #[inline(always)]
                |i| share * ic_by[i] + share_by[i] * ic,
            ),
        ),
    }
}
/// By plate, screen and grid volts.
#[inline(always)]
fn three<T>(by: impl Fn(usize) -> T) -> [T; 3] {
    [by(0), by(1), by(2)]
}

#[inline(always)]
fn sloped<T>(amps: T, [by_plate, by_screen, by_grid]: [T; 3]) -> Sloped<T> {
    Sloped {
        amps,
        by_plate,
        by_screen,
        by_grid,
    }
}
