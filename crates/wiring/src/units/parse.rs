//! Reading values.

use super::{Quantity, notation};

/// A number as typed: its value in SI units, how fine it was typed, and the unit if one was written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Raw {
    /// The number times its prefix, in the SI unit.
    pub value: f64,
    /// The size of the last digit typed, in the same unit (`172` is 1, `4k7` is 100).
    pub digit: f64,
    /// The unit, when one was written (`k`, `n` alone are prefixes, not units).
    pub unit: Option<Quantity>,
    /// The prefix as a power of ten (`k` is 3), none when there is no prefix letter.
    pub prefix: Option<i32>,
    /// A sign was typed.
    pub signed: bool,
}

/// Why a text is not a value; each variant carries what could be typed instead.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ValueError {
    /// Not a number with a known unit.
    #[error("this is not a value")]
    NotAValue,
    /// A comma stands in the number.
    #[error("a comma in a number can be read in two ways")]
    Comma {
        /// The readings.
        offers: Vec<String>,
    },
    /// Milli or mega.
    #[error("the prefix can be read as milli or as mega")]
    MilliOrMega {
        /// The readings.
        offers: Vec<String>,
    },
    /// `mF`, or `m` on a capacitor.
    #[error("`m` on a capacitor can be read as milli or, on old parts, as micro")]
    MilliOrMicro {
        /// The readings.
        offers: Vec<String>,
    },
    /// A capacitor marked with a bare number of 1 or more.
    #[error("a bare number on a capacitor can mean picofarads or microfarads")]
    BareCapacitor {
        /// The readings.
        offers: Vec<String>,
    },
    /// A number that needs its unit.
    #[error("the number needs its unit")]
    NoUnit {
        /// The number with the unit that is expected here.
        offers: Vec<String>,
    },
    /// The unit of something else.
    #[error("this is a value in {}", found.word())]
    WrongUnit {
        /// What it would be a value of.
        found: Quantity,
    },
    /// `1e3`.
    #[error("powers of ten are not written with `e` here")]
    Exponent {
        /// The same in trade notation, when it is in range.
        offers: Vec<String>,
    },
    /// Beyond anything in a valve amplifier; see [`Quantity::range`].
    #[error("the number is far outside what {} can be here", quantity.word())]
    OutOfRange {
        /// Of which quantity.
        quantity: Quantity,
    },
    /// Below zero where only a magnitude makes sense.
    #[error("the value cannot be negative")]
    Negative,
}

impl ValueError {
    /// What could be typed instead, none when there is nothing to offer.
    #[must_use]
    pub fn offers(&self) -> &[String] {
        match self {
            Self::Comma { offers }
            | Self::MilliOrMega { offers }
            | Self::MilliOrMicro { offers }
            | Self::BareCapacitor { offers }
            | Self::NoUnit { offers }
            | Self::Exponent { offers } => offers,
            Self::NotAValue | Self::WrongUnit { .. } | Self::OutOfRange { .. } | Self::Negative => {
                &[]
            }
        }
    }

    /// Stable kebab-case code of the diagnostic made from this.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self {
            Self::NotAValue => "not-a-value",
            Self::Comma { .. } => "decimal-comma",
            Self::MilliOrMega { .. } => "milli-or-mega",
            Self::MilliOrMicro { .. } => "milli-or-micro",
            Self::BareCapacitor { .. } => "bare-capacitor-value",
            Self::NoUnit { .. } => "no-unit",
            Self::WrongUnit { .. } => "wrong-unit",
            Self::Exponent { .. } => "exponent",
            Self::OutOfRange { .. } => "out-of-range",
            Self::Negative => "negative-value",
        }
    }
}

/// The text in plain letters: one micro sign, `ohm` for the omega, a plain minus, no spaces.
fn plain(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\u{b5}' | '\u{3bc}' => out.push('u'),
            '\u{3a9}' | '\u{2126}' => out.push_str("ohm"),
            '\u{2212}' | '\u{2013}' | '\u{2014}' | '\u{2010}' | '\u{2011}' | '\u{2012}' => {
                out.push('-');
            }
            c if c.is_whitespace() => {}
            c => out.push(c),
        }
    }
    out
}

