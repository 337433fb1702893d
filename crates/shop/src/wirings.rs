//! Wirings, with every revision. A saved text is never lost: not to a later one, not to another
//! screen that saved in between.

use crate::change::Card;
use crate::error::ShopError;
use crate::id::{EntryId, JobId, RevisionId, WiringId};
use crate::merge::{Merged, merge};
use crate::open::{Reader, Write};
use crate::stamp::At;
use rusqlite::{OptionalExtension as _, Row, params};
use serde::{Deserialize, Serialize};

/// Which state of the amp a wiring says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum WiringState {
    /// Before anything was changed.
    #[serde(rename = "as found")]
    AsFound,
    /// After the work.
    #[serde(rename = "as left")]
    AsLeft,
    /// Typed from a drawing.
    #[serde(rename = "as drawn")]
    AsDrawn,
}

impl WiringState {
    /// As stored and as shown.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::AsFound => "as found",
            Self::AsLeft => "as left",
            Self::AsDrawn => "as drawn",
        }
    }

    fn of(word: &str) -> Self {
        match word {
            "as left" => Self::AsLeft,
            "as drawn" => Self::AsDrawn,
            _ => Self::AsFound,
        }
    }
}

/// A wiring; its text is in its revisions.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Wiring {
    /// Which.
    pub id: WiringId,
    /// The job; none for a drawing that belongs to the shop.
    pub job: Option<JobId>,
    /// Which state.
    pub state: WiringState,
    /// Name of a drawing; empty otherwise.
    pub name: String,
}

/// One saved text.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Revision {
    /// Which.
    pub id: RevisionId,
    /// 1, 2, 3 ... within the wiring; 0 for a text that was set aside in a clash.
    pub number: i64,
    /// The text.
    pub text: String,
    /// `typed`, `joined`, `aside`, `undone`.
    pub how: String,
    /// When.
    pub at: At,
    /// Where.
    pub bench: String,
}

/// What saving did.
#[derive(Debug, Clone, PartialEq)]
pub enum Saved {
    /// The text is the new head.
    Head(RevisionId),
    /// Somebody saved in between; the lines did not touch, and the joined text is the new head.
    Joined(RevisionId),
    /// Nothing new.
    Same(RevisionId),
    /// Somebody saved other text for the same lines. The text given is kept aside under this
    /// number; the head is as it was. Save again on `head` with what shall stay.
    Clash {
        /// The text given, kept.
        aside: RevisionId,
        /// The present head.
        head: Box<Revision>,
        /// Both texts.
        merged: Merged,
    },
}

fn revision(row: &Row<'_>) -> rusqlite::Result<Revision> {
    Ok(Revision {
        id: row.get("id")?,
        number: row.get("number")?,
        text: row.get("text")?,
        how: row.get("how")?,
        at: row.get("at")?,
        bench: row.get("bench")?,
    })
}

fn wiring(row: &Row<'_>) -> rusqlite::Result<Wiring> {
    Ok(Wiring {
        id: row.get("id")?,
        job: row.get("job")?,
        state: WiringState::of(&row.get::<_, String>("state")?),
        name: row.get("name")?,
    })
}

impl Reader<'_> {
    /// The wirings of a job.
    pub fn wirings(&self, job: JobId) -> Result<Vec<Wiring>, ShopError> {
        let mut ask = self
            .base
            .prepare_cached("SELECT * FROM wirings WHERE job = ?1 AND gone = 0 ORDER BY id")?;
        let all = ask.query_map([job], wiring)?.collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// The drawings that belong to the shop.
    pub fn drawings(&self) -> Result<Vec<Wiring>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT * FROM wirings WHERE job IS NULL AND state = 'as drawn' AND gone = 0
             ORDER BY name, id",
        )?;
        let all = ask.query_map([], wiring)?.collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// A job's wiring in a state.
    pub fn wiring_of(&self, job: JobId, state: WiringState) -> Result<Option<Wiring>, ShopError> {
        Ok(self
            .base
            .prepare_cached(
                "SELECT * FROM wirings WHERE job = ?1 AND state = ?2 AND gone = 0 ORDER BY id LIMIT 1",
            )?
            .query_row(params![job, state.word()], wiring)
            .optional()?)
    }

    /// The latest text of a wiring.
    pub fn head(&self, wiring: WiringId) -> Result<Option<Revision>, ShopError> {
        Ok(self
            .base
            .prepare_cached(
                "SELECT * FROM wiring_revisions WHERE wiring = ?1 AND number > 0
                 ORDER BY number DESC LIMIT 1",
            )?
            .query_row([wiring], revision)
            .optional()?)
    }

    /// Every text of a wiring, the latest first, those set aside among them.
    pub fn revisions(&self, wiring: WiringId) -> Result<Vec<Revision>, ShopError> {
        let mut ask = self
            .base
            .prepare_cached("SELECT * FROM wiring_revisions WHERE wiring = ?1 ORDER BY id DESC")?;
        let all = ask
            .query_map([wiring], revision)?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// One text.
    pub fn revision(&self, id: RevisionId) -> Result<Revision, ShopError> {
        self.base
            .prepare_cached("SELECT * FROM wiring_revisions WHERE id = ?1")?
            .query_row([id], revision)
            .optional()?
            .ok_or_else(|| ShopError::Nothing(format!("revision {id}")))
    }

    /// The text that a text grew from.
    pub fn base_of(&self, id: RevisionId) -> Result<Option<Revision>, ShopError> {
        Ok(self
            .base
            .prepare_cached(
                "SELECT b.* FROM wiring_revisions r JOIN wiring_revisions b ON b.id = r.base
                 WHERE r.id = ?1",
            )?
            .query_row([id], revision)
            .optional()?)
    }

    fn job_of_wiring(&self, id: WiringId) -> Result<Option<JobId>, ShopError> {
        self.base
            .prepare_cached("SELECT job FROM wirings WHERE id = ?1")?
            .query_row([id], |r| r.get(0))
            .optional()?
            .ok_or_else(|| ShopError::Nothing(format!("wiring {id}")))
    }
}

