//! The smooth pieces that the valve laws are made of.
//!
//! `softplus(z) = ln(1 + e^z)` with its logarithm and slope, safe at any argument.

/// Beyond this argument the small term of a softplus is below one part in 10^17.
pub(super) const FAR: f64 = 40.0;

/// Voltages are taken no further than this, so that squares and powers stay finite.
pub(super) const FURTHEST_VOLTS: f64 = 1e6;

/// Keeps divisions of positive parts away from 0 / 0, volts.
pub(super) const SLIVER: f64 = 1e-9;

/// Below this argument `ln(1 + e)` is `e` to the last digit, `e` being its exponential.
const THIN: f64 = -37.0;

/// The natural logarithm of `width` times `s(z) = ln(1 + e^z)`, and its slope by `z`.
#[derive(Clone, Copy)]
pub(crate) struct Softplus<T = f64> {
    pub(super) log: T,
    /// `s'(z) / s(z)`; tends to 1 in deep cut-off, where both vanish.
    pub(super) log_slope: T,
}

/// Below this, `ln(1 + e)` is six terms of its series to the last digit: `e^6 / 7` of it is left out.
const FEW_TERMS: f64 = 1e-3;

/// `ln(1 + e)` of what is not negative: the logarithm of the rounded sum, and what the rounding took. Half the time of
/// the system's own, which takes negative arguments too.
#[inline]
pub(super) fn ln_1p(e: f64) -> f64 {
    if e < FEW_TERMS {
        let rest = 1.0 / 4.0 - e * (1.0 / 5.0 - e * (1.0 / 6.0));
        return e * (1.0 - e * (1.0 / 2.0 - e * (1.0 / 3.0 - e * rest)));
    }
    let sum = 1.0 + e;
    sum.ln() + (e - (sum - 1.0)) / sum
}

#[inline]
pub(super) fn softplus(width: f64, z: f64) -> Softplus {
    if z < -FAR {
        // ln(1 + e^z) = e^z (1 - e^z / 2 ...)
        Softplus {
            log: width.ln() + z,
            log_slope: 1.0,
        }
    } else if z > FAR {
        Softplus {
            log: (width * z).ln(),
            log_slope: 1.0 / z,
        }
    } else {
        let e = z.exp();
        let value = ln_1p(e);
        Softplus {
            log: (width * value).ln(),
            log_slope: e / ((1.0 + e) * value),
        }
    }
}

/// `width * softplus(v / width)` and its slope: the positive part of `v` with a smooth knee.
#[inline]
pub(super) fn positive_part(v: f64, width: f64) -> (f64, f64) {
    let z = v / width;
    if z > FAR {
        (v, 1.0)
    } else if z < THIN {
        let e = z.exp();
        (width * e, e)
    } else {
        let e = z.exp();
        (width * ln_1p(e), e / (1.0 + e))
    }
}

/// The positive part of `v` with a parabola of the given width at the joint; exactly 0 below 0.
#[inline]
pub(super) fn parabola_part(v: f64, width: f64) -> (f64, f64) {
    if v <= 0.0 {
        (0.0, 0.0)
    } else if v < width {
        (0.5 * v * v / width, v / width)
    } else {
        (v - 0.5 * width, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn softplus_is_whole_from_end_to_end() {
        for z in [
            -1e9, -800.0, -41.0, -40.0, -39.9, -1.0, 0.0, 1.0, 39.9, 40.1, 800.0, 1e9,
        ] {
            let s = softplus(1.0, z);
            assert!(s.log.is_finite() && s.log_slope.is_finite());
            if z > -700.0 {
                assert!(
                    (s.log - (z.max(0.0) + (-z.abs()).exp().ln_1p()).ln()).abs() < 1e-12,
                    "{z}"
                );
            }
        }
        // ln 2 and 1/2 at 0.
        assert!((softplus(1.0, 0.0).log - std::f64::consts::LN_2.ln()).abs() < 1e-15);
        assert!((softplus(1.0, 0.0).log_slope - 0.5 / std::f64::consts::LN_2).abs() < 1e-15);
    }

    #[test]
    fn the_logarithm_of_one_and_a_little_is_the_systems() {
        for at in -7_000..=400_i32 {
            let e = (0.1 * f64::from(at)).exp();
            let apart = (ln_1p(e) / e.ln_1p() - 1.0).abs();
            assert!(apart < 5e-16, "{e:e}: {apart:e}");
        }
        assert_eq!(ln_1p(0.0), 0.0);
    }

    #[test]
    fn the_parts_meet_at_their_seams() {
        for width in [0.05, 0.5] {
            let (below, _) = positive_part(FAR * width * (1.0 - 1e-12), width);
            let (above, _) = positive_part(FAR * width * (1.0 + 1e-12), width);
            assert!((above - below).abs() < 1e-9);
            let (v, slope) = parabola_part(width, width);
            assert!((v - 0.5 * width).abs() < 1e-15 && (slope - 1.0).abs() < 1e-15);
        }
    }
}
