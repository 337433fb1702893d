//! Least squares with bounds, a pull towards the kin, and a bounded influence of each figure.
//!
//! Minimises the sum of Huber's function of the residuals plus the sum of `u^2`, by damped Gauss-Newton steps. Sizes
//! are a dozen unknowns at most, so everything is dense.

/// Beyond so many standard deviations a residual counts linearly.
const HUBER: f64 = 2.0;

/// Step of the central differences, in spreads.
const STEP: f64 = 1e-4;

/// So many steps at most: rows that a law can meet take a dozen.
const STEPS: usize = 60;

/// Where the steps ended.
#[derive(Debug, Clone)]
pub(super) struct Minimum {
    /// The unknowns; those that were not free are 0.
    pub(super) u: Vec<f64>,
    /// The sum that was minimised.
    pub(super) sum: f64,
    /// Normal matrix of the figures alone at the end, over the free unknowns, with Huber's weights.
    pub(super) normal: Vec<Vec<f64>>,
}

/// What is minimised.
pub(super) struct Problem<'f> {
    /// Residuals over their standard uncertainties.
    pub(super) residuals: &'f dyn Fn(&[f64]) -> Vec<f64>,
    /// Bounds of every unknown.
    pub(super) reach: &'f [(f64, f64)],
    /// Which unknowns are free.
    pub(super) free: &'f [usize],
}

fn huber(r: f64) -> f64 {
    let a = r.abs();
    if a <= HUBER {
        r * r
    } else {
        HUBER * (2.0 * a - HUBER)
    }
}

fn weight(r: f64) -> f64 {
    let a = r.abs();
    if a <= HUBER { 1.0 } else { HUBER / a }
}

impl Problem<'_> {
    /// The sum that is minimised; infinite where a residual is no number.
    fn sum(&self, u: &[f64]) -> (f64, Vec<f64>) {
        let r = (self.residuals)(u);
        let sum = r.iter().map(|r| huber(*r)).sum::<f64>() + u.iter().map(|u| u * u).sum::<f64>();
        (if sum.is_finite() { sum } else { f64::INFINITY }, r)
    }

    /// Columns of slopes of the residuals, one for each free unknown.
    fn slopes(&self, u: &[f64]) -> Vec<Vec<f64>> {
        let mut at = u.to_vec();
        self.free
            .iter()
            .map(|&j| {
                at[j] = u[j] + STEP;
                let up = (self.residuals)(&at);
                at[j] = u[j] - STEP;
                let down = (self.residuals)(&at);
                at[j] = u[j];
                up.iter()
                    .zip(&down)
                    .map(|(a, b)| (a - b) / (2.0 * STEP))
                    .collect()
            })
            .collect()
    }

    /// Normal matrix and gradient of the figures with Huber's weights.
    fn normal(&self, u: &[f64], r: &[f64]) -> (Vec<Vec<f64>>, Vec<f64>) {
        let columns = self.slopes(u);
        let product = |a: &[f64], b: &[f64]| {
            a.iter()
                .zip(b)
                .zip(r)
                .map(|((a, b), r)| a * b * weight(*r))
                .sum::<f64>()
        };
        let matrix = columns
            .iter()
            .map(|a| columns.iter().map(|b| product(a, b)).collect())
            .collect();
        let gradient = columns.iter().map(|a| product(a, r)).collect();
        (matrix, gradient)
    }

    /// Goes downhill from `start` until nothing moves any more.
    pub(super) fn minimise(&self, start: &[f64]) -> Minimum {
        let mut u = start.to_vec();
        let (mut sum, mut r) = self.sum(&u);
        let mut damping = 1e-3;
        let (mut matrix, mut gradient) = self.normal(&u, &r);
        for _ in 0..STEPS {
            let mut moved = false;
            while damping < 1e12 {
                let step = self.step(&u, &matrix, &gradient, damping);
                let size = step.iter().map(|s| s.abs()).fold(0.0, f64::max);
                if size < 1e-9 {
                    break;
                }
                let mut next = u.clone();
                for (&j, s) in self.free.iter().zip(&step) {
                    let (low, high) = self.reach[j];
                    next[j] = (u[j] + s).clamp(low, high);
                }
                let (tried, residuals) = self.sum(&next);
                if tried < sum {
                    // What is left to gain is below what a file's five digits show.
                    moved = sum - tried > 1e-10 * (1.0 + sum);
                    (u, sum, r) = (next, tried, residuals);
                    damping = (damping * 0.2).max(1e-12);
                    break;
                }
                damping *= 4.0;
            }
            (matrix, gradient) = self.normal(&u, &r);
            if !moved {
                break;
            }
        }
        Minimum {
            u,
            sum,
            normal: matrix,
        }
    }

    /// One damped step. An unknown that stands at a bound and would go beyond stays there.
    fn step(&self, u: &[f64], matrix: &[Vec<f64>], gradient: &[f64], damping: f64) -> Vec<f64> {
        let count = self.free.len();
        let pull = |i: usize| gradient[i] + u[self.free[i]];
        let stuck: Vec<bool> = (0..count)
            .map(|i| {
                let (low, high) = self.reach[self.free[i]];
                let at = u[self.free[i]];
                (at <= low && pull(i) > 0.0) || (at >= high && pull(i) < 0.0)
            })
            .collect();
        let a: Vec<Vec<f64>> = (0..count)
            .map(|i| {
                (0..count)
                    .map(|j| match (i == j, stuck[i] || stuck[j]) {
                        (true, true) => 1.0,
                        (false, true) => 0.0,
                        (true, false) => (matrix[i][i] + 1.0) * (1.0 + damping),
                        (false, false) => matrix[i][j],
                    })
                    .collect()
            })
            .collect();
        let b: Vec<f64> = (0..count)
            .map(|i| if stuck[i] { 0.0 } else { -pull(i) })
            .collect();
        match Factors::of(&a) {
            Some(factors) => factors.solve(&b),
            None => vec![0.0; count],
        }
    }
}

