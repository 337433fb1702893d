//! Jobs: one amp's stay on the bench. The number of a job is the number on its tag.

use crate::amps::{Amp, amp};
use crate::change::{Card, Column, maybe};
use crate::error::ShopError;
use crate::id::{AmpId, ClientId, EntryId, JobId};
use crate::open::{Reader, Write};
use crate::stamp::At;
use rusqlite::{OptionalExtension as _, Row, params};
use serde::{Deserialize, Serialize};

/// Highest number of a tag. A tag is written by hand, and nine figures are more than one holds; and the numbers that
/// follow it must stay far from the largest that the data base can hold, after which no job could be taken in.
pub(crate) const MOST_TAG: i64 = 999_999_999;

/// What a job waits for.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum WaitsFor {
    /// The technician's hands.
    #[default]
    You,
    /// Parts that are owed.
    Parts,
    /// The owner's answer.
    Answer,
    /// Time to pass, such as capacitors forming.
    Time,
}

impl WaitsFor {
    /// As stored.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::You => "you",
            Self::Parts => "parts",
            Self::Answer => "answer",
            Self::Time => "time",
        }
    }

    /// Of a stored word; anything else is the technician.
    #[must_use]
    pub fn of(word: &str) -> Self {
        match word {
            "parts" => Self::Parts,
            "answer" => Self::Answer,
            "time" => Self::Time,
            _ => Self::You,
        }
    }

    /// Nothing can be done by hand meanwhile.
    #[must_use]
    pub fn holds(self) -> bool {
        matches!(self, Self::Parts | Self::Answer)
    }
}

/// What may change of a job. `None` leaves a field as it is.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct JobFields {
    /// The step it is at (`chart`).
    pub step: Option<String>,
    /// What it waits for.
    pub waits_for: Option<WaitsFor>,
    /// In words: `6V6GT pair, sent wrong`.
    pub waits_text: Option<String>,
    /// What hands do next, in words.
    pub next_text: Option<String>,
    /// Promised for (`2026-12-05`), or empty.
    pub promised: Option<String>,
    /// Stage, collection, ...
    pub purpose: Option<String>,
    /// What came with it.
    pub accessories: Option<String>,
    /// Old parts that go home.
    pub bag: Option<String>,
    /// Where the cabinet stands.
    pub shelf: Option<String>,
}

/// A job with its amp.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Job {
    /// Its number.
    pub id: JobId,
    /// The amp.
    pub amp: Amp,
    /// When it was taken in.
    pub opened_at: At,
    /// When it was closed.
    pub closed_at: Option<At>,
    /// The step it is at.
    pub step: String,
    /// What it waits for.
    pub waits_for: WaitsFor,
    /// In words.
    pub waits_text: String,
    /// What hands do next, in words; empty where the page knows.
    pub next_text: String,
    /// Promised for.
    pub promised: String,
    /// What for.
    pub purpose: String,
    /// What came with it.
    pub accessories: String,
    /// Old parts that go home.
    pub bag: String,
    /// Where the cabinet stands.
    pub shelf: String,
    /// The owner's name; empty when blanked.
    pub owner: String,
}

/// How much a job holds, so that lists of jobs need not read all of it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Counts {
    /// Readings that stand, taken before the work.
    pub readings_found: usize,
    /// Readings that stand, taken after it.
    pub readings_left: usize,
    /// Verdicts that stand.
    pub verdicts: usize,
    /// Work items to be done.
    pub work_open: usize,
    /// Done.
    pub work_done: usize,
    /// Declined by the owner.
    pub work_declined: usize,
    /// Photos.
    pub photos: usize,
    /// Recordings.
    pub recordings: usize,
    /// Kept sheets.
    pub sheets: usize,
    /// Answers that stand, by run sheet.
    pub results: Vec<(String, usize)>,
    /// Latest revision of the wiring as found; 0 where nothing is traced.
    pub revision: i64,
}

/// A job that a search found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Found {
    /// Which.
    pub job: JobId,
    /// The amp's name.
    pub amp: String,
    /// Its serial number.
    pub serial: String,
    /// The owner's name.
    pub owner: String,
    /// Closed already.
    pub closed: bool,
}

