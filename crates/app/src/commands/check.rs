//! `check`: everything wrong, open or assumed in a wiring, and what could not be computed yet.

use crate::amp::{self, Amp};
use crate::arguments::Check;
use crate::outcome::{Failure, Outcome};
use crate::problems;
use crate::table::{hanging, paragraph};
use bench::chart::{Chart, ChartRequest};
use bench::rules::Gravity;
use bench::sanity::{Finding, sanity_of};
use serde_json::{Value, json};
use wiring::assume::Assumed;
use wiring::circuit::Kind;
use wiring::roles::{Anatomy, Block, Role, anatomy};
use wiring::{Circuit, Severity};

/// Runs `check`.
pub(crate) fn run(given: &Check) -> Result<Outcome, Failure> {
    let amp = amp::load(&given.files, &given.readings, given.valves_file.as_deref())?;
    let summary = Summary::of(&amp);
    let text = if given.json {
        amp.json(json(&amp, &summary))
    } else {
        text(&amp, &summary)
    };
    Ok(Outcome {
        text,
        errors: amp.any_error(),
        ..Outcome::default()
    })
}

/// The counts under the problems.
struct Summary {
    parts: usize,
    valves: usize,
    points: usize,
    assumed: Assumed,
    loose_ends: Vec<String>,
    readings: Vec<(String, usize)>,
    findings: Vec<Finding>,
    anatomy: Anatomy,
    /// What a chart without readings would say; none for far more parts than an amplifier has.
    chart: Option<Chart>,
}

/// Above this many parts `check` only reads, so that it answers at once, and says so.
const MOST_PARTS: usize = 1000;

impl Summary {
    fn of(amp: &Amp) -> Self {
        let circuit = &amp.circuit;
        let small = circuit.parts.len() <= MOST_PARTS;
        let anatomy = if small {
            anatomy(circuit)
        } else {
            Anatomy::default()
        };
        let findings = if small {
            sanity_of(circuit, &amp.library, &anatomy)
        } else {
            Vec::new()
        };
        Self {
            findings,
            anatomy,
            parts: circuit.parts.len(),
            valves: circuit
                .parts
                .iter()
                .filter(|p| matches!(p.kind, Kind::Valve(_)))
                .count(),
            points: points(circuit),
            assumed: Assumed::of(circuit),
            loose_ends: crate::loose::ends(circuit),
            readings: circuit
                .readings
                .iter()
                .map(|b| (b.name.clone(), b.readings.len()))
                .collect(),
            chart: small.then(|| {
                bench::chart::chart(
                    circuit,
                    &amp.library,
                    &ChartRequest {
                        without_readings: true,
                        ..ChartRequest::default()
                    },
                )
            }),
        }
    }
}

/// Nodes that something is joined to; ground counts when anything is on it.
fn points(circuit: &Circuit) -> usize {
    circuit
        .nodes
        .iter()
        .filter(|n| !n.names.is_empty() || !n.terminals.is_empty())
        .filter(|n| n.terminals.len() + n.names.len() > 0)
        .count()
}

fn text(amp: &Amp, summary: &Summary) -> String {
    let circuit = &amp.circuit;
    let mut out = String::new();
    for problem in &amp.problems {
        out.push_str(&problems::show(problem, &amp.texts));
        out.push('\n');
    }
    let count = |severity| {
        amp.problems
            .iter()
            .filter(|d| d.severity == severity)
            .count()
    };
    let plural =
        |n: usize, one: &str, many: &str| format!("{n} {}", if n == 1 { one } else { many });
    out.push_str(&paragraph(
        &format!(
            "{}, {}, {}.",
            plural(count(Severity::Error), "error", "errors"),
            plural(count(Severity::Warning), "warning", "warnings"),
            plural(count(Severity::Note), "note", "notes"),
        ),
        "",
    ));
    out.push_str(&paragraph(
        &format!(
            "Traced: {} ({}), {}.",
            plural(summary.parts, "part", "parts"),
            plural(summary.valves, "valve", "valves"),
            plural(summary.points, "point", "points"),
        ),
        "",
    ));
    if let Some(said) = summary.assumed.sentence() {
        out.push_str(&paragraph(&said, ""));
    }
    if !summary.loose_ends.is_empty() {
        out.push_str(&paragraph(
            &format!("Loose ends: {}.", summary.loose_ends.join(", ")),
            "",
        ));
    }
    out.push_str(&recognised(circuit, &summary.anatomy));
    out.push_str(&sense(&summary.findings));
    for (name, n) in &summary.readings {
        out.push_str(&paragraph(
            &format!(
                "Readings \"{name}\": {}.",
                plural(*n, "reading", "readings")
            ),
            "",
        ));
    }
    let Some(chart) = &summary.chart else {
        out.push_str(&paragraph(
            &format!(
                "More than {MOST_PARTS} parts, far more than an amplifier has: only the text was checked, not its sense. Is it one amplifier?"
            ),
            "",
        ));
        return out;
    };
    if !chart.unsolved.is_empty() {
        out.push_str("Not computed yet:\n");
        for (why, points) in grouped(chart) {
            out.push_str(&hanging(
                &format!("{}: {why}", points.join(", ")),
                "- ",
                "  ",
            ));
        }
    }
    out
}

