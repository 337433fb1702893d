//! A small symmetric positive matrix, factored once for many right sides.

/// Its triangular factor.
pub(super) struct Factor {
    n: usize,
    lower: Vec<f64>,
    diagonal: Vec<f64>,
}

impl Factor {
    /// From its entries; none when it is not positive.
    pub(super) fn of(n: usize, at: impl Fn(usize, usize) -> f64) -> Option<Self> {
        let mut lower = vec![0.0; n * n];
        let mut diagonal = vec![0.0; n];
        for i in 0..n {
            for j in 0..=i {
                let entry = at(i, j);
                if i == j {
                    diagonal[i] = entry;
                }
                let (ri, rj) = (&lower[i * n..i * n + j], &lower[j * n..j * n + j]);
                let rest = entry - ri.iter().zip(rj).map(|(a, b)| a * b).sum::<f64>();
                lower[i * n + j] = if i == j {
                    if !(rest.is_finite() && rest > 0.0) {
                        return None;
                    }
                    rest.sqrt()
                } else {
                    rest / lower[j * n + j]
                };
            }
        }
        Some(Self { n, lower, diagonal })
    }

    /// An entry of the matrix's own diagonal.
    pub(super) fn diagonal(&self, i: usize) -> f64 {
        self.diagonal.get(i).copied().unwrap_or(0.0)
    }

    /// The solution for one right side.
    pub(super) fn solve(&self, right: &[f64]) -> Vec<f64> {
        let n = self.n;
        let mut x = right.to_vec();
        x.resize(n, 0.0);
        for i in 0..n {
            for k in 0..i {
                x[i] -= self.lower[i * n + k] * x[k];
            }
            x[i] /= self.lower[i * n + i];
        }
        for i in (0..n).rev() {
            for k in i + 1..n {
                x[i] -= self.lower[k * n + i] * x[k];
            }
            x[i] /= self.lower[i * n + i];
        }
        x
    }
}
