//! What the laws of valves are written in: a number, or several side by side.
//!
//! One source serves both. A single number takes the system's functions and leaves out what its size makes needless; several
//! ([`crate::lanes`]) take functions without branches, so that each has the bits it has alone.

use std::ops::{Add, Div, Mul, Neg, Sub};

use super::smooth::{self, FAR, Softplus};
use super::{PentodeLaw, TriodeLaw};
use crate::lanes::Wide;

/// Powers of `e` are taken no further down than this, side by side.
const MOST_POWER: f64 = 700.0;

/// A number of a law.
pub(crate) trait Number:
    Copy
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
    + Add<f64, Output = Self>
    + Sub<f64, Output = Self>
    + Mul<f64, Output = Self>
    + Div<f64, Output = Self>
{
    /// The same number, in every place.
    fn of(value: f64) -> Self;
    /// Square root of what is not negative.
    fn sqrt(self) -> Self;
    /// `e` to its power.
    fn exp(self) -> Self;
    /// `e` to its power, of what is at most 700; what is below -700 may count as -700.
    fn exp_of_few(self) -> Self;
    /// Natural logarithm of what is not negative.
    fn ln(self) -> Self;
    /// `ln(1 + e)` of what is not negative.
    fn ln_1p(self) -> Self;
    /// No further from nought than this.
    fn within(self, most: f64) -> Self;
    /// See [`smooth::softplus`]; `self` is the argument.
    fn softplus(self, width: Self) -> Softplus<Self>;
    /// See [`smooth::positive_part`].
    fn positive_part(self, width: Self) -> (Self, Self);
}

impl Number for f64 {
    #[inline]
    fn of(value: f64) -> Self {
        value
    }

    #[inline]
    fn sqrt(self) -> Self {
        self.sqrt()
    }

    #[inline]
    fn exp(self) -> Self {
        self.exp()
    }

    #[inline]
    fn exp_of_few(self) -> Self {
        self.exp()
    }

    #[inline]
    fn ln(self) -> Self {
        self.ln()
    }

    #[inline]
    fn ln_1p(self) -> Self {
        smooth::ln_1p(self)
    }

    #[inline]
    fn within(self, most: f64) -> Self {
        self.clamp(-most, most)
    }

    #[inline]
    fn softplus(self, width: Self) -> Softplus<Self> {
        smooth::softplus(width, self)
    }

    #[inline]
    fn positive_part(self, width: Self) -> (Self, Self) {
        smooth::positive_part(self, width)
    }
}

impl Number for Wide {
    #[inline(always)]
    fn of(value: f64) -> Self {
        Self::all(value)
    }

    #[inline(always)]
    fn sqrt(self) -> Self {
        self.sqrt()
    }

    #[inline(always)]
    fn exp(self) -> Self {
        self.exp()
    }

    #[inline(always)]
    fn exp_of_few(self) -> Self {
        self.higher(Self::all(-MOST_POWER)).exp_within()
    }

    #[inline(always)]
    fn ln(self) -> Self {
        self.ln()
    }

    #[inline(always)]
    fn ln_1p(self) -> Self {
        self.ln_1p()
    }

    #[inline(always)]
    fn within(self, most: f64) -> Self {
        self.lower(Self::all(most)).higher(Self::all(-most))
    }

    #[inline(always)]
    fn softplus(self, width: Self) -> Softplus<Self> {
        let e = softplus_power(self);
        let value = softplus_value(self, e);
        let low = self.less(Self::all(-FAR));
        Softplus {
            log: softplus_log(self, width, value),
            log_slope: low.pick(Self::all(1.0), e / ((e + 1.0) * value)),
        }
    }

    #[inline(always)]
    fn positive_part(self, width: Self) -> (Self, Self) {
        let z = self / width;
        let high = Self::all(FAR).less(z);
        if high.every() {
            return (self, Self::all(1.0));
        }
        // what is less than this exponential of -700 is nothing to anything
        let e = z
            .lower(Self::all(FAR))
            .higher(Self::all(-MOST_POWER))
            .exp_within();
        (
            high.pick(self, width * e.ln_1p_within()),
            high.pick(Self::all(1.0), e / (e + 1.0)),
        )
    }
}

/// The first of three parts of a softplus side by side: the exponential of `z`.
#[inline(always)]
pub(super) fn softplus_power(z: Wide) -> Wide {
    z.within(FAR).exp_within()
}

/// The second: `ln(1 + e^z)` with that exponential; anything where `z` is far below nought.
#[inline(always)]
pub(super) fn softplus_value(z: Wide, e: Wide) -> Wide {
    let high = Wide::all(FAR).less(z);
    high.pick(z, e.ln_1p_within())
}

/// The third: the logarithm of `width` times that.
#[inline(always)]
pub(super) fn softplus_log(z: Wide, width: Wide, value: Wide) -> Wide {
    let low = z.less(Wide::all(-FAR));
    // a width is a fraction of a volt or more
    let log = (width * low.pick(Wide::all(1.0), value)).ln_within();
    log + low.pick(z, Wide::all(0.0))
}

impl<T: Copy> TriodeLaw<T> {
    /// All its numbers.
    pub(crate) fn numbers(self) -> [T; 10] {
        [
            self.k, self.mu, self.x, self.w0, self.w1, self.v0, self.vb, self.d, self.wg, self.vg0,
        ]
    }

    /// The law of these [`TriodeLaw::numbers`].
    pub(crate) fn of_numbers([k, mu, x, w0, w1, v0, vb, d, wg, vg0]: [T; 10]) -> Self {
        Self {
            k,
            mu,
            x,
            w0,
            w1,
            v0,
            vb,
            d,
            wg,
            vg0,
        }
    }
}

impl<T: Copy> PentodeLaw<T> {
    /// All its numbers.
    pub(crate) fn numbers(self) -> [T; 15] {
        [
            self.k, self.mu, self.x, self.w0, self.w1, self.lam, self.s, self.m, self.vmin,
            self.v1, self.n, self.r0, self.d, self.wg, self.vg0,
        ]
    }

    /// The law of these [`PentodeLaw::numbers`].
    pub(crate) fn of_numbers(
        [k, mu, x, w0, w1, lam, s, m, vmin, v1, n, r0, d, wg, vg0]: [T; 15],
    ) -> Self {
        Self {
            k,
            mu,
            x,
            w0,
            w1,
            lam,
            s,
            m,
            vmin,
            v1,
            n,
            r0,
            d,
            wg,
            vg0,
        }
    }
}
