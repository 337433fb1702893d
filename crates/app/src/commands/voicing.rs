//! `voicing`: what a small signal from a jack becomes at the loudspeaker, channel by channel, knob by
//! knob, wiring against wiring.

mod plot;
mod print;

use crate::amp::Amp;
use crate::arguments::Voicing as Given;
use crate::outcome::{Failure, Outcome};
use crate::wired_sheet;
use bench::voicing::{Guitar, Voicing, VoicingRequest, inputs, loudspeaker, voicing};
use wiring::circuit::{Position, Setting};
use wiring::diagnostic::Place;

/// One response and what it is called beside the others.
pub(crate) struct Run {
    label: String,
    found: Voicing,
}

/// What one knob does.
pub(crate) struct Range {
    knob: String,
    words: String,
}

/// Where a swept knob stands.
const SWEPT: [f64; 5] = [0.0, 2.5, 5.0, 7.5, 10.0];

/// Runs `voicing`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let amp = wired_sheet::load(&given.wired)?;
    let request = request(given, &amp)?;
    let jacks = jacks(given, &amp)?;
    let mut left_out = Vec::new();
    let mut runs = match &given.sweep {
        Some(knob) => swept(&amp, &request, &jacks, knob)?,
        None => each(&amp, &request, &jacks, &mut left_out)?,
    };
    for path in &given.against {
        let other = wired_sheet::load_files(
            std::slice::from_ref(path),
            &[],
            given.wired.valves_file.as_deref(),
        )?;
        let label = path.file_stem().unwrap_or_default().to_string_lossy();
        for from in runs_from(&runs) {
            let asked = VoicingRequest {
                from: from.clone(),
                ..request.clone()
            };
            match voicing(&other.circuit, &other.library, &asked) {
                Ok(found) => runs.push(Run {
                    label: format!("{label} {from}"),
                    found,
                }),
                Err(why) => left_out.push(format!("{label}, from {from}: {why}.")),
            }
        }
    }
    let ranges = if given.ranges {
        ranges(&amp, &request, &runs)
    } else {
        Vec::new()
    };
    if let Some(path) = &given.plot {
        plot::write(path, &runs)?;
    }
    let text = if given.json {
        amp.json(print::json(&runs, &ranges, &left_out))
    } else if given.csv {
        print::csv(&runs)?
    } else {
        print::text(&runs, &ranges, &left_out, given.plot.as_deref())
    };
    Ok(amp.outcome(text, given.json))
}

fn request(given: &Given, amp: &Amp) -> Result<VoicingRequest, Failure> {
    let to = match &given.to {
        Some(to) => to.clone(),
        None => loudspeaker(&amp.circuit).ok_or_else(|| {
            Failure::input(
                "No loudspeaker is traced.",
                "Trace it, as in `LS1 speaker 8 ohm`, or ask up to another point: `--to V1.1`.",
            )
        })?,
    };
    Ok(VoicingRequest {
        asked: wired_sheet::asked(&given.wired, amp)?,
        from: String::new(),
        to,
        hertz: given.hz.0.clone(),
        source_ohms: given.source.map_or(0.0, |s| s.value),
        guitar: given.guitar.then(Guitar::default),
        resistive_load: given.resistor_load,
    })
}

fn jacks(given: &Given, amp: &Amp) -> Result<Vec<String>, Failure> {
    if !given.from.is_empty() {
        return Ok(given.from.clone());
    }
    let all = inputs(&amp.circuit);
    if all.is_empty() {
        return Err(Failure::input(
            "No input jack is traced.",
            "Trace one, as in `J1 jack` and `J1.tip - R2 68k - V1.2`.",
        ));
    }
    Ok(all)
}

/// Each jack by itself; those that give nothing are told, unless they were asked for by name.
fn each(
    amp: &Amp,
    request: &VoicingRequest,
    jacks: &[String],
    left_out: &mut Vec<String>,
) -> Result<Vec<Run>, Failure> {
    let mut runs = Vec::new();
    for from in jacks {
        let asked = VoicingRequest {
            from: from.clone(),
            ..request.clone()
        };
        match voicing(&amp.circuit, &amp.library, &asked) {
            Ok(found) => runs.push(Run {
                label: from.clone(),
                found,
            }),
            Err(why) => left_out.push(format!("From {from}: {why}.")),
        }
    }
    if runs.is_empty() {
        return Err(nothing(left_out.join(" ")));
    }
    Ok(runs)
}

fn swept(
    amp: &Amp,
    request: &VoicingRequest,
    jacks: &[String],
    knob: &str,
) -> Result<Vec<Run>, Failure> {
    let from = jacks.first().cloned().unwrap_or_default();
    let name = known_knob(amp, knob)?;
    SWEPT
        .into_iter()
        .map(|at| {
            let found = turned(amp, request, &from, &name, at)
                .map_err(|why| nothing(format!("From {from}, {name} at {at}: {why}.")))?;
            Ok(Run {
                label: format!("{name} {at}"),
                found,
            })
        })
        .collect()
}

/// A knob by its name; `sets` of an unknown one is wrong use.
fn known_knob(amp: &Amp, knob: &str) -> Result<String, Failure> {
    let set = amp.settings(&[(knob.to_owned(), Position::Number(5.0))])?;
    Ok(set
        .into_iter()
        .next()
        .map_or_else(|| knob.to_owned(), |s| s.name))
}

fn turned(
    amp: &Amp,
    request: &VoicingRequest,
    from: &str,
    knob: &str,
    at: f64,
) -> Result<Voicing, String> {
    let mut asked = VoicingRequest {
        from: from.to_owned(),
        ..request.clone()
    };
    asked.asked.sets.push(Setting {
        name: knob.to_owned(),
        to: Position::Number(at),
        place: Place::default(),
    });
    voicing(&amp.circuit, &amp.library, &asked)
}

/// What each knob does from 0 to 10, for each jack; a knob that does nothing is left out.
fn ranges(amp: &Amp, request: &VoicingRequest, runs: &[Run]) -> Vec<Range> {
    let mut all = Vec::new();
    for from in runs_from(runs) {
        let knobs = runs.iter().find(|r| r.found.from == from);
        for knob in knobs.into_iter().flat_map(|r| r.found.knobs.keys()) {
            let at = |to: f64| turned(amp, request, &from, knob, to);
            let words = match (at(10.0), at(0.0)) {
                (Ok(high), Ok(low)) => {
                    let words = high.against(&low);
                    if words.starts_with("nowhere") {
                        continue;
                    }
                    words
                }
                (Ok(_), Err(_)) => "at 0 nothing arrives".to_owned(),
                (Err(why), _) => why,
            };
            all.push(Range {
                knob: format!("{from}, {knob}"),
                words,
            });
        }
    }
    all
}

fn runs_from(runs: &[Run]) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for run in runs {
        if !all.contains(&run.found.from) {
            all.push(run.found.from.clone());
        }
    }
    all
}

fn nothing(why: String) -> Failure {
    Failure::input(
        why,
        "Set knobs and switches with `--set`, or ask up to a nearer point with `--to`.",
    )
}
