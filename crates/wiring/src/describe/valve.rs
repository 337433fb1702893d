//! Valves: type, what is really fitted, and pins and limits typed for a type without a sheet.
//!
//! Beyond the sheets: `V9 7XYZ like 12AX7` lends curves, and unless given pins and limits,
//! of another type. Pins and limits are typed after a colon, separated by `;`:
//! `V9 7XYZ: pins 1 plate a, 2 grid a, 3 cathode a, 4 heater1, 5 heater2; limits plate 300 V 2.5 W`.

use super::{Ctx, Description, What, each};
use crate::circuit::{Electrode, Kind, Known, PinUse, Valve, ValveLimits};
use crate::codes;
use crate::lexer::TokenKind;
use crate::sheet::{Base, Sheet};
use crate::units::{Quantity, parse_percent};
use crate::words::{Word, Words};

/// Sockets have no more pins than this.
const MOST_PINS: usize = 20;

/// `12AX7`, `5Y3GT = 5AR4`, `emission 70%`, `like 12AX7`.
pub(super) fn valve(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    words.take_word("valve");
    let mut known = Known::default();
    let mut valve = Valve {
        meant: String::new(),
        fitted: None,
        emission: None,
        electrodes: Vec::new(),
        limits: ValveLimits::default(),
        like: None,
    };
    let mut head = words.take_until(TokenKind::Colon);
    let mut type_word = None;
    if let Some(word) = head.peek()
        && is_type(word)
    {
        head.take();
        word.text.clone_into(&mut valve.meant);
        type_word = Some(word);
    } else {
        ctx.problems.add(
            codes::VALVE_WITHOUT_TYPE,
            head.peek().map_or(ctx.place, |w| w.place),
            format!("Nothing says what type `{}` is.", ctx.name),
            format!("Type for example `{} 12AX7`.", ctx.name),
        );
    }
    while let Some(word) = head.peek() {
        let mut ahead = head;
        if ahead.take_kind(TokenKind::Equals).is_some()
            && let Some(fitted) = ahead.peek().filter(|w| is_type(*w))
        {
            ahead.take();
            head = ahead;
            valve.fitted = Some(fitted.text.to_owned());
            if ctx.library.find(fitted.text).is_none() {
                unknown_type(ctx, fitted);
            }
            continue;
        }
        let mut own = |w: &mut Words<'_, '_>, c: &mut Ctx<'_>| own_word(w, c, &mut valve);
        if own(&mut head, ctx) {
            continue;
        }
        let before = head.rest().len();
        if super::known::take(&mut head, ctx, &mut known, None) {
            debug_assert!(head.rest().len() < before, "known words are taken");
            continue;
        }
        ctx.unexpected(word, &["emission", "like"]);
        break;
    }
    let mut typed: Vec<PinLine> = Vec::new();
    while !words.rest().is_empty() {
        let mut clause = words.take_until(TokenKind::Semicolon);
        clauses(&mut clause, ctx, &mut known, &mut valve, &mut typed);
    }
    finish(ctx, valve, known, &typed, type_word)
}

fn own_word(w: &mut Words<'_, '_>, c: &mut Ctx<'_>, valve: &mut Valve) -> bool {
    let Some(word) = w.peek() else {
        return false;
    };
    if w.take_word("emission").is_some() {
        match w.peek().and_then(|p| parse_percent(p.text)) {
            Some(f) if (0.0..=2.0).contains(&f) => {
                w.take();
                valve.emission = Some(f);
            }
            _ => c.missing(word, "emission 70%"),
        }
        return true;
    }
    if w.take_word("like").is_some() {
        match w.peek().filter(|t| is_type(*t)) {
            Some(other) => {
                w.take();
                valve.like = Some(other.text.to_owned());
                if c.library.find(other.text).is_none() {
                    unknown_type(c, other);
                }
            }
            None => c.missing(word, "like 12AX7"),
        }
        return true;
    }
    false
}

/// A type number has a digit in it.
fn is_type(word: Word<'_>) -> bool {
    word.is_word()
        && word.text.chars().any(|c| c.is_ascii_digit())
        && word
            .text
            .chars()
            .all(|c| c.is_alphanumeric() || matches!(c, '/' | '-' | '_' | '.'))
}

fn unknown_type(ctx: &mut Ctx<'_>, word: Word<'_>) {
    let near = ctx.library.nearest(word.text);
    let advice = match near {
        Some(near) => format!(
            "Did you mean `{near}`? Or type `{} {} like {near}`, or give its pins.",
            ctx.name, word.text
        ),
        None => format!(
            "Type `{} {} like 12AX7` with a type that is near, or give its pins.",
            ctx.name, word.text
        ),
    };
    ctx.problems.add(
        codes::UNKNOWN_VALVE_TYPE,
        word.place,
        format!("There is no data sheet of `{}` here.", word.text),
        advice,
    );
}

/// One pin as typed.
struct PinLine {
    pin: usize,
    uses: Vec<(Option<char>, Electrode)>,
}

/// `pins 1 plate a, 2 grid a` or `limits plate 300 V 2.5 W, screen 250 V 1 W`.
fn clauses(
    words: &mut Words<'_, '_>,
    ctx: &mut Ctx<'_>,
    known: &mut Known,
    valve: &mut Valve,
    typed: &mut Vec<PinLine>,
) {
    let mut limits = false;
    while !words.rest().is_empty() {
        let mut item = words.take_until(TokenKind::Comma);
        if item.take_word("pins").is_some() {
            limits = false;
        } else if item.take_word("limits").is_some() {
            limits = true;
        }
        if item.rest().is_empty() {
            continue;
        }
        if limits {
            limit(&mut item, ctx, known, valve);
        } else {
            pin(&mut item, ctx, typed);
        }
    }
}

