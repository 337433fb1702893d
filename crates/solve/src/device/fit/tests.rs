//! Fits against published rows, against formulas that share no code with the laws, and against nonsense.

use super::*;
use crate::device::{PentodeLaw, TriodeLaw, laws};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use wiring::sheet::{Confidence, Library};

mod made;
mod odd;
mod published;

/// Equation set T written out once more, plainly: plate current below 0 V on the grid.
fn set_t(l: &TriodeLaw, va: f64, vg: f64) -> f64 {
    let w = (l.w0 * l.w0 + l.w1 * l.w1 * va * va).sqrt();
    let e = w
        * ((vg + l.v0 * va / (va + l.vb) + va / l.mu) / w)
            .exp()
            .ln_1p();
    let grid = l.wg * ((vg - l.vg0) / l.wg).exp().ln_1p();
    l.k * e.powf(l.x) * l.d * va / (grid + l.d * va)
}

/// A triode that no library has.
const UNKNOWN: TriodeLaw = TriodeLaw {
    k: 0.0021,
    mu: 33.0,
    x: 1.41,
    w0: 0.24,
    w1: 0.0052,
    v0: 0.38,
    vb: 22.0,
    d: 6.5 / 33.0,
    wg: 0.079,
    vg0: 0.018,
};

/// Points over the region that a bench covers, where at least 0.2 mA flows.
fn bench_points() -> Vec<(f64, f64)> {
    let mut all = Vec::new();
    for va in [60.0, 100.0, 150.0, 200.0, 250.0, 300.0] {
        for vg in [-0.5, -1.0, -2.0, -3.0, -4.0, -6.0, -8.0] {
            if set_t(&UNKNOWN, va, vg) > 2e-4 {
                all.push((va, vg));
            }
        }
    }
    all
}

fn triode(law: ValveLaw) -> TriodeLaw {
    match law {
        ValveLaw::Triode(law) => law,
        _ => panic!("a triode"),
    }
}
