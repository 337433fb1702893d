//! First pass over the statements: which names are parts, and what each is.
//!
//! Order does not matter in a wiring, so this pass sees every description before any walk
//! is followed. Problems of descriptions are reported here.

use crate::codes;
use crate::describe::{self, Ctx, Description};
use crate::diagnostic::Place;
use crate::names::{self, Class};
use crate::problems::Problems;
use crate::sheet::Library;
use crate::statement::{Item, Shape};
use crate::words::Word;
use std::collections::HashMap;

/// A name that is a part.
#[derive(Debug)]
pub(crate) struct Draft {
    /// The name.
    pub(crate) name: String,
    /// What its letters say.
    pub(crate) class: Option<Class>,
    /// Its description and where that stands.
    pub(crate) described: Option<(Description, Place)>,
    /// Where the name first stands.
    pub(crate) first: Place,
}

/// All of them, in the order first named.
#[derive(Debug, Default)]
pub(crate) struct Drafts {
    /// In order.
    pub(crate) list: Vec<Draft>,
    by_name: HashMap<String, usize>,
}

impl Drafts {
    /// The draft of this name.
    pub(crate) fn get(&self, name: &str) -> Option<&Draft> {
        self.by_name.get(name).and_then(|i| self.list.get(*i))
    }

    fn entry(&mut self, name: &str, place: Place) -> &mut Draft {
        let next = self.list.len();
        let at = *self.by_name.entry(name.to_owned()).or_insert(next);
        if at == next {
            self.list.push(Draft {
                name: name.to_owned(),
                class: names::class_of(name),
                described: None,
                first: place,
            });
        }
        &mut self.list[at]
    }
}

/// Which way round a part is passed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Way {
    /// Not said.
    Unsaid,
    /// `+C6`.
    PlusBefore,
    /// `C6+`.
    PlusAfter,
    /// `D1>`.
    Forward,
    /// `D1<`.
    Backward,
}

/// Takes direction marks off a name; a `+` only where what is left is a part.
pub(crate) fn without_way(text: &str, is_part: impl Fn(&str) -> bool) -> (&str, Way) {
    if let Some(name) = text.strip_suffix('>') {
        (name, Way::Forward)
    } else if let Some(name) = text.strip_suffix('<') {
        (name, Way::Backward)
    } else if let Some(name) = text.strip_prefix('+').filter(|n| is_part(n)) {
        (name, Way::PlusBefore)
    } else if let Some(name) = text.strip_suffix('+').filter(|n| is_part(n)) {
        (name, Way::PlusAfter)
    } else {
        (text, Way::Unsaid)
    }
}

/// Collects every part of the statements.
pub(crate) fn collect(shapes: &[Shape<'_>], library: &Library, problems: &mut Problems) -> Drafts {
    let mut collector = Collector {
        drafts: Drafts::default(),
        library,
        problems,
    };
    for shape in shapes {
        match shape {
            Shape::Plain(words) => collector.plain(words),
            Shape::Walk { items, .. } => collector.items(items),
            _ => {}
        }
    }
    collector.drafts
}

struct Collector<'c> {
    drafts: Drafts,
    library: &'c Library,
    problems: &'c mut Problems,
}

