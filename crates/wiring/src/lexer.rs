//! Lines and tokens of a wiring text, losslessly.
//!
//! [`lines`] cuts a text at any line ending (`\n`, `\r\n`, `\r`). The tokens of a line
//! cover every byte of it, in order, without gaps, spaces and comments included: writing
//! out `token.text(line.text)` of all tokens and then `line.ending` gives back the file.
//! Knows words, quotes, brackets and comments; knows nothing of parts or values.
//!
//! What splits:
//! - A dash (`-`, or a typographic one) with white space or a line end on both sides is a
//!   [`TokenKind::Dash`]; any other dash is part of its word (`275-0-275`, `-20+50%`).
//! - `[`, `]`, `|`, `=`, and a leading `@`, are tokens wherever they stand.
//! - `,`, `:` and `;` are tokens only before white space, a comment or a line end (`8k:8`, `4,7k` are words).
//! - `?` is a token only when it stands alone.
//! - `#` starts a comment only before white space or a line end (`#47` is a word).
//! - The heading words of [`FREE_TEXT`] at the start of a line make the rest of it, up to
//!   a comment, one [`TokenKind::FreeText`]; quotes and brackets mean nothing there. A bare
//!   dash after the word makes the line a walk instead (which then complains of the word).
//!
//! Ruling: a comment starts even directly behind a word (`R1 1M# so`), because the rule
//! looks only at what follows the `#`; inside quotes there are no comments.

use crate::diagnostic::Place;

/// Words that make the rest of their line free text.
pub const FREE_TEXT: [&str; 10] = [
    "amp", "maker", "serial", "year", "state", "drawing", "note", "readings", "heard", "seen",
];

/// What a token is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum TokenKind {
    /// White space: blanks, tabs, non-breaking spaces.
    Space,
    /// `# ...` to the end of the line.
    Comment,
    /// Anything without white space that is not one of the others.
    Word,
    /// `"..."` with its quotes, straight or typographic; `closed` is false when the line ended first.
    Quoted {
        /// The closing quote was there.
        closed: bool,
    },
    /// A dash that separates stops.
    Dash,
    /// `[`.
    Open,
    /// `]`.
    Close,
    /// `|`.
    Bar,
    /// `,` before white space or line end.
    Comma,
    /// `:` before white space or line end.
    Colon,
    /// `;` before white space or line end.
    Semicolon,
    /// `=`.
    Equals,
    /// `@` at the start of a word.
    At,
    /// `?` alone.
    Question,
    /// The text of a heading line, without the white space around it.
    FreeText,
}

/// One token. Offsets count bytes from the start of the *line*.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Token {
    /// What it is.
    pub kind: TokenKind,
    /// First byte in the line.
    pub start: usize,
    /// One past the last byte in the line.
    pub end: usize,
    /// Column of the first character, from 1, in characters.
    pub column: usize,
}

impl Token {
    /// The token's text, given its line's text.
    #[must_use]
    pub fn text<'a>(&self, line: &'a str) -> &'a str {
        line.get(self.start..self.end).unwrap_or_default()
    }

    /// What stands between the quotes of a [`TokenKind::Quoted`]; the text itself of any other.
    #[must_use]
    pub fn content<'a>(&self, line: &'a str) -> &'a str {
        let text = self.text(line);
        match self.kind {
            TokenKind::Quoted { closed } => {
                let inner = text.strip_prefix(is_quote).unwrap_or(text);
                if closed {
                    inner.strip_suffix(is_quote).unwrap_or(inner)
                } else {
                    inner
                }
            }
            _ => text,
        }
    }

    /// Neither white space nor comment.
    #[must_use]
    pub fn is_significant(&self) -> bool {
        !matches!(self.kind, TokenKind::Space | TokenKind::Comment)
    }
}

/// One line of a text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line<'a> {
    /// Line number, from 1.
    pub number: usize,
    /// Byte offset of the line in its text.
    pub start: usize,
    /// The line without its ending.
    pub text: &'a str,
    /// `"\n"`, `"\r\n"`, `"\r"`, or empty at the end of the text.
    pub ending: &'a str,
    /// All tokens, covering `text` without gaps.
    pub tokens: Vec<Token>,
}

impl Line<'_> {
    /// Tokens that mean something.
    pub fn significant(&self) -> impl Iterator<Item = &Token> {
        self.tokens.iter().filter(|t| t.is_significant())
    }

    /// The comment with its `#`, if there is one.
    #[must_use]
    pub fn comment(&self) -> Option<&str> {
        self.tokens
            .last()
            .filter(|t| t.kind == TokenKind::Comment)
            .map(|t| t.text(self.text))
    }

    /// Where a token stands in the file of this index.
    #[must_use]
    pub fn place(&self, token: &Token, file: usize) -> Place {
        Place {
            file,
            line: self.number,
            column: token.column,
            start: self.start + token.start,
            end: self.start + token.end,
        }
    }
}

