//! Tidy text: the same wiring or readings, evenly spaced.
//!
//! Works on lines and tokens, never on the circuit, so nothing that was typed can be
//! lost: comments, order, spelling, values and line breaks stay. Only the space between
//! tokens changes, runs of blank lines shrink to one, and line ends become `\n`.
//! A line that the reader finds wrong in itself is left exactly as typed, because nobody knows
//! yet what it meant; so is a line whose tokens would change with its spaces. Free text
//! (headings, `heard`, quoted notes) keeps its inner spaces.

use crate::codes;
use crate::diagnostic::Severity;
use crate::lexer::{self, Token, TokenKind, is_space};
use std::fmt::Write as _;

/// A line longer than this does not push out the trailing comments of its neighbours.
const LONGEST_COMMENTED: usize = 56;

/// Formats a wiring or readings text.
///
/// Columns are aligned within a group of like lines: headings, described parts, readings.
/// Walks get single spaces. The result reads as the same circuit, and formatting it
/// again changes nothing.
///
/// ```
/// let tidy = wiring::format::format("R6   470 1W\nVOLUME pot 1M   # log\r\n\r\n\r\nB1  -  [ R9 1k5|C4 ] - B2");
/// assert_eq!(tidy, "R6      470 1W\nVOLUME  pot 1M  # log\n\nB1 - [R9 1k5 | C4] - B2\n");
/// ```
#[must_use]
pub fn format(text: &str) -> String {
    let bad = lines_in_error(text);
    let mut lines: Vec<Line> = Vec::new();
    let mut in_readings = false;
    for typed in lexer::lines(text) {
        match first_word(&typed) {
            Some("readings") => in_readings = true,
            Some("wiring") => in_readings = false,
            _ => {}
        }
        let line = if bad.binary_search(&typed.number).is_ok() {
            Line::kept(&typed)
        } else {
            Line::of(&typed, in_readings)
        };
        if line.body == Body::Blank && lines.last().is_none_or(|l| l.body == Body::Blank) {
            continue;
        }
        lines.push(line);
    }
    while lines.last().is_some_and(|l| l.body == Body::Blank) {
        lines.pop();
    }
    align(&mut lines);
    print(&lines)
}

/// One line, taken apart as far as spacing needs.
#[derive(Debug)]
struct Line {
    body: Body,
    /// From `#` to the end of the line; empty when there is none.
    comment: String,
    /// Column at which the second part begins, once aligned.
    column: usize,
}

#[derive(Debug, PartialEq)]
enum Body {
    /// Nothing, not even a comment.
    Blank,
    /// Only a comment.
    Comment,
    /// As typed.
    Kept(String),
    /// Single spaces: walks, `set` lines, `wiring`.
    Plain(String),
    /// First column and the rest, aligned with neighbours of the same sort.
    Columns(Sort, String, String),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Sort {
    Heading,
    Part,
    Reading,
}

impl Sort {
    /// A first column longer than this does not widen the column of its neighbours.
    fn longest_counted(self) -> usize {
        match self {
            Self::Heading | Self::Part => 12,
            // `B1 to B2` sets the column, `T1.heater1 to T1.heater2` sticks out of it.
            Self::Reading => 8,
        }
    }

    /// The narrowest first column, with its space.
    fn narrowest(self) -> usize {
        match self {
            Self::Heading | Self::Part => 8,
            Self::Reading => 10,
        }
    }
}

impl Line {
    fn new(body: Body, comment: &str) -> Self {
        Self {
            body,
            comment: comment.trim_end_matches(is_space).to_owned(),
            column: 0,
        }
    }

    fn kept(typed: &lexer::Line<'_>) -> Self {
        let open = TokenKind::Quoted { closed: false };
        let text = match typed.tokens.last() {
            None => return Self::new(Body::Blank, ""),
            Some(last) if last.kind == open => typed.text,
            Some(_) => typed.text.trim_end_matches(is_space),
        };
        Self::new(Body::Kept(text.to_owned()), "")
    }

