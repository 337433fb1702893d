//! `fit`: the numbers of a valve's law from rows of its sheet or from own readings, and the block to save.
//!
//! Nothing is computed here; rows, sections and the block are the business of `bench::fitting`.

mod json;
mod save;
mod text;

use crate::arguments::Fit;
use crate::input::{self, Text};
use crate::library::{self, Own};
use crate::outcome::{Failure, Outcome};
use crate::problems;
use bench::fitting::{FitRequest, FittedValve, FittingError, Misfit, ValveRows, fit_valve};
use wiring::sheet::{Library, Sheet, TypedRow, read_rows};
use wiring::{Diagnostic, Severity};

/// Runs `fit`.
pub(crate) fn run(given: &Fit) -> Result<Outcome, Failure> {
    let rows = input::read(&given.file, 0)?;
    let done = if is_valve_file(given, &rows) {
        of_valve_file(given, &rows)?
    } else {
        of_spreadsheet(given, rows)?
    };
    let bad = problems::any_error(&done.problems);
    let written = match (&given.output, &done.fitted.block) {
        // A file without the rows that have errors would look whole.
        (Some(path), Ok(block)) if !bad => Some(save::save(path, block)?),
        _ => None,
    };
    let names: Vec<String> = done.texts.iter().map(|(name, _)| name.clone()).collect();
    let whole = done.fitted.sections.iter().all(|s| s.outcome.is_ok());
    let unsaved = given.output.is_some() && written.is_none();
    Ok(Outcome {
        text: if given.json {
            json::json(&done, &names)
        } else {
            text::text(&done, written.as_deref(), given.output.is_some() && bad)
        },
        aside: aside(&done),
        errors: bad || done.fitted.sections.is_empty() || !whole || unsaved,
        verbatim: false,
    })
}

/// So many problems are printed; a file of the wrong kind has one in every row.
const PROBLEMS: usize = 20;

/// The problems as the terminal shows them, the first of many.
fn aside(done: &Done) -> String {
    let mut shown: Vec<String> = done
        .problems
        .iter()
        .take(PROBLEMS)
        .map(|d| problems::show(d, &done.texts))
        .collect();
    if let Some(more) = done.problems.len().checked_sub(PROBLEMS + 1) {
        let more = more + 1;
        let lines = if more == 1 { "problem" } else { "problems" };
        shown.push(format!("{more} more {lines}; `--json` lists all.\n"));
    }
    shown.join("\n")
}

/// A finished fit with what its rows are called.
pub(crate) struct Done {
    pub(crate) fitted: FittedValve,
    /// Problems of the files.
    pub(crate) problems: Vec<Diagnostic>,
    /// Files by name with their texts.
    pub(crate) texts: Vec<(String, String)>,
    /// The number that stands for each row: its line in a spreadsheet, its count in a valve file.
    pub(crate) labels: Vec<usize>,
    /// `line` or `row`.
    pub(crate) label: &'static str,
}

/// A valve file ends in `.toml`, or begins with a table where it comes without a name.
fn is_valve_file(given: &Fit, rows: &Text) -> bool {
    let ending = given.file.extension().and_then(|e| e.to_str());
    match ending.map(str::to_lowercase).as_deref() {
        Some("toml") => true,
        Some("csv" | "tsv" | "txt") => false,
        _ => rows
            .text
            .lines()
            .map(str::trim)
            .find(|l| !l.is_empty() && !l.starts_with('#'))
            .is_some_and(|l| l.starts_with('[')),
    }
}

fn of_spreadsheet(given: &Fit, text: Text) -> Result<Done, Failure> {
    let Some(name) = given.name.as_deref().map(str::trim) else {
        return Err(Failure::misuse(
            "Nothing says which type these rows are of.",
            "Add its number: `--type 5751`.",
        ));
    };
    if !name.chars().any(char::is_alphanumeric) || name.chars().any(char::is_control) {
        return Err(Failure::misuse(
            format!("`{name}` is no type number."),
            "Write it as it stands on the glass: `--type 5751`.",
        ));
    }
    let own = library::load(given.valves_file.as_deref())?;
    let read = read_rows(&text.text, 0);
    let mut problems = read.diagnostics;
    problems.extend(text.slip.clone());
    let rows: Vec<TypedRow> = read.rows;
    let request = FitRequest {
        name,
        rows: ValveRows::Typed {
            file: &text.name,
            rows: &rows,
        },
        like: given.like.as_deref(),
    };
    let mut texts = vec![(text.name.clone(), text.text.clone())];
    let fitted = fitted(&own.library, &request)?;
    problems.extend(fitted.misfits.iter().filter_map(|m| at_row(m, &rows)));
    problems.sort_by_key(|d| (d.place.line, d.place.column));
    problems.extend(from_valves_file(&own, &mut texts));
    Ok(Done {
        fitted,
        problems,
        texts,
        labels: rows.iter().map(|r| r.place.line).collect(),
        label: "line",
    })
}

