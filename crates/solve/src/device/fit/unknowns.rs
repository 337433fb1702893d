//! The parameters of the laws as unknowns of a fit: their scale, bounds, and how far known types are apart.
//!
//! A fit works on numbers `u`: how many spreads a parameter is away from the kin's value. Bounds keep the laws
//! physical for every voltage (no negative current, the screen never catches all).

use super::super::{PentodeLaw, TriodeLaw, ValveLaw};
use super::{Held, Sort};

/// One parameter as an unknown.
#[derive(Debug, Clone, Copy)]
pub(super) struct Unknown {
    /// Its name in the equations.
    pub(super) name: &'static str,
    /// Counted by its logarithm.
    log: bool,
    /// Least and largest value (of `w1` its product with mu).
    bounds: (f64, f64),
    /// How far apart known types are (of a logarithm where it is one): one standard deviation, about.
    spread: f64,
}

const fn unknown(name: &'static str, log: bool, bounds: (f64, f64), spread: f64) -> Unknown {
    Unknown {
        name,
        log,
        bounds,
        spread,
    }
}

/// Scale, amplification and screen share are what tells types apart: they are hardly pulled at all.
const FREE: f64 = 2.0;

/// Of set T, in the order in which they are freed.
const TRIODE: [Unknown; 7] = [
    unknown("k", true, (1e-7, 1.0), FREE),
    unknown("mu", true, (1.5, 300.0), FREE),
    unknown("x", false, (1.1, 1.7), 0.05),
    unknown("w1", true, (0.01, 1.5), 0.4),
    unknown("v0", false, (-0.5, 1.5), 0.2),
    unknown("w0", true, (0.03, 2.0), 0.4),
    unknown("vb", true, (5.0, 100.0), 0.2),
];

/// Of set P, in the order in which they are freed.
const PENTODE: [Unknown; 11] = [
    unknown("k", true, (1e-7, 1.0), FREE),
    unknown("mu", true, (2.0, 100.0), FREE),
    unknown("s", true, (0.003, 0.45), FREE),
    unknown("x", false, (1.1, 1.7), 0.06),
    unknown("lam", true, (1e-4, 0.3), 0.6),
    unknown("w1", true, (0.01, 1.5), 0.4),
    unknown("v1", true, (3.0, 300.0), 0.3),
    unknown("m", false, (0.0, 1.0), 0.15),
    unknown("n", true, (1.0, 6.0), 0.2),
    unknown("vmin", true, (1.0, 40.0), 0.2),
    unknown("r0", false, (0.2, 0.95), 0.05),
];

/// The unknowns of a sort.
pub(super) fn unknowns(sort: Sort) -> &'static [Unknown] {
    match sort {
        Sort::Triode => &TRIODE,
        Sort::Pentode => &PENTODE,
    }
}

/// Only rows at the knee, where the plate is well below the screen, can tell these.
pub(super) fn is_of_the_knee(name: &str) -> bool {
    matches!(name, "v1" | "n" | "vmin" | "r0")
}

impl Unknown {
    fn scaled(&self, value: f64) -> f64 {
        if self.log {
            value.max(1e-300).ln()
        } else {
            value
        }
    }

    fn value(&self, scaled: f64) -> f64 {
        if self.log { scaled.exp() } else { scaled }
    }

    /// The bounds as numbers of spreads away from the kin's value, which is always inside.
    pub(super) fn reach(&self, kin: f64) -> (f64, f64) {
        let at = |bound: f64| (self.scaled(bound) - self.scaled(kin)) / self.spread;
        (at(self.bounds.0).min(0.0), at(self.bounds.1).max(0.0))
    }

    /// The parameter `u` spreads away from the kin's value.
    pub(super) fn moved(&self, kin: f64, u: f64) -> f64 {
        self.value(self.scaled(kin) + self.spread * u)
    }

