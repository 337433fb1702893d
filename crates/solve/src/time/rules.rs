//! The implicit Runge-Kutta rules that time is cut up by.
//!
//! Both are singly diagonal: every stage has the same share `gamma` of the step on its own
//! rate, so one matrix serves all stages of a step. Both are stiffly accurate (the last stage
//! is the step's end) and L-stable: what is faster than a step settles within it and never rings.

/// A rule: stage `i` stands at `times[i]` of the step, and reaches it through
/// `shares[i][j]` of the rates of the stages before it and `gamma` of its own.
#[derive(Debug, PartialEq)]
pub(crate) struct Rule {
    pub(crate) gamma: f64,
    pub(crate) times: &'static [f64],
    /// Shares of the earlier stages' rates, by stage.
    pub(crate) shares: &'static [&'static [f64]],
    /// Shares of all rates in the difference from the rule one order lower.
    pub(crate) error: &'static [f64],
}

const HALF: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// Two stages, second order, for steps of one length (Alexander, SIAM J. Numer. Anal. 14, 1977,
/// from memory, not seen).
pub(crate) static EVEN: Rule = Rule {
    gamma: 1.0 - HALF,
    times: &[1.0 - HALF, 1.0],
    shares: &[&[], &[HALF]],
    error: &[],
};

/// Five stages, fourth order with a third-order rule inside, for steps of any length (Hairer
/// and Wanner, Solving Ordinary Differential Equations II, section IV.6, from memory, not seen; the
/// order conditions are tested).
pub(crate) static FREE: Rule = Rule {
    gamma: 0.25,
    times: &[0.25, 0.75, 0.55, 0.5, 1.0],
    shares: &[
        &[],
        &[0.5],
        &[17.0 / 50.0, -1.0 / 25.0],
        &[371.0 / 1360.0, -137.0 / 2720.0, 15.0 / 544.0],
        &[25.0 / 24.0, -49.0 / 48.0, 125.0 / 16.0, -85.0 / 12.0],
    ],
    error: &[-3.0 / 16.0, -27.0 / 32.0, 25.0 / 32.0, 0.0, 0.25],
};

impl Rule {
    pub(crate) fn stages(&self) -> usize {
        self.times.len()
    }

    /// Share of each stage's rate in the whole step.
    pub(crate) fn weight(&self, stage: usize) -> f64 {
        let last = self.shares.last().and_then(|row| row.get(stage));
        last.copied().unwrap_or(self.gamma)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(rule: &Rule) -> (Vec<Vec<f64>>, Vec<f64>, Vec<f64>) {
        let n = rule.stages();
        let a: Vec<Vec<f64>> = (0..n)
            .map(|i| {
                let mut row = rule.shares[i].to_vec();
                row.push(rule.gamma);
                row.resize(n, 0.0);
                row
            })
            .collect();
        let b: Vec<f64> = (0..n).map(|j| rule.weight(j)).collect();
        (a, b, rule.times.to_vec())
    }

    /// The conditions up to fourth order (Butcher; every textbook of the subject).
    fn misses(a: &[Vec<f64>], b: &[f64], c: &[f64]) -> [Vec<f64>; 4] {
        let dot = |x: &[f64], y: &[f64]| x.iter().zip(y).map(|(x, y)| x * y).sum::<f64>();
        let times = |v: &[f64]| a.iter().map(|row| dot(row, v)).collect::<Vec<_>>();
        let each = |x: &[f64], y: &[f64]| x.iter().zip(y).map(|(x, y)| x * y).collect::<Vec<_>>();
        let one = vec![1.0; c.len()];
        let c2 = each(c, c);
        [
            vec![dot(b, &one) - 1.0],
            vec![dot(b, c) - 0.5],
            vec![dot(b, &c2) - 1.0 / 3.0, dot(b, &times(c)) - 1.0 / 6.0],
            vec![
                dot(b, &each(&c2, c)) - 0.25,
                dot(b, &each(c, &times(c))) - 1.0 / 8.0,
                dot(b, &times(&c2)) - 1.0 / 12.0,
                dot(b, &times(&times(c))) - 1.0 / 24.0,
            ],
        ]
    }

    #[test]
    fn the_rules_have_their_orders() {
        for (rule, order) in [(&EVEN, 2), (&FREE, 4)] {
            let (a, b, c) = table(rule);
            for (row, at) in a.iter().zip(&c) {
                assert!((row.iter().sum::<f64>() - at).abs() < 1e-14);
            }
            let misses = misses(&a, &b, &c);
            for miss in misses.iter().take(order).flatten() {
                assert!(miss.abs() < 1e-13, "{miss}");
            }
            // stiffly accurate, so nothing is left of what is infinitely fast
            assert_eq!(a.last(), Some(&b));
        }
        let (a, b, c) = table(&FREE);
        let inside: Vec<f64> = b.iter().zip(FREE.error).map(|(b, e)| b - e).collect();
        let misses = misses(&a, &inside, &c);
        assert!(misses.iter().take(3).flatten().all(|m| m.abs() < 1e-13));
        assert!(misses[3].iter().any(|m| m.abs() > 1e-3));
    }
}