/// Could this word begin a number (`4k7`, `.022`, `-0.02`, `R47`, `1/2W`)?
#[must_use]
pub fn reads_as_number(word: &str) -> bool {
    let word = plain(word);
    let mut rest = word.strip_prefix(['+', '-', '±']).unwrap_or(&word);
    rest = rest.strip_prefix('.').unwrap_or(rest);
    let mut chars = rest.chars();
    match chars.next() {
        Some(c) if c.is_ascii_digit() => true,
        Some('R' | 'n' | 'p' | 'u') => {
            let digits = chars.as_str();
            !digits.is_empty() && digits.chars().all(|c| c.is_ascii_digit())
        }
        _ => false,
    }
}

/// Is this word a unit or a prefix that may stand after a number with a space (`V`, `mA`, `ohm`, `k`)?
#[must_use]
pub fn reads_as_unit(word: &str) -> bool {
    let word = plain(word);
    !word.is_empty()
        && word.chars().all(|c| c.is_ascii_alphabetic() || c == '/')
        && (suffix(&word).is_some() || is_millifarad(&word))
}

fn is_millifarad(suffix: &str) -> bool {
    suffix == "mF"
}

/// Prefix power and unit of what follows the digits.
fn suffix(text: &str) -> Option<(Option<i32>, Option<Quantity>)> {
    // The old ways of writing micro- and picofarads come first: their m is not milli.
    match text {
        "" => return Some((None, None)),
        "MF" | "mf" | "Mf" | "mfd" | "MFD" | "Mfd" | "MFd" | "mFd" => {
            return Some((Some(-6), Some(Quantity::Farads)));
        }
        "mmf" | "MMF" | "mmF" | "mmfd" | "MMFD" | "MMFd" | "mmFd" | "uuF" | "uuf" | "uufd"
        | "uuFd" => {
            return Some((Some(-12), Some(Quantity::Farads)));
        }
        _ => {}
    }
    const UNITS: &[(&str, Quantity)] = &[
        ("ohms", Quantity::Ohms),
        ("Ohms", Quantity::Ohms),
        ("OHMS", Quantity::Ohms),
        ("ohm", Quantity::Ohms),
        ("Ohm", Quantity::Ohms),
        ("OHM", Quantity::Ohms),
        ("R", Quantity::Ohms),
        ("fd", Quantity::Farads),
        ("FD", Quantity::Farads),
        ("F", Quantity::Farads),
        ("f", Quantity::Farads),
        ("Hy", Quantity::Henries),
        ("hy", Quantity::Henries),
        ("Hz", Quantity::Hertz),
        ("hz", Quantity::Hertz),
        ("HZ", Quantity::Hertz),
        ("cps", Quantity::Hertz),
        ("c/s", Quantity::Hertz),
        ("H", Quantity::Henries),
        ("volts", Quantity::Volts),
        ("volt", Quantity::Volts),
        ("WVDC", Quantity::Volts),
        ("VDC", Quantity::Volts),
        ("Vdc", Quantity::Volts),
        ("V", Quantity::Volts),
        ("v", Quantity::Volts),
        ("amps", Quantity::Amps),
        ("amp", Quantity::Amps),
        ("A", Quantity::Amps),
        ("watts", Quantity::Watts),
        ("watt", Quantity::Watts),
        ("W", Quantity::Watts),
        ("w", Quantity::Watts),
        ("sec", Quantity::Seconds),
        ("s", Quantity::Seconds),
    ];
    if let Some(power) = prefix(text) {
        return Some((Some(power), None));
    }
    for &(unit, quantity) in UNITS {
        if let Some(before) = text.strip_suffix(unit) {
            if before.is_empty() {
                return Some((None, Some(quantity)));
            }
            if let Some(power) = prefix(before) {
                return Some((Some(power), Some(quantity)));
            }
        }
    }
    None
}

fn prefix(text: &str) -> Option<i32> {
    Some(match text {
        "p" | "P" => -12,
        "n" | "N" => -9,
        "u" | "U" => -6,
        "m" => -3,
        "k" | "K" => 3,
        "M" | "meg" | "Meg" | "MEG" => 6,
        "G" => 9,
        _ => return None,
    })
}

struct Split {
    sign: Option<char>,
    whole: String,
    fraction: String,
    comma: bool,
    suffix: String,
}

