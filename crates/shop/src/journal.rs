//! Reading the journal.

use crate::error::ShopError;
use crate::id::{EntryId, JobId};
use crate::open::Reader;
use crate::stamp::At;
use rusqlite::{Row, params};
use serde::Serialize;

/// A line of the journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Entry {
    /// Which.
    pub id: EntryId,
    /// When.
    pub at: At,
    /// Where.
    pub bench: String,
    /// In which job.
    pub job: Option<JobId>,
    /// What, in a few words; never personal data.
    pub says: String,
    /// Which entry it undoes.
    pub undoes: Option<EntryId>,
    /// Which entry undid it.
    pub undone_by: Option<EntryId>,
}

fn entry(r: &Row<'_>) -> rusqlite::Result<Entry> {
    Ok(Entry {
        id: r.get(0)?,
        at: r.get(1)?,
        bench: r.get(2)?,
        job: r.get(3)?,
        says: r.get(4)?,
        undoes: r.get(5)?,
        undone_by: r.get(6)?,
    })
}

const ENTRY: &str = "SELECT j.id, j.at, j.bench, j.job, j.says, j.undoes,
 (SELECT u.id FROM journal u WHERE u.undoes = j.id) FROM journal j";

impl Reader<'_> {
    /// The journal of a job, or of the whole shop, the latest first. `before` continues a list.
    pub fn journal(
        &self,
        job: Option<JobId>,
        before: Option<EntryId>,
        most: usize,
    ) -> Result<Vec<Entry>, ShopError> {
        let most = i64::try_from(most).unwrap_or(i64::MAX);
        let before = before.map_or(i64::MAX, |b| b.0);
        let all = match job {
            Some(job) => self
                .base
                .prepare_cached(&format!(
                    "{ENTRY} WHERE j.job = ?1 AND j.id < ?2 ORDER BY j.id DESC LIMIT ?3"
                ))?
                .query_map(params![job, before, most], entry)?
                .collect::<Result<_, _>>()?,
            None => self
                .base
                .prepare_cached(&format!(
                    "{ENTRY} WHERE j.id < ?1 ORDER BY j.id DESC LIMIT ?2"
                ))?
                .query_map(params![before, most], entry)?
                .collect::<Result<_, _>>()?,
        };
        Ok(all)
    }

    /// The last entry of a job by one bench that can still be undone.
    pub fn last_to_undo(&self, job: JobId, bench: &str) -> Result<Option<Entry>, ShopError> {
        let mut ask = self.base.prepare_cached(&format!(
            "{ENTRY} WHERE j.job = ?1 AND j.bench = ?2 AND j.undoes IS NULL
             AND NOT EXISTS (SELECT 1 FROM journal u WHERE u.undoes = j.id)
             AND EXISTS (SELECT 1 FROM changes c WHERE c.entry = j.id)
             AND NOT EXISTS (SELECT 1 FROM changes c WHERE c.entry = j.id AND c.columns = 'blanked_at')
             ORDER BY j.id DESC LIMIT 1"
        ))?;
        let mut found = ask.query_map(params![job, bench], entry)?;
        Ok(found.next().transpose()?)
    }
}
