//! `draw`: the schematic of what was traced, as a picture.

mod over;
mod strain;

pub(crate) use over::suspects_over;

use crate::amp::{self, Amp};
use crate::arguments::Draw as Given;
use crate::outcome::{Failure, Outcome};
use crate::picture::{self, Sort};
use crate::table::{hanging, paragraph};
use draw::over::Room;
use draw::physical::Physical;
use draw::{Drawing, Options, Score, score};
use serde_json::{Value, json};
use std::path::Path;
use wiring::assume::Assumed;

/// Runs `draw`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let sort = given.output.as_deref().map(picture::sort_of).transpose()?;
    let amp = amp::load_bounded(
        &given.files,
        &given.readings,
        given.valves_file.as_deref(),
        draw::MOST_PARTS,
    )?;
    if given.physical {
        return sits(given, &amp, sort);
    }
    let anatomy = draw::look(&amp.circuit);
    let drawing = draw::draw(&amp.circuit, &anatomy, Options { zigzag: given.ieee });
    let over = over::over(given, &amp, &anatomy, &Room::of(&drawing))?;
    let picture = draw::svg::sheet(&drawing, draw::svg::DAY, &over.group(), &over.foot());
    if let (Some(path), Some(sort)) = (&given.output, sort) {
        keep(path, sort, &picture)?;
    }
    if given.json {
        return Ok(amp.outcome(amp.json(summary(&amp, &drawing, &over)), true));
    }
    match &given.output {
        None => {
            let mut outcome = amp.outcome(picture, false);
            outcome.verbatim = true;
            Ok(outcome)
        }
        Some(path) => {
            let text = told(&amp, &drawing, &path.display().to_string()) + &over.told();
            Ok(amp.outcome(text, false))
        }
    }
}

fn keep(path: &Path, sort: Sort, picture: &str) -> Result<(), Failure> {
    match sort {
        Sort::Svg => picture::write(path, picture.as_bytes()),
        Sort::Png => picture::write(path, &picture::png(picture)?),
    }
}

/// Every part with its place, and every wire with what it joins: seen, or assumed.
fn places(view: &Physical<'_>, over: &over::Over) -> Value {
    let parts: Vec<Value> = view
        .bodies
        .iter()
        .filter_map(|b| {
            let part = view.circuit.parts.get(b.part)?;
            let group = view.groups.iter().find(|g| g.area.holds(&b.area));
            Some(json!({
                "part": part.name,
                "place": part.known.sits,
                "stands_in": group.map(|g| g.title.as_str()),
                "recorded": group.is_some_and(|g| g.recorded),
                "assumed": part.assumed || part.known.assumed,
            }))
        })
        .collect();
    let end = |at: (i32, i32)| {
        view.bodies.iter().find_map(|b| {
            let i = b.ends.iter().position(|e| e.at == at)?;
            let part = view.circuit.parts.get(b.part)?;
            Some(format!("{}.{}", part.name, part.terminals.get(i)?.name))
        })
    };
    let wires: Vec<Value> = view
        .wires
        .iter()
        .map(|w| json!({ "from": end(w.from), "to": end(w.to), "assumed": w.assumed }))
        .collect();
    json!({ "parts": parts, "wires": wires, "over": over.value() })
}

/// Where the parts sit.
fn sits(given: &Given, amp: &Amp, sort: Option<Sort>) -> Result<Outcome, Failure> {
    let view = draw::physical::physical(&amp.circuit);
    let over = over::over(given, amp, &draw::look(&amp.circuit), &Room::sits(&view))?;
    let picture = draw::physical::sheet(&view, draw::svg::DAY, &over.group(), &over.foot());
    if let (Some(path), Some(sort), true) = (&given.output, sort, given.json) {
        keep(path, sort, &picture)?;
    }
    if given.json {
        return Ok(amp.outcome(amp.json(places(&view, &over)), true));
    }
    let (Some(path), Some(sort)) = (&given.output, sort) else {
        let mut outcome = amp.outcome(picture, false);
        outcome.verbatim = true;
        return Ok(outcome);
    };
    keep(path, sort, &picture)?;
    let noted = amp.circuit.parts.iter().filter(|p| p.known.sits.is_some());
    let text = paragraph(
        &format!(
            "Where {} parts sit, {} of them with a place noted (`@`). Written to {}.",
            amp.circuit.parts.len(),
            noted.count(),
            path.display()
        ),
        "",
    ) + &over.told();
    Ok(amp.outcome(text, false))
}

/// Parts that fit no pattern: drawn where they join their neighbours.
fn unplaced(amp: &Amp, drawing: &Drawing<'_>) -> Vec<String> {
    drawing
        .plan
        .anatomy
        .unplaced
        .iter()
        .filter_map(|p| amp.circuit.parts.get(p.0))
        .map(|p| p.name.clone())
        .collect()
}

fn summary(amp: &Amp, drawing: &Drawing<'_>, over: &over::Over) -> Value {
    let figures: Score = score(drawing);
    let mut value = serde_json::to_value(&figures).unwrap_or_default();
    if let Some(map) = value.as_object_mut() {
        map.insert("parts".into(), json!(amp.circuit.parts.len()));
        map.insert("plain".into(), json!(drawing.plain));
        map.insert("fit_no_pattern".into(), json!(unplaced(amp, drawing)));
        map.insert("over".into(), over.value());
        let (kept, met) = figures.conventions_kept();
        map.insert("conventions_kept".into(), json!(kept));
        map.insert("conventions_met".into(), json!(met));
    }
    value
}

fn told(amp: &Amp, drawing: &Drawing<'_>, path: &str) -> String {
    let figures = score(drawing);
    let name = amp
        .circuit
        .heading
        .amp
        .as_deref()
        .unwrap_or("An amplifier without a name");
    let plural = |n: usize, one: &str| {
        if n == 1 {
            format!("1 {one}")
        } else {
            format!("{n} {one}s")
        }
    };
    let mut out = paragraph(
        &format!(
            "{name}: {} drawn, {}.",
            plural(amp.circuit.parts.len(), "part"),
            plural(figures.loose, "loose end")
        ),
        "",
    );
    if let Some(said) = Assumed::of(&amp.circuit).sentence() {
        out.push_str(&paragraph(&said, ""));
    }
    let odd = unplaced(amp, drawing);
    if !odd.is_empty() {
        out.push_str(&hanging(
            &format!("{}. Traced right?", odd.join(", ")),
            "Fits no pattern: ",
            "  ",
        ));
    }
    if drawing.plain {
        out.push_str(&paragraph(
            "The usual layout had no room for this circuit: each part stands alone, and \
             terminals that are joined carry the same name.",
            "",
        ));
    }
    out.push_str(&paragraph(&format!("Written to {path}."), ""));
    out
}
