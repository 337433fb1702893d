//! What the bench has chosen: names and values, all text.

use crate::change::Card;
use crate::error::ShopError;
use crate::open::{Reader, Write};
use rusqlite::OptionalExtension as _;
use std::collections::BTreeMap;

/// All settings by name.
pub type Settings = BTreeMap<String, String>;

impl Reader<'_> {
    /// Every setting that was made.
    pub fn settings(&self) -> Result<Settings, ShopError> {
        let mut ask = self
            .base
            .prepare_cached("SELECT name, value FROM settings WHERE gone = 0 ORDER BY name")?;
        let all = ask
            .query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// One setting.
    pub fn setting(&self, name: &str) -> Result<Option<String>, ShopError> {
        Ok(self
            .base
            .prepare_cached("SELECT value FROM settings WHERE name = ?1 AND gone = 0")?
            .query_row([name], |r| r.get(0))
            .optional()?)
    }
}

impl Write<'_> {
    /// Makes or changes a setting.
    pub fn set_setting(&mut self, name: &str, value: &str) -> Result<(), ShopError> {
        let row: Option<i64> = self
            .base
            .prepare_cached("SELECT id FROM settings WHERE name = ?1")?
            .query_row([name], |r| r.get(0))
            .optional()?;
        let says = format!("setting {name}");
        match row {
            Some(row) => {
                let columns = [("value", value.to_owned().into()), ("gone", 0.into())];
                self.alter(None, Card::Settings, row, &columns, None, &says)?;
            }
            None => {
                let entry = self.enter(None, &says)?;
                let columns = [
                    ("name", name.to_owned().into()),
                    ("value", value.to_owned().into()),
                ];
                self.make(entry, Card::Settings, &columns)?;
            }
        }
        Ok(())
    }
}
