//! `powerup`: lamp, mains steps, limits at which to switch off, where charge stays.

use crate::arguments::Powerup as Given;
use crate::outcome::{Failure, Outcome};
use crate::wired_sheet;
use bench::powerup::{PowerupRequest, plan};

/// Runs `powerup`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let amp = wired_sheet::load(&given.on.wired)?;
    let asked = wired_sheet::asked(&given.on.wired, &amp)?;
    let answers = wired_sheet::answers(&amp, &given.on.answers)?;
    let plan = plan(
        &amp.circuit,
        &amp.library,
        &PowerupRequest {
            mains_volts: asked.mains_volts,
            lamp_watts: given.lamp.map(|w| w.value),
            sets: asked.sets,
            without_valves: asked.without_valves,
        },
    );
    let sheet = plan.sheet(&amp.circuit, &answers);
    wired_sheet::outcome(
        &amp,
        &sheet,
        wired_sheet::beside(&sheet, &plan),
        &given.on.form,
    )
}
