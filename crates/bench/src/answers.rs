//! What was answered to a sheet's questions, and the line that follows.
//!
//! A sheet names each question (`cord`, `C7`, `earth-bond`). `yes` is always the good answer. The
//! last answer to a question counts, over all readings blocks in their order. Knows no sheet.

use crate::sheet::{Bound, Figure, Limit, Line, Origin};
use wiring::Circuit;
use wiring::readings::{Answer, Said, Shown};

/// All answers, oldest first.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Answers {
    all: Vec<Answer>,
}

impl Answers {
    /// Those of every readings block.
    #[must_use]
    pub fn of(circuit: &Circuit) -> Self {
        let blocks = circuit.readings.iter();
        Self {
            all: blocks.flat_map(|b| b.answers.iter().cloned()).collect(),
        }
    }

    /// With later ones, such as those of the command line.
    #[must_use]
    pub fn and(mut self, later: impl IntoIterator<Item = Answer>) -> Self {
        self.all.extend(later);
        self
    }

    /// The answer that counts.
    #[must_use]
    pub fn to(&self, item: &str) -> Option<&Answer> {
        self.all.iter().rev().find(|a| a.item == item)
    }

    /// Answers to questions that the sheet does not ask, oldest first.
    pub fn unasked<'a>(
        &'a self,
        asked: impl Fn(&str) -> bool + 'a,
    ) -> impl Iterator<Item = &'a Answer> {
        self.all.iter().filter(move |a| !asked(&a.item))
    }

    /// The line of a yes-or-no question: open until it is answered so.
    #[must_use]
    pub fn line(&self, item: &str, what: impl Into<String>, origin: Origin) -> Line {
        let what = what.into();
        let line = match self.to(item) {
            None => Line::open(what, origin),
            Some(answer) => match &answer.said {
                Said::Yes => Line::answered(what, &words("yes", answer), true, origin),
                Said::No => Line::answered(what, &words("no", answer), false, origin),
                Said::Figure { .. } => Line::open(what, origin).because(format!(
                    "A figure was answered; type `answer {item} yes` or `no`."
                )),
            },
        };
        line.at(item)
    }

    /// The line of a question that asks for a figure, held against its limit.
    #[must_use]
    pub fn figure(
        &self,
        item: &str,
        what: impl Into<String>,
        limit: Limit,
        origin: Origin,
    ) -> Line {
        let what = what.into();
        let asked = |line: Line| {
            let unit = &limit.unit;
            line.because(format!("Type the figure, as in `answer {item} 1 {unit}`."))
                .limited(limit.clone())
        };
        let line = match self.to(item).map(|a| (&a.said, &a.note)) {
            None => Line::open(what, origin).limited(limit),
            Some((Said::Yes | Said::No, _)) => asked(Line::open(what, origin)),
            Some((Said::Figure { shown, unit, digit }, note)) => {
                match read(*shown, unit.as_deref(), *digit, &limit.unit) {
                    Some(figure) => Line::read(what, figure, limit, origin)
                        .because(note.as_deref().unwrap_or_default()),
                    None => asked(Line::open(what, origin)),
                }
            }
        };
        line.at(item)
    }
}

/// The answer with its remark.
fn words(said: &str, answer: &Answer) -> String {
    match answer.note.as_deref().map(str::trim) {
        Some(note) if !note.is_empty() => format!("{said}: {note}"),
        _ => said.to_owned(),
    }
}

/// A figure in the unit asked for; half the last digit is its uncertainty. None in another unit.
fn read(shown: Shown, typed: Option<&str>, digit: f64, unit: &str) -> Option<Figure> {
    // a bare number is in the unit that was asked for
    if typed.is_some_and(|t| t != unit) {
        return None;
    }
    Some(match shown {
        Shown::Number(value) => Figure::new(value, unit).plus_minus(0.5 * digit),
        Shown::Above(value) => Figure::new(value, unit).bound(Bound::AtLeast),
        Shown::Below(value) => Figure::new(value, unit).bound(Bound::AtMost),
        // over range is no figure: more than every limit of a meter's lowest range only
        Shown::Over => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::Outcome;

    fn answers(text: &str) -> Answers {
        let read = wiring::read_one(&format!("readings inspection\npower off\n{text}"));
        Answers::of(&read.circuit)
    }

    #[test]
    fn the_last_answer_counts_and_nothing_passes_unasked() {
        let given = answers("answer cord no\nanswer cord yes \"new\"\nanswer C7 no \"wet\"\n");
        let line = |item: &str| given.line(item, "x", Origin::practice());
        assert_eq!(line("cord").outcome(), Outcome::Pass);
        assert_eq!(line("cord").answer(), Some("yes: new"));
        assert_eq!(line("C7").outcome(), Outcome::Fail);
        assert_eq!(line("C8").outcome(), Outcome::Open);
        let left: Vec<&str> = given
            .unasked(|i| i == "cord")
            .map(|a| a.item.as_str())
            .collect();
        assert_eq!(left, ["C7"]);
    }

    #[test]
    fn figures_are_held_in_their_own_unit_only() {
        let given = answers(
            "answer a 0.08 ohm\nanswer b 0.08\nanswer c 80 mV\nanswer d yes\nanswer e < 0.05 ohm\nanswer f 0.2 ohm\nanswer g OL\n",
        );
        let of = |item: &str| {
            let limit = Limit::at_most(0.1, "ohm");
            given.figure(item, "x", limit, Origin::practice()).outcome()
        };
        assert_eq!((of("a"), of("b")), (Outcome::Pass, Outcome::Pass));
        assert_eq!((of("c"), of("d")), (Outcome::Open, Outcome::Open));
        assert_eq!((of("e"), of("f")), (Outcome::Pass, Outcome::Fail));
        assert_eq!((of("g"), of("nothing")), (Outcome::Open, Outcome::Open));
    }
}
