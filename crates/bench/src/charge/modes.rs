//! How the volts on capacitors fall when they empty through resistances.
//!
//! With the capacitors' ports seen from outside, a resistive network is a matrix `R` (volts across
//! port `i` for an ampere into port `j`), so `V = -R C dV/dt`. With `M = C^(1/2) R C^(1/2)`, which is
//! symmetric, `V(t) = C^(-1/2) Q exp(-t/tau) Q' C^(1/2) V(0)`: exact sums of exponentials, no time
//! steps. Capacitors side by side share their charge in the first instant (`tau` 0); what has no
//! path keeps its share for ever (`tau` without end).
//!
//! `M` is brought to its diagonal by Jacobi's rotations (G. H. Golub and C. F. Van Loan, Matrix
//! Computations, chapter 8, from memory, not seen).

/// Beyond this, seconds, volts count as staying: 11 days.
pub(super) const FOR_EVER: f64 = 1e6;
/// Earliest time that is looked at, seconds.
const FIRST: f64 = 1e-4;
/// Times looked at in each factor of ten.
const LOOKS: i32 = 40;
/// Sweeps of rotations after which the matrix is taken as it stands; six to ten are usual.
const MOST_SWEEPS: usize = 60;

/// A network of capacitors and resistances, ready for any starting volts.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Modes {
    /// Time constants, seconds, 0 or more.
    tau: Vec<f64>,
    /// Directions, one column a time constant.
    directions: Vec<Vec<f64>>,
    /// Square roots of the farads.
    roots: Vec<f64>,
}

/// The volts of every port over time, from given starting volts.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Course<'m> {
    modes: &'m Modes,
    /// How much of each direction there is at the start.
    shares: Vec<f64>,
}

impl Modes {
    /// `ohms[i][j]` is the volts across port `i` for one ampere into port `j`; `farads[i]` is
    /// above 0.
    pub(super) fn new(ohms: &[Vec<f64>], farads: &[f64]) -> Self {
        let roots: Vec<f64> = farads.iter().map(|c| c.max(0.0).sqrt()).collect();
        let at = |i: usize, j: usize| {
            let one = ohms.get(i).and_then(|row| row.get(j)).copied();
            let other = ohms.get(j).and_then(|row| row.get(i)).copied();
            f64::midpoint(one.unwrap_or(0.0), other.unwrap_or(0.0))
        };
        let matrix = (0..roots.len())
            .map(|i| {
                (0..roots.len())
                    .map(|j| at(i, j) * roots[i] * roots[j])
                    .collect()
            })
            .collect();
        let (tau, directions) = diagonal(matrix);
        Self {
            tau: tau.into_iter().map(|t| t.max(0.0)).collect(),
            directions,
            roots,
        }
    }

    /// The course from these volts.
    pub(super) fn from(&self, start: &[f64]) -> Course<'_> {
        let shares = (0..self.tau.len())
            .map(|k| {
                let along = self.directions.iter().zip(&self.roots).zip(start);
                along
                    .map(|((row, root), volts)| row.get(k).copied().unwrap_or(0.0) * root * volts)
                    .sum()
            })
            .collect();
        Course {
            modes: self,
            shares,
        }
    }
}

impl Course<'_> {
    /// A port, to be followed: how much of each direction its volts have.
    pub(super) fn port(&self, port: usize) -> Seen {
        let along = match (self.modes.directions.get(port), self.modes.roots.get(port)) {
            (Some(row), Some(root)) if *root > 0.0 => row.iter().map(|d| d / root).collect(),
            _ => Vec::new(),
        };
        self.weighted(along)
    }

    /// A point that has `ohms[j]` volts over ground for one ampere into port `j`, to be followed.
    ///
    /// The capacitors drive `-C dV/dt` into their ports; directions that are gone in the first
    /// instant drive nothing afterwards.
    pub(super) fn point(&self, ohms: &[f64]) -> Seen {
        let of = |k: usize, tau: f64| {
            let rows = self.modes.directions.iter().zip(&self.modes.roots);
            let sum: f64 = rows
                .zip(ohms)
                .map(|((row, root), r)| r * root * row.get(k).copied().unwrap_or(0.0))
                .sum();
            if tau > 0.0 { sum / tau } else { 0.0 }
        };
        let tau = self.modes.tau.iter().enumerate();
        self.weighted(tau.map(|(k, tau)| of(k, *tau)).collect())
    }

    fn weighted(&self, along: Vec<f64>) -> Seen {
        let terms = along.iter().zip(&self.shares).zip(&self.modes.tau);
        Seen(terms.map(|((a, s), tau)| (a * s, *tau)).collect())
    }
}

