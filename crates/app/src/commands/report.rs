//! `report`: what goes home with an amplifier, as words, as a page to print, or as a PDF.

use crate::arguments::Report as Given;
use crate::outcome::{Failure, Outcome};
use crate::serve::{self, Version};
use crate::table::{hanging, paragraph};
use crate::{pdf_maker, picture};
use report::Paper;
use serde_json::{Value, json};
use shop::Shop;
use std::path::Path;

/// Runs `report`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let folder = match &given.shop {
        Some(folder) => folder.clone(),
        None => serve::usual_folder()?,
    };
    if !folder.is_dir() {
        return Err(Failure::misuse(
            format!("There is no shop in {}.", folder.display()),
            "Name its folder: `tubewright report 42 --shop FOLDER`.",
        ));
    }
    for (path, wanted) in [(&given.html, "html"), (&given.pdf, "pdf")] {
        if let Some(path) = path
            && !ends_in(path, wanted)
        {
            return Err(Failure::misuse(
                format!("`{}` does not end in `.{wanted}`.", path.display()),
                format!("Name the file: `--{wanted} report.{wanted}`."),
            ));
        }
    }
    let now = serve::now();
    let shop = Shop::open(&folder, now).map_err(|e| serve::refused(&e))?;
    let version = match (given.full, given.labels) {
        (_, true) => Version::Labels,
        (true, false) => Version::Full,
        (false, false) => Version::Owner,
    };
    let paper = if given.letter {
        Paper::Letter
    } else {
        Paper::A4
    };
    let document = serve::make(shop)
        .document(given.job, now, version, paper)
        .map_err(|e| serve::refused(&e))?;
    if given.json {
        let mut value = serde_json::to_value(&document).map_err(|e| {
            Failure::outside(
                format!("The report could not be written as JSON: {e}."),
                "Ask for `--html` instead.",
            )
        })?;
        if let Value::Object(all) = &mut value {
            all.insert("errors".to_owned(), json!([]));
            all.insert("warnings".to_owned(), json!([]));
        }
        return Ok(Outcome::done(format!("{value:#}\n")));
    }
    let mut told = String::new();
    if let Some(path) = &given.html {
        picture::write(path, report::whole(&document).as_bytes())?;
        told.push_str(&written(
            path,
            "Open it in a browser and print it at its own size.",
        ));
    }
    if let Some(path) = &given.pdf {
        let made =
            pdf_maker::pdf(&document).map_err(|(what, remedy)| Failure::outside(what, remedy))?;
        picture::write(path, &made)?;
        told.push_str(&written(path, ""));
    }
    if told.is_empty() {
        for line in report::text(&document).lines() {
            let bullet = if line.starts_with("- ") { "  " } else { "" };
            told.push_str(&hanging(line, "", bullet));
            if line.is_empty() {
                told.push('\n');
            }
        }
    }
    Ok(Outcome::done(told))
}

fn ends_in(path: &Path, wanted: &str) -> bool {
    let ending = path.extension().and_then(|e| e.to_str());
    ending.is_some_and(|e| e.eq_ignore_ascii_case(wanted))
}

fn written(path: &Path, next: &str) -> String {
    paragraph(
        format!("Written to {}. {next}", path.display()).trim_end(),
        "",
    )
}
