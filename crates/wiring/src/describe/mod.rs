//! Descriptions: from the words after a part's name to its kind, terminals and what is known.
//!
//! One file for each family of kinds. Knows words and values; knows neither points nor
//! wires. A word that fits nowhere ends the description with an error, and what came
//! before it stays.

mod bench;
mod control;
mod diode;
mod known;
mod merge;
mod passive;
mod power;
mod signal;
mod valve;

pub(crate) use merge::merge;

use crate::circuit::{Kind, Known};
use crate::codes;
use crate::diagnostic::Place;
use crate::names::{self, Class};
use crate::problems::Problems;
use crate::sheet::Library;
use crate::units::{Quantity, ValueError, parse};
use crate::words::{Number, Word, Words};

/// What a description came to.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Description {
    /// The part or parts it stands for.
    pub(crate) what: What,
    /// What is known beyond the marking.
    pub(crate) known: Known,
    /// Nothing but the kind was said.
    pub(crate) bare: bool,
}

/// The part or parts that one name stands for.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum What {
    /// One part with these terminals.
    One(Kind, Vec<String>),
    /// A can of capacitors; sections by letter.
    Can(Vec<CanSection>),
    /// A pot of several gangs.
    Gangs(Kind, usize),
    /// A switch of several poles.
    Poles(Kind, Vec<String>, usize),
}

/// One section of a can.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct CanSection {
    /// Its letter.
    pub(crate) letter: char,
    /// Marked farads.
    pub(crate) farads: Option<f64>,
    /// Its own rating and readings on top of the can's.
    pub(crate) known: Known,
}

/// Kind words and the describer each leads to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Family {
    Resistor,
    Capacitor,
    Can,
    Choke,
    Diode,
    Lamp,
    Cell,
    Fuse,
    Switch,
    Jack,
    Pot,
    Valve,
    Power,
    Output,
    Coupling,
    Tank,
    Speaker,
    Supply,
    Generator,
    Gain,
    Box,
}

/// Every word that states a kind, for offers.
pub(crate) const KIND_WORDS: [&str; 28] = [
    "resistor",
    "capacitor",
    "can",
    "choke",
    "diode",
    "silicon",
    "selenium",
    "zener",
    "bridge",
    "lamp",
    "neon",
    "cell",
    "fuse",
    "switch",
    "jack",
    "phono",
    "pot",
    "valve",
    "power",
    "output",
    "driver",
    "inter",
    "tank",
    "speaker",
    "supply",
    "generator",
    "gain",
    "box",
];

fn family_of_word(word: &str) -> Option<Family> {
    Some(match word {
        "resistor" => Family::Resistor,
        "capacitor" => Family::Capacitor,
        "can" => Family::Can,
        "choke" => Family::Choke,
        "diode" | "silicon" | "selenium" | "zener" | "bridge" => Family::Diode,
        "lamp" | "neon" => Family::Lamp,
        "cell" => Family::Cell,
        "fuse" => Family::Fuse,
        "switch" => Family::Switch,
        "jack" | "phono" => Family::Jack,
        "pot" => Family::Pot,
        "valve" => Family::Valve,
        "power" => Family::Power,
        "output" => Family::Output,
        "driver" | "inter" => Family::Coupling,
        "tank" => Family::Tank,
        "speaker" => Family::Speaker,
        "supply" => Family::Supply,
        "generator" => Family::Generator,
        "gain" => Family::Gain,
        "box" => Family::Box,
        _ => return None,
    })
}

fn family_of_class(class: Class) -> Option<Family> {
    Some(match class {
        Class::Resistor => Family::Resistor,
        Class::Capacitor => Family::Capacitor,
        Class::Choke => Family::Choke,
        Class::Diode => Family::Diode,
        Class::Lamp => Family::Lamp,
        Class::Fuse => Family::Fuse,
        Class::Switch => Family::Switch,
        Class::Jack => Family::Jack,
        Class::Valve => Family::Valve,
        Class::Tank => Family::Tank,
        Class::Speaker => Family::Speaker,
        Class::Transformer => return None,
    })
}

/// May a part of this class be of this family?
fn fits(class: Class, family: Family) -> bool {
    match class {
        Class::Resistor => matches!(family, Family::Resistor | Family::Cell | Family::Pot),
        Class::Capacitor => matches!(family, Family::Capacitor | Family::Can),
        Class::Transformer => {
            matches!(family, Family::Power | Family::Output | Family::Coupling)
        }
        _ => family_of_class(class) == Some(family),
    }
}

