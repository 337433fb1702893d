//! `answer ITEM yes`, `answer ITEM no "why"`, `answer ITEM 0.08 ohm`: what a sheet asked.
//!
//! Which items there are is known by the sheets, not here; any name is kept.

use super::Reader;
use crate::codes;
use crate::readings::{Answer, Said, Shown};
use crate::words::{Word, Words};

/// May a question bear this name: letters, digits, and `-`, `_`, `.`, `+`, `/` between?
fn is_item(name: &str) -> bool {
    name.starts_with(|c: char| c.is_alphanumeric())
        && name
            .chars()
            .all(|c| c.is_alphanumeric() || matches!(c, '-' | '_' | '.' | '+' | '/'))
}

impl Reader<'_> {
    pub(super) fn answer(&mut self, first: Word<'_>, words: &mut Words<'_, '_>) {
        let Some(item) = words.take().filter(|w| w.is_word() && is_item(w.text)) else {
            self.answer_unclear(first, "cord");
            return;
        };
        let Some(said) = self.said(words) else {
            self.answer_unclear(words.peek().unwrap_or(first), item.text);
            return;
        };
        let note = words.take_quoted().map(|w| w.text.to_owned());
        if let Some(word) = words.peek() {
            self.problems.add(
                codes::ANSWER_UNCLEAR,
                word.place,
                format!("`{}` fits nowhere in an answer.", word.text),
                format!("Put a remark in quotes: `\"{}\"`.", word.text),
            );
        }
        self.block.answers.push(Answer {
            item: item.text.to_owned(),
            said,
            note,
            place: item.place,
        });
    }

    fn answer_unclear(&mut self, word: Word<'_>, item: &str) {
        self.problems.add(
            codes::ANSWER_UNCLEAR,
            word.place,
            format!("`{}` does not read as an answer.", word.text),
            format!(
                "Type `answer {item} yes`, `answer {item} no \"why\"`, or a figure like `answer {item} 0.08 ohm`."
            ),
        );
    }

    fn said(&mut self, words: &mut Words<'_, '_>) -> Option<Said> {
        if words.take_word("yes").is_some() {
            return Some(Said::Yes);
        }
        if words.take_word("no").is_some() {
            return Some(Said::No);
        }
        if words.take_word("OL").is_some() || words.take_word("ol").is_some() {
            let unit = unit(words);
            return Some(Said::Figure {
                shown: Shown::Over,
                unit,
                digit: 0.0,
            });
        }
        let sign = ["<", ">"]
            .into_iter()
            .find(|sign| words.take_word(sign).is_some());
        let number = words.take_number()?;
        let raw = match &number.raw {
            Ok(raw) => *raw,
            Err(error) => {
                self.problems
                    .value(error, number.place, &number.text, "answer ");
                return None;
            }
        };
        let ours = raw.unit.map(|u| u.symbol().to_owned());
        let alternating = ours.as_deref() == Some("V") && words.take_word("ac").is_some();
        let unit = match ours {
            Some(_) if alternating => Some("V ac".to_owned()),
            Some(unit) => Some(unit),
            None => unit(words),
        };
        Some(Said::Figure {
            shown: match sign {
                Some("<") => Shown::Below(raw.value),
                Some(_) => Shown::Above(raw.value),
                None => Shown::Number(raw.value),
            },
            unit,
            digit: raw.digit,
        })
    }
}

/// A word that may stand for a unit.
fn unit(words: &mut Words<'_, '_>) -> Option<String> {
    let word = words
        .peek()
        .filter(|w| w.is_word() && w.text.chars().count() <= 8)?;
    words.take();
    if word.text == "V" && words.take_word("ac").is_some() {
        return Some("V ac".to_owned());
    }
    Some(word.text.to_owned())
}
