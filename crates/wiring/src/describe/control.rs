//! Pots, switches, jacks.

use super::passive::one;
use super::{Ctx, Description, Slot, What, each, filled, take_slot, terminals};
use crate::circuit::{Kind, Known, Taper};
use crate::codes;
use crate::units::{Quantity, parse_percent};
use crate::words::{Word, Words};

/// Percent of the track at half rotation when `audio` stands alone.
const AUDIO_PERCENT: f64 = 10.0;

/// More poles, throws or gangs than any part has.
const MOST: usize = 26;

/// `pot 1M audio`, `pot 10k linear`, `pot 3M reverse`, `2 gangs`, `with S1`, `taper 0:0 5:12 10:100`.
pub(super) fn pot(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    words.take_word("pot");
    let mut known = Known::default();
    let mut taper = None;
    let mut gangs = 1;
    let mut switch = None;
    let mut slots = [Slot::main(Quantity::Ohms), Slot::of(Quantity::Watts)];
    let own = ["linear", "audio", "reverse", "gangs", "with", "taper"];
    each(
        words,
        ctx,
        &mut known,
        Some(Quantity::Ohms),
        &own,
        |w, c| {
            let Some(word) = w.peek() else {
                return false;
            };
            if let Some(n) = counted(w, &["gangs", "gang"]) {
                gangs = within(n, word, c, "gangs");
                return true;
            }
            if !word.is_word() {
                return false;
            }
            match word.text {
                "linear" => {
                    w.take();
                    taper = Some(Taper::Linear);
                }
                "audio" | "reverse" => {
                    w.take();
                    let mut percent = AUDIO_PERCENT;
                    if let Some(next) = w.peek()
                        && next.is_word()
                        && let Some(fraction) = parse_percent(next.text)
                    {
                        w.take();
                        if (0.01..=0.99).contains(&fraction) {
                            percent = fraction * 100.0;
                        } else {
                            c.problems.add(
                                codes::OUT_OF_RANGE,
                                next.place,
                                format!("`{}` is no share of a track.", next.text),
                                "Type for example `audio 15%`.",
                            );
                        }
                    }
                    taper = Some(if word.text == "audio" {
                        Taper::Audio(percent)
                    } else {
                        Taper::Reverse(percent)
                    });
                }
                "taper" => {
                    w.take();
                    taper = measured(w, c, word).or(taper.take());
                }
                "with" => {
                    w.take();
                    match w.peek().filter(Word::is_word) {
                        Some(name) => {
                            w.take();
                            switch = Some(name.text.to_owned());
                        }
                        None => c.missing(word, "with S1"),
                    }
                }
                "log" | "lin" | "logarithmic" | "antilog" => {
                    let right = match word.text {
                        "lin" => "linear",
                        "antilog" => "reverse",
                        _ => "audio",
                    };
                    w.take();
                    c.problems.add(
                        codes::UNEXPECTED_WORD,
                        word.place,
                        format!("`{}` is not a word for a track here.", word.text),
                        format!("Type `{right}`."),
                    );
                    taper = Some(Taper::Linear);
                }
                _ => return take_slot(w, c, &mut slots),
            }
            true
        },
    );
    known.watts = filled(&slots[1]);
    if taper.is_none() {
        ctx.problems.add(
            codes::TAPER_NOT_SAID,
            ctx.place,
            format!(
                "Nothing says what track `{}` has; it is read as linear.",
                ctx.name
            ),
            "Add `linear`, `audio` or `reverse`.",
        );
    }
    let kind = Kind::Pot {
        ohms: filled(&slots[0]),
        taper: taper.unwrap_or(Taper::Linear),
        switch,
    };
    if gangs > 1 {
        return Description {
            what: What::Gangs(kind, gangs),
            known,
            bare: false,
        };
    }
    one(kind, &["1", "2", "3"], known)
}

/// `2 gangs`: a whole number before one of these words; takes both.
fn counted(words: &mut Words<'_, '_>, of: &[&str]) -> Option<usize> {
    let number = words.peek().filter(Word::is_word)?.text.parse().ok()?;
    words.peek_second().filter(|w| of.iter().any(|o| w.is(o)))?;
    words.take();
    words.take();
    Some(number)
}

