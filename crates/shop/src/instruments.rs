//! The bench's instruments; readings name theirs.

use crate::change::{Card, Column, maybe};
use crate::error::ShopError;
use crate::id::{EntryId, InstrumentId};
use crate::open::{Reader, Write};
use rusqlite::{OptionalExtension as _, Row};
use serde::{Deserialize, Serialize};

/// What is known of an instrument.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct InstrumentFields {
    /// What the bench calls it.
    pub name: String,
    /// What it is: meter, scope, insulation tester, valve tester, ...
    pub kind: String,
    /// Serial number.
    pub serial: String,
    /// Input resistance on DC volts, in ohms.
    pub input_ohms: Option<f64>,
    /// Error of reading, in percent.
    pub error_percent: Option<f64>,
    /// Counts of the last digit on top.
    pub digits: Option<f64>,
    /// Calibrated on (`2026-03-01`), or empty.
    pub calibrated: String,
    /// Anything else.
    pub note: String,
}

/// An instrument.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Instrument {
    /// Which.
    pub id: InstrumentId,
    /// What is known.
    pub fields: InstrumentFields,
    /// No longer on the bench; old readings still name it.
    pub gone: bool,
}

fn instrument(row: &Row<'_>) -> rusqlite::Result<Instrument> {
    Ok(Instrument {
        id: row.get("id")?,
        fields: InstrumentFields {
            name: row.get("name")?,
            kind: row.get("kind")?,
            serial: row.get("serial")?,
            input_ohms: row.get("input_ohms")?,
            error_percent: row.get("error_percent")?,
            digits: row.get("digits")?,
            calibrated: row.get("calibrated")?,
            note: row.get("note")?,
        },
        gone: row.get("gone")?,
    })
}

impl Reader<'_> {
    /// Every instrument, those that are gone last.
    pub fn instruments(&self) -> Result<Vec<Instrument>, ShopError> {
        let mut ask = self
            .base
            .prepare_cached("SELECT * FROM instruments ORDER BY gone, id")?;
        let all = ask.query_map([], instrument)?.collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// One instrument.
    pub fn instrument(&self, id: InstrumentId) -> Result<Instrument, ShopError> {
        self.base
            .prepare_cached("SELECT * FROM instruments WHERE id = ?1")?
            .query_row([id], instrument)
            .optional()?
            .ok_or_else(|| ShopError::Nothing(format!("instrument {id}")))
    }
}

impl Write<'_> {
    /// A new instrument.
    pub fn add_instrument(&mut self, fields: &InstrumentFields) -> Result<InstrumentId, ShopError> {
        let entry = self.enter(None, &format!("instrument added: {}", fields.name))?;
        Ok(InstrumentId(self.make(
            entry,
            Card::Instruments,
            &columns(fields),
        )?))
    }

    /// Changes an instrument. `seen` as in [`Write::change_job`].
    pub fn change_instrument(
        &mut self,
        id: InstrumentId,
        fields: &InstrumentFields,
        gone: bool,
        seen: Option<EntryId>,
    ) -> Result<(), ShopError> {
        let mut columns = columns(fields);
        columns.push(("gone", i64::from(gone).into()));
        let says = format!("instrument {}", fields.name);
        self.alter(None, Card::Instruments, id.0, &columns, seen, &says)?;
        Ok(())
    }
}

fn columns(fields: &InstrumentFields) -> Vec<Column> {
    vec![
        ("name", fields.name.clone().into()),
        ("kind", fields.kind.clone().into()),
        ("serial", fields.serial.clone().into()),
        ("input_ohms", maybe(fields.input_ohms)),
        ("error_percent", maybe(fields.error_percent)),
        ("digits", maybe(fields.digits)),
        ("calibrated", fields.calibrated.clone().into()),
        ("note", fields.note.clone().into()),
    ]
}
