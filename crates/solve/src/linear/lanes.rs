//! Complex numbers of independent problems side by side.
//!
//! Each lane does what [`Complex`] does, in the same order, so that an answer has the same bits
//! in whatever lane it was found, or alone.

use std::ops::{Add, AddAssign, Mul, Neg, Sub, SubAssign};

use super::Complex;
use super::scalar::{Phasor, Scalar};
use crate::lanes::Wide;

/// As many complex numbers as there are lanes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Phasors {
    re: Wide,
    im: Wide,
}

impl Phasors {
    /// The number in one lane.
    #[must_use]
    #[inline(always)]
    pub(crate) fn lane(&self, lane: usize) -> Complex {
        Complex::new(self.re.0[lane], self.im.0[lane])
    }
}

impl Add for Phasors {
    type Output = Self;
    #[inline(always)]
    fn add(self, other: Self) -> Self {
        Self {
            re: self.re + other.re,
            im: self.im + other.im,
        }
    }
}

impl Sub for Phasors {
    type Output = Self;
    #[inline(always)]
    fn sub(self, other: Self) -> Self {
        Self {
            re: self.re - other.re,
            im: self.im - other.im,
        }
    }
}

impl Mul for Phasors {
    type Output = Self;
    #[inline(always)]
    fn mul(self, other: Self) -> Self {
        Self {
            re: self.re * other.re - self.im * other.im,
            im: self.re * other.im + self.im * other.re,
        }
    }
}

impl Neg for Phasors {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        Self {
            re: -self.re,
            im: -self.im,
        }
    }
}

impl AddAssign for Phasors {
    #[inline(always)]
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl SubAssign for Phasors {
    #[inline(always)]
    fn sub_assign(&mut self, other: Self) {
        *self = *self - other;
    }
}

impl Scalar for Phasors {
    type Size = Wide;

    const ZERO: Self = Self {
        re: Wide::all(0.0),
        im: Wide::all(0.0),
    };
    const ONE: Self = Self {
        re: Wide::all(1.0),
        im: Wide::all(0.0),
    };

    #[inline(always)]
    fn size(self) -> Wide {
        self.re.abs() + self.im.abs()
    }

    #[inline(always)]
    fn add_size(self, sum: &mut Wide) {
        *sum += self.size();
    }

    #[inline(always)]
    fn keeps(self, least: f64, made_from: Wide) -> bool {
        self.size().keeps(least, made_from)
    }

    /// By Smith's scaling, without a branch.
    #[inline(always)]
    fn inverse(self) -> Self {
        let narrow = self.re.abs().less(self.im.abs());
        let (large, small) = (narrow.pick(self.im, self.re), narrow.pick(self.re, self.im));
        let ratio = small / large;
        let below = large + small * ratio;
        let (plain, turned) = (1.0 / below, ratio / below);
        Self {
            re: narrow.pick(turned, plain),
            im: -narrow.pick(plain, turned),
        }
    }

    #[inline(always)]
    fn scaled(self, by: f64) -> Self {
        Self {
            re: self.re * by,
            im: self.im * by,
        }
    }

    #[inline(always)]
    fn real(value: f64) -> Self {
        Self {
            re: Wide::all(value),
            im: Wide::all(0.0),
        }
    }
}

impl Phasor for Phasors {
    #[inline(always)]
    fn imaginary(value: Wide) -> Self {
        Self {
            re: Wide::all(0.0),
            im: value,
        }
    }
}
