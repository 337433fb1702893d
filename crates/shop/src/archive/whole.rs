//! A whole shop: every row of every table, and every attachment.

use super::rows::{self, Rows, TABLES};
use super::{ABOUT, About, RECORD, file_name, open, unwritten, zip};
use crate::attach::{Attachments, Hash};
use crate::backup::{Report, verify};
use crate::error::ShopError;
use crate::layout;
use crate::open::{BASE, Shop};
use crate::stamp::At;
use rusqlite::Connection;
use serde_json::Value as Json;
use std::fs;
use std::io::Write;
use std::path::Path;

/// Hash and media type of the attachments among rows that were not erased.
pub(super) fn kept(rows: &Rows) -> Result<Vec<(Hash, String)>, ShopError> {
    let mut all = Vec::new();
    for row in rows.get("attachments").into_iter().flatten() {
        if !row.get("erased_at").is_none_or(Json::is_null) {
            continue;
        }
        let text = |name: &str| row.get(name).and_then(Json::as_str).unwrap_or_default();
        let hash = Hash::parse(text("hash"))
            .ok_or_else(|| ShopError::Refused("An attachment has no hash.".to_owned()))?;
        all.push((hash, text("media").to_owned()));
    }
    Ok(all)
}

impl Shop {
    /// Writes the whole shop as one archive. The same record gives the same bytes.
    ///
    /// # Errors
    /// When an attachment is not what was put in, or the disk fails.
    pub fn export_shop(&self, to: &mut dyn Write) -> Result<(), ShopError> {
        self.read(|r| {
            let mut rows = Rows::new();
            for table in TABLES {
                rows.insert(table.to_owned(), rows::read(r.base, table, "1", &[])?);
            }
            let mut zip = zip::Writer::new(to);
            let about = About::new("shop", None).text();
            zip.add(ABOUT, about.as_bytes()).map_err(unwritten)?;
            zip.add(RECORD, rows::to_text(&rows).as_bytes())
                .map_err(unwritten)?;
            for (hash, media) in kept(&rows)? {
                let content = self.attachments().get(&hash)?;
                zip.add(&file_name(&hash, &media), &content)
                    .map_err(unwritten)?;
            }
            zip.finish().map_err(unwritten)
        })
    }
}

/// Makes a new shop of an archive of one, in a folder that is not there or is empty, and reads it
/// again from end to end.
///
/// # Errors
/// When the archive does not hold together, the folder holds something, or the disk fails. Then
/// there is no shop.
pub fn import_shop(bytes: &[u8], folder: &Path, now: At) -> Result<Report, ShopError> {
    let archive = open(bytes, "shop")?;
    if fs::read_dir(folder).is_ok_and(|mut d| d.next().is_some()) || folder.is_file() {
        return Err(ShopError::NotAShop(folder.to_owned()));
    }
    let there = folder.exists();
    let made = fill(&archive, folder, now);
    if made.is_err() {
        // nothing half-made stays; what was there before was an empty folder
        let _ = fs::remove_dir_all(folder);
        if there {
            let _ = fs::create_dir_all(folder);
        }
    }
    made
}

fn fill(archive: &super::Opened<'_>, folder: &Path, now: At) -> Result<Report, ShopError> {
    fs::create_dir_all(folder).map_err(ShopError::file(folder, "made"))?;
    let attachments = Attachments::at(folder)?;
    for (hash, _) in kept(&archive.rows)? {
        let content = archive.files.get(&hash).ok_or_else(|| {
            ShopError::Refused(format!(
                "The archive names a file {hash} that is not in it."
            ))
        })?;
        attachments.put(content)?;
    }
    let mut base = Connection::open(folder.join(BASE))?;
    layout::reach(&mut base, archive.about.layout)?;
    let act = base.transaction()?;
    act.pragma_update(None, "defer_foreign_keys", true)?;
    for table in TABLES {
        let known = rows::columns(&act, table)?;
        for row in archive.rows.get(table).into_iter().flatten() {
            rows::put(&act, table, &known, row)?;
        }
    }
    act.commit()?;
    drop(base);
    // brings it to the latest layout
    drop(Shop::open(folder, now)?);
    let report = verify(folder)?;
    match report.problems.first() {
        Some(first) => Err(ShopError::Damaged(first.clone())),
        None => Ok(report),
    }
}
