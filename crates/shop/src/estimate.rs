//! The estimate of a job, item by item, and what the owner said to each.

use crate::change::{Card, Column, Entries};
use crate::error::ShopError;
use crate::id::{EntryId, EstimateId, JobId, SaidId};
use crate::open::{Reader, Write};
use crate::stamp::At;
use rusqlite::{OptionalExtension as _, Row};
use serde::{Deserialize, Serialize};

/// What an item is for.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(rename_all = "lowercase")]
pub enum EstimateSort {
    /// Makes the amp safe.
    Safety,
    /// Makes it work.
    #[default]
    Repair,
    /// Keeps it working.
    Prevention,
    /// What the owner would like.
    Wishes,
}

impl EstimateSort {
    /// All of them, in the order shown.
    pub const ALL: [Self; 4] = [Self::Safety, Self::Repair, Self::Prevention, Self::Wishes];

    /// As stored and as shown.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Safety => "safety",
            Self::Repair => "repair",
            Self::Prevention => "prevention",
            Self::Wishes => "wishes",
        }
    }

    /// Of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|s| s.word() == word)
    }
}

/// What is written of an item.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct EstimateFields {
    /// What it is for.
    pub sort: EstimateSort,
    /// What is to be done.
    pub what: String,
    /// The part of the circuit, or empty.
    pub part: String,
    /// Why.
    pub why: String,
    /// It costs at least, in minor units.
    pub low_minor: i64,
    /// It costs at most, in minor units.
    pub high_minor: i64,
    /// Of this currency (ISO 4217).
    pub currency: String,
}

/// What the owner said to an item.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OwnerSaid {
    /// Which.
    pub id: SaidId,
    /// Do it, or leave it.
    pub yes: bool,
    /// The day, `YYYY-MM-DD`.
    pub on: String,
    /// In the owner's words; empty when blanked.
    pub says: String,
    /// When it was written down.
    pub at: At,
}

/// An item, with the owner's answer as it stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct EstimateItem {
    /// Which.
    pub id: EstimateId,
    /// Of which job.
    pub job: JobId,
    /// What is written of it.
    pub fields: EstimateFields,
    /// None while the owner has not answered.
    pub said: Option<OwnerSaid>,
}

impl EstimateItem {
    /// The owner said no.
    #[must_use]
    pub fn is_refused(&self) -> bool {
        self.said.as_ref().is_some_and(|s| !s.yes)
    }
}

const ITEM: &str = "SELECT i.*, s.id AS said, s.answer, s.answered_on, s.says, s.at AS said_at
 FROM estimate_items i LEFT JOIN estimate_answers s ON s.item = i.id AND s.withdrawn = 0
  AND NOT EXISTS (SELECT 1 FROM estimate_answers n WHERE n.corrects = s.id)
 WHERE i.gone = 0 AND";

fn item(r: &Row<'_>) -> rusqlite::Result<EstimateItem> {
    let said: Option<SaidId> = r.get("said")?;
    Ok(EstimateItem {
        id: r.get("id")?,
        job: r.get("job")?,
        fields: EstimateFields {
            sort: EstimateSort::of(&r.get::<_, String>("sort")?).unwrap_or_default(),
            what: r.get("what")?,
            part: r.get("part")?,
            why: r.get("why")?,
            low_minor: r.get("low_minor")?,
            high_minor: r.get("high_minor")?,
            currency: r.get("currency")?,
        },
        said: match said {
            None => None,
            Some(id) => Some(OwnerSaid {
                id,
                yes: r.get::<_, String>("answer")? == "yes",
                on: r.get("answered_on")?,
                says: r.get("says")?,
                at: r.get("said_at")?,
            }),
        },
    })
}

