//! The amplifier that the files on the command line describe.
//!
//! Wirings, readings files and CSV sheets of readings are joined in the order given; data
//! sheets of the user's own come from a file of their own. Every problem of every file is
//! kept with the file it stands in.

use crate::input::{self, Text};
use crate::library;
use crate::outcome::{Failure, Outcome};
use crate::problems;
use std::path::{Path, PathBuf};
use wiring::assume::Assumed;
use wiring::circuit::{Kind, Position, Setting};
use wiring::sheet::Library;
use wiring::{Circuit, Diagnostic, Place, Severity};

/// What was read.
pub(crate) struct Amp {
    /// The circuit.
    pub(crate) circuit: Circuit,
    /// Everything found wrong or worth saying, by file and line.
    pub(crate) problems: Vec<Diagnostic>,
    /// Name and text of each file, in the order that [`Place::file`] counts.
    pub(crate) texts: Vec<(String, String)>,
    /// The data sheets that were used.
    pub(crate) library: Library,
}

/// Reads and joins files.
pub(crate) fn load(
    files: &[PathBuf],
    readings: &[PathBuf],
    valves_file: Option<&Path>,
) -> Result<Amp, Failure> {
    let sheets = library::load(valves_file)?;
    let texts = input::read_all(files.iter().chain(readings))?;
    let mut amp = join(texts, sheets.library);
    if let Some(file) = sheets.file {
        let index = amp.texts.len();
        amp.texts.push(file);
        amp.problems
            .extend(sheets.problems.into_iter().map(|mut d| {
                d.place.file = index;
                d
            }));
    }
    Ok(amp)
}

/// Most parts of a circuit that is computed. The largest amplifiers have some 250; the work grows
/// with the square, and this many take seconds.
pub(crate) const MOST_COMPUTED: usize = 1_500;

/// [`load`], for a command whose work is bounded by how many parts there are.
pub(crate) fn load_bounded(
    files: &[PathBuf],
    readings: &[PathBuf],
    valves_file: Option<&Path>,
    most: usize,
) -> Result<Amp, Failure> {
    let amp = load(files, readings, valves_file)?;
    let parts = amp.circuit.parts.len();
    if parts > most {
        return Err(Failure::input(
            format!("{parts} parts were read; this command takes {most} at most."),
            "No amplifier has so many: look for text that is no wiring with `tubewright check`, which takes any number, and give one amplifier at a time.",
        ));
    }
    Ok(amp)
}

/// Joins texts that were read already.
pub(crate) fn join(texts: Vec<Text>, library: Library) -> Amp {
    let mut problems: Vec<Diagnostic> = Vec::new();
    let mut sheets: Vec<(usize, wiring::csv::Imported)> = Vec::new();
    let mut sources: Vec<String> = Vec::new();
    for (index, text) in texts.iter().enumerate() {
        problems.extend(text.slip.clone());
        if is_csv(&text.name) {
            let sheet = wiring::csv::import(&text.text, index);
            problems.extend(sheet.diagnostics.iter().cloned());
            sources.push(sheet.text.clone());
            sheets.push((index, sheet));
        } else {
            sources.push(text.text.clone());
        }
    }
    let named: Vec<wiring::Text<'_>> = texts
        .iter()
        .zip(&sources)
        .map(|(text, source)| wiring::Text {
            name: &text.name,
            text: source,
        })
        .collect();
    let read = wiring::read(&named, &library);
    for diagnostic in read.problems {
        let sheet = sheets.iter().find(|(i, _)| *i == diagnostic.place.file);
        problems.push(match sheet {
            Some((_, sheet)) => sheet.in_sheet(diagnostic),
            None => diagnostic,
        });
    }
    problems.sort_by_key(|d| (d.place.file, d.place.line, d.place.column));
    Amp {
        circuit: read.circuit,
        problems,
        texts: texts.into_iter().map(|t| (t.name, t.text)).collect(),
        library,
    }
}

fn is_csv(name: &str) -> bool {
    Path::new(name)
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("csv"))
}

impl Amp {
    /// Whether the files have errors.
    pub(crate) fn any_error(&self) -> bool {
        problems::any_error(&self.problems)
    }

    /// Names of the files.
    pub(crate) fn names(&self) -> Vec<String> {
        self.texts.iter().map(|(name, _)| name.clone()).collect()
    }

    /// A JSON object with what is assumed, and the errors and warnings of the files added, as text.
    pub(crate) fn json(&self, mut value: serde_json::Value) -> String {
        if let Some(map) = value.as_object_mut() {
            map.entry("assumed").or_insert_with(|| {
                serde_json::to_value(Assumed::of(&self.circuit)).unwrap_or_default()
            });
            for (key, severity) in [("errors", Severity::Error), ("warnings", Severity::Warning)] {
                let found = problems::of(&self.problems, severity, &self.names());
                map.insert(
                    key.to_owned(),
                    serde_json::to_value(found).unwrap_or_default(),
                );
            }
        }
        format!("{value:#}\n")
    }

    /// A computed result, with errors and warnings on standard error unless they are in it already.
    pub(crate) fn outcome(&self, text: String, told: bool) -> Outcome {
        let mut aside = String::new();
        if !told {
            for d in &self.problems {
                if d.severity != Severity::Note {
                    aside.push_str(&problems::show(d, &self.texts));
                    aside.push('\n');
                }
            }
        }
        Outcome {
            text,
            aside,
            errors: self.any_error(),
            verbatim: false,
        }
    }

    /// The settings of `--set`, each for a knob, switch or jack that is there.
    pub(crate) fn settings(&self, sets: &[(String, Position)]) -> Result<Vec<Setting>, Failure> {
        let known = |part: &wiring::Part| {
            matches!(
                part.kind,
                Kind::Pot { .. } | Kind::Switch { .. } | Kind::Jack { .. }
            )
        };
        sets.iter()
            .map(|(name, to)| {
                self.named(name, "knob, switch or jack", known)?;
                Ok(Setting {
                    name: name.clone(),
                    to: *to,
                    place: Place::default(),
                })
            })
            .collect()
    }

    /// The valves of `--without`, each of which is there.
    pub(crate) fn valves(&self, names: &[String]) -> Result<Vec<String>, Failure> {
        names
            .iter()
            .map(|name| {
                self.named(name, "valve", |part| matches!(part.kind, Kind::Valve(_)))?;
                Ok(name.clone())
            })
            .collect()
    }

    /// Fails when no part of the sort bears the name.
    fn named(
        &self,
        name: &str,
        sort: &str,
        fits: impl Fn(&wiring::Part) -> bool,
    ) -> Result<(), Failure> {
        let mut names: Vec<&str> = self
            .circuit
            .parts
            .iter()
            .filter(|p| fits(p))
            .flat_map(|p| [Some(p.name.as_str()), p.parent.as_deref()])
            .flatten()
            .collect();
        names.sort_unstable();
        names.dedup();
        if names.contains(&name) {
            return Ok(());
        }
        let remedy = if names.is_empty() {
            format!("The files name no {sort} yet.")
        } else {
            format!("There are: {}.", names.join(", "))
        };
        Err(Failure::misuse(
            format!("There is no {sort} `{name}` in these files."),
            remedy,
        ))
    }
}
