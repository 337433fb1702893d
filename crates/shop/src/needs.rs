//! What jobs and the shelf need: asked for by a verdict, a sheet, a work item or by hand.

use crate::change::{Card, Column, maybe};
use crate::error::ShopError;
use crate::id::{JobId, NeedId};
use crate::open::{Reader, Write};
use rusqlite::{OptionalExtension as _, Row};
use serde::{Deserialize, Serialize};

/// What is counted.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Unit {
    /// One by one.
    #[default]
    Piece,
    /// Two that belong together.
    Pair,
    /// Several that belong together.
    Set,
    /// Centimetres of it.
    Length,
}

impl Unit {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Piece, Self::Pair, Self::Set, Self::Length];

    /// As stored.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Piece => "piece",
            Self::Pair => "pair",
            Self::Set => "set",
            Self::Length => "length",
        }
    }

    /// Of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|u| u.word() == word)
    }

    /// A quantity as it is said: `1`, `2 pairs`, `150 cm`.
    #[must_use]
    pub fn count(self, quantity: i64) -> String {
        let many = if quantity == 1 { "" } else { "s" };
        match self {
            Self::Piece => quantity.to_string(),
            Self::Pair => format!("{quantity} pair{many}"),
            Self::Set => format!("{quantity} set{many}"),
            Self::Length => format!("{quantity} cm"),
        }
    }
}

/// What is written of a need.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct NeedFields {
    /// For which job; none: for the shelf.
    pub job: Option<JobId>,
    /// The thing.
    pub what: String,
    /// The part in the wiring that it is for; empty where there is none (a cord, a knob).
    pub part: String,
    /// Value, tolerance, volts, watts, kind, lead style, what would do as well.
    pub spec: String,
    /// What is counted.
    pub unit: Unit,
    /// How many; centimetres for a length.
    pub quantity: i64,
    /// Why.
    pub why: String,
}

impl Default for NeedFields {
    fn default() -> Self {
        Self {
            job: None,
            what: String::new(),
            part: String::new(),
            spec: String::new(),
            unit: Unit::Piece,
            quantity: 1,
            why: String::new(),
        }
    }
}

/// A need, with what was done about it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Need {
    /// Which.
    pub id: NeedId,
    /// What is written of it.
    pub fields: NeedFields,
    /// Taken from stock for it.
    pub from_stock: i64,
    /// Came for it and stayed.
    pub came: i64,
    /// Ordered for it and still owed.
    pub owed: i64,
}

impl Need {
    /// What nobody has ordered or taken from stock yet; never below 0.
    #[must_use]
    pub fn to_order(&self) -> i64 {
        self.fields
            .quantity
            .saturating_sub(self.from_stock)
            .saturating_sub(self.came)
            .saturating_sub(self.owed)
            .max(0)
    }

    /// All of it is here.
    #[must_use]
    pub fn is_here(&self) -> bool {
        self.from_stock.saturating_add(self.came) >= self.fields.quantity
    }
}

impl Reader<'_> {
    /// What open jobs and the shelf need, in the order it was written down.
    pub fn needs(&self) -> Result<Vec<Need>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT n.* FROM needs n LEFT JOIN jobs j ON j.id = n.job
             WHERE n.gone = 0 AND (n.job IS NULL OR (j.gone = 0 AND j.closed_at IS NULL))
             ORDER BY n.id",
        )?;
        let all: Vec<(NeedId, NeedFields)> = ask.query_map([], need)?.collect::<Result<_, _>>()?;
        all.into_iter().map(|(id, f)| self.fill(id, f)).collect()
    }

    /// The needs of a job, closed or not, in the order written.
    pub fn needs_of(&self, job: JobId) -> Result<Vec<NeedId>, ShopError> {
        let mut ask = self
            .base
            .prepare_cached("SELECT id FROM needs WHERE job = ?1 AND gone = 0 ORDER BY id")?;
        let all = ask
            .query_map([job], |r| r.get(0))?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// One need.
    pub fn need(&self, id: NeedId) -> Result<Need, ShopError> {
        let (id, fields) = self
            .base
            .prepare_cached("SELECT * FROM needs WHERE id = ?1 AND gone = 0")?
            .query_row([id], need)
            .optional()?
            .ok_or_else(|| ShopError::Nothing(format!("need {id}")))?;
        self.fill(id, fields)
    }

    fn fill(&self, id: NeedId, fields: NeedFields) -> Result<Need, ShopError> {
        let lines = self.lines_for(id)?;
        let taken: i64 = self
            .base
            .prepare_cached(
                "SELECT coalesce(sum(quantity), 0) FROM stock_moves m WHERE need = ?1 AND withdrawn = 0
                 AND NOT EXISTS (SELECT 1 FROM stock_moves n WHERE n.corrects = m.id)",
            )?
            .query_row([id], |r| r.get(0))?;
        Ok(Need {
            id,
            fields,
            from_stock: taken.saturating_neg(),
            came: lines.iter().map(|l| l.came()).fold(0, i64::saturating_add),
            owed: lines.iter().map(|l| l.owed()).fold(0, i64::saturating_add),
        })
    }
}

fn need(r: &Row<'_>) -> rusqlite::Result<(NeedId, NeedFields)> {
    Ok((
        r.get("id")?,
        NeedFields {
            job: r.get("job")?,
            what: r.get("what")?,
            part: r.get("part")?,
            spec: r.get("spec")?,
            unit: Unit::of(&r.get::<_, String>("unit")?).unwrap_or_default(),
            quantity: r.get("quantity")?,
            why: r.get("why")?,
        },
    ))
}

impl Write<'_> {
    /// Writes down a need.
    ///
    /// # Errors
    /// Refused without a thing, or with a quantity outside 1 to 1,000,000.
    pub fn add_need(&mut self, fields: &NeedFields) -> Result<NeedId, ShopError> {
        if let Some(job) = fields.job {
            self.job(job)?;
        }
        wanted(&fields.what, fields.quantity)?;
        let says = format!("needed: {}", fields.what.trim());
        let entry = self.enter(fields.job, &says)?;
        let columns: Vec<Column> = vec![
            ("job", maybe(fields.job)),
            ("what", fields.what.trim().to_owned().into()),
            ("part", fields.part.trim().to_owned().into()),
            ("spec", fields.spec.trim().to_owned().into()),
            ("unit", fields.unit.word().to_owned().into()),
            ("quantity", fields.quantity.into()),
            ("why", fields.why.trim().to_owned().into()),
        ];
        Ok(NeedId(self.make(entry, Card::Needs, &columns)?))
    }

    /// Takes a need off the list. What was ordered for it stays ordered.
    pub fn drop_need(&mut self, id: NeedId) -> Result<(), ShopError> {
        let need = self.need(id)?;
        let says = format!("no longer needed: {}", need.fields.what);
        let gone = [("gone", 1.into())];
        self.alter(need.fields.job, Card::Needs, id.0, &gone, None, &says)?;
        Ok(())
    }
}

/// A thing and how many, as they can be written down.
pub(crate) fn wanted(what: &str, quantity: i64) -> Result<(), ShopError> {
    if what.trim().is_empty() {
        return Err(ShopError::Refused("Say what it is.".to_owned()));
    }
    if !(1..=1_000_000).contains(&quantity) {
        return Err(ShopError::Refused(
            "Type how many as a whole number from 1 to 1,000,000.".to_owned(),
        ));
    }
    Ok(())
}
