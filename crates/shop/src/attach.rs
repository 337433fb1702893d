//! Attachments: files named by the hash of their content, so that none can change unseen.
//!
//! A file is written under a temporary name, synced, renamed to its hash, the folder is synced,
//! and only then does a row name it. A crash in between leaves a file that nothing names, never
//! a row without its file.

use crate::error::ShopError;
use crate::open::{Reader, Shop, Write, sync_folder};
use rusqlite::{OptionalExtension as _, params};
use serde::Serialize;
use sha2::{Digest as _, Sha256};
use std::fmt;
use std::fs::{self, File};
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

/// Folder of the attachments in the shop's folder.
pub(crate) const FOLDER: &str = "attachments";

/// SHA-256 of a content; its text is 64 lower-case hexadecimal digits, and nothing else is one.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(transparent)]
pub struct Hash(String);

impl Hash {
    /// Of a content.
    #[must_use]
    pub fn of(content: &[u8]) -> Self {
        Self::from_digest(&Sha256::digest(content))
    }

    /// From its text.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let hex = |b: u8| b.is_ascii_digit() || (b'a'..=b'f').contains(&b);
        (text.len() == 64 && text.bytes().all(hex)).then(|| Self(text.to_owned()))
    }

    fn from_digest(digest: &[u8]) -> Self {
        Self(digest.iter().map(|b| format!("{b:02x}")).collect())
    }

    /// The 64 digits.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl rusqlite::types::FromSql for Hash {
    fn column_result(v: rusqlite::types::ValueRef<'_>) -> rusqlite::types::FromSqlResult<Self> {
        Self::parse(v.as_str()?).ok_or(rusqlite::types::FromSqlError::InvalidType)
    }
}

impl From<Hash> for rusqlite::types::Value {
    fn from(hash: Hash) -> Self {
        Self::Text(hash.0)
    }
}

/// A row about an attachment.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Attachment {
    /// Its name.
    pub hash: Hash,
    /// Size.
    pub bytes: i64,
    /// Media type, found from the content.
    pub media: String,
    /// The content was erased on request.
    pub erased: bool,
}

/// The folder with the contents.
#[derive(Debug)]
pub(crate) struct Attachments {
    folder: PathBuf,
    next: AtomicU64,
}

impl Attachments {
    /// The attachments of a shop's folder; made if not there, left-overs of a crash cleared away.
    pub(crate) fn at(shop: &Path) -> Result<Self, ShopError> {
        let folder = shop.join(FOLDER);
        fs::create_dir_all(&folder).map_err(ShopError::file(&folder, "made"))?;
        for entry in fs::read_dir(&folder).map_err(ShopError::file(&folder, "read"))? {
            let entry = entry.map_err(ShopError::file(&folder, "read"))?;
            if entry.file_name().to_string_lossy().starts_with("part-") {
                // written by a program that is gone: this one holds the lock
                let _ = fs::remove_file(entry.path());
            }
        }
        Ok(Self {
            folder,
            next: AtomicU64::new(0),
        })
    }

    /// Where the content of this name lies.
    pub(crate) fn path(&self, hash: &Hash) -> PathBuf {
        path(&self.folder, hash)
    }

    /// Puts a content on the disk for good. The same content again is one file.
    pub(crate) fn put(&self, content: &[u8]) -> Result<Hash, ShopError> {
        let hash = Hash::of(content);
        let path = self.path(&hash);
        if self.get(&hash).is_ok() {
            return Ok(hash);
        }
        let inner = path.parent().unwrap_or(&self.folder).to_owned();
        fs::create_dir_all(&inner).map_err(ShopError::file(&inner, "made"))?;
        let number = self.next.fetch_add(1, Ordering::Relaxed);
        let part = self
            .folder
            .join(format!("part-{}-{number}", std::process::id()));
        let written = File::create(&part).and_then(|mut f| {
            f.write_all(content)?;
            f.sync_all()
        });
        if let Err(e) = written.and_then(|()| fs::rename(&part, &path)) {
            let _ = fs::remove_file(&part);
            return Err(ShopError::file(&path, "written")(e));
        }
        sync_folder(&inner)?;
        sync_folder(&self.folder)?;
        Ok(hash)
    }

    /// The content of this name, checked against it.
    pub(crate) fn get(&self, hash: &Hash) -> Result<Vec<u8>, ShopError> {
        let path = self.path(hash);
        let content = fs::read(&path).map_err(ShopError::file(&path, "read"))?;
        if Hash::of(&content) == *hash {
            Ok(content)
        } else {
            Err(ShopError::Damaged(format!(
                "attachment {hash} is not what was put in"
            )))
        }
    }

    /// Removes a content from the disk; it may be gone already.
    pub(crate) fn erase(&self, hash: &Hash) -> Result<(), ShopError> {
        let path = self.path(hash);
        match fs::remove_file(&path) {
            Ok(()) => sync_folder(path.parent().unwrap_or(&self.folder)),
            Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(()),
            Err(e) => Err(ShopError::file(&path, "erased")(e)),
        }
    }
}

