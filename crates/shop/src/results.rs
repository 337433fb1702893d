//! Answers of the run sheets (inspection, cold check, power-up, safety, proof), and computed
//! sheets as they were shown. Never overwritten.

use crate::change::{Entries, maybe};
use crate::error::ShopError;
use crate::id::{InstrumentId, JobId, ResultId, SheetId};
use crate::open::{Reader, Write};
use crate::stamp::At;
use rusqlite::{OptionalExtension as _, Row, params};
use serde::{Deserialize, Serialize};

/// How an item ended.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// Looked at or read, and in order.
    Pass,
    /// Looked at or read, and not in order.
    Fail,
    /// Not yet.
    #[default]
    Open,
    /// This amp has no such thing.
    NotThere,
}

impl Outcome {
    /// As stored.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Fail => "fail",
            Self::Open => "open",
            Self::NotThere => "not there",
        }
    }

    /// Of a stored word; anything else is open.
    #[must_use]
    pub fn of(word: &str) -> Self {
        match word {
            "pass" => Self::Pass,
            "fail" => Self::Fail,
            "not there" => Self::NotThere,
            _ => Self::Open,
        }
    }
}

/// An answer.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ResultFields {
    /// Which run sheet: `inspection`, `cold`, `power-up`, `safety`, `proof`.
    pub sheet: String,
    /// Which item, by its stable name.
    pub item: String,
    /// How it ended.
    pub result: Outcome,
    /// What was read, as typed.
    pub shown: String,
    /// Its unit.
    pub unit: String,
    /// The limit as it was shown.
    pub limit: String,
    /// Where the limit comes from.
    pub source: String,
    /// With which instrument.
    pub instrument: Option<InstrumentId>,
    /// A remark.
    pub note: String,
}

/// An answer as it stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ResultGiven {
    /// Which.
    pub id: ResultId,
    /// What.
    pub fields: ResultFields,
    /// When.
    pub at: At,
    /// Where.
    pub bench: String,
}

/// A computed sheet that was kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SavedSheet {
    /// Which.
    pub id: SheetId,
    /// `bias`, `heaters`, `supply`, ...
    pub kind: String,
    /// What went in, as JSON.
    pub given: String,
    /// What came out, as JSON.
    pub outcome: String,
    /// When.
    pub at: At,
    /// Where.
    pub bench: String,
}

fn given(r: &Row<'_>) -> rusqlite::Result<ResultGiven> {
    Ok(ResultGiven {
        id: r.get("id")?,
        fields: ResultFields {
            sheet: r.get("sheet")?,
            item: r.get("item")?,
            result: Outcome::of(&r.get::<_, String>("result")?),
            shown: r.get("shown")?,
            unit: r.get("unit")?,
            limit: r.get("limit_text")?,
            source: r.get("source")?,
            instrument: r.get("instrument")?,
            note: r.get("note")?,
        },
        at: r.get("at")?,
        bench: r.get("bench")?,
    })
}

impl Reader<'_> {
    /// The answers of a job, each item's last one, in the order given; all sheets.
    pub fn results(&self, job: JobId) -> Result<Vec<ResultGiven>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT * FROM results w WHERE job = ?1 AND withdrawn = 0
             AND NOT EXISTS (SELECT 1 FROM results n WHERE n.corrects = w.id) ORDER BY id",
        )?;
        let all = ask.query_map([job], given)?.collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// The last kept sheet of each kind.
    pub fn sheets(&self, job: JobId) -> Result<Vec<SavedSheet>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT id, kind, given, outcome, at, bench FROM sheets s
             WHERE job = ?1 AND withdrawn = 0
             AND NOT EXISTS (SELECT 1 FROM sheets n WHERE n.corrects = s.id)
             ORDER BY kind, id",
        )?;
        let all = ask
            .query_map([job], |r| {
                Ok(SavedSheet {
                    id: r.get(0)?,
                    kind: r.get(1)?,
                    given: r.get(2)?,
                    outcome: r.get(3)?,
                    at: r.get(4)?,
                    bench: r.get(5)?,
                })
            })?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }
}

impl Write<'_> {
    /// Answers an item. An earlier answer of the same item is corrected by this one; the same
    /// answer again writes nothing.
    pub fn answer_item(
        &mut self,
        job: JobId,
        fields: &ResultFields,
    ) -> Result<ResultId, ShopError> {
        self.job(job)?;
        let last = self
            .base
            .prepare_cached(
                "SELECT * FROM results w WHERE job = ?1 AND sheet = ?2 AND item = ?3
                 AND NOT EXISTS (SELECT 1 FROM results n WHERE n.corrects = w.id)
                 ORDER BY id DESC LIMIT 1",
            )?
            .query_row(params![job, fields.sheet, fields.item], |r| {
                Ok((given(r)?, r.get::<_, bool>("withdrawn")?))
            })
            .optional()?;
        if let Some((last, withdrawn)) = &last
            && !withdrawn
            && last.fields == *fields
        {
            return Ok(last.id);
        }
        let read = if fields.shown.is_empty() {
            String::new()
        } else {
            format!(", {} {}", fields.shown, fields.unit)
        };
        let says = format!(
            "{}, {}: {}{}",
            fields.sheet,
            fields.item,
            fields.result.word(),
            read.trim_end()
        );
        let entry = self.enter(Some(job), &says)?;
        let columns = [
            ("job", job.into()),
            ("sheet", fields.sheet.clone().into()),
            ("item", fields.item.clone().into()),
            ("result", fields.result.word().to_owned().into()),
            ("shown", fields.shown.clone().into()),
            ("unit", fields.unit.clone().into()),
            ("limit_text", fields.limit.clone().into()),
            ("source", fields.source.clone().into()),
            ("instrument", maybe(fields.instrument)),
            ("note", fields.note.clone().into()),
        ];
        Ok(ResultId(self.append(
            entry,
            Entries::Results,
            &columns,
            last.map(|(l, _)| l.id.0),
        )?))
    }

    /// Keeps a computed sheet as it was shown; an earlier one of the same kind is corrected.
    pub fn keep_sheet(
        &mut self,
        job: JobId,
        kind: &str,
        given: &str,
        outcome: &str,
    ) -> Result<SheetId, ShopError> {
        self.job(job)?;
        let last: Option<i64> = self
            .base
            .prepare_cached(
                "SELECT id FROM sheets s WHERE job = ?1 AND kind = ?2
                 AND NOT EXISTS (SELECT 1 FROM sheets n WHERE n.corrects = s.id)
                 ORDER BY id DESC LIMIT 1",
            )?
            .query_row(params![job, kind], |r| r.get(0))
            .optional()?;
        let entry = self.enter(Some(job), &format!("{kind} sheet kept"))?;
        let columns = [
            ("job", job.into()),
            ("kind", kind.to_owned().into()),
            ("given", given.to_owned().into()),
            ("outcome", outcome.to_owned().into()),
        ];
        Ok(SheetId(self.append(
            entry,
            Entries::Sheets,
            &columns,
            last,
        )?))
    }
}
