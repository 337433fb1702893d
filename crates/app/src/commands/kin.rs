//! `kin`: how near an amplifier is to each of several drawings.

mod pictures;
mod text;

use crate::amp;
use crate::arguments::Kin as Given;
use crate::input;
use crate::outcome::{Failure, Outcome};
use crate::{library, problems};
use bench::kin::{Drawing, kin};
use std::path::Path;
use wiring::Severity;

/// Most parts on a side; the work grows with the product of both.
pub(crate) const MOST_PARTS: usize = 600;

/// Most drawings at once.
const MOST_DRAWINGS: usize = 20;

/// Runs `kin`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let [_, drawn @ ..] = given.files.as_slice() else {
        return Err(misuse());
    };
    if drawn.is_empty() {
        return Err(misuse());
    }
    if drawn.len() > MOST_DRAWINGS {
        return Err(Failure::misuse(
            format!(
                "{} drawings; {MOST_DRAWINGS} at a time is the most.",
                drawn.len()
            ),
            "Leave out those that are surely not of this amp.",
        ));
    }
    let sheets = library::load(given.valves_file.as_deref())?;
    let mut amps = Vec::new();
    for text in input::read_all(&given.files)? {
        let amp = amp::join(vec![text], sheets.library.clone());
        let parts = amp.circuit.parts.len();
        if parts > MOST_PARTS {
            return Err(Failure::input(
                format!(
                    "{} has {parts} parts; {MOST_PARTS} is the most that is compared.",
                    amp.names().join(", ")
                ),
                "Give one amplifier in each file.",
            ));
        }
        amps.push(amp);
    }
    let names: Vec<String> = amps.iter().skip(1).map(|a| name(&a.names())).collect();
    let drawings: Vec<Drawing<'_>> = amps
        .iter()
        .skip(1)
        .zip(&names)
        .map(|(amp, name)| Drawing {
            name,
            circuit: &amp.circuit,
        })
        .collect();
    let Some(first) = amps.first() else {
        return Err(misuse());
    };
    let found = kin(&first.circuit, &first.library, &drawings);
    let drawn = match &given.pictures {
        Some(folder) => pictures::write(folder, &first.circuit, &drawings, &found)?,
        None => String::new(),
    };
    let errors = amps.iter().any(amp::Amp::any_error)
        || sheets
            .problems
            .iter()
            .any(|d| d.severity == Severity::Error);
    if given.json {
        let mut value = serde_json::to_value(&found).unwrap_or_default();
        if let Some(map) = value.as_object_mut() {
            for (key, severity) in [("errors", Severity::Error), ("warnings", Severity::Warning)] {
                let mut all = Vec::new();
                for amp in &amps {
                    all.extend(problems::of(&amp.problems, severity, &amp.names()));
                }
                map.insert(
                    key.to_owned(),
                    serde_json::to_value(all).unwrap_or_default(),
                );
            }
        }
        return Ok(Outcome {
            text: format!("{value:#}\n"),
            errors,
            ..Outcome::default()
        });
    }
    let mut aside = String::new();
    for amp in &amps {
        for d in amp.problems.iter().filter(|d| d.severity != Severity::Note) {
            aside.push_str(&problems::show(d, &amp.texts));
            aside.push('\n');
        }
    }
    Ok(Outcome {
        text: text::text(&first.circuit, &found, given.all) + &drawn,
        aside,
        errors,
        verbatim: false,
    })
}

fn misuse() -> Failure {
    Failure::misuse(
        "Kin needs the amp and at least one drawing.",
        "Name the amp's wiring first, then each drawing: `tubewright kin as-found.wiring drawing-1.wiring drawing-2.wiring`.",
    )
}

/// The file without its folder and ending.
fn name(files: &[String]) -> String {
    let path = files.first().map_or("", String::as_str);
    Path::new(path)
        .file_stem()
        .and_then(|s| s.to_str())
        .unwrap_or(path)
        .to_owned()
}
