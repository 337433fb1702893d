//! Numbers that were typed, not traced: how fine they are, and whether they can be worked with.

use crate::sheet::Sheet;

/// A number as typed, with the size of its last digit (`11.2` has a digit of 0.1).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Typed {
    /// In the SI unit.
    pub value: f64,
    /// Size of the last digit, same unit; 0 for one that is exact.
    pub digit: f64,
}

impl Typed {
    /// A number that is exact as it stands.
    #[must_use]
    pub fn exact(value: f64) -> Self {
        Self { value, digit: 0.0 }
    }
}

impl From<f64> for Typed {
    fn from(value: f64) -> Self {
        Self::exact(value)
    }
}

/// A number above zero that is finite; anything else is missing, and the sheet says what to type.
pub(crate) fn positive(
    sheet: &mut Sheet,
    given: Option<f64>,
    what: &str,
    remedy: &str,
) -> Option<f64> {
    match given {
        Some(value) if value.is_finite() && value > 0.0 => Some(value),
        Some(_) => {
            sheet.missing(format!("{what} as a number above zero"), remedy.to_owned());
            None
        }
        None => {
            sheet.missing(what, remedy);
            None
        }
    }
}

/// The same where nothing typed is nothing missing.
pub(crate) fn positive_if_given(
    sheet: &mut Sheet,
    given: Option<f64>,
    what: &str,
    remedy: &str,
) -> Option<f64> {
    given?;
    positive(sheet, given, what, remedy)
}
