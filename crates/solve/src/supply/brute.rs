//! Tests only: a plain time integration of supplies, written apart from everything it checks.
//!
//! Trapezium rule on nodal equations with a dense solver, from rest, for as many cycles as it
//! takes; laws are written out again. Slow, simple, and sharing nothing with the periodic solution.

use nalgebra::{DMatrix, DVector};
use std::f64::consts::{SQRT_2, TAU};

#[derive(Clone, Debug)]
pub(super) enum Part {
    R(usize, usize, f64),
    C(usize, usize, f64),
    L(usize, usize, f64, f64),
    /// Windings: ends, turns, ohms; then the core's henries for one turn.
    T(Vec<(usize, usize, f64, f64)>, f64),
    /// Sine of volts rms, in series with ohms.
    Mains(usize, usize, f64, f64),
    /// `P v^1.5`.
    Valve(usize, usize, f64),
    /// Saturation, emission volts, ohms.
    Junction(usize, usize, f64, f64, f64),
}

/// What the last cycle shows.
pub(super) struct Seen {
    /// Mean volts of each node.
    pub(super) mean: Vec<f64>,
    /// Rms of the departure from it.
    pub(super) ripple: Vec<f64>,
    /// Mean, rms and peak current of each part that has a current of its own (diodes, mains).
    pub(super) amps: Vec<(f64, f64, f64)>,
}

fn diode(part: &Part, v: f64) -> (f64, f64) {
    match *part {
        Part::Valve(_, _, p) if v > 0.0 => (p * v.powf(1.5), 1.5 * p * v.sqrt()),
        Part::Junction(_, _, s, e, r) => {
            // Bisection in the junction's own volts, then its slope.
            let (mut low, mut high) = (v.min(0.0) - 1.0, v.max(0.0));
            for _ in 0..200 {
                let u = 0.5 * (low + high);
                if u + r * s * ((u / e).min(200.0).exp() - 1.0) > v {
                    high = u;
                } else {
                    low = u;
                }
            }
            let u = 0.5 * (low + high);
            let g = s / e * (u / e).exp();
            (s * ((u / e).exp() - 1.0), g / (1.0 + r * g))
        }
        _ => (0.0, 0.0),
    }
}