/// `ab/cdef...` in the folder.
pub(crate) fn path(folder: &Path, hash: &Hash) -> PathBuf {
    let (two, rest) = hash.0.split_at(2);
    folder.join(two).join(rest)
}

/// The hash of a file, read in pieces.
pub(crate) fn hash_of_file(path: &Path) -> Result<Hash, ShopError> {
    let mut file = File::open(path).map_err(ShopError::file(path, "read"))?;
    let mut sum = Sha256::new();
    let mut piece = vec![0; 1 << 16];
    loop {
        let n = file
            .read(&mut piece)
            .map_err(ShopError::file(path, "read"))?;
        if n == 0 {
            return Ok(Hash::from_digest(&sum.finalize()));
        }
        sum.update(piece.get(..n).unwrap_or_default());
    }
}

impl Reader<'_> {
    /// What is known of an attachment.
    pub fn attachment(&self, hash: &Hash) -> Result<Option<Attachment>, ShopError> {
        Ok(self
            .base
            .prepare_cached(
                "SELECT hash, bytes, media, erased_at FROM attachments WHERE hash = ?1",
            )?
            .query_row([hash.text()], |r| {
                Ok(Attachment {
                    hash: r.get(0)?,
                    bytes: r.get(1)?,
                    media: r.get(2)?,
                    erased: r.get::<_, Option<i64>>(3)?.is_some(),
                })
            })
            .optional()?)
    }
}

impl Shop {
    /// The content of an attachment, checked against its name.
    ///
    /// # Errors
    /// When nothing bears this name, it was erased, or the file is damaged.
    pub fn content(&self, hash: &Hash) -> Result<Vec<u8>, ShopError> {
        self.is_kept(hash)?;
        self.attachments().get(hash)
    }

    /// Where the content of an attachment lies, for whoever reads it piece by piece; checked against its name first.
    ///
    /// # Errors
    /// As [`Shop::content`].
    pub fn content_at(&self, hash: &Hash) -> Result<PathBuf, ShopError> {
        self.is_kept(hash)?;
        let path = self.attachments().path(hash);
        if hash_of_file(&path)? == *hash {
            Ok(path)
        } else {
            Err(ShopError::Damaged(format!(
                "attachment {hash} is not what was put in"
            )))
        }
    }

    /// Refuses what bears no name here, or was erased.
    fn is_kept(&self, hash: &Hash) -> Result<(), ShopError> {
        match self.read(|r| r.attachment(hash))? {
            None => Err(ShopError::Nothing("attachment of this name".to_owned())),
            Some(a) if a.erased => Err(ShopError::Nothing("content: it was erased".to_owned())),
            Some(_) => Ok(()),
        }
    }
}

impl Write<'_> {
    /// Puts a content in and names it in the record.
    pub(crate) fn attach(&mut self, content: &[u8], media: &str) -> Result<Hash, ShopError> {
        let hash = self.attachments.put(content)?;
        let bytes = i64::try_from(content.len()).unwrap_or(i64::MAX);
        self.base.execute(
            "INSERT INTO attachments (hash, bytes, media, at) VALUES (?1, ?2, ?3, ?4)
             ON CONFLICT (hash) DO NOTHING",
            params![hash.text(), bytes, media, self.stamp.at],
        )?;
        if self.attachment(&hash)?.is_some_and(|a| a.erased) {
            return Err(ShopError::Refused(
                "This very file was erased from the shop on request, and stays out.".to_owned(),
            ));
        }
        Ok(hash)
    }

    /// Erases a content that no row uses any more, once the change is kept. The row that it was
    /// there stays.
    pub(crate) fn erase_content(&mut self, hash: &Hash) -> Result<(), ShopError> {
        self.base.execute(
            "UPDATE attachments SET erased_at = ?1 WHERE hash = ?2 AND erased_at IS NULL",
            params![self.stamp.at, hash.text()],
        )?;
        self.unwanted.push(hash.clone());
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4's example for the message "abc".
    /// Source: NIST FIPS 180-4 example SHA-256, from memory, not seen.
    #[test]
    fn the_hash_is_sha_256() {
        assert_eq!(
            Hash::of(b"abc").text(),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn only_64_digits_are_a_hash() {
        assert!(Hash::parse(&"a".repeat(64)).is_some());
        for bad in [
            "",
            "../../etc/passwd",
            &"A".repeat(64),
            &"a".repeat(63),
            &"/".repeat(64),
        ] {
            assert!(Hash::parse(bad).is_none(), "{bad}");
        }
    }

    #[test]
    fn a_changed_file_is_found_out_and_the_same_content_is_one_file() {
        let folder = tempfile::tempdir().unwrap();
        let store = Attachments::at(folder.path()).unwrap();
        let hash = store.put(b"a photo").unwrap();
        assert_eq!(store.put(b"a photo").unwrap(), hash);
        assert_eq!(store.get(&hash).unwrap(), b"a photo");
        fs::write(store.path(&hash), b"another").unwrap();
        assert!(matches!(store.get(&hash), Err(ShopError::Damaged(_))));
        // putting the true content in again mends it
        store.put(b"a photo").unwrap();
        assert_eq!(store.get(&hash).unwrap(), b"a photo");
    }
}
