//! How uncertain one reading is.
//!
//! Root of the sum of squares of what the meter's maker allows (error of reading plus some
//! counts of the last digit, as a rectangular half-width divided by the root of three) and
//! what the mains moved while the chart was taken. Loading by the meter is not in here: its
//! resistance is in the solved circuit. Common practice, no source; the division by the root
//! of three for a rectangular distribution is that of the Guide to the Expression of
//! Uncertainty in Measurement (JCGM 100:2008, 4.3.7, from memory, not seen).

use wiring::readings::{Meter, Unit};

/// What an instrument allows itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Allowance {
    /// Fraction of the reading.
    pub of_reading: f64,
    /// Counts of the last digit.
    pub digits: f64,
}

/// The allowance used for a unit.
///
/// With a `meter` line its error of reading counts for DC volts, with one count of the last
/// digit typed. Without one, and for every other quantity: DC 0.5 % + 2 digits,
/// AC 1 % + 5 digits, ohms 1 % + 2 digits, amperes 1 % + 2 digits (common practice, no source).
#[must_use]
pub fn allowance(unit: Unit, meter: Option<Meter>) -> Allowance {
    let (of_reading, digits) = match unit {
        Unit::VoltsDc => match meter {
            Some(m) => (m.error, 1.0),
            None => (0.005, 2.0),
        },
        Unit::VoltsAc => (0.01, 5.0),
        Unit::Ohms | Unit::AmpsDc => (0.01, 2.0),
        // counted by eye over ten seconds or so
        Unit::Hertz => (0.03, 2.0),
    };
    Allowance { of_reading, digits }
}

/// One standard deviation of a reading, in its own unit.
///
/// `value` as shown, `digit` the size of its last digit, `mains_share` how much of the
/// reading's value the mains may have moved it, as a fraction at one sigma (0 when the band
/// already holds the mains).
#[must_use]
pub fn standard_uncertainty(value: f64, digit: f64, allowance: Allowance, mains_share: f64) -> f64 {
    let meter = (value.abs() * allowance.of_reading + digit.abs() * allowance.digits) / 3f64.sqrt();
    let mains = value * mains_share;
    meter.hypot(mains)
}

/// The root of a sum of squares of rectangular half-widths, each over the root of three.
///
/// All in the same unit (or all as fractions of the result); the answer is one sigma.
#[must_use]
pub fn combine_half_widths(half_widths: &[f64]) -> f64 {
    (half_widths.iter().map(|h| h * h / 3.0).sum::<f64>()).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1 ohm 1 % resistor, 40.0 mV on a meter of 0.5 % + 2 digits (together 1 %), screen share
    /// 1.6 % of the plate current, plate volts 0.7 %: together 1.3 %, 2.6 % at k = 2.
    /// Common practice, no source (a worked case of the trade notes, checked here by hand:
    /// 0.58, 0.58, 0.91, 0.40 %).
    #[test]
    fn worked_case_of_plate_watts() {
        let meter = allowance(Unit::VoltsDc, None);
        let u = standard_uncertainty(40.0e-3, 0.1e-3, meter, 0.0) / 40.0e-3;
        assert!((u - 0.0058).abs() < 5e-5, "{u}");
        let each: Vec<f64> = [0.01, 0.01, 0.016, 0.007]
            .iter()
            .map(|h| combine_half_widths(&[*h]))
            .collect();
        for (got, want) in each.iter().zip([0.0058, 0.0058, 0.0091, 0.0040]) {
            assert!((got - want).abs() < 2e-4, "{got} for {want}");
        }
        let all = combine_half_widths(&[0.01, 0.01, 0.016, 0.007]);
        assert!((all - 0.013).abs() < 5e-4, "{all}");
        assert!((2.0 * all - 0.026).abs() < 1e-3, "{all}");
    }

    #[test]
    fn last_digit_and_meter_line_count() {
        let own = Meter {
            ohms: 10e6,
            error: 0.005,
        };
        let u = standard_uncertainty(172.0, 1.0, allowance(Unit::VoltsDc, Some(own)), 0.0);
        assert!((u - (0.86 + 1.0) / 3f64.sqrt()).abs() < 1e-12);
        let none = standard_uncertainty(172.0, 1.0, allowance(Unit::VoltsDc, None), 0.0);
        assert!(none > u);
        let ac = standard_uncertainty(6.4, 0.1, allowance(Unit::VoltsAc, Some(own)), 0.0);
        assert!((ac - (0.064 + 0.5) / 3f64.sqrt()).abs() < 1e-12);
        let moved = standard_uncertainty(300.0, 1.0, allowance(Unit::VoltsDc, None), 0.005);
        assert!((moved - (3.5 / 3f64.sqrt()).hypot(1.5)).abs() < 1e-12);
    }
}