/// Is this a dash in any of its shapes (hyphen, figure dash, en, em, minus)?
#[must_use]
pub fn is_dash(c: char) -> bool {
    matches!(
        c,
        '-' | '\u{2010}'..='\u{2015}' | '\u{2212}' | '\u{fe58}' | '\u{fe63}' | '\u{ff0d}'
    )
}

/// White space of any kind, the byte-order mark and zero-width blanks included.
#[must_use]
pub fn is_space(c: char) -> bool {
    c.is_whitespace() || matches!(c, '\u{feff}' | '\u{200b}' | '\u{2060}')
}

fn is_quote(c: char) -> bool {
    matches!(c, '"' | '\u{201c}' | '\u{201d}' | '\u{201e}')
}

/// Cuts a text into lines and their tokens.
///
/// ```
/// use wiring::lexer::{lines, TokenKind};
/// let lines = lines("V1.1 - R4 100k - B3 # load\r\n");
/// let kinds: Vec<_> = lines[0].significant().map(|t| t.kind).collect();
/// assert_eq!(kinds[1], TokenKind::Dash);
/// assert_eq!(lines[0].comment(), Some("# load"));
/// ```
#[must_use]
pub fn lines(text: &str) -> Vec<Line<'_>> {
    let mut out = Vec::new();
    let mut start = 0;
    while start < text.len() {
        let rest = text.get(start..).unwrap_or_default();
        let (length, ending) = match rest.find(['\n', '\r']) {
            None => (rest.len(), 0),
            Some(at) if rest[at..].starts_with("\r\n") => (at, 2),
            Some(at) => (at, 1),
        };
        let line = &rest[..length];
        out.push(Line {
            number: out.len() + 1,
            start,
            text: line,
            ending: &rest[length..length + ending],
            tokens: tokens(line),
        });
        start += length + ending;
    }
    out
}

/// Walks through a line by characters, counting columns.
struct Scanner<'a> {
    line: &'a str,
    at: usize,
    column: usize,
    tokens: Vec<Token>,
}

impl Scanner<'_> {
    fn rest(&self) -> &str {
        self.line.get(self.at..).unwrap_or_default()
    }

    fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    /// Takes characters while `more` holds for what lies ahead, as one token.
    fn take(&mut self, kind: TokenKind, length: usize) {
        let end = (self.at + length).min(self.line.len());
        let text = self.line.get(self.at..end).unwrap_or_default();
        if text.is_empty() {
            return;
        }
        self.tokens.push(Token {
            kind,
            start: self.at,
            end,
            column: self.column,
        });
        self.column += text.chars().count();
        self.at = end;
    }
}

/// Is the text at its end, or before white space?
fn ends_word(text: &str) -> bool {
    text.chars().next().is_none_or(is_space)
}

fn starts_comment(text: &str) -> bool {
    text.strip_prefix('#').is_some_and(ends_word)
}

/// Length in bytes of the run of characters that are white space.
fn space_length(text: &str) -> usize {
    text.char_indices()
        .find(|(_, c)| !is_space(*c))
        .map_or(text.len(), |(at, _)| at)
}

/// Length in bytes of the word at the start of a text.
fn word_length(text: &str) -> usize {
    for (at, c) in text.char_indices() {
        let here = text.get(at..).unwrap_or_default();
        let behind = text.get(at + c.len_utf8()..).unwrap_or_default();
        let stop = match c {
            '[' | ']' | '|' | '=' => true,
            c if is_space(c) || is_quote(c) => true,
            ',' | ':' | ';' => ends_word(behind) || starts_comment(behind),
            '#' => starts_comment(here),
            _ => false,
        };
        if stop {
            return at;
        }
    }
    text.len()
}

fn tokens(line: &str) -> Vec<Token> {
    let mut s = Scanner {
        line,
        at: 0,
        column: 1,
        tokens: Vec::new(),
    };
    let mut first = true;
    while let Some(c) = s.peek() {
        if is_space(c) {
            let n = space_length(s.rest());
            s.take(TokenKind::Space, n);
            continue;
        }
        if starts_comment(s.rest()) {
            let n = s.rest().len();
            s.take(TokenKind::Comment, n);
            continue;
        }
        let width = c.len_utf8();
        let behind = s.rest().get(width..).unwrap_or_default();
        let single = match c {
            '[' => Some(TokenKind::Open),
            ']' => Some(TokenKind::Close),
            '|' => Some(TokenKind::Bar),
            '=' => Some(TokenKind::Equals),
            '@' => Some(TokenKind::At),
            ',' if ends_word(behind) || starts_comment(behind) => Some(TokenKind::Comma),
            ':' if ends_word(behind) || starts_comment(behind) => Some(TokenKind::Colon),
            ';' if ends_word(behind) || starts_comment(behind) => Some(TokenKind::Semicolon),
            '?' if ends_word(behind) => Some(TokenKind::Question),
            c if is_dash(c) && ends_word(behind) => Some(TokenKind::Dash),
            _ => None,
        };
        if let Some(kind) = single {
            s.take(kind, width);
        } else if is_quote(c) {
            let closing = behind.find(is_quote);
            let n = match closing {
                Some(at) => {
                    let end = behind.get(at..).and_then(|b| b.chars().next());
                    width + at + end.map_or(0, char::len_utf8)
                }
                None => s.rest().len(),
            };
            let closed = closing.is_some();
            s.take(TokenKind::Quoted { closed }, n);
        } else {
            let n = word_length(s.rest()).max(width);
            let word = s.rest().get(..n).unwrap_or_default();
            let free = first && FREE_TEXT.contains(&word);
            s.take(TokenKind::Word, n);
            if free {
                free_text(&mut s);
            }
        }
        first = false;
    }
    s.tokens
}

