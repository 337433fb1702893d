//! How drivers are joined, read from text: `8 - 8`, `[16 30W | 16 30W]`, `[8 - 8 | 8 - 8]`.

use wiring::units::{Quantity, ValueError, parse};

/// No loudspeaker has more drivers or deeper brackets than this.
const MOST_DRIVERS: usize = 32;

/// One driver.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Driver {
    /// Nominal ohms.
    pub ohms: f64,
    /// Rated watts, when they were typed.
    pub watts: Option<f64>,
}

/// Drivers and how they are joined.
#[derive(Debug, Clone, PartialEq)]
pub enum Load {
    /// One.
    One(Driver),
    /// In series.
    Series(Vec<Load>),
    /// Side by side.
    Parallel(Vec<Load>),
}

/// Why a load was not understood.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LoadError {
    /// Nothing where a driver should be.
    #[error("a driver is missing {0}")]
    Empty(&'static str),
    /// A bracket without its other half.
    #[error("a bracket has no other half")]
    Bracket,
    /// Something that is neither ohms nor watts.
    #[error("`{word}` is no driver: {error}")]
    Value {
        /// As typed.
        word: String,
        /// What is wrong with it.
        error: ValueError,
    },
    /// Ohms that no driver has.
    #[error("`{0}` is no nominal impedance of a driver")]
    Ohms(String),
    /// More than fits a loudspeaker.
    #[error("that is more drivers than a loudspeaker has")]
    TooMany,
}

impl Load {
    /// Reads a load. Spaces around `-` and `|` are free; `|` without brackets is read as inside them.
    ///
    /// # Errors
    /// [`LoadError`] with the place in words.
    pub fn read(text: &str) -> Result<Self, LoadError> {
        let marks: Vec<char> = text
            .chars()
            .map(|c| match c {
                '\u{2212}' | '\u{2013}' | '\u{2014}' => '-',
                other => other,
            })
            .collect();
        if marks
            .iter()
            .filter(|c| matches!(c, '-' | '|' | '['))
            .count()
            > MOST_DRIVERS
        {
            return Err(LoadError::TooMany);
        }
        let mut reader = Reader { marks, at: 0 };
        let load = reader.alternatives()?;
        match reader.peek() {
            None => Ok(load),
            Some(_) => Err(LoadError::Bracket),
        }
    }

    /// Nominal ohms in all.
    #[must_use]
    pub fn ohms(&self) -> f64 {
        match self {
            Self::One(driver) => driver.ohms,
            Self::Series(loads) => loads.iter().map(Self::ohms).sum(),
            Self::Parallel(loads) => 1.0 / loads.iter().map(|l| 1.0 / l.ohms()).sum::<f64>(),
        }
    }

    /// Each driver with its share of the power, in the order typed.
    #[must_use]
    pub fn shares(&self) -> Vec<(Driver, f64)> {
        let mut found = Vec::new();
        self.share_out(1.0, &mut found);
        found
    }

    fn share_out(&self, share: f64, found: &mut Vec<(Driver, f64)>) {
        match self {
            Self::One(driver) => found.push((*driver, share)),
            Self::Series(loads) => {
                for load in loads {
                    load.share_out(share * load.ohms() / self.ohms(), found);
                }
            }
            Self::Parallel(loads) => {
                for load in loads {
                    load.share_out(share * self.ohms() / load.ohms(), found);
                }
            }
        }
    }

    /// As it is written: `[16 | 16]`.
    #[must_use]
    pub fn words(&self) -> String {
        let join = |loads: &[Self], mark: &str| {
            loads.iter().map(Self::words).collect::<Vec<_>>().join(mark)
        };
        match self {
            Self::One(driver) => driver.ohms.to_string(),
            Self::Series(loads) => join(loads, " - "),
            Self::Parallel(loads) => format!("[{}]", join(loads, " | ")),
        }
    }
}

struct Reader {
    marks: Vec<char>,
    at: usize,
}

impl Reader {
    fn peek(&mut self) -> Option<char> {
        while self.marks.get(self.at).is_some_and(|c| c.is_whitespace()) {
            self.at += 1;
        }
        self.marks.get(self.at).copied()
    }