impl Write<'_> {
    /// The wiring of a job in a state; made when it is not there yet.
    pub fn wiring_for(&mut self, job: JobId, state: WiringState) -> Result<WiringId, ShopError> {
        if let Some(there) = self.wiring_of(job, state)? {
            return Ok(there.id);
        }
        self.job(job)?;
        let hidden: Option<i64> = self
            .base
            .query_row(
                "SELECT id FROM wirings WHERE job = ?1 AND state = ?2",
                params![job, state.word()],
                |r| r.get(0),
            )
            .optional()?;
        let says = format!("wiring {}", state.word());
        if let Some(row) = hidden {
            self.alter(
                Some(job),
                Card::Wirings,
                row,
                &[("gone", 0.into())],
                None,
                &says,
            )?;
            return Ok(WiringId(row));
        }
        let entry = self.enter(Some(job), &says)?;
        let columns = [
            ("job", job.into()),
            ("state", state.word().to_owned().into()),
            ("name", String::new().into()),
        ];
        Ok(WiringId(self.make(entry, Card::Wirings, &columns)?))
    }

    /// A drawing of the shop's own, or of a job.
    pub fn add_drawing(&mut self, job: Option<JobId>, name: &str) -> Result<WiringId, ShopError> {
        let entry = self.enter(job, &format!("drawing {name}"))?;
        let columns = [
            ("job", crate::change::maybe(job)),
            ("state", WiringState::AsDrawn.word().to_owned().into()),
            ("name", name.to_owned().into()),
        ];
        Ok(WiringId(self.make(entry, Card::Wirings, &columns)?))
    }

    /// Saves a text that grew from revision `base` (none: from nothing).
    ///
    /// Line ends become `\n`. Where somebody saved in between, the two are joined line by line;
    /// where they clash the given text is kept aside and both come back ([`Saved::Clash`]).
    pub fn save_wiring(
        &mut self,
        wiring: WiringId,
        text: &str,
        base: Option<RevisionId>,
    ) -> Result<Saved, ShopError> {
        let job = self.job_of_wiring(wiring)?;
        let text = text.replace("\r\n", "\n").replace('\r', "\n");
        let head = self.head(wiring)?;
        let Some(head) = head else {
            return Ok(Saved::Head(
                self.add_revision(job, wiring, 1, &text, base, "typed")?,
            ));
        };
        if head.text == text {
            return Ok(Saved::Same(head.id));
        }
        if base == Some(head.id) {
            let id = self.add_revision(job, wiring, head.number + 1, &text, base, "typed")?;
            return Ok(Saved::Head(id));
        }
        let old = match base {
            Some(base) => self.revision(base)?.text,
            None => String::new(),
        };
        let merged = merge(&old, &text, &head.text);
        match merged.text() {
            Some(joined) if joined == head.text => Ok(Saved::Same(head.id)),
            Some(joined) => {
                // what was typed here is kept as well, as it was typed
                let aside = self.add_revision(job, wiring, 0, &text, base, "aside")?;
                let id = self.add_revision(
                    job,
                    wiring,
                    head.number + 1,
                    &joined,
                    Some(aside),
                    "joined",
                )?;
                Ok(Saved::Joined(id))
            }
            None => Ok(Saved::Clash {
                aside: self.add_revision(job, wiring, 0, &text, base, "aside")?,
                head: Box::new(head),
                merged,
            }),
        }
    }

    pub(crate) fn add_revision(
        &mut self,
        job: Option<JobId>,
        wiring: WiringId,
        number: i64,
        text: &str,
        base: Option<RevisionId>,
        how: &str,
    ) -> Result<RevisionId, ShopError> {
        let says = if number == 0 {
            "wiring: a text kept aside".to_owned()
        } else {
            format!("wiring, revision {number}")
        };
        let entry = self.enter(job, &says)?;
        self.revision_under(entry, wiring, number, text, base, how)
    }

    pub(crate) fn revision_under(
        &mut self,
        entry: EntryId,
        wiring: WiringId,
        number: i64,
        text: &str,
        base: Option<RevisionId>,
        how: &str,
    ) -> Result<RevisionId, ShopError> {
        self.base.execute(
            "INSERT INTO wiring_revisions (wiring, number, text, base, how, at, bench)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            params![
                wiring,
                number,
                text,
                base,
                how,
                self.stamp.at,
                self.stamp.bench
            ],
        )?;
        let id = RevisionId(self.base.last_insert_rowid());
        self.note_change(entry, "wiring_revisions", id.0, "", None, None)?;
        Ok(id)
    }
}