/// Takes a plain text apart; a prefix letter in the place of the decimal point is moved behind.
fn split(text: &str) -> Option<Split> {
    let mut rest = text;
    let sign = rest.chars().next().filter(|c| matches!(c, '+' | '-'));
    if sign.is_some() {
        rest = rest.get(1..)?;
    }
    let digits = |s: &str| s.chars().take_while(char::is_ascii_digit).count();
    let n = digits(rest);
    let mut whole = rest.get(..n)?.to_owned();
    rest = rest.get(n..)?;
    let mut fraction = String::new();
    let mut comma = false;
    let mut point = false;
    while let Some(after) = rest
        .strip_prefix('.')
        .or_else(|| rest.strip_prefix(',').inspect(|_| comma = true))
    {
        if point {
            // 1,000.5 or 1.2.3
            if !comma {
                return None;
            }
            whole.push_str(&std::mem::take(&mut fraction));
        }
        let n = digits(after);
        if n == 0 && whole.is_empty() {
            return None;
        }
        fraction = after.get(..n)?.to_owned();
        rest = after.get(n..)?;
        point = true;
    }
    let mut suffix = rest.to_owned();
    if !point {
        let letter = rest.chars().next().filter(char::is_ascii_alphabetic);
        if let Some(letter) = letter {
            let behind = rest.get(1..)?;
            let n = digits(behind);
            if n > 0 {
                let bare = whole.is_empty();
                if bare && !matches!(letter, 'R' | 'n' | 'p' | 'u') {
                    return None;
                }
                fraction = behind.get(..n)?.to_owned();
                suffix = format!("{letter}{}", behind.get(n..)?);
                if bare {
                    whole.push('0');
                }
            }
        }
    }
    if whole.is_empty() && fraction.is_empty() {
        return None;
    }
    if whole.is_empty() {
        whole.push('0');
    }
    Some(Split {
        sign,
        whole,
        fraction,
        comma,
        suffix,
    })
}

/// Reads a number with an optional prefix and unit, without judging what it is for.
///
/// # Errors
/// [`ValueError::NotAValue`], [`ValueError::Comma`], [`ValueError::Exponent`], and
/// [`ValueError::MilliOrMicro`] for `mF`; the rest is judged by [`parse`].
pub fn parse_raw(text: &str) -> Result<Raw, ValueError> {
    let plain = plain(text);
    if let Some(raw) = parse_fraction(&plain) {
        return Ok(raw);
    }
    if let Some(offers) = exponent_offers(&plain) {
        return Err(ValueError::Exponent { offers });
    }
    let split = split(&plain).ok_or(ValueError::NotAValue)?;
    if split.comma {
        // Only a value may complain of its comma; `a,b` is just not a value.
        suffix(&split.suffix).ok_or(ValueError::NotAValue)?;
        let mut offers = vec![format!(
            "{}.{}{}",
            split.whole, split.fraction, split.suffix
        )];
        if split.fraction.len() == 3 {
            offers.push(format!("{}{}{}", split.whole, split.fraction, split.suffix));
        }
        return Err(ValueError::Comma { offers });
    }
    if is_millifarad(&split.suffix) {
        return Err(millifarad(&split));
    }
    let (power, unit) = suffix(&split.suffix).ok_or(ValueError::NotAValue)?;
    let number = format!("{}.{}", split.whole, split.fraction);
    let exponent = power.unwrap_or(0);
    let mut value: f64 = format!("{number}e{exponent}")
        .parse()
        .map_err(|_| ValueError::NotAValue)?;
    if split.sign == Some('-') {
        value = -value;
    }
    let fine = i32::try_from(split.fraction.len()).unwrap_or(300);
    let digit: f64 = format!("1e{}", exponent.saturating_sub(fine))
        .parse()
        .map_err(|_| ValueError::NotAValue)?;
    Ok(Raw {
        value,
        digit,
        unit,
        prefix: power,
        signed: split.sign.is_some(),
    })
}

/// `1/2W`, `1/4 A`: the trade's fractions.
fn parse_fraction(text: &str) -> Option<Raw> {
    let (top, rest) = text.split_once('/')?;
    let n = rest.chars().take_while(char::is_ascii_digit).count();
    let bottom: f64 = rest.get(..n)?.parse().ok()?;
    let top: f64 = top.parse::<u32>().ok()?.into();
    let (power, unit) = suffix(rest.get(n..)?)?;
    if power.is_some() || !(1.0..=64.0).contains(&bottom) || top > 1000.0 {
        return None;
    }
    let unit = unit.filter(|u| matches!(u, Quantity::Watts | Quantity::Amps))?;
    Some(Raw {
        value: top / bottom,
        digit: 0.0,
        unit: Some(unit),
        prefix: None,
        signed: false,
    })
}

