//! Valves and windings as typed: `EL84x2`, `2xEL84`, `12AX7 12.6V`, `6.3V 3A`.

use wiring::sheet::{HeaterWay, Library, Origin};
use wiring::units::{Quantity, parse};

/// So many valves of a type, and how their heaters are fed.
#[derive(Debug, Clone, PartialEq)]
pub struct HeaterItem {
    /// Type, as its data sheet has it.
    pub name: String,
    /// How many.
    pub count: u32,
    /// Volts and amperes of each.
    pub way: HeaterWay,
    /// The heater can be fed in another way too.
    pub centre_tapped: bool,
    /// Where the figures are from.
    pub origin: Origin,
}

/// A heater winding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Winding {
    /// Volts.
    pub volts: f64,
    /// Amperes it may give, when that is marked.
    pub amps: Option<f64>,
}

/// Why a list was not understood.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ListError {
    /// No such type.
    #[error("there is no data sheet of `{name}`")]
    Type {
        /// As typed.
        name: String,
        /// The nearest type that there is.
        nearest: Option<String>,
    },
    /// The type has no heater.
    #[error("{0} has a cold cathode and no heater")]
    Cold(String),
    /// Volts that this heater isn't made for.
    #[error("a {name} is not heated with {volts} V; it takes {ways}")]
    Volts {
        /// The type.
        name: String,
        /// As typed.
        volts: f64,
        /// What it takes.
        ways: String,
    },
    /// Neither volts nor amperes.
    #[error("`{0}` is neither volts nor amperes")]
    Winding(String),
}

/// Largest count that is taken for a count.
const MOST: u32 = 40;

/// Reads one entry of a list of valves.
///
/// # Errors
/// [`ListError`], with the nearest type where there is one.
pub fn read_item(text: &str, library: &Library) -> Result<HeaterItem, ListError> {
    let (name, volts) = match text.trim().rsplit_once(char::is_whitespace) {
        Some((name, last)) => match parse(last, Quantity::Volts) {
            Ok(raw) => (name.trim(), Some(raw.value)),
            Err(_) => (text.trim(), None),
        },
        None => (text.trim(), None),
    };
    let (name, count) = counted(name, library);
    let sheet = library.find(name).ok_or_else(|| ListError::Type {
        name: name.to_owned(),
        nearest: library.nearest(name).map(str::to_owned),
    })?;
    let heater = sheet
        .heater
        .as_ref()
        .ok_or_else(|| ListError::Cold(sheet.name.clone()))?;
    let ways: Vec<HeaterWay> = heater.parallel.into_iter().chain([heater.ends]).collect();
    let way = match volts {
        None => ways.first().copied(),
        Some(v) => ways
            .iter()
            .copied()
            .find(|way| (way.volts / v - 1.0).abs() < 0.05),
    };
    let way = way.ok_or_else(|| ListError::Volts {
        name: sheet.name.clone(),
        volts: volts.unwrap_or(0.0),
        ways: ways
            .iter()
            .map(|w| format!("{} V", w.volts))
            .collect::<Vec<_>>()
            .join(" or "),
    })?;
    Ok(HeaterItem {
        name: sheet.name.clone(),
        count,
        way,
        centre_tapped: heater.parallel.is_some(),
        origin: heater.origin.clone(),
    })
}

/// Name and count: `EL84x2`, `2xEL84`, `2 x EL84`. A name that is a type as it stands (`6X4`) has no count in it.
fn counted<'t>(text: &'t str, library: &Library) -> (&'t str, u32) {
    if library.find(text).is_some() {
        return (text, 1);
    }
    let number = |digits: &str| {
        digits
            .trim()
            .parse::<u32>()
            .ok()
            .filter(|n| (1..=MOST).contains(n))
    };
    for mark in ['x', '×', 'X', '*'] {
        if let Some((name, digits)) = text.rsplit_once(mark)
            && let Some(count) = number(digits)
            && !name.trim().is_empty()
        {
            return (name.trim(), count);
        }
        if let Some((digits, name)) = text.split_once(mark)
            && let Some(count) = number(digits)
            && !name.trim().is_empty()
        {
            return (name.trim(), count);
        }
    }
    (text, 1)
}

impl Winding {
    /// Reads `6.3V 3A`, `6.3 V`, `6.3`.
    ///
    /// # Errors
    /// [`ListError::Winding`] with the word that is neither.
    pub fn read(text: &str) -> Result<Self, ListError> {
        let refuse = || ListError::Winding(text.trim().to_owned());
        let mut words: Vec<String> = Vec::new();
        for word in text.split_whitespace() {
            match words.last_mut() {
                // A unit with a space before it belongs to the number.
                Some(last)
                    if matches!(word, "V" | "A" | "mA")
                        && last.ends_with(|c: char| c.is_ascii_digit()) =>
                {
                    last.push_str(word);
                }
                _ => words.push(word.to_owned()),
            }
        }
        let mut volts = None;
        let mut amps = None;
        for word in &words {
            if let Ok(raw) = parse(word, Quantity::Amps) {
                amps = Some(raw.value);
            } else if let Ok(raw) = parse(word, Quantity::Volts) {
                volts = Some(raw.value);
            } else if let (None, Ok(raw)) = (volts, parse(&format!("{word}V"), Quantity::Volts)) {
                volts = Some(raw.value);
            } else {
                return Err(ListError::Winding(word.clone()));
            }
        }
        let volts = volts.filter(|v| *v > 0.0).ok_or_else(refuse)?;
        if amps.is_some_and(|a| a <= 0.0) {
            return Err(refuse());
        }
        Ok(Self { volts, amps })
    }
}
