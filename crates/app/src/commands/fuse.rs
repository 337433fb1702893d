//! `fuse`: standard ratings with their time laws, never above the marking.

use crate::arguments::Fuse as Given;
use crate::bench_sheet;
use crate::outcome::{Failure, Outcome};
use bench::fuse::{FuseRequest, fuse};

/// Runs `fuse`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let sheet = fuse(&FuseRequest {
        amps: given.current.map(|v| v.value),
        mains: given.mains.map(|v| v.value),
        marking: given.marking.clone(),
        ht_amps: given.ht_current.map(|v| v.value),
        ht_volts: given.ht_volts.map(|v| v.value),
    });
    bench_sheet::outcome(&sheet, &given.form)
}
