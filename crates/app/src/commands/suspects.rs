//! `suspects`: which part is at fault, and what to measure next.

mod text;

use crate::arguments::Suspects as Given;
use crate::caution;
use crate::outcome::{Failure, Outcome};
use crate::wired_sheet;
use bench::faults::Faults;
use bench::suspects::{SuspectsRequest, suspects_while};
use bench::tolerance::Tolerances;
use std::io::{IsTerminal as _, Write as _};
use std::path::Path;

pub(crate) use text::{partner_size, percent, short, size, text, value};

/// Runs `suspects`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    if given.files.is_empty() {
        return Err(Failure::misuse(
            "Suspects need a wiring.",
            "Name its file and that of the readings, `tubewright suspects amp.wiring --readings amp.readings`.",
        ));
    }
    let amp = wired_sheet::load_files(&given.files, &given.readings, given.valves_file.as_deref())?;
    let faults = dictionary(given.faults.as_deref())?;
    let tolerances = Tolerances::standard()
        .map_err(|e| Failure::outside(e.to_string(), "Install the program again."))?;
    let request = SuspectsRequest {
        told: given.heard.iter().chain(&given.seen).cloned().collect(),
        pairs: given.pairs,
        two_ahead: given.two_ahead,
        ..SuspectsRequest::default()
    };
    let told = std::io::stderr().is_terminal();
    let watch = |done: usize, of: usize| {
        if told {
            let line = format!("\rtwo faults at once: {done} of {of} pairs solved ");
            // what nobody can read stops no answer
            let _ = std::io::stderr().write_all(line.as_bytes());
        }
    };
    let found = suspects_while(
        &amp.circuit,
        &amp.library,
        &request,
        &faults,
        &tolerances,
        &watch,
    );
    if told && given.pairs {
        let _ = std::io::stderr().write_all(b"\n");
    }
    let text = if given.json {
        amp.json(serde_json::to_value(&found).unwrap_or_default())
    } else {
        text(&amp.circuit, &found, given.all) + &caution::foot()
    };
    Ok(amp.outcome(text, given.json))
}

/// The dictionary that comes with the program, or the bench's own.
fn dictionary(own: Option<&Path>) -> Result<Faults, Failure> {
    let Some(path) = own else {
        return Faults::standard()
            .map_err(|e| Failure::outside(e.to_string(), "Install the program again."));
    };
    let text = std::fs::read_to_string(path).map_err(|e| {
        Failure::outside(
            format!("{} could not be read: {e}.", path.display()),
            "Name a file that is there and may be read.",
        )
    })?;
    Faults::from_toml(&text).map_err(|e| {
        Failure::input(
            format!("{}: {e}.", path.display()),
            "Start from a copy of the program's own, crates/bench/data/faults.toml, and change one row at a time.",
        )
    })
}
