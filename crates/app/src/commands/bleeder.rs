//! `bleeder`: the resistor that empties a reservoir, or the pair that shares the volts of two in series.

use crate::arguments::Bleeder as Given;
use crate::bench_sheet;
use crate::outcome::{Failure, Outcome};
use bench::bleeder::{BleederRequest, bleeder};

/// Runs `bleeder`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let sheet = bleeder(&BleederRequest {
        volts: given.volts.map(|v| v.value),
        farads: given.capacitance.map(|v| v.value),
        fitted_ohms: given.ohms.map(|v| v.value),
        fitted_watts: given.rated.map(|v| v.value),
        series: given.series,
        leakage: given.leakage.map(|v| v.value),
    });
    bench_sheet::outcome(&sheet, &given.form)
}
