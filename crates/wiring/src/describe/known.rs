//! What is known of any part: rating, tolerance, make-up, readings, state, verdict, notes.

use super::Ctx;
use crate::circuit::{History, Known, Make, Measured, MeasuredValue, Verdict};
use crate::codes;
use crate::lexer::TokenKind;
use crate::units::{Quantity, parse_percent};
use crate::words::{Word, Words};

/// Every word understood here, for offers.
pub(super) const WORDS: [&str; 20] = [
    "min",
    "carbon",
    "film",
    "wirewound",
    "paper",
    "ceramic",
    "mica",
    "electrolytic",
    "leak",
    "esr",
    "original",
    "replaced",
    "added",
    "removed",
    "assumed",
    "keep",
    "watch",
    "replace",
    "in circuit",
    "ideal",
];

/// Takes one thing known, if the next words are one.
pub(super) fn take(
    words: &mut Words<'_, '_>,
    ctx: &mut Ctx<'_>,
    known: &mut Known,
    reading: Option<Quantity>,
) -> bool {
    let Some(word) = words.peek() else {
        return false;
    };
    match word.kind {
        TokenKind::Quoted { .. } => {
            words.take();
            known.notes.push(word.text.to_owned());
            true
        }
        TokenKind::At => {
            words.take();
            match words.peek() {
                Some(place)
                    if place.is_word() || matches!(place.kind, TokenKind::Quoted { .. }) =>
                {
                    words.take();
                    known.sits = Some(place.text.to_owned());
                }
                _ => ctx.missing(word, "@ \"board 7\""),
            }
            true
        }
        TokenKind::Equals => {
            words.take();
            equals(words, ctx, known, reading, word);
            true
        }
        TokenKind::Word => {
            plain_word(words, ctx, known, word) || tolerance(words, ctx, known, word)
        }
        _ => false,
    }
}

fn plain_word(
    words: &mut Words<'_, '_>,
    ctx: &mut Ctx<'_>,
    known: &mut Known,
    word: Word<'_>,
) -> bool {
    match word.text {
        "leak" => {
            words.take();
            if let Some(ohms) = ctx.number(words, word, Quantity::Ohms, "leak 60M") {
                known.leak_ohms = Some(ohms);
            }
            return true;
        }
        "esr" => {
            words.take();
            if let Some(ohms) = ctx.number(words, word, Quantity::Ohms, "esr 4 ohm") {
                known.esr_ohms = Some(ohms);
            }
            return true;
        }
        "assumed" => known.assumed = true,
        "min" => known.minimum = true,
        text => {
            // `carbon film` is film: the last make-up word counts.
            if let Some(make) = make(text) {
                known.make = Some(make);
            } else if let Some(history) = history(text) {
                if known.history.is_some_and(|old| old != history) {
                    return false;
                }
                known.history = Some(history);
            } else if let Some(verdict) = verdict(text) {
                if known.verdict.is_some_and(|old| old != verdict) {
                    return false;
                }
                known.verdict = Some(verdict);
            } else {
                return false;
            }
        }
    }
    words.take();
    true
}

fn make(word: &str) -> Option<Make> {
    Some(match word {
        "carbon" => Make::Carbon,
        "film" => Make::Film,
        "wirewound" => Make::Wirewound,
        "paper" => Make::Paper,
        "ceramic" => Make::Ceramic,
        "mica" => Make::Mica,
        "electrolytic" => Make::Electrolytic,
        _ => return None,
    })
}

fn history(word: &str) -> Option<History> {
    Some(match word {
        "original" => History::Original,
        "replaced" => History::Replaced,
        "added" => History::Added,
        "removed" => History::Removed,
        _ => return None,
    })
}

fn verdict(word: &str) -> Option<Verdict> {
    Some(match word {
        "keep" => Verdict::Keep,
        "watch" => Verdict::Watch,
        "replace" => Verdict::Replace,
        _ => return None,
    })
}

