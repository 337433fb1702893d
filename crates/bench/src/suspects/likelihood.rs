//! How well readings fit a hypothesis: correlated, one of them perhaps a slip.
//!
//! Between two sizes of a fault what it should read runs straight, and the likelihood is taken
//! over the whole of that line at once. Readings are Gaussian around it with the covariance of
//! parts, meter and model; one reading may be bad, at a price.

use std::f64::consts::TAU;

/// Part of all readings that are slips still: what looks like one is asked back while it is typed (ours).
const SLIPS: f64 = 0.001;

/// Degrees of freedom of the likelihood's tails (ours).
const FREEDOM: f64 = 12.0;

/// Standard deviations of sound amplifiers by which what nobody listed moves readings (ours).
const UNLISTED_WIDE: f64 = 3.0;

/// How a misfit of many standard deviations is taken.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Tails {
    /// As a normal distribution has it.
    #[cfg(test)]
    Normal,
    /// As Student's of [`FREEDOM`] degrees: the spread itself is a guess.
    Student,
}

impl Tails {
    /// Logarithm of the density of `n` readings whose covariance has this determinant, from the
    /// logarithm of what the normal distribution's exponential comes to.
    fn log(self, n: f64, log_det: f64, exponent: f64) -> f64 {
        match self {
            #[cfg(test)]
            Self::Normal => -0.5 * (n * TAU.ln() + log_det) + exponent,
            Self::Student => {
                let half = 0.5 * (FREEDOM + n);
                let off = (-2.0 * exponent).max(0.0);
                ln_gamma(half)
                    - ln_gamma(0.5 * FREEDOM)
                    - 0.5 * n * (FREEDOM * std::f64::consts::PI).ln()
                    - 0.5 * log_det
                    - half * (1.0 + off / FREEDOM).ln()
            }
        }
    }
}

/// A triangular factor of a covariance.
pub(super) struct Covariance {
    n: usize,
    inverse: Vec<f64>,
    log_det: f64,
}

impl Covariance {
    /// From slopes per standard deviation of each cause, and variances of each reading alone.
    pub(super) fn of(slopes: &[f64], causes: usize, own: &[f64]) -> Option<Self> {
        let n = own.len();
        let row = |i: usize| slopes.get(i * causes..(i + 1) * causes).unwrap_or_default();
        let mut full = vec![0.0; n * n];
        for i in 0..n {
            for j in 0..=i {
                let mut sum: f64 = row(i).iter().zip(row(j)).map(|(a, b)| a * b).sum();
                if i == j {
                    sum += own[i];
                }
                full[i * n + j] = sum;
                full[j * n + i] = sum;
            }
        }
        invert(full, n)
    }

    fn times(&self, x: &[f64]) -> Vec<f64> {
        (0..self.n)
            .map(|i| {
                let row = &self.inverse[i * self.n..(i + 1) * self.n];
                row.iter().zip(x).map(|(a, b)| a * b).sum()
            })
            .collect()
    }

    /// Logarithm of the likelihood of residuals `r`, averaged over the line from 0 to `along`
    /// (none: at `r` alone). `wide` is the range over which a slip of each reading may fall.
    pub(super) fn log_likelihood(&self, r: &[f64], along: Option<&[f64]>, wide: &[f64]) -> f64 {
        self.with_tails(r, along, wide, Tails::Student)
    }

    fn with_tails(&self, r: &[f64], along: Option<&[f64]>, wide: &[f64], tails: Tails) -> f64 {
        let pr = self.times(r);
        let a = dot(r, &pr);
        let (pd, b, c) = match along {
            Some(d) => {
                let pd = self.times(d);
                let (b, c) = (dot(d, &pr), dot(d, &pd));
                (pd, b, c)
            }
            None => (vec![0.0; self.n], 0.0, 0.0),
        };
        let n = self.n as f64;
        let whole = tails.log(n, self.log_det, line(a, b, c));
        let mut all = vec![whole + n * (1.0 - SLIPS).ln()];
        for i in 0..self.n {
            let p = self.inverse[i * self.n + i];
            if p <= 0.0 {
                continue;
            }
            let log_det = self.log_det + p.ln();
            let without = line(
                a - pr[i] * pr[i] / p,
                b - pr[i] * pd[i] / p,
                c - pd[i] * pd[i] / p,
            );
            let rest = tails.log(n - 1.0, log_det, without);
            all.push(rest + SLIPS.ln() - wide[i].ln() + (n - 1.0) * (1.0 - SLIPS).ln());
        }
        sum_of_exp(&all)
    }

