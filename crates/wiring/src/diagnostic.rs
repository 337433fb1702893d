//! What is told to the technician about a text: a code, a place, one sentence, one thing to do.
//!
//! The value is ours and knows no terminal and no page; both draw it.

use serde::Serialize;

/// How much a diagnostic matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Worth knowing; half a tracing is full of these.
    Note,
    /// Probably a slip; the circuit is still understood.
    Warning,
    /// The line could not be understood; everything else was.
    Error,
}

/// Where in the text something stands.
///
/// `line` and `column` count from 1; the column counts Unicode scalar values.
/// `start..end` are byte offsets into the file's text, so that any edge (terminal,
/// page with UTF-16 units) can convert exactly.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize)]
pub struct Place {
    /// Index of the file in the order the files were joined.
    pub file: usize,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// First byte in the file.
    pub start: usize,
    /// One past the last byte.
    pub end: usize,
}

/// One finding about a text.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Diagnostic {
    /// Stable kebab-case code, listed in docs/notation.md (`unknown-kind`).
    pub code: &'static str,
    /// Error, warning or note.
    pub severity: Severity,
    /// Where it stands.
    pub place: Place,
    /// One sentence that says what is wrong.
    pub message: String,
    /// What to type or do instead.
    pub advice: String,
    /// The other place, when two lines clash.
    pub also: Option<Place>,
}
