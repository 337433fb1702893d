//! Where a line's figure or limit comes from.

use crate::rules::{SourceKind, rules};
use serde::Serialize;
use std::fmt;

/// How far an origin can be trusted, in a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum OriginKind {
    /// Read on this amplifier.
    Measured,
    /// From formulas and the figures typed or traced.
    Computed,
    /// A valve's or part's data sheet.
    DataSheet,
    /// Taken for granted, because nothing better is known.
    Assumed,
    /// Common practice, no source.
    Practice,
    /// Remembered of a standard or book, not seen.
    Memory,
    /// Seen on a page that is not the source.
    SecondHand,
    /// Seen in stored public text.
    Verified,
}

/// Where a figure or a limit is from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Origin {
    /// In a word.
    pub kind: OriginKind,
    /// The rule that it follows, by its id.
    pub rule: Option<String>,
    /// In full: the source and how far it was seen, or the formula.
    pub text: String,
}

impl Origin {
    fn plain(kind: OriginKind, text: impl Into<String>) -> Self {
        Self {
            kind,
            rule: None,
            text: text.into(),
        }
    }

    /// A rule of the bench, with its source and how far that was seen.
    #[must_use]
    pub fn rule(id: &str) -> Self {
        let Some(rule) = rules().rule(id) else {
            return Self {
                kind: OriginKind::Assumed,
                rule: Some(id.to_owned()),
                text: "this rule is not in the program's rules".to_owned(),
            };
        };
        let kind = match rule.source_kind {
            SourceKind::Verified => OriginKind::Verified,
            SourceKind::SecondHand => OriginKind::SecondHand,
            SourceKind::Memory => OriginKind::Memory,
            SourceKind::Practice => OriginKind::Practice,
            SourceKind::Computed => OriginKind::Computed,
        };
        Self {
            kind,
            rule: Some(id.to_owned()),
            text: rule.source_words(),
        }
    }

    /// Read on this amplifier.
    #[must_use]
    pub fn measured() -> Self {
        Self::plain(OriginKind::Measured, "measured")
    }

    /// Computed; the formula or what it rests on.
    #[must_use]
    pub fn computed(how: impl Into<String>) -> Self {
        Self::plain(OriginKind::Computed, how)
    }

    /// A data sheet, cited in full with how far it was seen.
    #[must_use]
    pub fn data_sheet(cited: impl Into<String>) -> Self {
        Self::plain(OriginKind::DataSheet, cited)
    }

    /// A standard or book, cited with how far it was seen (`from memory, not seen`, `not verified in the
    /// original`, or an address); the kind follows from those words.
    #[must_use]
    pub fn cited(source: impl Into<String>) -> Self {
        let text = source.into();
        let kind = if text.contains("from memory") {
            OriginKind::Memory
        } else if text.contains("not verified") {
            OriginKind::SecondHand
        } else if text.contains("common practice") {
            OriginKind::Practice
        } else {
            OriginKind::Verified
        };
        Self::plain(kind, text)
    }

    /// Taken for granted, and why.
    #[must_use]
    pub fn assumed(why: impl Into<String>) -> Self {
        Self::plain(OriginKind::Assumed, why)
    }

    /// Common practice, no source.
    #[must_use]
    pub fn practice() -> Self {
        Self::plain(OriginKind::Practice, "common practice, no source")
    }

    /// From memory of a standard or book.
    #[must_use]
    pub fn memory(of: &str) -> Self {
        Self::plain(OriginKind::Memory, format!("from memory of {of}, not seen"))
    }
}

/// In full, as it stands in a list of sources: how it came about, the source, the rule.
impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let source = self.text.trim_end_matches('.');
        if self.kind == OriginKind::Computed && !source.starts_with("computed") {
            f.write_str("computed: ")?;
        }
        write!(f, "{source}.")?;
        match &self.rule {
            Some(rule) => write!(f, " Rule {rule}."),
            None => Ok(()),
        }
    }
}