    /// Where on the line from 0 to `along` (none: at 0) the residuals `r` lie nearest, 0 to 1.
    pub(super) fn place(&self, r: &[f64], along: Option<&[f64]>) -> f64 {
        let Some(d) = along else { return 0.0 };
        let pd = self.times(d);
        let c = dot(d, &pd);
        if c < 1e-12 {
            return 0.5;
        }
        (dot(r, &pd) / c).clamp(0.0, 1.0)
    }

    /// The likelihood of something that nobody listed: any distance, in any direction. Its scale is wider than a sound
    /// amplifier's, or else one that lies nearer to its middle than most would be taken for faulty.
    pub(super) fn log_unlisted(&self, r: &[f64]) -> f64 {
        let q = dot(r, &self.times(r)).max(0.0) / UNLISTED_WIDE.powi(2);
        let n = self.n as f64;
        // Student's distribution of one degree of freedom in n dimensions
        let half = (n + 1.0) / 2.0;
        ln_gamma(half)
            - ln_gamma(0.5)
            - 0.5 * n * std::f64::consts::PI.ln()
            - n * UNLISTED_WIDE.ln()
            - 0.5 * self.log_det
            - half * (1.0 + q).ln()
    }
}

/// Logarithm of the mean over t from 0 to 1 of exp(-(a - 2 b t + c t t) / 2).
fn line(a: f64, b: f64, c: f64) -> f64 {
    if c < 1e-6 {
        return -0.5 * (a - b);
    }
    let (root, at) = (c.sqrt(), b / c);
    let (from, to) = (-at * root, (1.0 - at) * root);
    let least = (a - b * b / c).max(0.0);
    -0.5 * least + 0.5 * (TAU / c).ln() + log_normal_between(from, to)
}

/// Logarithm of the normal probability between two points, also far out.
fn log_normal_between(from: f64, to: f64) -> f64 {
    let (low, high) = if from > 0.0 { (-to, -from) } else { (from, to) };
    if high < -5.0 {
        // the tail's nearer end decides
        let near = -0.5 * high * high - (-high).ln() - 0.5 * TAU.ln();
        let share = 1.0 - (-0.5 * (low * low - high * high)).exp();
        return near + share.max(1e-300).ln();
    }
    (normal(high) - normal(low)).max(1e-300).ln()
}

/// The normal distribution, to 1e-7 (Abramowitz and Stegun, 26.2.17, from memory, not seen).
fn normal(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.231_641_9 * x.abs());
    let poly = t
        * (0.319_381_530
            + t * (-0.356_563_782
                + t * (1.781_477_937 + t * (-1.821_255_978 + t * 1.330_274_429))));
    let tail = (-0.5 * x * x).exp() / TAU.sqrt() * poly;
    if x > 0.0 { 1.0 - tail } else { tail }
}

/// Logarithm of the gamma function of a half-integer, by its recurrence.
fn ln_gamma(x: f64) -> f64 {
    let (mut at, mut sum) = if (x - x.floor()).abs() < 0.25 {
        (1.0, 0.0)
    } else {
        (0.5, 0.5 * std::f64::consts::PI.ln())
    };
    while at + 0.5 < x {
        sum += f64::ln(at);
        at += 1.0;
    }
    sum
}

