//! Clients. Their details are entries, the latest one counts, and all of them can be blanked.

use crate::amps::Amp;
use crate::change::{Card, Entries};
use crate::error::ShopError;
use crate::id::{AmpId, ClientId, EntryId};
use crate::open::{Reader, Write};
use rusqlite::{OptionalExtension as _, Row};
use serde::{Deserialize, Serialize};

/// What is known of a client. All may be empty.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ClientFields {
    /// Name.
    pub name: String,
    /// Telephone.
    pub phone: String,
    /// Electronic mail.
    pub email: String,
    /// Postal address.
    pub address: String,
    /// Anything else.
    pub note: String,
}

/// A client.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Client {
    /// Which.
    pub id: ClientId,
    /// What is known.
    pub fields: ClientFields,
    /// The personal data were blanked.
    pub blanked: bool,
}

fn client(row: &Row<'_>) -> rusqlite::Result<Client> {
    Ok(Client {
        id: row.get(0)?,
        fields: ClientFields {
            name: row.get(1)?,
            phone: row.get(2)?,
            email: row.get(3)?,
            address: row.get(4)?,
            note: row.get(5)?,
        },
        blanked: row.get::<_, Option<i64>>(6)?.is_some(),
    })
}

const CLIENT: &str = "SELECT c.id, d.name, d.phone, d.email, d.address, d.note, d.blanked_at
 FROM clients c JOIN client_details d ON d.id =
   (SELECT max(id) FROM client_details WHERE client = c.id)";

impl Reader<'_> {
    /// A client.
    pub fn client(&self, id: ClientId) -> Result<Client, ShopError> {
        self.base
            .prepare_cached(&format!("{CLIENT} WHERE c.id = ?1"))?
            .query_row([id], client)
            .optional()?
            .ok_or_else(|| ShopError::Nothing(format!("client {id}")))
    }

    /// Clients whose amps were here last, with those amps; the latest first, the blanked ones left out.
    pub fn last_seen(&self, most: usize) -> Result<Vec<(Client, Amp)>, ShopError> {
        let mut ask = self
            .base
            .prepare_cached("SELECT amp FROM jobs WHERE gone = 0 ORDER BY id DESC LIMIT ?1")?;
        let most_rows = i64::try_from(most.saturating_mul(2)).unwrap_or(i64::MAX);
        let jobs: Vec<AmpId> = ask
            .query_map([most_rows], |r| r.get(0))?
            .collect::<Result<_, _>>()?;
        let mut all: Vec<(Client, Amp)> = Vec::new();
        for id in jobs {
            if all.len() == most {
                break;
            }
            if all.iter().any(|(_, a)| a.id == id) {
                continue;
            }
            let amp = self.amp(id)?;
            let client = self.client(amp.client)?;
            if !client.blanked {
                all.push((client, amp));
            }
        }
        Ok(all)
    }

    /// Clients by name, the blanked ones left out.
    pub fn clients(&self) -> Result<Vec<Client>, ShopError> {
        let sql = format!(
            "{CLIENT} WHERE c.gone = 0 AND d.blanked_at IS NULL ORDER BY d.name COLLATE NOCASE, c.id"
        );
        let mut ask = self.base.prepare_cached(&sql)?;
        let all = ask.query_map([], client)?.collect::<Result<_, _>>()?;
        Ok(all)
    }
}

impl Write<'_> {
    /// A new client.
    pub fn add_client(&mut self, fields: &ClientFields) -> Result<ClientId, ShopError> {
        let entry = self.enter(None, "client added")?;
        let id = ClientId(self.make(entry, Card::Clients, &[("gone", 0.into())])?);
        self.client_details(entry, id, fields, None)?;
        Ok(id)
    }

    /// Changes what is known of a client. `seen` as in [`Write::change_job`].
    pub fn change_client(
        &mut self,
        id: ClientId,
        fields: &ClientFields,
        seen: Option<EntryId>,
    ) -> Result<(), ShopError> {
        let now = self.client(id)?;
        if now.fields == *fields {
            return Ok(());
        }
        if now.blanked {
            return Err(ShopError::Refused(
                "This client was blanked. Add a new client instead.".to_owned(),
            ));
        }
        let (latest, by): (i64, EntryId) = self.base.query_row(
            "SELECT d.id, c.entry FROM client_details d
             JOIN changes c ON c.tbl = 'client_details' AND c.row = d.id
             WHERE d.client = ?1 ORDER BY d.id DESC LIMIT 1",
            [id],
            |r| Ok((r.get(0)?, r.get(1)?)),
        )?;
        if seen.is_some_and(|seen| by > seen) {
            let f = now.fields;
            return Err(ShopError::Changed {
                what: "the client".to_owned(),
                now: vec![
                    ("name", f.name),
                    ("phone", f.phone),
                    ("email", f.email),
                    ("address", f.address),
                    ("note", f.note),
                ],
                by,
            });
        }
        let entry = self.enter(None, "client changed")?;
        self.client_details(entry, id, fields, Some(latest))
    }

    fn client_details(
        &mut self,
        entry: EntryId,
        id: ClientId,
        fields: &ClientFields,
        corrects: Option<i64>,
    ) -> Result<(), ShopError> {
        let columns = [
            ("client", id.into()),
            ("name", fields.name.clone().into()),
            ("phone", fields.phone.clone().into()),
            ("email", fields.email.clone().into()),
            ("address", fields.address.clone().into()),
            ("note", fields.note.clone().into()),
        ];
        self.append(entry, Entries::ClientDetails, &columns, corrects)?;
        Ok(())
    }

    /// Blanks a client: every version of the details, and of every job of theirs the owner's
    /// words, the answers of the interview and to the estimate, and the authorisations. Readings, verdicts, results,
    /// wirings and work stay. Cannot be undone.
    ///
    /// Notes and photos are the bench's own and are blanked one by one.
    pub fn blank_client(&mut self, id: ClientId) -> Result<(), ShopError> {
        self.client(id)?;
        let entry = self.enter(None, "client blanked")?;
        let jobs = "SELECT j.id FROM jobs j JOIN amps a ON a.id = j.amp WHERE a.client = ?1";
        for (table, which) in [
            (Entries::ClientDetails, "client = ?1".to_owned()),
            (Entries::OwnerWords, format!("job IN ({jobs})")),
            (Entries::Answers, format!("job IN ({jobs})")),
            (Entries::Authorisations, format!("job IN ({jobs})")),
            (
                Entries::EstimateAnswers,
                format!("item IN (SELECT id FROM estimate_items WHERE job IN ({jobs}))"),
            ),
        ] {
            let sql = format!("SELECT id FROM {} WHERE {which}", table.table());
            let rows: Vec<i64> = self
                .base
                .prepare_cached(&sql)?
                .query_map([id], |r| r.get(0))?
                .collect::<Result<_, _>>()?;
            for row in rows {
                self.blank(entry, table, row)?;
            }
        }
        Ok(())
    }
}
