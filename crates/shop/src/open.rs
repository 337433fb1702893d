//! Opening a shop: the folder, the lock that lets one program write, the connections.

use crate::attach::{Attachments, Hash};
use crate::error::ShopError;
use crate::layout;
use crate::stamp::{At, Stamp};
use rusqlite::{Connection, OpenFlags, TransactionBehavior};
use std::fs::{self, File, OpenOptions, TryLockError};
use std::ops::Deref;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// The data base in a shop's folder.
pub(crate) const BASE: &str = "shop.sqlite";
/// The file whose lock says that a program writes.
const LOCK: &str = "lock";
/// How long a statement waits for another connection, in milliseconds.
const PATIENCE_MS: u64 = 5000;
/// Steps of the data base's machine after which they are counted.
const COUNTED: u16 = 100;
/// Reading connections that are kept open.
const READERS: usize = 3;

/// An open shop. One program writes at a time; within it, any number of threads.
#[derive(Debug)]
pub struct Shop {
    folder: PathBuf,
    attachments: Attachments,
    writer: Mutex<Connection>,
    readers: Mutex<Vec<Connection>>,
    /// Steps taken for questions.
    worked: Arc<AtomicU64>,
    /// Held for as long as the shop is open.
    _lock: File,
}

/// Questions to the record, all answered from one moment of it.
#[derive(Debug)]
pub struct Reader<'a> {
    pub(crate) base: &'a Connection,
}

/// Changes to the record: all of them are kept, or none.
#[derive(Debug)]
pub struct Write<'a> {
    pub(crate) reader: Reader<'a>,
    pub(crate) stamp: &'a Stamp,
    pub(crate) attachments: &'a Attachments,
    /// Contents to remove from the disk once the change is kept.
    pub(crate) unwanted: Vec<Hash>,
}

impl<'a> Deref for Write<'a> {
    type Target = Reader<'a>;
    fn deref(&self) -> &Reader<'a> {
        &self.reader
    }
}

impl Shop {
    /// Opens the shop in a folder; a folder that is not there, or is empty, becomes a new one.
    ///
    /// An older layout is brought up to date, after a copy of the file was put beside it. `now`
    /// dates a new shop.
    ///
    /// # Errors
    /// When another program has it open, the folder holds something else, a later version wrote
    /// it, or the disk fails.
    pub fn open(folder: &Path, now: At) -> Result<Self, ShopError> {
        let base = folder.join(BASE);
        let new = !base.exists();
        if new {
            let strange = |name: &std::ffi::OsStr| name != LOCK && name != "attachments";
            let full = fs::read_dir(folder)
                .is_ok_and(|mut d| d.any(|e| e.map_or(true, |e| strange(&e.file_name()))));
            if full || folder.is_file() {
                return Err(ShopError::NotAShop(folder.to_owned()));
            }
        }
        fs::create_dir_all(folder).map_err(ShopError::file(folder, "made"))?;
        let lock = lock(folder)?;
        let attachments = Attachments::at(folder)?;
        let mut writer = connect(&base, OpenFlags::SQLITE_OPEN_CREATE)?;
        let found = layout::of(&writer)?;
        if found > layout::latest() {
            return Err(ShopError::Newer {
                found,
                known: layout::latest(),
            });
        }
        if found > 0 && found < layout::latest() {
            let copy = folder.join(format!("before-layout-{}.sqlite", layout::latest()));
            keep_copy(&writer, &copy)?;
        }
        layout::migrate(&mut writer)?;
        writer.execute(
            "INSERT INTO shop (id, made_at) VALUES (1, ?1) ON CONFLICT DO NOTHING",
            [now],
        )?;
        if new {
            sync_folder(folder)?;
        }
        // a crash between the erasing change and the erasing leaves a file behind
        let erased: Vec<Hash> = writer
            .prepare("SELECT hash FROM attachments WHERE erased_at IS NOT NULL")?
            .query_map([], |r| r.get(0))?
            .collect::<Result<_, _>>()?;
        for hash in &erased {
            attachments.erase(hash)?;
        }
        Ok(Self {
            folder: folder.to_owned(),
            attachments,
            writer: Mutex::new(writer),
            readers: Mutex::new(Vec::new()),
            worked: Arc::default(),
            _lock: lock,
        })
    }

    /// The folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Where the content of attachments lies.
    #[must_use]
    pub(crate) fn attachments(&self) -> &Attachments {
        &self.attachments
    }

