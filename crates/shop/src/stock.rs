//! What lies on the shelf. How many there are follows from what was put in and taken out, and never
//! goes below nothing: the data base refuses it.

use crate::change::{Card, Entries, maybe};
use crate::error::ShopError;
use crate::id::{MoveId, NeedId, StockId};
use crate::needs::Unit;
use crate::open::{Reader, Write};
use rusqlite::OptionalExtension as _;
use serde::Serialize;

/// What is written of a thing on the shelf.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct StockFields {
    /// The thing.
    pub what: String,
    /// Its specification.
    pub spec: String,
    /// What is counted.
    pub unit: Unit,
    /// Where it lies.
    pub place: String,
}

/// A thing on the shelf.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct StockItem {
    /// Which.
    pub id: StockId,
    /// What is written of it.
    pub fields: StockFields,
    /// How many are there; centimetres for a length.
    pub there: i64,
}

/// The moves that stand, of one item.
const THERE: &str =
    "SELECT coalesce(sum(quantity), 0) FROM stock_moves m WHERE item = ?1 AND withdrawn = 0
    AND NOT EXISTS (SELECT 1 FROM stock_moves n WHERE n.corrects = m.id)";

impl Reader<'_> {
    /// Everything that is kept, also what has run out.
    pub fn stock(&self) -> Result<Vec<StockItem>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT id, what, spec, unit, place FROM stock_items WHERE gone = 0 ORDER BY what, spec, id",
        )?;
        let all: Vec<(StockId, StockFields)> = ask
            .query_map([], |r| {
                Ok((
                    r.get(0)?,
                    StockFields {
                        what: r.get(1)?,
                        spec: r.get(2)?,
                        unit: Unit::of(&r.get::<_, String>(3)?).unwrap_or_default(),
                        place: r.get(4)?,
                    },
                ))
            })?
            .collect::<Result<_, _>>()?;
        all.into_iter()
            .map(|(id, fields)| {
                Ok(StockItem {
                    id,
                    fields,
                    there: self.there(id)?,
                })
            })
            .collect()
    }

    /// How many of it are there.
    pub fn there(&self, id: StockId) -> Result<i64, ShopError> {
        Ok(self
            .base
            .prepare_cached(THERE)?
            .query_row([id], |r| r.get(0))?)
    }
}

impl Write<'_> {
    /// A new sort of thing; none of it is there yet.
    pub fn add_stock(&mut self, fields: &StockFields) -> Result<StockId, ShopError> {
        crate::needs::wanted(&fields.what, 1)?;
        let entry = self.enter(None, &format!("kept in stock: {}", fields.what.trim()))?;
        let columns = [
            ("what", fields.what.trim().to_owned().into()),
            ("spec", fields.spec.trim().to_owned().into()),
            ("unit", fields.unit.word().to_owned().into()),
            ("place", fields.place.trim().to_owned().into()),
        ];
        Ok(StockId(self.make(entry, Card::StockItems, &columns)?))
    }

    /// Puts in (`quantity` above 0) or takes out (below 0), for a need where one is named.
    ///
    /// # Errors
    /// Refused where more would be taken than is there, or than the need still wants.
    pub fn move_stock(
        &mut self,
        item: StockId,
        quantity: i64,
        need: Option<NeedId>,
        note: &str,
    ) -> Result<MoveId, ShopError> {
        let (what, unit): (String, String) = self
            .base
            .prepare_cached("SELECT what, unit FROM stock_items WHERE id = ?1 AND gone = 0")?
            .query_row([item], |r| Ok((r.get(0)?, r.get(1)?)))
            .optional()?
            .ok_or_else(|| ShopError::Nothing(format!("thing {item} in stock")))?;
        if quantity == 0 || !(-1_000_000..=1_000_000).contains(&quantity) {
            return Err(ShopError::Refused(
                "Type how many as a whole number from 1 to 1,000,000.".to_owned(),
            ));
        }
        let there = self.there(item)?;
        let unit = Unit::of(&unit).unwrap_or_default();
        if there.saturating_add(quantity) < 0 {
            return Err(ShopError::Refused(format!(
                "Only {} of {what} are in stock.",
                unit.count(there)
            )));
        }
        let mut job = None;
        if let Some(need) = need {
            let need = self.need(need)?;
            job = need.fields.job;
            if need.fields.unit != unit {
                return Err(ShopError::Refused(format!(
                    "{what} is counted by the {}, and what is needed by the {}.",
                    unit.word(),
                    need.fields.unit.word()
                )));
            }
            if quantity < 0 && quantity.saturating_neg() > need.to_order() {
                return Err(ShopError::Refused(format!(
                    "Only {} of it are still wanted.",
                    unit.count(need.to_order())
                )));
            }
            if quantity > 0 && quantity > need.from_stock {
                return Err(ShopError::Refused(
                    "No more can be put back than was taken for it.".to_owned(),
                ));
            }
        }
        let verb = if quantity > 0 {
            "put in stock"
        } else {
            "taken from stock"
        };
        let says = format!("{verb}: {} of {what}", unit.count(quantity.abs()));
        let entry = self.enter(job, &says)?;
        let columns = [
            ("item", item.into()),
            ("quantity", quantity.into()),
            ("need", maybe(need)),
            ("note", note.trim().to_owned().into()),
        ];
        Ok(MoveId(self.append(
            entry,
            Entries::StockMoves,
            &columns,
            None,
        )?))
    }
}
