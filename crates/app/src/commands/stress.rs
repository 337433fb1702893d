//! `stress`: how hard each part is worked against its rating, and what one fault takes with it.

use crate::arguments::Stress as Given;
use crate::outcome::{Failure, Outcome};
use crate::wired_sheet;
use bench::stress::stress;

/// Runs `stress`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let amp = wired_sheet::load(&given.wired)?;
    let asked = wired_sheet::asked(&given.wired, &amp)?;
    let stress = stress(&amp.circuit, &amp.library, &asked);
    let value = serde_json::to_value(&stress).unwrap_or_default();
    wired_sheet::outcome(&amp, &stress.sheet, value, &given.form)
}
