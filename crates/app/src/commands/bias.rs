//! `bias`: plate and screen watts of each output valve, from a wiring or from typed numbers, where they should be, and the resistor to fit.

mod plot;

use crate::arguments::{Bias as Given, Stage as Sort};
use crate::outcome::{Failure, Outcome};
use crate::{bench_sheet, library, wired_sheet};
use bench::bias::{BiasRequest, Stage, bias};
use bench::idle::idle;
use bench::plate_curves::{of_numbers, of_stage};
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
    let plotted = plot::write(given, || {
        of_numbers(&request, given.load.map(|z| z.value)).ok_or(
            "The plate curves need a type whose curves are known, plate volts and a current: \
             `--valve EL84 --plate 310 --cathode 11.2 --ohms 130`.",
        )
    })?;
    let sheet = bias(&request, &own.library);
    Ok(plot::told(
        bench_sheet::with_library(&sheet, &given.form, &own)?,
        given,
        plotted,
    ))
}

/// Every output stage of a wiring, as it should idle and as it was read.
fn of_amp(given: &Given) -> Result<Outcome, Failure> {
    let numbers = [given.plate, given.cathode, given.load];
    if given.valve.is_some() || numbers.iter().any(Option::is_some) {
        return Err(Failure::misuse(
            "Both a wiring and typed numbers were given.",
            "Leave out `--valve`, `--plate`, `--cathode` and `--load`, or the file.",
        ));
    }
    let amp = wired_sheet::load(&given.wired)?;
    let asked = wired_sheet::asked(&given.wired, &amp)?;
    let idle = idle(&amp.circuit, &amp.library, &asked);
    let value = serde_json::to_value(&idle).unwrap_or_default();
    let plotted = plot::write(given, || {
        idle.stages
            .iter()
            .find_map(|s| of_stage(&amp.circuit, &amp.library, s))
            .ok_or(
                "No output valve whose curves are known has a figure yet: see `Not known` on the sheet \
                 without `--plot`.",
            )
    })?;
    let outcome = wired_sheet::outcome(&amp, &idle.sheet, value, &given.form)?;
    Ok(plot::told(outcome, given, plotted))
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
