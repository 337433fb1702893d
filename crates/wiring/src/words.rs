//! Words of one stop or line, and taking values from them.

use crate::diagnostic::Place;
use crate::lexer::TokenKind;
use crate::units::{Raw, ValueError, parse_raw, reads_as_number, reads_as_unit};

/// One token that means something, with its text and place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Word<'a> {
    /// What it is.
    pub(crate) kind: TokenKind,
    /// Its text; of a quoted one what stands between the quotes.
    pub(crate) text: &'a str,
    /// Where it stands.
    pub(crate) place: Place,
}

impl Word<'_> {
    /// A plain word?
    pub(crate) fn is_word(&self) -> bool {
        self.kind == TokenKind::Word
    }

    /// A plain word with this text?
    pub(crate) fn is(&self, text: &str) -> bool {
        self.is_word() && self.text == text
    }

    /// A word that begins a number?
    pub(crate) fn is_number(&self) -> bool {
        self.is_word() && reads_as_number(self.text)
    }
}

/// A number that was taken from the words, with its unit word if that stood apart.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Number {
    /// As typed, without the space before the unit.
    pub(crate) text: String,
    /// From the first digit to the end of the unit.
    pub(crate) place: Place,
    /// What it reads as.
    pub(crate) raw: Result<Raw, ValueError>,
}

/// A place that spans from one to another on the same line.
pub(crate) fn span(first: Place, last: Place) -> Place {
    Place {
        end: last.end.max(first.end),
        ..first
    }
}

/// The words that are left of a description.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Words<'w, 'a> {
    list: &'w [Word<'a>],
}

impl<'w, 'a> Words<'w, 'a> {
    /// All these words.
    pub(crate) fn new(list: &'w [Word<'a>]) -> Self {
        Self { list }
    }

    /// What is left.
    pub(crate) fn rest(&self) -> &'w [Word<'a>] {
        self.list
    }

    /// The next word.
    pub(crate) fn peek(&self) -> Option<Word<'a>> {
        self.list.first().copied()
    }

    /// The word after the next.
    pub(crate) fn peek_second(&self) -> Option<Word<'a>> {
        self.list.get(1).copied()
    }

    /// Takes the next word.
    pub(crate) fn take(&mut self) -> Option<Word<'a>> {
        let (first, rest) = self.list.split_first()?;
        self.list = rest;
        Some(*first)
    }

    /// Takes the next word if it is this one.
    pub(crate) fn take_word(&mut self, text: &str) -> Option<Word<'a>> {
        self.peek().filter(|w| w.is(text))?;
        self.take()
    }

    /// Takes the next word if it is of this kind.
    pub(crate) fn take_kind(&mut self, kind: TokenKind) -> Option<Word<'a>> {
        self.peek().filter(|w| w.kind == kind)?;
        self.take()
    }

    /// Takes a quoted text.
    pub(crate) fn take_quoted(&mut self) -> Option<Word<'a>> {
        self.peek()
            .filter(|w| matches!(w.kind, TokenKind::Quoted { .. }))?;
        self.take()
    }

    /// Takes a number with its unit, which may stand apart (`5 W`, `10 k ohm`).
    pub(crate) fn take_number(&mut self) -> Option<Number> {
        let first = self.peek().filter(Word::is_number)?;
        self.take();
        let mut number = Number {
            text: first.text.to_owned(),
            place: first.place,
            raw: parse_raw(first.text),
        };
        while let Some(next) = self.peek() {
            let has_unit = number.raw.as_ref().is_ok_and(|raw| raw.unit.is_some());
            if has_unit || !next.is_word() || !reads_as_unit(next.text) {
                break;
            }
            if number.raw.is_err() {
                // The unit belongs to the number all the same, and makes a better offer.
                self.take();
                number.text.push_str(next.text);
                number.place = span(number.place, next.place);
                number.raw = parse_raw(&number.text);
                break;
            }
            let text = format!("{}{}", number.text, next.text);
            let joined = parse_raw(&text);
            match &joined {
                Ok(_) | Err(ValueError::MilliOrMicro { .. }) => {}
                Err(_) => break,
            }
            self.take();
            number = Number {
                text,
                place: span(number.place, next.place),
                raw: joined,
            };
        }
        Some(number)
    }

    /// The part up to the next token of this kind, which is taken too; all the rest if there is none.
    pub(crate) fn take_until(&mut self, kind: TokenKind) -> Words<'w, 'a> {
        let at = self.list.iter().position(|w| w.kind == kind);
        let (before, after) = match at {
            Some(at) => (&self.list[..at], &self.list[at + 1..]),
            None => (self.list, &self.list[self.list.len()..]),
        };
        self.list = after;
        Words { list: before }
    }
}
