//! Bench supplies, generators, ideal amplifiers, and boxes.

use super::passive::one;
use super::{Ctx, Description, Slot, What, each, filled, take_slot};
use crate::circuit::{Kind, Known};
use crate::codes;
use crate::units::Quantity;
use crate::words::{Word, Words};

/// `supply 300 V 10 ohm`; without ohms it has none.
pub(super) fn supply(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    words.take_word("supply");
    let mut known = Known::default();
    let mut slots = [Slot::signed(Quantity::Volts), Slot::of(Quantity::Ohms)];
    each(words, ctx, &mut known, None, &[], |w, c| {
        take_slot(w, c, &mut slots)
    });
    one(
        Kind::Supply {
            volts: filled(&slots[0]),
            ohms: filled(&slots[1]).unwrap_or(0.0),
        },
        &["plus", "minus"],
        known,
    )
}

/// `generator 50 mV 1 kHz 600 ohm`; without ohms it has none.
pub(super) fn generator(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    words.take_word("generator");
    let mut known = Known::default();
    let mut slots = [
        Slot::of(Quantity::Volts),
        Slot::of(Quantity::Hertz),
        Slot::of(Quantity::Ohms),
    ];
    each(words, ctx, &mut known, None, &[], |w, c| {
        take_slot(w, c, &mut slots)
    });
    one(
        Kind::Generator {
            volts: filled(&slots[0]),
            hertz: filled(&slots[1]),
            ohms: filled(&slots[2]).unwrap_or(0.0),
        },
        &["1", "2"],
        known,
    )
}

/// `gain -29`.
pub(super) fn gain(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    let head = words.take_word("gain");
    let mut known = Known::default();
    let mut gain = None;
    each(words, ctx, &mut known, None, &[], |w, c| {
        if gain.is_some() {
            return false;
        }
        let Some(number) = w.take_number() else {
            return false;
        };
        gain = match &number.raw {
            Ok(raw) if raw.unit.is_none() && raw.prefix.is_none() && raw.value.abs() <= 1e9 => {
                Some(raw.value)
            }
            Ok(_) => {
                c.problems.add(
                    codes::NOT_A_VALUE,
                    number.place,
                    format!("`{}` is not a gain.", number.text),
                    "Type a plain number, volts out per volt in: `gain -29`.",
                );
                Some(1.0)
            }
            Err(error) => {
                c.bad_value(error, &number);
                Some(1.0)
            }
        };
        true
    });
    if gain.is_none()
        && let Some(head) = head
    {
        ctx.missing(head, "gain -29");
    }
    one(
        Kind::Gain {
            gain: gain.unwrap_or(1.0),
        },
        &["in", "out"],
        known,
    )
}

/// `box "reverb unit" a b c`: the first quoted text is its label, plain words its terminals.
///
/// Ruling: words on state, verdict and place are understood after the terminals.
pub(super) fn named_box(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    let head = words.take_word("box");
    let label = words.take_quoted().map_or("", |w| w.text).to_owned();
    let mut known = Known::default();
    let mut names: Vec<String> = Vec::new();
    each(words, ctx, &mut known, None, &[], |w, _| {
        let Some(word) = w.peek().filter(Word::is_word) else {
            return false;
        };
        let plain = word.text.chars().all(|c| c.is_alphanumeric() || c == '_');
        if !plain || names.iter().any(|n| n == word.text) {
            return false;
        }
        w.take();
        names.push(word.text.to_owned());
        true
    });
    if names.is_empty()
        && let Some(head) = head
    {
        ctx.missing(head, "box \"reverb unit\" a b c");
    }
    Description {
        what: What::One(Kind::Box { label }, names),
        known,
        bare: false,
    }
}