/// Logarithm of a sum of exponentials.
pub(super) fn sum_of_exp(logs: &[f64]) -> f64 {
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !most.is_finite() {
        return most;
    }
    most + logs.iter().map(|l| (l - most).exp()).sum::<f64>().ln()
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Inverse and determinant of a symmetric positive matrix, by its triangular factor.
fn invert(mut m: Vec<f64>, n: usize) -> Option<Covariance> {
    let mut log_det = 0.0;
    for j in 0..n {
        for k in 0..j {
            let f = m[j * n + k];
            for i in j..n {
                m[i * n + j] -= m[i * n + k] * f;
            }
        }
        let pivot = m[j * n + j];
        if !(pivot.is_finite() && pivot > 0.0) {
            return None;
        }
        let root = pivot.sqrt();
        log_det += 2.0 * root.ln();
        for i in j..n {
            m[i * n + j] /= root;
        }
    }
    let mut inverse = vec![0.0; n * n];
    for column in 0..n {
        let mut x = vec![0.0; n];
        x[column] = 1.0;
        for i in 0..n {
            for k in 0..i {
                x[i] -= m[i * n + k] * x[k];
            }
            x[i] /= m[i * n + i];
        }
        for i in (0..n).rev() {
            for k in i + 1..n {
                x[i] -= m[k * n + i] * x[k];
            }
            x[i] /= m[i * n + i];
        }
        for (row, value) in x.iter().enumerate() {
            inverse[row * n + column] = *value;
        }
    }
    Some(Covariance {
        n,
        inverse,
        log_det,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_reading_is_a_normal_distribution() {
        let one = Covariance::of(&[], 0, &[4.0]).expect("positive");
        let log = one.with_tails(&[2.0], None, &[1e30], Tails::Normal);
        let want = -0.5 * (TAU * 4.0).ln() - 0.5 + (1.0 - SLIPS).ln();
        assert!((log - want).abs() < 1e-9, "{log} for {want}");
    }

    /// Student's t of 12 degrees has the density 0.0610 at 2 (from its formula; W. S. Gosset,
    /// Biometrika 6, 1908, from memory, not seen).
    #[test]
    fn the_tails_are_those_of_student() {
        let log = Tails::Student.log(1.0, 0.0, -0.5 * 4.0);
        let want = (ln_gamma(6.5) - ln_gamma(6.0)).exp() / (12.0 * std::f64::consts::PI).sqrt()
            * (1.0_f64 + 4.0 / 12.0).powf(-6.5);
        assert!(
            (log.exp() - want).abs() < 1e-9 && (want - 0.0602).abs() < 1e-3,
            "{want}"
        );
    }

    #[test]
    fn a_common_cause_ties_two_readings() {
        let two = Covariance::of(&[3.0, 3.0], 1, &[0.01, 0.01]).expect("positive");
        let (together, apart) = (
            two.log_likelihood(&[3.0, 3.0], None, &[1e30, 1e30]),
            two.log_likelihood(&[3.0, -3.0], None, &[1e30, 1e30]),
        );
        assert!(together > apart + 10.0);
    }

    #[test]
    fn along_a_line_it_is_the_mean_of_its_points() {
        let two = Covariance::of(&[1.0, 0.5], 1, &[0.3, 0.2]).expect("positive");
        let (r, d) = ([1.0, -0.5], [3.0, 1.0]);
        let steps = 20_000;
        let mean: f64 = (0..steps)
            .map(|i| {
                let t = (f64::from(i) + 0.5) / f64::from(steps);
                let at = [r[0] - t * d[0], r[1] - t * d[1]];
                two.with_tails(&at, None, &[1e30, 1e30], Tails::Normal)
                    .exp()
            })
            .sum::<f64>()
            / f64::from(steps);
        let line = two.with_tails(&r, Some(&d), &[1e30, 1e30], Tails::Normal);
        assert!((line - mean.ln()).abs() < 1e-5, "{line} for {}", mean.ln());
    }

    #[test]
    fn one_wild_reading_costs_no_more_than_a_slip() {
        let own = [1.0; 4];
        let four = Covariance::of(&[], 0, &own).expect("positive");
        let log = |x: f64| four.log_likelihood(&[x, 0.0, 0.0, 0.0], None, &[100.0; 4]);
        assert!((log(50.0) - log(5000.0)).abs() < 1e-9);
        assert!(log(0.0) > log(50.0) + 4.0);
    }

    #[test]
    fn the_gamma_function_of_half_integers() {
        assert!((ln_gamma(5.0) - 24f64.ln()).abs() < 1e-12);
        assert!((ln_gamma(2.5) - 1.329_340_388_179_137f64.ln()).abs() < 1e-12);
    }
}
