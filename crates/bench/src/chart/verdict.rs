//! Inside, doubtful, outside: a reading against an expected band.
//!
//! A band is a centre and one standard deviation down and one up (they differ where the
//! circuit bends). The reading brings its own standard uncertainty. What counts is how many
//! standard deviations of both together lie between them.

use serde::Serialize;

/// Half-width of a 95 % band in standard deviations.
pub const K95: f64 = 1.959_964;

/// Half-width of a 99.7 % band in standard deviations.
pub const K997: f64 = 2.967_738;

/// What a reading says about its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Word {
    /// Within the 95 % band of sound amplifiers and reading together.
    Inside,
    /// Beyond it, but within 99.7 %.
    Doubtful,
    /// Beyond that.
    Outside,
}

/// An expected value with its spread among sound amplifiers.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Band {
    /// Middle of sound amplifiers: drift and wear are in it, so it may differ from the value
    /// that the marked parts give.
    pub centre: f64,
    /// One standard deviation downward, 0 or more.
    pub down: f64,
    /// One standard deviation upward, 0 or more.
    pub up: f64,
}

impl Band {
    /// Lower end: 2.5 % of sound amplifiers lie below.
    #[must_use]
    pub fn low(&self) -> f64 {
        self.centre - K95 * self.down
    }

    /// Upper end: 2.5 % of sound amplifiers lie above.
    #[must_use]
    pub fn high(&self) -> f64 {
        self.centre + K95 * self.up
    }

    /// How far a reading lies from the centre, signed, in standard deviations of band and
    /// reading together; `own` is the reading's standard uncertainty.
    ///
    /// With no spread at all on either side, any difference is beyond every count.
    #[must_use]
    pub fn sigmas(&self, reading: f64, own: f64) -> f64 {
        let off = reading - self.centre;
        let side = if off < 0.0 { self.down } else { self.up };
        let sigma = side.hypot(own);
        if off == 0.0 {
            0.0
        } else if sigma > 0.0 {
            off / sigma
        } else {
            off.signum() * f64::INFINITY
        }
    }

    /// A band of a quantity that spreads by factors: standard deviations `down` and `up` of its
    /// natural logarithm.
    #[must_use]
    pub fn by_factor(centre: f64, down: f64, up: f64) -> Self {
        Self {
            centre,
            down: centre * -(-K95 * down).exp_m1() / K95,
            up: centre * (K95 * up).exp_m1() / K95,
        }
    }

    /// [`Band::sigmas`] told by the ratio of reading and centre, for a band [`Band::by_factor`]:
    /// a fiftieth of a widely spread resistance is farther out than its difference says.
    ///
    /// As [`Band::sigmas`] where a ratio has no sense (nothing below 0 has a logarithm).
    #[must_use]
    pub fn sigmas_by_factor(&self, reading: f64, own: f64) -> f64 {
        if reading <= 0.0 || self.low() <= 0.0 {
            return self.sigmas(reading, own);
        }
        let off = (reading / self.centre).ln();
        let side = if off < 0.0 {
            (self.centre / self.low()).ln() / K95
        } else {
            (self.high() / self.centre).ln() / K95
        };
        let sigma = side.hypot(own / reading);
        if off == 0.0 {
            0.0
        } else if sigma > 0.0 {
            off / sigma
        } else {
            off.signum() * f64::INFINITY
        }
    }

    /// The verdict on a reading.
    #[must_use]
    pub fn judge(&self, reading: f64, own: f64) -> Word {
        word(self.sigmas(reading, own))
    }

    /// The verdict on a display that showed only a lower bound (`OL`, `> 20M`): it is inside
    /// as long as some value above the bound is.
    #[must_use]
    pub fn judge_above(&self, bound: f64, own: f64) -> Word {
        if bound <= self.centre {
            Word::Inside
        } else {
            self.judge(bound, own)
        }
    }

    /// The verdict on a display that showed only an upper bound (`< 0.01`), of the magnitude.
    #[must_use]
    pub fn judge_below(&self, bound: f64, own: f64) -> Word {
        let bound = bound.abs();
        if self.centre.abs() <= bound {
            Word::Inside
        } else {
            self.judge(bound.copysign(self.centre), own)
        }
    }
}

