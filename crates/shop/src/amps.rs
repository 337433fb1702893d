//! Amplifiers, each owned by a client. A comeback is a new job on the same amp.

use crate::change::Card;
use crate::error::ShopError;
use crate::id::{AmpId, ClientId, EntryId};
use crate::open::{Reader, Write};
use rusqlite::{OptionalExtension as _, Row};
use serde::{Deserialize, Serialize};

/// What is printed and stamped on an amp.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct AmpFields {
    /// Maker, as printed.
    pub maker: String,
    /// Model, as printed.
    pub model: String,
    /// Serial number of the chassis.
    pub serial: String,
    /// Serial number of the cabinet.
    pub cabinet_serial: String,
    /// In a few words: `single-ended EL84`.
    pub about: String,
}

impl AmpFields {
    /// Maker and model.
    #[must_use]
    pub fn name(&self) -> String {
        let name = format!("{} {}", self.maker.trim(), self.model.trim());
        let name = name.trim();
        if name.is_empty() {
            "An amp without a name".to_owned()
        } else {
            name.to_owned()
        }
    }

    /// What stands on the tag: the model, else the maker.
    #[must_use]
    pub fn short(&self) -> String {
        [&self.model, &self.maker]
            .into_iter()
            .map(|s| s.trim())
            .find(|s| !s.is_empty())
            .unwrap_or("no name")
            .to_owned()
    }
}

/// An amp.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Amp {
    /// Which.
    pub id: AmpId,
    /// Whose.
    pub client: ClientId,
    /// What is printed on it.
    pub fields: AmpFields,
}

pub(crate) fn amp(row: &Row<'_>) -> rusqlite::Result<Amp> {
    Ok(Amp {
        id: row.get("amp_id")?,
        client: row.get("client")?,
        fields: AmpFields {
            maker: row.get("maker")?,
            model: row.get("model")?,
            serial: row.get("serial")?,
            cabinet_serial: row.get("cabinet_serial")?,
            about: row.get("about")?,
        },
    })
}

impl Reader<'_> {
    /// An amp.
    pub fn amp(&self, id: AmpId) -> Result<Amp, ShopError> {
        self.base
            .prepare_cached("SELECT id AS amp_id, * FROM amps WHERE id = ?1")?
            .query_row([id], amp)
            .optional()?
            .ok_or_else(|| ShopError::Nothing(format!("amp {id}")))
    }

    /// The amps of a client.
    pub fn amps_of(&self, client: ClientId) -> Result<Vec<Amp>, ShopError> {
        let mut ask = self.base.prepare_cached(
            "SELECT id AS amp_id, * FROM amps WHERE client = ?1 AND gone = 0 ORDER BY id",
        )?;
        let all = ask.query_map([client], amp)?.collect::<Result<_, _>>()?;
        Ok(all)
    }
}

impl Write<'_> {
    /// A new amp.
    pub fn add_amp(&mut self, client: ClientId, fields: &AmpFields) -> Result<AmpId, ShopError> {
        let entry = self.enter(None, &format!("amp added: {}", fields.name()))?;
        let mut columns = columns(fields);
        columns.push(("client", client.into()));
        Ok(AmpId(self.make(entry, Card::Amps, &columns)?))
    }

    /// Changes what is known of an amp. `seen` as in [`Write::change_job`].
    pub fn change_amp(
        &mut self,
        id: AmpId,
        fields: &AmpFields,
        seen: Option<EntryId>,
    ) -> Result<(), ShopError> {
        let job = self.last_job_of(id)?;
        self.alter(
            job,
            Card::Amps,
            id.0,
            &columns(fields),
            seen,
            "what is printed on the amp",
        )?;
        Ok(())
    }
}

fn columns(fields: &AmpFields) -> Vec<crate::change::Column> {
    vec![
        ("maker", fields.maker.clone().into()),
        ("model", fields.model.clone().into()),
        ("serial", fields.serial.clone().into()),
        ("cabinet_serial", fields.cabinet_serial.clone().into()),
        ("about", fields.about.clone().into()),
    ]
}
