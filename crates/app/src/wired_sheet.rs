//! What every sheet from a wiring shares: reading the files, the request, answers, printing.

use crate::amp::{self, Amp};
use crate::arguments::Wired;
use crate::bench_sheet::{self, Form};
use crate::outcome::{Failure, Outcome};
use bench::Asked;
use bench::answers::Answers;
use bench::sheet::Sheet;
use serde_json::Value;
use std::io::{IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};
use wiring::Circuit;
use wiring::readings::Answer;

/// Reads the files, and puts other parts in their places where that is asked; no file at all is an amplifier of which
/// nothing is known.
pub(crate) fn load(wired: &Wired) -> Result<Amp, Failure> {
    let mut amp = load_as_wired(wired)?;
    amp.circuit = exchanged(wired, &amp)?;
    Ok(amp)
}

/// Reads the files as they are.
pub(crate) fn load_as_wired(wired: &Wired) -> Result<Amp, Failure> {
    load_files(&wired.files, &wired.readings, wired.valves_file.as_deref())
}

/// The circuit with the parts of `--instead`.
pub(crate) fn exchanged(wired: &Wired, amp: &Amp) -> Result<Circuit, Failure> {
    bench::instead::with(&amp.circuit, &amp.library, &wired.instead)
        .map_err(|refused| Failure::misuse(refused.what, refused.remedy))
}

/// Reads files whose circuit will be computed.
pub(crate) fn load_files(
    files: &[PathBuf],
    readings: &[PathBuf],
    valves_file: Option<&Path>,
) -> Result<Amp, Failure> {
    amp::load_bounded(files, readings, valves_file, amp::MOST_COMPUTED)
}

/// The options as the computing crate wants them; names that are nowhere are wrong use.
pub(crate) fn asked(wired: &Wired, amp: &Amp) -> Result<Asked, Failure> {
    known_block(amp, wired.block.as_deref())?;
    Ok(Asked {
        block: wired.block.clone(),
        mains_volts: wired.mains,
        sets: amp.settings(&wired.sets)?,
        without_valves: amp.valves(&wired.without)?,
    })
}

/// Fails when no readings block bears the name.
pub(crate) fn known_block(amp: &Amp, name: Option<&str>) -> Result<(), Failure> {
    if let Some(name) = name {
        let blocks: Vec<&str> = amp
            .circuit
            .readings
            .iter()
            .map(|b| b.name.as_str())
            .collect();
        if !blocks.contains(&name) {
            let remedy = if blocks.is_empty() {
                "The files hold no readings. Leave `--block` out for a chart without them."
                    .to_owned()
            } else {
                format!("There are: {}.", blocks.join("; "))
            };
            return Err(Failure::misuse(
                format!("No readings block is called `{name}`."),
                remedy,
            ));
        }
    }
    Ok(())
}

/// The answers of the files with those typed after `--answer`.
pub(crate) fn answers(amp: &Amp, typed: &[String]) -> Result<Answers, Failure> {
    let mut all = Vec::new();
    for text in typed {
        all.push(answer(text)?);
    }
    Ok(Answers::of(&amp.circuit).and(all))
}

/// `earth-bond=0.08 ohm`: read by the notation itself, as an `answer` line.
fn answer(text: &str) -> Result<Answer, Failure> {
    let wrong = |what: String| {
        Failure::misuse(
            what,
            "Type the line's name, `=`, and `yes`, `no` or a figure: `--answer cord=yes`, \
             `--answer \"earth-bond=0.08 ohm\"`.",
        )
    };
    let Some((item, said)) = text.split_once('=') else {
        return Err(wrong(format!("`{text}` is no answer.")));
    };
    let line = format!(
        "readings answers\npower off\nanswer {} {}\n",
        item.trim(),
        said.trim()
    );
    let read = wiring::read_one(&line);
    let found = read.circuit.readings.into_iter().flat_map(|b| b.answers);
    match (
        found.last(),
        read.problems
            .iter()
            .find(|p| p.severity == wiring::Severity::Error),
    ) {
        (Some(answer), None) => Ok(answer),
        (_, Some(problem)) => Err(wrong(format!("`{text}`: {}", problem.message))),
        (None, None) => Err(wrong(format!("`{text}` is no answer."))),
    }
}

/// The sheet with the figures behind it; the sheet's own fields come first.
pub(crate) fn beside<T: serde::Serialize>(sheet: &Sheet, figures: &T) -> Value {
    let mut value = bench_sheet::value(sheet);
    if let (Some(fields), Ok(Value::Object(more))) =
        (value.as_object_mut(), serde_json::to_value(figures))
    {
        for (name, figure) in more {
            fields.entry(name).or_insert(figure);
        }
    }
    value
}

/// For what takes seconds: whoever waits at a terminal is told what for. Nothing stops it but Ctrl-C.
pub(crate) fn tells() -> impl FnMut(&str) -> bool {
    let terminal = std::io::stderr().is_terminal();
    let mut said = String::new();
    move |words| {
        if terminal && said != words {
            words.clone_into(&mut said);
            let _ = writeln!(std::io::stderr(), "Working out {words} ...");
        }
        true
    }
}

/// Prints a sheet of an amplifier: `value` is what JSON shows, the sheet's own fields in it.
pub(crate) fn outcome(
    amp: &Amp,
    sheet: &Sheet,
    value: Value,
    form: &Form,
) -> Result<Outcome, Failure> {
    let text = if let Some(written) = form.paper.write(sheet)? {
        written
    } else if form.json {
        amp.json(value)
    } else if form.csv {
        bench_sheet::csv(sheet)?
    } else {
        bench_sheet::text(sheet)
    };
    Ok(amp.outcome(text, form.json))
}
