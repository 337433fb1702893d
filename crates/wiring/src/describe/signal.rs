//! Output and coupling transformers, spring tanks, loudspeakers.

use super::passive::one;
use super::power::halves;
use super::{Ctx, Description, Slot, What, each, filled, take_slot};
use crate::circuit::{CouplingTransformer, Kind, Known, OutputTransformer};
use crate::codes;
use crate::units::{Quantity, parse, parse_percent, parse_raw};
use crate::words::{Word, Words};

/// `8k:4/8/16` as primary impedance and the secondaries as typed.
fn impedances(text: &str) -> Option<(f64, Vec<(String, f64)>)> {
    let (primary, secondaries) = text.split_once(':')?;
    let primary = parse(primary, Quantity::Ohms).ok()?.value;
    let secondaries: Option<Vec<(String, f64)>> = secondaries
        .split('/')
        .map(|s| Some((s.to_owned(), parse(s, Quantity::Ohms).ok()?.value)))
        .collect();
    let secondaries = secondaries?;
    let sound = primary > 0.0
        && (1..=8).contains(&secondaries.len())
        && secondaries.iter().all(|s| s.1 > 0.0);
    sound.then_some((primary, secondaries))
}

/// `output 8k:8 ohm 18 W 240 ohm 20H leakage 12mH`, `8k:4/8/16`, `single`, `taps 43%`, `ideal`.
pub(super) fn output(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    let head = words.take_word("output");
    let mut known = Known::default();
    let mut ratio: Option<(f64, Vec<(String, f64)>)> = None;
    let (mut single, mut ideal) = (false, false);
    let (mut leakage, mut taps, mut secondary, mut split) = (None, None, None, None);
    let mut unclear = false;
    let mut slots = [
        Slot::of(Quantity::Watts),
        Slot::of(Quantity::Ohms),
        Slot::of(Quantity::Henries),
    ];
    let own = ["single", "ideal", "leakage", "taps", "secondary"];
    each(words, ctx, &mut known, None, &own, |w, c| {
        let Some(word) = w.peek().filter(Word::is_word) else {
            return false;
        };
        match word.text {
            "single" => {
                w.take();
                single = true;
            }
            "ideal" => {
                w.take();
                ideal = true;
            }
            "leakage" => {
                w.take();
                leakage = c.number(w, word, Quantity::Henries, "leakage 12mH");
            }
            "secondary" => {
                w.take();
                secondary = c.number(w, word, Quantity::Ohms, "secondary 0.5 ohm");
            }
            "taps" => {
                w.take();
                match w.peek().and_then(|p| parse_percent(p.text)) {
                    Some(f) if (0.01..=0.99).contains(&f) => {
                        w.take();
                        taps = Some(f);
                    }
                    _ => c.missing(word, "taps 43%"),
                }
            }
            text if text.contains(':') && ratio.is_none() => {
                w.take();
                ratio = impedances(text);
                if ratio.is_none() {
                    unclear = true;
                    ratio_unclear(c, word, "output 8k:8 ohm");
                }
                take_ohm_word(w);
            }
            _ => {
                if split.is_none()
                    && let Some(found) = halves(w)
                {
                    split = Some(found);
                    return true;
                }
                return take_slot(w, c, &mut slots);
            }
        }
        true
    });
    if ratio.is_none()
        && !unclear
        && let Some(head) = head
    {
        ratio_unclear(ctx, head, "output 8k:8 ohm");
    }
    let mut names: Vec<String> = Vec::new();
    names.push("p1".to_owned());
    if taps.is_some() {
        names.push("u1".to_owned());
    }
    if !single {
        names.push("p0".to_owned());
        if taps.is_some() {
            names.push("u2".to_owned());
        }
    }
    names.push("p2".to_owned());
    let common = names.len();
    names.push("s0".to_owned());
    let mut secondaries = Vec::new();
    let list = ratio.as_ref().map_or(&[][..], |r| &r.1);
    match list {
        [] => names.push("s1".to_owned()),
        [(_, ohms)] => {
            names.push("s1".to_owned());
            secondaries.push((names.len() - 1, *ohms));
        }
        several => {
            for (text, ohms) in several {
                names.push(format!("s{}", text.trim_end_matches("ohm")));
                secondaries.push((names.len() - 1, *ohms));
            }
        }
    }
    secondaries.sort_by(|a, b| a.1.total_cmp(&b.1));
    let kind = Kind::OutputTransformer(OutputTransformer {
        primary_impedance: ratio.map(|r| r.0),
        taps: secondaries,
        common,
        watts: filled(&slots[0]),
        ohms: filled(&slots[1]),
        halves: split,
        secondary_ohms: secondary,
        henries: filled(&slots[2]),
        leakage,
        single,
        screen_taps: taps,
        ideal,
    });
    Description {
        what: What::One(kind, names),
        known,
        bare: false,
    }
}

/// The `ohm` that may follow a ratio.
fn take_ohm_word(words: &mut Words<'_, '_>) {
    if let Some(word) = words.peek()
        && word.is_word()
        && matches!(word.text, "ohm" | "ohms" | "Ω" | "\u{2126}")
    {
        words.take();
    }
}

