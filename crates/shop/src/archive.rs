//! A job, or a whole shop, as one archive of open formats: a ZIP file with `about.json`,
//! `record.json` (every row), the photos and recordings as they came, and, of a job, its wirings as
//! text and its readings as CSV for whoever reads without this program.
//!
//! What is read back is the record and the files it names by their hash. The same record gives the
//! same bytes, and an archive that was taken in and put out again is the same archive.

mod job;
mod people;
mod rows;
mod whole;
mod zip;

pub use job::TakenIn;
pub use whole::import_shop;

use crate::attach::Hash;
use crate::error::ShopError;
use crate::layout;
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::collections::BTreeMap;

const ABOUT: &str = "about.json";
const RECORD: &str = "record.json";

/// What an archive says of itself.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct About {
    /// `job` or `shop`.
    archive: String,
    /// The number on the tag, of a job.
    number: Option<i64>,
    /// Layout of the data base that its rows are of.
    layout: i64,
}

impl About {
    fn new(archive: &str, number: Option<i64>) -> Self {
        Self {
            archive: archive.to_owned(),
            number,
            layout: layout::latest(),
        }
    }

    fn text(&self) -> String {
        let text = serde_json::to_string_pretty(self).unwrap_or_default();
        format!("{text}\n")
    }
}

/// An archive that was opened.
struct Opened<'a> {
    about: About,
    rows: rows::Rows,
    files: BTreeMap<Hash, Cow<'a, [u8]>>,
}

/// What an archive is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Archived {
    /// One job.
    Job,
    /// A whole shop.
    Shop,
}

/// What an archive is of, as it says itself.
///
/// # Errors
/// When it is no archive of a job or a shop.
pub fn archived(bytes: &[u8]) -> Result<Archived, ShopError> {
    let entries = zip::read(bytes)?;
    let about = entries.iter().find(|(name, _)| name == ABOUT);
    let about: Option<About> = about.and_then(|(_, text)| serde_json::from_slice(text).ok());
    match about.as_ref().map(|a| a.archive.as_str()) {
        Some("job") => Ok(Archived::Job),
        Some("shop") => Ok(Archived::Shop),
        _ => Err(ShopError::Refused(
            "This is no archive of a job or a shop.".to_owned(),
        )),
    }
}

/// Opens an archive of a kind.
fn open<'a>(bytes: &'a [u8], kind: &str) -> Result<Opened<'a>, ShopError> {
    let mut record = None;
    let mut about: Option<About> = None;
    let mut files = BTreeMap::new();
    for (name, content) in zip::read(bytes)? {
        match name.as_str() {
            ABOUT => about = serde_json::from_slice(&content).ok(),
            RECORD => record = Some(content),
            other => {
                let stem = other.rsplit('/').next().unwrap_or("");
                let stem = stem.split('.').next().unwrap_or("");
                if let Some(hash) = Hash::parse(stem) {
                    if Hash::of(&content) != hash {
                        return Err(ShopError::Refused(format!(
                            "{other} is not what its name says."
                        )));
                    }
                    files.insert(hash, content);
                }
            }
        }
    }
    let (Some(about), Some(record)) = (about, record) else {
        return Err(ShopError::Refused(
            "This is no archive of a job or a shop: `about.json` or `record.json` is missing."
                .to_owned(),
        ));
    };
    if about.archive != kind {
        return Err(ShopError::Refused(format!(
            "This is an archive of a {}, not of a {kind}.",
            if about.archive == "shop" {
                "shop"
            } else {
                "job"
            }
        )));
    }
    if about.layout > layout::latest() {
        return Err(ShopError::Newer {
            found: about.layout,
            known: layout::latest(),
        });
    }
    Ok(Opened {
        about,
        rows: rows::of_text(&record)?,
        files,
    })
}

/// Where an attachment stands in an archive.
fn file_name(hash: &Hash, media: &str) -> String {
    let (folder, end) = match media {
        "image/jpeg" => ("photos", "jpg"),
        "image/png" => ("photos", "png"),
        "image/webp" => ("photos", "webp"),
        "audio/wav" | "audio/x-wav" => ("recordings", "wav"),
        "audio/flac" => ("recordings", "flac"),
        other if other.starts_with("audio/") => ("recordings", "sound"),
        _ => ("files", "bin"),
    };
    format!("{folder}/{hash}.{end}")
}

/// A failed step on the archive that is being written.
fn unwritten(source: std::io::Error) -> ShopError {
    ShopError::File {
        path: "the archive".into(),
        what: "written",
        source,
    }
}
