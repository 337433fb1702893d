//! `snippet`: a ready piece of circuit with names that are free in the wiring it goes into.

use crate::amp;
use crate::arguments::Snippet;
use crate::outcome::{Failure, Outcome};
use crate::table::hanging;
use serde_json::json;
use std::collections::BTreeSet;
use wiring::snippet::{SNIPPETS, fill, find, names_in, nearest};

/// Runs `snippet`.
pub(crate) fn run(given: &Snippet) -> Result<Outcome, Failure> {
    let Some(name) = &given.name else {
        return Ok(list(given.json));
    };
    let Some(snippet) = find(name) else {
        return Err(Failure::input(
            format!("There is no snippet `{name}`."),
            format!(
                "Nearest: {}. Type `tubewright snippet` for all.",
                nearest(name).join(", ")
            ),
        ));
    };
    let used = if given.beside.is_empty() {
        BTreeSet::new()
    } else {
        names_in(&amp::load(&given.beside, &[], None)?.circuit)
    };
    let text = fill(snippet, &used);
    if given.json {
        let value = json!({ "name": snippet.name, "about": snippet.about(), "wiring": text });
        return Ok(Outcome::done(format!("{value:#}\n")));
    }
    Ok(Outcome {
        text,
        verbatim: true,
        ..Outcome::default()
    })
}

fn list(as_json: bool) -> Outcome {
    if as_json {
        let all: Vec<_> = SNIPPETS
            .iter()
            .map(|s| json!({ "name": s.name, "about": s.about() }))
            .collect();
        return Outcome::done(format!("{:#}\n", json!({ "snippets": all })));
    }
    let mut out = String::new();
    for s in SNIPPETS {
        out.push_str(&hanging(
            s.about(),
            &format!("{:<24}", s.name),
            &" ".repeat(24),
        ));
    }
    out.push_str("\nPrint one with `tubewright snippet NAME`; name your wiring behind `--beside`, and\nthe parts get numbers that are free there.\n");
    Outcome::done(out)
}