fn pin(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>, typed: &mut Vec<PinLine>) {
    let Some(first) = words.take() else {
        return;
    };
    let number = first.text.parse::<usize>().ok();
    let Some(pin) = number.filter(|n| (1..=MOST_PINS).contains(n)) else {
        ctx.problems.add(
            codes::UNEXPECTED_WORD,
            first.place,
            format!("`{}` is not a pin number.", first.text),
            "Type `pins 1 plate a, 2 grid a, 3 cathode a`.",
        );
        return;
    };
    let mut uses: Vec<(Option<char>, Electrode)> = Vec::new();
    while let Some(word) = words.take() {
        if word.is("and") {
            continue;
        }
        let mut letters = word.text.chars();
        match (letters.next(), letters.next(), uses.last_mut()) {
            (Some(c @ ('a' | 'b' | 't' | 'p')), None, Some(last)) if last.0.is_none() => {
                last.0 = Some(c);
            }
            _ => match Electrode::from_word(word.text) {
                Some(electrode) => uses.push((None, electrode)),
                None => ctx.unexpected(word, &ELECTRODE_WORDS),
            },
        }
    }
    typed.push(PinLine { pin, uses });
}

/// Electrode words, for offers.
pub(crate) const ELECTRODE_WORDS: [&str; 10] = [
    "plate",
    "grid",
    "cathode",
    "screen",
    "suppressor",
    "heater1",
    "heater2",
    "heatertap",
    "shield",
    "internal",
];

fn limit(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>, known: &mut Known, valve: &mut Valve) {
    let mut electrode = None;
    let mut slots = [
        super::Slot::of(Quantity::Volts),
        super::Slot::of(Quantity::Watts),
    ];
    each(words, ctx, known, None, &["plate", "screen"], |w, c| {
        if electrode.is_none() && w.take_word("plate").is_some() {
            electrode = Some(Electrode::Plate);
            return true;
        }
        if electrode.is_none() && w.take_word("screen").is_some() {
            electrode = Some(Electrode::Screen);
            return true;
        }
        super::take_slot(w, c, &mut slots)
    });
    let (volts, watts) = (super::filled(&slots[0]), super::filled(&slots[1]));
    match electrode {
        Some(Electrode::Screen) => {
            valve.limits.screen_volts = volts;
            valve.limits.screen_watts = watts;
        }
        _ => {
            valve.limits.plate_volts = volts;
            valve.limits.plate_watts = watts;
        }
    }
}

/// Terminals and electrodes: as typed, else of the type in the socket, else of the type it
/// was meant for, else of the one it is like.
///
/// Ruling: the pins of the valve that is really fitted count, because its electrodes are
/// what the wires meet.
fn finish(
    ctx: &mut Ctx<'_>,
    mut valve: Valve,
    known: Known,
    typed: &[PinLine],
    type_word: Option<Word<'_>>,
) -> Description {
    let meant = ctx.library.find(&valve.meant);
    let fitted = valve.fitted.as_deref().and_then(|f| ctx.library.find(f));
    let like = valve.like.as_deref().and_then(|l| ctx.library.find(l));
    if let (Some(meant), Some(fitted)) = (meant, fitted)
        && meant.base != fitted.base
    {
        ctx.problems.add(
            codes::DOES_NOT_FIT,
            ctx.place,
            format!(
                "A `{}` does not fit the socket of a `{}` ({} against {}).",
                fitted.name,
                meant.name,
                fitted.base.word(),
                meant.base.word()
            ),
            "Check the type that is fitted.",
        );
    }
    let sheet: Option<&Sheet> = fitted.or(meant).or(like);
    if meant.is_none()
        && like.is_none()
        && typed.is_empty()
        && let Some(word) = type_word
    {
        unknown_type(ctx, word);
    }
    let mut names: Vec<String> = Vec::new();
    let mut add_pins = |most: usize| {
        for n in names.len() + 1..=most {
            names.push(n.to_string());
        }
    };
    if typed.is_empty() {
        if let Some(sheet) = sheet {
            add_pins(usize::from(pins(meant.map_or(sheet.base, |m| m.base))));
            add_pins(
                sheet
                    .pins
                    .iter()
                    .map(|p| usize::from(p.number))
                    .max()
                    .unwrap_or(0),
            );
            for pin in &sheet.pins {
                let terminal = usize::from(pin.number).saturating_sub(1);
                for u in &pin.uses {
                    valve.electrodes.push(PinUse {
                        terminal,
                        section: u.section,
                        electrode: u.electrode,
                    });
                }
                if pin.internal && pin.uses.iter().all(|u| u.electrode != Electrode::Internal) {
                    valve.electrodes.push(PinUse {
                        terminal,
                        section: None,
                        electrode: Electrode::Internal,
                    });
                }
            }
        }
    } else {
        add_pins(typed.iter().map(|t| t.pin).max().unwrap_or(0));
        for line in typed {
            for (section, electrode) in &line.uses {
                valve.electrodes.push(PinUse {
                    terminal: line.pin - 1,
                    section: *section,
                    electrode: *electrode,
                });
            }
        }
    }
    Description {
        what: What::One(Kind::Valve(valve), names),
        known,
        bare: false,
    }
}

fn pins(base: Base) -> u8 {
    base.pins()
}