fn within(count: usize, word: Word<'_>, ctx: &mut Ctx<'_>, of: &str) -> usize {
    if (1..=MOST).contains(&count) {
        return count;
    }
    ctx.problems.add(
        codes::OUT_OF_RANGE,
        word.place,
        format!("`{count} {of}` is more than any part has, or none."),
        "Check the number.",
    );
    1
}

/// `0:0 5:12 10:100`, rotation and percent, both rising from 0:0-ish to 10:100-ish.
fn measured(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>, head: Word<'_>) -> Option<Taper> {
    let mut points: Vec<(f64, f64)> = Vec::new();
    let mut bad = false;
    while let Some(word) = words.peek().filter(Word::is_word) {
        let Some((rotation, percent)) = word.text.split_once(':') else {
            break;
        };
        words.take();
        let (rotation, percent) = (rotation.parse::<f64>(), percent.parse::<f64>());
        match (rotation, percent) {
            (Ok(r), Ok(p))
                if (0.0..=10.0).contains(&r)
                    && (0.0..=100.0).contains(&p)
                    && points
                        .last()
                        .is_none_or(|last| last.0 < r && last.1 <= p / 100.0) =>
            {
                points.push((r, p / 100.0));
            }
            _ if !bad => {
                bad = true;
                ctx.problems.add(
                    codes::OUT_OF_RANGE,
                    word.place,
                    format!("`{}` is no point of a track.", word.text),
                    "Type rotation 0 to 10, a colon, percent 0 to 100, both rising: `taper 0:0 5:12 10:100`.",
                );
            }
            _ => {}
        }
    }
    if points.len() < 2 {
        if !bad {
            ctx.missing(head, "taper 0:0 5:12 10:100");
        }
        return None;
    }
    Some(Taper::Measured(points))
}

/// `switch closed`, `switch 2 poles 3 throws`.
///
/// Rulings: a switch without a starting position is closed when it is a plain one, and in
/// position 1 when it has several throws. Poles of one throw are plain switches `S1a`,
/// `S1b`; one pole of several throws keeps the switch's name and has `c`, `1`, `2` ...
pub(super) fn switch(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    words.take_word("switch");
    let mut known = Known::default();
    let (mut poles, mut throws) = (1, 1);
    let mut start = None;
    let mut slots = [Slot::of(Quantity::Amps), Slot::of(Quantity::Volts)];
    let own = ["closed", "open", "poles", "throws"];
    each(
        words,
        ctx,
        &mut known,
        Some(Quantity::Ohms),
        &own,
        |w, c| {
            let Some(word) = w.peek() else {
                return false;
            };
            if let Some(n) = counted(w, &["poles", "pole"]) {
                poles = within(n, word, c, "poles");
            } else if let Some(n) = counted(w, &["throws", "throw"]) {
                throws = within(n, word, c, "throws");
            } else if w.take_word("closed").is_some() {
                start = Some(1);
            } else if w.take_word("open").is_some() {
                start = Some(0);
            } else {
                return take_slot(w, c, &mut slots);
            }
            true
        },
    );
    known.volts = filled(&slots[1]);
    let kind = Kind::Switch {
        throws,
        start: start.unwrap_or(1),
    };
    let mut names = Vec::new();
    if throws == 1 {
        names = terminals(&["1", "2"]);
    } else {
        names.push("c".to_owned());
        names.extend((1..=throws).map(|t| t.to_string()));
    }
    let what = if poles > 1 {
        What::Poles(kind, names, poles)
    } else {
        What::One(kind, names)
    };
    Description {
        what,
        known,
        bare: false,
    }
}

/// `jack`, `jack stereo`, `phono`.
pub(super) fn jack(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    words.take_word("jack");
    let mut known = Known::default();
    let (mut stereo, mut phono) = (false, false);
    each(
        words,
        ctx,
        &mut known,
        None,
        &["stereo", "mono", "phono"],
        |w, _| {
            if w.take_word("stereo").is_some() {
                stereo = true;
            } else if w.take_word("phono").is_some() {
                phono = true;
            } else {
                return w.take_word("mono").is_some();
            }
            true
        },
    );
    let names: &[&str] = match (phono, stereo) {
        (true, _) => &["tip", "sleeve"],
        (false, true) => &["tip", "ring", "sleeve", "break", "ringbreak"],
        (false, false) => &["tip", "sleeve", "break"],
    };
    one(
        Kind::Jack {
            stereo: stereo && !phono,
            phono,
        },
        names,
        known,
    )
}
