//! `format`: a wiring or readings file in its tidy form.
//!
//! Only the space between words changes. Before a file is replaced, that is checked again here,
//! on the texts alone.

use crate::arguments::Format;
use crate::input::{self, Text};
use crate::outcome::{Failure, Outcome};
use crate::replace::replace;

/// Runs `format`.
pub(crate) fn run(given: &Format) -> Result<Outcome, Failure> {
    let text = input::read(&given.file, 0)?;
    if let Some(slip) = &text.slip {
        return Err(Failure::input(
            format!(
                "{} line {} column {}: {}",
                text.name, slip.place.line, slip.place.column, slip.message
            ),
            slip.advice.clone(),
        ));
    }
    let tidy = wiring::format::format(&text.text);
    if words_of(&tidy) != words_of(&text.text) {
        return Err(Failure::input(
            format!("{} could not be tidied without changing a word.", text.name),
            "It was left alone. Please send the file to the authors: this is a fault in the program.",
        ));
    }
    if given.assumed {
        return Ok(Outcome {
            text: wiring::assume::assume(&tidy),
            verbatim: true,
            ..Outcome::default()
        });
    }
    if given.check {
        return Ok(checked(&text, &tidy));
    }
    if given.write {
        return write(given, &text, &tidy);
    }
    Ok(Outcome {
        text: tidy,
        verbatim: true,
        ..Outcome::default()
    })
}

/// `--check`: says which line would change first.
fn checked(text: &Text, tidy: &str) -> Outcome {
    if text.original == tidy {
        return Outcome::done(String::new());
    }
    let same = text
        .text
        .lines()
        .zip(tidy.lines())
        .take_while(|(a, b)| a == b)
        .count();
    Outcome {
        text: format!(
            "{} is not in its tidy form, from line {} on.\nType `tubewright format --write {}`.\n",
            text.name,
            same + 1,
            text.name
        ),
        errors: true,
        ..Outcome::default()
    }
}

fn write(given: &Format, text: &Text, tidy: &str) -> Result<Outcome, Failure> {
    if given.file.as_os_str() == "-" {
        return Err(Failure::misuse(
            "`--write` needs a file to write to.",
            "Name the file, or leave `--write` out to see the tidy form.",
        ));
    }
    if text.original == tidy {
        return Ok(Outcome::done(format!("{} was tidy already.\n", text.name)));
    }
    replace(&given.file, text.original.as_bytes(), tidy)?;
    Ok(Outcome::done(format!("{} is tidy now.\n", text.name)))
}

/// Everything but space: what formatting must keep, in its order.
fn words_of(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_whitespace() && *c != '\u{feff}')
        .collect()
}
