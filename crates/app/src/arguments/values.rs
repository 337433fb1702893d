//! Values on the command line, in the trade's notation: `4k7`, `.022`, `32u`, `8+8u`, `45mA`.
//!
//! A bare number is in the option's own unit, except where that could mean two things: a bare
//! capacitor number of 1 or more is refused, and both readings offered.

use bench::fuse::Marking;
use bench::heaters::Winding;
use bench::speaker::Load;
use bench::typed::Typed;
use wiring::units::{Quantity, ValueError, parse, parse_percent};

/// A value of a quantity with the size of its last digit.
fn typed(text: &str, quantity: Quantity) -> Result<Typed, String> {
    let raw = match parse(text, quantity) {
        Err(ValueError::NoUnit { .. }) => parse(&format!("{text}{}", quantity.symbol()), quantity),
        other => other,
    };
    raw.map(|raw| Typed {
        value: raw.value,
        digit: raw.digit,
    })
    .map_err(|error| advice(&error, quantity))
}

/// What is wrong, and what to type.
fn advice(error: &ValueError, quantity: Quantity) -> String {
    let offers = error.offers();
    if offers.is_empty() {
        format!(
            "{error}; type {}, such as `{}`",
            quantity.word(),
            example(quantity)
        )
    } else {
        format!("{error}; type `{}`", offers.join("` or `"))
    }
}

fn example(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Volts => "310",
        Quantity::Amps => "45mA",
        Quantity::Ohms => "4k7",
        Quantity::Farads => "32u",
        Quantity::Henries => "10H",
        Quantity::Watts => "60",
        Quantity::Hertz => "100",
        Quantity::Seconds => "60",
    }
}

/// Volts.
pub(crate) fn volts(text: &str) -> Result<Typed, String> {
    typed(text, Quantity::Volts)
}

/// Ohms.
pub(crate) fn ohms(text: &str) -> Result<Typed, String> {
    typed(text, Quantity::Ohms)
}

/// Henries.
pub(crate) fn henries(text: &str) -> Result<Typed, String> {
    typed(text, Quantity::Henries)
}

/// Amperes.
pub(crate) fn amps(text: &str) -> Result<Typed, String> {
    typed(text, Quantity::Amps)
}

/// Watts.
pub(crate) fn watts(text: &str) -> Result<Typed, String> {
    typed(text, Quantity::Watts)
}

/// Hertz.
pub(crate) fn hertz(text: &str) -> Result<Typed, String> {
    typed(text, Quantity::Hertz)
}

/// One capacitor.
pub(crate) fn farads(text: &str) -> Result<Typed, String> {
    typed(text, Quantity::Farads)
}

/// One capacitor, or the sections of a can: `8+8u` is two of 8 µF.
pub(crate) fn can(text: &str) -> Result<Vec<f64>, String> {
    let parts: Vec<&str> = text.split('+').map(str::trim).collect();
    // The unit is written once, behind the last section.
    let unit: String = parts
        .last()
        .map(|last| {
            last.chars()
                .skip_while(|c| c.is_ascii_digit() || *c == '.')
                .collect()
        })
        .unwrap_or_default();
    parts
        .iter()
        .map(|part| {
            let bare = part.chars().all(|c| c.is_ascii_digit() || c == '.');
            let whole = if bare && !part.is_empty() {
                format!("{part}{unit}")
            } else {
                (*part).to_owned()
            };
            farads(&whole).map(|typed| typed.value)
        })
        .collect()
}

/// A percentage, with or without its sign: `65` and `65%` are 0.65.
pub(crate) fn percent(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let with_sign = if text.ends_with('%') {
        text.to_owned()
    } else {
        format!("{text}%")
    };
    match parse_percent(&with_sign) {
        Some(fraction) if (0.0..=10.0).contains(&fraction) => Ok(fraction),
        _ => Err("type a percentage, such as `65` or `65%`".to_owned()),
    }
}

/// How many valves: 1 to 12.
pub(crate) fn count(text: &str) -> Result<u32, String> {
    match text.trim().parse::<u32>() {
        Ok(n) if (1..=12).contains(&n) => Ok(n),
        _ => Err("type how many valves, from 1 to 12".to_owned()),
    }
}

/// Loudspeaker drivers and how they are joined.
pub(crate) fn load(text: &str) -> Result<Load, String> {
    Load::read(text).map_err(|error| {
        format!("{error}; type `8`, in series `8 - 8`, side by side `[16 | 16]`, with ratings `[16 30W | 16 30W]`")
    })
}

/// A heater winding.
pub(crate) fn winding(text: &str) -> Result<Winding, String> {
    Winding::read(text)
        .map_err(|error| format!("{error}; type volts and amperes, such as `6.3V 3A`"))
}

/// What stands beside a fuse holder.
pub(crate) fn marking(text: &str) -> Result<Marking, String> {
    Marking::read(text).map_err(|error| {
        format!("{error}; type what is printed there, such as `T1A`, `F500mA` or `2 A slow`")
    })
}

/// A frequency that an amplifier is asked about, hertz.
pub(crate) fn audible(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(hertz) if (20.0..=20e3).contains(&hertz) => Ok(hertz),
        _ => Err("type hertz from 20 to 20000, such as `1000`".to_owned()),
    }
}

/// Per cent of distortion, as a ratio.
pub(crate) fn distortion(text: &str) -> Result<f64, String> {
    match text.trim().trim_end_matches('%').trim().parse::<f64>() {
        Ok(percent) if (0.1..=50.0).contains(&percent) => Ok(percent / 100.0),
        _ => Err("type per cent from 0.1 to 50, such as `5`".to_owned()),
    }
}

/// `C20=47u 450V`.
pub(crate) fn instead(text: &str) -> Result<bench::instead::Instead, String> {
    bench::instead::Instead::read(text)
        .ok_or_else(|| "type the part, `=`, and what takes its place: `C20=47u 450V`".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_read_as_the_trade_writes_them() {
        assert_eq!(
            volts("11.2"),
            Ok(Typed {
                value: 11.2,
                digit: 0.1
            })
        );
        assert_eq!(volts("38 mV").map(|t| t.value), Ok(0.038));
        assert_eq!(ohms("4k7").map(|t| t.value), Ok(4700.0));
        assert_eq!(ohms("1k5").map(|t| t.value), Ok(1500.0));
        assert_eq!(amps("0.8").map(|t| t.value), Ok(0.8));
        assert_eq!(amps("45mA").map(|t| t.value), Ok(0.045));
        assert_eq!(farads(".022").map(|t| t.value), Ok(22e-9));
        assert_eq!(percent("65"), Ok(0.65));
        assert_eq!(percent("0.5%"), Ok(0.005));
    }

    #[test]
    fn a_can_is_its_sections() {
        assert_eq!(can("8+8u"), Ok(vec![8e-6, 8e-6]));
        assert_eq!(can("32u"), Ok(vec![32e-6]));
        assert_eq!(can("20+20+20 µF").map(|c| c.len()), Ok(3));
        assert_eq!(can("16u+8u"), Ok(vec![16e-6, 8e-6]));
    }

    #[test]
    fn what_can_be_read_in_two_ways_is_refused_with_both() {
        let told = can("32").unwrap_err();
        assert!(told.contains("`32p` or `32u`"), "{told}");
        assert!(volts("1e9").is_err());
        assert!(volts("NaN").is_err());
        assert!(ohms("-5").is_err());
        assert!(can("").is_err());
        assert!(can("+").is_err());
        assert!(volts("4k7ohm").unwrap_err().contains("ohms"));
    }
}
