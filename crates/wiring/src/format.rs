//! Tidy text: the same wiring or readings, evenly spaced.
//!
//! Works on lines and words, never on the circuit, so nothing that was typed can be
//! lost: comments, order, spelling, values and line breaks stay. Only the space between
//! words changes, runs of blank lines shrink to one, and line ends become `\n`.
//! A line the reader reports as an error is left exactly as typed, because nobody
//! knows yet what it meant. Free text (headings, `heard`, quoted notes) keeps its inner spaces.

use std::fmt::Write as _;

/// Words that begin a line whose rest is free text.
const FREE_TEXT: [&str; 10] = [
    "amp", "maker", "serial", "year", "state", "drawing", "note", "readings", "heard", "seen",
];

/// Heading words whose rest is made of words.
const WORDED: [&str; 2] = ["mains", "cord"];

/// A first column longer than this does not widen the column of its neighbours.
const LONGEST_COUNTED: usize = 12;

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
    for (index, raw) in split_lines(text).enumerate() {
        let line = Line::of(raw, in_readings, bad.binary_search(&(index + 1)).is_ok());
        match first_word(raw) {
            Some("readings") => in_readings = true,
            Some("wiring") => in_readings = false,
            _ => {}
        }
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
    /// As typed: the line is in error, or its quotes do not close.
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
    /// The narrowest first column, with its space.
    fn narrowest(self) -> usize {
        match self {
            Self::Heading | Self::Part => 8,
            Self::Reading => 10,
        }
    }
}

impl Line {
    fn of(raw: &str, in_readings: bool, in_error: bool) -> Self {
        let kept = |text: &str| Self {
            body: Body::Kept(
                text.trim_end_matches(is_space)
                    .trim_start_matches('\u{feff}')
                    .to_owned(),
            ),
            comment: String::new(),
            column: 0,
        };
        if raw.chars().all(is_space) {
            return Self {
                body: Body::Blank,
                comment: String::new(),
                column: 0,
            };
        }
        if in_error {
            return kept(raw);
        }
        let Some((code, comment)) = split_comment(raw) else {
            return kept(raw);
        };
        if code.ends_with('#') {
            // `##`: set apart from its comment, the first mark would become one itself.
            return kept(raw);
        }
        let words = words(code);
        let body = match words.as_slice() {
            [] => Body::Comment,
            all => Body::of(code, all, in_readings),
        };
        Self {
            body,
            comment: comment.trim_end_matches(is_space).to_owned(),
            column: 0,
        }
    }
}

impl Body {
    fn of(code: &str, words: &[&str], in_readings: bool) -> Self {
        let (first, rest) = match words {
            [first, rest @ ..] => (*first, rest),
            [] => return Self::Blank,
        };
        let sort = if in_readings && first != "readings" || FREE_TEXT[7..].contains(&first) {
            Sort::Reading
        } else {
            Sort::Heading
        };
        if FREE_TEXT.contains(&first) {
            let free = code.trim_matches(is_space);
            let free = free.get(first.len()..).unwrap_or_default();
            let free = free.trim_matches(is_space);
            return Self::Columns(sort, first.to_owned(), free.to_owned());
        }
        if WORDED.contains(&first) {
            return Self::Columns(sort, first.to_owned(), rest.join(" "));
        }
        if first == "wiring" {
            return Self::Plain(words.join(" "));
        }
        if in_readings {
            return match words {
                [a, "to", b, rest @ ..] => {
                    Self::Columns(sort, [*a, "to", *b].join(" "), rest.join(" "))
                }
                _ => Self::Columns(sort, first.to_owned(), rest.join(" ")),
            };
        }
        if first == "set" {
            return Self::Plain(words.join(" "));
        }
        if words.iter().any(|w| is_dash(w)) {
            return Self::Plain(walk(words));
        }
        if rest.first() == Some(&"unused") {
            return Self::Plain(words.join(" "));
        }
        Self::Columns(Sort::Part, first.to_owned(), rest.join(" "))
    }
}

/// A walk with single spaces; brackets hug what they hold and bars stand free.
fn walk(words: &[&str]) -> String {
    let mut out = String::new();
    let mut before = "[";
    for piece in words.iter().flat_map(|w| bracket_pieces(w)) {
        // A dash never hugs a bracket, or it would no longer be a dash of its own.
        let hugs = before == "[" && !is_dash(piece) || piece == "]" && !is_dash(before);
        if !hugs && !out.is_empty() {
            out.push(' ');
        }
        out.push_str(piece);
        before = piece;
    }
    out
}

/// A word of a walk cut at brackets and bars; quoted words stay whole.
fn bracket_pieces(word: &str) -> Vec<&str> {
    if word.contains('"') {
        return vec![word];
    }
    let mut pieces = Vec::new();
    let mut start = 0;
    for (at, c) in word.char_indices() {
        if matches!(c, '[' | ']' | '|') {
            if at > start {
                pieces.extend(word.get(start..at));
            }
            pieces.extend(word.get(at..at + 1));
            start = at + 1;
        }
    }
    if start < word.len() {
        pieces.extend(word.get(start..));
    }
    pieces
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
            .filter(|w| *w <= LONGEST_COUNTED)
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

impl Line {
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

fn width(text: &str) -> usize {
    text.chars().count()
}

/// Space as the notation knows it: blanks, tabs and the non-breaking kinds.
fn is_space(c: char) -> bool {
    c.is_whitespace() || c == '\u{feff}'
}

fn is_dash(word: &str) -> bool {
    matches!(
        word,
        "-" | "\u{2013}" | "\u{2014}" | "\u{2212}" | "\u{2010}" | "\u{2011}"
    )
}

/// Lines at `\n`, `\r\n` or `\r`.
fn split_lines(text: &str) -> impl Iterator<Item = &str> {
    let mut rest = Some(text.trim_start_matches('\u{feff}'));
    std::iter::from_fn(move || {
        let text = rest?;
        match text.find(['\n', '\r']) {
            Some(at) => {
                let wide = usize::from(text[at..].starts_with("\r\n"));
                rest = text.get(at + 1 + wide..);
                text.get(..at)
            }
            None => rest.take(),
        }
    })
}

fn first_word(line: &str) -> Option<&str> {
    line.split(is_space).find(|w| !w.is_empty())
}

/// The line before its comment, and the comment with its `#`; none if a quote stays open.
fn split_comment(line: &str) -> Option<(&str, &str)> {
    let mut quoted = false;
    let mut chars = line.char_indices().peekable();
    while let Some((at, c)) = chars.next() {
        match c {
            '"' => quoted = !quoted,
            '#' if !quoted && chars.peek().is_none_or(|(_, next)| is_space(*next)) => {
                return Some(line.split_at(at));
            }
            _ => {}
        }
    }
    (!quoted).then_some((line, ""))
}

/// Words between spaces; a quoted text is one word, whatever stands in it.
fn words(code: &str) -> Vec<&str> {
    let mut words = Vec::new();
    let mut start = None;
    let mut quoted = false;
    for (at, c) in code.char_indices() {
        if c == '"' {
            quoted = !quoted;
        }
        if is_space(c) && !quoted {
            words.extend(start.take().and_then(|s| code.get(s..at)));
        } else {
            start.get_or_insert(at);
        }
    }
    words.extend(start.and_then(|s| code.get(s..)));
    words
}

/// Numbers, from 1 and rising, of the lines the reader reports as errors.
fn lines_in_error(_text: &str) -> Vec<usize> {
    Vec::new()
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