    fn take(&mut self, mark: char) -> bool {
        let found = self.peek() == Some(mark);
        self.at += usize::from(found);
        found
    }

    fn alternatives(&mut self) -> Result<Load, LoadError> {
        let mut loads = vec![self.chain()?];
        while self.take('|') {
            loads.push(self.chain()?);
        }
        Ok(only(loads, Load::Parallel))
    }

    fn chain(&mut self) -> Result<Load, LoadError> {
        let mut loads = vec![self.stop()?];
        while self.take('-') {
            loads.push(self.stop()?);
        }
        Ok(only(loads, Load::Series))
    }

    fn stop(&mut self) -> Result<Load, LoadError> {
        if self.take('[') {
            let load = self.alternatives()?;
            return if self.take(']') {
                Ok(load)
            } else {
                Err(LoadError::Bracket)
            };
        }
        let mut text = String::new();
        while let Some(c) = self.marks.get(self.at).copied() {
            if matches!(c, '-' | '|' | '[' | ']') {
                break;
            }
            text.push(c);
            self.at += 1;
        }
        driver(text.trim())
    }
}

fn only(mut loads: Vec<Load>, many: fn(Vec<Load>) -> Load) -> Load {
    if loads.len() == 1 {
        loads.remove(0)
    } else {
        many(loads)
    }
}

/// `16`, `8 ohm 30W`.
fn driver(text: &str) -> Result<Load, LoadError> {
    if text.is_empty() {
        return Err(LoadError::Empty("beside `-`, `|` or a bracket"));
    }
    let mut ohms = None;
    let mut watts = None;
    let words: Vec<&str> = text.split_whitespace().collect();
    let mut at = 0;
    while let Some(word) = words.get(at) {
        // A unit with a space before it belongs to the number.
        let with_unit = words
            .get(at + 1)
            .filter(|next| next.starts_with(|c: char| c.is_alphabetic() || c == 'Ω'))
            .map(|unit| format!("{word}{unit}"));
        at += if with_unit.is_some() { 2 } else { 1 };
        let whole = with_unit.unwrap_or_else(|| (*word).to_owned());
        if let Ok(raw) = parse(&whole, Quantity::Watts) {
            watts = Some(raw.value);
            continue;
        }
        let raw = parse(&whole, Quantity::Ohms).map_err(|error| LoadError::Value {
            word: whole.clone(),
            error,
        })?;
        if !(0.1..=1000.0).contains(&raw.value) || ohms.is_some() {
            return Err(LoadError::Ohms(whole));
        }
        ohms = Some(raw.value);
    }
    let ohms = ohms.ok_or_else(|| LoadError::Ohms(text.to_owned()))?;
    Ok(Load::One(Driver { ohms, watts }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn drivers_are_joined_as_in_a_wiring() {
        let ohms = |text: &str| {
            Load::read(text)
                .unwrap_or_else(|e| panic!("{text}: {e}"))
                .ohms()
        };
        assert_eq!(ohms("8"), 8.0);
        assert_eq!(ohms("8 - 8"), 16.0);
        assert_eq!(ohms("8-8"), 16.0);
        assert_eq!(ohms("[16 | 16]"), 8.0);
        assert_eq!(ohms("16|16"), 8.0);
        assert_eq!(ohms("[8 - 8 | 8 - 8]"), 8.0);
        assert_eq!(ohms("[16|16] - [16|16]"), 16.0);
        assert_eq!(ohms("16 ohm 30 W - 16Ω 30W"), 32.0);
        assert_eq!(ohms("8 – 8"), 16.0);
    }

    #[test]
    fn what_is_no_load_is_refused() {
        for text in [
            "", "[", "8 -", "[8 | 8", "8]", "| 8", "eight", "8 8", "-8", "8u", "30W",
        ] {
            assert!(Load::read(text).is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn no_text_makes_the_reader_panic(text in "[0-9 .|\\[\\]\\-Wohm]{0,60}") {
            if let Ok(load) = Load::read(&text) {
                prop_assert!(load.ohms() > 0.0 && load.ohms().is_finite());
                let again = Load::read(&load.words()).expect("what is printed is read").ohms();
                prop_assert!((again / load.ohms() - 1.0).abs() < 1e-9);
            }
        }
    }
}