const JOB: &str =
    "SELECT j.id AS job_id, j.opened_at, j.closed_at, j.step, j.waits_for, j.waits_text,
 j.next_text, j.promised, j.purpose, j.accessories, j.bag, j.shelf,
 a.id AS amp_id, a.client, a.maker, a.model, a.serial, a.cabinet_serial, a.about,
 (SELECT name FROM client_details WHERE client = a.client ORDER BY id DESC LIMIT 1) AS owner
 FROM jobs j JOIN amps a ON a.id = j.amp";

fn job(row: &Row<'_>) -> rusqlite::Result<Job> {
    Ok(Job {
        id: row.get("job_id")?,
        amp: amp(row)?,
        opened_at: row.get("opened_at")?,
        closed_at: row.get("closed_at")?,
        step: row.get("step")?,
        waits_for: WaitsFor::of(&row.get::<_, String>("waits_for")?),
        waits_text: row.get("waits_text")?,
        next_text: row.get("next_text")?,
        promised: row.get("promised")?,
        purpose: row.get("purpose")?,
        accessories: row.get("accessories")?,
        bag: row.get("bag")?,
        shelf: row.get("shelf")?,
        owner: row.get::<_, Option<String>>("owner")?.unwrap_or_default(),
    })
}

/// The number after the highest; where no tag can have that, the lowest that is free.
pub(crate) fn next_tag(base: &rusqlite::Connection) -> Result<i64, ShopError> {
    let after: i64 = base.query_row(
        "SELECT coalesce(max(id), 0) + 1 FROM jobs WHERE id <= ?1",
        [MOST_TAG],
        |r| r.get(0),
    )?;
    if after <= MOST_TAG {
        return Ok(after);
    }
    let free: Option<i64> = base.query_row(
        "SELECT min(n) FROM (SELECT 1 AS n UNION ALL SELECT id + 1 FROM jobs WHERE id < ?1)
         WHERE n NOT IN (SELECT id FROM jobs)",
        [MOST_TAG],
        |r| r.get(0),
    )?;
    free.ok_or_else(|| ShopError::Refused("Every number that a tag can have is in use.".to_owned()))
}

