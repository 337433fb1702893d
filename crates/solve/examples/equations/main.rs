//! Writes the equations of circuits under many conditions as JSON, for a second opinion.
//!
//! ```text
//! cargo run --release -p solve --example equations -- [--variants N] [--whole] file.wiring [more files of the same amplifier]
//! cargo run --release -p solve --example equations -- --amplifiers
//! cargo run --release -p solve --example equations -- --in-time
//! cargo run --release -p solve --example equations -- --in-cycle
//! ```
//!
//! One JSON object on each line: a name, the status, the equations with the volts that were
//! found, and the source resistance of each node. `--variants N` adds other mains, pulled
//! valves, a limiter lamp, standby, and N faults; `--whole` adds the unreduced netlist to those without a
//! fault. `--amplifiers` takes the two test amplifiers without a mains supply. `--in-time` writes one
//! driven amplifier with its volts from moment to moment, `--in-cycle` circuits that repeat themselves with
//! what their cycles hold.

#![allow(
    clippy::unwrap_used,
    reason = "fixtures shared with the tests are taken as sound; a panic is their failure"
)]

#[path = "../../tests/support/amplifiers.rs"]
#[allow(
    dead_code,
    unreachable_pub,
    reason = "the tests use more of it, and share it"
)]
mod amplifiers;
mod cases;
mod cycles;
mod driven;

use std::io::Write;

use cases::Case;
use serde_json::{Value, json};
use solve::export::{export_equations, export_whole};
use solve::linearised::Linearised;
use solve::supply::operating_point;
use solve::{AMPLIFIER_OHMS, FLOOR_SIEMENS, LEAK_SIEMENS};
use wiring::sheet::Library;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (mut files, mut variants, mut whole, mut test_amplifiers) =
        (Vec::new(), None, false, false);
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        match word.as_str() {
            "--variants" => variants = Some(words.next().unwrap_or_default().parse()?),
            "--whole" => whole = true,
            "--amplifiers" => test_amplifiers = true,
            "--in-time" => {
                writeln!(std::io::stdout(), "{}", driven::case()?)?;
                return Ok(());
            }
            "--in-cycle" => {
                writeln!(std::io::stdout(), "{}", cycles::cases()?)?;
                return Ok(());
            }
            _ => files.push((std::fs::read_to_string(&word)?, word)),
        }
    }
    let mut all = Vec::new();
    if test_amplifiers {
        all.push(Case::new("single ended, 5 W", amplifiers::single_ended()));
        all.push(Case::new("push-pull, 18 W", amplifiers::push_pull()));
    }
    if !files.is_empty() {
        let texts: Vec<wiring::Text<'_>> = files
            .iter()
            .map(|(text, name)| wiring::Text { name, text })
            .collect();
        let read = wiring::read(&texts, Library::built_in());
        // A misspelt board would quietly compare less than it says.
        for problem in &read.problems {
            if problem.severity != wiring::Severity::Note {
                let name = files.get(problem.place.file).map_or("", |f| f.1.as_str());
                writeln!(
                    std::io::stderr(),
                    "{name} line {}: {} {}",
                    problem.place.line,
                    problem.code,
                    problem.message
                )?;
            }
        }
        if read.has_errors() {
            return Err("the wiring has errors".into());
        }
        all.extend(cases::of(
            &read.circuit,
            Library::built_in(),
            variants.is_some(),
        ));
    }
    if let Some(count) = variants {
        all.extend(cases::faults(&all, count));
    }
    let mut out = std::io::stdout().lock();
    for case in &all {
        writeln!(out, "{}", solved(case, whole))?;
    }
    Ok(())
}

/// One case as JSON: solved, with its source resistances.
fn solved(case: &Case, whole: bool) -> Value {
    let point = operating_point(&case.netlist, None);
    let (reduced, solution) = (&point.netlist, &point.solution);
    let source_ohms: Vec<Option<f64>> = match Linearised::new(reduced, solution) {
        Ok(linear) => (0..reduced.nodes.len())
            .map(|node| Some(linear.source_ohms(node)))
            .collect(),
        Err(_) => Vec::new(),
    };
    let constants = [
        ("floor_siemens", FLOOR_SIEMENS),
        ("leak_siemens", LEAK_SIEMENS),
        ("amplifier_ohms", AMPLIFIER_OHMS),
    ];
    let named = |at: usize| reduced.elements.get(at).map(|e| e.name.as_str());
    let lit: Vec<&str> = solution.lit.iter().filter_map(|at| named(*at)).collect();
    let notes: Vec<String> = point
        .notes
        .iter()
        .map(|n| format!("{}: {}", n.part, n.text))
        .collect();
    let mut out = json!({
        "case": case.name,
        "converged": point.solved(),
        "status": format!("{:?}, settled {}", solution.status, point.settled),
        "notes": notes,
        "source_ohms": source_ohms,
        "lit": lit,
        "equations": export_equations(reduced, &solution.volts, &solution.lit, &constants),
    });
    if whole && !case.fault {
        let plates: Vec<Value> = point
            .plates
            .iter()
            .map(|p| {
                json!({"name": named(p.element), "mean": p.mean, "rms": p.rms, "peak": p.peak,
                       "inverse_volts": p.inverse_volts})
            })
            .collect();
        out["whole"] = json!(export_whole(&case.netlist, &solution.lit));
        out["averaged"] = json!({
            "mains_amps_rms": point.mains_amps_rms,
            "ripple_rms": point.ripple_rms,
            "emission": point.emission,
            "plates": plates,
        });
    }
    out
}
