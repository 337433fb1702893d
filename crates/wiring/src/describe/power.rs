//! Mains transformers.

use super::{Ctx, Description, Slot, What, each, filled, take_slot};
use crate::circuit::{Kind, Known, PowerTransformer, Winding};
use crate::codes;
use crate::lexer::{TokenKind, is_dash};
use crate::units::{Quantity, parse_raw};
use crate::words::{Word, Words};

/// `power 230 V 18 ohm: hv 275-0-275 V 70 mA 210 ohm, heater 6.3 V 2.5 A`.
///
/// Rulings: what is known of the whole transformer may stand before the colon or in any
/// winding. A winding without amperes states no-load volts. A single winding with several
/// taps is written with `tap NAME VOLTS`.
pub(super) fn power(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    words.take_word("power");
    let mut known = Known::default();
    let mut transformer = PowerTransformer {
        primary: Vec::new(),
        primary_ohms: None,
        windings: Vec::new(),
        ideal: false,
    };
    let mut names: Vec<String> = Vec::new();
    let mut head = words.take_until(TokenKind::Colon);
    let mut slots = [
        Slot::of(Quantity::Volts),
        Slot::of(Quantity::Ohms),
        Slot::of(Quantity::Watts),
    ];
    let mut ideal = false;
    let mut taps: Option<Vec<(String, f64)>> = None;
    each(&mut head, ctx, &mut known, None, &["ideal"], |w, c| {
        if w.take_word("ideal").is_some() {
            ideal = true;
            return true;
        }
        if taps.is_none()
            && let Some(list) = volts_list(w)
        {
            taps = Some(list);
            return true;
        }
        take_slot(w, c, &mut slots)
    });
    transformer.ideal = ideal;
    transformer.primary_ohms = filled(&slots[1]);
    if let Some(taps) = taps {
        for (text, volts) in taps {
            names.push(format!("pri{text}"));
            transformer.primary.push((names.len() - 1, volts));
        }
    } else {
        names.extend(["pri1".to_owned(), "pri2".to_owned()]);
        if let Some(volts) = filled(&slots[0]) {
            transformer.primary.extend([(0, volts), (1, 0.0)]);
        }
    }
    while !words.rest().is_empty() {
        let mut part = words.take_until(TokenKind::Comma);
        winding(&mut part, ctx, &mut known, &mut transformer, &mut names);
    }
    let mut seen = std::collections::BTreeSet::new();
    if let Some(twice) = names.iter().find(|n| !seen.insert(n.as_str())) {
        ctx.problems.add(
            codes::WINDING_NAME,
            ctx.place,
            format!("`{}` would have the terminal `{twice}` twice.", ctx.name),
            "Give every winding and tap a name of its own, like `heater` and `heaterb`.",
        );
    }
    Description {
        what: What::One(Kind::PowerTransformer(transformer), names),
        known,
        bare: false,
    }
}

/// Takes `275-0-275 V` or `0-110-220-240 V`: the numbers as typed and as volts.
fn volts_list(words: &mut Words<'_, '_>) -> Option<Vec<(String, f64)>> {
    let word = words.peek().filter(Word::is_word)?;
    let bare = word.text.trim_end_matches(['V', 'v']);
    let list: Option<Vec<(String, f64)>> = bare
        .split(is_dash)
        .map(|text| {
            let raw = parse_raw(text).ok()?;
            (raw.unit.is_none() && raw.prefix.is_none() && raw.value < 1e5 && !raw.signed)
                .then(|| (text.to_owned(), raw.value))
        })
        .collect();
    let list = list.filter(|l| (2..=16).contains(&l.len()))?;
    words.take();
    if bare.len() == word.text.len() && words.take_word("V").is_none() {
        words.take_word("v");
    }
    Some(list)
}

/// Takes `105+98 ohm`.
pub(super) fn halves(words: &mut Words<'_, '_>) -> Option<(f64, f64)> {
    let word = words.peek().filter(Word::is_word)?;
    let (first, second) = word.text.split_once('+')?;
    let first = parse_raw(first).ok()?;
    let mut second_text = second.to_owned();
    let next = words.peek_second();
    if parse_raw(second).ok()?.unit.is_none() {
        let unit = next.filter(|n| n.is_word() && crate::units::reads_as_unit(n.text))?;
        second_text.push_str(unit.text);
    }
    let second = parse_raw(&second_text).ok()?;
    let fine = second.unit == Some(Quantity::Ohms)
        && first.unit.is_none_or(|u| u == Quantity::Ohms)
        && [first.value, second.value]
            .iter()
            .all(|v| (0.0..=1e9).contains(v));
    if !fine {
        return None;
    }
    words.take();
    if second_text.len() != word.text.len() - word.text.find('+')? - 1 {
        words.take();
    }
    Some((first.value, second.value))
}

