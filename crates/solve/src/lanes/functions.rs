//! Exponential and logarithms of four numbers side by side, without a branch.
//!
//! The argument is brought near nought by a power of two, whose logarithm is kept in two parts (Cody and Waite, Software
//! Manual for the Elementary Functions, 1980, from memory, not seen); there a polynomial of least error serves, whose
//! coefficients were found by Remez's exchange in sixty digits.

use super::Wide;

/// Added to a number below 2^51 and taken off again, it rounds to a whole number; in between, its last bits are that number.
const ROUNDER: f64 = 6_755_399_441_055_744.0;
/// The logarithm of 2: its first 32 bits, so that a multiple of it has no error, and the rest.
const LN_2: f64 = 0.693_147_180_369_123_8;
const LN_2_REST: f64 = 1.908_214_929_270_587_7e-10;

/// `(e^r - 1 - r) / r^2` for `r` up to half the logarithm of 2; the exponential is off by 3.5e-18 at most.
const POWERS: [f64; 10] = [
    0.500_000_000_000_001_2,
    0.166_666_666_666_667,
    0.041_666_666_666_516_104,
    0.008_333_333_333_307_215,
    0.001_388_888_894_686_149_4,
    1.984_126_991_740_090_2e-4,
    2.480_149_008_447_757e-5,
    2.755_721_625_592_695e-6,
    2.763_123_426_676_576_7e-7,
    2.511_787_768_251_820_5e-8,
];

/// `(ln((1 + s) / (1 - s)) / s - 2) / s^2` in powers of `s^2`, for `(1 + s) / (1 - s)` between the root of one half and that
/// of 2; the logarithm over `s` is off by 2.5e-18 at most.
const TWICE_ODD: [f64; 7] = [
    0.666_666_666_666_673_4,
    0.399_999_999_994_141_7,
    0.285_714_287_425_230_8,
    0.222_221_985_573_437_36,
    0.181_835_652_395_364_26,
    0.153_140_250_677_540_09,
    0.147_962_244_126_757_5,
];

/// Beyond these the exponential is nought, or more than a double holds.
const FURTHEST: (f64, f64) = (-746.0, 710.0);

const EXPONENT_OF_ONE: u64 = 1023 << 52;
/// The bits of the root of one half, rounded up.
const HALF_ROOT: u64 = 0x3FE6_A09E_667F_3BCD;
const FRACTION: u64 = (1 << 52) - 1;
/// The bits of 2^52: a whole number below that put into its last bits makes their sum.
const WHOLE: u64 = (1023 + 52) << 52;

/// Two to the power of a whole number that stands in the last bits of a rounded one.
#[inline(always)]
fn power_of_two(rounded: Wide) -> Wide {
    rounded.by_bits(
        #[inline(always)]
        |bits| (bits << 52).wrapping_add(EXPONENT_OF_ONE),
    )
}

/// The exponential of what is near nought, a power of two apart.
#[inline(always)]
fn near_one(x: Wide, k: Wide) -> Wide {
    let r = (x - k * LN_2) - k * LN_2_REST;
    let (two, four) = (r * r, (r * r) * (r * r));
    let p = POWERS;
    let low = (p[0] + p[1] * r) + (p[2] + p[3] * r) * two;
    let middle = (p[4] + p[5] * r) + (p[6] + p[7] * r) * two;
    let high = p[8] + p[9] * r;
    1.0 + (r + two * (low + (middle + high * four) * four))
}

/// The exponential of what is no further from nought than 700, or no number.
#[inline(always)]
pub(super) fn exp_within(x: Wide) -> Wide {
    let rounded = x * std::f64::consts::LOG2_E + ROUNDER;
    near_one(x, rounded - ROUNDER) * power_of_two(rounded)
}

#[inline(always)]
pub(super) fn exp(x: Wide) -> Wide {
    let inside = x.lower(Wide::all(FURTHEST.1)).higher(Wide::all(FURTHEST.0));
    let k = (inside * std::f64::consts::LOG2_E + ROUNDER) - ROUNDER;
    let value = near_one(inside, k);
    // in two steps, as one would leave the range of exponents before the product does
    let half = k * 0.5 + ROUNDER;
    let rest = (k - (half - ROUNDER)) + ROUNDER;
    let value = value * power_of_two(half) * power_of_two(rest);
    x.is_number().pick(value, x)
}

/// The logarithm of a normal number, less what its exponent is short by.
#[inline(always)]
fn ln_of_normal(x: Wide, short: impl Fn(Wide) -> Wide) -> Wide {
    // x = 2^k m, with m between the root of one half and that of 2
    let moved = x.by_bits(
        #[inline(always)]
        |bits| bits.wrapping_add(EXPONENT_OF_ONE - HALF_ROOT),
    );
    let k = moved.by_bits(
        #[inline(always)]
        |bits| (bits >> 52) | WHOLE,
    ) - (f64::from_bits(WHOLE) + 1023.0);
    let k = short(k);
    let m = moved.by_bits(
        #[inline(always)]
        |bits| (bits & FRACTION).wrapping_add(HALF_ROOT),
    );
    let f = m - 1.0;
    let s = f / (2.0 + f);
    let (z, c) = (s * s, TWICE_ODD);
    let two = z * z;
    let low = (c[0] + c[1] * z) + (c[2] + c[3] * z) * two;
    let high = (c[4] + c[5] * z) + c[6] * two;
    let series = z * (low + high * (two * two));
    // ln(1 + f) = f - f^2/2 + s (f^2/2 + series), f without an error of its own
    let half_square = 0.5 * f * f;
    k * LN_2 - ((half_square - (s * (half_square + series) + k * LN_2_REST)) - f)
}

/// The logarithm of what is positive, finite and normal, or no number.
#[inline(always)]
pub(super) fn ln_within(x: Wide) -> Wide {
    let value = ln_of_normal(
        x,
        #[inline(always)]
        |k| k,
    );
    // its bits say nothing of what is no number
    value + x * 0.0
}

#[inline(always)]
pub(super) fn ln(x: Wide) -> Wide {
    const SHORT: f64 = (1_u64 << 54) as f64;
    let short = x.less(Wide::all(f64::MIN_POSITIVE));
    let full = short.pick(x * SHORT, x);
    let value = ln_of_normal(
        full,
        #[inline(always)]
        |k| short.pick(k - 54.0, k),
    );
    let infinity = Wide::all(f64::INFINITY);
    let value = x.less(infinity).pick(value, x);
    let value = Wide::all(0.0).less(x).pick(value, -infinity);
    let below = x.less(Wide::all(0.0));
    let value = below.pick(Wide::all(f64::NAN), value);
    x.is_number().pick(value, x)
}

/// `ln(1 + x)` of what is not negative and at most 1e300, or no number.
#[inline(always)]
pub(super) fn ln_1p_within(x: Wide) -> Wide {
    let sum = 1.0 + x;
    // what rounding the sum took
    ln_within(sum) + (x - (sum - 1.0)) / sum
}

#[inline(always)]
pub(super) fn ln_1p(x: Wide) -> Wide {
    let sum = 1.0 + x;
    let plain = ln(sum);
    // what rounding the sum took
    let value = plain + (x - (sum - 1.0)) / sum;
    value.is_number().pick(value, plain)
}
