//! Readings, each in a block that says under which conditions it was taken.
//!
//! Never overwritten: a correction is a new reading that names the old one.

use crate::change::{Entries, maybe};
use crate::error::ShopError;
use crate::id::{BlockId, InstrumentId, JobId, ReadingId};
use crate::open::{Reader, Write};
use crate::stamp::At;
use rusqlite::{OptionalExtension as _, Row};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// Which chart a block belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum ReadingState {
    /// Before the work.
    #[serde(rename = "as found")]
    AsFound,
    /// After it.
    #[serde(rename = "as left")]
    AsLeft,
}

impl ReadingState {
    /// As stored and as shown.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::AsFound => "as found",
            Self::AsLeft => "as left",
        }
    }
}

/// One set of conditions.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Block {
    /// Which.
    pub id: BlockId,
    /// Before or after the work.
    pub state: ReadingState,
    /// Its name, unique within the job.
    pub name: String,
    /// Condition lines in the notation of readings (`mains 231 V`), one a line.
    pub conditions: String,
    /// The meter.
    pub instrument: Option<InstrumentId>,
    /// Since when.
    pub at: At,
}

/// A reading to write down.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct NewReading {
    /// Where, as typed: `V1.3`, `B1 to B2`, `LS1`.
    pub point: String,
    /// What the display showed, as typed: `172`, `OL`, `< 0.01`.
    pub shown: String,
    /// Unit as typed; empty for volts DC (or ohms with the power off).
    pub unit: String,
    /// A remark.
    pub note: String,
    /// With another instrument than the block's.
    pub instrument: Option<InstrumentId>,
}

/// A reading as it stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Reading {
    /// Which.
    pub id: ReadingId,
    /// Under which conditions.
    pub block: BlockId,
    /// What was written.
    pub fields: NewReading,
    /// When.
    pub at: At,
    /// Where.
    pub bench: String,
    /// Which earlier reading it corrects.
    pub corrects: Option<ReadingId>,
    /// It was taken back.
    pub withdrawn: bool,
}

fn block(row: &Row<'_>) -> rusqlite::Result<Block> {
    Ok(Block {
        id: row.get("id")?,
        state: match row.get::<_, String>("state")?.as_str() {
            "as left" => ReadingState::AsLeft,
            _ => ReadingState::AsFound,
        },
        name: row.get("name")?,
        conditions: row.get("conditions")?,
        instrument: row.get("instrument")?,
        at: row.get("at")?,
    })
}

fn reading(row: &Row<'_>) -> rusqlite::Result<Reading> {
    Ok(Reading {
        id: row.get("id")?,
        block: row.get("block")?,
        fields: NewReading {
            point: row.get("point")?,
            shown: row.get("shown")?,
            unit: row.get("unit")?,
            note: row.get("note")?,
            instrument: row.get("instrument")?,
        },
        at: row.get("at")?,
        bench: row.get("bench")?,
        corrects: row.get("corrects")?,
        withdrawn: row.get("withdrawn")?,
    })
}

impl Reader<'_> {
    /// The blocks of a job, the first first; those taken back are left out.
    pub fn blocks(&self, job: JobId) -> Result<Vec<Block>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT * FROM blocks b WHERE job = ?1 AND withdrawn = 0
             AND NOT EXISTS (SELECT 1 FROM blocks n WHERE n.corrects = b.id) ORDER BY id",
        )?;
        let all = ask.query_map([job], block)?.collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// The readings of a job as they stand: each with its last correction, in the order in which
    /// they were first taken, those taken back left out.
    pub fn readings(&self, job: JobId) -> Result<Vec<Reading>, ShopError> {
        let ever = self.readings_ever(job)?;
        // the first of each chain of corrections; a correction is younger than what it corrects
        let mut first: BTreeMap<ReadingId, ReadingId> = BTreeMap::new();
        let mut corrected: BTreeSet<ReadingId> = BTreeSet::new();
        for reading in &ever {
            let old = reading.corrects.and_then(|c| first.get(&c).copied());
            first.insert(reading.id, old.unwrap_or(reading.id));
            corrected.extend(reading.corrects);
        }
        let mut stand: Vec<Reading> = ever
            .into_iter()
            .filter(|r| !r.withdrawn && !corrected.contains(&r.id))
            .collect();
        stand.sort_by_key(|r| first.get(&r.id).copied());
        Ok(stand)
    }

    /// Every reading ever written in a job, corrected and withdrawn ones among them, as written.
    pub fn readings_ever(&self, job: JobId) -> Result<Vec<Reading>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT r.* FROM blocks b CROSS JOIN readings r ON r.block = b.id WHERE b.job = ?1 ORDER BY r.id",
        )?;
        let all = ask.query_map([job], reading)?.collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// One reading.
    pub fn reading(&self, id: ReadingId) -> Result<Reading, ShopError> {
        self.base
            .prepare_cached("SELECT * FROM readings WHERE id = ?1")?
            .query_row([id], reading)
            .optional()?
            .ok_or_else(|| ShopError::Nothing(format!("reading {id}")))
    }

    fn job_of_block(&self, id: BlockId) -> Result<JobId, ShopError> {
        self.base
            .prepare_cached("SELECT job FROM blocks WHERE id = ?1")?
            .query_row([id], |r| r.get(0))
            .optional()?
            .ok_or_else(|| ShopError::Nothing(format!("block of readings {id}")))
    }

    /// How many readings stand in the whole shop.
    pub fn count_readings(&self) -> Result<i64, ShopError> {
        Ok(self
            .base
            .query_row("SELECT count(*) FROM readings", [], |r| r.get(0))?)
    }
}