/// Integrates `cycles` cycles of `steps` steps and looks at the last.
pub(super) fn run(nodes: usize, parts: &[Part], hertz: f64, steps: usize, cycles: usize) -> Seen {
    let h = 1.0 / (hertz * steps as f64);
    let extra = parts.iter().filter(|p| matches!(p, Part::T(..))).count();
    let size = nodes - 1 + extra;
    let mut x = DVector::<f64>::zeros(size);
    // State of each part: (volts, amps) of a capacitor or coil; core: (turn volts, amps).
    let mut state = vec![(0.0_f64, 0.0_f64); parts.len()];
    let mut mean = vec![0.0; nodes];
    let mut square = vec![0.0; nodes];
    let mut amps = vec![(0.0, 0.0, 0.0_f64); parts.len()];
    let at = |x: &DVector<f64>, n: usize| if n == 0 { 0.0 } else { x[n - 1] };
    for j in 1..=steps * cycles {
        let wave = SQRT_2 * (TAU * hertz * h * j as f64).cos();
        for iteration in 0..60 {
            let mut a = DMatrix::<f64>::zeros(size, size);
            let mut f = DVector::<f64>::zeros(size);
            let mut add = |a: &mut DMatrix<f64>, p: usize, q: usize, g: f64, i: f64| {
                for (n, s) in [(p, 1.0), (q, -1.0)] {
                    if n > 0 {
                        f[n - 1] += s * i;
                        for (o, t) in [(p, 1.0), (q, -1.0)] {
                            if o > 0 {
                                a[(n - 1, o - 1)] += s * t * g;
                            }
                        }
                    }
                }
            };
            for n in 1..nodes {
                add(&mut a, n, 0, 1e-12, 1e-12 * x[n - 1]);
            }
            let mut core = nodes - 1;
            let mut rows = Vec::new();
            for (k, part) in parts.iter().enumerate() {
                match part {
                    Part::R(p, q, r) => add(&mut a, *p, *q, 1.0 / r, (at(&x, *p) - at(&x, *q)) / r),
                    Part::C(p, q, c) => {
                        let g = 2.0 * c / h;
                        let v = at(&x, *p) - at(&x, *q);
                        add(&mut a, *p, *q, g, g * (v - state[k].0) - state[k].1);
                    }
                    Part::L(p, q, l, r) => {
                        // L di/dt = v - r i, trapezium.
                        let v = at(&x, *p) - at(&x, *q);
                        let g = h / 2.0 / (l + h * r / 2.0);
                        let i = (state[k].1 * (l - h * r / 2.0) + h / 2.0 * (v + state[k].0))
                            / (l + h * r / 2.0);
                        add(&mut a, *p, *q, g, i);
                    }
                    Part::Mains(p, q, v, r) => {
                        let across = at(&x, *p) - at(&x, *q);
                        add(&mut a, *p, *q, 1.0 / r, (across - v * wave) / r);
                    }
                    Part::Valve(p, q, ..) | Part::Junction(p, q, ..) => {
                        let (i, g) = diode(part, at(&x, *p) - at(&x, *q));
                        add(&mut a, *p, *q, g, i);
                    }
                    Part::T(windings, henries) => {
                        let u = x[core];
                        let g = h / 2.0 / henries;
                        let magnetising = state[k].1 + g * (u + state[k].0);
                        let mut balance = magnetising;
                        let mut own = g;
                        for (p, q, turns, r) in windings {
                            let i = (at(&x, *p) - at(&x, *q) - turns * u) / r;
                            add(&mut a, *p, *q, 1.0 / r, i);
                            for (n, s) in [(*p, 1.0), (*q, -1.0)] {
                                if n > 0 {
                                    rows.push((n - 1, core, -s * turns / r));
                                    rows.push((core, n - 1, -s * turns / r));
                                }
                            }
                            balance -= turns * i;
                            own += turns * turns / r;
                        }
                        rows.push((core, core, own));
                        rows.push((core, usize::MAX, balance));
                        core += 1;
                    }
                }
            }
            for (r, c, v) in rows {
                if c == usize::MAX {
                    f[r] += v;
                } else {
                    a[(r, c)] += v;
                }
            }
            let step = a.lu().solve(&f).expect("regular");
            // Junctions are entered in steps of their knee.
            let size = step.amax();
            let limit = if iteration < 40 { 1.0 } else { 0.3 };
            x -= &step * limit;
            if size < 1e-9 {
                break;
            }
        }
        let mut core = nodes - 1;
        for (k, part) in parts.iter().enumerate() {
            let mut through = 0.0;
            match part {
                Part::C(p, q, c) => {
                    let v = at(&x, *p) - at(&x, *q);
                    state[k] = (v, 2.0 * c / h * (v - state[k].0) - state[k].1);
                }
                Part::L(p, q, l, r) => {
                    let v = at(&x, *p) - at(&x, *q);
                    let i = (state[k].1 * (l - h * r / 2.0) + h / 2.0 * (v + state[k].0))
                        / (l + h * r / 2.0);
                    state[k] = (v, i);
                }
                Part::T(_, henries) => {
                    let u = x[core];
                    state[k] = (u, state[k].1 + h / 2.0 / henries * (u + state[k].0));
                    core += 1;
                }
                Part::Mains(p, q, v, r) => {
                    through = (at(&x, *p) - at(&x, *q) - v * wave) / r;
                }
                Part::Valve(p, q, ..) | Part::Junction(p, q, ..) => {
                    through = diode(part, at(&x, *p) - at(&x, *q)).0;
                }
                Part::R(p, q, r) => through = (at(&x, *p) - at(&x, *q)) / r,
            }
            if j > steps * (cycles - 1) {
                amps[k].0 += through / steps as f64;
                amps[k].1 += through * through / steps as f64;
                amps[k].2 = amps[k].2.max(through);
            }
        }
        if j > steps * (cycles - 1) {
            for n in 1..nodes {
                mean[n] += x[n - 1] / steps as f64;
                square[n] += x[n - 1] * x[n - 1] / steps as f64;
            }
        }
    }
    let ripple = mean
        .iter()
        .zip(&square)
        .map(|(m, s)| (s - m * m).max(0.0).sqrt())
        .collect();
    for a in &mut amps {
        a.1 = a.1.sqrt();
    }
    Seen { mean, ripple, amps }
}
