//! Resistors, capacitors and cans, chokes, lamps, cells, fuses.

use super::{CanSection, Ctx, Description, Slot, What, each, filled, known, take_slot, terminals};
use crate::circuit::{Kind, Known, LampSort};
use crate::codes;
use crate::lexer::TokenKind;
use crate::units::Quantity;
use crate::words::Words;

pub(super) fn one(kind: Kind, names: &[&str], known: Known) -> Description {
    Description {
        what: What::One(kind, terminals(names)),
        known,
        bare: false,
    }
}

pub(super) fn resistor(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    words.take_word("resistor");
    let mut known = Known::default();
    let mut slots = [
        Slot::main(Quantity::Ohms),
        Slot::of(Quantity::Watts),
        Slot::of(Quantity::Volts),
    ];
    each(words, ctx, &mut known, Some(Quantity::Ohms), &[], |w, c| {
        take_slot(w, c, &mut slots)
    });
    known.watts = filled(&slots[1]);
    known.volts = filled(&slots[2]);
    let ohms = filled(&slots[0]);
    one(Kind::Resistor { ohms }, &["1", "2"], known)
}

pub(super) fn capacitor(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    words.take_word("capacitor");
    // A class letter may stand before `can`: both are capacitors.
    let mut known = Known::default();
    let farads = section(words, ctx, &mut known);
    one(
        Kind::Capacitor {
            farads,
            plus_first: None,
        },
        &["1", "2"],
        known,
    )
}

/// Value and rating of one capacitor.
fn section(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>, known: &mut Known) -> Option<f64> {
    let mut slots = [Slot::main(Quantity::Farads), Slot::of(Quantity::Volts)];
    each(words, ctx, known, Some(Quantity::Farads), &[], |w, c| {
        take_slot(w, c, &mut slots)
    });
    if let Some(volts) = filled(&slots[1]) {
        known.volts = Some(volts);
    }
    filled(&slots[0])
}

/// `can 450V: a 32u, b 16u, c 25u 25V`; what stands before the colon holds for every section.
pub(super) fn can(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    let head = words.take_word("can");
    let colon = words.rest().iter().any(|w| w.kind == TokenKind::Colon);
    let mut common = Known::default();
    let mut before = words.take_until(TokenKind::Colon);
    let mut slots = [Slot::of(Quantity::Volts)];
    each(&mut before, ctx, &mut common, None, &[], |w, c| {
        take_slot(w, c, &mut slots)
    });
    common.volts = filled(&slots[0]);
    let mut sections: Vec<CanSection> = Vec::new();
    if !colon && let Some(head) = head {
        ctx.missing(head, "can 450V: a 32u, b 16u");
    }
    while !words.rest().is_empty() {
        let mut part = words.take_until(TokenKind::Comma);
        let Some(first) = part.take() else {
            continue;
        };
        let mut letters = first.text.chars();
        let letter = letters
            .next()
            .filter(|c| c.is_ascii_lowercase() && letters.next().is_none());
        let Some(letter) = letter.filter(|_| first.is_word()) else {
            ctx.problems.add(
                codes::UNEXPECTED_WORD,
                first.place,
                format!("`{}` is not the letter of a section.", first.text),
                "Type the sections as `a 32u, b 16u`.",
            );
            continue;
        };
        let mut own = Known::default();
        let farads = section(&mut part, ctx, &mut own);
        if sections.iter().any(|s| s.letter == letter) {
            ctx.problems.add(
                codes::UNEXPECTED_WORD,
                first.place,
                format!("Section `{letter}` of `{}` stands twice.", ctx.name),
                "Give each section its own letter.",
            );
            continue;
        }
        own.volts = own.volts.or(common.volts);
        own.make = own.make.or(common.make);
        own.history = own.history.or(common.history);
        own.tolerance = own.tolerance.or(common.tolerance);
        own.verdict = own.verdict.or(common.verdict);
        own.sits = own.sits.or_else(|| common.sits.clone());
        own.assumed |= common.assumed;
        own.minimum |= common.minimum;
        let notes = std::mem::take(&mut own.notes);
        own.notes = common.notes.iter().cloned().chain(notes).collect();
        sections.push(CanSection {
            letter,
            farads,
            known: own,
        });
    }
    Description {
        what: What::Can(sections),
        known: common,
        bare: false,
    }
}

