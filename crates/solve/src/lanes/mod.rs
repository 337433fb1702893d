//! Four numbers side by side, and the widest vectors that the machine at hand has.
//!
//! A [`Wide`] is an array of four doubles with the arithmetic of each. Every operation is inlined, so that the compiler
//! makes one vector instruction of it. Which vectors there are is known only when the program runs: [`widely`] asks once and
//! runs work that was compiled for them. Nothing is fused and nothing reordered, so that every machine gives the same bits,
//! and each lane those it gives alone.

mod functions;
#[cfg(test)]
mod tests;

use std::ops::{Add, AddAssign, BitAnd, BitOr, Div, Mul, Neg, Not, Sub, SubAssign};

use crate::linear::Scalar;

/// How many numbers go side by side.
pub(crate) const LANES: usize = 4;

/// Work that is compiled anew for each kind of vector: its `call`, and all that this calls, must be `#[inline(always)]`.
pub(crate) use pulp::NullaryFnOnce as Work;

/// Runs `work` with the widest vectors that this machine has.
#[inline]
pub(crate) fn widely<W: Work>(work: W) -> W::Output {
    // what the machine has is looked up once, by the standard library
    pulp::Arch::new().dispatch(work)
}

/// Four numbers side by side.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[repr(align(32))]
pub(crate) struct Wide(pub(crate) [f64; LANES]);

/// A yes or no for each lane.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Mask([bool; LANES]);

impl Wide {
    /// The same number in every lane.
    #[inline(always)]
    pub(crate) const fn all(value: f64) -> Self {
        Self([value; LANES])
    }

    /// The numbers by lane.
    #[inline(always)]
    pub(crate) fn from_lanes(lane: impl Fn(usize) -> f64) -> Self {
        Self([lane(0), lane(1), lane(2), lane(3)])
    }

    #[inline(always)]
    fn each(self, make: impl Fn(f64) -> f64) -> Self {
        Self::from_lanes(
            #[inline(always)]
            |lane| make(self.0[lane]),
        )
    }

    /// What each number's sixty-four bits become.
    #[inline(always)]
    fn by_bits(self, make: impl Fn(u64) -> u64) -> Self {
        self.each(
            #[inline(always)]
            |value| f64::from_bits(make(value.to_bits())),
        )
    }

    #[inline(always)]
    fn compare(self, other: Self, is: impl Fn(f64, f64) -> bool) -> Mask {
        let (a, b) = (self.0, other.0);
        Mask([
            is(a[0], b[0]),
            is(a[1], b[1]),
            is(a[2], b[2]),
            is(a[3], b[3]),
        ])
    }

    /// Where this is below the other; nowhere a number is none.
    #[inline(always)]
    pub(crate) fn less(self, other: Self) -> Mask {
        self.compare(
            other,
            #[inline(always)]
            |a, b| a < b,
        )
    }

    /// Where this is a number.
    #[inline(always)]
    pub(crate) fn is_number(self) -> Mask {
        self.compare(
            self,
            #[inline(always)]
            |a, b| a == b,
        )
    }

    /// The lower of two; this one where either is no number.
    #[inline(always)]
    pub(crate) fn lower(self, other: Self) -> Self {
        other.less(self).pick(other, self)
    }

    /// The higher of two; this one where either is no number.
    #[inline(always)]
    pub(crate) fn higher(self, other: Self) -> Self {
        self.less(other).pick(other, self)
    }

    /// Without its sign.
    #[inline(always)]
    pub(crate) fn abs(self) -> Self {
        self.each(f64::abs)
    }

    /// Square root, correctly rounded.
    #[inline(always)]
    pub(crate) fn sqrt(self) -> Self {
        self.each(f64::sqrt)
    }

    /// `e` to the power of each; within 1 unit of the last place of what has no error (tested).
    #[inline(always)]
    pub(crate) fn exp(self) -> Self {
        functions::exp(self)
    }

    /// As [`Wide::exp`], for what is no further from nought than 700.
    #[inline(always)]
    pub(crate) fn exp_within(self) -> Self {
        functions::exp_within(self)
    }

    /// As [`Wide::ln`], for what is positive, finite and normal.
    #[inline(always)]
    pub(crate) fn ln_within(self) -> Self {
        functions::ln_within(self)
    }

    /// As [`Wide::ln_1p`], for what is not negative and at most 1e300.
    #[inline(always)]
    pub(crate) fn ln_1p_within(self) -> Self {
        functions::ln_1p_within(self)
    }

