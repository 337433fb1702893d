//! Held against the functions of the system, whose own error is below one unit of the last place.

use super::{Wide, Work, widely};
use crate::linear::Scalar;

struct Of<F>(F, Wide);

impl<F: Fn(Wide) -> Wide> Work for Of<F> {
    type Output = Wide;
    #[inline(always)]
    fn call(self) -> Wide {
        self.0(self.1)
    }
}

/// How far apart two numbers are, in units of the last place of the second.
fn apart(ours: f64, theirs: f64) -> f64 {
    if ours == theirs || (ours.is_nan() && theirs.is_nan()) {
        return 0.0;
    }
    let unit = theirs.abs().next_up() - theirs.abs();
    (ours - theirs).abs() / unit
}

/// The worst over many arguments, each in another lane than the one before it, with others beside it.
fn worst(
    function: impl Fn(Wide) -> Wide + Copy,
    system: impl Fn(f64) -> f64,
    arguments: impl Iterator<Item = f64>,
) -> f64 {
    let all: Vec<f64> = arguments.collect();
    let mut worst: f64 = 0.0;
    for four in all.windows(4).step_by(3) {
        let given = Wide::from_lanes(|lane| four[lane]);
        let found = widely(Of(function, given));
        for (ours, &x) in found.0.into_iter().zip(four) {
            let off = apart(ours, system(x));
            assert!(off < 4.0, "{x:e}: {ours:e}, not {:e}", system(x));
            worst = worst.max(off);
        }
        // the same bits as alone, with vectors or without
        for (lane, ours) in found.0.into_iter().enumerate() {
            let alone = function(Wide::all(four[lane])).0[0];
            assert!(ours.to_bits() == alone.to_bits() || ours.is_nan() && alone.is_nan());
        }
    }
    worst
}

/// So many numbers from one to the other, and a little on either side of each.
fn between(from: f64, to: f64, count: u32) -> impl Iterator<Item = f64> {
    (0..=count).flat_map(move |at| {
        let x = from + (to - from) * f64::from(at) / f64::from(count);
        [x, x.next_up(), x * (1.0 - 1e-9)]
    })
}

/// Numbers of every exponent.
fn of_every_size() -> impl Iterator<Item = f64> {
    (-1074..1024).flat_map(|k| {
        let unit = 2.0_f64.powi(k.max(-1022)) * 2.0_f64.powi((k + 1022).min(0));
        [1.0, 1.2, 1.41, 1.5, 1.999_999_999_999_999_8].map(|x| x * unit)
    })
}

/// Where less is asked, the same bits; and what is no number stays none.
#[test]
fn what_serves_within_bounds_is_the_same_there() {
    let same = |within: fn(Wide) -> Wide, whole: fn(Wide) -> Wide, x: f64| {
        let (a, b) = (within(Wide::all(x)).0[0], whole(Wide::all(x)).0[0]);
        assert_eq!(a.to_bits(), b.to_bits(), "{x:e}: {a:e} {b:e}");
    };
    for x in between(-700.0, 700.0, 20_000).chain(between(-1.0, 1.0, 20_000)) {
        same(Wide::exp_within, Wide::exp, x.clamp(-700.0, 700.0));
    }
    let normal = of_every_size().filter(|x| x.is_normal());
    for x in normal.chain(between(0.5, 2.0, 20_000)) {
        same(Wide::ln_within, Wide::ln, x);
        if x < 1e300 {
            same(Wide::ln_1p_within, Wide::ln_1p, x);
        }
    }
    same(Wide::ln_1p_within, Wide::ln_1p, 0.0);
    for function in [Wide::exp_within, Wide::ln_within, Wide::ln_1p_within] {
        assert!(function(Wide::all(f64::NAN)).0.iter().all(|x| x.is_nan()));
    }
}

#[test]
fn the_exponential_is_the_systems() {
    let off = worst(Wide::exp, f64::exp, between(-745.2, 709.8, 60_000));
    assert!(off <= 1.0, "{off}");
    let off = worst(Wide::exp, f64::exp, between(-2.0, 2.0, 60_000));
    assert!(off <= 1.0, "{off}");
    let ends = [
        0.0,
        -0.0,
        f64::INFINITY,
        f64::NEG_INFINITY,
        f64::NAN,
        1e300,
        -1e300,
        f64::MAX,
        f64::MIN,
        f64::MIN_POSITIVE,
        5e-324,
        -5e-324,
        709.782712893384,
        709.7827128933841,
        -745.1332191019411,
        -745.1332191019412,
        -745.133_219_101_942,
        -708.4,
    ];
    assert_eq!(
        worst(Wide::exp, f64::exp, ends.into_iter().chain([0.0; 4])),
        0.0
    );
}

#[test]
fn the_logarithm_is_the_systems() {
    let off = worst(Wide::ln, f64::ln, of_every_size());
    assert!(off <= 1.0, "{off}");
    let off = worst(Wide::ln, f64::ln, between(0.5, 2.0, 60_000));
    assert!(off <= 1.0, "{off}");
    let ends = [
        0.0,
        -0.0,
        1.0,
        f64::INFINITY,
        f64::NEG_INFINITY,
        f64::NAN,
        -1.0,
        -5e-324,
        5e-324,
        f64::MAX,
        f64::MIN,
    ];
    assert!(worst(Wide::ln, f64::ln, ends.into_iter().chain([1.0; 4])) <= 1.0);
}

#[test]
fn the_logarithm_of_one_and_a_little_is_the_systems() {
    let off = worst(Wide::ln_1p, f64::ln_1p, of_every_size());
    assert!(off <= 2.0, "{off}");
    let off = worst(Wide::ln_1p, f64::ln_1p, between(-0.999, 3.0, 60_000));
    assert!(off <= 2.0, "{off}");
    let ends = [
        0.0,
        -0.0,
        f64::INFINITY,
        f64::NEG_INFINITY,
        f64::NAN,
        -1.0,
        -1.5,
        -5e-324,
        f64::MAX,
    ];
    assert!(worst(Wide::ln_1p, f64::ln_1p, ends.into_iter().chain([0.0; 4])) <= 1.0);
}

#[test]
fn lanes_do_what_each_number_does() {
    let (a, b) = (
        Wide([1.0, -2.0, f64::NAN, 0.0]),
        Wide([3.0, -5.0, 1.0, -0.0]),
    );
    assert_eq!((a + b).0[..2], [4.0, -7.0]);
    assert_eq!((a - b).0[..2], [-2.0, 3.0]);
    assert_eq!((a * b).0[..2], [3.0, 10.0]);
    assert_eq!((a / b).0[..2], [1.0 / 3.0, 0.4]);
    assert_eq!((-a).0[..2], [-1.0, 2.0]);
    assert_eq!(a.lower(b).0[..2], [1.0, -5.0]);
    assert_eq!(a.higher(b).0[..2], [3.0, -2.0]);
    assert!(a.lower(b).0[2].is_nan() && b.lower(a).0[2] == 1.0);
    assert!(a.less(b).any() && !a.less(b).every());
    assert!(!a.is_number().every() && b.is_number().every());
    assert_eq!(b.abs().sqrt().0[0], 3.0_f64.sqrt());
    // a pivot is good when it is so in every lane
    let good = Wide::all(1.0);
    assert!(good.keeps(1e-8, Wide::all(1.0)));
    for bad in [0.0, f64::NAN, f64::INFINITY, 1e-9] {
        assert!(!Wide([1.0, 1.0, bad, 1.0]).keeps(1e-8, good), "{bad}");
    }
}
