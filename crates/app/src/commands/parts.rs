//! `parts`: keep, watch or replace, part by part, and what to order.

use crate::arguments::Parts as Given;
use crate::outcome::{Failure, Outcome};
use crate::wired_sheet;
use bench::parts::{PartsRequest, parts};

/// Runs `parts`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let amp = wired_sheet::load(&given.wired)?;
    let request = PartsRequest {
        asked: wired_sheet::asked(&given.wired, &amp)?,
        this_year: given.year,
    };
    let parts = parts(&amp.circuit, &amp.library, &request);
    let value = serde_json::to_value(&parts).unwrap_or_default();
    wired_sheet::outcome(&amp, &parts.sheet, value, &given.form)
}
