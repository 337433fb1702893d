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

    /// Whole minutes of a stretch that has ended; 0 of one that runs.
    #[must_use]
    pub fn minutes(&self) -> i64 {
        self.length_ms(self.started_at) / 60_000
    }
}

fn sound_minutes(minutes: i64) -> Result<(), ShopError> {
    if (1..=100_000).contains(&minutes) {
        Ok(())
    } else {
        Err(ShopError::Refused(
            "Type the minutes as a whole number above 0.".to_owned(),
        ))
    }
}

fn unpaid(billable: bool) -> &'static str {
    if billable { "" } else { ", not billed" }
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
        sound_minutes(minutes)?;
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

    /// Corrects a stretch that has ended: what it was spent on, its minutes, whether it is billed. What stood there is kept
    /// in the journal. A longer one began earlier, a shorter one ended earlier.
    ///
    /// # Errors
    /// Refused while its clock runs, for minutes that are no time, and where an invoice has more of a task than would be left.
    pub fn correct_hours(
        &mut self,
        job: JobId,
        id: HoursId,
        task: &str,
        minutes: i64,
        billable: bool,
    ) -> Result<(), ShopError> {
        let all = self.hours(job)?;
        let now = all
            .iter()
            .find(|h| h.id == id)
            .ok_or_else(|| ShopError::Nothing(format!("stretch {id} of this job")))?;
        let Some(stopped) = now.stopped_at else {
            return Err(ShopError::Refused(
                "The clock runs: stop it first.".to_owned(),
            ));
        };
        sound_minutes(minutes)?;
        let (task, was) = (task.trim(), now.minutes());
        let apart = minutes * 60_000;
        let (from, to) = if minutes == was {
            (now.started_at, stopped)
        } else if minutes > was {
            (At(stopped.0 - apart), stopped)
        } else {
            (now.started_at, At(now.started_at.0 + apart))
        };
        let corrected = Hours {
            task: task.to_owned(),
            started_at: from,
            stopped_at: Some(to),
            billable,
            ..now.clone()
        };
        let left: i64 = all
            .iter()
            .map(|h| if h.id == id { &corrected } else { h })
            .filter(|h| h.billable && h.task == now.task)
            .map(|h| h.length_ms(self.stamp.at))
            .sum();
        if self.invoiced_minutes(job, &now.task)? > left / 60_000 {
            return Err(ShopError::Refused(format!(
                "An invoice has more time of \u{201c}{}\u{201d} than would be left. Take the invoice back first.",
                now.task
            )));
        }
        let says = format!(
            "{minutes} min: {task}{}, in place of {was} min: {}{}",
            unpaid(billable),
            now.task,
            unpaid(now.billable)
        );
        let columns = [
            ("task", task.to_owned().into()),
            ("started_at", from.into()),
            ("stopped_at", to.into()),
            ("billable", i64::from(billable).into()),
        ];
        self.alter(Some(job), Card::Hours, id.0, &columns, None, &says)?;
        Ok(())
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
