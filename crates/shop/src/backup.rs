//! Backup while the shop is in use, verification, and restoring.
//!
//! A backup is a folder like a shop's: the data base as of one moment, every attachment it
//! names, and `backup.json` with the hash of the data base. It is built under another name and
//! renamed when it is whole, so a half-made one is never taken for a backup.

use crate::attach::{self, FOLDER, Hash};
use crate::error::ShopError;
use crate::layout;
use crate::open::{self, BASE, sync_file, sync_folder};
use crate::stamp::At;
use rusqlite::{Connection, OpenFlags};
use serde::{Deserialize, Serialize};
use std::fs;
use std::path::{Path, PathBuf};

/// What a backup says of itself, in `backup.json`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Backup {
    /// When it was made, milliseconds since 1970 UTC.
    pub made_at: At,
    /// Layout of the data base.
    pub layout: i64,
    /// SHA-256 of the data base's file.
    pub sha256: String,
    /// Jobs in it.
    pub jobs: i64,
    /// Readings in it.
    pub readings: i64,
    /// Attachments in it.
    pub attachments: i64,
    /// Last entry of the journal.
    pub last_entry: i64,
}

/// What a verification found.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Report {
    /// Jobs.
    pub jobs: i64,
    /// Readings.
    pub readings: i64,
    /// Attachments whose content was read and is what its name says.
    pub attachments: i64,
    /// What is wrong; empty when all is well.
    pub problems: Vec<String>,
}

/// The words in `backup.json`'s place.
const ABOUT: &str = "backup.json";

/// Copies a shop, which may be open in this or another program, to a folder that is not there yet.
///
/// # Errors
/// When there is no shop, the folder is there already, or a disk fails. Then there is no backup.
pub fn back_up(shop: &Path, to: &Path, now: At) -> Result<Backup, ShopError> {
    if to.exists() {
        return Err(ShopError::Refused(format!(
            "{} is there already; a backup goes into a new folder.",
            to.display()
        )));
    }
    let source = open::reader(shop)?;
    let part = beside(to, "being-made");
    let _ = fs::remove_dir_all(&part);
    fs::create_dir_all(part.join(FOLDER)).map_err(ShopError::file(&part, "made"))?;
    let made = fill(&source, shop, &part, now);
    let done = made.and_then(|about| {
        fs::rename(&part, to).map_err(ShopError::file(to, "made"))?;
        sync_folder(parent(to))?;
        Ok(about)
    });
    if done.is_err() {
        let _ = fs::remove_dir_all(&part);
    }
    done
}

/// Everything into the folder, synced.
fn fill(source: &Connection, shop: &Path, part: &Path, now: At) -> Result<Backup, ShopError> {
    let base = part.join(BASE);
    {
        let mut copy = Connection::open(&base)?;
        // all pages in one step: one moment of the record, however busy it is
        rusqlite::backup::Backup::new(source, &mut copy)?.run_to_completion(
            i32::MAX,
            std::time::Duration::from_millis(20),
            None,
        )?;
        // one file, no log beside it
        let _: String =
            copy.pragma_update_and_check(None, "journal_mode", "DELETE", |row| row.get(0))?;
    }
    sync_file(&base)?;
    let copy = Connection::open_with_flags(&base, OpenFlags::SQLITE_OPEN_READ_ONLY)?;
    let mut attachments = 0;
    for hash in named(&copy)? {
        let from = attach::path(&shop.join(FOLDER), &hash);
        let to = attach::path(&part.join(FOLDER), &hash);
        let inner = parent(&to).to_owned();
        fs::create_dir_all(&inner).map_err(ShopError::file(&inner, "made"))?;
        fs::copy(&from, &to).map_err(ShopError::file(&from, "copied"))?;
        sync_file(&to)?;
        if attach::hash_of_file(&to)? != hash {
            return Err(ShopError::Damaged(format!(
                "attachment {hash} is not what was put in"
            )));
        }
        sync_folder(&inner)?;
        attachments += 1;
    }
    let count = |sql: &str| copy.query_row(sql, [], |r| r.get::<_, i64>(0));
    let about = Backup {
        made_at: now,
        layout: layout::of(&copy)?,
        sha256: attach::hash_of_file(&base)?.text().to_owned(),
        jobs: count("SELECT count(*) FROM jobs WHERE gone = 0")?,
        readings: count("SELECT count(*) FROM readings")?,
        attachments,
        last_entry: count("SELECT coalesce(max(id), 0) FROM journal")?,
    };
    let path = part.join(ABOUT);
    let text = serde_json::to_string_pretty(&about).unwrap_or_default();
    fs::write(&path, format!("{text}\n")).map_err(ShopError::file(&path, "written"))?;
    sync_file(&path)?;
    sync_folder(&part.join(FOLDER))?;
    sync_folder(part)?;
    Ok(about)
}

