//! Undoing: a new entry that puts back what stood there before. Nothing is erased by it.
//!
//! A card gets its former values, provided nobody changed them since. An entry is taken back by
//! a new row. A revision of a wiring is followed by one with the former text. Blanking cannot
//! be undone.

use crate::change::{Card, Entries, from_json, to_json};
use crate::error::ShopError;
use crate::id::{EntryId, JobId, WiringId};
use crate::open::Write;
use rusqlite::types::Value;
use rusqlite::{OptionalExtension as _, params};
use serde_json::{Map, Value as Json};

/// What was undone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Undone {
    /// The new entry.
    pub entry: EntryId,
    /// What the old one said.
    pub says: String,
}

/// One change of the entry that is undone.
struct Change {
    table: String,
    row: i64,
    columns: String,
    before: Option<String>,
    after: Option<String>,
}

impl Write<'_> {
    /// Undoes a journal entry.
    ///
    /// # Errors
    /// When it was undone already, blanked something, or what it wrote was changed since.
    pub fn undo(&mut self, entry: EntryId) -> Result<Undone, ShopError> {
        let (job, says): (Option<JobId>, String) = self
            .base
            .query_row(
                "SELECT job, says FROM journal WHERE id = ?1",
                [entry],
                |r| Ok((r.get(0)?, r.get(1)?)),
            )
            .optional()?
            .ok_or_else(|| ShopError::Nothing(format!("journal entry {entry}")))?;
        let by: Option<EntryId> = self
            .base
            .query_row("SELECT id FROM journal WHERE undoes = ?1", [entry], |r| {
                r.get(0)
            })
            .optional()?;
        if by.is_some() {
            return Err(ShopError::Refused("This was undone already.".to_owned()));
        }
        let changes: Vec<Change> = self
            .base
            .prepare_cached(
                "SELECT tbl, row, columns, before, after FROM changes WHERE entry = ?1 ORDER BY id DESC",
            )?
            .query_map([entry], |r| {
                Ok(Change {
                    table: r.get(0)?,
                    row: r.get(1)?,
                    columns: r.get(2)?,
                    before: r.get(3)?,
                    after: r.get(4)?,
                })
            })?
            .collect::<Result<_, _>>()?;
        if changes.iter().any(|c| c.columns == "blanked_at") {
            return Err(ShopError::Refused(
                "What was blanked is gone for good.".to_owned(),
            ));
        }
        if changes.is_empty() {
            return Err(ShopError::Refused(
                "There is nothing to undo in it.".to_owned(),
            ));
        }
        let undo = self.enter_as(job, &format!("undone: {says}"), Some(entry))?;
        for change in &changes {
            self.reverse(undo, change)?;
        }
        Ok(Undone { entry: undo, says })
    }

    fn reverse(&mut self, undo: EntryId, change: &Change) -> Result<(), ShopError> {
        if let Some(card) = Card::ALL.iter().find(|c| c.table() == change.table) {
            return self.restore_card(undo, *card, change);
        }
        if let Some(table) = Entries::ALL.iter().find(|t| t.table() == change.table) {
            return self.take_back(undo, *table, change.row);
        }
        if change.table == "wiring_revisions" {
            return self.former_text(undo, change.row);
        }
        Err(ShopError::Damaged(format!(
            "the journal names a table `{}` that is not there",
            change.table
        )))
    }

    fn restore_card(
        &mut self,
        undo: EntryId,
        card: Card,
        change: &Change,
    ) -> Result<(), ShopError> {
        let parse = |text: &Option<String>| -> Map<String, Json> {
            text.as_deref()
                .and_then(|t| serde_json::from_str(t).ok())
                .unwrap_or_default()
        };
        let (before, after) = (parse(&change.before), parse(&change.after));
        for (column, wrote) in &after {
            // column names come from this program's own journal; checked all the same
            if !column.bytes().all(|b| b.is_ascii_lowercase() || b == b'_') {
                return Err(ShopError::Damaged(
                    "a column name in the journal".to_owned(),
                ));
            }
            let now: Value = self.base.query_row(
                &format!("SELECT {column} FROM {} WHERE id = ?1", card.table()),
                [change.row],
                |r| r.get(0),
            )?;
            if to_json(&now) != *wrote {
                return Err(ShopError::Changed {
                    what: "What is to be undone".to_owned(),
                    now: Vec::new(),
                    by: undo,
                });
            }
        }
        let values: Vec<(String, Value)> = before
            .iter()
            .map(|(c, v)| (c.clone(), from_json(v)))
            .collect();
        self.set(
            card.table(),
            change.row,
            values.iter().map(|(c, v)| (c.as_str(), v)),
        )?;
        self.note_change(
            undo,
            card.table(),
            change.row,
            &change.columns,
            Some(&Json::Object(after)),
            Some(&Json::Object(before)),
        )
    }

    /// A plain entry is withdrawn; of a correction, what it corrected stands again.
    fn take_back(&mut self, undo: EntryId, table: Entries, row: i64) -> Result<(), ShopError> {
        let corrects: Option<i64> = self.base.query_row(
            &format!("SELECT corrects FROM {} WHERE id = ?1", table.table()),
            [row],
            |r| r.get(0),
        )?;
        if table == Entries::Blocks {
            self.no_readings_in(undo, row)?;
        }
        match corrects {
            None => {
                self.withdraw(undo, table, row)?;
            }
            Some(old) => {
                let withdrawn: bool = self.base.query_row(
                    &format!("SELECT withdrawn FROM {} WHERE id = ?1", table.table()),
                    [old],
                    |r| r.get(0),
                )?;
                let corrected: Option<i64> = self
                    .base
                    .query_row(
                        &format!("SELECT id FROM {} WHERE corrects = ?1", table.table()),
                        [row],
                        |r| r.get(0),
                    )
                    .optional()?;
                if corrected.is_some() {
                    return Err(ShopError::Changed {
                        what: "What is to be undone".to_owned(),
                        now: Vec::new(),
                        by: undo,
                    });
                }
                let new = self.copy(table, old, row, withdrawn)?;
                self.note_change(undo, table.table(), new, "", None, None)?;
            }
        }
        Ok(())
    }

    /// Conditions under which readings stand are not taken back: the readings would hang in the air.
    fn no_readings_in(&self, undo: EntryId, block: i64) -> Result<(), ShopError> {
        let some: bool = self.base.query_row(
            "SELECT EXISTS (SELECT 1 FROM readings r WHERE block = ?1 AND withdrawn = 0
             AND NOT EXISTS (SELECT 1 FROM readings n WHERE n.corrects = r.id))",
            [block],
            |r| r.get(0),
        )?;
        if some {
            return Err(ShopError::Changed {
                what: "Readings were taken under these conditions; the set of conditions"
                    .to_owned(),
                now: Vec::new(),
                by: undo,
            });
        }
        Ok(())
    }

    fn former_text(&mut self, undo: EntryId, row: i64) -> Result<(), ShopError> {
        let (wiring, number): (WiringId, i64) = self.base.query_row(
            "SELECT wiring, number FROM wiring_revisions WHERE id = ?1",
            [row],
            |r| Ok((r.get(0)?, r.get(1)?)),
        )?;
        if number == 0 {
            // a text that was kept aside stays where it is
            return Ok(());
        }
        let head = self.head(wiring)?;
        if head.as_ref().is_none_or(|h| h.id.0 != row) {
            return Err(ShopError::Changed {
                what: "The wiring".to_owned(),
                now: Vec::new(),
                by: undo,
            });
        }
        let former: Option<String> = self
            .base
            .query_row(
                "SELECT text FROM wiring_revisions WHERE wiring = ?1 AND number > 0 AND number < ?2
                 ORDER BY number DESC LIMIT 1",
                params![wiring, number],
                |r| r.get(0),
            )
            .optional()?;
        let base = head.map(|h| h.id);
        self.revision_under(
            undo,
            wiring,
            number + 1,
            former.as_deref().unwrap_or(""),
            base,
            "undone",
        )?;
        Ok(())
    }
}
