//! `cold`: ohms before power.

use crate::arguments::Cold as Given;
use crate::outcome::{Failure, Outcome};
use crate::wired_sheet;
use bench::cold::{ColdRequest, cold};

/// Runs `cold`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let amp = wired_sheet::load(&given.wired)?;
    let asked = wired_sheet::asked(&given.wired, &amp)?;
    let check = cold(
        &amp.circuit,
        &amp.library,
        &ColdRequest {
            block: asked.block,
            sets: asked.sets,
            test_volts: given.test_volts.map(|v| v.value),
        },
    );
    let sheet = check.sheet();
    wired_sheet::outcome(
        &amp,
        &sheet,
        wired_sheet::beside(&sheet, &check),
        &given.form,
    )
}