impl Write<'_> {
    /// A new block: from now on readings are taken under these conditions. Where the name is
    /// used already in this job, a number is put behind it.
    pub fn begin_block(
        &mut self,
        job: JobId,
        state: ReadingState,
        name: &str,
        conditions: &str,
        instrument: Option<InstrumentId>,
    ) -> Result<BlockId, ShopError> {
        self.job(job)?;
        let taken: Vec<String> = self
            .base
            .prepare_cached("SELECT name FROM blocks WHERE job = ?1")?
            .query_map([job], |r| r.get(0))?
            .collect::<Result<_, _>>()?;
        let wanted = name.trim();
        let wanted = if wanted.is_empty() {
            state.word()
        } else {
            wanted
        };
        let name = std::iter::once(wanted.to_owned())
            .chain((2..).map(|n| format!("{wanted}, {n}")))
            .find(|n| !taken.contains(n))
            .unwrap_or_else(|| wanted.to_owned());
        let entry = self.enter(Some(job), &format!("conditions: {name}"))?;
        let columns = [
            ("job", job.into()),
            ("state", state.word().to_owned().into()),
            ("name", name.into()),
            ("conditions", conditions.trim().to_owned().into()),
            ("instrument", maybe(instrument)),
        ];
        Ok(BlockId(self.append(
            entry,
            Entries::Blocks,
            &columns,
            None,
        )?))
    }

    /// Writes a reading down, or a correction of an earlier one.
    pub fn take_reading(
        &mut self,
        block: BlockId,
        new: &NewReading,
        corrects: Option<ReadingId>,
    ) -> Result<ReadingId, ShopError> {
        let job = self.job_of_block(block)?;
        if new.point.trim().is_empty() || new.shown.trim().is_empty() {
            return Err(ShopError::Refused(
                "A reading has a point and what the display showed.".to_owned(),
            ));
        }
        let says = match corrects {
            None => format!("{} read {}", new.point, new.shown),
            Some(old) => {
                let old = self.reading(old)?;
                format!(
                    "{} read {}, corrected from {}",
                    new.point, new.shown, old.fields.shown
                )
            }
        };
        let entry = self.enter(Some(job), &says)?;
        let columns = [
            ("block", block.into()),
            ("point", new.point.trim().to_owned().into()),
            ("shown", new.shown.trim().to_owned().into()),
            ("unit", new.unit.trim().to_owned().into()),
            ("instrument", maybe(new.instrument)),
            ("note", new.note.trim().to_owned().into()),
        ];
        Ok(ReadingId(self.append(
            entry,
            Entries::Readings,
            &columns,
            corrects.map(|c| c.0),
        )?))
    }

    /// Takes a reading back. It stays in the record.
    pub fn withdraw_reading(&mut self, id: ReadingId) -> Result<(), ShopError> {
        let old = self.reading(id)?;
        let job = self.job_of_block(old.block)?;
        let says = format!("{} withdrawn ({})", old.fields.point, old.fields.shown);
        let entry = self.enter(Some(job), &says)?;
        self.withdraw(entry, Entries::Readings, id.0)?;
        Ok(())
    }
}
