//! Equations and eigenvalues of a map that is only known by what it does to one vector at a
//! time (Arnoldi; Saad and Schultz, SIAM J. Sci. Stat. Comput. 7, 1986, from memory, not seen).

use nalgebra::linalg::Schur;
use nalgebra::{DMatrix, DVector};

use crate::linear::Complex;

/// A direction that is less than this of what it came from is none.
const NOTHING: f64 = 1e-13;

/// The space that a map spans from one vector, one direction at a time.
struct Arnoldi {
    directions: Vec<Vec<f64>>,
    /// Columns of the map within the space; column `j` has `j + 2` entries.
    columns: Vec<Vec<f64>>,
    closed: bool,
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

impl Arnoldi {
    fn new(start: &[f64]) -> Self {
        let size = dot(start, start).sqrt();
        Self {
            directions: vec![start.iter().map(|v| v / size).collect()],
            columns: Vec::new(),
            closed: false,
        }
    }

    fn grow(&mut self, map: &mut dyn FnMut(&[f64]) -> Vec<f64>) {
        let Some(last) = self.directions.last() else {
            return;
        };
        let mut next = map(last);
        let before = dot(&next, &next).sqrt();
        let mut column = vec![0.0; self.directions.len() + 1];
        // twice is enough
        for _ in 0..2 {
            for (slot, direction) in column.iter_mut().zip(&self.directions) {
                let along = dot(&next, direction);
                *slot += along;
                for (next, direction) in next.iter_mut().zip(direction) {
                    *next -= along * direction;
                }
            }
        }
        let left = dot(&next, &next).sqrt();
        if let Some(slot) = column.last_mut() {
            *slot = left;
        }
        self.columns.push(column);
        if left > NOTHING * before && left.is_finite() && self.directions.len() < next.len() {
            for value in &mut next {
                *value /= left;
            }
            self.directions.push(next);
        } else {
            self.closed = true;
        }
    }
}

/// Solves `map(x) = right`, until what is left is `within` of the right-hand side.
pub(super) fn solve(
    map: &mut dyn FnMut(&[f64]) -> Vec<f64>,
    right: &[f64],
    within: f64,
) -> Vec<f64> {
    let size = dot(right, right).sqrt();
    let mut x = vec![0.0; right.len()];
    if size == 0.0 || !size.is_finite() {
        return x;
    }
    let mut space = Arnoldi::new(right);
    let mut best = DVector::zeros(0);
    while !space.closed {
        space.grow(map);
        let count = space.columns.len();
        let mut matrix = DMatrix::zeros(count + 1, count);
        for (j, column) in space.columns.iter().enumerate() {
            for (i, value) in column.iter().enumerate() {
                matrix[(i, j)] = *value;
            }
        }
        let mut wanted = DVector::zeros(count + 1);
        wanted[0] = size;
        let Ok(found) = matrix.clone().svd(true, true).solve(&wanted, 1e-14) else {
            break;
        };
        let left = (&matrix * &found - &wanted).norm();
        best = found;
        if left <= within * size {
            break;
        }
    }
    for (share, direction) in best.iter().zip(&space.directions) {
        for (x, direction) in x.iter_mut().zip(direction) {
            *x += share * direction;
        }
    }
    x
}

/// The eigenvalues of a map of `size` numbers that are largest in size, largest first: those
/// that more directions no longer move.
pub(super) fn largest(map: &mut dyn FnMut(&[f64]) -> Vec<f64>, size: usize) -> Vec<Complex> {
    if size == 0 {
        return Vec::new();
    }
    // any vector will do that has a part of everything: fixed noise (a linear congruence)
    let mut seed = 0x2545_f491_u64;
    let start: Vec<f64> = (0..size)
        .map(|_| {
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (seed >> 40) as f64 / (1u64 << 24) as f64 - 0.5
        })
        .collect();
    let mut space = Arnoldi::new(&start);
    let mut before: Vec<Complex> = Vec::new();
    loop {
        for _ in 0..12 {
            if !space.closed {
                space.grow(map);
            }
        }
        let now = values(&space.columns);
        let settled = now
            .iter()
            .zip(&before)
            .take(4)
            .all(|(a, b)| (*a - *b).abs() < 1e-6 * (1e-3 + a.abs()));
        if space.closed || (settled && before.len() >= 12) {
            return now;
        }
        before = now;
    }
}

fn values(columns: &[Vec<f64>]) -> Vec<Complex> {
    let count = columns.len();
    let mut matrix = DMatrix::zeros(count, count);
    for (j, column) in columns.iter().enumerate() {
        for (i, value) in column.iter().enumerate().take(count) {
            matrix[(i, j)] = *value;
        }
    }
    if matrix.iter().any(|v: &f64| !v.is_finite()) {
        return Vec::new();
    }
    let Some(schur) = Schur::try_new(matrix, f64::EPSILON, 100_000) else {
        return Vec::new();
    };
    let found = schur.complex_eigenvalues();
    let mut found: Vec<Complex> = found.iter().map(|v| Complex::new(v.re, v.im)).collect();
    found.sort_by(|a, b| {
        let size = b.abs().total_cmp(&a.abs());
        size.then(b.re.total_cmp(&a.re)).then(b.im.total_cmp(&a.im))
    });
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn map(v: &[f64]) -> Vec<f64> {
        // eigenvalues 0.5 +- 1.2j, and 0.9, 0.8, ... on the diagonal
        let mut out: Vec<f64> = v
            .iter()
            .enumerate()
            .map(|(i, v)| v * (1.0 - 0.01 * i as f64))
            .collect();
        out[0] = 0.5 * v[0] - 1.2 * v[1];
        out[1] = 1.2 * v[0] + 0.5 * v[1];
        out
    }

    #[test]
    fn equations_are_met() {
        let right: Vec<f64> = (0..40).map(|i| f64::from(i % 7) - 3.0).collect();
        let x = solve(&mut map, &right, 1e-10);
        for (a, b) in map(&x).iter().zip(&right) {
            assert!((a - b).abs() < 1e-8);
        }
        assert!(solve(&mut map, &[0.0; 40], 1e-10).iter().all(|v| *v == 0.0));
    }

    #[test]
    fn the_largest_values_are_found() {
        let found = largest(&mut map, 40);
        assert!((found[0].abs() - 1.3).abs() < 1e-9 && (found[0].re - 0.5).abs() < 1e-9);
        assert!((found[2].re - 0.98).abs() < 1e-5, "{:?}", found[2]);
        assert!(largest(&mut map, 0).is_empty());
    }
}
