//! `hear`: what a recording says about the amplifier.
//!
//! Everything is computed by the `sound` crate; here figures become words, decibels volts, and volts watts.

pub(crate) mod beside;
pub(crate) mod measure;
pub(crate) mod text;
mod value;

use crate::arguments::Hear as Given;
use crate::input;
use crate::outcome::{Failure, Outcome};
use measure::{Measured, measure};
use std::path::Path;

/// Runs `hear`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let now = heard(given, &given.file)?;
    let before = given
        .before
        .as_deref()
        .map(|path| heard(given, path))
        .transpose()?;
    let amp = beside::amp(given)?;
    let beside = amp
        .as_ref()
        .filter(|_| !now.unusable())
        .map(|amp| beside::beside(given, amp, &now, &mut crate::wired_sheet::tells()));
    let errors = now.unusable()
        || before.as_ref().is_some_and(Measured::unusable)
        || matches!(beside, Some(Err(_)));
    let text = if given.json {
        let mut value = value::value(given, &now, before.as_ref());
        value::beside(&mut value, &now.name, beside, amp.as_ref());
        format!("{value:#}\n")
    } else {
        let mut text = text::text(given, &now, before.as_ref());
        match &beside {
            Some(Ok(found)) => text.push_str(&beside::text(found)),
            Some(Err(why)) => text.push_str(&crate::table::paragraph(why, "")),
            None => {}
        }
        text
    };
    // Problems of the wiring go where those of every command go.
    let aside = match amp {
        Some(amp) => amp.outcome(String::new(), given.json),
        None => Outcome::default(),
    };
    Ok(Outcome {
        text,
        errors: errors || aside.errors,
        ..aside
    })
}

/// One recording, measured.
fn heard(given: &Given, path: &Path) -> Result<Measured, Failure> {
    let (name, source) = input::sound(path)?;
    let ending = path.extension().and_then(|e| e.to_str()).unwrap_or("");
    let recording = sound::decode_from(source, ending)
        .map_err(|e| Failure::input(format!("{name}: {e}."), e.remedy()))?;
    measure(given, name, recording)
}