/// Volts as a sum of exponentials: volts at the start and time constant of each.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Seen(Vec<(f64, f64)>);

impl Seen {
    /// Volts after so many seconds.
    pub(super) fn volts(&self, seconds: f64) -> f64 {
        let left = |tau: f64| {
            if seconds <= 0.0 {
                1.0
            } else if tau > 0.0 {
                (-seconds / tau).exp()
            } else {
                0.0
            }
        };
        self.0.iter().map(|(volts, tau)| volts * left(*tau)).sum()
    }

    /// The last moment, seconds, at which there are more than `level` volts either way: 0 if there
    /// never are, none if there still are after [`FOR_EVER`].
    ///
    /// A capacitor may be charged again by its neighbours, so every time is looked at, not the
    /// first crossing.
    pub(super) fn last_above(&self, level: f64) -> Option<f64> {
        let above = |t: f64| self.volts(t).abs() > level;
        if above(FOR_EVER) {
            return None;
        }
        let decades = (FOR_EVER / FIRST).log10();
        let count = (decades * f64::from(LOOKS)).round() as i32;
        let time = |i: i32| FIRST * 10f64.powf(f64::from(i) / f64::from(LOOKS));
        let Some(last) = (0..count).rev().find(|i| above(time(*i))) else {
            return Some(0.0);
        };
        let (mut yes, mut no) = (time(last), time(last + 1));
        for _ in 0..60 {
            let middle = f64::midpoint(yes, no);
            if above(middle) {
                yes = middle;
            } else {
                no = middle;
            }
        }
        Some(no)
    }
}

/// Eigenvalues and, as columns, eigenvectors of a symmetric matrix.
fn diagonal(mut m: Vec<Vec<f64>>) -> (Vec<f64>, Vec<Vec<f64>>) {
    let size = m.len();
    let mut q: Vec<Vec<f64>> = (0..size)
        .map(|i| (0..size).map(|j| f64::from(u8::from(i == j))).collect())
        .collect();
    for _ in 0..MOST_SWEEPS {
        let mut turned = false;
        for i in 0..size {
            for j in i + 1..size {
                turned |= rotate(&mut m, &mut q, i, j);
            }
        }
        if !turned {
            break;
        }
    }
    ((0..size).map(|i| m[i][i]).collect(), q)
}