/// The rest of a heading line, up to its comment.
fn free_text(s: &mut Scanner<'_>) {
    let n = space_length(s.rest());
    s.take(TokenKind::Space, n);
    let rest = s.rest();
    let mut chars = rest.chars();
    if chars.next().is_some_and(is_dash) && ends_word(chars.as_str()) {
        return;
    }
    let end = rest
        .char_indices()
        .find(|(at, c)| *c == '#' && starts_comment(rest.get(*at..).unwrap_or_default()))
        .map_or(rest.len(), |(at, _)| at);
    let n = rest
        .get(..end)
        .unwrap_or_default()
        .trim_end_matches(is_space)
        .len();
    s.take(TokenKind::FreeText, n);
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn shape(line: &str) -> String {
        let lines = lines(line);
        lines[0]
            .significant()
            .map(|t| match t.kind {
                TokenKind::Word => format!("w({})", t.text(line)),
                TokenKind::Quoted { .. } => format!("q({})", t.content(line)),
                TokenKind::FreeText => format!("f({})", t.text(line)),
                TokenKind::Dash => "-".to_owned(),
                _ => t.text(line).to_owned(),
            })
            .collect::<Vec<_>>()
            .join(" ")
    }

    #[test]
    fn dashes_split_only_between_spaces() {
        assert_eq!(
            shape("T1.hv1 – [R3 -20+50% | +C1] — B-"),
            "w(T1.hv1) - [ w(R3) w(-20+50%) | w(+C1) ] - w(B-)"
        );
        assert_eq!(shape("V1.1 -"), "w(V1.1) -");
        assert_eq!(shape("\u{a0}V1.1\u{a0}-\tB1"), "w(V1.1) - w(B1)");
    }

    #[test]
    fn separators_split_only_at_the_end_of_a_word() {
        assert_eq!(
            shape("T1 power 230 V: hv 275-0-275 V, b 8k:8 4,7k"),
            "w(T1) w(power) w(230) w(V) : w(hv) w(275-0-275) w(V) , w(b) w(8k:8) w(4,7k)"
        );
    }

    #[test]
    fn comments_need_a_space_and_respect_quotes() {
        assert_eq!(shape("DS1 lamp #47 # pilot"), "w(DS1) w(lamp) w(#47)");
        assert_eq!(shape("R1 1M \"no # here\" #"), "w(R1) w(1M) q(no # here)");
        assert_eq!(shape("R1 1M# so"), "w(R1) w(1M)");
    }

    #[test]
    fn heading_lines_keep_their_text_whole() {
        assert_eq!(shape("amp  Pip [12\" - 2] # x"), "w(amp) f(Pip [12\" - 2])");
        assert_eq!(shape("note - B1"), "w(note) - w(B1)");
        assert_eq!(shape("readings"), "w(readings)");
    }

    #[test]
    fn columns_count_characters_and_offsets_bytes() {
        let text = "Ω µ R4";
        let lines = lines(text);
        let last = lines[0].tokens.last().unwrap();
        assert_eq!((last.column, last.start), (5, 6));
    }

    #[test]
    fn any_line_ending_counts_one_line() {
        let lines = lines("a\r\nb\rc\n\nd");
        let texts: Vec<_> = lines.iter().map(|l| (l.number, l.text)).collect();
        assert_eq!(texts, [(1, "a"), (2, "b"), (3, "c"), (4, ""), (5, "d")]);
    }

    proptest! {
        #[test]
        fn tokens_cover_every_byte(text in "(\\PC|[-\\[\\]|=@?#,:;\" \r\n\t\u{a0}\u{2013}]){0,80}") {
            let mut again = String::new();
            for line in lines(&text) {
                let mut at = 0;
                for token in &line.tokens {
                    prop_assert_eq!(token.start, at);
                    prop_assert_eq!(token.column, line.text[..at].chars().count() + 1);
                    at = token.end;
                    again.push_str(token.text(line.text));
                }
                prop_assert_eq!(at, line.text.len());
                again.push_str(line.ending);
            }
            prop_assert_eq!(again, text);
        }
    }
}