    /// Asks questions that are all answered from one moment of the record.
    ///
    /// # Errors
    /// Whatever the questions give, or a failing disk.
    pub fn read<T>(
        &self,
        ask: impl FnOnce(&Reader<'_>) -> Result<T, ShopError>,
    ) -> Result<T, ShopError> {
        let kept = held(&self.readers).pop();
        let mut base = match kept {
            Some(base) => base,
            None => self.counted()?,
        };
        let answer = {
            let moment = base.transaction()?;
            ask(&Reader { base: &moment })
        };
        let mut readers = held(&self.readers);
        if readers.len() < READERS {
            readers.push(base);
        }
        answer
    }

    /// A reading connection whose steps are counted.
    fn counted(&self) -> Result<Connection, ShopError> {
        let base = reader(&self.folder)?;
        let worked = Arc::clone(&self.worked);
        let count = move || {
            worked.fetch_add(u64::from(COUNTED), Ordering::Relaxed);
            false
        };
        base.progress_handler(i32::from(COUNTED), Some(count))?;
        Ok(base)
    }

    /// Steps that the data base's machine took for questions since the shop was opened, in whole
    /// hundreds of a question: its work, whatever else the machine does meanwhile.
    #[must_use]
    pub fn worked(&self) -> u64 {
        self.worked.load(Ordering::Relaxed)
    }

    /// Changes the record. When this returns without an error, the change is on the disk.
    ///
    /// # Errors
    /// Whatever the changes give (then nothing at all is changed), or a failing disk.
    pub fn write<T>(
        &self,
        stamp: &Stamp,
        change: impl FnOnce(&mut Write<'_>) -> Result<T, ShopError>,
    ) -> Result<T, ShopError> {
        let mut base = held(&self.writer);
        let act = base.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let mut write = Write {
            reader: Reader { base: &act },
            stamp,
            attachments: &self.attachments,
            unwanted: Vec::new(),
        };
        let answer = change(&mut write)?;
        let unwanted = write.unwanted;
        act.commit()?;
        for hash in unwanted {
            self.attachments.erase(&hash)?;
        }
        Ok(answer)
    }

    /// A change that blanks personal data: afterwards the log, which still holds what stood there,
    /// is worked in and emptied. Backups and copies made earlier keep what they hold.
    ///
    /// # Errors
    /// As [`Shop::write`].
    pub fn forget<T>(
        &self,
        stamp: &Stamp,
        change: impl FnOnce(&mut Write<'_>) -> Result<T, ShopError>,
    ) -> Result<T, ShopError> {
        let answer = self.write(stamp, change)?;
        held(&self.readers).clear();
        held(&self.writer).query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))?;
        Ok(answer)
    }
}

/// The content of a lock; a thread that panicked while holding it left no half-done change, because
/// an unfinished transaction is rolled back.
fn held<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

fn lock(folder: &Path) -> Result<File, ShopError> {
    let path = folder.join(LOCK);
    let file = File::options()
        .create(true)
        .truncate(false)
        .write(true)
        .open(&path)
        .map_err(ShopError::file(&path, "written"))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(ShopError::Busy(folder.to_owned())),
        Err(TryLockError::Error(e)) => Err(ShopError::file(&path, "locked")(e)),
    }
}

/// A connection with the settings that keep the record: a sync at each commit, foreign keys,
/// freed pages overwritten, `REPLACE` held to the triggers like any deletion.
fn connect(path: &Path, more: OpenFlags) -> Result<Connection, ShopError> {
    let base = Connection::open_with_flags(
        path,
        OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX | more,
    )?;
    base.busy_timeout(std::time::Duration::from_millis(PATIENCE_MS))?;
    let mode: String =
        base.pragma_update_and_check(None, "journal_mode", "WAL", |row| row.get(0))?;
    if !mode.eq_ignore_ascii_case("wal") {
        return Err(ShopError::Refused(format!(
            "This disk cannot keep a write-ahead log (it gives `{mode}`). Use a folder on a disk of this machine."
        )));
    }
    base.pragma_update(None, "synchronous", "FULL")?;
    base.pragma_update(None, "foreign_keys", true)?;
    base.pragma_update(None, "recursive_triggers", true)?;
    base.pragma_update(None, "secure_delete", true)?;
    base.pragma_update(None, "cell_size_check", true)?;
    base.pragma_update(None, "trusted_schema", false)?;
    base.pragma_update(None, "temp_store", "MEMORY")?;
    base.set_prepared_statement_cache_capacity(128);
    Ok(base)
}

/// A connection that cannot write, of a shop that may be open elsewhere.
pub(crate) fn reader(folder: &Path) -> Result<Connection, ShopError> {
    let path = folder.join(BASE);
    if !path.exists() {
        return Err(ShopError::Missing(folder.to_owned()));
    }
    let base = connect(&path, OpenFlags::empty())?;
    base.pragma_update(None, "query_only", true)?;
    Ok(base)
}

/// A copy of the file as it is now, whole or not at all.
fn keep_copy(base: &Connection, to: &Path) -> Result<(), ShopError> {
    let part = to.with_extension("part");
    let _ = fs::remove_file(&part);
    base.execute("VACUUM INTO ?1", [part.to_string_lossy()])?;
    sync_file(&part)?;
    fs::rename(&part, to).map_err(ShopError::file(to, "written"))?;
    sync_folder(to.parent().unwrap_or(Path::new(".")))
}

/// Makes what was written into a file by another hand outlast a power cut.
pub(crate) fn sync_file(path: &Path) -> Result<(), ShopError> {
    // Windows syncs only what was opened to be written; elsewhere a file may be one that cannot be.
    OpenOptions::new()
        .read(true)
        .write(cfg!(windows))
        .open(path)
        .and_then(|f| f.sync_all())
        .map_err(ShopError::file(path, "synced"))
}

/// Makes new names in a folder outlast a power cut.
pub(crate) fn sync_folder(folder: &Path) -> Result<(), ShopError> {
    // Windows has no such thing for folders; there the file's own sync has to do.
    if cfg!(unix) {
        File::open(folder)
            .and_then(|f| f.sync_all())
            .map_err(ShopError::file(folder, "synced"))?;
    }
    Ok(())
}