/// Problems of the file behind `--valves-file`, which is the second one.
fn from_valves_file(own: &Own, texts: &mut Vec<(String, String)>) -> Vec<Diagnostic> {
    texts.extend(own.file.clone());
    own.problems
        .iter()
        .cloned()
        .map(|mut d| {
            d.place.file = 1;
            d
        })
        .collect()
}

fn at_row(misfit: &Misfit, rows: &[TypedRow]) -> Option<Diagnostic> {
    Some(Diagnostic {
        code: "rows-kind",
        severity: Severity::Error,
        place: rows.get(misfit.row)?.place,
        message: misfit.what.clone(),
        advice: misfit.advice.clone(),
        also: None,
    })
}

fn of_valve_file(given: &Fit, text: &Text) -> Result<Done, Failure> {
    if given.valves_file.is_some() || given.like.is_some() {
        return Err(Failure::misuse(
            format!("{} is a valve file and says everything itself.", text.name),
            "Leave `--like` and `--valves-file` out; `like` can stand in the file.",
        ));
    }
    let (library, mut problems) = Library::with_user_file(&text.text);
    problems.extend(text.slip.clone());
    let texts = vec![(text.name.clone(), text.text.clone())];
    let sheet = match sheet_to_fit(given, text, &library)? {
        Some(sheet) => sheet,
        None => return Ok(Done::nothing(problems, texts)),
    };
    let request = FitRequest {
        name: &sheet.name,
        rows: ValveRows::Sheet(sheet),
        like: None,
    };
    let fitted = fitted(&library, &request)?;
    let count = sheet.static_rows.len() + sheet.curve_points.len() + sheet.drop_rows.len();
    Ok(Done {
        fitted,
        problems,
        texts,
        labels: (1..=count).collect(),
        label: "row",
    })
}

/// The type that is named, else the only one of the file that has rows; none where none has.
fn sheet_to_fit<'l>(
    given: &Fit,
    text: &Text,
    library: &'l Library,
) -> Result<Option<&'l Sheet>, Failure> {
    if let Some(name) = &given.name {
        return library.find(name).map(Some).ok_or_else(|| {
            Failure::input(
                format!("{} has no type `{name}`.", text.name),
                nearest(library, name),
            )
        });
    }
    let names = Library::names_in(&text.text);
    let with_rows: Vec<&Sheet> = names
        .iter()
        .filter_map(|name| library.find(name))
        .filter(|s| {
            !(s.static_rows.is_empty() && s.curve_points.is_empty() && s.drop_rows.is_empty())
        })
        .collect();
    match with_rows.as_slice() {
        [] => Ok(None),
        [one] => Ok(Some(one)),
        several => {
            let all: Vec<&str> = several.iter().map(|s| s.name.as_str()).collect();
            Err(Failure::misuse(
                format!("{} has rows of several types.", text.name),
                format!("Add `--type` with one of {}.", all.join(", ")),
            ))
        }
    }
}

/// The fit; without rows, an empty one with that reason.
fn fitted(library: &Library, request: &FitRequest<'_>) -> Result<FittedValve, Failure> {
    match fit_valve(library, request) {
        Ok(fitted) => Ok(fitted),
        Err(FittingError::NoRows) => Ok(no_rows(request.name)),
        Err(FittingError::UnknownLike(name)) => Err(Failure::input(
            format!("There is no data sheet of `{name}` here."),
            nearest(library, &name),
        )),
    }
}

fn no_rows(name: &str) -> FittedValve {
    FittedValve {
        name: name.to_owned(),
        like: None,
        sections: Vec::new(),
        misfits: Vec::new(),
        block: Err(
            "there are no rows to fit to: write one operating point a line, with plate volts, \
                    grid volts and plate milliamperes"
                .to_owned(),
        ),
    }
}

impl Done {
    /// A valve file without rows.
    fn nothing(problems: Vec<Diagnostic>, texts: Vec<(String, String)>) -> Self {
        Self {
            fitted: FittedValve {
                block: Err(
                    "no type in the file has rows: write them as `static = [ ... ]`, as \
                     docs/valves.md shows"
                        .to_owned(),
                ),
                ..no_rows("")
            },
            problems,
            texts,
            labels: Vec::new(),
            label: "row",
        }
    }
}

fn nearest(library: &Library, name: &str) -> String {
    match library.nearest(name) {
        Some(near) => format!("Did you mean {near}? `tubewright valves` lists every type."),
        None => "`tubewright valves` lists every type.".to_owned(),
    }
}
