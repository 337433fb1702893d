//! Time spent: one clock a job, and stretches written down by hand.

use crate::change::{Card, maybe};
use crate::error::ShopError;
use crate::id::{HoursId, JobId};
use crate::open::{Reader, Write};
use crate::stamp::At;
use rusqlite::OptionalExtension as _;
use serde::Serialize;

/// A stretch of time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Hours {
    /// Which.
    pub id: HoursId,
    /// Spent on.
    pub task: String,
    /// From.
    pub started_at: At,
    /// To; none while the clock runs.
    pub stopped_at: Option<At>,
    /// The owner pays for it.
    pub billable: bool,
    /// A remark.
    pub note: String,
}

impl Hours {
    /// Milliseconds until it ended, or until `now`; never below 0.
    #[must_use]
    pub fn length_ms(&self, now: At) -> i64 {
        (self.stopped_at.unwrap_or(now).0 - self.started_at.0).max(0)
    }
}

impl Reader<'_> {
    /// The stretches of a job.
    pub fn hours(&self, job: JobId) -> Result<Vec<Hours>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT id, task, started_at, stopped_at, billable, note FROM hours
             WHERE job = ?1 AND gone = 0 ORDER BY started_at, id",
        )?;
        let all = ask
            .query_map([job], |r| {
                Ok(Hours {
                    id: r.get(0)?,
                    task: r.get(1)?,
                    started_at: r.get(2)?,
                    stopped_at: r.get(3)?,
                    billable: r.get(4)?,
                    note: r.get(5)?,
                })
            })?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }
}

impl Write<'_> {
    /// Starts the clock of a job; nothing happens when it runs already.
    pub fn start_clock(&mut self, job: JobId, task: &str) -> Result<(), ShopError> {
        self.job(job)?;
        if self.running(job)?.is_some() {
            return Ok(());
        }
        let entry = self.enter(Some(job), &format!("clock started: {task}"))?;
        let columns = [
            ("job", job.into()),
            ("task", task.to_owned().into()),
            ("started_at", self.stamp.at.into()),
        ];
        self.make(entry, Card::Hours, &columns)?;
        Ok(())
    }

    /// Stops the clock of a job.
    pub fn stop_clock(&mut self, job: JobId) -> Result<(), ShopError> {
        if let Some((row, started)) = self.running(job)? {
            // a clock that was set back must not make time negative
            let at = At(self.stamp.at.0.max(started));
            let columns = [("stopped_at", maybe(Some(at)))];
            self.alter(Some(job), Card::Hours, row, &columns, None, "clock stopped")?;
        }
        Ok(())
    }

    /// A stretch that was written down by hand and ended now.
    pub fn add_minutes(
        &mut self,
        job: JobId,
        task: &str,
        minutes: i64,
        billable: bool,
        note: &str,
    ) -> Result<HoursId, ShopError> {
        self.job(job)?;
        if !(1..=100_000).contains(&minutes) {
            return Err(ShopError::Refused(
                "Type the minutes as a whole number above 0.".to_owned(),
            ));
        }
        let entry = self.enter(Some(job), &format!("{minutes} min: {task}"))?;
        let columns = [
            ("job", job.into()),
            ("task", task.to_owned().into()),
            ("started_at", At(self.stamp.at.0 - minutes * 60_000).into()),
            ("stopped_at", self.stamp.at.into()),
            ("billable", i64::from(billable).into()),
            ("note", note.to_owned().into()),
        ];
        Ok(HoursId(self.make(entry, Card::Hours, &columns)?))
    }

    fn running(&self, job: JobId) -> Result<Option<(i64, i64)>, ShopError> {
        Ok(self
            .base
            .query_row(
                "SELECT id, started_at FROM hours WHERE job = ?1 AND stopped_at IS NULL AND gone = 0",
                [job],
                |r| Ok((r.get(0)?, r.get(1)?)),
            )
            .optional()?)
    }
}
