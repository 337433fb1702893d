//! `tremolo`: does it start, how fast, how deep, and what would bring it back.

use crate::arguments::Tremolo as Given;
use crate::outcome::{Failure, Outcome};
use crate::wired_sheet;
use bench::tremolo::tremolo;

/// Runs `tremolo`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let amp = wired_sheet::load(&given.wired)?;
    let asked = wired_sheet::asked(&given.wired, &amp)?;
    let found = tremolo(
        &amp.circuit,
        &amp.library,
        &asked,
        given.from.as_deref(),
        &mut wired_sheet::tells(),
    );
    let value = serde_json::to_value(&found).unwrap_or_default();
    wired_sheet::outcome(&amp, &found.sheet, value, &given.form)
}
