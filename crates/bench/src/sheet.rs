//! The common form of every bench sheet.
//!
//! A sheet is what the technician takes to the chassis: sections of lines, each with what is
//! expected, what was read, the limit, where the limit is from, and an outcome. Table, JSON, CSV
//! and page all show this one struct. It computes nothing and knows no amplifier.
//!
//! A line cannot pass without a reading or an answer: [`Line`] keeps its outcome to itself, and only
//! [`Line::read`] and [`Line::answered`] can make it [`Outcome::Pass`]. A sheet cannot be without its
//! caution: [`Sheet::new`] puts it in, and nothing takes it out.

mod figure;
mod line;
mod origin;
mod print;

/// With a capital, as a sentence begins.
pub(crate) fn capital(words: &str) -> String {
    let mut chars = words.chars();
    chars
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

#[cfg(test)]
mod tests;

pub use figure::{Bound, Expected, Figure, Limit};
pub use line::{Line, Outcome};
pub use origin::{Origin, OriginKind};

use crate::rules::STANDARD_CAUTION;
use serde::Serialize;
use wiring::assume::Assumed;

/// One sheet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sheet {
    /// Short name, the command that prints it (`bias`).
    pub name: String,
    /// Heading in words.
    pub title: String,
    /// Whose sheet it is: the amplifier's name and serial, when known.
    pub subject: Option<String>,
    /// Under what conditions it holds: mains, valves, meter, settings; a phrase each.
    pub conditions: Vec<String>,
    /// The lines, in groups.
    pub sections: Vec<Section>,
    /// What of the wiring is still assumed; none on a sheet of typed numbers alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub assumed: Option<Assumed>,
    /// What could not be said, and what to type or measure for it.
    pub missing: Vec<Missing>,
    /// What else is worth knowing.
    pub notes: Vec<String>,
    caution: &'static str,
}

/// Lines that belong together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Section {
    /// Heading; empty on a sheet of one section.
    pub title: String,
    /// The lines in their order.
    pub lines: Vec<Line>,
}

/// Something that is not known yet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Missing {
    /// What.
    pub what: String,
    /// What to type, trace or measure.
    pub remedy: String,
}

impl Sheet {
    /// An empty sheet with the standard caution.
    #[must_use]
    pub fn new(name: impl Into<String>, title: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            title: title.into(),
            subject: None,
            conditions: Vec::new(),
            sections: Vec::new(),
            assumed: None,
            missing: Vec::new(),
            notes: Vec::new(),
            caution: STANDARD_CAUTION,
        }
    }

    /// The caution that stands on it, word for word.
    #[must_use]
    pub fn caution(&self) -> &str {
        self.caution
    }

    /// Adds a section; one without lines is left out.
    pub fn section(&mut self, title: impl Into<String>, lines: Vec<Line>) {
        if !lines.is_empty() {
            self.sections.push(Section {
                title: title.into(),
                lines,
            });
        }
    }

    /// Says what is missing, once.
    pub fn missing(&mut self, what: impl Into<String>, remedy: impl Into<String>) {
        let missing = Missing {
            what: what.into(),
            remedy: remedy.into(),
        };
        if !self.missing.contains(&missing) {
            self.missing.push(missing);
        }
    }

    /// Adds a note, once.
    pub fn note(&mut self, text: impl Into<String>) {
        let text = text.into();
        if !self.notes.contains(&text) {
            self.notes.push(text);
        }
    }

    /// Every line.
    pub fn lines(&self) -> impl Iterator<Item = &Line> {
        self.sections.iter().flat_map(|s| &s.lines)
    }

    /// How many lines have an outcome.
    #[must_use]
    pub fn count(&self, outcome: Outcome) -> usize {
        self.lines().filter(|l| l.outcome() == outcome).count()
    }
}
