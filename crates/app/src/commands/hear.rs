//! `hear`: what a recording says about the amplifier.
//!
//! Everything is computed by the `sound` crate; here figures become words, decibels volts, and volts watts.

mod measure;
mod text;
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
    let text = if given.json {
        format!("{:#}\n", value::value(given, &now, before.as_ref()))
    } else {
        text::text(given, &now, before.as_ref())
    };
    Ok(Outcome {
        text,
        errors: now.unusable() || before.is_some_and(|b| b.unusable()),
        ..Outcome::default()
    })
}

/// One recording, measured.
fn heard(given: &Given, path: &Path) -> Result<Measured, Failure> {
    let (name, bytes) = input::sound(path)?;
    let ending = path.extension().and_then(|e| e.to_str()).unwrap_or("");
    let recording = sound::decode(bytes, ending)
        .map_err(|e| Failure::input(format!("{name}: {e}."), e.remedy()))?;
    measure(given, name, recording)
}
