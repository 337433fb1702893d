//! `proof`: burn-in, every control, jack and switch, oscillation sweep, tap test.

use crate::arguments::Proof as Given;
use crate::outcome::{Failure, Outcome};
use crate::{bench_sheet, wired_sheet};
use bench::proof::proof;

/// Runs `proof`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let amp = wired_sheet::load(&given.on.wired)?;
    let answers = wired_sheet::answers(&amp, &given.on.answers)?;
    let sheet = proof(&amp.circuit, &answers, &given.rows);
    wired_sheet::outcome(&amp, &sheet, bench_sheet::value(&sheet), &given.on.form)
}
