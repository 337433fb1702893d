//! `handbook`: its chapters on the terminal, and the man pages of the commands.

use crate::arguments::{Arguments, Handbook};
use crate::handbook::{CHAPTERS, Chapter, Shelf};
use crate::outcome::{Failure, Outcome};
use crate::table::hanging;
use clap::CommandFactory as _;
use std::path::Path;

/// Runs `handbook`.
pub(crate) fn run(given: &Handbook) -> Result<Outcome, Failure> {
    if let Some(folder) = &given.man {
        return man(folder);
    }
    let Some(name) = &given.chapter else {
        return Ok(Outcome::done(list()));
    };
    let chapter = Chapter::named(name).ok_or_else(|| {
        let names: Vec<&str> = CHAPTERS.iter().map(|c| c.name).collect();
        Failure::input(
            format!("There is no chapter `{name}`."),
            format!("There are: {}.", names.join(", ")),
        )
    })?;
    Ok(Outcome {
        text: chapter.text().to_owned(),
        verbatim: true,
        ..Outcome::default()
    })
}

fn list() -> String {
    let mut out = String::new();
    for shelf in Shelf::ALL {
        out.push_str(shelf.name());
        out.push('\n');
        for chapter in CHAPTERS.iter().filter(|c| c.shelf == shelf) {
            out.push_str(&hanging(
                chapter.about,
                &format!("  {:<14}", chapter.name),
                &" ".repeat(16),
            ));
        }
        out.push('\n');
    }
    out.push_str("Print one with `tubewright handbook CHAPTER`. The pages show them under Help.\n");
    out
}

/// One page for the program and one for each command, as `man` reads them.
fn man(folder: &Path) -> Result<Outcome, Failure> {
    let failed = |e: std::io::Error| {
        Failure::outside(
            format!(
                "The man pages were not written to {}: {e}.",
                folder.display()
            ),
            "Name a folder that can be written to.",
        )
    };
    std::fs::create_dir_all(folder).map_err(failed)?;
    // the long text of the version is no part of a page's title
    let command = Arguments::command().version(env!("CARGO_PKG_VERSION"));
    clap_mangen::generate_to(command, folder).map_err(failed)?;
    Ok(Outcome::done(format!("Written to {}.\n", folder.display())))
}
