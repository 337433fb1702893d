//! Preferred numbers of IEC 60063 (cited from memory, not seen), and the marked value nearest to any.
//!
//! E6, E12 and E24 stand as the standard lists them: they aren't the rounded powers of ten (27
//! to 47 differ). E48 and E96 are the powers rounded to three digits. Old parts in rounder
//! steps (25, 50, 250, 500) belong to no series and are no error.

use std::ops::RangeInclusive;

/// A series of preferred numbers: so many to the decade.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Series {
    /// Six, made for 20 %.
    E6,
    /// Twelve, made for 10 %.
    E12,
    /// Twenty-four, made for 5 %.
    E24,
    /// Forty-eight, made for 2 %.
    E48,
    /// Ninety-six, made for 1 %.
    E96,
}

const E24: [u16; 24] = [
    10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91,
];

impl Series {
    /// All, coarse to fine.
    pub const ALL: [Self; 5] = [Self::E6, Self::E12, Self::E24, Self::E48, Self::E96];

    /// Numbers in a decade.
    #[must_use]
    pub const fn count(self) -> usize {
        match self {
            Self::E6 => 6,
            Self::E12 => 12,
            Self::E24 => 24,
            Self::E48 => 48,
            Self::E96 => 96,
        }
    }

    /// The tolerance that the series was made for, percent either way.
    #[must_use]
    pub const fn tolerance_percent(self) -> f64 {
        match self {
            Self::E6 => 20.0,
            Self::E12 => 10.0,
            Self::E24 => 5.0,
            Self::E48 => 2.0,
            Self::E96 => 1.0,
        }
    }

    /// Its numbers, rising: 10 to 99 for E6, E12 and E24, 100 to 999 for E48 and E96.
    #[must_use]
    pub fn numbers(self) -> Vec<u16> {
        match self {
            Self::E6 | Self::E12 | Self::E24 => E24
                .iter()
                .step_by(E24.len() / self.count())
                .copied()
                .collect(),
            Self::E48 | Self::E96 => (0..self.count())
                .map(|i| (100.0 * 10f64.powf(i as f64 / self.count() as f64)).round() as u16)
                .collect(),
        }
    }

    /// The member of the series nearest to `value` by ratio, in any decade; of two as near, the
    /// smaller. None for a value that isn't positive and finite, or so far out that no member
    /// is a number.
    #[must_use]
    pub fn nearest(self, value: f64) -> Option<f64> {
        if !(value > 0.0 && value.is_finite()) {
            return None;
        }
        let mut best: Option<(f64, f64)> = None;
        for member in self.beside(value, |_| true) {
            let apart = (member / value).ln().abs();
            if best.is_none_or(|(least, _)| apart < least) {
                best = Some((apart, member));
            }
        }
        best.map(|(_, member)| member)
    }

    /// The smallest member that is not below `value` (nor, by rounding of the last digits, taken to
    /// be). None as for [`Series::nearest`].
    #[must_use]
    pub fn at_least(self, value: f64) -> Option<f64> {
        self.beside(value, |member| member >= value * (1.0 - 1e-12))
            .reduce(f64::min)
    }

    /// The largest member that is not above `value`. None as for [`Series::nearest`].
    #[must_use]
    pub fn at_most(self, value: f64) -> Option<f64> {
        self.beside(value, |member| member <= value * (1.0 + 1e-12))
            .reduce(f64::max)
    }

    /// The members within a decade either way that a test keeps.
    fn beside(self, value: f64, keep: impl Fn(f64) -> bool) -> impl Iterator<Item = f64> {
        let decades = if value > 0.0 && value.is_finite() {
            let decade = value.log10().floor() as i32;
            decade - 1..=decade + 1
        } else {
            RangeInclusive::new(1, 0)
        };
        decades
            .flat_map(move |decade| self.members_of(decade))
            .filter(move |member| keep(*member))
    }

