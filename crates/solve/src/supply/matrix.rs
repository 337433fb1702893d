//! Small dense systems, for the few unknowns of a rectifier group.

use crate::linear::Single;

/// Solves `a x = b` in place for `columns` right-hand sides: `a` is `n` by `n` row by row, `b`
/// is `n` by `columns` row by row and holds the answer afterwards. Rows are exchanged to find
/// the largest pivot. False when the matrix is singular.
pub(super) fn solve<S: Single>(a: &mut [S], b: &mut [S], n: usize, columns: usize) -> bool {
    if let ([pivot], 1) = (&*a, n) {
        if *pivot == S::ZERO || !pivot.size().is_finite() {
            return false;
        }
        for x in b.iter_mut().take(columns) {
            *x = *x / *pivot;
        }
        return true;
    }
    for k in 0..n {
        let mut best = k;
        for r in k + 1..n {
            if a[r * n + k].size() > a[best * n + k].size() {
                best = r;
            }
        }
        let pivot = a[best * n + k];
        if pivot == S::ZERO || !pivot.size().is_finite() {
            return false;
        }
        if best != k {
            for c in 0..n {
                a.swap(k * n + c, best * n + c);
            }
            for c in 0..columns {
                b.swap(k * columns + c, best * columns + c);
            }
        }
        for r in k + 1..n {
            let factor = a[r * n + k] / pivot;
            if factor == S::ZERO {
                continue;
            }
            for c in k + 1..n {
                let step = factor * a[k * n + c];
                a[r * n + c] -= step;
            }
            for c in 0..columns {
                let step = factor * b[k * columns + c];
                b[r * columns + c] -= step;
            }
        }
    }
    for k in (0..n).rev() {
        for c in 0..columns {
            let mut sum = b[k * columns + c];
            for j in k + 1..n {
                sum -= a[k * n + j] * b[j * columns + c];
            }
            b[k * columns + c] = sum / a[k * n + k];
        }
    }
    true
}

/// Replaces `a`, `n` by `n` row by row, by its triangular factors, rows exchanged as
/// `exchanged` (`n` long) then tells. False when it is singular.
pub(super) fn factor(a: &mut [f64], exchanged: &mut [usize], n: usize) -> bool {
    for k in 0..n {
        let mut best = k;
        for r in k + 1..n {
            if a[r * n + k].abs() > a[best * n + k].abs() {
                best = r;
            }
        }
        exchanged[k] = best;
        let pivot = a[best * n + k];
        if pivot == 0.0 || !pivot.is_finite() {
            return false;
        }
        if best != k {
            for c in 0..n {
                a.swap(k * n + c, best * n + c);
            }
        }
        for r in k + 1..n {
            let factor = a[r * n + k] / pivot;
            a[r * n + k] = factor;
            for c in k + 1..n {
                a[r * n + c] -= factor * a[k * n + c];
            }
        }
    }
    true
}

/// Solves with what [`factor`] made: `b` holds `n` rows and the answer afterwards.
pub(super) fn back<const COLUMNS: usize>(a: &[f64], exchanged: &[usize], b: &mut [[f64; COLUMNS]]) {
    let n = b.len();
    for (k, with) in exchanged.iter().enumerate().take(n) {
        b.swap(k, *with);
    }
    for k in 0..n {
        let (done, rest) = b.split_at_mut(k + 1);
        for (r, row) in rest.iter_mut().enumerate() {
            add(row, -a[(k + 1 + r) * n + k], &done[k]);
        }
    }
    for k in (0..n).rev() {
        let (rows, done) = b.split_at_mut(k + 1);
        for (j, row) in done.iter().enumerate() {
            add(&mut rows[k], -a[k * n + k + 1 + j], row);
        }
        let inverse = 1.0 / a[k * n + k];
        for x in &mut rows[k] {
            *x *= inverse;
        }
    }
}

/// Adds a multiple of one row to another.
#[inline]
pub(super) fn add<const COLUMNS: usize>(to: &mut [f64; COLUMNS], by: f64, row: &[f64; COLUMNS]) {
    for (x, y) in to.iter_mut().zip(row) {
        *x += by * y;
    }
}
