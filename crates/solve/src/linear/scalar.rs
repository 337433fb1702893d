//! The two kinds of number that circuits are solved in, and what several side by side share with them.

use std::fmt::Debug;
use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

/// A number, or several side by side, that a compiled elimination can be repeated with.
pub trait Scalar:
    Copy
    + Debug
    + Default
    + PartialEq
    + Send
    + Sync
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Neg<Output = Self>
    + AddAssign
    + SubAssign
    + 'static
{
    /// What [`Scalar::size`] tells: one number for each number side by side.
    type Size: Copy + Default;

    /// Nought.
    const ZERO: Self;
    /// One.
    const ONE: Self;

    /// A size that grows with the absolute value and is cheap: at least the absolute value
    /// and at most 1.42 times it. Used to compare pivots, never in results.
    fn size(self) -> Self::Size;

    /// Adds to a sum of sizes.
    fn add_size(self, sum: &mut Self::Size);

    /// Is this, which is what is left of `made_from`, finite, not nought and more than `least` of it?
    /// Of several side by side: is each?
    fn keeps(self, least: f64, made_from: Self::Size) -> bool;

    /// One over it.
    fn inverse(self) -> Self;

    /// It times a real number.
    fn scaled(self, by: f64) -> Self;

    /// The real number as a member of this kind.
    fn real(value: f64) -> Self;
}

/// A single number that a circuit can be solved in: real at direct current, complex for phasors.
pub trait Single: Scalar<Size = f64> + Div<Output = Self> {}

impl Single for f64 {}
impl Single for Complex {}

fn keeps(kept: f64, least: f64, made_from: f64) -> bool {
    kept > least * made_from && kept.is_finite() && kept > 0.0
}

impl Scalar for f64 {
    type Size = Self;

    const ZERO: Self = 0.0;
    const ONE: Self = 1.0;

    #[inline]
    fn size(self) -> f64 {
        self.abs()
    }

    #[inline]
    fn add_size(self, sum: &mut f64) {
        *sum += self.abs();
    }

    #[inline]
    fn keeps(self, least: f64, made_from: f64) -> bool {
        keeps(self.abs(), least, made_from)
    }

    #[inline]
    fn inverse(self) -> Self {
        1.0 / self
    }

    #[inline]
    fn scaled(self, by: f64) -> Self {
        self * by
    }

    #[inline]
    fn real(value: f64) -> Self {
        value
    }
}

/// A complex number, for phasors.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Complex {
    /// Real part.
    pub re: f64,
    /// Imaginary part.
    pub im: f64,
}

impl Complex {
    /// `re + j im`.
    #[must_use]
    pub const fn new(re: f64, im: f64) -> Self {
        Self { re, im }
    }

    /// `length * exp(j angle)`, the angle in radians.
    #[must_use]
    pub fn from_polar(length: f64, angle: f64) -> Self {
        Self::new(length * angle.cos(), length * angle.sin())
    }

    /// Length of the phasor.
    #[must_use]
    pub fn abs(self) -> f64 {
        self.re.hypot(self.im)
    }

    /// Its angle, radians, in -pi..=pi.
    #[must_use]
    pub fn angle(self) -> f64 {
        self.im.atan2(self.re)
    }

    /// The conjugate.
    #[must_use]
    pub fn conj(self) -> Self {
        Self::new(self.re, -self.im)
    }
}

impl Add for Complex {
    type Output = Self;
    #[inline(always)]
    fn add(self, other: Self) -> Self {
        Self::new(self.re + other.re, self.im + other.im)
    }
}

impl Sub for Complex {
    type Output = Self;
    #[inline(always)]
    fn sub(self, other: Self) -> Self {
        Self::new(self.re - other.re, self.im - other.im)
    }
}

impl Mul for Complex {
    type Output = Self;
    #[inline(always)]
    fn mul(self, other: Self) -> Self {
        Self::new(
            self.re * other.re - self.im * other.im,
            self.re * other.im + self.im * other.re,
        )
    }
}

impl Div for Complex {
    type Output = Self;
    /// By Smith's scaling, so that no intermediate square overflows.
    fn div(self, other: Self) -> Self {
        if other.re.abs() >= other.im.abs() {
            let ratio = other.im / other.re;
            let below = other.re + other.im * ratio;
            Self::new(
                (self.re + self.im * ratio) / below,
                (self.im - self.re * ratio) / below,
            )
        } else {
            let ratio = other.re / other.im;
            let below = other.re * ratio + other.im;
            Self::new(
                (self.re * ratio + self.im) / below,
                (self.im * ratio - self.re) / below,
            )
        }
    }
}

impl Neg for Complex {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        Self::new(-self.re, -self.im)
    }
}

impl AddAssign for Complex {
    #[inline(always)]
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl SubAssign for Complex {
    #[inline(always)]
    fn sub_assign(&mut self, other: Self) {
        *self = *self - other;
    }
}

impl Scalar for Complex {
    type Size = f64;

    const ZERO: Self = Self::new(0.0, 0.0);
    const ONE: Self = Self::new(1.0, 0.0);

    #[inline(always)]
    fn size(self) -> f64 {
        self.re.abs() + self.im.abs()
    }

    #[inline(always)]
    fn add_size(self, sum: &mut f64) {
        *sum += self.size();
    }

    #[inline(always)]
    fn keeps(self, least: f64, made_from: f64) -> bool {
        keeps(self.size(), least, made_from)
    }

    #[inline(always)]
    fn inverse(self) -> Self {
        Self::ONE / self
    }

    #[inline(always)]
    fn scaled(self, by: f64) -> Self {
        Self::new(self.re * by, self.im * by)
    }

    #[inline(always)]
    fn real(value: f64) -> Self {
        Self::new(value, 0.0)
    }
}

impl Phasor for Complex {
    #[inline(always)]
    fn imaginary(value: f64) -> Self {
        Self::new(0.0, value)
    }
}

/// Phasors, one or several side by side.
pub trait Phasor: Scalar {
    /// No real part, and this imaginary one.
    fn imaginary(value: Self::Size) -> Self;
}
