//! Verdicts on parts, and what happened to each part. Never overwritten.

use crate::change::Entries;
use crate::error::ShopError;
use crate::id::{JobId, VerdictId};
use crate::open::{Reader, Write};
use crate::stamp::At;
use rusqlite::{OptionalExtension as _, Row, params};
use serde::{Deserialize, Serialize};

/// What is to be done with a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Stays.
    Keep,
    /// Stays, to be looked at again.
    Watch,
    /// Goes.
    Replace,
}

impl Verdict {
    /// As stored and as shown.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Keep => "keep",
            Self::Watch => "watch",
            Self::Replace => "replace",
        }
    }

    /// Of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        match word {
            "keep" => Some(Self::Keep),
            "watch" => Some(Self::Watch),
            "replace" => Some(Self::Replace),
            _ => None,
        }
    }
}

/// A verdict as it stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct VerdictGiven {
    /// Which.
    pub id: VerdictId,
    /// The part, as named in the wiring or by hand.
    pub part: String,
    /// What.
    pub verdict: Verdict,
    /// What had been proposed.
    pub proposed: Option<Verdict>,
    /// Why.
    pub reason: String,
    /// When.
    pub at: At,
    /// Where.
    pub bench: String,
}

/// What became of a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum State {
    /// As made.
    Original,
    /// Another stands in its place.
    Replaced,
    /// Fitted where nothing was.
    Added,
    /// Taken out.
    Removed,
}

impl State {
    /// As stored and as shown.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Original => "original",
            Self::Replaced => "replaced",
            Self::Added => "added",
            Self::Removed => "removed",
        }
    }

    /// Of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        match word {
            "original" => Some(Self::Original),
            "replaced" => Some(Self::Replaced),
            "added" => Some(Self::Added),
            "removed" => Some(Self::Removed),
            _ => None,
        }
    }
}

/// What is written of a part's state.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PartStateFields {
    /// The part.
    pub part: String,
    /// What became of it.
    pub state: State,
    /// What it was, with what it read.
    pub was: String,
    /// What stands there now.
    pub now: String,
    /// A remark.
    pub note: String,
}

/// A part's state as it stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PartState {
    /// What.
    pub fields: PartStateFields,
    /// When.
    pub at: At,
}

impl Reader<'_> {
    /// The verdicts of a job, each part's last one, in the order first given.
    pub fn verdicts(&self, job: JobId) -> Result<Vec<VerdictGiven>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT * FROM verdicts w WHERE job = ?1 AND withdrawn = 0
             AND NOT EXISTS (SELECT 1 FROM verdicts n WHERE n.corrects = w.id) ORDER BY id",
        )?;
        let given = |r: &Row<'_>| {
            Ok(VerdictGiven {
                id: r.get("id")?,
                part: r.get("part")?,
                verdict: Verdict::of(&r.get::<_, String>("verdict")?).unwrap_or(Verdict::Watch),
                proposed: Verdict::of(&r.get::<_, String>("proposed")?),
                reason: r.get("reason")?,
                at: r.get("at")?,
                bench: r.get("bench")?,
            })
        };
        let all = ask.query_map([job], given)?.collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// The states of a job's parts, each part's last one.
    pub fn part_states(&self, job: JobId) -> Result<Vec<PartState>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT * FROM part_states w WHERE job = ?1 AND withdrawn = 0
             AND NOT EXISTS (SELECT 1 FROM part_states n WHERE n.corrects = w.id) ORDER BY id",
        )?;
        let state = |r: &Row<'_>| {
            Ok(PartState {
                fields: PartStateFields {
                    part: r.get("part")?,
                    state: State::of(&r.get::<_, String>("state")?).unwrap_or(State::Original),
                    was: r.get("was")?,
                    now: r.get("now")?,
                    note: r.get("note")?,
                },
                at: r.get("at")?,
            })
        };
        let all = ask.query_map([job], state)?.collect::<Result<_, _>>()?;
        Ok(all)
    }
}

impl Write<'_> {
    /// Gives a verdict; an earlier one on the same part is corrected by it.
    ///
    /// # Errors
    /// Refused where it goes against the proposal without a few words of reason.
    pub fn give_verdict(
        &mut self,
        job: JobId,
        part: &str,
        verdict: Verdict,
        proposed: Option<Verdict>,
        reason: &str,
    ) -> Result<VerdictId, ShopError> {
        self.job(job)?;
        if proposed.is_some_and(|p| p != verdict) && reason.trim().is_empty() {
            return Err(ShopError::Refused(
                "A verdict against the proposal wants a few words of reason.".to_owned(),
            ));
        }
        let last = self.last_of(Entries::Verdicts, job, part)?;
        let entry = self.enter(Some(job), &format!("{part}: {}", verdict.word()))?;
        let columns = [
            ("job", job.into()),
            ("part", part.to_owned().into()),
            ("verdict", verdict.word().to_owned().into()),
            (
                "proposed",
                proposed.map_or("", Verdict::word).to_owned().into(),
            ),
            ("reason", reason.trim().to_owned().into()),
        ];
        Ok(VerdictId(self.append(
            entry,
            Entries::Verdicts,
            &columns,
            last,
        )?))
    }

    /// Writes down what became of a part.
    pub fn set_part_state(
        &mut self,
        job: JobId,
        fields: &PartStateFields,
    ) -> Result<(), ShopError> {
        self.job(job)?;
        let last = self.last_of(Entries::PartStates, job, &fields.part)?;
        let says = format!("{}: {}", fields.part, fields.state.word());
        let entry = self.enter(Some(job), &says)?;
        let columns = [
            ("job", job.into()),
            ("part", fields.part.clone().into()),
            ("state", fields.state.word().to_owned().into()),
            ("was", fields.was.clone().into()),
            ("now", fields.now.clone().into()),
            ("note", fields.note.clone().into()),
        ];
        self.append(entry, Entries::PartStates, &columns, last)?;
        Ok(())
    }

    /// The row of a part that nothing corrects yet.
    fn last_of(&self, table: Entries, job: JobId, part: &str) -> Result<Option<i64>, ShopError> {
        let table = table.table();
        Ok(self
            .base
            .prepare_cached(&format!(
                "SELECT id FROM {table} w WHERE job = ?1 AND part = ?2
                 AND NOT EXISTS (SELECT 1 FROM {table} n WHERE n.corrects = w.id)
                 ORDER BY id DESC LIMIT 1"
            ))?
            .query_row(params![job, part], |r| r.get(0))
            .optional()?)
    }
}
