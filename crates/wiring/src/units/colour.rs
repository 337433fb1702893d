//! Colour bands of resistors, after IEC 60062 (cited from memory, not seen).
//!
//! Three bands (two digits and a multiplier) mean 20 %; a fourth is the tolerance; five bands
//! have three digits; a sixth, the temperature coefficient, is read over. Bands are given in
//! reading order: which end is first is for the eyes.

use std::fmt;

/// A colour of the code.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Colour {
    /// Multiplier 0.001.
    Pink,
    /// Multiplier 0.01; tolerance 10 %.
    Silver,
    /// Multiplier 0.1; tolerance 5 %.
    Gold,
    /// 0.
    Black,
    /// 1; tolerance 1 %.
    Brown,
    /// 2; tolerance 2 %.
    Red,
    /// 3; tolerance 0.05 %.
    Orange,
    /// 4; tolerance 0.02 %.
    Yellow,
    /// 5; tolerance 0.5 %.
    Green,
    /// 6; tolerance 0.25 %.
    Blue,
    /// 7; tolerance 0.1 %.
    Violet,
    /// 8; tolerance 0.01 % (0.05 % in older editions).
    Grey,
    /// 9.
    White,
}

/// A resistor as its bands give it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Marked {
    /// Ohms.
    pub ohms: f64,
    /// Tolerance either way, percent.
    pub percent: f64,
}

/// Why bands can't be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ColourError {
    /// Fewer than three or more than six bands.
    #[error("{0} bands; a resistor has 3 to 6")]
    Count(usize),
    /// A word that is no colour of the code.
    #[error("`{0}` is no colour of the code")]
    Word(String),
    /// A colour that can't stand at this place (counted from 1).
    #[error("{colour} can't be band {band}: {why}; are the bands read from the other end?")]
    Place {
        /// The colour.
        colour: Colour,
        /// The band, from 1.
        band: usize,
        /// What that band says.
        why: &'static str,
    },
}

impl Colour {
    /// All, in the order of their multipliers.
    pub const ALL: [Self; 13] = [
        Self::Pink,
        Self::Silver,
        Self::Gold,
        Self::Black,
        Self::Brown,
        Self::Red,
        Self::Orange,
        Self::Yellow,
        Self::Green,
        Self::Blue,
        Self::Violet,
        Self::Grey,
        Self::White,
    ];

    /// The digit it stands for.
    #[must_use]
    pub fn digit(self) -> Option<u8> {
        u8::try_from(self.exponent()).ok()
    }

    /// The power of ten that it multiplies by, as the multiplier band: -3 to 9.
    #[must_use]
    pub fn exponent(self) -> i32 {
        self as i32 - 3
    }

    /// The tolerance it stands for, percent either way.
    #[must_use]
    pub fn percent(self) -> Option<f64> {
        Some(match self {
            Self::Silver => 10.0,
            Self::Gold => 5.0,
            Self::Brown => 1.0,
            Self::Red => 2.0,
            Self::Orange => 0.05,
            Self::Yellow => 0.02,
            Self::Green => 0.5,
            Self::Blue => 0.25,
            Self::Violet => 0.1,
            Self::Grey => 0.01,
            Self::Pink | Self::Black | Self::White => return None,
        })
    }

    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Pink => "pink",
            Self::Silver => "silver",
            Self::Gold => "gold",
            Self::Black => "black",
            Self::Brown => "brown",
            Self::Red => "red",
            Self::Orange => "orange",
            Self::Yellow => "yellow",
            Self::Green => "green",
            Self::Blue => "blue",
            Self::Violet => "violet",
            Self::Grey => "grey",
            Self::White => "white",
        }
    }

    /// The colour of a word, in any case; `gray` and `purple` are understood.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        let word = word.to_ascii_lowercase();
        match word.as_str() {
            "gray" => Some(Self::Grey),
            "purple" => Some(Self::Violet),
            _ => Self::ALL.into_iter().find(|c| c.word() == word),
        }
    }

    fn of_digit(digit: u64) -> Option<Self> {
        Self::ALL
            .into_iter()
            .find(|c| c.digit().is_some_and(|d| u64::from(d) == digit))
    }
}

