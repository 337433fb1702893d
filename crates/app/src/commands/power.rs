//! `power`: what the amplifier gives, clean and driven hard, and what that costs it.

use crate::arguments::Power as Given;
use crate::outcome::{Failure, Outcome};
use crate::wired_sheet;
use bench::power::{PowerRequest, power};

/// Runs `power`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let amp = wired_sheet::load(&given.wired)?;
    let request = PowerRequest {
        asked: wired_sheet::asked(&given.wired, &amp)?,
        from: given.from.clone(),
        hertz: given.hz.clone(),
        clean: given.distortion,
    };
    let found = power(
        &amp.circuit,
        &amp.library,
        &request,
        &mut wired_sheet::tells(),
    );
    let value = serde_json::to_value(&found).unwrap_or_default();
    wired_sheet::outcome(&amp, &found.sheet, value, &given.form)
}
