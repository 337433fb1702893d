//! Figures of a sheet in words, the same on every medium: three digits, engineering prefixes, and an
//! uncertainty of two digits at most.

use super::figure::{Bound, Expected, Figure, Limit};
use std::fmt;
use wiring::units::{Quantity, rounded};

/// Digits of a figure that has no uncertainty beside it.
const DIGITS: usize = 3;

/// The quantity of a unit, and what stands behind its symbol (` ac`).
fn quantity(unit: &str) -> Option<(Quantity, &str)> {
    let (symbol, behind) = match unit.find(' ') {
        Some(at) => unit.split_at(at),
        None => (unit, ""),
    };
    Quantity::ALL
        .into_iter()
        .find(|q| q.symbol() == symbol)
        .map(|q| (q, behind))
}

/// A number of three digits that belongs to no quantity.
fn plain(value: f64) -> String {
    let short = format!("{:.*e}", DIGITS - 1, value);
    let size = value.abs();
    if size != 0.0 && !(1e-4..1e6).contains(&size) {
        return short;
    }
    let value: f64 = short.parse().unwrap_or(value);
    if value == 0.0 {
        "0".to_owned()
    } else {
        format!("{value}")
    }
}

/// Smaller than any meter shows or any amplifier means, in every unit: printed as nothing. Farads are smaller by nature.
const NOTHING: f64 = 1e-10;

/// A figure with its unit: `38.1 mA`, `104k`, `4.7 ohm`, `61.2 %`, `6.41 V ac`.
pub(super) fn with_unit(value: f64, unit: &str) -> String {
    if !value.is_finite() {
        return "unknown".to_owned();
    }
    let nothing = value.abs() < NOTHING && !unit.starts_with('F');
    let value = if nothing { 0.0 } else { value };
    match quantity(unit) {
        Some((Quantity::Seconds, behind)) if value.abs() >= 119.5 => {
            let (number, unit) = if value.abs() < 7200.0 {
                (value / 60.0, "min")
            } else {
                (value / 3600.0, "h")
            };
            format!("{} {unit}{behind}", plain(number))
        }
        Some((Quantity::Ohms, behind)) if value.abs() < 999.5 => {
            format!("{} ohm{behind}", plain(value))
        }
        Some((quantity, behind)) => format!("{}{behind}", rounded(value, quantity, DIGITS)),
        None if unit.is_empty() => plain(value),
        None => format!("{} {unit}", plain(value)),
    }
}

/// Number and unit of `38.1 mA`, and by how much the number was divided.
fn scale(value: f64, unit: &str) -> (f64, String) {
    let Some((quantity, behind)) = quantity(unit) else {
        return (1.0, unit.to_owned());
    };
    let size = value.abs();
    let steps: &[(f64, &str)] = match quantity {
        Quantity::Farads => &[(1e-6, "µ"), (1e-9, "n"), (1e-12, "p")],
        Quantity::Ohms | Quantity::Hertz => &[(1e6, "M"), (1e3, "k"), (1.0, "")],
        _ => &[(1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ")],
    };
    let (factor, prefix) = steps
        .iter()
        .find(|(factor, _)| size >= *factor * 0.9995)
        .or(steps.last())
        .copied()
        .unwrap_or((1.0, ""));
    (factor, format!("{prefix}{}{behind}", quantity.symbol()))
}

/// `38.1 ± 1.2 mA`: the uncertainty has two digits when it begins with 1 or 2, else one.
fn with_uncertainty(value: f64, half_width: f64, unit: &str) -> String {
    let (factor, symbol) = scale(value, unit);
    let (value, half_width) = (value / factor, half_width / factor);
    let rounded_width: f64 = format!("{half_width:.1e}").parse().unwrap_or(half_width);
    if rounded_width <= 0.0 || !value.is_finite() || !rounded_width.is_finite() {
        return with_unit(value * factor, unit);
    }
    let decade = rounded_width.log10().floor();
    let first = rounded_width / 10f64.powf(decade);
    let places = if first < 2.95 { 1.0 - decade } else { -decade };
    let places = places.clamp(0.0, 6.0) as usize;
    // Tens and hundreds are rounded too: 1234 ± 300 is 1200 ± 300.
    let coarse = |x: f64| {
        let step = 10f64
            .powf(if first < 2.95 { decade - 1.0 } else { decade })
            .max(1.0);
        if places == 0 {
            (x / step).round() * step
        } else {
            x
        }
    };
    format!(
        "{:.places$} ± {:.places$} {symbol}",
        coarse(value) + 0.0,
        coarse(half_width)
    )
}

impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = match self.plus_minus {
            Some(width) if self.bound == Bound::Exactly && self.value.is_finite() => {
                with_uncertainty(self.value, width, &self.unit)
            }
            _ => with_unit(self.value, &self.unit),
        };
        match self.bound {
            Bound::Exactly => f.write_str(&text),
            Bound::AtLeast => write!(f, "over {text}"),
            Bound::AtMost => write!(f, "under {text}"),
        }
    }
}