impl fmt::Display for Colour {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// Colours from words between spaces, commas or hyphens (`yellow violet yellow silver`).
///
/// # Errors
/// [`ColourError::Word`] with the first word that is none.
pub fn colours(text: &str) -> Result<Vec<Colour>, ColourError> {
    text.split([' ', ',', '-'])
        .filter(|word| !word.is_empty())
        .map(|word| Colour::from_word(word).ok_or_else(|| ColourError::Word(word.to_owned())))
        .collect()
}

/// The resistor that `bands` mark.
///
/// ```
/// use wiring::units::colour::{colours, marked};
/// let bands = colours("yellow violet yellow silver").unwrap();
/// let resistor = marked(&bands).unwrap();
/// assert_eq!((resistor.ohms, resistor.percent), (470_000.0, 10.0));
/// ```
///
/// # Errors
/// [`ColourError::Count`] unless there are 3 to 6, [`ColourError::Place`] where a colour can't
/// stand.
pub fn marked(bands: &[Colour]) -> Result<Marked, ColourError> {
    let digits = match bands.len() {
        3 | 4 => 2,
        5 | 6 => 3,
        count => return Err(ColourError::Count(count)),
    };
    let mut number = 0.0;
    for (at, colour) in bands.iter().take(digits).enumerate() {
        let digit = colour.digit().ok_or(ColourError::Place {
            colour: *colour,
            band: at + 1,
            why: "that band is a digit",
        })?;
        number = 10.0 * number + f64::from(digit);
    }
    let exponent = bands.get(digits).map_or(0, |c| c.exponent());
    let power = 10f64.powi(exponent.abs());
    let ohms = if exponent < 0 {
        number / power
    } else {
        number * power
    };
    let percent = match bands.get(digits + 1) {
        None => 20.0,
        Some(colour) => colour.percent().ok_or(ColourError::Place {
            colour: *colour,
            band: digits + 2,
            why: "that band is the tolerance",
        })?,
    };
    Ok(Marked { ohms, percent })
}

/// The bands that mark `ohms` with `percent` tolerance: with two digits where they suffice and
/// the tolerance is 5 % or wider, else with three. None where no bands say that.
#[must_use]
pub fn bands(ohms: f64, percent: f64) -> Option<Vec<Colour>> {
    if !(ohms > 0.0 && ohms.is_finite()) {
        return None;
    }
    let tolerance = if percent == 20.0 {
        None
    } else {
        Some(
            Colour::ALL
                .into_iter()
                .find(|c| c.percent() == Some(percent))?,
        )
    };
    let shortest = if percent >= 5.0 { 2 } else { 3 };
    // A resistor of 20 % has no fifth band, so never three digits.
    let longest = if tolerance.is_some() { 3 } else { 2 };
    (shortest..=longest).find_map(|digits| {
        let exponent = ohms.log10().floor() as i32 - (digits - 1);
        // The logarithm may round up or down to the next decade.
        (exponent - 1..=exponent + 1).find_map(|exponent| {
            let multiplier = Colour::ALL.into_iter().find(|c| c.exponent() == exponent)?;
            let number = (ohms / 10f64.powi(exponent)).round();
            let low = 10f64.powi(digits - 1);
            if !(low..10.0 * low).contains(&number) {
                return None;
            }
            let number = number as u64;
            let mut bands = Vec::new();
            for place in (0..digits as u32).rev() {
                bands.push(Colour::of_digit(number / 10u64.pow(place) % 10)?);
            }
            bands.push(multiplier);
            bands.extend(tolerance);
            let back = marked(&bands).ok()?;
            ((back.ohms / ohms - 1.0).abs() < 1e-9).then_some(bands)
        })
    })
}

/// Every resistor that `bands` could be if one digit or multiplier band were another colour.
///
/// The tolerance band is taken as read. In the order of the bands, then of the colours; a first
/// digit of 0 is left out. Empty where the bands can't be read.
#[must_use]
pub fn one_band_misread(bands: &[Colour]) -> Vec<Marked> {
    if marked(bands).is_err() {
        return Vec::new();
    }
    let counted = if bands.len() < 5 { 3 } else { 4 };
    let mut found = Vec::new();
    for at in 0..counted {
        for colour in Colour::ALL {
            let mut other = bands.to_vec();
            let Some(band) = other.get_mut(at).filter(|band| **band != colour) else {
                continue;
            };
            *band = colour;
            if at == 0 && colour == Colour::Black {
                continue;
            }
            found.extend(marked(&other));
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_and_back() {
        for ohms in [0.47, 1.0, 4.7, 10.0, 82.0, 1500.0, 68e3, 470e3, 1e6, 22e6] {
            for percent in [20.0, 10.0, 5.0, 2.0, 1.0] {
                let bands = bands(ohms, percent).unwrap();
                let back = marked(&bands).unwrap();
                assert!((back.ohms / ohms - 1.0).abs() < 1e-12, "{ohms} {bands:?}");
                assert_eq!(back.percent, percent);
            }
        }
        assert_eq!(bands(1.02e6, 1.0).unwrap().len(), 5);
        assert_eq!(bands(1.02e6, 20.0), None);
        assert_eq!(bands(123_456.0, 1.0), None);
        assert_eq!(bands(100.0, 3.0), None);
        for ohms in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e-9, 1e15] {
            assert_eq!(bands(ohms, 5.0), None);
        }
    }

    #[test]
    fn a_misread_band_gives_the_neighbours() {
        let as_read = colours("brown black orange").unwrap();
        let others = one_band_misread(&as_read);
        // 8 first digits, 9 second digits, 12 multipliers.
        assert_eq!(others.len(), 8 + 9 + 12);
        assert!(others.iter().any(|m| m.ohms == 100e3));
        assert!(others.iter().all(|m| m.ohms != 10e3));
        assert!(one_band_misread(&as_read[..2]).is_empty());
    }

    #[test]
    fn what_is_no_code_is_refused_with_its_place() {
        assert_eq!(
            colours("brown mauve"),
            Err(ColourError::Word("mauve".to_owned()))
        );
        assert_eq!(marked(&[]), Err(ColourError::Count(0)));
        assert_eq!(marked(&[Colour::Red; 7]), Err(ColourError::Count(7)));
        let reversed = colours("silver yellow violet yellow").unwrap();
        let problem = marked(&reversed).unwrap_err();
        assert!(problem.to_string().contains("other end"), "{problem}");
        assert!(marked(&colours("red red red black").unwrap()).is_err());
        assert_eq!(colours("Gray, PURPLE-red").unwrap().len(), 3);
    }
}