fn ratio_unclear(ctx: &mut Ctx<'_>, word: Word<'_>, example: &str) {
    ctx.problems.add(
        codes::RATIO_UNCLEAR,
        word.place,
        format!(
            "Nothing readable says what `{}` transforms into what.",
            ctx.name
        ),
        format!("Type for example `{} {example}`.", ctx.name),
    );
}

/// Volts of the whole secondary, and of its halves, per primary volt.
fn ratio_of(text: &str, impedances_ratio: bool) -> Option<(f64, Option<(f64, f64)>)> {
    if impedances_ratio {
        let (primary, secondaries) = impedances(text)?;
        let [(_, secondary)] = secondaries.as_slice() else {
            return None;
        };
        return Some(((secondary / primary).sqrt(), None));
    }
    let (primary, secondary) = text.split_once(':')?;
    let number = |s: &str| {
        parse_raw(s)
            .ok()
            .filter(|r| r.unit.is_none() && r.prefix.is_none() && r.value > 0.0 && r.value < 1e4)
            .map(|r| r.value)
    };
    let primary = number(primary)?;
    match secondary.split_once('+') {
        None => Some((number(secondary)? / primary, None)),
        Some((first, second)) => {
            let (first, second) = (number(first)? / primary, number(second)? / primary);
            Some((first + second, Some((first, second))))
        }
    }
}

/// `driver 22k:8 ohm` by impedances, `inter 1:1.5+1.5` by turns.
///
/// Ruling: `p1` and `s1` are in phase in both, as ruled for every transformer.
pub(super) fn coupling(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    let head = words.take();
    let mut known = Known::default();
    let mut ratio: Option<(f64, Option<(f64, f64)>)> = None;
    let (mut ideal, mut secondary, mut unclear) = (false, None, false);
    let mut slots = [
        Slot::of(Quantity::Ohms),
        Slot::of(Quantity::Henries),
        Slot::of(Quantity::Watts),
    ];
    let by_impedance = head.is_some_and(|h| h.is("driver"));
    let example = if by_impedance {
        "driver 22k:8 ohm"
    } else {
        "inter 1:1.5+1.5"
    };
    each(
        words,
        ctx,
        &mut known,
        None,
        &["ideal", "secondary"],
        |w, c| {
            let Some(word) = w.peek().filter(Word::is_word) else {
                return false;
            };
            match word.text {
                "ideal" => {
                    w.take();
                    ideal = true;
                }
                "secondary" => {
                    w.take();
                    secondary = c.number(w, word, Quantity::Ohms, "secondary 120 ohm");
                }
                text if text.contains(':') && ratio.is_none() => {
                    w.take();
                    // Either word takes either form: a letter or `ohm` tells impedances from turns.
                    let ohms = w.peek().is_some_and(|n| n.is("ohm"));
                    let turns = ratio_of(text, false).filter(|_| !ohms);
                    ratio = turns.or_else(|| ratio_of(text, true));
                    if ratio.is_none() {
                        unclear = true;
                        ratio_unclear(c, word, example);
                    }
                    take_ohm_word(w);
                }
                _ => return take_slot(w, c, &mut slots),
            }
            true
        },
    );
    if ratio.is_none()
        && !unclear
        && let Some(head) = head
    {
        ratio_unclear(ctx, head, example);
    }
    let halves = ratio.and_then(|r| r.1);
    let names: &[&str] = if halves.is_some() {
        &["p1", "p2", "s1", "s0", "s2"]
    } else {
        &["p1", "p2", "s1", "s2"]
    };
    known.watts = filled(&slots[2]);
    one(
        Kind::CouplingTransformer(CouplingTransformer {
            ratio: ratio.map(|r| r.0),
            centre_tap: halves.is_some(),
            halves,
            primary_ohms: filled(&slots[0]),
            secondary_ohms: secondary,
            henries: filled(&slots[1]),
            ideal,
        }),
        names,
        known,
    )
}

/// `tank 8 ohm 2250 ohm 30 ms`: driven coil, return coil, delay.
pub(super) fn tank(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    words.take_word("tank");
    let mut known = Known::default();
    let mut slots = [
        Slot::main(Quantity::Ohms),
        Slot::main(Quantity::Ohms),
        Slot::of(Quantity::Seconds),
    ];
    each(words, ctx, &mut known, None, &[], |w, c| {
        take_slot(w, c, &mut slots)
    });
    one(
        Kind::Tank {
            in_ohms: filled(&slots[0]),
            out_ohms: filled(&slots[1]),
            seconds: filled(&slots[2]),
        },
        &["in1", "in2", "out1", "out2", "case"],
        known,
    )
}

/// `speaker 8 ohm`.
pub(super) fn speaker(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    words.take_word("speaker");
    let mut known = Known::default();
    let mut slots = [Slot::main(Quantity::Ohms), Slot::of(Quantity::Watts)];
    each(words, ctx, &mut known, Some(Quantity::Ohms), &[], |w, c| {
        take_slot(w, c, &mut slots)
    });
    known.watts = filled(&slots[1]);
    let ohms = filled(&slots[0]);
    one(Kind::Speaker { ohms }, &["1", "2"], known)
}
