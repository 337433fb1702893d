//! Collecting problems while reading.

use crate::codes::{self, Code};
use crate::diagnostic::{Diagnostic, Place};
use crate::units::ValueError;

/// The problems found so far, in the order found.
#[derive(Debug, Default)]
pub(crate) struct Problems {
    list: Vec<Diagnostic>,
}

impl Problems {
    /// Adds one.
    pub(crate) fn add(
        &mut self,
        code: Code,
        place: Place,
        message: impl Into<String>,
        advice: impl Into<String>,
    ) {
        self.list.push(Diagnostic {
            code: code.name,
            severity: code.severity,
            place,
            message: clipped(message.into()),
            advice: clipped(advice.into()),
            also: None,
        });
    }

    /// Adds one that clashes with another place.
    pub(crate) fn clash(
        &mut self,
        code: Code,
        place: Place,
        other: Place,
        message: impl Into<String>,
        advice: impl Into<String>,
    ) {
        self.add(code, place, message, advice);
        if let Some(last) = self.list.last_mut() {
            last.also = Some(other);
        }
    }

    /// Adds one for a value that does not read. `before` is what stands before the value in
    /// the line (`R4 `), so that the advice can be typed as it stands.
    pub(crate) fn value(&mut self, error: &ValueError, place: Place, text: &str, before: &str) {
        let code = codes::find(error.code())
            .copied()
            .unwrap_or(codes::NOT_A_VALUE);
        let advice = match error {
            ValueError::WrongUnit { .. } => {
                "Check the unit, or name the part by what it is.".to_owned()
            }
            ValueError::NotAValue => {
                "Write values like `4k7`, `22n`, `.022`, `400V`, `1W`.".to_owned()
            }
            ValueError::OutOfRange { .. } => "Check the number and its letter.".to_owned(),
            ValueError::Negative => "Leave out the minus sign.".to_owned(),
            _ => match error.offers() {
                [] => "Write it with a letter, like `10k` or `22n`.".to_owned(),
                [one] => format!("Type `{before}{one}`."),
                [first, rest @ ..] => {
                    let mut text = format!("Type `{before}{first}`");
                    for other in rest {
                        text.push_str(&format!(" or `{before}{other}`"));
                    }
                    text.push('.');
                    text
                }
            },
        };
        self.add(code, place, format!("`{text}`: {error}."), advice);
    }

    /// How many there are.
    pub(crate) fn len(&self) -> usize {
        self.list.len()
    }

    /// All of them, by place; those at the same place in the order found.
    pub(crate) fn sorted(mut self) -> Vec<Diagnostic> {
        self.list
            .sort_by_key(|d| (d.place.file, d.place.line, d.place.column));
        self.list
    }
}

/// A sentence whose words are short enough to show: a word of thousands of letters, which is
/// quoted back to the technician, keeps its beginning.
fn clipped(sentence: String) -> String {
    const LONGEST_WORD: usize = 60;
    let is_short = |w: &str| w.len() <= LONGEST_WORD;
    if sentence.split(' ').all(is_short) {
        return sentence;
    }
    let words: Vec<String> = sentence
        .split(' ')
        .map(|word| {
            if is_short(word) {
                return word.to_owned();
            }
            let begin: String = word.chars().take(LONGEST_WORD / 2).collect();
            let end = if word.contains('`') { "...`" } else { "..." };
            format!("{begin}{end}")
        })
        .collect();
    words.join(" ")
}

/// `"a", "b" or "c"` with backticks, at most eight of them.
pub(crate) fn listed<S: AsRef<str>>(names: impl IntoIterator<Item = S>) -> String {
    let names: Vec<String> = names
        .into_iter()
        .take(16)
        .map(|n| format!("`{}`", n.as_ref()))
        .collect();
    match names.split_last() {
        None => String::new(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
    }
}