impl Reader<'_> {
    /// A job.
    pub fn job(&self, id: JobId) -> Result<Job, ShopError> {
        self.base
            .prepare_cached(&format!("{JOB} WHERE j.id = ?1 AND j.gone = 0"))?
            .query_row([id], job)
            .optional()?
            .ok_or_else(|| ShopError::Nothing(format!("job {id}")))
    }

    /// The jobs on the bench, the oldest first.
    pub fn open_jobs(&self) -> Result<Vec<Job>, ShopError> {
        let sql = format!(
            "{JOB} WHERE j.id IN (SELECT id FROM jobs INDEXED BY jobs_open
             WHERE closed_at IS NULL AND gone = 0) ORDER BY j.id"
        );
        let mut ask = self.base.prepare_cached(&sql)?;
        let all = ask.query_map([], job)?.collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// The last job of an amp.
    pub fn last_job_of(&self, amp: AmpId) -> Result<Option<JobId>, ShopError> {
        Ok(self
            .base
            .prepare_cached("SELECT max(id) FROM jobs WHERE amp = ?1 AND gone = 0")?
            .query_row([amp], |r| r.get(0))?)
    }

    /// The job of the same amp before this one.
    pub fn job_before(&self, id: JobId) -> Result<Option<Job>, ShopError> {
        let now = self.job(id)?;
        let before: Option<JobId> = self
            .base
            .prepare_cached(
                "SELECT id FROM jobs WHERE amp = ?1 AND id <> ?2 AND gone = 0
                 AND (opened_at < ?3 OR (opened_at = ?3 AND id < ?2))
                 ORDER BY opened_at DESC, id DESC LIMIT 1",
            )?
            .query_row(params![now.amp.id, id, now.opened_at], |r| r.get(0))
            .optional()?;
        before.map(|b| self.job(b)).transpose()
    }

    /// The jobs of an owner, the first first.
    pub fn jobs_of_client(&self, client: ClientId) -> Result<Vec<JobId>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT j.id FROM amps a JOIN jobs j ON j.amp = a.id
             WHERE a.client = ?1 AND j.gone = 0 ORDER BY j.id",
        )?;
        let all = ask
            .query_map([client], |r| r.get(0))?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// How much a job holds.
    pub fn counts(&self, job: JobId) -> Result<Counts, ShopError> {
        let mut counts = self
            .base
            .prepare_cached(
                "SELECT
                 (SELECT count(*) FROM blocks b CROSS JOIN readings r ON r.block = b.id
                  WHERE b.job = ?1 AND b.state = 'as found' AND r.withdrawn = 0
                  AND NOT EXISTS (SELECT 1 FROM readings n WHERE n.corrects = r.id)),
                 (SELECT count(*) FROM blocks b CROSS JOIN readings r ON r.block = b.id
                  WHERE b.job = ?1 AND b.state = 'as left' AND r.withdrawn = 0
                  AND NOT EXISTS (SELECT 1 FROM readings n WHERE n.corrects = r.id)),
                 (SELECT count(*) FROM verdicts v WHERE job = ?1 AND withdrawn = 0
                  AND NOT EXISTS (SELECT 1 FROM verdicts n WHERE n.corrects = v.id)),
                 (SELECT count(*) FROM work_items WHERE job = ?1 AND gone = 0 AND state = 'open'),
                 (SELECT count(*) FROM work_items WHERE job = ?1 AND gone = 0 AND state = 'done'),
                 (SELECT count(*) FROM work_items WHERE job = ?1 AND gone = 0 AND state = 'declined'),
                 (SELECT count(*) FROM photos p WHERE job = ?1 AND withdrawn = 0 AND blanked_at IS NULL
                  AND NOT EXISTS (SELECT 1 FROM photos n WHERE n.corrects = p.id)),
                 (SELECT count(*) FROM recordings WHERE job = ?1 AND withdrawn = 0),
                 (SELECT count(*) FROM sheets s WHERE job = ?1 AND withdrawn = 0
                  AND NOT EXISTS (SELECT 1 FROM sheets n WHERE n.corrects = s.id)),
                 (SELECT coalesce(max(v.number), 0) FROM wiring_revisions v
                  JOIN wirings w ON w.id = v.wiring
                  WHERE w.job = ?1 AND w.state = 'as found' AND w.gone = 0)",
            )?
            .query_row([job], |r| {
                let count = |i: usize| -> rusqlite::Result<usize> {
                    Ok(usize::try_from(r.get::<_, i64>(i)?).unwrap_or(0))
                };
                Ok(Counts {
                    readings_found: count(0)?,
                    readings_left: count(1)?,
                    verdicts: count(2)?,
                    work_open: count(3)?,
                    work_done: count(4)?,
                    work_declined: count(5)?,
                    photos: count(6)?,
                    recordings: count(7)?,
                    sheets: count(8)?,
                    results: Vec::new(),
                    revision: r.get(9)?,
                })
            })?;
        let mut ask = self.base.prepare_cached(
            "SELECT sheet, count(*) FROM results w WHERE job = ?1 AND withdrawn = 0
             AND NOT EXISTS (SELECT 1 FROM results n WHERE n.corrects = w.id) GROUP BY sheet ORDER BY sheet",
        )?;
        counts.results = ask
            .query_map([job], |r| {
                Ok((r.get(0)?, usize::try_from(r.get::<_, i64>(1)?).unwrap_or(0)))
            })?
            .collect::<Result<_, _>>()?;
        Ok(counts)
    }

    /// Jobs whose number, amp, serial number or owner holds the words; the latest first.
    pub fn find(&self, words: &str, most: usize) -> Result<Vec<Found>, ShopError> {
        let wanted = words.trim();
        let pattern = format!(
            "%{}%",
            wanted
                .replace('\\', "\\\\")
                .replace('%', "\\%")
                .replace('_', "\\_")
        );
        let number: i64 = wanted.trim_start_matches('#').parse().unwrap_or(-1);
        let mut ask = self.base.prepare_cached(
            "SELECT j.id, a.maker, a.model, a.serial, d.name, j.closed_at
             FROM jobs j JOIN amps a ON a.id = j.amp
             LEFT JOIN client_details d ON d.id =
               (SELECT max(id) FROM client_details WHERE client = a.client)
             WHERE j.gone = 0 AND (j.id = ?1
               OR a.maker || ' ' || a.model LIKE ?2 ESCAPE '\\'
               OR a.serial LIKE ?2 ESCAPE '\\' OR a.cabinet_serial LIKE ?2 ESCAPE '\\'
               OR d.name LIKE ?2 ESCAPE '\\')
             ORDER BY j.id = ?1 DESC, j.id DESC LIMIT ?3",
        )?;
        let most = i64::try_from(most).unwrap_or(i64::MAX);
        let all = ask
            .query_map(params![number, pattern, most], |r| {
                Ok(Found {
                    job: r.get(0)?,
                    amp: format!("{} {}", r.get::<_, String>(1)?, r.get::<_, String>(2)?)
                        .trim()
                        .to_owned(),
                    serial: r.get(3)?,
                    owner: r.get::<_, Option<String>>(4)?.unwrap_or_default(),
                    closed: r.get::<_, Option<i64>>(5)?.is_some(),
                })
            })?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// The last journal entry there is: what a page rendered now has seen.
    pub fn last_entry(&self) -> Result<EntryId, ShopError> {
        Ok(EntryId(
            self.base
                .prepare_cached("SELECT coalesce(max(id), 0) FROM journal")?
                .query_row([], |r| r.get(0))?,
        ))
    }
}

