//! `valves`: the list of data sheets, or one of them.
//!
//! Prints what the sheets say, each figure with the system of its rating and how its source
//! is known; the figures that guard the valve are marked.

mod curves;
mod laws;
mod picture;
mod sheet;

use crate::arguments::Valves;
use crate::library;
use crate::outcome::{Failure, Outcome};
use crate::problems;
use crate::table::{Side, Table, paragraph};
use serde_json::{Value, json};
use wiring::sheet::Sheet;

/// Runs `valves`.
pub(crate) fn run(given: &Valves) -> Result<Outcome, Failure> {
    let own = library::load(given.valves_file.as_deref())?;
    let errors = problems::any_error(&own.problems);
    let Some(name) = &given.name else {
        let text = if given.json {
            let list: Vec<Value> = own.library.types().iter().map(brief).collect();
            own.json(json!({ "valves": list }))
        } else if given.csv {
            list_csv(own.library.types())?
        } else {
            list(own.library.types())
        };
        return Ok(own.outcome(text, errors));
    };
    let exact = own.library.find(name);
    let alike = if exact.is_some() {
        Vec::new()
    } else {
        own.library.with_suffix(name)
    };
    let Some(found) = exact.or_else(|| alike.first().copied()) else {
        let near = nearest(own.library.types(), name);
        let remedy = format!(
            "{}`tubewright valves` lists every type. A type of your own goes in a file \
             (`--valves-file`), or its pins and limits in the wiring.",
            if near.is_empty() {
                String::new()
            } else {
                format!("Nearest: {}. ", near.join(", "))
            }
        );
        if given.json {
            let value = json!({
                "type": name,
                "nearest": near,
                "errors": [{
                    "code": "unknown-valve",
                    "message": format!("There is no data sheet of `{name}`."),
                    "advice": remedy,
                }],
            });
            return Ok(Outcome {
                text: pretty(&value),
                errors: true,
                ..Outcome::default()
            });
        }
        return Err(Failure::input(
            format!("There is no data sheet of `{name}` here."),
            remedy,
        ));
    };
    let text = if given.json {
        let mut value = sheet::json(found, &own.library);
        if let (Some(map), false) = (value.as_object_mut(), alike.is_empty()) {
            let names: Vec<&str> = alike.iter().map(|s| s.name.as_str()).collect();
            map.insert("asked".into(), json!({ "type": name, "alike": names }));
        }
        own.json(value)
    } else if given.csv {
        sheet::rows_csv(found)?
    } else {
        bare(name, &alike) + &sheet::text(found, &own.library)
    };
    Ok(own.outcome(text, errors))
}

/// What is said above the sheet of a type that was asked for without its last letters.
fn bare(name: &str, alike: &[&Sheet]) -> String {
    let Some((first, others)) = alike.split_first() else {
        return String::new();
    };
    let mut text = format!(
        "There is no sheet of a `{name}` here. This is the {}",
        first.name
    );
    let others: Vec<&str> = others.iter().map(|s| s.name.as_str()).collect();
    if !others.is_empty() {
        text += &format!("; there is {} too", others.join(", "));
    }
    text += ". Letters behind the number can stand for other limits: read what is on the glass.";
    paragraph(&text, "") + "\n"
}

/// JSON over several lines, with a line end.
pub(crate) fn pretty(value: &Value) -> String {
    format!("{value:#}\n")
}

fn brief(sheet: &Sheet) -> Value {
    json!({
        "type": sheet.name,
        "aliases": sheet.aliases,
        "kind": sheet.kind,
        "base": sheet.base,
    })
}

fn list(sheets: &[Sheet]) -> String {
    let mut table = Table::new()
        .column("type", Side::Left)
        .wrapping("also", 10)
        .wrapping("what it is", 16)
        .column("base", Side::Left)
        .column("heater", Side::Left);
    for sheet in sheets {
        table.row([
            sheet.name.clone(),
            sheet.aliases.join(", "),
            sheet.kind.word().to_owned(),
            sheet.base.word().to_owned(),
            sheet::heater_in_short(sheet),
        ]);
    }
    let foot = format!(
        "{} types. `tubewright valves TYPE` prints one data sheet.",
        sheets.len()
    );
    format!("{}\n{}", table.render(), paragraph(&foot, ""))
}

fn list_csv(sheets: &[Sheet]) -> Result<String, Failure> {
    let mut rows = vec![["type", "also", "kind", "base", "heater"].map(str::to_owned)];
    for sheet in sheets {
        rows.push([
            sheet.name.clone(),
            sheet.aliases.join(" "),
            sheet.kind.word().to_owned(),
            sheet.base.word().to_owned(),
            sheet::heater_in_short(sheet),
        ]);
    }
    crate::csv_text::of(rows)
}

/// Up to three names that are near to what was typed, the nearest first.
fn nearest(sheets: &[Sheet], name: &str) -> Vec<String> {
    let wanted = name.to_uppercase();
    let mut near: Vec<(f64, &str)> = sheets
        .iter()
        .flat_map(Sheet::names)
        .map(|known| {
            (
                strsim::normalized_damerau_levenshtein(&wanted, &known.to_uppercase()),
                known,
            )
        })
        .filter(|(likeness, _)| *likeness >= 0.5)
        .collect();
    near.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.cmp(b.1)));
    near.into_iter()
        .take(3)
        .map(|(_, known)| known.to_owned())
        .collect()
}
