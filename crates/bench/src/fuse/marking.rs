//! What is printed beside a fuse holder: `T1A`, `F 500 mA 250 V`, `1 A slow`, `2A`.

use super::laws::Pace;
use wiring::units::{Quantity, ValueError, parse};

/// A fuse as marked on a chassis.
#[derive(Debug, Clone, PartialEq)]
pub struct Marking {
    /// As typed.
    pub text: String,
    /// Rating, amperes.
    pub amps: f64,
    /// How quick, when it says.
    pub pace: Option<Pace>,
    /// `iec` or `ul`, when the way of marking tells.
    pub family: Option<&'static str>,
}

/// Why a marking was not understood.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum MarkingError {
    /// No rating in it.
    #[error("there is no rating in amperes in `{0}`")]
    NoRating(String),
    /// The rating is no value.
    #[error("`{text}` has no readable rating: {error}")]
    Rating {
        /// As typed.
        text: String,
        /// What is wrong with it.
        error: ValueError,
    },
    /// A word that says nothing of a fuse.
    #[error("`{0}` says nothing about a fuse")]
    Word(String),
}

impl Marking {
    /// Reads a marking.
    ///
    /// `T` and `TT` are time-lag, `F`, `FF` and `M` taken as quick-acting (IEC 60127-1, from memory, not
    /// seen); `slow`, `time-lag`, `fast`, `quick` in words are the North American way. A breaking-capacity
    /// letter (`L`, `H`, `E`) and volts are read over.
    ///
    /// # Errors
    /// [`MarkingError`], when there is no rating or a word that says nothing.
    pub fn read(text: &str) -> Result<Self, MarkingError> {
        let mut amps = None;
        let mut pace = None;
        let mut family = None;
        for word in pieces(text) {
            match word.as_str() {
                "T" | "TT" => (pace, family) = (Some(Pace::TimeLag), Some("iec")),
                "F" | "FF" | "M" => (pace, family) = (Some(Pace::Quick), Some("iec")),
                "L" | "H" | "E" => {}
                other => match other.to_lowercase().as_str() {
                    "slow" | "blow" | "slow-blow" | "time-lag" | "lag" | "delay" => {
                        pace = Some(Pace::TimeLag);
                        family = family.or(Some("ul"));
                    }
                    "fast" | "quick" | "quick-acting" | "fast-acting" => {
                        pace = Some(Pace::Quick);
                        family = family.or(Some("ul"));
                    }
                    _ if parse(other, Quantity::Volts).is_ok() => {}
                    _ if other.starts_with(|c: char| c.is_ascii_digit() || c == '.') => {
                        amps = Some(rating(text, other)?);
                    }
                    _ => return Err(MarkingError::Word(other.to_owned())),
                },
            }
        }
        let amps = amps.ok_or_else(|| MarkingError::NoRating(text.to_owned()))?;
        Ok(Self {
            text: text.trim().to_owned(),
            amps,
            pace,
            family,
        })
    }
}

fn rating(text: &str, word: &str) -> Result<f64, MarkingError> {
    let read = match parse(word, Quantity::Amps) {
        Err(ValueError::NoUnit { .. }) => parse(&format!("{word}A"), Quantity::Amps),
        other => other,
    };
    let raw = read.map_err(|error| MarkingError::Rating {
        text: text.to_owned(),
        error,
    })?;
    if raw.value > 0.0 {
        Ok(raw.value)
    } else {
        Err(MarkingError::NoRating(text.to_owned()))
    }
}

/// The words of a marking: letters before a number, the number with its unit, what follows.
fn pieces(text: &str) -> Vec<String> {
    let mut pieces: Vec<String> = Vec::new();
    for word in text.split([' ', ',', ';', '\t']).filter(|w| !w.is_empty()) {
        let letters: String = word.chars().take_while(char::is_ascii_alphabetic).collect();
        let rest = word.get(letters.len()..).unwrap_or("");
        if rest.is_empty() {
            // `1 A`, `500 mA`: the unit goes with the number before it.
            let number = pieces
                .last_mut()
                .filter(|p| p.ends_with(|c: char| c.is_ascii_digit() || c == '.'));
            match (number, word) {
                (Some(number), "A" | "mA" | "V") => number.push_str(word),
                _ => pieces.push(word.to_owned()),
            }
            continue;
        }
        if !letters.is_empty() {
            pieces.push(letters);
        }
        // `1AL250V`: a unit ends a number, and what follows is another piece.
        let mut piece = String::new();
        for c in rest.chars() {
            let closed = piece.ends_with(['A', 'V']);
            if closed {
                pieces.push(std::mem::take(&mut piece));
            }
            let begins = c.is_ascii_digit() || c == '.';
            if begins && piece.chars().all(|p| p.is_ascii_alphabetic()) && !piece.is_empty() {
                pieces.push(std::mem::take(&mut piece));
            }
            piece.push(c);
        }
        if !piece.is_empty() {
            pieces.push(piece);
        }
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn markings_read_as_they_are_printed() {
        let read = |text: &str| {
            let m = Marking::read(text).unwrap_or_else(|e| panic!("{text}: {e}"));
            (m.amps, m.pace, m.family)
        };
        let lag = Some(Pace::TimeLag);
        assert_eq!(read("T1A"), (1.0, lag, Some("iec")));
        assert_eq!(read("T 500 mA"), (0.5, lag, Some("iec")));
        assert_eq!(read("T2.5AL250V"), (2.5, lag, Some("iec")));
        assert_eq!(read("T 3.15 A H 250 V"), (3.15, lag, Some("iec")));
        assert_eq!(read("F1A"), (1.0, Some(Pace::Quick), Some("iec")));
        assert_eq!(read("2A"), (2.0, None, None));
        assert_eq!(read("2"), (2.0, None, None));
        assert_eq!(read("2 A slow"), (2.0, lag, Some("ul")));
        assert_eq!(read("1A fast"), (1.0, Some(Pace::Quick), Some("ul")));
        assert_eq!(read("630mA T"), (0.63, lag, Some("iec")));
    }

    #[test]
    fn what_is_no_marking_is_refused() {
        for text in ["", "T", "slow", "banana", "0A", "T1,5A x", "-1A"] {
            assert!(Marking::read(text).is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn no_text_makes_the_reader_panic(text in "\\PC{0,24}") {
            if let Ok(marking) = Marking::read(&text) {
                prop_assert!(marking.amps > 0.0 && marking.amps.is_finite());
            }
        }
    }
}
