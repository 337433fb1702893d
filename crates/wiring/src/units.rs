//! Quantities with their unit in the type, and the trade's way of writing them.
//!
//! Reads values as the trade and IEC 60062 write them (`4k7`, `4R7`, `22n`, `.022`,
//! `100mmf`), and prints them in engineering notation (`4k7`, `22 µF`). Reading and
//! printing work on decimal digits, so that printing and reading back gives the same
//! bits. Refuses to choose where a marking has two readings: `1m` on a resistor, `mF`,
//! a decimal comma and a bare capacitor number of 1 or more are errors that offer both.
//!
//! IEC 60062 is cited from memory, the standard was not seen.

use serde::Serialize;
use std::fmt;

pub mod colour;
mod parse;
mod print;
pub mod series;

pub use parse::{Raw, ValueError, parse, parse_percent, parse_raw, reads_as_number, reads_as_unit};
pub use print::{engineering, notation, rounded};

/// What a number is a number of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Quantity {
    /// Volts.
    Volts,
    /// Amperes.
    Amps,
    /// Ohms.
    Ohms,
    /// Farads.
    Farads,
    /// Henries.
    Henries,
    /// Watts.
    Watts,
    /// Hertz.
    Hertz,
    /// Seconds.
    Seconds,
}

impl Quantity {
    /// Every quantity.
    pub const ALL: [Self; 8] = [
        Self::Volts,
        Self::Amps,
        Self::Ohms,
        Self::Farads,
        Self::Henries,
        Self::Watts,
        Self::Hertz,
        Self::Seconds,
    ];

    /// The unit's symbol as printed: `V`, `A`, `ohm`, `F`, `H`, `W`, `Hz`, `s`.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Volts => "V",
            Self::Amps => "A",
            Self::Ohms => "ohm",
            Self::Farads => "F",
            Self::Henries => "H",
            Self::Watts => "W",
            Self::Hertz => "Hz",
            Self::Seconds => "s",
        }
    }

    /// The unit in words, for sentences.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Volts => "volts",
            Self::Amps => "amperes",
            Self::Ohms => "ohms",
            Self::Farads => "farads",
            Self::Henries => "henries",
            Self::Watts => "watts",
            Self::Hertz => "hertz",
            Self::Seconds => "seconds",
        }
    }

    /// Smallest and largest magnitude that is read as meant; zero is always allowed.
    ///
    /// Wide of anything in a valve amplifier, narrow enough that a slip of the finger
    /// (`99999999999999M`) is caught. Our own choice.
    #[must_use]
    pub fn range(self) -> (f64, f64) {
        match self {
            Self::Volts => (1e-9, 1e5),
            Self::Amps => (1e-12, 1e3),
            Self::Ohms => (1e-6, 1e13),
            Self::Farads => (1e-15, 1.0),
            Self::Henries => (1e-9, 1e4),
            Self::Watts => (1e-9, 1e5),
            Self::Hertz => (1e-3, 1e9),
            Self::Seconds => (1e-9, 1e7),
        }
    }
}

macro_rules! quantities {
    ($($(#[$doc:meta])* $name:ident),+ $(,)?) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize)]
        #[serde(transparent)]
        pub struct $name(pub f64);

        impl $name {
            /// Reads a value as the trade writes it.
            ///
            /// # Errors
            /// Says what is unclear and offers the readings; see [`ValueError`].
            pub fn read(text: &str) -> Result<Self, ValueError> {
                parse(text, Quantity::$name).map(|raw| Self(raw.value))
            }
        }
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                match f.precision() {
                    Some(digits) => f.write_str(&rounded(self.0, Quantity::$name, digits)),
                    None => f.write_str(&engineering(self.0, Quantity::$name)),
                }
            }
        }
        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self { Self(self.0 + other.0) }
        }
        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self { Self(self.0 - other.0) }
        }
        impl std::ops::Neg for $name {
            type Output = Self;
            fn neg(self) -> Self { Self(-self.0) }
        }
        impl std::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self { Self(self.0 * factor) }
        }
        impl std::ops::Div<f64> for $name {
            type Output = Self;
            fn div(self, divisor: f64) -> Self { Self(self.0 / divisor) }
        }
        impl std::ops::Div for $name {
            type Output = f64;
            fn div(self, other: Self) -> f64 { self.0 / other.0 }
        }
    )+};
}

quantities! {
    /// Volts. Prints as `300 V`, `4.5 mV`; a precision means significant digits (`{:.3}`).
    Volts,
    /// Amperes. Prints as `70 mA`.
    Amps,
    /// Ohms. Prints as IEC 60062 writes them: `4k7`, `4R7`, `1M`.
    Ohms,
    /// Farads. Prints as `22 µF`, `4.7 nF`.
    Farads,
    /// Henries. Prints as `10 H`.
    Henries,
    /// Watts. Prints as `2.5 W`.
    Watts,
    /// Hertz. Prints as `50 Hz`.
    Hertz,
    /// Seconds. Prints as `30 ms`.
    Seconds,
}

macro_rules! products {
    ($($a:ident * $b:ident = $c:ident),+ $(,)?) => {$(
        impl std::ops::Mul<$b> for $a {
            type Output = $c;
            fn mul(self, other: $b) -> $c { $c(self.0 * other.0) }
        }
        impl std::ops::Mul<$a> for $b {
            type Output = $c;
            fn mul(self, other: $a) -> $c { $c(self.0 * other.0) }
        }
        impl std::ops::Div<$a> for $c {
            type Output = $b;
            fn div(self, other: $a) -> $b { $b(self.0 / other.0) }
        }
        impl std::ops::Div<$b> for $c {
            type Output = $a;
            fn div(self, other: $b) -> $a { $a(self.0 / other.0) }
        }
    )+};
}

// Ohm's law, power, and the time constants of C and L.
products! {
    Amps * Ohms = Volts,
    Volts * Amps = Watts,
    Ohms * Farads = Seconds,
    Ohms * Seconds = Henries,
}

impl Seconds {
    /// One period of this length, as a frequency.
    #[must_use]
    pub fn frequency(self) -> Hertz {
        Hertz(1.0 / self.0)
    }
}

impl Hertz {
    /// The length of one period.
    #[must_use]
    pub fn period(self) -> Seconds {
        Seconds(1.0 / self.0)
    }
}

#[cfg(test)]
mod tests;
