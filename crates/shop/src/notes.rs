//! Notes of the bench. A change is a new row; a note can be blanked.

use crate::change::Entries;
use crate::error::ShopError;
use crate::id::{JobId, NoteId};
use crate::open::{Reader, Write};
use crate::stamp::At;
use serde::Serialize;

/// A note as it stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Note {
    /// Which.
    pub id: NoteId,
    /// What it is about: a step, a part, or empty.
    pub about: String,
    /// The text; empty when blanked.
    pub text: String,
    /// When.
    pub at: At,
    /// Where.
    pub bench: String,
    /// It was blanked.
    pub blanked: bool,
}

impl Reader<'_> {
    /// The notes of a job, the first first.
    pub fn notes(&self, job: JobId) -> Result<Vec<Note>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT id, about, text, at, bench, blanked_at FROM notes w
             WHERE job = ?1 AND withdrawn = 0
             AND NOT EXISTS (SELECT 1 FROM notes n WHERE n.corrects = w.id) ORDER BY id",
        )?;
        let all = ask
            .query_map([job], |r| {
                Ok(Note {
                    id: r.get(0)?,
                    about: r.get(1)?,
                    text: r.get(2)?,
                    at: r.get(3)?,
                    bench: r.get(4)?,
                    blanked: r.get::<_, Option<i64>>(5)?.is_some(),
                })
            })?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }
}

impl Write<'_> {
    /// A note, or a new text for one.
    pub fn add_note(
        &mut self,
        job: JobId,
        about: &str,
        text: &str,
        corrects: Option<NoteId>,
    ) -> Result<NoteId, ShopError> {
        self.job(job)?;
        if text.trim().is_empty() {
            return Err(ShopError::Refused("A note has words.".to_owned()));
        }
        let entry = self.enter(Some(job), "note")?;
        let columns = [
            ("job", job.into()),
            ("about", about.to_owned().into()),
            ("text", text.trim().to_owned().into()),
        ];
        Ok(NoteId(self.append(
            entry,
            Entries::Notes,
            &columns,
            corrects.map(|c| c.0),
        )?))
    }

    /// Empties a note, with every earlier text of it. Cannot be undone.
    pub fn blank_note(&mut self, job: JobId, id: NoteId) -> Result<(), ShopError> {
        let entry = self.enter(Some(job), "note blanked")?;
        let mut next = Some(id.0);
        while let Some(row) = next {
            self.blank(entry, Entries::Notes, row)?;
            next = self.base.query_row(
                "SELECT corrects FROM notes WHERE id = ?1 AND job = ?2",
                rusqlite::params![row, job],
                |r| r.get(0),
            )?;
        }
        Ok(())
    }
}
