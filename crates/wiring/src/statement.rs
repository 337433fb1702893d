//! Lines as statements: headings, descriptions, walks, lines of a readings block.
//!
//! Knows the shape of a line and no names. Brackets are read without recursion and to a
//! limited depth, so that no text can exhaust the stack.

use crate::codes;
use crate::diagnostic::Place;
use crate::lexer::{self, Line, TokenKind};
use crate::names;
use crate::problems::Problems;
use crate::words::Word;

/// Brackets inside one another, at most. Real wirings need two or three.
const DEEPEST: usize = 32;

/// One thing between dashes.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Item<'a> {
    /// A point, or a part in passing; at least one word.
    Stop(Vec<Word<'a>>),
    /// Alternatives side by side.
    Bracket(Vec<Vec<Item<'a>>>, Place),
}

impl Item<'_> {
    /// Where it begins.
    pub(crate) fn place(&self) -> Place {
        match self {
            Self::Stop(words) => words.first().map(|w| w.place).unwrap_or_default(),
            Self::Bracket(_, place) => *place,
        }
    }
}

/// What a line is.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Shape<'a> {
    /// A heading word and what follows.
    Heading(Vec<Word<'a>>),
    /// `set ...`, with the `set`.
    Set(Vec<Word<'a>>),
    /// `readings ...`: its first word and the name.
    Readings(Word<'a>, &'a str),
    /// A walk; `assumed` when it ends in `?`.
    Walk {
        /// Stops and brackets in order.
        items: Vec<Item<'a>>,
        /// It ended in ` ?`.
        assumed: bool,
    },
    /// A line without dashes or brackets.
    Plain(Vec<Word<'a>>),
    /// A line inside a readings block.
    Entry(Vec<Word<'a>>),
}

/// Splits all texts into statements.
pub(crate) fn statements<'a>(
    text: &'a str,
    file: usize,
    in_readings: bool,
    problems: &mut Problems,
) -> Vec<Shape<'a>> {
    let mut out = Vec::new();
    let mut in_readings = in_readings;
    if in_readings {
        let word = Word {
            kind: TokenKind::Word,
            text: "readings",
            place: Place {
                file,
                line: 1,
                column: 1,
                start: 0,
                end: 0,
            },
        };
        out.push(Shape::Readings(word, ""));
    }
    for line in lexer::lines(text) {
        let words = words(&line, file, problems);
        let Some(first) = words.first().copied() else {
            continue;
        };
        let dashed = words
            .iter()
            .any(|w| matches!(w.kind, TokenKind::Dash | TokenKind::Open));
        if first.is("wiring") && words.len() == 1 {
            in_readings = false;
        } else if first.is("readings") && !dashed {
            in_readings = true;
            let name = words.get(1).map_or("", |w| w.text);
            out.push(Shape::Readings(first, name));
        } else if in_readings {
            out.push(Shape::Entry(words));
        } else if first.is_word() && first.text.len() > 1 && first.text.starts_with('#') {
            problems.add(
                codes::COMMENT_WITHOUT_SPACE,
                first.place,
                "A comment needs a space after its `#`.",
                format!("Type `{}`.", spaced(line.text)),
            );
        } else if first.is("set") && !dashed {
            out.push(Shape::Set(words));
        } else if first.is_word() && names::HEADING.contains(&first.text) && !dashed {
            out.push(Shape::Heading(words));
        } else if dashed
            || words
                .iter()
                .any(|w| matches!(w.kind, TokenKind::Close | TokenKind::Bar))
        {
            if let Some((items, assumed)) = walk(words, problems) {
                out.push(Shape::Walk { items, assumed });
            }
        } else {
            out.push(Shape::Plain(words));
        }
    }
    out
}

/// A comment line with a space after its `#`, shortened.
fn spaced(line: &str) -> String {
    let text = line.trim_matches(|c| lexer::is_space(c) || c == '#');
    let mut out = String::from("# ");
    out.extend(text.chars().take(60));
    out
}

/// The words of a line that mean something; an open quote is reported here.
fn words<'a>(line: &Line<'a>, file: usize, problems: &mut Problems) -> Vec<Word<'a>> {
    let mut out = Vec::new();
    for token in line.significant() {
        let place = line.place(token, file);
        if token.kind == (TokenKind::Quoted { closed: false }) {
            problems.add(
                codes::OPEN_QUOTE,
                place,
                "This quote is not closed on its line.",
                "Add a `\"` at the end of the note.",
            );
        }
        out.push(Word {
            kind: token.kind,
            text: token.content(line.text),
            place,
        });
    }
    out
}

/// A bracket that is still open.
struct Frame<'a> {
    place: Place,
    alternatives: Vec<Vec<Item<'a>>>,
    chain: Chain<'a>,
}

