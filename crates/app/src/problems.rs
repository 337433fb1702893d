//! Problems of a text, as the terminal and JSON show them.

use crate::table;
use serde::Serialize;
use wiring::{Diagnostic, Place, Severity};

/// A diagnostic with its file by name, as JSON gives it.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Problem {
    code: &'static str,
    severity: Severity,
    file: String,
    line: usize,
    column: usize,
    message: String,
    advice: String,
    also: Option<Spot>,
}

/// The other place of a clash.
#[derive(Debug, Clone, Serialize)]
struct Spot {
    file: String,
    line: usize,
    column: usize,
}

/// The diagnostics of one severity, in their order.
pub(crate) fn of(diagnostics: &[Diagnostic], severity: Severity, names: &[String]) -> Vec<Problem> {
    diagnostics
        .iter()
        .filter(|d| d.severity == severity)
        .map(|d| Problem {
            code: d.code,
            severity: d.severity,
            file: name(names, d.place),
            line: d.place.line,
            column: d.place.column,
            message: d.message.clone(),
            advice: d.advice.clone(),
            also: d.also.map(|place| Spot {
                file: name(names, place),
                line: place.line,
                column: place.column,
            }),
        })
        .collect()
}

/// Whether any of them is an error.
pub(crate) fn any_error(diagnostics: &[Diagnostic]) -> bool {
    diagnostics.iter().any(|d| d.severity == Severity::Error)
}

fn name(names: &[String], place: Place) -> String {
    names.get(place.file).cloned().unwrap_or_default()
}

/// A diagnostic with the line it is about, as the terminal shows it.
pub(crate) fn show(diagnostic: &Diagnostic, texts: &[(String, String)]) -> String {
    let texts: Vec<wiring::Text<'_>> = texts
        .iter()
        .map(|(name, text)| wiring::Text { name, text })
        .collect();
    let sort = match diagnostic.severity {
        Severity::Error => "error",
        Severity::Warning => "warning",
        Severity::Note => "note",
    };
    let mut out = String::new();
    for (i, line) in diagnostic.render(&texts).lines().enumerate() {
        let line = if i == 0 {
            format!("{sort}: {line}")
        } else {
            line.to_owned()
        };
        let text = line.trim_start();
        let indent = " ".repeat((line.len() - text.len()).min(16));
        out.push_str(&table::hanging(text, &indent, &indent));
    }
    out
}