/// The blocks in a line each, and the parts that fit no pattern.
fn recognised(circuit: &Circuit, anatomy: &Anatomy) -> String {
    let mut out = String::new();
    if !anatomy.blocks.is_empty() {
        out.push_str("What it is, block by block:\n");
    }
    for block in &anatomy.blocks {
        let parts: Vec<&str> = block
            .parts
            .iter()
            .filter(|(_, role)| *role != Role::Valve)
            .filter_map(|(p, _)| circuit.parts.get(p.0).map(|p| p.name.as_str()))
            .collect();
        let valves = sections(circuit, block);
        let head = if valves.is_empty() {
            block.kind.words().to_owned()
        } else {
            format!("{} {}", block.kind.words(), valves.join(" "))
        };
        out.push_str(&hanging(
            &format!("{head}: {}", parts.join(" ")),
            "- ",
            "  ",
        ));
    }
    let unplaced: Vec<&str> = anatomy
        .unplaced
        .iter()
        .filter_map(|p| circuit.parts.get(p.0).map(|p| p.name.as_str()))
        .collect();
    if !unplaced.is_empty() {
        out.push_str(&paragraph(
            &format!("Fits no pattern: {}. A slip in the tracing, a modification, or something new here.", unplaced.join(", ")),
            "",
        ));
    }
    out
}

/// Valve sections of a block as typed: `V1a`.
fn sections(circuit: &Circuit, block: &Block) -> Vec<String> {
    block
        .sections
        .iter()
        .filter_map(|s| {
            let mut name = circuit.parts.get(s.part.0)?.name.clone();
            name.extend(s.section);
            Some(name)
        })
        .collect()
}

/// What does not make sense, the gravest first.
fn sense(findings: &[Finding]) -> String {
    let mut out = String::new();
    if findings.is_empty() {
        return out;
    }
    out.push_str("Before any power:\n");
    for f in findings {
        let word = match f.gravity {
            Gravity::Stop => "STOP ",
            Gravity::Must => "must ",
            Gravity::Should => "look ",
            Gravity::Note => "note ",
        };
        out.push_str(&hanging(
            &format!("{word}{} {}", f.message, f.advice),
            "- ",
            "  ",
        ));
    }
    if findings.iter().any(|f| f.gravity == Gravity::Stop) {
        out.push_str(&crate::caution::foot());
        out.push('\n');
    }
    out
}

/// Points by their reason, in order.
fn grouped(chart: &Chart) -> Vec<(&str, Vec<&str>)> {
    let mut groups: Vec<(&str, Vec<&str>)> = Vec::new();
    for item in &chart.unsolved {
        match groups.iter_mut().find(|(why, _)| *why == item.why) {
            Some((_, points)) => points.push(&item.point),
            None => groups.push((&item.why, vec![&item.point])),
        }
    }
    groups
}

fn json(amp: &Amp, summary: &Summary) -> Value {
    json!({
        "files": amp.names(),
        "parts": summary.parts,
        "valves": summary.valves,
        "points": summary.points,
        "assumed": summary.assumed,
        "loose_ends": summary.loose_ends,
        "readings": summary
            .readings
            .iter()
            .map(|(block, count)| json!({ "block": block, "count": count }))
            .collect::<Vec<_>>(),
        "findings": summary.findings,
        "blocks": summary
            .anatomy
            .blocks
            .iter()
            .map(|b| {
                json!({
                    "kind": b.kind.words(),
                    "sections": sections(&amp.circuit, b),
                    "parts": b
                        .parts
                        .iter()
                        .filter_map(|(p, role)| {
                            Some(json!({ "part": amp.circuit.parts.get(p.0)?.name, "role": role.words() }))
                        })
                        .collect::<Vec<_>>(),
                })
            })
            .collect::<Vec<_>>(),
        "unplaced": summary
            .anatomy
            .unplaced
            .iter()
            .filter_map(|p| amp.circuit.parts.get(p.0).map(|p| p.name.clone()))
            .collect::<Vec<_>>(),
        "unsolved": summary.chart.as_ref().map(|c| &c.unsolved),
        "status": summary.chart.as_ref().map(|c| c.status),
        "notes": problems::of(&amp.problems, Severity::Note, &amp.names()),
    })
}
