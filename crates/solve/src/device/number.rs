//! What the laws of valves are written in: a number, or several side by side.
//!
//! One source serves both. A single number takes the system's functions and leaves out what its size makes needless; several
//! ([`crate::lanes`]) take functions without branches, so that each has the bits it has alone.

use std::ops::{Add, Div, Mul, Neg, Sub};

use super::smooth::{self, Softplus};

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