    fn of(typed: &lexer::Line<'_>, in_readings: bool) -> Self {
        let tokens: Vec<&Token> = typed.significant().collect();
        let comment = typed.comment().unwrap_or_default();
        if tokens.is_empty() {
            let body = if comment.is_empty() {
                Body::Blank
            } else {
                Body::Comment
            };
            return Self::new(body, comment);
        }
        let open = TokenKind::Quoted { closed: false };
        if tokens.iter().any(|t| t.kind == open) {
            return Self::kept(typed);
        }
        let line = Self::new(Body::of(typed.text, &tokens, in_readings), comment);
        // `-[` is a word and a bracket, `- [` a dash and a bracket: where spaces would
        // change what the line says, the line stays as it is.
        if same_tokens(typed, &tokens, &print(std::slice::from_ref(&line))) {
            line
        } else {
            Self::kept(typed)
        }
    }

    fn has_trailing_comment(&self) -> bool {
        !self.comment.is_empty() && self.body != Body::Comment
    }

    /// The line without its trailing comment.
    fn text(&self) -> String {
        match &self.body {
            Body::Blank | Body::Comment => String::new(),
            Body::Kept(text) | Body::Plain(text) => text.clone(),
            Body::Columns(_, first, rest) if rest.is_empty() => first.clone(),
            Body::Columns(_, first, rest) => {
                let gap = self.column.saturating_sub(width(first)).max(2);
                format!("{first}{:gap$}{rest}", "")
            }
        }
    }
}

impl Body {
    fn of(line: &str, tokens: &[&Token], in_readings: bool) -> Self {
        let is_word = |at: usize, text: &str| {
            tokens
                .get(at)
                .is_some_and(|t| t.kind == TokenKind::Word && t.text(line) == text)
        };
        let columns = |sort, at: usize| {
            let (first, rest) = tokens.split_at(at.min(tokens.len()));
            Self::Columns(sort, joined(line, first), joined(line, rest))
        };
        if tokens.iter().any(|t| t.kind == TokenKind::Dash) {
            return Self::Plain(joined(line, tokens));
        }
        if is_word(0, "readings") {
            return columns(Sort::Reading, 1);
        }
        if in_readings {
            let pair = tokens.len() >= 3 && is_word(1, "to");
            return columns(Sort::Reading, if pair { 3 } else { 1 });
        }
        if tokens.iter().any(|t| t.kind == TokenKind::FreeText)
            || is_word(0, "mains")
            || is_word(0, "cord")
        {
            return columns(Sort::Heading, 1);
        }
        if is_word(0, "set") || is_word(0, "wiring") || is_word(1, "unused") {
            return Self::Plain(joined(line, tokens));
        }
        columns(Sort::Part, 1)
    }
}

/// Tokens with single spaces between them; brackets hug what they hold, commas and
/// colons the word before them.
fn joined(line: &str, tokens: &[&Token]) -> String {
    let mut out = String::new();
    let mut before: Option<TokenKind> = None;
    for token in tokens {
        let hugs = match (before, token.kind) {
            (None, _) => true,
            (Some(TokenKind::Dash), _) | (_, TokenKind::Dash) => false,
            (Some(TokenKind::Open), _) | (_, TokenKind::Close) => true,
            (
                Some(TokenKind::Word | TokenKind::Quoted { .. }),
                TokenKind::Comma | TokenKind::Colon | TokenKind::Semicolon,
            ) => true,
            _ => false,
        };
        if !hugs {
            out.push(' ');
        }
        out.push_str(token.text(line));
        before = Some(token.kind);
    }
    out
}

/// Whether a printed line has the tokens of the typed one.
fn same_tokens(typed: &lexer::Line<'_>, tokens: &[&Token], printed: &str) -> bool {
    let again = lexer::lines(printed);
    let [again] = again.as_slice() else {
        return false;
    };
    let comment = |line: &lexer::Line<'_>| {
        let comment = line.comment().unwrap_or_default();
        comment.trim_end_matches(is_space).to_owned()
    };
    comment(again) == comment(typed)
        && again.significant().count() == tokens.len()
        && again
            .significant()
            .zip(tokens)
            .all(|(a, b)| a.kind == b.kind && a.text(again.text) == b.text(typed.text))
}

