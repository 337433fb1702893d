//! Headings, and what a number in each column may be.

use super::ROW_COLUMNS;
use crate::units::{Quantity, ValueError, parse_raw};

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Column {
    Section,
    Plate,
    Screen,
    Grid,
    Cathode,
    CathodeOhms,
    TriodeConnected,
    PlateAmps,
    ScreenAmps,
    CathodeAmps,
    Gm,
    PlateOhms,
    PlateOhmsLeast,
    Mu,
    MuScreen,
    Drop,
    Error,
    Note,
}

/// How a cell of a column is read: its quantity where it may carry a unit, the factor from the file's unit to SI, and the
/// least and largest magnitude that make sense.
#[derive(Debug, Clone, Copy)]
struct Measure {
    quantity: Option<Quantity>,
    factor: f64,
    size: (f64, f64),
    negative: bool,
}

impl Column {
    /// The column of a heading, with the factor of its unit.
    pub(super) fn of(heading: &str) -> Option<(Self, f64)> {
        let plain: String = heading
            .chars()
            .map(|c| match c {
                '\u{3a9}' | '\u{2126}' => 'Ω',
                c => c,
            })
            .filter(|c| c.is_alphanumeric() || *c == '%')
            .flat_map(char::to_lowercase)
            .collect();
        Some(match plain.as_str() {
            "section" => (Self::Section, 1.0),
            "plate" | "platev" | "platevolts" => (Self::Plate, 1.0),
            "screen" | "screenv" | "screenvolts" => (Self::Screen, 1.0),
            "grid" | "gridv" | "gridvolts" => (Self::Grid, 1.0),
            "cathode" | "cathodev" | "cathodevolts" => (Self::Cathode, 1.0),
            "cathodeohms" | "cathodeω" => (Self::CathodeOhms, 1.0),
            "triodeconnected" => (Self::TriodeConnected, 1.0),
            "platema" => (Self::PlateAmps, 1e-3),
            "plateamps" => (Self::PlateAmps, 1.0),
            "screenma" => (Self::ScreenAmps, 1e-3),
            "screenamps" => (Self::ScreenAmps, 1.0),
            "cathodema" => (Self::CathodeAmps, 1e-3),
            "cathodeamps" => (Self::CathodeAmps, 1.0),
            "gmus" | "gmumhos" | "gmmicromhos" => (Self::Gm, 1e-6),
            "gmms" | "gmmav" | "ms" => (Self::Gm, 1e-3),
            "gmsiemens" => (Self::Gm, 1.0),
            "rp" | "rpohms" | "rpω" => (Self::PlateOhms, 1.0),
            "rpleast" | "rpleastohms" => (Self::PlateOhmsLeast, 1.0),
            "mu" | "μ" => (Self::Mu, 1.0),
            "muscreen" => (Self::MuScreen, 1.0),
            "drop" | "dropv" | "dropvolts" => (Self::Drop, 1.0),
            "error" | "errorpercent" | "error%" => (Self::Error, 1e-2),
            "note" => (Self::Note, 1.0),
            _ => return None,
        })
    }

    /// Its name in messages.
    fn word(self) -> &'static str {
        ROW_COLUMNS
            .get(self as usize)
            .copied()
            .unwrap_or("this column")
    }

    fn measure(self, factor: f64) -> Measure {
        let of = |quantity, size, negative| Measure {
            quantity,
            factor,
            size,
            negative,
        };
        match self {
            Self::Grid => of(Some(Quantity::Volts), (0.0, 500.0), true),
            Self::Cathode => of(Some(Quantity::Volts), (0.0, 5000.0), true),
            Self::Plate | Self::Screen | Self::Drop => {
                of(Some(Quantity::Volts), (0.01, 5000.0), false)
            }
            Self::CathodeOhms => of(Some(Quantity::Ohms), (0.1, 1e7), false),
            Self::PlateOhms | Self::PlateOhmsLeast => of(Some(Quantity::Ohms), (10.0, 1e8), false),
            Self::PlateAmps | Self::ScreenAmps | Self::CathodeAmps => {
                of(Some(Quantity::Amps), (1e-7, 10.0), false)
            }
            Self::Gm => of(None, (1e-6, 0.5), false),
            Self::Error => of(None, (1e-4, 1.0), false),
            _ => of(None, (0.5, 2000.0), false),
        }
    }
}

/// A number in a cell, in SI units; else what is wrong and what to write.
pub(super) fn number(column: Column, factor: f64, text: &str) -> Result<f64, (String, String)> {
    let measure = column.measure(factor);
    let name = column.word();
    let raw = parse_raw(text).map_err(|error| {
        let advice = match &error {
            ValueError::Comma { .. } => {
                format!("Write {}.", either(error.offers()))
            }
            _ => format!("Write a plain number in the column `{name}`, or leave it empty."),
        };
        (format!("`{text}` is no number."), advice)
    })?;
    let value = match (raw.unit, measure.quantity) {
        (Some(unit), Some(wanted)) if unit == wanted => raw.value,
        (Some(unit), _) => {
            return Err((
                format!("`{text}` is in {}.", unit.word()),
                format!("Write a plain number in the column `{name}`."),
            ));
        }
        // `62k5` is a resistance to everybody; `2m` is nothing to anybody.
        (None, Some(Quantity::Ohms)) if raw.prefix.is_none_or(|p| p >= 0) => raw.value,
        (None, _) if raw.prefix.is_none() => raw.value * measure.factor,
        _ => {
            return Err((
                format!("`{text}` has a prefix and no unit."),
                format!("Write a plain number in the column `{name}`."),
            ));
        }
    };
    let (least, most) = measure.size;
    if value < 0.0 && !measure.negative {
        return Err((
            format!("The {name} of this row is below 0."),
            "Write it without the sign; only grid volts are below 0.".to_owned(),
        ));
    }
    if !(least..=most).contains(&value.abs()) {
        return Err((
            format!("`{text}` can't be the {name} of a valve."),
            format!(
                "It should lie from {} to {}.",
                trimmed(least / measure.factor),
                trimmed(most / measure.factor)
            ),
        ));
    }
    Ok(value)
}

fn trimmed(value: f64) -> String {
    let short: f64 = format!("{value:.3e}").parse().unwrap_or(value);
    format!("{short}")
}

fn either(offers: &[String]) -> String {
    let all: Vec<String> = offers.iter().map(|o| format!("`{o}`")).collect();
    all.join(" or ")
}