impl Write<'_> {
    /// A new job on an amp. `number` where the tag is printed already; else the next one.
    pub fn open_job(&mut self, amp: AmpId, number: Option<i64>) -> Result<JobId, ShopError> {
        let amp_row = self.amp(amp)?;
        let taken: Option<i64> = match number {
            Some(n) => self
                .base
                .query_row("SELECT id FROM jobs WHERE id = ?1", [n], |r| r.get(0))
                .optional()?,
            None => None,
        };
        if let Some(n) = taken {
            return Err(ShopError::Refused(format!("Tag {n} is in use already.")));
        }
        let id = match number {
            Some(n) if n > MOST_TAG => {
                return Err(ShopError::Refused(format!(
                    "A tag has nine figures at most, and {n} has more. Type the number on the tag again, or leave it empty: \
                     the next one is taken."
                )));
            }
            Some(n) if n > 0 => n,
            Some(_) => return Err(ShopError::Refused("A tag has a number above 0.".to_owned())),
            None => next_tag(self.base)?,
        };
        let entry = self.enter(
            Some(JobId(id)),
            &format!("taken in: {}", amp_row.fields.name()),
        )?;
        let columns = [
            ("id", id.into()),
            ("amp", amp.into()),
            ("opened_at", self.stamp.at.into()),
        ];
        Ok(JobId(self.make(entry, Card::Jobs, &columns)?))
    }

    /// Changes a job. With `seen` (the last journal entry that a page had seen) nothing is
    /// written when somebody else changed one of the same fields since; what stands there now
    /// comes back in the error.
    pub fn change_job(
        &mut self,
        id: JobId,
        fields: &JobFields,
        seen: Option<EntryId>,
        says: &str,
    ) -> Result<Option<EntryId>, ShopError> {
        self.job(id)?;
        let mut columns: Vec<Column> = Vec::new();
        let waits = fields.waits_for.map(|w| w.word().to_owned());
        for (name, value) in [
            ("step", &fields.step),
            ("waits_for", &waits),
            ("waits_text", &fields.waits_text),
            ("next_text", &fields.next_text),
            ("promised", &fields.promised),
            ("purpose", &fields.purpose),
            ("accessories", &fields.accessories),
            ("bag", &fields.bag),
            ("shelf", &fields.shelf),
        ] {
            if let Some(value) = value {
                columns.push((name, value.clone().into()));
            }
        }
        if columns.is_empty() {
            return Ok(None);
        }
        self.alter(Some(id), Card::Jobs, id.0, &columns, seen, says)
    }

    /// Closes a job, or opens it again.
    pub fn close_job(&mut self, id: JobId, closed: bool) -> Result<(), ShopError> {
        self.job(id)?;
        let at = closed.then_some(self.stamp.at);
        let says = if closed {
            "job closed"
        } else {
            "job opened again"
        };
        self.alter(
            Some(id),
            Card::Jobs,
            id.0,
            &[("closed_at", maybe(at))],
            None,
            says,
        )?;
        Ok(())
    }
}
