//! Small dense systems, for the few unknowns of a rectifier group.

use crate::linear::Scalar;

/// Solves `a x = b` in place for `columns` right-hand sides: `a` is `n` by `n` row by row, `b`
/// is `n` by `columns` row by row and holds the answer afterwards. Rows are exchanged to find
/// the largest pivot. False when the matrix is singular.
pub(super) fn solve<S: Scalar>(a: &mut [S], b: &mut [S], n: usize, columns: usize) -> bool {
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
