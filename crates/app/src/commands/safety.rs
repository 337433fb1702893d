//! `safety`: the checklist of mains side and hand-over.

use crate::arguments::{Region as Typed, Safety as Given};
use crate::outcome::{Failure, Outcome};
use crate::{bench_sheet, wired_sheet};
use bench::safety::{Region, safety};

/// Runs `safety`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let amp = wired_sheet::load(&given.on.wired)?;
    let answers = wired_sheet::answers(&amp, &given.on.answers)?;
    let region = given.region.map(|r| match r {
        Typed::Eu => Region::Eu,
        Typed::Uk => Region::Uk,
        Typed::Us => Region::Us,
    });
    let sheet = safety(&amp.circuit, &amp.library, region, &answers);
    wired_sheet::outcome(&amp, &sheet, bench_sheet::value(&sheet), &given.on.form)
}