/// Does this word state a kind?
pub(crate) fn is_kind_word(word: &str) -> bool {
    family_of_word(word).is_some()
}

/// What a describer works with.
pub(crate) struct Ctx<'c> {
    /// The part's name.
    pub(crate) name: &'c str,
    /// Where the name stands.
    pub(crate) place: Place,
    /// Data sheets.
    pub(crate) library: &'c Library,
    /// Where problems go.
    pub(crate) problems: &'c mut Problems,
}

impl Ctx<'_> {
    /// A value that must be of this quantity; a problem and none when it is not.
    pub(crate) fn value(&mut self, number: &Number, quantity: Quantity) -> Option<f64> {
        match parse(&number.text, quantity) {
            Ok(raw) => Some(raw.value),
            Err(error) => {
                self.bad_value(&error, number);
                None
            }
        }
    }

    /// Reports a value that does not read.
    pub(crate) fn bad_value(&mut self, error: &ValueError, number: &Number) {
        let before = match error {
            ValueError::NoUnit { .. } => String::new(),
            _ => format!("{} ", self.name),
        };
        self.problems
            .value(error, number.place, &number.text, &before);
    }

    /// Takes the number that must come next.
    pub(crate) fn number(
        &mut self,
        words: &mut Words<'_, '_>,
        after: Word<'_>,
        quantity: Quantity,
        example: &str,
    ) -> Option<f64> {
        match words.take_number() {
            Some(number) => self.value(&number, quantity),
            None => {
                self.missing(after, example);
                None
            }
        }
    }

    /// Reports a word that needs something after it.
    pub(crate) fn missing(&mut self, after: Word<'_>, example: &str) {
        self.problems.add(
            codes::WORD_MISSING,
            after.place,
            format!("`{}` needs something after it.", after.text),
            format!("Type for example `{example}`."),
        );
    }

    /// Reports a word that fits nowhere.
    pub(crate) fn unexpected(&mut self, word: Word<'_>, own: &[&str]) {
        let near = names::nearest(
            word.text,
            own.iter().copied().chain(known::WORDS).chain(KIND_WORDS),
        )
        .filter(|_| word.text.len() > 2);
        let advice = if word.is_word()
            && (word.text.contains('.') || names::class_of(word.text).is_some())
        {
            format!("Did you leave out ` - ` before `{}`?", word.text)
        } else if let Some(near) = near {
            format!("Did you mean `{near}`, or leave out ` - ` before it?")
        } else if word.is_number() {
            "A value stands once; leave one out, or type ` - ` between two stops.".to_owned()
        } else {
            format!(
                "Did you leave out ` - `? A remark goes in quotes: `\"{}\"`.",
                word.text
            )
        };
        self.problems.add(
            codes::UNEXPECTED_WORD,
            word.place,
            format!(
                "`{}` fits nowhere in the description of `{}`.",
                word.text, self.name
            ),
            advice,
        );
    }
}

/// A place for a number of a quantity.
pub(crate) struct Slot {
    quantity: Quantity,
    bare: bool,
    signed: bool,
    /// What was found.
    pub(crate) value: Option<f64>,
}

impl Slot {
    /// Takes numbers with this unit.
    pub(crate) fn of(quantity: Quantity) -> Self {
        Self {
            quantity,
            bare: false,
            signed: false,
            value: None,
        }
    }

    /// Takes numbers without a unit too, as that quantity's notation allows.
    pub(crate) fn main(quantity: Quantity) -> Self {
        Self {
            bare: true,
            ..Self::of(quantity)
        }
    }

    /// Takes numbers below zero too: volts that have a direction, not a rating.
    pub(crate) fn signed(quantity: Quantity) -> Self {
        Self {
            signed: true,
            ..Self::of(quantity)
        }
    }
}

