//! `heaters`: heater current by supply against the windings, and the volts at the pins.

use crate::arguments::Heaters as Given;
use crate::outcome::{Failure, Outcome};
use crate::words::sentence;
use crate::{bench_sheet, library, wired_sheet};
use bench::heaters::{HeaterItem, HeaterRequest, ListError, heaters, read_item};
use bench::heating::heating;
use wiring::sheet::Library;

/// Runs `heaters`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    if !given.wired.files.is_empty() {
        return of_amp(given);
    }
    let own = library::load(given.wired.valves_file.as_deref())?;
    let request = HeaterRequest {
        valves: list(&given.valves, &own.library)?,
        original: list(&given.original, &own.library)?,
        windings: given.winding.clone(),
        read: given.read.iter().map(|v| v.value).collect(),
        chain: given.series.map(|v| v.value),
        mains: given.wired.mains.filter(|_| given.series.is_some()),
    };
    bench_sheet::with_library(&heaters(&request, &own.library), &given.form, &own)
}

/// Every heater supply of a wiring.
fn of_amp(given: &Given) -> Result<Outcome, Failure> {
    if !given.valves.is_empty() || !given.winding.is_empty() || given.series.is_some() {
        return Err(Failure::misuse(
            "Both a wiring and typed numbers were given.",
            "Leave out `--valves`, `--winding` and `--series`, or the file.",
        ));
    }
    let amp = wired_sheet::load(&given.wired)?;
    let asked = wired_sheet::asked(&given.wired, &amp)?;
    let heating = heating(&amp.circuit, &amp.library, &asked);
    let value = serde_json::to_value(&heating).unwrap_or_default();
    wired_sheet::outcome(&amp, &heating.sheet, value, &given.form)
}

fn list(names: &[String], library: &Library) -> Result<Vec<HeaterItem>, Failure> {
    names
        .iter()
        .map(|name| {
            read_item(name, library).map_err(|error| match &error {
                ListError::Type { name, .. } => library::unknown(name, library),
                _ => Failure::misuse(
                    sentence(&error.to_string()),
                    "Type types with their count, such as `--valves 12AX7,EL84x2`; other heater volts behind the type, `\"12AX7 12.6V\"`.",
                ),
            })
        })
        .collect()
}