impl Collector<'_> {
    fn items(&mut self, items: &[Item<'_>]) {
        for item in items {
            match item {
                Item::Stop(words) => self.stop(words),
                Item::Bracket(alternatives, _) => {
                    for chain in alternatives {
                        self.items(chain);
                    }
                }
            }
        }
    }

    /// A stop of a walk: one word, or a part described on the spot.
    fn stop(&mut self, words: &[Word<'_>]) {
        let Some((first, rest)) = words.split_first() else {
            return;
        };
        if !first.is_word() {
            self.problems.add(
                codes::STRAY_MARK,
                first.place,
                format!("A stop cannot begin with `{}`.", first.text),
                "Begin it with the name of a point or part.",
            );
            return;
        }
        if first.text == "unused" || first.text == "apart" {
            return;
        }
        if rest.is_empty() {
            self.mention(*first);
            return;
        }
        let kind = rest
            .first()
            .is_some_and(|w| w.is_word() && describe::is_kind_word(w.text));
        let (name, _) = without_way(first.text, |n| kind || names::class_of(n).is_some());
        self.describe_or_explain(*first, name, rest, true);
    }

    /// A line without dashes.
    fn plain(&mut self, words: &[Word<'_>]) {
        let Some((first, rest)) = words.split_first() else {
            return;
        };
        if !first.is_word() {
            self.problems.add(
                codes::STRAY_MARK,
                first.place,
                "This line does not begin with a name.",
                "Begin it with the name of a part or point, or with a heading word.",
            );
            return;
        }
        if rest.first().is_some_and(|w| w.is("unused")) {
            self.mention(*first);
            return;
        }
        if rest.is_empty() {
            if names::class_of(first.text).is_some() {
                self.mention(*first);
            } else {
                self.problems.add(
                    codes::LONELY_STOP,
                    first.place,
                    format!("`{}` stands alone on its line.", first.text),
                    format!(
                        "Type a walk, like `{} - R1 100k - B1`, or say what it is, like `{} pot 1M audio`.",
                        first.text, first.text
                    ),
                );
            }
            return;
        }
        self.describe_or_explain(*first, first.text, rest, false);
    }

    /// A name without description: remembered when its letters make it a part.
    fn mention(&mut self, word: Word<'_>) {
        let base = word
            .text
            .split_once('.')
            .map_or(word.text, |(base, _)| base);
        let (name, _) = without_way(base, |n| names::class_of(n).is_some());
        let mut name = name;
        if names::class_of(name) == Some(Class::Valve)
            && let Some((whole, _)) = names::without_section(name)
        {
            name = whole;
        }
        if names::class_of(name).is_some() {
            self.drafts.entry(name, word.place);
        }
    }

    fn describe_or_explain(
        &mut self,
        first: Word<'_>,
        name: &str,
        rest: &[Word<'_>],
        in_walk: bool,
    ) {
        let class = names::class_of(name);
        let Some(next) = rest.first() else {
            return;
        };
        let stated = next.is_word() && describe::is_kind_word(next.text);
        if names::is_reserved(name) || names::FIXED.contains(&name) {
            self.reserved(first, name, next, in_walk);
            return;
        }
        if !(class.is_some() || stated) || name.contains('.') || !names::is_name(name) {
            self.explain(first, name, next, in_walk);
            if name.contains('.') {
                self.mention(first);
            }
            return;
        }
        let before = self.problems.len();
        let mut ctx = Ctx {
            name,
            place: first.place,
            library: self.library,
            problems: self.problems,
        };
        let Some(description) = describe::describe(&mut ctx, class, rest) else {
            // Only a transformer's letter leaves the kind open.
            ctx.problems.add(
                codes::UNKNOWN_KIND,
                next.place,
                format!("Nothing says what sort of transformer `{name}` is."),
                format!("Type `{name} power 230 V: ...`, `{name} output 8k:8 ohm`, `{name} driver 22k:8 ohm` or `{name} inter 1:1.5`."),
            );
            self.drafts.entry(name, first.place);
            return;
        };
        let sound = self.problems.len() == before;
        let draft = self.drafts.entry(name, first.place);
        match &mut draft.described {
            None => draft.described = Some((description, first.place)),
            Some((old, place)) => {
                if !describe::merge(old, &description) && sound {
                    let place = *place;
                    self.problems.clash(
                        codes::DESCRIBED_DIFFERENTLY,
                        first.place,
                        place,
                        format!(
                            "`{name}` is described here and on line {} with different values.",
                            place.line
                        ),
                        "Leave one of them out, or give the second part its own name.",
                    );
                }
            }
        }
    }

    fn reserved(&mut self, first: Word<'_>, name: &str, next: &Word<'_>, in_walk: bool) {
        if names::CONDITIONS.contains(&name) && !in_walk {
            self.problems.add(
                codes::ONLY_IN_READINGS,
                first.place,
                format!("`{name}` is said of readings and stands inside a readings block only."),
                "Put a line `readings` before it.",
            );
        } else if names::FIXED.contains(&name) {
            self.explain(first, name, next, in_walk);
        } else if name == "unused" || name == "apart" {
            // Explained where the walk is followed.
        } else {
            self.problems.add(
                codes::RESERVED_WORD,
                first.place,
                format!("`{name}` is a word of the notation and cannot name a part or point."),
                format!("Give it another name, like `{}`.", other_name(name)),
            );
        }
    }

    /// Says why the words after a name mean nothing.
    fn explain(&mut self, first: Word<'_>, name: &str, next: &Word<'_>, in_walk: bool) {
        let reading =
            next.is_number() || next.is("to") || next.is("OL") || next.text.starts_with('<');
        if let Some(upper) = names::in_capitals(name).filter(|_| !name.contains('.')) {
            self.problems.add(
                codes::UPPER_CASE,
                first.place,
                format!("`{name}` is a point: class letters are capitals."),
                format!("Type `{upper} {}`.", next.text),
            );
        } else if let Some(offer) = names::lookalike(name) {
            self.problems.add(
                codes::UNKNOWN_KIND,
                first.place,
                format!("`{name}` looks like a part, but nothing says what it is."),
                format!("Type `{offer}`, or rename it if it is a point."),
            );
        } else if reading {
            let advice = if in_walk {
                format!(
                    "Did you leave out ` - ` or the name of a part before `{}`? Readings go below a line `readings`.",
                    next.text
                )
            } else {
                "If it is, put a line `readings` before it; if not, say what the part is."
                    .to_owned()
            };
            self.problems.add(
                codes::READING_IN_WIRING,
                next.place,
                format!(
                    "`{}` is followed by a value: is this a reading?",
                    first.text
                ),
                advice,
            );
        } else if !names::is_name(name) && !name.contains('.') {
            self.problems.add(
                codes::BAD_NAME,
                first.place,
                format!("`{name}` is not a name."),
                "Names are letters, digits, `_`, `+` and `/`, with at least one letter.",
            );
        } else if name.contains('.')
            || names::class_of(next.text).is_some()
            || next.text.contains('.')
        {
            self.problems.add(
                codes::UNEXPECTED_WORD,
                next.place,
                format!("`{}` fits nowhere after `{}`.", next.text, first.text),
                format!("Did you leave out ` - ` before `{}`?", next.text),
            );
        } else {
            let near = names::nearest(next.text, describe::KIND_WORDS);
            let advice = match near {
                Some(near) if next.text.len() > 2 => {
                    format!("Did you mean `{name} {near}`, or leave out ` - `?")
                }
                _ => format!(
                    "Say what it is, like `{name} pot 1M audio`; or did you leave out ` - `?"
                ),
            };
            self.problems.add(
                codes::UNKNOWN_KIND,
                first.place,
                format!("Nothing says what `{name}` is."),
                advice,
            );
        }
    }
}

/// A name to use instead of a reserved one.
pub(crate) fn other_name(name: &str) -> String {
    format!("{name}_1")
}
