//! `inspect`: the inspection before power.

use crate::arguments::Inspect as Given;
use crate::outcome::{Failure, Outcome};
use crate::{bench_sheet, wired_sheet};
use bench::inspect::inspect;

/// Runs `inspect`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let amp = wired_sheet::load(&given.on.wired)?;
    let answers = wired_sheet::answers(&amp, &given.on.answers)?;
    let sheet = inspect(&amp.circuit, &amp.library, None, &answers);
    wired_sheet::outcome(&amp, &sheet, bench_sheet::value(&sheet), &given.on.form)
}
