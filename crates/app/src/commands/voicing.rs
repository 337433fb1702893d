//! `voicing`: what a small signal from a jack becomes at the loudspeaker, channel by channel, knob by
//! knob, wiring against wiring.

mod plot;
mod print;

use crate::amp::Amp;
use crate::arguments::Voicing as Given;
use crate::outcome::{Failure, Outcome};
use crate::wired_sheet;
use bench::voicing::{
    Contributions, Guitar, Voicing, VoicingRequest, contributions, inputs, loudspeaker,
};
use wiring::circuit::{Position, Setting};
use wiring::diagnostic::Place;
use wiring::sheet::Library;

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
    let over = given.over.as_deref();
    let mut runs = match &given.sweep {
        Some(knob) => swept(&amp, &request, &jacks, knob, over)?,
        None => each(&amp, &request, &jacks, &mut left_out, over)?,
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
            match voicing(&other.circuit, &other.library, &asked, over) {
                Ok(found) => runs.push(Run {
                    label: format!("{label} {from}"),
                    found,
                }),
                Err(why) => left_out.push(format!("{label}, from {from}: {why}.")),
            }
        }
    }
    let parts = match runs.first().filter(|_| given.parts) {
        Some(first) => Some(contributed(&amp, &request, first)?),
        None => None,
    };
    let ranges = if given.ranges {
        ranges(&amp, &request, &runs, over)
    } else {
        Vec::new()
    };
    if let Some(path) = &given.plot {
        plot::write(path, &runs, parts.as_ref())?;
    }
    let text = if given.json {
        amp.json(print::json(&runs, &ranges, &left_out, parts.as_ref()))
    } else if given.csv {
        print::csv(&runs)?
    } else {
        print::text(
            &runs,
            &ranges,
            &left_out,
            parts.as_ref(),
            given.plot.as_deref(),
        )
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
        guitar: guitar(given),
        resistive_load: given.resistor_load,
    })
}

/// The guitar with what was typed of it; none where nobody spoke of one.
fn guitar(given: &Given) -> Option<Guitar> {
    let usual = Guitar::default();
    let typed = [
        &given.pickup,
        &given.pickup_ohms,
        &given.cable,
        &given.guitar_volume,
    ];
    let spoken = given.guitar || given.turned.is_some() || typed.iter().any(|t| t.is_some());
    let or =
        |typed: &Option<bench::typed::Typed>, usual: f64| typed.as_ref().map_or(usual, |t| t.value);
    spoken.then(|| Guitar {
        henries: or(&given.pickup, usual.henries),
        ohms: or(&given.pickup_ohms, usual.ohms),
        farads: or(&given.cable, usual.farads),
        volume_ohms: or(&given.guitar_volume, usual.volume_ohms),
        volume: given.turned.map_or(usual.volume, |t| t / 10.0),
    })
}

/// A response, over another point where one is named.
fn voicing(
    circuit: &wiring::Circuit,
    library: &Library,
    asked: &VoicingRequest,
    over: Option<&str>,
) -> Result<Voicing, String> {
    let found = bench::voicing::voicing(circuit, library, asked)?;
    let Some(over) = over else { return Ok(found) };
    let before = VoicingRequest {
        to: over.to_owned(),
        ..asked.clone()
    };
    Ok(found.over(&bench::voicing::voicing(circuit, library, &before)?))
}

fn contributed(amp: &Amp, request: &VoicingRequest, first: &Run) -> Result<Contributions, Failure> {
    let mut asked = VoicingRequest {
        from: first.found.from.clone(),
        ..request.clone()
    };
    for (name, to) in &first.found.knobs {
        asked.asked.sets.push(Setting {
            name: name.clone(),
            to: Position::Number(*to),
            place: Place::default(),
        });
    }
    contributions(&amp.circuit, &amp.library, &asked).map_err(nothing)
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
    over: Option<&str>,
) -> Result<Vec<Run>, Failure> {
    let mut runs = Vec::new();
    for from in jacks {
        let asked = VoicingRequest {
            from: from.clone(),
            ..request.clone()
        };
        match voicing(&amp.circuit, &amp.library, &asked, over) {
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
    over: Option<&str>,
) -> Result<Vec<Run>, Failure> {
    let from = jacks.first().cloned().unwrap_or_default();
    let name = known_knob(amp, knob)?;
    SWEPT
        .into_iter()
        .map(|at| {
            let found = turned(amp, request, &from, &name, at, over)
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
    over: Option<&str>,
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
    voicing(&amp.circuit, &amp.library, &asked, over)
}

/// What each knob does from 0 to 10, for each jack; a knob that does nothing is left out.
fn ranges(amp: &Amp, request: &VoicingRequest, runs: &[Run], over: Option<&str>) -> Vec<Range> {
    let mut all = Vec::new();
    for from in runs_from(runs) {
        let knobs = runs.iter().find(|r| r.found.from == from);
        for knob in knobs.into_iter().flat_map(|r| r.found.knobs.keys()) {
            let at = |to: f64| turned(amp, request, &from, knob, to, over);
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
