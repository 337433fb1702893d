//! From a group's equations to those from one step to the next.

use super::super::super::matrix;
use super::Sweep;
use crate::netlist::{CYCLE_STEPS, LEAST_DECAY, Rectifiers};
use std::f64::consts::TAU;

impl<'a> Sweep<'a> {
    /// All plates open, at steady volts `across` each.
    pub(in super::super) fn new(group: &'a Rectifiers, across: &[f64]) -> Self {
        let m = group.plates.len();
        let stores = group.stores.len();
        let n = 2 * stores;
        let step = 1.0 / (group.hertz.max(1e-3) * CYCLE_STEPS as f64);
        // (1 - 2h/3 A)^-1 applied to [4/3 | -1/3 | 2h/3 B].
        let width = n + m;
        let mut left = vec![0.0; stores * stores];
        let mut right = vec![0.0; stores * width];
        for (s, store) in group.stores.iter().enumerate() {
            for q in 0..stores {
                let rate = store.rates.get(q).copied().unwrap_or(0.0);
                let one = if q == s { 1.0 } else { 0.0 };
                left[s * stores + q] = one - 2.0 / 3.0 * step * (rate - one * LEAST_DECAY);
            }
            right[s * width + s] = 4.0 / 3.0;
            right[s * width + stores + s] = -1.0 / 3.0;
            for d in 0..m {
                let charge = store.charge.get(d).copied().unwrap_or(0.0);
                right[s * width + n + d] = 2.0 / 3.0 * step * charge;
            }
        }
        // Passive networks never make this singular; a damaged one gets stores that stand still.
        if !matrix::solve(&mut left, &mut right, stores, width) {
            right.fill(0.0);
        }
        let mut carry = vec![0.0; n * n];
        let mut feed = vec![0.0; n * m];
        let mut reach = vec![0.0; m * n];
        let mut ohms = vec![0.0; m * m];
        for s in 0..stores {
            carry[s * n..(s + 1) * n].copy_from_slice(&right[s * width..s * width + n]);
            carry[(stores + s) * n + s] = 1.0;
            feed[s * m..(s + 1) * m].copy_from_slice(&right[s * width + n..(s + 1) * width]);
        }
        for d in 0..m {
            for (e, z) in ohms[d * m..(d + 1) * m].iter_mut().enumerate() {
                let row = group.ohms.get(d);
                *z = row.and_then(|row| row.get(e)).copied().unwrap_or(0.0);
            }
            for (s, store) in group.stores.iter().enumerate() {
                let take = store.reach.get(d).copied().unwrap_or(0.0);
                for q in 0..n {
                    reach[d * n + q] += take * carry[s * n + q];
                }
                for e in 0..m {
                    ohms[d * m + e] += take * feed[s * m + e];
                }
            }
        }
        // Two, four, eight ... steps at once: carry twice, and the feed of both halves.
        let mut coasts = vec![(carry.clone(), feed.clone())];
        for _ in 1..9 {
            let Some((carry, feed)) = coasts.last() else {
                break;
            };
            let mut twice = vec![0.0; n * n];
            let mut both = feed.clone();
            for s in 0..n {
                for q in 0..n {
                    let by = carry[s * n + q];
                    for (x, y) in twice[s * n..].iter_mut().zip(&carry[q * n..(q + 1) * n]) {
                        *x += by * y;
                    }
                    for (x, y) in both[s * m..].iter_mut().zip(&feed[q * m..(q + 1) * m]) {
                        *x += by * y;
                    }
                }
            }
            coasts.push((twice, both));
        }
        // Reciprocal diagonal of the inverse; a little is added for plates in parallel.
        let mut seen = vec![1.0; m];
        let mut left = ohms.clone();
        let mut right = vec![0.0; m * m];
        for d in 0..m {
            left[d * m + d] += 1e-2;
            right[d * m + d] = 1.0;
        }
        if matrix::solve(&mut left, &mut right, m, m) {
            for (d, slot) in seen.iter_mut().enumerate() {
                let ohms = 1.0 / right[d * m + d];
                *slot = if ohms.is_finite() {
                    ohms.clamp(1e-3, 1e8)
                } else {
                    1.0
                };
            }
        }
        let mut drive = vec![0.0; CYCLE_STEPS * m];
        let (turn_sin, turn_cos) = (TAU / CYCLE_STEPS as f64).sin_cos();
        for (d, plate) in group.plates.iter().enumerate() {
            let (mut sin, mut cos) = plate.phase.sin_cos();
            for slot in drive.iter_mut().skip(d).step_by(m) {
                (sin, cos) = (
                    sin * turn_cos + cos * turn_sin,
                    cos * turn_cos - sin * turn_sin,
                );
                *slot = across[d] + plate.emf_peak * cos;
            }
        }
        Sweep {
            group,
            m,
            n,
            ohms,
            carry,
            feed,
            reach,
            // With no current the plates see steady volts and emf alone, which is a consistent start.
            volts: vec![0.0; CYCLE_STEPS * m],
            net_volts: drive,
            net_amps: vec![0.0; CYCLE_STEPS * m],
            seen,
            series: 0.0,
            coasts,
            law_amps: vec![0.0; CYCLE_STEPS * m],
            law_slope: vec![0.0; CYCLE_STEPS * m],
            iterations: 0,
        }
    }
}