/// Cholesky factors of a positive definite matrix.
pub(super) struct Factors {
    rows: Vec<Vec<f64>>,
}

impl Factors {
    /// None where the matrix is not positive definite.
    pub(super) fn of(a: &[Vec<f64>]) -> Option<Self> {
        let mut rows: Vec<Vec<f64>> = Vec::with_capacity(a.len());
        for (i, line) in a.iter().enumerate() {
            let mut row: Vec<f64> = Vec::with_capacity(i + 1);
            for j in 0..=i {
                let done = rows.get(j).unwrap_or(&row);
                let dot: f64 = row.iter().zip(done).take(j).map(|(x, y)| x * y).sum();
                let rest = line[j] - dot;
                if j < i {
                    row.push(rest / rows[j][j]);
                } else if rest > 0.0 && rest.is_finite() {
                    row.push(rest.sqrt());
                } else {
                    return None;
                }
            }
            rows.push(row);
        }
        Some(Self { rows })
    }

    /// Solves for one right-hand side.
    pub(super) fn solve(&self, b: &[f64]) -> Vec<f64> {
        let count = self.rows.len();
        let mut x = b.to_vec();
        for i in 0..count {
            let dot: f64 = (0..i).map(|j| self.rows[i][j] * x[j]).sum();
            x[i] = (x[i] - dot) / self.rows[i][i];
        }
        for i in (0..count).rev() {
            let dot: f64 = (i + 1..count).map(|j| self.rows[j][i] * x[j]).sum();
            x[i] = (x[i] - dot) / self.rows[i][i];
        }
        x
    }

    /// The diagonal of the inverse.
    pub(super) fn inverse_diagonal(&self) -> Vec<f64> {
        let count = self.rows.len();
        (0..count)
            .map(|i| {
                let mut unit = vec![0.0; count];
                unit[i] = 1.0;
                self.solve(&unit)[i]
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn factors_solve_and_invert() {
        let a = vec![
            vec![4.0, 2.0, 0.6],
            vec![2.0, 5.0, 1.0],
            vec![0.6, 1.0, 3.0],
        ];
        let x = Factors::of(&a).unwrap().solve(&[1.0, -2.0, 0.5]);
        for (row, b) in a.iter().zip([1.0, -2.0, 0.5]) {
            let sum: f64 = row.iter().zip(&x).map(|(a, x)| a * x).sum();
            assert!((sum - b).abs() < 1e-14);
        }
        let dense = nalgebra::DMatrix::from_fn(3, 3, |i, j| a[i][j]);
        let inverse = dense.try_inverse().unwrap();
        let diagonal = Factors::of(&a).unwrap().inverse_diagonal();
        for (i, ours) in diagonal.iter().enumerate() {
            assert!((ours - inverse[(i, i)]).abs() < 1e-14);
        }
        assert!(Factors::of(&[vec![1.0, 2.0], vec![2.0, 1.0]]).is_none());
    }

    /// A straight line through points has a closed form; with a pull of 1 on both unknowns it is ridge regression.
    #[test]
    fn a_line_is_found_in_closed_form() {
        let points: [(f64, f64); 4] = [(0.0, 1.0), (1.0, 2.1), (2.0, 2.9), (3.0, 4.2)];
        let residuals =
            |u: &[f64]| -> Vec<f64> { points.iter().map(|(x, y)| u[0] + u[1] * x - y).collect() };
        let problem = Problem {
            residuals: &residuals,
            reach: &[(-10.0, 10.0); 2],
            free: &[0, 1],
        };
        let found = problem.minimise(&[0.0, 0.0]);
        let dense = nalgebra::Matrix2::new(4.0 + 1.0, 6.0, 6.0, 14.0 + 1.0);
        let right = nalgebra::Vector2::new(10.2, 2.1 + 5.8 + 12.6);
        let wanted = dense.lu().solve(&right).unwrap();
        assert!((found.u[0] - wanted[0]).abs() < 1e-7, "{found:?}");
        assert!((found.u[1] - wanted[1]).abs() < 1e-7, "{found:?}");
        assert!((found.normal[1][1] - 14.0).abs() < 1e-6);
    }

    #[test]
    fn a_bound_holds_and_one_wild_figure_moves_little() {
        let residuals = |u: &[f64]| -> Vec<f64> {
            [1.0, 1.1, 0.9, 1.0, 50.0]
                .iter()
                .map(|y| (u[0] - y) / 0.1)
                .collect()
        };
        let free = Problem {
            residuals: &residuals,
            reach: &[(-100.0, 100.0)],
            free: &[0],
        };
        assert!((free.minimise(&[0.0]).u[0] - 1.05).abs() < 0.01);
        let bound = Problem {
            reach: &[(-100.0, 0.5)],
            ..free
        };
        assert!((bound.minimise(&[0.0]).u[0] - 0.5).abs() < 1e-12);
    }
}