/// A chain of stops being built.
#[derive(Default)]
struct Chain<'a> {
    items: Vec<Item<'a>>,
    words: Vec<Word<'a>>,
    /// A dash (or the beginning) came last, so a stop must follow.
    open: Option<Place>,
}

impl<'a> Chain<'a> {
    fn end_stop(&mut self) {
        if !self.words.is_empty() {
            self.items.push(Item::Stop(std::mem::take(&mut self.words)));
        }
    }

    fn dash(&mut self, place: Place, problems: &mut Problems) {
        let empty = self.words.is_empty();
        self.end_stop();
        if empty && (self.open.is_some() || self.items.is_empty()) {
            problems.add(
                codes::EMPTY_STOP,
                place,
                "There is no stop before this dash.",
                "Type a point or a part before it, or leave out the dash.",
            );
            // What is missing must not become a wire between its neighbours.
            if !self.items.is_empty() {
                self.items.push(Item::Bracket(Vec::new(), place));
            }
        }
        self.open = Some(place);
    }

    fn word(&mut self, word: Word<'a>, problems: &mut Problems) {
        if self.words.is_empty() && self.open.is_none() && !self.items.is_empty() {
            dash_missing(word.place, problems);
        }
        self.open = None;
        self.words.push(word);
    }

    fn bracket(&mut self, item: Item<'a>, problems: &mut Problems) {
        if !self.words.is_empty() || (self.open.is_none() && !self.items.is_empty()) {
            dash_missing(item.place(), problems);
        }
        self.end_stop();
        self.open = None;
        self.items.push(item);
    }

    fn finish(mut self, problems: &mut Problems) -> Vec<Item<'a>> {
        self.end_stop();
        if let Some(place) = self.open {
            problems.add(
                codes::EMPTY_STOP,
                place,
                "There is no stop after this dash.",
                "Type a point or a part after it, or leave out the dash.",
            );
        }
        self.items
    }
}

fn dash_missing(place: Place, problems: &mut Problems) {
    problems.add(
        codes::DASH_MISSING,
        place,
        "A bracket and its neighbour need a dash between them.",
        "Type ` - ` here.",
    );
}

/// Reads a walk; none when the brackets are too deep.
fn walk<'a>(mut words: Vec<Word<'a>>, problems: &mut Problems) -> Option<(Vec<Item<'a>>, bool)> {
    let assumed = words.last().is_some_and(|w| w.kind == TokenKind::Question);
    if assumed {
        words.pop();
    }
    let mut outer: Vec<Frame<'a>> = Vec::new();
    let mut chain = Chain::default();
    for word in words {
        match word.kind {
            TokenKind::Dash => chain.dash(word.place, problems),
            TokenKind::Open => {
                if outer.len() >= DEEPEST {
                    problems.add(
                        codes::BRACKETS_TOO_DEEP,
                        word.place,
                        format!("There are more than {DEEPEST} brackets inside one another."),
                        "Give the inner junctions names and write several walks.",
                    );
                    return None;
                }
                outer.push(Frame {
                    place: word.place,
                    alternatives: Vec::new(),
                    chain: std::mem::take(&mut chain),
                });
            }
            TokenKind::Bar | TokenKind::Close => {
                let Some(mut frame) = outer.pop() else {
                    problems.add(
                        codes::STRAY_BRACKET,
                        word.place,
                        format!("This `{}` has no `[` before it.", word.text),
                        "Write alternatives as `[R3 1k8 | +C1 25u]`.",
                    );
                    continue;
                };
                let done = std::mem::take(&mut chain).finish(problems);
                if done.is_empty() {
                    problems.add(
                        codes::EMPTY_STOP,
                        word.place,
                        "There is nothing before this mark in the bracket.",
                        "Type a part here, or leave out the mark.",
                    );
                } else {
                    frame.alternatives.push(done);
                }
                if word.kind == TokenKind::Bar {
                    outer.push(frame);
                } else {
                    chain = frame.chain;
                    chain.bracket(Item::Bracket(frame.alternatives, frame.place), problems);
                }
            }
            TokenKind::Question => problems.add(
                codes::STRAY_MARK,
                word.place,
                "A `?` marks a whole walk as assumed and stands at its end.",
                "Move it to the end of the line.",
            ),
            _ => chain.word(word, problems),
        }
    }
    while let Some(mut frame) = outer.pop() {
        problems.add(
            codes::UNCLOSED_BRACKET,
            frame.place,
            "This `[` is never closed.",
            "Add a `]` after the last alternative.",
        );
        let done = std::mem::take(&mut chain).finish(problems);
        if !done.is_empty() {
            frame.alternatives.push(done);
        }
        chain = frame.chain;
        if !frame.alternatives.is_empty() {
            chain.bracket(Item::Bracket(frame.alternatives, frame.place), problems);
        }
    }
    Some((chain.finish(problems), assumed))
}