/// Sets the second column of every aligned line.
fn align(lines: &mut [Line]) {
    let mut from = 0;
    while from < lines.len() {
        let Some(Body::Columns(sort, ..)) = lines.get(from).map(|l| &l.body) else {
            from += 1;
            continue;
        };
        let sort = *sort;
        // A comment or a line in error stands between its neighbours without parting them.
        let length = lines[from..]
            .iter()
            .take_while(|l| match &l.body {
                Body::Columns(other, ..) => *other == sort,
                Body::Comment | Body::Kept(_) => true,
                Body::Blank | Body::Plain(_) => false,
            })
            .count();
        let group = &mut lines[from..from + length];
        let widest = group
            .iter()
            .filter_map(|l| match &l.body {
                Body::Columns(_, first, _) => Some(width(first)),
                _ => None,
            })
            .filter(|w| *w <= sort.longest_counted())
            .max()
            .unwrap_or(0);
        let column = sort.narrowest().max(widest + 2);
        for line in group {
            line.column = column;
        }
        from += length;
    }
}

fn print(lines: &[Line]) -> String {
    let texts: Vec<String> = lines.iter().map(Line::text).collect();
    let mut out = String::new();
    let mut from = 0;
    while from < lines.len() {
        // Trailing comments of lines that follow each other share a column.
        let length = lines[from..]
            .iter()
            .take_while(|l| l.has_trailing_comment())
            .count();
        let run = from..from + length.max(1);
        let column = texts[run.clone()]
            .iter()
            .map(|t| width(t))
            .filter(|w| *w <= LONGEST_COMMENTED)
            .max()
            .map_or(0, |w| w + 2);
        for (line, text) in lines[run.clone()].iter().zip(&texts[run.clone()]) {
            out.push_str(text);
            if !line.comment.is_empty() {
                if !text.is_empty() {
                    let gap = column.saturating_sub(width(text)).max(2);
                    let _ = write!(out, "{:gap$}", "");
                }
                out.push_str(&line.comment);
            }
            out.push('\n');
        }
        from = run.end;
    }
    out
}

fn width(text: &str) -> usize {
    text.chars().count()
}

/// The word a line begins with, unless the line is a walk.
fn first_word<'a>(line: &lexer::Line<'a>) -> Option<&'a str> {
    let mut tokens = line.significant();
    let first = tokens.next().filter(|t| t.kind == TokenKind::Word)?;
    match tokens.next() {
        Some(second) if second.kind == TokenKind::Dash => None,
        _ => line.text.get(first.start..first.end),
    }
}

/// Errors that lie between lines, or between files: the line itself reads well.
const BETWEEN_LINES: [codes::Code; 16] = [
    codes::CASE_CLASH,
    codes::CONDITION_UNCLEAR,
    codes::UNKNOWN_KIND,
    codes::UNKNOWN_TERMINAL,
    codes::UNKNOWN_SECTION,
    codes::WHICH_SECTION,
    codes::DESCRIBED_DIFFERENTLY,
    codes::NOT_DESCRIBED,
    codes::VALVE_WITHOUT_TYPE,
    codes::LAMP_UNKNOWN,
    codes::MET_ELSEWHERE,
    codes::TURNED_ROUND,
    codes::APART_YET_JOINED,
    codes::MAINS_JOINED,
    codes::SET_UNKNOWN,
    codes::SET_UNCLEAR,
];

/// Numbers, from 1 and rising, of the lines that the reader reports as errors in themselves.
fn lines_in_error(text: &str) -> Vec<usize> {
    let between = |code: &str| BETWEEN_LINES.iter().any(|c| c.name == code);
    let mut lines: Vec<usize> = crate::read_one(text)
        .problems
        .iter()
        .filter(|p| p.severity == Severity::Error && !between(p.code))
        .map(|p| p.place.line)
        .collect();
    lines.sort_unstable();
    lines.dedup();
    lines
}

#[cfg(test)]
mod tests {
    use super::format;
    use proptest::prelude::*;

