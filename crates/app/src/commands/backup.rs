//! `backup`: a copy of the shop while it is in use, its verification, and restoring it.

use crate::arguments::Backup as Given;
use crate::outcome::{Cause, Failure, Outcome};
use crate::serve;
use crate::table::paragraph;
use serde_json::{Value, json};
use shop::{Report, back_up, restore, verify};
use std::path::Path;

/// Runs `backup`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let own = || match &given.shop {
        Some(folder) => Ok(folder.clone()),
        None => serve::usual_folder(),
    };
    let (value, text, sound) = match (&given.verify, &given.restore, &given.to) {
        (Some(backup), _, _) => {
            let report = verify(backup).map_err(|e| serve::refused(&e))?;
            told(&report, backup, "is whole")
        }
        (None, Some(backup), _) => {
            let to = own()?;
            let report = restore(backup, &to).map_err(|e| serve::refused(&e))?;
            told(&report, &to, "is restored")
        }
        (None, None, Some(to)) => {
            let from = own()?;
            back_up(&from, to, serve::now()).map_err(|e| serve::refused(&e))?;
            // what was written is read again, whole
            let report = verify(to).map_err(|e| serve::refused(&e))?;
            told(&report, to, "is made and was read again")
        }
        (None, None, None) => {
            return Err(Failure {
                cause: Cause::Use,
                what: "It is not said where the backup goes.".to_owned(),
                remedy: "Name a new folder, best on another disk: `tubewright backup TO`."
                    .to_owned(),
            });
        }
    };
    let text = if given.json {
        format!("{value:#}\n")
    } else {
        text
    };
    Ok(Outcome {
        text,
        errors: !sound,
        ..Outcome::default()
    })
}

/// A report as JSON and in words; whether nothing is wrong.
fn told(report: &Report, folder: &Path, done: &str) -> (Value, String, bool) {
    let sound = report.problems.is_empty();
    let value = json!({
        "folder": folder.display().to_string(),
        "jobs": report.jobs,
        "readings": report.readings,
        "attachments": report.attachments,
        "problems": report.problems,
        "errors": [],
        "warnings": [],
    });
    let mut text = paragraph(
        &format!(
            "{} {}: {} jobs, {} readings, {} files.",
            folder.display(),
            if sound { done } else { "has something wrong" },
            report.jobs,
            report.readings,
            report.attachments
        ),
        "",
    );
    for problem in &report.problems {
        text.push_str(&paragraph(problem, "  "));
    }
    if !sound {
        text.push_str(&paragraph(
            "Keep it as it is, and take an older backup.",
            "",
        ));
    }
    (value, text, sound)
}
