//! Complex numbers of independent problems side by side.
//!
//! Each lane does what [`Complex`] does, in the same order, so that an answer has the same bits
//! in whatever lane it was found, or alone. The arrays have a fixed length, which the compiler
//! turns into the vector instructions that every machine of its kind has; wider ones would have to be
//! chosen at run time, which Rust allows only as `unsafe`.

use std::array::from_fn;
use std::ops::{Add, AddAssign, Mul, Neg, Sub, SubAssign};

use super::Complex;
use super::scalar::{Phasor, Scalar};

/// How many go side by side: the numbers of a whole amplifier then stay in the nearest memory.
pub const LANES: usize = 4;

/// As many complex numbers as there are lanes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Phasors {
    re: [f64; LANES],
    im: [f64; LANES],
}

impl Phasors {
    /// The number in one lane.
    #[must_use]
    pub fn lane(&self, lane: usize) -> Complex {
        Complex::new(self.re[lane], self.im[lane])
    }
}

#[inline(always)]
fn each(f: impl Fn(usize) -> f64) -> [f64; LANES] {
    from_fn(f)
}

impl Add for Phasors {
    type Output = Self;
    #[inline(always)]
    fn add(self, other: Self) -> Self {
        Self {
            re: each(|l| self.re[l] + other.re[l]),
            im: each(|l| self.im[l] + other.im[l]),
        }
    }
}

impl Sub for Phasors {
    type Output = Self;
    #[inline(always)]
    fn sub(self, other: Self) -> Self {
        Self {
            re: each(|l| self.re[l] - other.re[l]),
            im: each(|l| self.im[l] - other.im[l]),
        }
    }
}

impl Mul for Phasors {
    type Output = Self;
    #[inline(always)]
    fn mul(self, other: Self) -> Self {
        Self {
            re: each(|l| self.re[l] * other.re[l] - self.im[l] * other.im[l]),
            im: each(|l| self.re[l] * other.im[l] + self.im[l] * other.re[l]),
        }
    }
}

impl Neg for Phasors {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        Self {
            re: each(|l| -self.re[l]),
            im: each(|l| -self.im[l]),
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
    type Size = [f64; LANES];

    const ZERO: Self = Self {
        re: [0.0; LANES],
        im: [0.0; LANES],
    };
    const ONE: Self = Self {
        re: [1.0; LANES],
        im: [0.0; LANES],
    };

    #[inline(always)]
    fn size(self) -> Self::Size {
        each(|l| self.re[l].abs() + self.im[l].abs())
    }

    #[inline(always)]
    fn add_size(self, sum: &mut Self::Size) {
        for (sum, size) in sum.iter_mut().zip(self.size()) {
            *sum += size;
        }
    }

    #[inline(always)]
    fn keeps(self, least: f64, made_from: Self::Size) -> bool {
        let kept = self.size();
        (0..LANES).all(|l| kept[l] > least * made_from[l] && kept[l].is_finite() && kept[l] > 0.0)
    }

    /// By Smith's scaling, without a branch.
    #[inline(always)]
    fn inverse(self) -> Self {
        let wide: [bool; LANES] = from_fn(|l| self.re[l].abs() >= self.im[l].abs());
        let pick =
            |yes: &[f64; LANES], no: &[f64; LANES]| each(|l| if wide[l] { yes[l] } else { no[l] });
        let (large, small) = (pick(&self.re, &self.im), pick(&self.im, &self.re));
        let ratio = each(|l| small[l] / large[l]);
        let below = each(|l| large[l] + small[l] * ratio[l]);
        let plain = each(|l| 1.0 / below[l]);
        let turned = each(|l| ratio[l] / below[l]);
        let (re, im) = (pick(&plain, &turned), pick(&turned, &plain));
        Self {
            re,
            im: each(|l| -im[l]),
        }
    }

    #[inline(always)]
    fn scaled(self, by: f64) -> Self {
        Self {
            re: each(|l| self.re[l] * by),
            im: each(|l| self.im[l] * by),
        }
    }

    #[inline(always)]
    fn real(value: f64) -> Self {
        Self {
            re: [value; LANES],
            im: [0.0; LANES],
        }
    }
}

impl Phasor for Phasors {
    #[inline(always)]
    fn imaginary(value: [f64; LANES]) -> Self {
        Self {
            re: [0.0; LANES],
            im: value,
        }
    }
}
