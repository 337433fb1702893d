//! Dense elimination with row exchange, for the matrices that the compiled order cannot take.

use super::{Single, Singular};

/// Factors of a dense matrix, rows scaled by their largest entry before pivots are compared.
#[derive(Debug, Clone)]
pub(super) struct Dense<S> {
    rows: Vec<Vec<S>>,
    /// Original row at each place.
    order: Vec<usize>,
}

impl<S: Single> Dense<S> {
    /// Factors the matrix given by rows.
    pub(super) fn factor(mut rows: Vec<Vec<S>>) -> Result<Self, Singular> {
        let size = rows.len();
        let mut order: Vec<usize> = (0..size).collect();
        let mut scale: Vec<f64> = rows
            .iter()
            .map(|row| row.iter().map(|v| v.size()).fold(0.0, f64::max))
            .collect();
        for k in 0..size {
            let mut best = (0.0, k);
            for at in k..size {
                let rank = rows[at][k].size() / scale[at];
                if rank > best.0 {
                    best = (rank, at);
                }
            }
            if !(best.0 > f64::EPSILON * 1e-3 && best.0.is_finite()) {
                return Err(Singular { unknown: k });
            }
            rows.swap(k, best.1);
            order.swap(k, best.1);
            scale.swap(k, best.1);
            let (done, rest) = rows.split_at_mut(k + 1);
            let pivot_row = &done[k];
            for row in rest {
                let factor = row[k] / pivot_row[k];
                row[k] = factor;
                if factor != S::ZERO {
                    for (value, &above) in row.iter_mut().zip(pivot_row).skip(k + 1) {
                        *value -= factor * above;
                    }
                }
            }
        }
        Ok(Self { rows, order })
    }

    pub(super) fn solve(&self, b: &mut [S]) {
        let mut x: Vec<S> = self.order.iter().map(|&row| b[row]).collect();
        for (k, row) in self.rows.iter().enumerate() {
            let mut sum = x[k];
            for (&factor, &known) in row.iter().zip(&x).take(k) {
                sum -= factor * known;
            }
            x[k] = sum;
        }
        for (k, row) in self.rows.iter().enumerate().rev() {
            let mut sum = x[k];
            for (&entry, &known) in row.iter().zip(&x).skip(k + 1) {
                sum -= entry * known;
            }
            x[k] = sum / row[k];
        }
        b.copy_from_slice(&x);
    }

    pub(super) fn solve_transposed(&self, b: &mut [S]) {
        let size = self.rows.len();
        let mut x = b.to_vec();
        for k in 0..size {
            x[k] = x[k] / self.rows[k][k];
            for after in k + 1..size {
                let known = x[k];
                x[after] -= self.rows[k][after] * known;
            }
        }
        for k in (0..size).rev() {
            for before in 0..k {
                let known = x[k];
                x[before] -= self.rows[k][before] * known;
            }
        }
        for (&row, &value) in self.order.iter().zip(&x) {
            b[row] = value;
        }
    }
}