impl Reader<'_> {
    /// The estimate of a job, in the order written.
    pub fn estimate(&self, job: JobId) -> Result<Vec<EstimateItem>, ShopError> {
        let mut ask = self
            .base
            .prepare_cached(&format!("{ITEM} i.job = ?1 ORDER BY i.id, s.id"))?;
        let mut all: Vec<EstimateItem> = ask.query_map([job], item)?.collect::<Result<_, _>>()?;
        all.dedup_by_key(|i| i.id);
        Ok(all)
    }

    /// One item.
    pub fn estimate_item(&self, id: EstimateId) -> Result<EstimateItem, ShopError> {
        self.base
            .prepare_cached(&format!("{ITEM} i.id = ?1 ORDER BY s.id DESC LIMIT 1"))?
            .query_row([id], item)
            .optional()?
            .ok_or_else(|| ShopError::Nothing(format!("estimate item {id}")))
    }
}

impl Write<'_> {
    /// Puts an item on the estimate.
    ///
    /// # Errors
    /// Refused where it says nothing, or its prices are no range.
    pub fn add_estimate(
        &mut self,
        job: JobId,
        fields: &EstimateFields,
    ) -> Result<EstimateId, ShopError> {
        self.job(job)?;
        sound(fields)?;
        let entry = self.enter(Some(job), &format!("estimate: {}", fields.what.trim()))?;
        let mut columns = columns(fields);
        columns.push(("job", job.into()));
        Ok(EstimateId(self.make(
            entry,
            Card::EstimateItems,
            &columns,
        )?))
    }

    /// Changes an item, or takes it off. `seen` as in [`Write::change_job`].
    ///
    /// # Errors
    /// As [`Write::add_estimate`]. What the owner has answered is refused another price or another
    /// sort: a new item asks anew.
    pub fn change_estimate(
        &mut self,
        id: EstimateId,
        fields: &EstimateFields,
        gone: bool,
        seen: Option<EntryId>,
    ) -> Result<(), ShopError> {
        let now = self.estimate_item(id)?;
        sound(fields)?;
        let f = &now.fields;
        let same = (fields.low_minor, fields.high_minor, fields.sort)
            == (f.low_minor, f.high_minor, f.sort);
        if now.said.is_some() && !same {
            return Err(ShopError::Refused(
                "The owner has answered this item as it stands. Put a new one on for another price."
                    .to_owned(),
            ));
        }
        let mut columns = columns(fields);
        columns.push(("gone", i64::from(gone).into()));
        let says = format!("estimate changed: {}", fields.what.trim());
        self.alter(
            Some(now.job),
            Card::EstimateItems,
            id.0,
            &columns,
            seen,
            &says,
        )?;
        Ok(())
    }

    /// Writes down what the owner said to an item; an earlier answer is corrected by it.
    pub fn owner_said(
        &mut self,
        id: EstimateId,
        yes: bool,
        on: &str,
        says: &str,
    ) -> Result<SaidId, ShopError> {
        let now = self.estimate_item(id)?;
        let answer = if yes { "yes" } else { "no" };
        let entry = self.enter(
            Some(now.job),
            &format!("owner says {answer}: {}", now.fields.what),
        )?;
        let columns = [
            ("item", id.into()),
            ("answer", answer.to_owned().into()),
            ("answered_on", on.to_owned().into()),
            ("says", says.trim().to_owned().into()),
        ];
        Ok(SaidId(self.append(
            entry,
            Entries::EstimateAnswers,
            &columns,
            now.said.map(|s| s.id.0),
        )?))
    }
}

fn sound(fields: &EstimateFields) -> Result<(), ShopError> {
    if fields.what.trim().is_empty() {
        return Err(ShopError::Refused(
            "An item of the estimate says what is to be done.".to_owned(),
        ));
    }
    if !(0..=fields.high_minor).contains(&fields.low_minor) {
        return Err(ShopError::Refused(
            "The lower price comes first, and none is below 0.".to_owned(),
        ));
    }
    Ok(())
}

fn columns(fields: &EstimateFields) -> Vec<Column> {
    vec![
        ("sort", fields.sort.word().to_owned().into()),
        ("what", fields.what.trim().to_owned().into()),
        ("part", fields.part.trim().to_owned().into()),
        ("why", fields.why.trim().to_owned().into()),
        ("low_minor", fields.low_minor.into()),
        ("high_minor", fields.high_minor.into()),
        ("currency", fields.currency.clone().into()),
    ]
}