/// `L1 5H 150 ohm`. Ruling: `= 145 ohm` is the winding's resistance as read and takes the
/// place of the marked ohms; `= 4H` is the inductance as read.
pub(super) fn choke(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    words.take_word("choke");
    let mut known = Known::default();
    let mut measured_ohms = None;
    let mut slots = [
        Slot::main(Quantity::Henries),
        Slot::of(Quantity::Ohms),
        Slot::of(Quantity::Amps),
        Slot::of(Quantity::Volts),
    ];
    while let Some(word) = words.peek() {
        let mut ahead = *words;
        if ahead.take_kind(TokenKind::Equals).is_some()
            && let Some(number) = ahead.take_number()
            && number
                .raw
                .as_ref()
                .is_ok_and(|r| r.unit == Some(Quantity::Ohms))
        {
            measured_ohms = ctx.value(&number, Quantity::Ohms);
            *words = ahead;
            continue;
        }
        if known::take(words, ctx, &mut known, Some(Quantity::Henries))
            || take_slot(words, ctx, &mut slots)
        {
            continue;
        }
        ctx.unexpected(word, &[]);
        break;
    }
    known.volts = filled(&slots[3]);
    let kind = Kind::Choke {
        henries: filled(&slots[0]),
        ohms: measured_ohms.or(filled(&slots[1])),
    };
    one(kind, &["1", "2"], known)
}

/// Lamp numbers with volts and amperes. From memory of the makers' lists, not seen.
const LAMPS: [(&str, f64, f64); 9] = [
    ("#12", 6.3, 0.15),
    ("#40", 6.3, 0.15),
    ("#44", 6.3, 0.25),
    ("#46", 6.3, 0.25),
    ("#47", 6.3, 0.15),
    ("#49", 2.0, 0.06),
    ("#51", 7.5, 0.22),
    ("#755", 6.3, 0.15),
    ("#1847", 6.3, 0.15),
];

pub(super) fn lamp(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    words.take_word("lamp");
    let mut known = Known::default();
    let mut neon = false;
    let mut number = None;
    let mut slots = [
        Slot::of(Quantity::Volts),
        Slot::of(Quantity::Amps),
        Slot::of(Quantity::Watts),
    ];
    each(
        words,
        ctx,
        &mut known,
        Some(Quantity::Ohms),
        &["neon", "lamp"],
        |w, c| {
            if w.take_word("neon").is_some() {
                neon = true;
                return true;
            }
            if let Some(word) = w.peek()
                && word.is_word()
                && let Some(lamp) = LAMPS.iter().find(|(name, _, _)| *name == word.text)
            {
                w.take();
                number = Some(*lamp);
                return true;
            }
            take_slot(w, c, &mut slots)
        },
    );
    let volts = filled(&slots[0]).or(number.map(|l| l.1));
    let amps = filled(&slots[1])
        .or(number.map(|l| l.2))
        .or(match (filled(&slots[2]), volts) {
            (Some(watts), Some(volts)) if volts > 0.0 => Some(watts / volts),
            _ => None,
        });
    let sort = if neon {
        known.volts = volts;
        LampSort::Neon
    } else {
        LampSort::Filament(volts, amps)
    };
    one(Kind::Lamp { sort }, &["1", "2"], known)
}

/// `cell of DS1 dark 10M lit 10k`.
pub(super) fn cell(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    let head = words.take_word("cell");
    let mut known = Known::default();
    let mut lamp = String::new();
    let (mut dark, mut lit) = (None, None);
    each(
        words,
        ctx,
        &mut known,
        Some(Quantity::Ohms),
        &["of", "dark", "lit"],
        |w, c| {
            let Some(word) = w.peek().filter(|w| w.is_word()) else {
                return false;
            };
            match word.text {
                "of" => {
                    w.take();
                    match w.peek().filter(|n| n.is_word()) {
                        Some(name) => {
                            w.take();
                            name.text.clone_into(&mut lamp);
                        }
                        None => c.missing(word, "of DS1"),
                    }
                }
                "dark" => {
                    w.take();
                    dark = c.number(w, word, Quantity::Ohms, "dark 10M");
                }
                "lit" => {
                    w.take();
                    lit = c.number(w, word, Quantity::Ohms, "lit 10k");
                }
                _ => return false,
            }
            true
        },
    );
    if lamp.is_empty()
        && let Some(head) = head
    {
        ctx.missing(head, "cell of DS1 dark 10M lit 10k");
    }
    let kind = Kind::Cell {
        lamp,
        dark_ohms: dark,
        lit_ohms: lit,
    };
    one(kind, &["1", "2"], known)
}

pub(super) fn fuse(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    words.take_word("fuse");
    let mut known = Known::default();
    let mut slow = false;
    let mut slots = [Slot::of(Quantity::Amps), Slot::of(Quantity::Volts)];
    each(
        words,
        ctx,
        &mut known,
        Some(Quantity::Ohms),
        &["slow", "fast"],
        |w, c| {
            if w.take_word("slow").is_some() {
                slow = true;
                true
            } else {
                w.take_word("fast").is_some() || take_slot(w, c, &mut slots)
            }
        },
    );
    known.volts = filled(&slots[1]);
    let amps = filled(&slots[0]);
    one(Kind::Fuse { amps, slow }, &["1", "2"], known)
}
