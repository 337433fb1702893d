//! Work items: things done or to be done to the amp, in the circuit or not.

use crate::change::{Card, maybe};
use crate::error::ShopError;
use crate::id::{EntryId, JobId, WorkId};
use crate::open::{Reader, Write};
use crate::stamp::At;
use rusqlite::{OptionalExtension as _, Row};
use serde::{Deserialize, Serialize};

/// Where an item stands.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum WorkState {
    /// To be done.
    #[default]
    Open,
    /// Done.
    Done,
    /// The owner said no.
    Declined,
}

impl WorkState {
    /// As stored and as shown.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Done => "done",
            Self::Declined => "declined",
        }
    }

    /// Of a stored word; anything else is open.
    #[must_use]
    pub fn of(word: &str) -> Self {
        match word {
            "done" => Self::Done,
            "declined" => Self::Declined,
            _ => Self::Open,
        }
    }
}

/// What is written of an item.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct WorkFields {
    /// What is done: `clean and re-tension the output sockets`.
    pub title: String,
    /// The part of the circuit, or empty.
    pub part: String,
    /// Why.
    pub why: String,
    /// Where it stands.
    pub state: WorkState,
    /// The owner's answer, when one was needed.
    pub answer: String,
    /// Reading before.
    pub before: String,
    /// Reading after.
    pub after: String,
    /// Part used.
    pub part_used: String,
    /// Minutes it took.
    pub minutes: i64,
}

/// An item.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct WorkItem {
    /// Which.
    pub id: WorkId,
    /// Of which job.
    pub job: JobId,
    /// What.
    pub fields: WorkFields,
    /// When it was done or declined.
    pub ended_at: Option<At>,
}

fn item(r: &Row<'_>) -> rusqlite::Result<WorkItem> {
    Ok(WorkItem {
        id: r.get("id")?,
        job: r.get("job")?,
        fields: WorkFields {
            title: r.get("title")?,
            part: r.get("part")?,
            why: r.get("why")?,
            state: WorkState::of(&r.get::<_, String>("state")?),
            answer: r.get("answer")?,
            before: r.get("before")?,
            after: r.get("after")?,
            part_used: r.get("part_used")?,
            minutes: r.get("minutes")?,
        },
        ended_at: r.get("ended_at")?,
    })
}

impl Reader<'_> {
    /// The items of a job.
    pub fn work(&self, job: JobId) -> Result<Vec<WorkItem>, ShopError> {
        let mut ask = self
            .base
            .prepare_cached("SELECT * FROM work_items WHERE job = ?1 AND gone = 0 ORDER BY id")?;
        let all = ask.query_map([job], item)?.collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// One item.
    pub fn work_item(&self, id: WorkId) -> Result<WorkItem, ShopError> {
        self.base
            .prepare_cached("SELECT * FROM work_items WHERE id = ?1 AND gone = 0")?
            .query_row([id], item)
            .optional()?
            .ok_or_else(|| ShopError::Nothing(format!("work item {id}")))
    }
}

impl Write<'_> {
    /// A new item.
    pub fn add_work(&mut self, job: JobId, fields: &WorkFields) -> Result<WorkId, ShopError> {
        self.job(job)?;
        if fields.title.trim().is_empty() {
            return Err(ShopError::Refused(
                "A work item says what is to be done.".to_owned(),
            ));
        }
        let entry = self.enter(Some(job), &format!("work: {}", fields.title))?;
        let mut columns = columns(fields);
        columns.push(("job", job.into()));
        columns.push(("ended_at", self.ended(fields.state)));
        Ok(WorkId(self.make(entry, Card::WorkItems, &columns)?))
    }

    /// Changes an item, or takes it off the list. `seen` as in [`Write::change_job`].
    pub fn change_work(
        &mut self,
        id: WorkId,
        fields: &WorkFields,
        gone: bool,
        seen: Option<EntryId>,
    ) -> Result<Option<EntryId>, ShopError> {
        let now = self.work_item(id)?;
        let mut columns = columns(fields);
        if fields.state != now.fields.state {
            columns.push(("ended_at", self.ended(fields.state)));
        }
        columns.push(("gone", i64::from(gone).into()));
        let says = if gone {
            format!("work off the list: {}", fields.title)
        } else {
            format!("work {}: {}", fields.state.word(), fields.title)
        };
        self.alter(Some(now.job), Card::WorkItems, id.0, &columns, seen, &says)
    }

    fn ended(&self, state: WorkState) -> rusqlite::types::Value {
        maybe((state != WorkState::Open).then_some(self.stamp.at))
    }
}

fn columns(fields: &WorkFields) -> Vec<crate::change::Column> {
    vec![
        ("title", fields.title.trim().to_owned().into()),
        ("part", fields.part.trim().to_owned().into()),
        ("why", fields.why.trim().to_owned().into()),
        ("state", fields.state.word().to_owned().into()),
        ("answer", fields.answer.trim().to_owned().into()),
        ("before", fields.before.trim().to_owned().into()),
        ("after", fields.after.trim().to_owned().into()),
        ("part_used", fields.part_used.trim().to_owned().into()),
        ("minutes", fields.minutes.max(0).into()),
    ]
}
