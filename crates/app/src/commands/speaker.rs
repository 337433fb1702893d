//! `speaker`: the load of several drivers, the tap to use, and who gets how much of the power.

use crate::arguments::Speaker as Given;
use crate::bench_sheet;
use crate::outcome::{Failure, Outcome};
use bench::speaker::{SpeakerRequest, speaker};

/// Runs `speaker`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let sheet = speaker(&SpeakerRequest {
        load: given.drivers.clone(),
        taps: given.taps.iter().map(|v| v.value).collect(),
        output: given.output.map(|v| v.value),
        rated: given.rated.map(|v| v.value),
        read_ohms: given.read.map(|v| v.value),
    });
    bench_sheet::outcome(&sheet, &given.form)
}
