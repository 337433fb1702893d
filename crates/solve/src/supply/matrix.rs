//! Small dense real systems, for the few unknowns of a rectifier group.

/// Solves `a x = b` in place for `columns` right-hand sides: `a` is `n` by `n` row by row, `b`
/// is `n` by `columns` row by row and holds the answer afterwards. Rows are exchanged to find
/// the largest pivot. False when the matrix is singular.
pub(super) fn solve(a: &mut [f64], b: &mut [f64], n: usize, columns: usize) -> bool {
    for k in 0..n {
        let mut best = k;
        for r in k + 1..n {
            if a[r * n + k].abs() > a[best * n + k].abs() {
                best = r;
            }
        }
        let pivot = a[best * n + k];
        if pivot == 0.0 || !pivot.is_finite() {
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
            if factor == 0.0 {
                continue;
            }
            for c in k + 1..n {
                a[r * n + c] -= factor * a[k * n + c];
            }
            for c in 0..columns {
                b[r * columns + c] -= factor * b[k * columns + c];
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