/// Takes the next number into the slot of its quantity; false when there is no number next,
/// or no empty slot for it.
pub(crate) fn take_slot(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>, slots: &mut [Slot]) -> bool {
    let mut ahead = *words;
    let Some(number) = ahead.take_number() else {
        return false;
    };
    let unit = match &number.raw {
        Ok(raw) => raw.unit,
        Err(ValueError::MilliOrMicro { .. }) => Some(Quantity::Farads),
        Err(error) => {
            ctx.bad_value(error, &number);
            *words = ahead;
            return true;
        }
    };
    let slot = match unit {
        Some(unit) => slots
            .iter_mut()
            .find(|s| s.quantity == unit && s.value.is_none()),
        None => slots
            .iter_mut()
            .find(|s| s.bare && s.value.is_none())
            .or(None),
    };
    match slot {
        Some(slot) => {
            slot.value = ctx.value(&number, slot.quantity);
            if !slot.signed && slot.value.is_some_and(|v| v < 0.0) {
                ctx.bad_value(&ValueError::Negative, &number);
                slot.value = None;
            }
            if slot.value.is_none() {
                // Remember that it was given, so that a second one is still odd.
                slot.value = Some(f64::NAN);
            }
        }
        None => {
            let main = slots.iter().find(|s| s.bare).or(slots.first());
            let error = match (unit, main) {
                (Some(found), _) if slots.iter().all(|s| s.quantity != found) => {
                    ValueError::WrongUnit { found }
                }
                (None, Some(slot)) if slots.iter().all(|s| !s.bare) => ValueError::NoUnit {
                    offers: slots
                        .iter()
                        .filter(|s| s.value.is_none())
                        .map(|s| format!("{}{}", number.text, s.quantity.symbol()))
                        .chain(
                            slots
                                .iter()
                                .all(|s| s.value.is_some())
                                .then(|| format!("{}{}", number.text, slot.quantity.symbol())),
                        )
                        .collect(),
                },
                _ => return false,
            };
            ctx.bad_value(&error, &number);
        }
    }
    *words = ahead;
    true
}

/// The value of a slot, none when it was not given or did not read.
pub(crate) fn filled(slot: &Slot) -> Option<f64> {
    slot.value.filter(|v| v.is_finite())
}

/// Takes words until none is left or one fits nowhere.
pub(crate) fn each<'w, 'a>(
    words: &mut Words<'w, 'a>,
    ctx: &mut Ctx<'_>,
    known: &mut Known,
    reading: Option<Quantity>,
    own_words: &[&str],
    mut own: impl FnMut(&mut Words<'w, 'a>, &mut Ctx<'_>) -> bool,
) {
    while let Some(word) = words.peek() {
        if known::take(words, ctx, known, reading) || own(words, ctx) {
            continue;
        }
        ctx.unexpected(word, own_words);
        return;
    }
}

/// Terminal names from a list.
pub(crate) fn terminals(names: &[&str]) -> Vec<String> {
    names.iter().map(|n| (*n).to_owned()).collect()
}

/// What a class letter says when there is no description at all.
pub(crate) fn by_class(ctx: &mut Ctx<'_>, class: Class) -> Option<Description> {
    describe(ctx, Some(class), &[])
}

/// Reads a description; none when neither class nor words say what the part is.
pub(crate) fn describe(
    ctx: &mut Ctx<'_>,
    class: Option<Class>,
    list: &[Word<'_>],
) -> Option<Description> {
    let mut words = Words::new(list);
    let stated = words
        .peek()
        .filter(Word::is_word)
        .and_then(|w| family_of_word(w.text));
    let family = stated.or_else(|| class.and_then(family_of_class))?;
    if let (Some(class), Some(word)) = (class, words.peek())
        && stated.is_some()
        && !fits(class, family)
    {
        ctx.problems.add(
            codes::KIND_AND_NAME,
            word.place,
            format!(
                "`{}` is a {} by its letter, but is described as `{}`.",
                ctx.name,
                class.word(),
                word.text
            ),
            "Check the name; the description counts.",
        );
    }
    let mut description = match family {
        Family::Resistor => passive::resistor(&mut words, ctx),
        Family::Capacitor => passive::capacitor(&mut words, ctx),
        Family::Can => passive::can(&mut words, ctx),
        Family::Choke => passive::choke(&mut words, ctx),
        Family::Lamp => passive::lamp(&mut words, ctx),
        Family::Cell => passive::cell(&mut words, ctx),
        Family::Fuse => passive::fuse(&mut words, ctx),
        Family::Diode => diode::diode(&mut words, ctx),
        Family::Switch => control::switch(&mut words, ctx),
        Family::Jack => control::jack(&mut words, ctx),
        Family::Pot => control::pot(&mut words, ctx),
        Family::Valve => valve::valve(&mut words, ctx),
        Family::Power => power::power(&mut words, ctx),
        Family::Output => signal::output(&mut words, ctx),
        Family::Coupling => signal::coupling(&mut words, ctx),
        Family::Tank => signal::tank(&mut words, ctx),
        Family::Speaker => signal::speaker(&mut words, ctx),
        Family::Supply => bench::supply(&mut words, ctx),
        Family::Generator => bench::generator(&mut words, ctx),
        Family::Gain => bench::gain(&mut words, ctx),
        Family::Box => bench::named_box(&mut words, ctx),
    };
    description.bare = list.len() <= usize::from(stated.is_some());
    Some(description)
}
