//! `bias`: plate and screen watts of each output valve, from a wiring or from typed numbers, where they should be, and the resistor to fit.

use crate::arguments::{Bias as Given, Stage as Sort};
use crate::outcome::{Failure, Outcome};
use crate::{bench_sheet, library, wired_sheet};
use bench::bias::{BiasRequest, Stage, bias};
use bench::idle::idle;
use wiring::sheet::{Library, Sheet};

/// Runs `bias`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    if !given.wired.files.is_empty() {
        return of_amp(given);
    }
    let own = library::load(given.wired.valves_file.as_deref())?;
    let valve = given
        .valve
        .as_deref()
        .map(|name| amplifying(name, &own.library))
        .transpose()?;
    let request = BiasRequest {
        valve,
        plate: given.plate,
        cathode: given.cathode,
        ohms: given.ohms,
        shared: given.shared,
        other: given.other,
        screen: given.screen,
        screen_drop: given.screen_drop,
        screen_ohms: given.screen_ohms,
        primary_drop: given.primary_drop,
        primary_ohms: given.primary_ohms,
        on_half: given.on_half,
        meter: given.meter,
        ohms_measured: given.measured,
        tolerance: given.tolerance,
        stage: given.stage.map(|sort| match sort {
            Sort::Fixed => Stage::FixedBias,
            Sort::Pair => Stage::CathodePair,
            Sort::Single => Stage::SingleEnded,
        }),
        target: given.target,
    };
    bench_sheet::with_library(&bias(&request, &own.library), &given.form, &own)
}

/// Every output stage of a wiring, as it should idle and as it was read.
fn of_amp(given: &Given) -> Result<Outcome, Failure> {
    if given.valve.is_some() || given.plate.is_some() || given.cathode.is_some() {
        return Err(Failure::misuse(
            "Both a wiring and typed numbers were given.",
            "Leave out `--valve`, `--plate` and `--cathode`, or the file.",
        ));
    }
    let amp = wired_sheet::load(&given.wired)?;
    let asked = wired_sheet::asked(&given.wired, &amp)?;
    let idle = idle(&amp.circuit, &amp.library, &asked);
    let value = serde_json::to_value(&idle).unwrap_or_default();
    wired_sheet::outcome(&amp, &idle.sheet, value, &given.form)
}

/// The sheet of a type that amplifies.
fn amplifying<'l>(name: &str, library: &'l Library) -> Result<&'l Sheet, Failure> {
    let sheet = library
        .find(name)
        .ok_or_else(|| library::unknown(name, library))?;
    if sheet.sections().iter().any(|s| s.grid) {
        return Ok(sheet);
    }
    Err(Failure::misuse(
        format!(
            "A {} is a {} and has no bias.",
            sheet.name,
            sheet.kind.word()
        ),
        "Name an output valve, such as `--valve EL84`.",
    ))
}
