//! Points that fill a space of many parameters evenly, scrambled.
//!
//! Sobol's sequence (USSR Computational Mathematics and Mathematical Physics 7, 1967, from memory, not seen) with the direction
//! numbers of Joe and Kuo, scrambled digit by digit as Owen proposed (1998, from memory, not seen); the scrambling is by the hash of
//! Laine and Karras as Burley gives it (Practical hash-based Owen scrambling, JCGT 9, 2020, from memory, not seen): a digit's
//! exchange depends on all digits above it.

use std::sync::OnceLock;

/// Binary digits of a place.
const DIGITS: usize = 32;

type Directions = [u32; DIGITS];

/// Parameters that have points.
pub(super) fn most() -> usize {
    directions().len()
}

/// Where the first `count` points stand by parameter number `parameter`, above 0 and below 1, scrambled by
/// `key`; the middle for parameters beyond [`most`].
pub(super) fn places(parameter: usize, count: u32, key: u32) -> Vec<f64> {
    let Some(directions) = directions().get(parameter) else {
        return vec![0.5; count as usize];
    };
    let place = |digits| (f64::from(scrambled(digits, key)) + 0.5) / 4_294_967_296.0;
    digits(directions, count).map(place).collect()
}

/// The digits of the first `count` points.
fn digits(directions: &Directions, count: u32) -> impl Iterator<Item = u32> {
    // From a point to the next the last ones become noughts, and the nought before them a one.
    let mut changes = *directions;
    for digit in 1..DIGITS {
        changes[digit] ^= changes[digit - 1];
    }
    (0..count).scan(0, move |next, point| {
        let digits = *next;
        *next ^= changes[(point.trailing_ones() as usize).min(DIGITS - 1)];
        Some(digits)
    })
}

/// Each digit exchanged or not, by what stands above it.
fn scrambled(digits: u32, key: u32) -> u32 {
    let mut x = digits.reverse_bits();
    x = x.wrapping_add(key);
    for factor in [0x6c50_b47c_u32, 0xb82f_1e52, 0xc7af_e638, 0x8d22_f6e6] {
        x ^= x.wrapping_mul(factor);
    }
    x.reverse_bits()
}

fn directions() -> &'static [Directions] {
    static ALL: OnceLock<Vec<Directions>> = OnceLock::new();
    ALL.get_or_init(|| {
        let lines = include_str!("../../data/sobol.txt").lines();
        let rows = lines.filter(|line| !line.starts_with('#'));
        let first = std::array::from_fn(|digit| 1 << (DIGITS - 1 - digit));
        std::iter::once(first).chain(rows.map(of)).collect()
    })
}

/// The directions of a row of the table.
fn of(row: &str) -> Directions {
    let mut numbers = row.split_whitespace().map(|word| word.parse().unwrap_or(1));
    let polynomial: u32 = numbers.next().unwrap_or(3);
    let degree = polynomial.checked_ilog2().unwrap_or(1).max(1) as usize;
    let mut directions = [0; DIGITS];
    for (digit, slot) in directions.iter_mut().enumerate().take(degree) {
        *slot = numbers.next().unwrap_or(1) << (DIGITS - 1 - digit);
    }
    for digit in degree..DIGITS {
        let far = directions[digit - degree];
        let mut own = far ^ (far >> degree);
        for back in 1..degree {
            if polynomial >> (degree - back) & 1 == 1 {
                own ^= directions[digit - back];
            }
        }
        directions[digit] = own;
    }
    directions
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test's own points")]
mod tests {
    use super::*;

    /// Points as scipy 1.17.1 makes them (scipy.stats.qmc.Sobol, unscrambled), which are exact in binary. Its
    /// sequence goes by Gray's code: its point number `i` is ours number `i ^ (i >> 1)`.
    #[test]
    fn unscrambled_points_are_those_of_another_program() {
        let parameters = [0, 1, 2, 3, 4, 50, 399];
        for (point, seen) in [
            (1, [0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5]),
            (2, [0.75, 0.25, 0.25, 0.25, 0.75, 0.25, 0.25]),
            (3, [0.25, 0.75, 0.75, 0.75, 0.25, 0.75, 0.75]),
            (5, [0.875, 0.875, 0.125, 0.375, 0.875, 0.625, 0.875]),
            (
                37,
                [
                    0.921875, 0.640625, 0.578125, 0.921875, 0.765625, 0.421875, 0.140625,
                ],
            ),
        ] {
            let own: u32 = point ^ (point >> 1);
            for (parameter, seen) in parameters.into_iter().zip(seen) {
                let digits = digits(&directions()[parameter], own + 1).last();
                let place = f64::from(digits.unwrap()) / 2.0_f64.powi(32);
                assert!(
                    (place - seen).abs() < 1e-15,
                    "{point} {parameter} {place} {seen}"
                );
            }
        }
        assert_eq!(most(), 400);
    }

    /// Of the first 2^k points each 2^-k of a parameter's range holds one, scrambled or not; and two keys differ.
    #[test]
    fn every_stratum_holds_one_point() {
        for parameter in [0, 1, 17, 250, 399] {
            for key in [0, 1, 0x9e37_79b9, u32::MAX] {
                let mut held = [0; 256];
                for place in places(parameter, 256, key) {
                    held[(place * 256.0) as usize] += 1;
                }
                assert_eq!(held, [1; 256], "{parameter} {key}");
            }
        }
        assert!(places(3, 8, 1)[7].to_bits() != places(3, 8, 2)[7].to_bits());
        assert!(
            places(400, 8, 2)
                .iter()
                .all(|place| (place - 0.5).abs() < 1e-15)
        );
    }
}