    /// The natural logarithm of each, with the same error; below nought it is no number.
    #[inline(always)]
    pub(crate) fn ln(self) -> Self {
        functions::ln(self)
    }

    /// The natural logarithm of one and each; within 2 units of the last place (tested).
    #[inline(always)]
    pub(crate) fn ln_1p(self) -> Self {
        functions::ln_1p(self)
    }
}

impl Mask {
    /// The same in every lane.
    #[inline(always)]
    pub(crate) const fn all(is: bool) -> Self {
        Self([is; LANES])
    }

    /// In one lane.
    #[inline(always)]
    pub(crate) fn lane(self, lane: usize) -> bool {
        self.0[lane]
    }

    #[inline(always)]
    fn with(self, other: Self, make: impl Fn(bool, bool) -> bool) -> Self {
        let (a, b) = (self.0, other.0);
        Self([
            make(a[0], b[0]),
            make(a[1], b[1]),
            make(a[2], b[2]),
            make(a[3], b[3]),
        ])
    }

    /// One number or the other, by lane.
    #[inline(always)]
    pub(crate) fn pick(self, yes: Wide, no: Wide) -> Wide {
        Wide::from_lanes(
            #[inline(always)]
            |lane| {
                if self.0[lane] {
                    yes.0[lane]
                } else {
                    no.0[lane]
                }
            },
        )
    }

    /// Yes in every lane?
    #[inline(always)]
    pub(crate) fn every(self) -> bool {
        self.0[0] & self.0[1] & self.0[2] & self.0[3]
    }

    /// Yes in any lane?
    #[allow(dead_code, reason = "circuits side by side ask for it")]
    #[inline(always)]
    pub(crate) fn any(self) -> bool {
        self.0[0] | self.0[1] | self.0[2] | self.0[3]
    }
}

impl BitAnd for Mask {
    type Output = Self;
    #[inline(always)]
    fn bitand(self, other: Self) -> Self {
        self.with(
            other,
            #[inline(always)]
            |a, b| a & b,
        )
    }
}

impl BitOr for Mask {
    type Output = Self;
    #[inline(always)]
    fn bitor(self, other: Self) -> Self {
        self.with(
            other,
            #[inline(always)]
            |a, b| a | b,
        )
    }
}

impl Not for Mask {
    type Output = Self;
    #[inline(always)]
    fn not(self) -> Self {
        self.with(
            self,
            #[inline(always)]
            |a, _| !a,
        )
    }
}

macro_rules! arithmetic {
    ($operation:ident, $name:ident, $sign:tt) => {
        impl $operation for Wide {
            type Output = Self;
            #[inline(always)]
            fn $name(self, other: Self) -> Self {
                Self::from_lanes(#[inline(always)] |lane| self.0[lane] $sign other.0[lane])
            }
        }

        impl $operation<f64> for Wide {
            type Output = Self;
            #[inline(always)]
            fn $name(self, other: f64) -> Self {
                self $sign Self::all(other)
            }
        }

        impl $operation<Wide> for f64 {
            type Output = Wide;
            #[inline(always)]
            fn $name(self, other: Wide) -> Wide {
                Wide::all(self) $sign other
            }
        }
    };
}
arithmetic!(Add, add, +);
arithmetic!(Sub, sub, -);
arithmetic!(Mul, mul, *);
arithmetic!(Div, div, /);

impl Neg for Wide {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        self.each(
            #[inline(always)]
            |value| -value,
        )
    }
}

impl AddAssign for Wide {
    #[inline(always)]
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl SubAssign for Wide {
    #[inline(always)]
    fn sub_assign(&mut self, other: Self) {
        *self = *self - other;
    }
}

impl Scalar for Wide {
    type Size = Self;

    const ZERO: Self = Self::all(0.0);
    const ONE: Self = Self::all(1.0);

    #[inline(always)]
    fn size(self) -> Self {
        self.abs()
    }

    #[inline(always)]
    fn add_size(self, sum: &mut Self) {
        *sum += self.abs();
    }

    #[inline(always)]
    fn keeps(self, least: f64, made_from: Self) -> bool {
        let kept = self.abs();
        (made_from * least).less(kept).every()
            && Self::ZERO.less(kept).every()
            && kept.less(Self::all(f64::INFINITY)).every()
    }

    #[inline(always)]
    fn inverse(self) -> Self {
        1.0 / self
    }

    #[inline(always)]
    fn scaled(self, by: f64) -> Self {
        self * by
    }

    #[inline(always)]
    fn real(value: f64) -> Self {
        Self::all(value)
    }
}