/// `149 to 186 V`; `470 ohm to 1k5` where the units are written differently.
fn range(low: f64, high: f64, unit: &str) -> String {
    let (low, high) = (with_unit(low, unit), with_unit(high, unit));
    if low == high {
        return high;
    }
    match (low.split_once(' '), high.split_once(' ')) {
        (Some((number, of_low)), Some((_, of_high))) if of_low == of_high => {
            format!("{number} to {high}")
        }
        _ => format!("{low} to {high}"),
    }
}

impl fmt::Display for Expected {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // A figure that is nothing beside its own band is nothing.
        let width = match (self.low, self.high) {
            (Some(low), Some(high)) => high - low,
            _ => 0.0,
        };
        if let Some(value) = self.value {
            let value = if value.abs() < 1e-3 * width {
                0.0
            } else {
                value
            };
            f.write_str(&with_unit(value, &self.unit))?;
        }
        let Some(band) = self.band_words() else {
            return Ok(());
        };
        match self.value {
            Some(_) => write!(f, " ({band})"),
            None => f.write_str(&band),
        }
    }
}

impl Expected {
    /// The band alone: `149 to 186 V`, `under 0.1 ohm`; none without one.
    #[must_use]
    pub fn band_words(&self) -> Option<String> {
        match (self.low, self.high) {
            (Some(low), Some(high)) => Some(range(low, high, &self.unit)),
            (Some(low), None) => Some(format!("over {}", with_unit(low, &self.unit))),
            (None, Some(high)) => Some(format!("under {}", with_unit(high, &self.unit))),
            (None, None) => None,
        }
    }
}

impl fmt::Display for Limit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.at_least, self.at_most) {
            (Some(low), Some(high)) => f.write_str(&range(low, high, &self.unit)),
            (Some(low), None) => write!(f, "at least {}", with_unit(low, &self.unit)),
            (None, Some(high)) => write!(f, "at most {}", with_unit(high, &self.unit)),
            (None, None) => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_stand_as_on_the_bench() {
        let shown = |value, unit: &str| Figure::new(value, unit).to_string();
        assert_eq!(shown(0.0381, "A"), "38.1 mA");
        assert_eq!(shown(6.412, "V ac"), "6.41 V ac");
        assert_eq!(shown(104_300.0, "ohm"), "104k");
        assert_eq!(shown(4.7, "ohm"), "4.7 ohm");
        assert_eq!(shown(0.08, "ohm"), "0.08 ohm");
        assert_eq!(shown(61.23, "%"), "61.2 %");
        assert_eq!(shown(1.35, "x"), "1.35 x");
        assert_eq!(shown(22.04, "s"), "22 s");
        assert_eq!(shown(3600.0, "s"), "60 min");
        assert_eq!(shown(14_400.0, "s"), "4 h");
        assert_eq!(shown(f64::NAN, "V"), "unknown");
        assert_eq!(shown(0.0, "%"), "0 %");
    }

    /// The first two are the worked figures of a 30 W valve: 38.1 ± 1.2 mA, 61 ± 3 %.
    #[test]
    fn an_uncertainty_has_two_digits_at_most() {
        let shown =
            |value, width, unit: &str| Figure::new(value, unit).plus_minus(width).to_string();
        assert_eq!(shown(0.0381, 0.001_23, "A"), "38.1 ± 1.2 mA");
        assert_eq!(shown(61.2, 3.2, "%"), "61 ± 3 %");
        assert_eq!(shown(12.04, 0.31, "W"), "12.0 ± 0.3 W");
        assert_eq!(shown(446.0, 13.0, "V"), "446 ± 13 V");
        assert_eq!(shown(1234.0, 310.0, "s"), "1.2 ± 0.3 ks");
        assert_eq!(shown(12.0, 0.0, "W"), "12 W");
        assert_eq!(shown(12.0, f64::NAN, "W"), "12 W");
        assert_eq!(shown(104_300.0, 2_000.0, "ohm"), "104.3 ± 2.0 kohm");
    }

    #[test]
    fn ranges_say_their_unit_once_where_it_is_the_same() {
        assert_eq!(
            Expected::range(149.0, 186.0, "V").to_string(),
            "149 to 186 V"
        );
        assert_eq!(
            Limit::between(470.0, 1500.0, "ohm").to_string(),
            "470 ohm to 1k5"
        );
        assert_eq!(Limit::at_most(12.0, "W").to_string(), "at most 12 W");
        assert_eq!(Limit::at_least(1e6, "ohm").to_string(), "at least 1M");
        assert_eq!(
            Expected::band(169.0, 149.0, 186.0, "V").to_string(),
            "169 V (149 to 186 V)"
        );
    }

    #[test]
    fn no_number_is_too_odd_to_print() {
        for value in [f64::MAX, f64::MIN_POSITIVE, 5e-324, -0.0, f64::NEG_INFINITY] {
            for unit in ["V", "ohm", "F", "%", "", "x"] {
                for width in [0.0, 1e-300, 1e300, f64::INFINITY] {
                    let figure = Figure::new(value, unit).plus_minus(width);
                    assert!(!figure.to_string().is_empty());
                }
            }
        }
    }
}