/// Turns rows and columns `i` and `j` so that their common entry goes; false if it is already
/// nothing beside the diagonal.
fn rotate(m: &mut [Vec<f64>], q: &mut [Vec<f64>], i: usize, j: usize) -> bool {
    let off = m[i][j];
    let beside = (m[i][i] * m[j][j]).abs().sqrt();
    if off == 0.0 || !off.is_finite() || off.abs() <= 1e-15 * beside {
        return false;
    }
    let theta = (m[j][j] - m[i][i]) / (2.0 * off);
    let t = theta.signum() / (theta.abs() + theta.hypot(1.0));
    let t = if theta == 0.0 { 1.0 } else { t };
    let c = 1.0 / t.hypot(1.0);
    let s = t * c;
    for row in m.iter_mut() {
        let (a, b) = (row[i], row[j]);
        row[i] = c * a - s * b;
        row[j] = s * a + c * b;
    }
    let (upper, lower) = m.split_at_mut(j);
    for (x, y) in upper[i].iter_mut().zip(&mut lower[0]) {
        let (a, b) = (*x, *y);
        *x = c * a - s * b;
        *y = s * a + c * b;
    }
    for row in q.iter_mut() {
        let (a, b) = (row[i], row[j]);
        row[i] = c * a - s * b;
        row[j] = s * a + c * b;
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn near(a: f64, b: f64, part: f64) -> bool {
        (a - b).abs() <= part * b.abs().max(1e-12)
    }

    /// `t = R C ln(V0/V)`: 220k on 50 uF from 450 V falls to 60 V in 22 s. The formula is in every
    /// textbook; the worked figure is common practice, no source.
    #[test]
    fn one_capacitor_falls_as_the_formula_says() {
        let modes = Modes::new(&[vec![220e3]], &[50e-6]);
        let course = modes.from(&[450.0]);
        let t = course.port(0).last_above(60.0).unwrap();
        assert!(near(t, 220e3 * 50e-6 * (450.0f64 / 60.0).ln(), 1e-6), "{t}");
        assert!((t - 22.0).abs() < 0.5);
        assert!(near(
            course.port(0).volts(11.0),
            450.0 / std::f64::consts::E,
            1e-9
        ));
    }

    /// Two stages, R1 to ground at the first, R2 between: against the roots of the quadratic that
    /// two node equations give by hand.
    #[test]
    fn two_sections_against_the_quadratic() {
        let (r1, r2, c1, c2) = (220e3, 10e3, 32e-6, 16e-6);
        // an ampere into port 1 lifts both by R1; into port 2, port 2 by R1 + R2
        let modes = Modes::new(&[vec![r1, r1], vec![r1, r1 + r2]], &[c1, c2]);
        // s^2 (R C)^2-form: det(I + s R C) = 1 + s (r1 c1 + (r1+r2) c2) + s^2 r1 r2 c1 c2
        let (b, a) = (r1 * c1 + (r1 + r2) * c2, r1 * r2 * c1 * c2);
        let slow = f64::midpoint(b, (b * b - 4.0 * a).sqrt());
        let largest = modes.tau.iter().copied().fold(0.0, f64::max);
        assert!(near(largest, slow, 1e-9), "{largest} {slow}");
        // the charge that neither had lost at first goes through R1 alone
        let course = modes.from(&[300.0, 0.0]);
        let early = course.port(1).volts(1.0);
        // 300 V on 32 uF share to 200 V, and lose a tenth in the first second of 10.6
        let shared = 200.0 * (-1.0f64 / (r1 * (c1 + c2))).exp();
        assert!(
            (early / shared - 1.0).abs() < 0.03,
            "charged by its neighbour: {early}"
        );
    }

    #[test]
    fn side_by_side_they_share_and_without_a_path_they_stay() {
        let modes = Modes::new(&[vec![1e5, 1e5], vec![1e5, 1e5]], &[10e-6, 30e-6]);
        let course = modes.from(&[400.0, 0.0]);
        assert!(near(course.port(0).volts(1e-6), 100.0, 1e-4));
        assert!(near(course.port(1).volts(1e-6), 100.0, 1e-4));
        let stays = Modes::new(&[vec![1e13]], &[16e-6]);
        assert_eq!(stays.from(&[300.0]).port(0).last_above(10.0), None);
        assert_eq!(stays.from(&[9.0]).port(0).last_above(10.0), Some(0.0));
        assert_eq!(
            Modes::new(&[], &[]).from(&[]).port(0).last_above(10.0),
            Some(0.0)
        );
    }

    proptest! {
        /// A ladder of random sections: after any time each port has lost charge only through the
        /// resistances, so the energy never grows.
        #[test]
        fn energy_only_falls(
            parts in proptest::collection::vec((3.0f64..6.5, 3.0f64..6.5, -9.0f64..-4.0, -500.0f64..500.0), 1..7),
        ) {
            // ladder: series resistance to the node before, shunt to ground, capacitor to ground
            let n = parts.len();
            let mut siemens = nalgebra::DMatrix::<f64>::zeros(n, n);
            for (i, (series, shunt, _, _)) in parts.iter().enumerate() {
                siemens[(i, i)] += 10f64.powf(-shunt);
                if i > 0 {
                    let g = 10f64.powf(-series);
                    siemens[(i, i)] += g;
                    siemens[(i - 1, i - 1)] += g;
                    siemens[(i, i - 1)] -= g;
                    siemens[(i - 1, i)] -= g;
                }
            }
            let ohms = siemens.clone().try_inverse().unwrap();
            let rows: Vec<Vec<f64>> = (0..n).map(|i| (0..n).map(|j| ohms[(i, j)]).collect()).collect();
            let farads: Vec<f64> = parts.iter().map(|p| 10f64.powf(p.2)).collect();
            let start: Vec<f64> = parts.iter().map(|p| p.3).collect();
            let modes = Modes::new(&rows, &farads);
            let course = modes.from(&start);
            let energy = |t: f64| (0..n).map(|i| farads[i] * course.port(i).volts(t).powi(2)).sum::<f64>();
            let whole = energy(0.0);
            prop_assert!(near(whole, (0..n).map(|i| farads[i] * start[i] * start[i]).sum(), 1e-6));
            let mut last = whole;
            for k in -6..6 {
                let now = energy(10f64.powi(k));
                prop_assert!(now <= last * (1.0 + 1e-9) + 1e-12 * whole);
                last = now;
            }
            // C dV/dt = -G V, by a small difference at some moment
            let t = 0.3 * modes.tau.iter().copied().fold(0.0, f64::max);
            let h = 1e-5 * t;
            for i in 0..n {
                let slope = farads[i] * (course.port(i).volts(t + h) - course.port(i).volts(t - h)) / (2.0 * h);
                let drawn: f64 = (0..n).map(|j| siemens[(i, j)] * course.port(j).volts(t)).sum();
                let size: f64 = (0..n).map(|j| (siemens[(i, j)] * course.port(j).volts(t)).abs()).sum();
                prop_assert!((slope + drawn).abs() <= 1e-4 * size + 1e-15, "{slope} {drawn}");
            }
        }
    }
}
