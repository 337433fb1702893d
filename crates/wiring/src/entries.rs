//! Readings blocks: conditions and entries.
//!
//! Knows the circuit that the points belong to. A reading whose point is not in the
//! wiring is kept, with a diagnostic. Conditions hold for the whole block, wherever in it
//! they stand.
//!
//! Rulings: a file whose name ends in `.readings` begins inside a block without a name;
//! `power off` anywhere in a block makes its plain numbers ohms; a multiplier without a
//! unit (`104k`) is ohms with the power off and an error with it on; ohms with the power
//! on, and AC volts and currents with it off, are warned of and kept. DC volts with it off are
//! what is left on a capacitor.

mod answer;
mod display;

use crate::circuit::{Circuit, Kind};
use crate::codes;
use crate::heading;
use crate::index::Index;
use crate::lexer::TokenKind;
use crate::names;
use crate::problems::{Problems, listed};
use crate::readings::{Block, Meter, Probe, Reading, ValvesIn};
use crate::resolve::set_problem;
use crate::statement::Shape;
use crate::units::{Quantity, ValueError, parse, parse_percent};
use crate::words::{Word, Words, span};
use std::collections::BTreeSet;

/// Reads all blocks of the statements.
pub(crate) fn blocks(
    shapes: &[Shape<'_>],
    circuit: &Circuit,
    problems: &mut Problems,
) -> Vec<Block> {
    let index = Index::new(circuit);
    let mut out: Vec<Block> = Vec::new();
    let mut at = 0;
    while let Some(shape) = shapes.get(at) {
        at += 1;
        let Shape::Readings(word, name) = shape else {
            continue;
        };
        let from = at;
        while matches!(shapes.get(at), Some(Shape::Entry(_))) {
            at += 1;
        }
        // Headings and walks cannot stand between: inside a block all lines are entries.
        let entries: Vec<&[Word<'_>]> = shapes
            .get(from..at)
            .unwrap_or_default()
            .iter()
            .filter_map(|s| match s {
                Shape::Entry(words) => Some(words.as_slice()),
                _ => None,
            })
            .collect();
        let implied = word.place.end == word.place.start;
        if implied && entries.is_empty() {
            continue;
        }
        let mut reader = Reader {
            circuit,
            index: &index,
            problems,
            said: BTreeSet::new(),
            block: Block {
                name: (*name).to_owned(),
                place: word.place,
                ..Block::default()
            },
        };
        reader.read(&entries);
        out.push(reader.block);
    }
    out
}

struct Reader<'r> {
    circuit: &'r Circuit,
    index: &'r Index<'r>,
    problems: &'r mut Problems,
    said: BTreeSet<&'static str>,
    block: Block,
}

impl Reader<'_> {
    fn read(&mut self, entries: &[&[Word<'_>]]) {
        self.block.conditions.power_off = entries
            .iter()
            .any(|e| matches!(e, [a, b] if a.is("power") && b.is("off")));
        for words in entries {
            let Some(first) = words.first() else {
                continue;
            };
            let dashed = words
                .iter()
                .any(|w| matches!(w.kind, TokenKind::Dash | TokenKind::Open));
            if dashed {
                self.problems.add(
                    codes::WALK_IN_READINGS,
                    first.place,
                    "This is a walk, and stands inside a readings block.",
                    "Put a line `wiring` before it.",
                );
            } else if !first.is_word() {
                self.unclear(*first);
            } else if names::CONDITIONS.contains(&first.text) {
                self.condition(*first, words);
            } else if first.text == "note" {
                // Kept with what was seen, so that nothing typed is lost.
                let text = words.get(1).map_or("", |w| w.text);
                self.block.conditions.seen.push(text.to_owned());
            } else if names::HEADING.contains(&first.text) {
                self.problems.add(
                    codes::HEADING_IN_READINGS,
                    first.place,
                    format!(
                        "`{}` is a heading and stands inside a readings block.",
                        first.text
                    ),
                    "Move it to the top of the wiring, or put a line `wiring` before it.",
                );
            } else {
                self.entry(*first, words);
            }
        }
    }

    fn unclear(&mut self, word: Word<'_>) {
        self.problems.add(
            codes::READING_UNCLEAR,
            word.place,
            format!("`{}` is not a reading.", word.text),
            "Type a point and what the meter showed, like `V1.1 172` or `B1 to B2 30.4`.",
        );
    }

    fn condition_unclear(&mut self, word: Word<'_>, example: &str) {
        self.problems.add(
            codes::CONDITION_UNCLEAR,
            word.place,
            format!("`{}` does not read as a condition here.", word.text),
            format!("Type for example {example}."),
        );
    }

    fn once(&mut self, word: Word<'_>) {
        let name = names::CONDITIONS
            .iter()
            .find(|c| **c == word.text)
            .copied()
            .unwrap_or_default();
        if !self.said.insert(name) {
            self.problems.add(
                codes::CONDITION_TWICE,
                word.place,
                format!("`{name}` is said twice in this block; the last counts."),
                "Leave one out, or begin a new block with a `readings` line.",
            );
        }
    }

    /// The number that must come next, of this quantity.
    fn number(&mut self, words: &mut Words<'_, '_>, quantity: Quantity) -> Option<f64> {
        let number = words.take_number()?;
        match parse(&number.text, quantity) {
            Ok(raw) => Some(raw.value),
            // A condition may leave out its unit: `signal J1 0.05 1000`.
            Err(ValueError::NoUnit { .. }) => number.raw.ok().map(|raw| raw.value),
            Err(error) => {
                self.problems.value(&error, number.place, &number.text, "");
                None
            }
        }
    }

    fn condition(&mut self, first: Word<'_>, list: &[Word<'_>]) {
        let rest = list.get(1..).unwrap_or_default();
        let mut words = Words::new(rest);
        match first.text {
            "heard" | "seen" => {
                let text = rest.first().map_or("", |w| w.text).to_owned();
                if text.is_empty() {
                    self.condition_unclear(first, "`heard hum that follows the volume`");
                } else if first.text == "heard" {
                    self.block.conditions.heard.push(text);
                } else {
                    self.block.conditions.seen.push(text);
                }
                return;
            }
            "set" => {
                self.set(list);
                return;
            }
            "answer" => {
                self.answer(first, &mut words);
                return;
            }
            _ => self.once(first),
        }
        let done = match first.text {
            "mains" => {
                if let Some(mains) =
                    heading::mains(first, rest, codes::CONDITION_UNCLEAR, self.problems)
                {
                    self.block.conditions.mains_volts = Some(mains.volts);
                    self.block.conditions.mains_hertz = mains.hertz;
                }
                return;
            }
            "meter" => self.meter(&mut words),
            "valves" => self.valves(&mut words),
            "standby" => choice(&mut words, "open", "closed").map(|open| {
                self.block.conditions.standby_open = Some(open);
            }),
            "speaker" => choice(&mut words, "on", "off").map(|on| {
                self.block.conditions.speaker_on = Some(on);
            }),
            "limiter" => self
                .number(&mut words, Quantity::Watts)
                .filter(|w| (0.1..=5000.0).contains(w))
                .map(|watts| self.block.conditions.limiter_watts = Some(watts)),
            "minutes" => {
                let number = words.take_number().and_then(|n| n.raw.ok());
                number
                    .filter(|r| {
                        r.unit.is_none() && r.prefix.is_none() && (0.0..=1e5).contains(&r.value)
                    })
                    .map(|r| self.block.conditions.minutes = Some(r.value))
            }
            "signal" => self.signal(&mut words),
            "power" => words
                .take_word("off")
                .map(|_| self.block.conditions.power_off = true),
            _ => None,
        };
        let example = match first.text {
            "meter" => "`meter 10M 0.5%`",
            "valves" => "`valves all in`, `valves without V2 V3` or `valves only V3`",
            "standby" => "`standby open` or `standby closed`",
            "speaker" => "`speaker on` or `speaker off`",
            "limiter" => "`limiter 60 W`",
            "minutes" => "`minutes 10`",
            "signal" => "`signal J1 50 mV 1 kHz`",
            _ => "`power off`",
        };
        if done.is_none() {
            self.condition_unclear(first, example);
        } else if let Some(word) = words.peek() {
            self.condition_unclear(word, example);
        }
    }

    fn meter(&mut self, words: &mut Words<'_, '_>) -> Option<()> {
        let ohms = self.number(words, Quantity::Ohms).filter(|o| *o >= 1.0)?;
        let mut error = 0.0;
        if let Some(word) = words.peek() {
            error = parse_percent(word.text).filter(|e| (0.0..=0.5).contains(e))?;
            words.take();
        }
        self.block.conditions.meter = Some(Meter { ohms, error });
        Some(())
    }

    fn valves(&mut self, words: &mut Words<'_, '_>) -> Option<()> {
        let head = words.take()?;
        if head.is("all") {
            words.take_word("in")?;
            self.block.conditions.valves = ValvesIn::All;
            return Some(());
        }
        let only = head.is("only");
        if !only && !head.is("without") {
            return None;
        }
        let mut names = Vec::new();
        while let Some(word) = words.peek() {
            words.take();
            if word.kind == TokenKind::Comma || word.is("and") {
                continue;
            }
            let valve = self
                .index
                .part(word.text)
                .and_then(|id| self.circuit.parts.get(id.0))
                .is_some_and(|p| matches!(p.kind, Kind::Valve(_)));
            if !valve {
                let valves = self
                    .circuit
                    .parts
                    .iter()
                    .filter(|p| matches!(p.kind, Kind::Valve(_)))
                    .map(|p| p.name.as_str());
                let valves = listed(valves).replace(" or ", " and ");
                let advice = if valves.is_empty() {
                    format!(
                        "Add a line like `{} 12AX7` when you have traced it.",
                        word.text
                    )
                } else {
                    format!("The valves traced so far are {valves}.")
                };
                self.problems.add(
                    codes::NOT_IN_WIRING,
                    word.place,
                    format!("There is no valve `{}` in this wiring.", word.text),
                    advice,
                );
            }
            names.push(word.text.to_owned());
        }
        if names.is_empty() {
            return None;
        }
        self.block.conditions.valves = if only {
            ValvesIn::Only(names)
        } else {
            ValvesIn::Without(names)
        };
        Some(())
    }

    fn signal(&mut self, words: &mut Words<'_, '_>) -> Option<()> {
        let jack = words.take().filter(Word::is_word)?;
        let known = self
            .index
            .part(jack.text)
            .and_then(|id| self.circuit.parts.get(id.0))
            .is_some_and(|p| matches!(p.kind, Kind::Jack { .. } | Kind::Generator { .. }));
        if !known {
            self.problems.add(
                codes::NOT_IN_WIRING,
                jack.place,
                format!("`{}` is no jack of this wiring.", jack.text),
                "Name the jack that the signal goes into, like `signal J1 50 mV 1 kHz`.",
            );
        }
        let volts = self.number(words, Quantity::Volts)?;
        let hertz = self.number(words, Quantity::Hertz)?;
        self.block.conditions.signal = Some((jack.text.to_owned(), volts, hertz));
        Some(())
    }

    fn set(&mut self, list: &[Word<'_>]) {
        if let Some(set) = heading::setting(list, self.problems) {
            if let Some((code, message, advice)) = set_problem(&self.circuit.parts, &set) {
                self.problems.add(code, set.place, message, advice);
            }
            self.block.conditions.sets.push(set);
        }
    }

    fn entry(&mut self, first: Word<'_>, list: &[Word<'_>]) {
        let mut words = Words::new(list);
        if first.is_number()
            && first
                .text
                .starts_with(|c: char| c.is_ascii_digit() || c == '.' || c == '-')
            && self.index.node(first.text).is_none()
        {
            self.problems.add(
                codes::BEFORE_POINT,
                first.place,
                format!("Nothing says where `{}` was read.", first.text),
                "Type the point before the value, like `V1.1 172`.",
            );
            return;
        }
        words.take();
        let mut second = None;
        if let Some(to) = words.take_word("to") {
            match words.take().filter(Word::is_word) {
                Some(word) => second = Some(word),
                None => {
                    self.unclear(to);
                    return;
                }
            }
        }
        let place = second.map_or(first.place, |s| span(first.place, s.place));
        let Some((value, unit, digit)) = self.shown(&mut words, first) else {
            return;
        };
        let note = words.take_quoted().map(|w| w.text.to_owned());
        if let Some(word) = words.peek() {
            self.problems.add(
                codes::READING_UNCLEAR,
                word.place,
                format!("`{}` fits nowhere in a reading.", word.text),
                format!("Put a remark in quotes: `\"{}\"`.", word.text),
            );
        }
        let point = match second {
            Some(second) => format!("{} to {}", first.text, second.text),
            None => first.text.to_owned(),
        };
        let probe = match second {
            None => self.probe(first),
            Some(second) => match (self.node(first), self.node(second)) {
                (Some(a), Some(b)) => Probe::Between(a, b),
                _ => Probe::Nowhere,
            },
        };
        self.block.readings.push(Reading {
            point,
            probe,
            value,
            unit,
            digit,
            note,
            place,
        });
    }

    fn probe(&mut self, word: Word<'_>) -> Probe {
        if let Some(id) = self.index.part(word.text) {
            let Some(part) = self.circuit.parts.get(id.0) else {
                return Probe::Nowhere;
            };
            if part.terminals.len() == 2 {
                return Probe::Across(id);
            }
            let offers = part
                .terminals
                .iter()
                .map(|t| format!("{}.{}", part.name, t.name));
            self.problems.add(
                codes::NOT_IN_WIRING,
                word.place,
                format!("`{}` has more than two terminals.", word.text),
                format!("Name one, or two with `to`: {}.", listed(offers)),
            );
            return Probe::Nowhere;
        }
        self.node(word).map_or(Probe::Nowhere, Probe::At)
    }

    fn node(&mut self, word: Word<'_>) -> Option<crate::circuit::NodeId> {
        if let Some(node) = self.index.node(word.text) {
            return Some(node);
        }
        if let Some((part, _)) = self
            .circuit
            .terminal(word.text)
            .filter(|_| word.text.contains('.'))
        {
            let name = self.circuit.parts.get(part.0).map_or("", |p| &p.name);
            self.problems.add(
                codes::NOT_TRACED,
                word.place,
                format!(
                    "No walk has reached `{}` yet, so nothing is expected there.",
                    word.text
                ),
                format!("Trace `{name}` further; the reading is kept."),
            );
            return None;
        }
        let base = word.text.split_once('.').map_or(word.text, |b| b.0);
        let near = self.index.nearest(word.text, self.circuit);
        let advice = match near {
            Some(near) => format!("Did you mean `{near}`? The reading is kept."),
            None if base != word.text => {
                format!("Describe `{base}` and walk to it; the reading is kept.")
            }
            None => "Walk to it, or correct the name; the reading is kept.".to_owned(),
        };
        self.problems.add(
            codes::NOT_IN_WIRING,
            word.place,
            format!("The wiring has no point `{}`.", word.text),
            advice,
        );
        None
    }
}

fn choice(words: &mut Words<'_, '_>, yes: &str, no: &str) -> Option<bool> {
    if words.take_word(yes).is_some() {
        Some(true)
    } else {
        words.take_word(no).map(|_| false)
    }
}