/// The word for a distance in standard deviations.
#[must_use]
pub fn word(sigmas: f64) -> Word {
    let far = sigmas.abs();
    if far <= K95 {
        Word::Inside
    } else if far <= K997 {
        Word::Doubtful
    } else {
        // also NaN: what cannot be compared is not called inside
        Word::Outside
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BAND: Band = Band {
        centre: 200.0,
        down: 5.0,
        up: 10.0,
    };

    #[test]
    fn each_side_has_its_own_width() {
        assert_eq!(BAND.judge(200.0, 0.0), Word::Inside);
        assert_eq!(BAND.judge(190.3, 0.0), Word::Inside);
        assert_eq!(BAND.judge(190.1, 0.0), Word::Doubtful);
        assert_eq!(BAND.judge(185.1, 0.0), Word::Outside);
        assert_eq!(BAND.judge(219.5, 0.0), Word::Inside);
        assert_eq!(BAND.judge(225.0, 0.0), Word::Doubtful);
        assert_eq!(BAND.judge(230.0, 0.0), Word::Outside);
        assert!((BAND.low() - 190.2).abs() < 0.01 && (BAND.high() - 219.6).abs() < 0.01);
    }

    #[test]
    fn a_poor_meter_makes_nothing_outside() {
        assert_eq!(BAND.judge(185.1, 12.0), Word::Inside);
        assert_eq!(BAND.judge(185.1, 3.0), Word::Doubtful);
    }

    #[test]
    fn factors_are_judged_by_their_ratio() {
        let leaky = Band::by_factor(1e6, 0.7, 0.7);
        assert!((leaky.low() / (1e6 * (-0.7 * K95).exp()) - 1.0).abs() < 1e-12);
        assert!((leaky.high() / (1e6 * (0.7 * K95).exp()) - 1.0).abs() < 1e-12);
        assert!((leaky.sigmas_by_factor(1e6 * 0.7f64.exp(), 0.0) - 1.0).abs() < 1e-9);
        assert_eq!(word(leaky.sigmas_by_factor(22e3, 200.0)), Word::Outside);
        assert_eq!(word(leaky.sigmas(22e3, 200.0)), Word::Doubtful);
        // where there is no ratio the difference counts
        assert_eq!(BAND.sigmas_by_factor(-1.0, 0.0), BAND.sigmas(-1.0, 0.0));
    }

    #[test]
    fn no_spread_leaves_only_equality() {
        let exact = Band {
            centre: 1.0,
            down: 0.0,
            up: 0.0,
        };
        assert_eq!(exact.judge(1.0, 0.0), Word::Inside);
        assert_eq!(exact.judge(1.001, 0.0), Word::Outside);
        assert_eq!(word(f64::NAN), Word::Outside);
    }

    #[test]
    fn bounds_are_judged_by_what_they_allow() {
        assert_eq!(BAND.judge_above(150.0, 0.0), Word::Inside);
        assert_eq!(BAND.judge_above(300.0, 0.0), Word::Outside);
        assert_eq!(BAND.judge_below(0.1, 0.01), Word::Outside);
        assert_eq!(
            Band {
                centre: 0.0,
                down: 0.001,
                up: 0.001
            }
            .judge_below(0.01, 0.0),
            Word::Inside
        );
    }

    /// 1.96 and 2.97 standard deviations hold 95 and 99.7 % of a normal distribution
    /// (the usual table; 2.967738 is its 99.85 % quantile). Checked by summing the density.
    #[test]
    fn k_factors_hold_their_share() {
        let share = |k: f64| {
            let n = 200_000;
            let step = 2.0 * k / f64::from(n);
            (0..n)
                .map(|i| -k + (f64::from(i) + 0.5) * step)
                .map(|x| (-x * x / 2.0).exp() * step / (2.0 * std::f64::consts::PI).sqrt())
                .sum::<f64>()
        };
        assert!((share(K95) - 0.95).abs() < 1e-6);
        assert!((share(K997) - 0.997).abs() < 1e-6);
    }
}
