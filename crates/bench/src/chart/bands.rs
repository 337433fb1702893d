//! From causes of spread to a band around an expected value.
//!
//! Narrow causes act in proportion: their share is a slope times a weight. Wide ones (a
//! leakage may differ sixfold) and those that act through the rectifier are solved again at
//! two standard deviations each way, and keep the two sides apart. Shares of independent
//! causes add as squares.

use super::verdict::Band;
use crate::tolerance::Cause;

/// What one standard deviation of one cause does to an expected value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Share {
    /// Change for the cause one standard deviation down.
    pub(super) minus: f64,
    /// Change for one up.
    pub(super) plus: f64,
}

impl Share {
    /// The share of a cause that acts in proportion: `slope[p]` is the change of the expected
    /// value for a unit change of the natural logarithm of parameter `p`.
    pub(super) fn linear(cause: &Cause, slope: impl Fn(usize) -> f64) -> Self {
        let plus: f64 = cause
            .moves
            .iter()
            .map(|(p, weight)| weight * slope(*p))
            .sum();
        Self { minus: -plus, plus }
    }

    /// The share of a cause that was solved at `z` standard deviations each way.
    pub(super) fn between(z: f64, minus: f64, plus: f64) -> Self {
        Self {
            minus: minus / z,
            plus: plus / z,
        }
    }

    /// This share times a factor.
    pub(super) fn times(self, factor: f64) -> Self {
        Self {
            minus: self.minus * factor,
            plus: self.plus * factor,
        }
    }
}

/// The band that independent shares make around a centre.
pub(super) fn band(centre: f64, shares: impl IntoIterator<Item = Share>) -> Band {
    let (mut down, mut up) = (0.0, 0.0);
    for share in shares {
        let finite = |x: f64| if x.is_finite() { x } else { 0.0 };
        let (a, b) = (finite(share.minus), finite(share.plus));
        // both ways may go to one side (a minimum); then the other side gets nothing
        up += a.max(b).max(0.0).powi(2);
        down += a.min(b).min(0.0).powi(2);
    }
    Band {
        centre,
        down: f64::sqrt(down),
        up: f64::sqrt(up),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cause(moves: &[(usize, f64)]) -> Cause {
        Cause {
            name: String::new(),
            moves: moves.to_vec(),
        }
    }

    #[test]
    fn independent_shares_add_as_squares() {
        let a = Share::linear(&cause(&[(0, 0.1)]), |_| 30.0);
        let b = Share::linear(&cause(&[(1, 0.2)]), |_| -20.0);
        let band = band(100.0, [a, b]);
        assert!((band.up - 5.0).abs() < 1e-12 && (band.down - 5.0).abs() < 1e-12);
        assert_eq!(band.centre, 100.0);
    }

    #[test]
    fn what_moves_together_adds_with_its_sign() {
        let slope = |p| if p == 0 { 30.0 } else { -30.0 };
        let both = Share::linear(&cause(&[(0, 0.1), (1, 0.1)]), slope);
        assert_eq!(both.plus, 0.0);
    }

    #[test]
    fn a_bent_response_keeps_its_sides() {
        let band = band(10.0, [Share::between(2.0, -8.0, 2.0)]);
        assert_eq!((band.down, band.up), (4.0, 1.0));
        let one_way = super::band(10.0, [Share::between(2.0, -8.0, -1.0)]);
        assert_eq!((one_way.down, one_way.up), (4.0, 0.0));
    }
}
