//! What a meter's display showed: number, unit, and size of the last digit.

use super::Reader;
use crate::codes;
use crate::readings::{Shown, Unit};
use crate::units::{Quantity, Raw, ValueError, parse};
use crate::words::{Number, Word, Words};

impl Reader<'_> {
    /// What the display showed: value, unit, size of the last digit.
    pub(super) fn shown(
        &mut self,
        words: &mut Words<'_, '_>,
        point: Word<'_>,
    ) -> Option<(Shown, Unit, f64)> {
        let off = self.block.conditions.power_off;
        let Some(next) = words.peek() else {
            self.problems.add(
                codes::READING_UNCLEAR,
                point.place,
                format!("Nothing says what was read at `{}`.", point.text),
                format!("Type for example `{} 172`.", point.text),
            );
            return None;
        };
        if next.is("OL") || next.is("ol") {
            words.take();
            let unit = self.unit_word(words, off);
            return Some((Shown::Over, unit, 0.0));
        }
        // `<0.01` in one word, `< 0.01` in two.
        let (sign, number) = match next.text.chars().next().filter(|_| next.is_word()) {
            Some(sign @ ('<' | '>')) if next.text.len() == 1 => {
                words.take();
                (Some(sign), words.take_number())
            }
            Some(sign @ ('<' | '>')) => {
                let mut list = vec![Word {
                    text: next.text.get(1..).unwrap_or_default(),
                    ..next
                }];
                list.extend_from_slice(words.rest().get(1..).unwrap_or_default());
                let mut inner = Words::new(&list);
                let number = inner.take_number();
                for _ in inner.rest().len()..list.len() {
                    words.take();
                }
                (Some(sign), number)
            }
            _ => (None, words.take_number()),
        };
        let Some(number) = number else {
            self.unclear(next);
            return None;
        };
        let raw = match &number.raw {
            Ok(raw) => *raw,
            Err(error) => {
                let before = format!("{} ", point.text);
                self.problems
                    .value(error, number.place, &number.text, &before);
                return None;
            }
        };
        let unit = self.unit(words, &number, raw, off, point)?;
        let quantity = match unit {
            Unit::VoltsDc | Unit::VoltsAc => Quantity::Volts,
            Unit::Ohms => Quantity::Ohms,
            Unit::AmpsDc => Quantity::Amps,
            Unit::Hertz => Quantity::Hertz,
        };
        if raw.value.abs() > quantity.range().1 {
            self.problems.value(
                &ValueError::OutOfRange { quantity },
                number.place,
                &number.text,
                "",
            );
            return None;
        }
        if matches!(unit, Unit::Ohms | Unit::Hertz) && raw.value < 0.0 {
            self.problems
                .value(&ValueError::Negative, number.place, &number.text, "");
            return None;
        }
        let shown = match sign {
            None => Shown::Number(raw.value),
            Some('<') => Shown::Below(raw.value),
            Some(_) => Shown::Above(raw.value),
        };
        Some((shown, unit, raw.digit))
    }

    /// The unit word that may follow `OL`.
    fn unit_word(&mut self, words: &mut Words<'_, '_>, off: bool) -> Unit {
        if words.take_word("V").is_some() {
            if words.take_word("ac").is_some() {
                return Unit::VoltsAc;
            }
            return Unit::VoltsDc;
        }
        if words.take_word("ac").is_some() {
            return Unit::VoltsAc;
        }
        let ohm = ["ohm", "kohm", "Mohm", "Ω"]
            .iter()
            .any(|w| words.take_word(w).is_some());
        if ohm || off {
            Unit::Ohms
        } else {
            Unit::VoltsDc
        }
    }

    fn unit(
        &mut self,
        words: &mut Words<'_, '_>,
        number: &Number,
        raw: Raw,
        off: bool,
        point: Word<'_>,
    ) -> Option<Unit> {
        let ac = words.take_word("ac").is_some() || words.take_word("AC").is_some();
        if !ac {
            let _ = words.take_word("dc").is_some() || words.take_word("DC").is_some();
        }
        let unit = match (raw.unit, ac) {
            (Some(Quantity::Volts), true) => Unit::VoltsAc,
            (Some(Quantity::Volts), false) => Unit::VoltsDc,
            (Some(Quantity::Ohms), false) => Unit::Ohms,
            (Some(Quantity::Amps), false) => Unit::AmpsDc,
            (Some(Quantity::Hertz), false) => Unit::Hertz,
            (None, true) if raw.prefix.is_none() => Unit::VoltsAc,
            (None, false) if off => {
                if raw.prefix.is_some_and(|p| p < 0) {
                    // `4 m` of ohms can be milli or mega; anything smaller is no ohms at all.
                    let error = parse(&number.text, Quantity::Ohms)
                        .err()
                        .unwrap_or(ValueError::NotAValue);
                    let before = format!("{} ", point.text);
                    self.problems
                        .value(&error, number.place, &number.text, &before);
                    return None;
                }
                Unit::Ohms
            }
            (None, false) if raw.prefix.is_none() => Unit::VoltsDc,
            (None, _) => {
                let error = ValueError::NoUnit {
                    offers: vec![format!("{}V", number.text), format!("{}ohm", number.text)],
                };
                let before = format!("{} ", point.text);
                self.problems
                    .value(&error, number.place, &number.text, &before);
                return None;
            }
            (Some(found), _) => {
                self.problems.value(
                    &ValueError::WrongUnit { found },
                    number.place,
                    &number.text,
                    "",
                );
                return None;
            }
        };
        let odd = match unit {
            Unit::Ohms if !off => Some((
                "Ohms are read with the power off.",
                "Put `power off` into this block, or begin a new one.",
            )),
            // DC volts with the power off are what is left on a capacitor.
            Unit::VoltsAc | Unit::AmpsDc | Unit::Hertz if off => Some((
                "This block says `power off`, and this needs power.",
                "Begin a new block with a `readings` line.",
            )),
            _ => None,
        };
        if let Some((message, advice)) = odd {
            self.problems
                .add(codes::UNIT_AND_POWER, number.place, message, advice);
        }
        Some(unit)
    }
}
