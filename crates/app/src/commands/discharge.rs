//! `discharge`: how long capacitors take to empty, what they hold, and the resistor it takes.

use crate::arguments::Discharge as Given;
use crate::bench_sheet;
use crate::outcome::{Failure, Outcome};
use bench::discharge::{Discharge, discharge};

/// Runs `discharge`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let sheet = discharge(&Discharge {
        capacitors: given.capacitance.iter().flatten().copied().collect(),
        volts: given.volts.map(|v| v.value),
        ohms: given.ohms.map(|v| v.value),
        left: given.left.map(|v| v.value),
    });
    bench_sheet::outcome(&sheet, &given.form)
}
