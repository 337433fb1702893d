//! Diodes, bridges, and generic type numbers.
//!
//! Type numbers and their ratings are registered types, from memory of the makers'
//! sheets, not seen.

use super::passive::one;
use super::{Ctx, Description, Slot, each, filled, take_slot};
use crate::circuit::{DiodeSort, Kind, Known};
use crate::units::Quantity;
use crate::words::Words;

const SILICON: [(&str, f64); 22] = [
    ("1N4001", 50.0),
    ("1N4002", 100.0),
    ("1N4003", 200.0),
    ("1N4004", 400.0),
    ("1N4005", 600.0),
    ("1N4006", 800.0),
    ("1N4007", 1000.0),
    ("UF4004", 400.0),
    ("UF4005", 600.0),
    ("UF4006", 800.0),
    ("UF4007", 1000.0),
    ("1N5400", 50.0),
    ("1N5401", 100.0),
    ("1N5402", 200.0),
    ("1N5404", 400.0),
    ("1N5406", 600.0),
    ("1N5407", 800.0),
    ("1N5408", 1000.0),
    ("1N4148", 75.0),
    ("1N914", 75.0),
    ("BY127", 1250.0),
    ("BY133", 1300.0),
];

/// 1N4728 (3.3 V) to 1N4764 (100 V), 1 W.
const ZENERS_1W: [f64; 37] = [
    3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1, 10.0, 11.0, 12.0, 13.0, 15.0, 16.0,
    18.0, 20.0, 22.0, 24.0, 27.0, 30.0, 33.0, 36.0, 39.0, 43.0, 47.0, 51.0, 56.0, 62.0, 68.0, 75.0,
    82.0, 91.0, 100.0,
];

/// 1N5333 (3.3 V) to 1N5388 (200 V), 5 W.
const ZENERS_5W: [f64; 56] = [
    3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.0, 6.2, 6.8, 7.5, 8.2, 8.7, 9.1, 10.0, 11.0, 12.0, 13.0,
    14.0, 15.0, 16.0, 17.0, 18.0, 19.0, 20.0, 22.0, 24.0, 25.0, 27.0, 28.0, 30.0, 33.0, 36.0, 39.0,
    43.0, 47.0, 51.0, 56.0, 60.0, 62.0, 68.0, 75.0, 82.0, 87.0, 91.0, 100.0, 110.0, 120.0, 130.0,
    140.0, 150.0, 160.0, 170.0, 180.0, 190.0, 200.0,
];

/// A generic type number: its sort and, for a zener, its watts.
fn generic(word: &str) -> Option<(DiodeSort, Option<f64>)> {
    let upper = word.to_ascii_uppercase();
    if let Some((_, volts)) = SILICON.iter().find(|(name, _)| *name == upper) {
        return Some((DiodeSort::Silicon(Some(*volts)), None));
    }
    // A suffix tells the tolerance of a zener (1N4742A) and nothing else.
    let number = upper
        .strip_prefix("1N")?
        .trim_end_matches(['A', 'B', 'C', 'D']);
    let number: usize = number.parse().ok()?;
    let at = |first: usize, list: &[f64], watts: f64| {
        let volts = list.get(number.checked_sub(first)?)?;
        Some((DiodeSort::Zener(*volts), Some(watts)))
    };
    at(4728, &ZENERS_1W, 1.0).or_else(|| at(5333, &ZENERS_5W, 5.0))
}

/// `silicon 1000V`, `selenium`, `zener 100V`, `ideal`, `bridge`, `1N4007`.
///
/// Ruling: a diode without a word on its sort is silicon.
pub(super) fn diode(words: &mut Words<'_, '_>, ctx: &mut Ctx<'_>) -> Description {
    words.take_word("diode");
    let mut known = Known::default();
    let mut sort: Option<&str> = None;
    let mut named = None;
    let mut sort_word = None;
    let mut slots = [
        Slot::of(Quantity::Volts),
        Slot::of(Quantity::Amps),
        Slot::of(Quantity::Watts),
    ];
    let own = ["silicon", "selenium", "zener", "ideal", "bridge"];
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
            if word.is_word() {
                if let Some(found) = own.iter().find(|s| **s == word.text).copied() {
                    let again = sort.is_some() && !(sort == Some("silicon") && found == "bridge");
                    if again && !(sort == Some("bridge") && found == "silicon") {
                        return false;
                    }
                    if sort != Some("bridge") {
                        sort = Some(found);
                        sort_word = Some(word);
                    }
                    w.take();
                    return true;
                }
                if named.is_none()
                    && let Some(found) = generic(word.text)
                {
                    named = Some(found);
                    w.take();
                    return true;
                }
            }
            take_slot(w, c, &mut slots)
        },
    );
    let volts = filled(&slots[0]);
    known.watts = filled(&slots[2]).or(named.and_then(|n| n.1));
    known.volts = volts.filter(|_| sort != Some("zener"));
    let sort = match (sort, named) {
        (Some("bridge"), _) => return one(Kind::Bridge, &["ac1", "ac2", "plus", "minus"], known),
        (Some("selenium"), _) => DiodeSort::Selenium,
        (Some("ideal"), _) => DiodeSort::Ideal,
        (Some("zener"), _) => match volts {
            Some(volts) if volts > 0.0 => DiodeSort::Zener(volts),
            _ => {
                if let (None, Some(word)) = (slots[0].value, sort_word) {
                    ctx.missing(word, "zener 100V");
                }
                DiodeSort::Silicon(None)
            }
        },
        (_, Some((sort, _))) => sort,
        _ => DiodeSort::Silicon(volts),
    };
    if let DiodeSort::Silicon(Some(rated)) = sort {
        known.volts = Some(rated);
    }
    one(Kind::Diode { sort }, &["a", "k"], known)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn type_numbers_read_as_their_kind() {
        assert_eq!(
            generic("1N4007"),
            Some((DiodeSort::Silicon(Some(1000.0)), None))
        );
        assert_eq!(
            generic("1n4742A"),
            Some((DiodeSort::Zener(12.0), Some(1.0)))
        );
        assert_eq!(
            generic("1N5388B"),
            Some((DiodeSort::Zener(200.0), Some(5.0)))
        );
        assert_eq!(generic("1N4765"), None);
        assert_eq!(generic("12AX7"), None);
    }
}
