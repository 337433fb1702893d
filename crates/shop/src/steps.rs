//! Which steps of a job are done or held. Which steps there are is the pages' matter.

use crate::change::Card;
use crate::error::ShopError;
use crate::id::JobId;
use crate::open::{Reader, Write};
use crate::stamp::At;
use rusqlite::{OptionalExtension as _, params};
use serde::Serialize;
use std::collections::BTreeMap;

/// The mark on a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum StepState {
    /// Marked done by hand.
    Done,
    /// Held.
    Held,
    /// A mark taken off again.
    Open,
}

impl StepState {
    fn word(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Held => "held",
            Self::Open => "open",
        }
    }
}

/// A mark and when it was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct StepMark {
    /// Which.
    pub state: StepState,
    /// When.
    pub at: At,
}

impl Reader<'_> {
    /// The marks of a job by step.
    pub fn steps(&self, job: JobId) -> Result<BTreeMap<String, StepMark>, ShopError> {
        let mut ask = self
            .base
            .prepare_cached("SELECT step, state, at FROM steps WHERE job = ?1 AND gone = 0")?;
        let all = ask
            .query_map([job], |r| {
                let state = match r.get::<_, String>(1)?.as_str() {
                    "done" => StepState::Done,
                    "held" => StepState::Held,
                    _ => StepState::Open,
                };
                Ok((
                    r.get(0)?,
                    StepMark {
                        state,
                        at: r.get(2)?,
                    },
                ))
            })?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }
}

impl Write<'_> {
    /// Marks a step.
    pub fn mark_step(&mut self, job: JobId, step: &str, state: StepState) -> Result<(), ShopError> {
        let row: Option<i64> = self
            .base
            .prepare_cached("SELECT id FROM steps WHERE job = ?1 AND step = ?2")?
            .query_row(params![job, step], |r| r.get(0))
            .optional()?;
        let says = format!("{step}: {}", state.word());
        match row {
            Some(row) => {
                let (was, gone): (String, bool) = self.base.query_row(
                    "SELECT state, gone FROM steps WHERE id = ?1",
                    [row],
                    |r| Ok((r.get(0)?, r.get(1)?)),
                )?;
                if was == state.word() && !gone {
                    return Ok(());
                }
                let columns = [
                    ("state", state.word().to_owned().into()),
                    ("at", self.stamp.at.into()),
                    ("gone", 0.into()),
                ];
                self.alter(Some(job), Card::Steps, row, &columns, None, &says)?;
            }
            None => {
                let entry = self.enter(Some(job), &says)?;
                let columns = [
                    ("job", job.into()),
                    ("step", step.to_owned().into()),
                    ("state", state.word().to_owned().into()),
                    ("at", self.stamp.at.into()),
                ];
                self.make(entry, Card::Steps, &columns)?;
            }
        }
        Ok(())
    }
}
