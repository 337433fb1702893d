//! The numbers of a law that stands in a sheet itself: a type that somebody fitted on their own bench.
//!
//! Knows which numbers each set of equations needs and where they make sense; the equations live
//! beside the solver.

use super::types::Origin;
use serde::Serialize;

/// The equations that the numbers are for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum LawForm {
    /// Equation set T.
    Triode,
    /// Equation set P.
    Pentode,
    /// One plate of a rectifier.
    Rectifier,
}

/// A number with its least and largest value.
type Range = (&'static str, f64, f64);

const TRIODE: [Range; 10] = [
    ("k", 1e-9, 10.0),
    ("mu", 1.0, 1000.0),
    ("x", 0.5, 3.0),
    ("w0", 1e-3, 10.0),
    ("w1", 0.0, 1.0),
    ("v0", -5.0, 5.0),
    ("vb", 0.1, 1000.0),
    ("d", 1e-4, 100.0),
    ("wg", 1e-3, 10.0),
    ("vg0", -5.0, 5.0),
];

// With these ends no current can turn negative: the screen's share stays below 1.
const PENTODE: [Range; 15] = [
    ("k", 1e-9, 10.0),
    ("mu", 1.0, 1000.0),
    ("x", 0.5, 3.0),
    ("w0", 1e-3, 10.0),
    ("w1", 0.0, 1.0),
    ("lam", 0.0, 1.0),
    ("s", 0.0, 0.49),
    ("m", 0.0, 1.0),
    ("vmin", 0.01, 500.0),
    ("v1", 0.0, 5000.0),
    ("n", 0.5, 20.0),
    ("r0", 0.0, 1.0),
    ("d", 1e-4, 100.0),
    ("wg", 1e-3, 10.0),
    ("vg0", -5.0, 5.0),
];

const RECTIFIER: [Range; 1] = [("perveance", 1e-8, 1.0)];

impl LawForm {
    /// As written in a file.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Triode => "triode",
            Self::Pentode => "pentode",
            Self::Rectifier => "rectifier",
        }
    }

    fn ranges(self) -> &'static [Range] {
        match self {
            Self::Triode => &TRIODE,
            Self::Pentode => &PENTODE,
            Self::Rectifier => &RECTIFIER,
        }
    }

    /// The names of its numbers, in the order of a file.
    pub fn names(self) -> impl Iterator<Item = &'static str> {
        self.ranges().iter().map(|(name, _, _)| *name)
    }
}

/// What the rows behind a law cover: least and most. SI units.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct LawCovers {
    /// Plate volts.
    pub plate_volts: Option<(f64, f64)>,
    /// Screen volts.
    pub screen_volts: Option<(f64, f64)>,
    /// Grid volts.
    pub grid_volts: Option<(f64, f64)>,
    /// Plate amperes.
    pub plate_amps: Option<(f64, f64)>,
}

/// A law's numbers with what they rest on.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SheetLaw {
    /// The section it is for; none: each.
    pub section: Option<char>,
    /// The equations.
    pub form: LawForm,
    /// The numbers by name, all of them, each within its range.
    pub numbers: Vec<(&'static str, f64)>,
    /// What the rows cover.
    pub covers: LawCovers,
    /// What the fit rests on, in words.
    pub fit: String,
    /// The type it is of, where a sheet has the curves of another.
    pub of: Option<String>,
    /// Where it is from and how sure.
    pub origin: Origin,
}

impl SheetLaw {
    /// A number by its name.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<f64> {
        self.numbers
            .iter()
            .find(|(n, _)| *n == name)
            .map(|(_, value)| *value)
    }
}

const COVERS: [&str; 4] = ["plate_volts", "screen_volts", "grid_volts", "plate_ma"];

/// Reads one `law` table; `origin` is from its own `confidence` and `source`.
pub(super) fn read(
    table: &toml::Table,
    number: &dyn Fn(&toml::Value) -> Option<f64>,
    origin: Origin,
) -> Result<SheetLaw, String> {
    let word = |key: &str| table.get(key).and_then(toml::Value::as_str);
    let form = match word("equations") {
        Some("triode") => LawForm::Triode,
        Some("pentode") => LawForm::Pentode,
        Some("rectifier") => LawForm::Rectifier,
        _ => return Err("a law needs `equations`: triode, pentode or rectifier".into()),
    };
    let section = match word("section") {
        None if table.contains_key("section") => {
            return Err("the `section` of a law is a letter, as on its pins".into());
        }
        None => None,
        Some(text) => match text.chars().next() {
            Some(c) if text.len() == 1 && c.is_ascii_lowercase() => Some(c),
            _ => return Err(format!("`{text}` is no section of a law")),
        },
    };
    let mut numbers = Vec::new();
    for (name, least, most) in form.ranges() {
        let value = table
            .get(*name)
            .ok_or_else(|| format!("the law of a {} needs the number `{name}`", form.word()))?;
        let value = number(value)
            .filter(|v| (*least..=*most).contains(v))
            .ok_or_else(|| format!("the law's `{name}` must be a number from {least} to {most}"))?;
        numbers.push((*name, value));
    }
    let span = |key: &str, factor: f64| -> Result<Option<(f64, f64)>, String> {
        let Some(value) = table.get(key) else {
            return Ok(None);
        };
        match value.as_array().map(Vec::as_slice) {
            Some([a, b]) => match (number(a), number(b)) {
                (Some(a), Some(b)) if a <= b => Ok(Some((a * factor, b * factor))),
                _ => Err(format!("the law's `{key}` is two numbers, the lower first")),
            },
            _ => Err(format!("the law's `{key}` is two numbers, the lower first")),
        }
    };
    let covers = LawCovers {
        plate_volts: span("plate_volts", 1.0)?,
        screen_volts: span("screen_volts", 1.0)?,
        grid_volts: span("grid_volts", 1.0)?,
        plate_amps: span("plate_ma", 1e-3)?,
    };
    let known = |key: &str| {
        ["equations", "section", "fit", "confidence", "source"].contains(&key)
            || COVERS.contains(&key)
            || form.names().any(|name| name == key)
    };
    if let Some(strange) = table.keys().find(|key| !known(key)) {
        return Err(format!(
            "the law of a {} has no number `{strange}`",
            form.word()
        ));
    }
    Ok(SheetLaw {
        section,
        form,
        numbers,
        covers,
        fit: word("fit")
            .ok_or("a law needs `fit`: what it rests on, in words")?
            .to_owned(),
        of: None,
        origin,
    })
}