fn exponent_offers(text: &str) -> Option<Vec<String>> {
    let at = text.find(['e', 'E'])?;
    let (mantissa, rest) = (text.get(..at)?, text.get(at + 1..)?);
    let digits = rest.strip_prefix(['+', '-']).unwrap_or(rest);
    let n = digits.chars().take_while(char::is_ascii_digit).count();
    if n == 0 || mantissa.parse::<f64>().is_err() {
        return None;
    }
    let number: f64 = text
        .get(..text.len() - digits.len() + n)?
        .parse()
        .unwrap_or(f64::INFINITY);
    if !(number.is_finite() && (1e-15..1e13).contains(&number.abs())) {
        return Some(Vec::new());
    }
    let behind = digits.get(n..).unwrap_or_default();
    let offer = if !behind.is_empty() {
        format!("{number}{behind}")
    } else {
        let offer = notation(number, Quantity::Ohms).replace('R', ".");
        offer.strip_suffix('.').unwrap_or(&offer).to_owned()
    };
    Some(vec![offer])
}

fn millifarad(split: &Split) -> ValueError {
    let number = if split.fraction.is_empty() {
        split.whole.clone()
    } else {
        format!("{}.{}", split.whole, split.fraction)
    };
    let milli: f64 = number.parse().unwrap_or(0.0);
    ValueError::MilliOrMicro {
        offers: vec![
            format!("{number}u"),
            notation(milli * 1e-3, Quantity::Farads),
        ],
    }
}

/// Reads a value of a known quantity.
///
/// Ohms may go without a unit; a number below 1 without a unit on a capacitor is
/// microfarads; everything else needs its unit. Values must be positive or zero and
/// within [`Quantity::range`]; volts may be negative.
///
/// # Errors
/// See [`ValueError`].
pub fn parse(text: &str, quantity: Quantity) -> Result<Raw, ValueError> {
    let mut raw = parse_raw(text)?;
    let number = || {
        let plain = plain(text);
        plain
            .find(|c: char| c.is_ascii_alphabetic())
            .and_then(|at| plain.get(..at).map(str::to_owned))
            .unwrap_or(plain)
    };
    let symbol = quantity.symbol();
    match (raw.unit, quantity) {
        (Some(unit), _) if unit != quantity => return Err(ValueError::WrongUnit { found: unit }),
        (unit, Quantity::Ohms) => match raw.prefix {
            Some(-3) => {
                return Err(ValueError::MilliOrMega {
                    offers: vec![
                        format!("{}M", number()),
                        notation(raw.value, Quantity::Ohms),
                    ],
                });
            }
            Some(p) if p < 0 && unit.is_none() => {
                return Err(ValueError::WrongUnit {
                    found: Quantity::Farads,
                });
            }
            _ => {}
        },
        (None, Quantity::Farads) => match raw.prefix {
            None if raw.value.abs() < 1.0 => {
                raw = parse_raw(&format!("{}u", plain(text)))?;
            }
            None => {
                return Err(ValueError::BareCapacitor {
                    offers: vec![format!("{}p", number()), format!("{}u", number())],
                });
            }
            Some(-3) => {
                return Err(ValueError::MilliOrMicro {
                    offers: vec![
                        format!("{}u", number()),
                        notation(raw.value, Quantity::Farads),
                    ],
                });
            }
            Some(p) if p > 0 => {
                return Err(ValueError::WrongUnit {
                    found: Quantity::Ohms,
                });
            }
            _ => {}
        },
        (None, _) => {
            return Err(ValueError::NoUnit {
                offers: vec![format!("{}{symbol}", plain(text))],
            });
        }
        // Old sheets print MA for milliamperes; a mega-anything but watts and hertz is a slip.
        (Some(_), Quantity::Volts | Quantity::Amps | Quantity::Henries | Quantity::Farads)
            if raw.prefix.is_some_and(|p| p >= 6) =>
        {
            return Err(ValueError::MilliOrMega {
                offers: vec![format!("{}m{symbol}", number())],
            });
        }
        _ => {}
    }
    if quantity != Quantity::Volts && raw.value < 0.0 {
        return Err(ValueError::Negative);
    }
    let (low, high) = quantity.range();
    let size = raw.value.abs();
    if !(size == 0.0 || (low..=high).contains(&size)) {
        return Err(ValueError::OutOfRange { quantity });
    }
    Ok(raw)
}

/// Reads a percentage (`10%`, `0.5 %`) as a fraction, none when it is not one.
#[must_use]
pub fn parse_percent(text: &str) -> Option<f64> {
    let plain = plain(text);
    let number: f64 = plain.strip_suffix('%')?.parse().ok()?;
    number.is_finite().then_some(number / 100.0)
}
