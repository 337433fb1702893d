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
use super::smooth::{FURTHEST_VOLTS, SLIVER, ln_1p, positive_part, softplus};
use super::triode::KNEE_VOLTS;

/// `v1` is the growth of the knee at 0.1 A: one over that, to the power of 2/3.
const PER_KNEE_AMPS: f64 = 4.641_588_833_612_779;

/// A current and its slopes. Amperes and siemens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sloped {
    /// The current, never negative.
    pub amps: f64,
    /// By plate volts.
    pub by_plate: f64,
    /// By screen volts.
    pub by_screen: f64,
    /// By grid volts.
    pub by_grid: f64,
}

/// Currents and slopes of a pentode at one point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PentodePoint {
    /// Plate current; never falls with rising plate volts.
    pub plate: Sloped,
    /// Screen current.
    pub screen: Sloped,
    /// Control-grid current.
    pub grid: Sloped,
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
        let plate = plate.clamp(-FURTHEST_VOLTS, FURTHEST_VOLTS);
        let screen = screen.clamp(-FURTHEST_VOLTS, FURTHEST_VOLTS);
        let grid = grid.clamp(-FURTHEST_VOLTS, FURTHEST_VOLTS);

        let (v2, v2_slope) = positive_part(screen, KNEE_VOLTS);
        let (p, p_slope) = positive_part(plate, KNEE_VOLTS);

        // Space current; logarithmic slopes keep deep cut-off whole.
        let w = (self.w0 * self.w0 + self.w1 * self.w1 * v2 * v2).sqrt();
        let w_log_slope = self.w1 * self.w1 * v2 * v2_slope / (w * w);
        let z = (grid + (screen + self.lam * plate) / self.mu) / w;
        let e = softplus(w, z);
        let ik_log = self.k.ln() + self.x * e.log;
        let root_ik = (ik_log / 3.0).exp();
        let ik = root_ik * root_ik * root_ik;
        let q = self.x * e.log_slope / w;
        let ik_log_by = [
            q * self.lam / self.mu,
            self.x * w_log_slope * (1.0 - z * e.log_slope) + q / self.mu,
            q,
        ];

        // Knee and how much of the beam the plate accepts.
        let growth = self.v1 * PER_KNEE_AMPS * root_ik * root_ik;
        let knee = self.vmin + growth;
        let u = p / knee;
        let t = (self.n * u.ln()).exp();
        let root = (-ln_1p(t) / self.n).exp();
        let h = u * root;
        let h_slope = root / (1.0 + t);
        let by_knee = -u / knee * (2.0 / 3.0) * growth;
        let h_by = [
            h_slope * (p_slope / knee + by_knee * ik_log_by[0]),
            h_slope * by_knee * ik_log_by[1],
            h_slope * by_knee * ik_log_by[2],
        ];

        // What the screen wires catch.
        let both = v2 + p + SLIVER;
        let s = self.s * (1.0 + self.m * (v2 - p) / both);
        let s_by = [
            -self.s * self.m * (2.0 * v2 + SLIVER) / (both * both) * p_slope,
            self.s * self.m * (2.0 * p + SLIVER) / (both * both) * v2_slope,
            0.0,
        ];

        // What the cathode gives in all.
        let kept = self.r0 + (1.0 - self.r0) * h;
        let ic = ik * kept;
        let ic_by: [f64; 3] =
            std::array::from_fn(|i| ic * ik_log_by[i] + ik * (1.0 - self.r0) * h_by[i]);

        // The control grid's share.
        let (g, g_slope) = positive_part(grid - self.vg0, self.wg);
        let rest = self.d * (v2 + SLIVER);
        let whole = g + rest;
        let share = g / whole;
        let left = rest / whole;
        let share_by = [
            0.0,
            -g * self.d * v2_slope / (whole * whole),
            g_slope * rest / (whole * whole),
        ];

        // The plate's part of the rest, and the screen's.
        let part = (1.0 - s) * h;
        let part_by: [f64; 3] = std::array::from_fn(|i| (1.0 - s) * h_by[i] - s_by[i] * h);
        let out = left * ic;
        let out_by: [f64; 3] = std::array::from_fn(|i| left * ic_by[i] - share_by[i] * ic);

        let sloped = |amps, by: [f64; 3]| Sloped {
            amps,
            by_plate: by[0],
            by_screen: by[1],
            by_grid: by[2],
        };
        PentodePoint {
            plate: sloped(
                part * out,
                std::array::from_fn(|i| part * out_by[i] + part_by[i] * out),
            ),
            screen: sloped(
                (1.0 - part) * out,
                std::array::from_fn(|i| (1.0 - part) * out_by[i] - part_by[i] * out),
            ),
            grid: sloped(
                share * ic,
                std::array::from_fn(|i| share * ic_by[i] + share_by[i] * ic),
            ),
        }
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