    /// The members from 1 to 10 times this power of ten; fewer at the ends of what a number holds.
    fn members_of(self, decade: i32) -> impl Iterator<Item = f64> {
        let numbers = self.numbers();
        let first = numbers.first().copied().map_or(1.0, f64::from);
        // One division or one product, so that 4700 is 4700 to the last digit.
        let shift = decade - first.log10() as i32;
        let power = 10f64.powi(shift.abs());
        numbers
            .into_iter()
            .map(move |number| {
                if shift < 0 {
                    f64::from(number) / power
                } else {
                    f64::from(number) * power
                }
            })
            .filter(|member| *member > 0.0 && member.is_finite())
    }

    /// Is `value` a member of the series (to 1 part in 1,000,000)?
    #[must_use]
    pub fn holds(self, value: f64) -> bool {
        self.nearest(value)
            .is_some_and(|near| (near / value - 1.0).abs() < 1e-6)
    }

    /// The coarsest series that holds `value`; none for an odd one.
    #[must_use]
    pub fn of(value: f64) -> Option<Self> {
        Self::ALL.into_iter().find(|series| series.holds(value))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nearest_is_nearest_by_ratio() {
        assert_eq!(Series::E12.nearest(4_900.0), Some(4_700.0));
        assert_eq!(Series::E6.nearest(9.5), Some(10.0));
        assert_eq!(Series::E6.nearest(8.0), Some(6.8));
        assert_eq!(Series::E24.nearest(0.05), Some(0.051));
        assert_eq!(Series::E96.nearest(1e6), Some(1e6));
        assert_eq!(Series::E12.nearest(2.2e-8), Some(2.2e-8));
    }

    #[test]
    fn every_member_is_its_own_nearest_in_every_decade() {
        for series in Series::ALL {
            assert_eq!(series.numbers().len(), series.count());
            for number in series.numbers() {
                for decade in -12..7 {
                    let value = format!("{number}e{decade}").parse::<f64>().unwrap();
                    let near = series.nearest(value).unwrap();
                    assert!((near / value - 1.0).abs() < 1e-15, "{near} {value}");
                    assert!(series.holds(value));
                }
            }
        }
    }

    #[test]
    fn the_next_value_up_or_down_is_a_neighbour_in_the_series() {
        assert_eq!(Series::E12.at_least(4_701.0), Some(5_600.0));
        assert_eq!(Series::E12.at_least(4_700.0), Some(4_700.0));
        assert_eq!(Series::E12.at_most(4_699.0), Some(3_900.0));
        assert_eq!(Series::E12.at_most(4_700.0), Some(4_700.0));
        assert_eq!(Series::E6.at_least(7.0), Some(10.0));
        assert_eq!(Series::E24.at_most(0.99), Some(0.91));
        assert_eq!(Series::E12.at_least(f64::NAN), None);
        assert_eq!(Series::E12.at_most(-3.0), None);
        for series in Series::ALL {
            for number in series.numbers() {
                for decade in -12..7 {
                    let value = format!("{number}e{decade}").parse::<f64>().unwrap();
                    for beside in [series.at_least(value), series.at_most(value)] {
                        assert!((beside.unwrap() / value - 1.0).abs() < 1e-15);
                    }
                }
            }
        }
    }

    #[test]
    fn the_coarsest_series_is_named() {
        assert_eq!(Series::of(1500.0), Some(Series::E6));
        assert_eq!(Series::of(82e3), Some(Series::E12));
        assert_eq!(Series::of(51.0), Some(Series::E24));
        assert_eq!(Series::of(1.02e6), Some(Series::E96));
        assert_eq!(Series::of(1.05e6), Some(Series::E48));
        assert_eq!(Series::of(123.456), None);
    }

    #[test]
    fn no_number_has_no_nearest() {
        for value in [0.0, -1.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(Series::E24.nearest(value), None);
            assert!(!Series::E24.holds(value));
        }
        // At the ends of what a number can hold there is still an answer or none, never a fault.
        for value in [f64::MAX, f64::MIN_POSITIVE, 5e-324] {
            let _ = Series::E96.nearest(value);
        }
    }
}