fn winding(
    words: &mut Words<'_, '_>,
    ctx: &mut Ctx<'_>,
    known: &mut Known,
    transformer: &mut PowerTransformer,
    names: &mut Vec<String>,
) {
    let Some(first) = words.peek() else {
        return;
    };
    if !good_name(first) {
        ctx.problems.add(
            codes::WINDING_NAME,
            first.place,
            format!("`{}` is no name for a winding.", first.text),
            "Start each winding with a name of letters that does not end in a digit: `heater 6.3 V 2.5 A`.",
        );
        return;
    }
    words.take();
    let name = first.text;
    let mut slots = [
        Slot::of(Quantity::Volts),
        Slot::of(Quantity::Amps),
        Slot::of(Quantity::Ohms),
    ];
    let mut list: Option<(Word<'_>, Vec<(String, f64)>)> = None;
    let mut split = None;
    let mut taps: Vec<(String, f64)> = Vec::new();
    let mut ideal = false;
    each(words, ctx, known, None, &["tap", "ideal"], |w, c| {
        let Some(word) = w.peek() else {
            return false;
        };
        if word.is("tap") {
            w.take();
            let tap = w.peek().filter(|t| good_name(*t));
            match tap {
                Some(tap) => {
                    w.take();
                    if let Some(volts) = c.number(w, tap, Quantity::Volts, "tap bias 50 V") {
                        taps.push((tap.text.to_owned(), volts));
                    }
                }
                None => c.missing(word, "tap bias 50 V"),
            }
            return true;
        }
        if w.take_word("ideal").is_some() {
            ideal = true;
            return true;
        }
        if list.is_none()
            && let Some(found) = volts_list(w)
        {
            list = Some((word, found));
            return true;
        }
        if split.is_none()
            && let Some(found) = halves(w)
        {
            split = Some(found);
            return true;
        }
        take_slot(w, c, &mut slots)
    });
    transformer.ideal |= ideal;
    let mut ends: Vec<(usize, f64)> = Vec::new();
    let mut end = |tail: &str, volts: f64| {
        names.push(format!("{name}{tail}"));
        ends.push((names.len() - 1, volts));
    };
    match list {
        Some((word, list)) => match list.as_slice() {
            [(_, first), (_, middle), (_, last)] if *middle == 0.0 => {
                end("1", *first);
                end("0", 0.0);
                end("2", -*last);
            }
            _ => {
                ctx.problems.add(
                    codes::NOT_A_VALUE,
                    word.place,
                    format!("`{}` is not the volts of a winding.", word.text),
                    "Type `275-0-275 V` for a centre tap, or `60 V tap low 50 V` for another.",
                );
                end("1", 0.0);
                end("2", 0.0);
                ends.clear();
            }
        },
        None => match filled(&slots[0]) {
            Some(volts) => {
                end("1", volts);
                end("2", 0.0);
            }
            None => {
                if slots[0].value.is_none() {
                    ctx.missing(first, &format!("{name} 6.3 V 2.5 A"));
                }
                end("1", 0.0);
                end("2", 0.0);
                ends.clear();
            }
        },
    }
    for (tap, volts) in taps {
        names.push(tap);
        ends.push((names.len() - 1, volts));
    }
    // Winding order: falling volts along the wire, first-named end first.
    ends.sort_by(|a, b| b.1.total_cmp(&a.1));
    transformer.windings.push(Winding {
        name: name.to_owned(),
        taps: ends,
        amps: filled(&slots[1]),
        ohms: filled(&slots[2]),
        halves: split,
    });
}

fn good_name(word: Word<'_>) -> bool {
    word.is_word()
        && word.text.chars().all(|c| c.is_alphanumeric() || c == '_')
        && word.text.chars().next().is_some_and(char::is_alphabetic)
        && !word.text.ends_with(|c: char| c.is_ascii_digit())
        && word.text != "tap"
}
