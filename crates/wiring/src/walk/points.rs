//! Points as typed: terminals, bare names, and why a stop is neither.

use super::Wirer;
use crate::circuit::{Electrode, Kind};
use crate::codes;
use crate::collect::{other_name, without_way};
use crate::names;
use crate::net::{Elem, Joins};
use crate::parts::{End, NoEnd};
use crate::units::{parse_raw, reads_as_number};
use crate::words::Word;

impl Wirer<'_> {
    /// A point, or nothing when the stop is no point (which is reported) so that the walk breaks there.
    pub(super) fn point_or_break(&mut self, word: Word<'_>, alone: bool) -> Option<Elem> {
        if !word.is_word() {
            return None;
        }
        // Words behind a point were reported when descriptions were collected, and a name
        // with words behind it that is no part was explained there too.
        let explained = names::lookalike(word.text).is_some()
            || !names::is_name(word.text)
            || names::is_reserved(word.text);
        let plain = !word.text.contains('.') && !names::FIXED.contains(&word.text);
        if !alone && plain && explained {
            return None;
        }
        self.point(word)
    }

    /// The element of a point as typed; a problem and none when it is not one.
    pub(crate) fn point(&mut self, word: Word<'_>) -> Option<Elem> {
        let assumed = self.assumed;
        let elem = if let Some((base, terminal)) = word.text.split_once('.') {
            self.dotted(word, base, terminal)?
        } else {
            self.bare_point(word)?
        };
        self.net.touch(elem, assumed, true);
        Some(elem)
    }

    fn dotted(&mut self, word: Word<'_>, base: &str, terminal: &str) -> Option<Elem> {
        let place = word.place;
        if base.is_empty() || terminal.is_empty() {
            if reads_as_number(word.text) {
                self.value_without_part(word);
            } else {
                self.bad_name(word);
            }
            return None;
        }
        let (stripped, _) = without_way(base, |n| self.parts.is_part(n));
        let base = if self.parts.is_part(stripped) {
            stripped
        } else {
            base
        };
        match self.parts.terminal(base, terminal) {
            Ok(End::Terminal(part, t)) => {
                if self.is_removed(part) {
                    return None;
                }
                self.internal_pin(part, t, word);
                if !self.assumed {
                    self.seen_parts.insert(part);
                }
                Some(self.end(part, t, place))
            }
            Ok(End::Common(_)) => self.bare_elem(word.text),
            Err(NoEnd::NoPart) if reads_as_number(word.text) => {
                self.value_without_part(word);
                None
            }
            Err(NoEnd::NoPart) if !names::is_name(base) => {
                self.bad_name(word);
                None
            }
            Err(NoEnd::NoPart) => {
                if self.reported.insert(format!("no part {base}")) {
                    self.no_part(word, base, terminal);
                }
                // Its terminals hold the walks together all the same.
                self.parts.unknown(base, place);
                match self.parts.terminal(base, terminal) {
                    Ok(End::Terminal(part, t)) => Some(self.end(part, t, place)),
                    _ => None,
                }
            }
            Err(error) => {
                if self
                    .reported
                    .insert(format!("terminal {} {error:?}", word.text))
                {
                    error.report(base, terminal, place, self.problems);
                }
                None
            }
        }
    }

    /// A terminal of a part that is not there: other capitals, a slip, or not described.
    fn no_part(&mut self, word: Word<'_>, base: &str, terminal: &str) {
        let capitals = names::in_capitals(base).is_some();
        let spelled = self
            .spellings
            .get(&base.to_lowercase())
            .filter(|(name, _)| !capitals && self.parts.is_part(name))
            .cloned();
        if let Some((other, at)) = spelled {
            self.problems.clash(
                codes::CASE_CLASH,
                word.place,
                at,
                format!("`{base}` and `{other}` differ only by capitals."),
                format!("Type `{other}.{terminal}`."),
            );
            return;
        }
        let known = capitals || names::lookalike(base).is_some();
        let near = if known { None } else { self.nearest(base, &[]) };
        match near.filter(|near| self.parts.terminal(near, terminal).is_ok()) {
            Some(near) => self.problems.add(
                codes::UNKNOWN_KIND,
                word.place,
                format!("Nothing says what `{base}` is."),
                format!("Did you mean `{near}.{terminal}`? Or add `{base} pot 1M audio`."),
            ),
            None => NoEnd::NoPart.report(base, terminal, word.place, self.problems),
        }
    }

    fn internal_pin(&mut self, part: usize, terminal: usize, word: Word<'_>) {
        let Some(found) = self.parts.list.get(part) else {
            return;
        };
        let Kind::Valve(valve) = &found.kind else {
            return;
        };
        let internal = valve
            .electrodes
            .iter()
            .any(|u| u.terminal == terminal && u.electrode == Electrode::Internal);
        let name = found.name.clone();
        let kind = valve.type_in_socket().to_owned();
        if internal && self.reported.insert(format!("internal {part} {terminal}")) {
            self.problems.add(
                codes::INTERNAL_PIN,
                word.place,
                format!("This pin of `{name}` is connected to something inside a `{kind}`."),
                "Leave it free: move the wire to a tag or another point.",
            );
        }
    }

    fn value_without_part(&mut self, word: Word<'_>) {
        let class = if word.text.ends_with(['n', 'p', 'u', 'F']) {
            "C1"
        } else {
            "R1"
        };
        self.problems.add(
            codes::VALUE_WITHOUT_PART,
            word.place,
            format!(
                "`{}` is a value, and a walk names points and parts.",
                word.text
            ),
            format!("Name the part, like `{class} {}`.", word.text),
        );
    }

    fn bad_name(&mut self, word: Word<'_>) {
        self.problems.add(
            codes::BAD_NAME,
            word.place,
            format!("`{}` is not a name.", word.text),
            "Names are letters, digits, `_`, `+` and `/`, with at least one letter; a dash between stops has a space on both sides.",
        );
    }

    fn bare_point(&mut self, word: Word<'_>) -> Option<Elem> {
        let name = word.text;
        if names::is_ground(name) {
            // Keep the spelling on the node.
            if name != "ground" && !self.bare.contains_key(name) {
                let elem = self.net.add(Joins::Bare(name.to_owned()), word.place);
                self.bare.insert(name.to_owned(), elem);
                self.net.join(self.ground, elem);
            }
            return self.bare_elem(name);
        }
        if let Some(elem) = self.bare.get(name) {
            return Some(*elem);
        }
        if names::is_reserved(name) {
            self.problems.add(
                codes::RESERVED_WORD,
                word.place,
                format!("`{name}` is a word of the notation and cannot name a point."),
                format!("Give it another name, like `{}`.", other_name(name)),
            );
            return None;
        }
        let lower = name.to_lowercase();
        if let Some(fixed) = names::FIXED
            .iter()
            .find(|f| f.to_lowercase() == lower && !names::FIXED.contains(&name))
        {
            if self.reported.insert(format!("upper {name}")) {
                self.problems.add(
                    codes::UPPER_CASE,
                    word.place,
                    format!("`{name}` is written `{fixed}`."),
                    format!("Type `{fixed}`."),
                );
            }
            return self.bare_point(Word {
                text: fixed,
                ..word
            });
        }
        // `n1` and `p2` are good names of points, whatever a capacitor may be marked.
        let digit = name.starts_with(|c: char| c.is_ascii_digit() || c == '.');
        if digit && parse_raw(name).is_ok() {
            self.value_without_part(word);
            return None;
        }
        if !names::is_name(name) {
            self.bad_name(word);
            return None;
        }
        if let Some(offer) = names::lookalike(name) {
            if self.reported.insert(format!("kind {name}")) {
                self.problems.add(
                    codes::UNKNOWN_KIND,
                    word.place,
                    format!("`{name}` looks like a part, but nothing says what it is."),
                    format!("Add a line `{offer}`, or rename it if it is a point."),
                );
            }
            return None;
        }
        self.spelling(name, word.place);
        let elem = self.net.add(Joins::Bare(name.to_owned()), word.place);
        self.bare.insert(name.to_owned(), elem);
        self.bare_order.push((name.to_owned(), elem));
        Some(elem)
    }
}
