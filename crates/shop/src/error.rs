//! What can go wrong with a record, each with what to do about it.

use crate::id::EntryId;
use std::path::{Path, PathBuf};

/// Why a record could not be opened, read or written.
#[derive(Debug, thiserror::Error)]
pub enum ShopError {
    /// Another program writes to this shop.
    #[error("The shop in {} is open in another program.", .0.display())]
    Busy(PathBuf),
    /// There is no shop there.
    #[error("There is no shop in {}.", .0.display())]
    Missing(PathBuf),
    /// The folder holds something else.
    #[error("{} is not an empty folder, and not a shop.", .0.display())]
    NotAShop(PathBuf),
    /// The file was written by a later version.
    #[error("The shop was written by a later version (layout {found}; this one knows {known}).")]
    Newer {
        /// Layout of the file.
        found: i64,
        /// Latest layout that this program knows.
        known: i64,
    },
    /// The file does not hold together.
    #[error("The record is damaged: {0}.")]
    Damaged(String),
    /// A file could not be read or written.
    #[error("{} could not be {what}: {source}.", .path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// `read`, `written`, `made`.
        what: &'static str,
        /// What the system said.
        source: std::io::Error,
    },
    /// Somebody else changed the same thing since this was looked at.
    #[error("{what} was changed elsewhere meanwhile.")]
    Changed {
        /// What, in words.
        what: String,
        /// The columns that both changed, with what stands there now.
        now: Vec<(&'static str, String)>,
        /// The entry that changed it.
        by: EntryId,
    },
    /// The row is not there, or was withdrawn.
    #[error("There is no {0}.")]
    Nothing(String),
    /// What was asked makes no sense.
    #[error("{0}")]
    Refused(String),
    /// The data base said no.
    #[error("The record could not be used: {0}.")]
    Base(rusqlite::Error),
}

impl From<rusqlite::Error> for ShopError {
    fn from(error: rusqlite::Error) -> Self {
        use rusqlite::ffi::SQLITE_CONSTRAINT_FOREIGNKEY;
        match error.sqlite_error() {
            // a row that names another which is not there, such as a step of a job that nobody opened
            Some(e) if e.extended_code == SQLITE_CONSTRAINT_FOREIGNKEY => {
                Self::Nothing("job, or whatever else this belongs to".to_owned())
            }
            _ => Self::Base(error),
        }
    }
}

impl ShopError {
    /// What to do about it, in one or two sentences.
    #[must_use]
    pub fn remedy(&self) -> String {
        match self {
            Self::Busy(_) => "Close the other one, or use it: one program writes, any number of browsers look at it.".to_owned(),
            Self::Missing(_) => "Name the folder of your shop with `--shop FOLDER`, or start `serve`, which makes a new one.".to_owned(),
            Self::NotAShop(_) => "Name an empty folder, a new one, or the folder of a shop.".to_owned(),
            Self::Newer { .. } => "Use the program that wrote it, or a later one. Nothing was changed.".to_owned(),
            Self::Damaged(_) => "Nothing was changed. Copy the folder away first; then restore the last backup with `backup --restore`, and keep the copy.".to_owned(),
            Self::File { source, .. } => match source.kind() {
                std::io::ErrorKind::PermissionDenied => "Change the permissions of the folder, or use another.".to_owned(),
                std::io::ErrorKind::StorageFull => "The disk is full. Make room; nothing that was acknowledged is lost.".to_owned(),
                _ => "Look at the disk it is on; nothing that was acknowledged is lost.".to_owned(),
            },
            Self::Changed { .. } => "Both texts are shown; say which one stays.".to_owned(),
            Self::Nothing(_) => "Look at the page again; it may have been withdrawn elsewhere.".to_owned(),
            Self::Refused(_) => "Nothing was written.".to_owned(),
            Self::Base(rusqlite::Error::SqliteFailure(e, _)) => match e.code {
                rusqlite::ErrorCode::DiskFull => "The disk is full. Make room and try again; nothing that was acknowledged is lost.".to_owned(),
                rusqlite::ErrorCode::ReadOnly => "The folder may not be written to. Change its permissions.".to_owned(),
                rusqlite::ErrorCode::DatabaseBusy | rusqlite::ErrorCode::DatabaseLocked => "Try again; if it stays, close other programs that use the shop.".to_owned(),
                rusqlite::ErrorCode::NotADatabase | rusqlite::ErrorCode::DatabaseCorrupt => "The file is damaged. Copy the folder away first; then restore the last backup with `backup --restore`.".to_owned(),
                _ => "Nothing was written. Try again.".to_owned(),
            },
            Self::Base(_) => "Nothing was written. Try again.".to_owned(),
        }
    }

    /// A failed step on a file.
    pub(crate) fn file(
        path: &Path,
        what: &'static str,
    ) -> impl FnOnce(std::io::Error) -> Self + use<> {
        let path = path.to_owned();
        move |source| Self::File { path, what, source }
    }
}