    /// A standard deviation in spreads as one of the parameter.
    pub(super) fn uncertainty(&self, value: f64, sigma_u: f64) -> f64 {
        let scaled = self.spread * sigma_u;
        if self.log { value * scaled } else { scaled }
    }
}

/// The values of a law's unknowns; `w1` as its product with mu.
pub(super) fn values(law: ValveLaw) -> Vec<f64> {
    match law {
        ValveLaw::Triode(l) => vec![l.k, l.mu, l.x, l.w1 * l.mu, l.v0, l.w0, l.vb],
        ValveLaw::Pentode(l) => vec![
            l.k,
            l.mu,
            l.s,
            l.x,
            l.lam,
            l.w1 * l.mu,
            l.v1,
            l.m,
            l.n,
            l.vmin,
            l.r0,
        ],
        ValveLaw::Rectifier(p) => vec![p],
    }
}

/// The grid's share goes with the amplification factor: `d = 6.5 / mu`.
const GRID_SHARE: f64 = 6.5;

/// The law with these values; what is no unknown is as in the kin.
pub(super) fn law(kin: ValveLaw, values: &[f64]) -> ValveLaw {
    match (kin, values) {
        (ValveLaw::Triode(of), &[k, mu, x, w1_mu, v0, w0, vb]) => ValveLaw::Triode(TriodeLaw {
            k,
            mu,
            x,
            w0,
            w1: w1_mu / mu,
            v0,
            vb,
            d: GRID_SHARE / mu,
            ..of
        }),
        (ValveLaw::Pentode(of), &[k, mu, s, x, lam, w1_mu, v1, m, n, vmin, r0]) => {
            ValveLaw::Pentode(PentodeLaw {
                k,
                mu,
                x,
                w1: w1_mu / mu,
                lam,
                s,
                m,
                vmin,
                v1,
                n,
                r0,
                d: GRID_SHARE / mu,
                ..of
            })
        }
        _ => kin,
    }
}

/// A number with five significant digits, as a file holds it.
pub(super) fn five(value: f64) -> f64 {
    format!("{value:.4e}").parse().unwrap_or(value)
}

/// The law with its numbers rounded as they will be written.
pub(super) fn rounded(law: ValveLaw) -> ValveLaw {
    match law {
        ValveLaw::Triode(l) => ValveLaw::Triode(TriodeLaw {
            k: five(l.k),
            mu: five(l.mu),
            x: five(l.x),
            w0: five(l.w0),
            w1: five(l.w1),
            v0: five(l.v0),
            vb: five(l.vb),
            d: five(l.d),
            ..l
        }),
        ValveLaw::Pentode(l) => ValveLaw::Pentode(PentodeLaw {
            k: five(l.k),
            mu: five(l.mu),
            x: five(l.x),
            w0: five(l.w0),
            w1: five(l.w1),
            lam: five(l.lam),
            s: five(l.s),
            m: five(l.m),
            vmin: five(l.vmin),
            v1: five(l.v1),
            n: five(l.n),
            r0: five(l.r0),
            d: five(l.d),
            ..l
        }),
        ValveLaw::Rectifier(p) => ValveLaw::Rectifier(five(p)),
    }
}

/// Parameters that no row of steady currents below 0 V on the grid can tell, with why they are as they are.
pub(super) fn never_fitted(law: ValveLaw) -> Vec<(&'static str, f64, Held)> {
    match law {
        ValveLaw::Triode(l) => vec![
            ("d", l.d, Held::GoesWithMu),
            ("wg", l.wg, Held::NeverFitted),
            ("vg0", l.vg0, Held::NeverFitted),
        ],
        ValveLaw::Pentode(l) => vec![
            ("w0", l.w0, Held::NeverFitted),
            ("d", l.d, Held::GoesWithMu),
            ("wg", l.wg, Held::NeverFitted),
            ("vg0", l.vg0, Held::NeverFitted),
        ],
        ValveLaw::Rectifier(_) => Vec::new(),
    }
}