    fn check(text: &str, tidy: &str) {
        assert_eq!(format(text), tidy);
        assert_eq!(format(tidy), tidy, "a second time");
    }

    #[test]
    fn parts_and_headings_align_by_group() {
        check(
            "amp Marram Pip\nserial   00317\n\n\nV1 12AX7\nPRESENCE pot 25k   linear\n",
            "amp     Marram Pip\nserial  00317\n\nV1        12AX7\nPRESENCE  pot 25k linear\n",
        );
    }

    #[test]
    fn a_long_name_does_not_push_its_neighbours() {
        check(
            "V1 12AX7\nTREMOLO_INTENSITY pot 1M\n",
            "V1      12AX7\nTREMOLO_INTENSITY  pot 1M\n",
        );
    }

    #[test]
    fn walks_get_single_spaces_and_neat_brackets() {
        check(
            "V1.3  -  [ R3 1k8|+C1 25u   25V ]  -\tground   # tail\n",
            "V1.3 - [R3 1k8 | +C1 25u 25V] - ground  # tail\n",
        );
        check(
            "a - [[R1 | R2] - b|C1 1u] - c ?\n",
            "a - [[R1 | R2] - b | C1 1u] - c ?\n",
        );
    }

    #[test]
    fn quoted_text_keeps_its_spaces() {
        check(
            "C4  22n   400V @  \"board  7\"   \"a | b  - c # d\"\n",
            "C4      22n 400V @ \"board  7\" \"a | b  - c # d\"\n",
        );
    }

    #[test]
    fn free_text_keeps_its_spaces() {
        check(
            "note  two  spaces,   three\n",
            "note    two  spaces,   three\n",
        );
    }

    #[test]
    fn an_open_quote_is_left_as_typed() {
        check(
            "C4   22n  \"open  # not a comment?\n",
            "C4   22n  \"open  # not a comment?\n",
        );
    }

    #[test]
    fn readings_align_wider_and_long_pairs_stick_out() {
        check(
            "readings as found\nmeter 10M 0.5%\nV1.1 172\nB1 to  B2 30.4 \"twice\"\nT1.heater1 to T1.heater2 6.4  ac\nset VOLUME 0\nheard hum  that follows\n",
            "readings  as found\nmeter     10M 0.5%\nV1.1      172\nB1 to B2  30.4 \"twice\"\nT1.heater1 to T1.heater2  6.4 ac\nset       VOLUME 0\nheard     hum  that follows\n",
        );
    }

    #[test]
    fn comments_after_lines_that_follow_each_other_share_a_column() {
        check(
            "R1 1k # first\nR2 220k 2W # second\nR3 1k\n",
            "R1      1k       # first\nR2      220k 2W  # second\nR3      1k\n",
        );
        check(
            "#47 - ground\n#\n#  indented note\n",
            "#47 - ground\n#\n#  indented note\n",
        );
    }

    #[test]
    fn line_ends_marks_and_blank_lines() {
        check(
            "\u{feff}\r\n\r\nV1 12AX7\r\rR1 1k\r\n\t\n\n\n",
            "V1      12AX7\n\nR1      1k\n",
        );
        check(
            "T1 power 230 V : hv 275-0-275 V , bias 50 V
R1 470=560
",
            "T1      power 230 V: hv 275-0-275 V, bias 50 V
R1      470 = 560
",
        );
        check("", "");
        check(" \n\n", "");
    }

    proptest! {
        #[test]
        fn a_second_time_changes_nothing(text in "(?s).{0,200}") {
            let once = format(&text);
            prop_assert_eq!(format(&once), once);
        }

        #[test]
        fn nothing_but_space_changes(words in proptest::collection::vec(
            "[ \n\t]|[A-Z][0-9a-z.]{0,4}|-|\\[|\\]|\\||\"[a-z #]*\"|# |readings|amp|to|set|unused", 0..60)) {
            let text = words.join(" ");
            let squeeze = |t: &str| t.chars().filter(|c| !c.is_whitespace()).collect::<String>();
            let once = format(&text);
            prop_assert_eq!(squeeze(&once), squeeze(&text));
            prop_assert_eq!(format(&once), once);
        }
    }
}
