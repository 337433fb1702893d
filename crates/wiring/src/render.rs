//! Drawing a diagnostic as plain text.

use crate::diagnostic::Diagnostic;
use crate::lexer;
use crate::read::Text;
use std::fmt::Write as _;

/// A source line longer than this is cut around the place, so that it fits a terminal of
/// 80 columns with its line number and the dots on both sides.
const WIDEST: usize = 62;

impl Diagnostic {
    /// The diagnostic as four or more plain lines: code and place, the source line, the
    /// sentence, the advice; no colour, no line end at the end.
    ///
    /// ```
    /// use wiring::{read, Text, sheet::Library};
    /// let texts = [Text { name: "stage.wiring", text: "VR1.2 - B1\nB1 - R1 1k - ground" }];
    /// let read = read(&texts, Library::built_in());
    /// assert_eq!(read.problems[0].render(&texts), "\
    /// unknown-kind, stage.wiring line 1 column 1
    ///   1  VR1.2 - B1
    ///      `VR1` looks like a part, but nothing says what it is.
    ///      Add `VR1 pot 1M audio`, or name it as a point without a dot.");
    /// ```
    #[must_use]
    pub fn render(&self, texts: &[Text<'_>]) -> String {
        let mut out = String::new();
        let at = |place: crate::Place| match texts.get(place.file).map(|t| t.name) {
            Some(name) if !name.is_empty() => format!("{name} line {}", place.line),
            _ => format!("line {}", place.line),
        };
        let _ = write!(
            out,
            "{}, {} column {}",
            self.code,
            at(self.place),
            self.place.column
        );
        let gutter = " ".repeat(self.place.line.to_string().len() + 4);
        if let Some(line) = source(texts, self.place) {
            let _ = write!(out, "\n  {}  {line}", self.place.line);
        }
        let _ = write!(out, "\n{gutter}{}", self.message);
        if !self.advice.is_empty() {
            let _ = write!(out, "\n{gutter}{}", self.advice);
        }
        if let Some(also) = self.also {
            let _ = write!(out, "\n{gutter}See also {}", at(also));
            if let Some(line) = source(texts, also) {
                let _ = write!(out, ":\n  {}  {line}", also.line);
            }
        }
        out
    }
}

/// The line of a place without its indentation, shortened around the column when it is long.
fn source(texts: &[Text<'_>], place: crate::Place) -> Option<String> {
    let text = texts.get(place.file)?.text;
    let before = text.get(..place.start)?;
    let start = before.rfind(['\n', '\r']).map_or(0, |at| at + 1);
    let rest = text.get(start..)?;
    let end = rest.find(['\n', '\r']).unwrap_or(rest.len());
    let line = rest.get(..end)?.trim_matches(lexer::is_space);
    let shown: String = line
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    let length = shown.chars().count();
    if length <= WIDEST {
        return Some(shown);
    }
    let from = place.column.saturating_sub(WIDEST / 2).min(length - WIDEST);
    let part: String = shown.chars().skip(from).take(WIDEST).collect();
    let left = if from > 0 { "... " } else { "" };
    let right = if from + WIDEST < length { " ..." } else { "" };
    Some(format!("{left}{part}{right}"))
}