/// Reads a backup, or a shop, from end to end: the data base's own check, foreign keys, the
/// triggers that keep entries unchanged, the hash of every attachment and of the file itself.
///
/// # Errors
/// When there is nothing to read. What is wrong with what is there stands in the report.
pub fn verify(folder: &Path) -> Result<Report, ShopError> {
    let base_path = folder.join(BASE);
    if !base_path.exists() {
        return Err(ShopError::Missing(folder.to_owned()));
    }
    let mut report = Report::default();
    let about = folder.join(ABOUT);
    if about.exists() {
        let said: Option<Backup> = fs::read_to_string(&about)
            .ok()
            .and_then(|text| serde_json::from_str(&text).ok());
        match said {
            None => report.problems.push(format!("{ABOUT} does not read")),
            Some(said) if said.sha256 != attach::hash_of_file(&base_path)?.text() => report
                .problems
                .push(format!("{BASE} is not the file that was backed up")),
            Some(_) => {}
        }
    }
    // a backup is only looked at; a shop in use has its log beside it, which only a connection
    // that may write can read
    let flags = if about.exists() {
        OpenFlags::SQLITE_OPEN_READ_ONLY
    } else {
        OpenFlags::SQLITE_OPEN_READ_WRITE
    };
    let base = match Connection::open_with_flags(&base_path, flags) {
        Ok(base) => base,
        Err(e) => {
            report.problems.push(format!("{BASE} does not open: {e}"));
            return Ok(report);
        }
    };
    if let Err(e) = examine(&base, folder, &mut report) {
        report.problems.push(e.to_string());
    }
    Ok(report)
}

fn examine(base: &Connection, folder: &Path, report: &mut Report) -> Result<(), ShopError> {
    base.pragma_update(None, "query_only", true)?;
    let found = layout::of(base)?;
    if found > layout::latest() {
        report.problems.push(format!(
            "layout {found} is later than this program knows ({})",
            layout::latest()
        ));
        return Ok(());
    }
    let mut check = base.prepare("PRAGMA integrity_check(20)")?;
    let lines: Vec<String> = check
        .query_map([], |r| r.get(0))?
        .collect::<Result<_, _>>()?;
    report
        .problems
        .extend(lines.into_iter().filter(|l| l != "ok"));
    let mut keys = base.prepare("PRAGMA foreign_key_check")?;
    let broken: Vec<String> = keys
        .query_map([], |r| {
            Ok(format!(
                "a row of {} names a row of {} that is not there",
                r.get::<_, String>(0)?,
                r.get::<_, String>(2)?
            ))
        })?
        .collect::<Result<_, _>>()?;
    report.problems.extend(broken);
    for table in crate::change::Entries::ALL {
        let guards: i64 = base.query_row(
            "SELECT count(*) FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = ?1",
            [table.table()],
            |r| r.get(0),
        )?;
        if guards < 2 {
            report.problems.push(format!(
                "{} have lost the triggers that keep them unchanged",
                table.table()
            ));
        }
    }
    let count = |sql: &str| base.query_row(sql, [], |r| r.get::<_, i64>(0));
    report.jobs = count("SELECT count(*) FROM jobs WHERE gone = 0")?;
    report.readings = count("SELECT count(*) FROM readings")?;
    for hash in named(base)? {
        let path = attach::path(&folder.join(FOLDER), &hash);
        match attach::hash_of_file(&path) {
            Ok(is) if is == hash => report.attachments += 1,
            Ok(_) => report
                .problems
                .push(format!("attachment {hash} is not what was put in")),
            Err(e) => report.problems.push(e.to_string()),
        }
    }
    Ok(())
}

/// Puts a backup into a folder that is not there yet, or is empty, and verifies it there.
///
/// # Errors
/// When the backup has problems, the folder holds something, or a disk fails.
pub fn restore(backup: &Path, to: &Path) -> Result<Report, ShopError> {
    let report = verify(backup)?;
    if let Some(first) = report.problems.first() {
        return Err(ShopError::Damaged(first.clone()));
    }
    if fs::read_dir(to).is_ok_and(|mut d| d.next().is_some()) {
        return Err(ShopError::NotAShop(to.to_owned()));
    }
    let part = beside(to, "being-restored");
    let _ = fs::remove_dir_all(&part);
    copy_tree(backup, &part)?;
    let again = verify(&part)?;
    if let Some(first) = again.problems.first() {
        let _ = fs::remove_dir_all(&part);
        return Err(ShopError::Damaged(first.clone()));
    }
    let _ = fs::remove_file(part.join(ABOUT));
    if to.exists() {
        fs::remove_dir(to).map_err(ShopError::file(to, "replaced"))?;
    }
    fs::rename(&part, to).map_err(ShopError::file(to, "made"))?;
    sync_folder(parent(to))?;
    Ok(again)
}

fn copy_tree(from: &Path, to: &Path) -> Result<(), ShopError> {
    fs::create_dir_all(to).map_err(ShopError::file(to, "made"))?;
    for entry in fs::read_dir(from).map_err(ShopError::file(from, "read"))? {
        let entry = entry.map_err(ShopError::file(from, "read"))?;
        let (source, target) = (entry.path(), to.join(entry.file_name()));
        if source.is_dir() {
            copy_tree(&source, &target)?;
        } else {
            fs::copy(&source, &target).map_err(ShopError::file(&source, "copied"))?;
            sync_file(&target)?;
        }
    }
    sync_folder(to)
}

/// The attachments that a data base names and that were not erased.
fn named(base: &Connection) -> Result<Vec<Hash>, ShopError> {
    let mut ask =
        base.prepare("SELECT hash FROM attachments WHERE erased_at IS NULL ORDER BY hash")?;
    let all = ask.query_map([], |r| r.get(0))?.collect::<Result<_, _>>()?;
    Ok(all)
}

/// A folder of another name in the same place, so that a rename moves it.
fn beside(path: &Path, what: &str) -> PathBuf {
    let name = path
        .file_name()
        .map_or_else(|| "shop".into(), |n| n.to_string_lossy().into_owned());
    parent(path).join(format!(".{name}.{what}"))
}

fn parent(path: &Path) -> &Path {
    match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    }
}
