//! `lamp`: the limiter lamp for the first power.

use crate::arguments::Lamp as Given;
use crate::bench_sheet;
use crate::outcome::{Failure, Outcome};
use bench::lamp::{LampRequest, lamp};

/// Runs `lamp`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let sheet = lamp(&LampRequest {
        draw: given.watts.map(|v| v.value),
        output: given.output.map(|v| v.value),
        mains: given.mains.map(|v| v.value),
        lamp: given.lamp.map(|v| v.value),
    });
    bench_sheet::outcome(&sheet, &given.form)
}
