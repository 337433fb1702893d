//! `bias`: plate and screen watts of each output valve, where they should be, and the resistor to fit.

use crate::arguments::{Bias as Given, Stage as Sort};
use crate::bench_sheet;
use crate::library;
use crate::outcome::{Failure, Outcome};
use bench::bias::{BiasRequest, Stage, bias};
use wiring::sheet::{Library, Sheet};

/// Runs `bias`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let own = library::load(given.valves_file.as_deref())?;
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
    bench_sheet::with_library(&bias(&request, &own.library), given.form, &own)
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