/// `10%`, `±10%`, `-20+50%`, `+80-20%`, with or without a space before the `%`.
fn tolerance(
    words: &mut Words<'_, '_>,
    ctx: &mut Ctx<'_>,
    known: &mut Known,
    word: Word<'_>,
) -> bool {
    let mut text = word.text.to_owned();
    let mut apart = false;
    if !text.ends_with('%') {
        let follows = words.peek_second().is_some_and(|next| next.is("%"));
        if !(word.is_number() && follows) {
            return false;
        }
        text.push('%');
        apart = true;
    }
    words.take();
    if apart {
        words.take();
    }
    match read_tolerance(&text) {
        Some(tolerance) => known.tolerance = Some(tolerance),
        None => ctx.problems.add(
            codes::NOT_A_VALUE,
            word.place,
            format!("`{text}` is not a tolerance."),
            "Type `10%` or `-20+50%`.",
        ),
    }
    true
}

fn read_tolerance(text: &str) -> Option<(f64, f64)> {
    let plain: String = text
        .chars()
        .map(|c| if crate::lexer::is_dash(c) { '-' } else { c })
        .collect();
    let sane = |f: f64| (0.0..=2.0).contains(&f).then_some(f);
    let one = plain.strip_prefix('±').unwrap_or(&plain);
    let both = one.strip_suffix('%')?;
    let at = both
        .char_indices()
        .skip(1)
        .find(|(_, c)| matches!(c, '+' | '-'))
        .map(|(at, _)| at);
    match at {
        None if !both.starts_with(['+', '-']) => {
            let f = sane(parse_percent(one)?)?;
            Some((f, f))
        }
        None => None,
        Some(at) => {
            let (first, second) = both.split_at(at);
            let (low, high) = match (first.strip_prefix('-'), second.strip_prefix('+')) {
                (Some(low), Some(high)) => (low, high),
                _ => (second.strip_prefix('-')?, first.strip_prefix('+')?),
            };
            let low = sane(parse_percent(&format!("{low}%"))?)?;
            let high = sane(parse_percent(&format!("{high}%"))?)?;
            Some((low, high))
        }
    }
}

/// `= 560`, `= open`, `= short`, perhaps `in circuit`.
fn equals(
    words: &mut Words<'_, '_>,
    ctx: &mut Ctx<'_>,
    known: &mut Known,
    reading: Option<Quantity>,
    sign: Word<'_>,
) {
    let value = if words.take_word("open").is_some() {
        Some(MeasuredValue::Open)
    } else if words.take_word("short").is_some() {
        Some(MeasuredValue::Short)
    } else if let Some(number) = words.take_number() {
        match reading {
            Some(quantity) => ctx.value(&number, quantity).map(MeasuredValue::Is),
            None => {
                ctx.problems.add(
                    codes::UNEXPECTED_WORD,
                    number.place,
                    format!("A reading of `{}` as a whole means nothing.", ctx.name),
                    "Write it as a note in quotes, or as a reading between two of its terminals.",
                );
                None
            }
        }
    } else {
        ctx.missing(sign, "= 560");
        return;
    };
    let in_circuit = match (words.peek(), words.peek_second()) {
        (Some(a), Some(b)) if a.is("in") && b.is("circuit") => {
            words.take();
            words.take();
            true
        }
        _ => false,
    };
    if let Some(value) = value {
        known.reading = Some(Measured { value, in_circuit });
    }
}

#[cfg(test)]
mod tests {
    use super::read_tolerance;

    #[test]
    fn tolerances_read_in_both_orders() {
        assert_eq!(read_tolerance("10%"), Some((0.1, 0.1)));
        assert_eq!(read_tolerance("±5%"), Some((0.05, 0.05)));
        assert_eq!(read_tolerance("-20+50%"), Some((0.2, 0.5)));
        assert_eq!(read_tolerance("+80−20%"), Some((0.2, 0.8)));
        assert_eq!(read_tolerance("-20%"), None);
        assert_eq!(read_tolerance("900%"), None);
        assert_eq!(read_tolerance("%"), None);
    }
}
