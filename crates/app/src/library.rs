//! The data sheets at hand: the built-in ones, and the user's own file.

use crate::input;
use crate::outcome::{Failure, Outcome};
use crate::problems;
use std::path::Path;
use wiring::sheet::Library;
use wiring::{Diagnostic, Severity};

/// A library, and what is wrong in the user's file.
pub(crate) struct Own {
    /// All sheets.
    pub(crate) library: Library,
    /// Problems of the user's file, `file` counted from 0.
    pub(crate) problems: Vec<Diagnostic>,
    /// The user's file and its text, when there is one.
    pub(crate) file: Option<(String, String)>,
}

/// Loads the sheets; `None` gives the built-in ones.
pub(crate) fn load(file: Option<&Path>) -> Result<Own, Failure> {
    let Some(path) = file else {
        return Ok(Own {
            library: Library::built_in().clone(),
            problems: Vec::new(),
            file: None,
        });
    };
    let read = input::read(path, 0)?;
    let (library, mut problems) = Library::with_user_file(&read.text);
    problems.extend(read.slip);
    Ok(Own {
        library,
        problems,
        file: Some((read.name, read.text)),
    })
}

/// A type that no data sheet is of, named on the command line.
pub(crate) fn unknown(name: &str, library: &Library) -> Failure {
    let near = library
        .nearest(name)
        .map(|near| format!("Nearest: {near}. "))
        .unwrap_or_default();
    Failure::misuse(
        format!("There is no data sheet of `{name}`."),
        format!(
            "{near}`tubewright valves` lists every type. One of your own goes in a file, `--valves-file`."
        ),
    )
}

impl Own {
    fn names(&self) -> Vec<String> {
        self.file.iter().map(|(name, _)| name.clone()).collect()
    }

    /// A JSON object with the problems of the file added, as text.
    pub(crate) fn json(&self, mut value: serde_json::Value) -> String {
        if let Some(map) = value.as_object_mut() {
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

    /// An outcome with the problems of the file on standard error.
    pub(crate) fn outcome(&self, text: String, errors: bool) -> Outcome {
        let aside = match &self.file {
            Some((name, source)) => self
                .problems
                .iter()
                .map(|d| problems::show(d, &[(name.clone(), source.clone())]))
                .collect::<Vec<_>>()
                .join("\n"),
            None => String::new(),
        };
        Outcome {
            text,
            aside,
            errors,
            verbatim: false,
        }
    }
}
