//! Printing values in engineering notation.

use super::Quantity;

const PREFIXES: [(i32, &str); 7] = [
    (-12, "p"),
    (-9, "n"),
    (-6, "µ"),
    (-3, "m"),
    (0, ""),
    (3, "k"),
    (6, "M"),
];

/// Lowest and highest prefix power in use for a quantity. Farads stop at micro, because
/// `mF` can be misread; ohms start at one, because `m` can.
fn powers(quantity: Quantity) -> (i32, i32) {
    match quantity {
        Quantity::Ohms => (0, 6),
        Quantity::Farads => (-12, -6),
        Quantity::Hertz => (0, 6),
        Quantity::Volts | Quantity::Amps | Quantity::Watts => (-6, 3),
        Quantity::Henries | Quantity::Seconds => (-6, 0),
    }
}

/// Sign, number and prefix power so that `number x 10^power` is exactly the value.
fn scaled(value: f64, quantity: Quantity) -> (bool, String, i32) {
    let text = format!("{:e}", value.abs());
    let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
    let exponent: i32 = exponent.parse().unwrap_or(0);
    let digits: String = mantissa.chars().filter(char::is_ascii_digit).collect();
    let (low, high) = powers(quantity);
    let power = if value == 0.0 {
        0.clamp(low, high)
    } else {
        (exponent.div_euclid(3) * 3).clamp(low, high)
    };
    // How many digits stand before the decimal point at that power.
    let before = exponent - power + 1;
    let number = if before <= 0 {
        let zeros = usize::try_from(-before).unwrap_or(0);
        format!("0.{}{digits}", "0".repeat(zeros))
    } else {
        let before = usize::try_from(before).unwrap_or(0);
        if digits.len() <= before {
            format!("{digits}{}", "0".repeat(before - digits.len()))
        } else {
            let (whole, fraction) = digits.split_at(before);
            format!("{whole}.{fraction}")
        }
    };
    (value.is_sign_negative() && value != 0.0, number, power)
}

fn prefix(power: i32) -> &'static str {
    PREFIXES
        .iter()
        .find(|(p, _)| *p == power)
        .map_or("", |(_, name)| name)
}

/// Engineering notation for people: `4k7`, `22 µF`, `300 V`.
///
/// Every digit is kept, so that reading the text back gives the same number; see
/// [`rounded`] for computed figures. Infinite and undefined numbers print as `unknown`.
#[must_use]
pub fn engineering(value: f64, quantity: Quantity) -> String {
    if !value.is_finite() {
        return "unknown".to_owned();
    }
    if quantity == Quantity::Ohms {
        return notation(value, quantity);
    }
    let (negative, number, power) = scaled(value, quantity);
    let sign = if negative { "-" } else { "" };
    format!("{sign}{number} {}{}", prefix(power), quantity.symbol())
}

/// The shortest way to type a value in a wiring: `4k7`, `22u`, `300V`, `150mH`.
///
/// Reading the text back gives the same number.
#[must_use]
pub fn notation(value: f64, quantity: Quantity) -> String {
    if !value.is_finite() {
        return "unknown".to_owned();
    }
    let (negative, number, power) = scaled(value, quantity);
    let sign = if negative { "-" } else { "" };
    match quantity {
        Quantity::Ohms => {
            let letter = if power == 0 { "R" } else { prefix(power) };
            match number.split_once('.') {
                Some((whole, fraction)) => format!("{sign}{whole}{letter}{fraction}"),
                None if power == 0 => format!("{sign}{number}"),
                None => format!("{sign}{number}{letter}"),
            }
        }
        Quantity::Farads => {
            let letter = if power == -6 { "u" } else { prefix(power) };
            format!("{sign}{number}{letter}")
        }
        _ => {
            let letter = if power == -6 { "u" } else { prefix(power) };
            format!("{sign}{number}{letter}{}", quantity.symbol())
        }
    }
}

/// Engineering notation of a computed figure, rounded to so many significant digits.
#[must_use]
pub fn rounded(value: f64, quantity: Quantity, digits: usize) -> String {
    if !value.is_finite() {
        return "unknown".to_owned();
    }
    let text = format!("{:.*e}", digits.clamp(1, 17) - 1, value);
    engineering(text.parse().unwrap_or(value), quantity)
}
