//! The one way in which rows are written: each with its line in the journal.
//!
//! Two sorts of table (see `migrations/0001.sql`). A *card* may change; the journal keeps what
//! stood there before and after, column by column. An *entry* is only ever added to; a
//! correction names the row it corrects.

use crate::error::ShopError;
use crate::id::{EntryId, JobId};
use crate::open::Write;
use rusqlite::types::{Value, ValueRef};
use rusqlite::{OptionalExtension as _, params, params_from_iter};
use serde_json::{Map, Value as Json};

/// A column and what is to stand in it.
pub(crate) type Column = (&'static str, Value);

/// Tables whose rows may change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Card {
    Settings,
    Clients,
    Amps,
    Jobs,
    Steps,
    DateCodes,
    Instruments,
    Wirings,
    WorkItems,
    Hours,
    Ties,
    Vendors,
    Needs,
    Orders,
    OrderLines,
    StockItems,
    EstimateItems,
    Rates,
    Taxes,
    Charges,
}

/// Tables whose rows never change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Entries {
    ClientDetails,
    OwnerWords,
    Answers,
    Authorisations,
    ValvesFitted,
    Blocks,
    Readings,
    PowerStates,
    Results,
    Sheets,
    PartStates,
    Verdicts,
    Notes,
    Photos,
    Recordings,
    Deliveries,
    StockMoves,
    EstimateAnswers,
    Payments,
    Invoices,
    InvoiceLines,
}

impl Card {
    /// All of them.
    pub(crate) const ALL: [Self; 20] = [
        Self::Settings,
        Self::Clients,
        Self::Amps,
        Self::Jobs,
        Self::Steps,
        Self::DateCodes,
        Self::Instruments,
        Self::Wirings,
        Self::WorkItems,
        Self::Hours,
        Self::Ties,
        Self::Vendors,
        Self::Needs,
        Self::Orders,
        Self::OrderLines,
        Self::StockItems,
        Self::EstimateItems,
        Self::Rates,
        Self::Taxes,
        Self::Charges,
    ];

    /// Name of the table.
    pub(crate) fn table(self) -> &'static str {
        match self {
            Self::Settings => "settings",
            Self::Clients => "clients",
            Self::Amps => "amps",
            Self::Jobs => "jobs",
            Self::Steps => "steps",
            Self::DateCodes => "date_codes",
            Self::Instruments => "instruments",
            Self::Wirings => "wirings",
            Self::WorkItems => "work_items",
            Self::Hours => "hours",
            Self::Ties => "ties",
            Self::Vendors => "vendors",
            Self::Needs => "needs",
            Self::Orders => "orders",
            Self::OrderLines => "order_lines",
            Self::StockItems => "stock_items",
            Self::EstimateItems => "estimate_items",
            Self::Rates => "rates",
            Self::Taxes => "taxes",
            Self::Charges => "charges",
        }
    }
}

impl Entries {
    /// All of them.
    pub(crate) const ALL: [Self; 21] = [
        Self::ClientDetails,
        Self::OwnerWords,
        Self::Answers,
        Self::Authorisations,
        Self::ValvesFitted,
        Self::Blocks,
        Self::Readings,
        Self::PowerStates,
        Self::Results,
        Self::Sheets,
        Self::PartStates,
        Self::Verdicts,
        Self::Notes,
        Self::Photos,
        Self::Recordings,
        Self::Deliveries,
        Self::StockMoves,
        Self::EstimateAnswers,
        Self::Payments,
        Self::Invoices,
        Self::InvoiceLines,
    ];

    /// Name of the table.
    pub(crate) fn table(self) -> &'static str {
        match self {
            Self::ClientDetails => "client_details",
            Self::OwnerWords => "owner_words",
            Self::Answers => "answers",
            Self::Authorisations => "authorisations",
            Self::ValvesFitted => "valves_fitted",
            Self::Blocks => "blocks",
            Self::Readings => "readings",
            Self::PowerStates => "power_states",
            Self::Results => "results",
            Self::Sheets => "sheets",
            Self::PartStates => "part_states",
            Self::Verdicts => "verdicts",
            Self::Notes => "notes",
            Self::Photos => "photos",
            Self::Recordings => "recordings",
            Self::Deliveries => "deliveries",
            Self::StockMoves => "stock_moves",
            Self::EstimateAnswers => "estimate_answers",
            Self::Payments => "payments",
            Self::Invoices => "invoices",
            Self::InvoiceLines => "invoice_lines",
        }
    }

    /// Columns that are emptied when a row is blanked; none for what is never blanked.
    pub(crate) fn personal(self) -> &'static [&'static str] {
        match self {
            Self::ClientDetails => &["name", "phone", "email", "address", "note"],
            Self::OwnerWords | Self::Notes => &["text"],
            Self::Answers => &["answer"],
            Self::Authorisations => &["who", "says"],
            Self::EstimateAnswers => &["says"],
            Self::Photos => &["file_name", "caption"],
            _ => &[],
        }
    }
}

impl Write<'_> {
    /// A line in the journal; the changes that follow hang on it.
    pub(crate) fn enter(&mut self, job: Option<JobId>, says: &str) -> Result<EntryId, ShopError> {
        self.enter_as(job, says, None)
    }

    /// The same, naming the entry that it undoes.
    pub(crate) fn enter_as(
        &mut self,
        job: Option<JobId>,
        says: &str,
        undoes: Option<EntryId>,
    ) -> Result<EntryId, ShopError> {
        self.base
            .prepare_cached(
                "INSERT INTO journal (at, bench, job, says, undoes) VALUES (?1, ?2, ?3, ?4, ?5)",
            )?
            .execute(params![self.stamp.at, self.stamp.bench, job, says, undoes])?;
        Ok(EntryId(self.base.last_insert_rowid()))
    }

    /// A new card.
    pub(crate) fn make(
        &mut self,
        entry: EntryId,
        card: Card,
        columns: &[Column],
    ) -> Result<i64, ShopError> {
        let row = self.insert(card.table(), columns)?;
        let gone = |n: i64| Json::Object(Map::from_iter([("gone".to_owned(), Json::from(n))]));
        self.note_change(
            entry,
            card.table(),
            row,
            "gone",
            Some(&gone(1)),
            Some(&gone(0)),
        )?;
        Ok(row)
    }

    /// A change to a card. Columns that stand as wanted already are left out; when none is left,
    /// nothing is written and `None` comes back.
    ///
    /// `seen` is the last journal entry that whoever asks had seen: if another one changed one of
    /// the same columns since, nothing is written.
    pub(crate) fn alter(
        &mut self,
        job: Option<JobId>,
        card: Card,
        row: i64,
        columns: &[Column],
        seen: Option<EntryId>,
        says: &str,
    ) -> Result<Option<EntryId>, ShopError> {
        let before = self.row(card.table(), row, columns)?;
        let mut changed: Vec<&Column> = Vec::new();
        let (mut old, mut new) = (Map::new(), Map::new());
        for ((column, was), wanted) in before.iter().zip(columns) {
            if *was != wanted.1 {
                old.insert((*column).to_owned(), to_json(was));
                new.insert((*column).to_owned(), to_json(&wanted.1));
                changed.push(wanted);
            }
        }
        if changed.is_empty() {
            return Ok(None);
        }
        if let Some(seen) = seen {
            self.unchanged_since(card, row, seen, &changed, &before, says)?;
        }
        let entry = self.enter(job, says)?;
        self.set(card.table(), row, changed.iter().map(|c| (c.0, &c.1)))?;
        let names: Vec<&str> = changed.iter().map(|c| c.0).collect();
        self.note_change(
            entry,
            card.table(),
            row,
            &names.join(" "),
            Some(&Json::Object(old)),
            Some(&Json::Object(new)),
        )?;
        Ok(Some(entry))
    }

    /// A new entry, or a correction of an old one.
    pub(crate) fn append(
        &mut self,
        entry: EntryId,
        to: Entries,
        columns: &[Column],
        corrects: Option<i64>,
    ) -> Result<i64, ShopError> {
        let mut all = columns.to_vec();
        all.push(("at", self.stamp.at.into()));
        all.push(("bench", self.stamp.bench.clone().into()));
        all.push(("corrects", corrects.map_or(Value::Null, Value::Integer)));
        if let Some(old) = corrects {
            self.may_correct(to, old, entry)?;
        }
        let row = self.insert(to.table(), &all)?;
        self.note_change(entry, to.table(), row, "", None, None)?;
        Ok(row)
    }

    /// Takes an entry back: a new row that names it, with the same content.
    pub(crate) fn withdraw(
        &mut self,
        entry: EntryId,
        from: Entries,
        old: i64,
    ) -> Result<i64, ShopError> {
        self.may_correct(from, old, entry)?;
        let row = self.copy(from, old, old, true)?;
        self.note_change(entry, from.table(), row, "", None, None)?;
        Ok(row)
    }

    /// Empties the personal columns of an entry. The journal says that it was done.
    pub(crate) fn blank(&mut self, entry: EntryId, of: Entries, row: i64) -> Result<(), ShopError> {
        if of.personal().is_empty() {
            return Err(ShopError::Refused(
                "This row holds no personal data and stays.".to_owned(),
            ));
        }
        let empty: Vec<String> = of.personal().iter().map(|c| format!("{c} = ''")).collect();
        let sql = format!(
            "UPDATE {} SET {}, blanked_at = ?1 WHERE id = ?2 AND blanked_at IS NULL",
            of.table(),
            empty.join(", ")
        );
        let done = self.base.execute(&sql, params![self.stamp.at, row])?;
        if done > 0 {
            self.note_change(entry, of.table(), row, "blanked_at", None, None)?;
        }
        Ok(())
    }

    /// A copy of an entry that corrects another row.
    pub(crate) fn copy(
        &mut self,
        of: Entries,
        source: i64,
        corrects: i64,
        withdrawn: bool,
    ) -> Result<i64, ShopError> {
        let own = ["id", "at", "bench", "corrects", "withdrawn"];
        let columns: Vec<String> = self
            .base
            .prepare_cached("SELECT name FROM pragma_table_info(?1) ORDER BY cid")?
            .query_map([of.table()], |row| row.get::<_, String>(0))?
            .collect::<Result<_, _>>()?;
        let kept: Vec<&str> = columns
            .iter()
            .map(String::as_str)
            .filter(|c| !own.contains(c))
            .collect();
        let kept = kept.join(", ");
        let done = self.base.execute(
            &format!(
                "INSERT INTO {0} ({kept}, at, bench, corrects, withdrawn)
                 SELECT {kept}, ?1, ?2, ?3, ?4 FROM {0} WHERE id = ?5",
                of.table()
            ),
            params![self.stamp.at, self.stamp.bench, corrects, withdrawn, source],
        )?;
        if done == 0 {
            return Err(ShopError::Nothing(format!(
                "row {source} in {}",
                of.table()
            )));
        }
        Ok(self.base.last_insert_rowid())
    }

    /// A row can be corrected once; the correction is then what can be corrected.
    fn may_correct(&self, table: Entries, old: i64, entry: EntryId) -> Result<(), ShopError> {
        let there: Option<i64> = self
            .base
            .query_row(
                &format!("SELECT 1 FROM {} WHERE id = ?1", table.table()),
                [old],
                |row| row.get(0),
            )
            .optional()?;
        if there.is_none() {
            return Err(ShopError::Nothing(format!(
                "row {old} in {}",
                table.table()
            )));
        }
        let by: Option<i64> = self
            .base
            .query_row(
                &format!("SELECT id FROM {} WHERE corrects = ?1", table.table()),
                [old],
                |row| row.get(0),
            )
            .optional()?;
        match by {
            None => Ok(()),
            Some(_) => Err(ShopError::Changed {
                what: "This entry".to_owned(),
                now: Vec::new(),
                by: entry,
            }),
        }
    }

    /// Fails when another entry changed one of these columns after `seen`.
    fn unchanged_since(
        &self,
        card: Card,
        row: i64,
        seen: EntryId,
        columns: &[&Column],
        now: &[(&'static str, Value)],
        says: &str,
    ) -> Result<(), ShopError> {
        let mut later = self.base.prepare_cached(
            "SELECT entry, columns FROM changes WHERE tbl = ?1 AND row = ?2 AND entry > ?3 ORDER BY entry",
        )?;
        let later: Vec<(EntryId, String)> = later
            .query_map(params![card.table(), row, seen], |r| {
                Ok((r.get(0)?, r.get(1)?))
            })?
            .collect::<Result<_, _>>()?;
        let mut clash: Option<EntryId> = None;
        let mut which: Vec<(&'static str, String)> = Vec::new();
        for (entry, names) in later {
            for column in columns {
                if names.split(' ').any(|n| n == column.0) {
                    clash = Some(entry);
                    if !which.iter().any(|(n, _)| *n == column.0) {
                        let value = now
                            .iter()
                            .find(|(n, _)| *n == column.0)
                            .map_or_else(String::new, |(_, v)| in_words(v));
                        which.push((column.0, value));
                    }
                }
            }
        }
        match clash {
            None => Ok(()),
            Some(by) => Err(ShopError::Changed {
                what: says.to_owned(),
                now: which,
                by,
            }),
        }
    }

    /// The present values of columns of one row.
    fn row(
        &self,
        table: &str,
        row: i64,
        columns: &[Column],
    ) -> Result<Vec<(&'static str, Value)>, ShopError> {
        let names: Vec<&str> = columns.iter().map(|c| c.0).collect();
        let sql = format!("SELECT {} FROM {table} WHERE id = ?1", names.join(", "));
        let values = self
            .base
            .prepare_cached(&sql)?
            .query_row([row], |r| {
                (0..columns.len())
                    .map(|i| r.get::<_, Value>(i))
                    .collect::<Result<Vec<_>, _>>()
            })
            .optional()?
            .ok_or_else(|| ShopError::Nothing(format!("row {row} in {table}")))?;
        Ok(columns.iter().map(|c| c.0).zip(values).collect())
    }

    pub(crate) fn set<'c>(
        &self,
        table: &str,
        row: i64,
        columns: impl Iterator<Item = (&'c str, &'c Value)>,
    ) -> Result<(), ShopError> {
        let mut sets = Vec::new();
        let mut values: Vec<&Value> = Vec::new();
        for (name, value) in columns {
            values.push(value);
            sets.push(format!("{name} = ?{}", values.len()));
        }
        let id = Value::Integer(row);
        values.push(&id);
        let sql = format!(
            "UPDATE {table} SET {} WHERE id = ?{}",
            sets.join(", "),
            values.len()
        );
        self.base
            .prepare_cached(&sql)?
            .execute(params_from_iter(values))?;
        Ok(())
    }

    fn insert(&self, table: &str, columns: &[Column]) -> Result<i64, ShopError> {
        let names: Vec<&str> = columns.iter().map(|c| c.0).collect();
        let marks: Vec<String> = (1..=columns.len()).map(|i| format!("?{i}")).collect();
        let sql = format!(
            "INSERT INTO {table} ({}) VALUES ({})",
            names.join(", "),
            marks.join(", ")
        );
        self.base
            .prepare_cached(&sql)?
            .execute(params_from_iter(columns.iter().map(|c| &c.1)))?;
        Ok(self.base.last_insert_rowid())
    }

    pub(crate) fn note_change(
        &self,
        entry: EntryId,
        table: &str,
        row: i64,
        columns: &str,
        before: Option<&Json>,
        after: Option<&Json>,
    ) -> Result<(), ShopError> {
        self.base
            .prepare_cached(
                "INSERT INTO changes (entry, tbl, row, columns, before, after)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?
            .execute(params![
                entry,
                table,
                row,
                columns,
                before.map(Json::to_string),
                after.map(Json::to_string)
            ])?;
        Ok(())
    }
}

/// A column's value as the journal keeps it.
pub(crate) fn to_json(value: &Value) -> Json {
    match value {
        Value::Null | Value::Blob(_) => Json::Null,
        Value::Integer(n) => Json::from(*n),
        Value::Real(x) => Json::from(*x),
        Value::Text(t) => Json::from(t.as_str()),
    }
}

/// A value that the journal kept, as a column's.
pub(crate) fn from_json(value: &Json) -> Value {
    match value {
        Json::Number(n) => n
            .as_i64()
            .map_or_else(|| Value::Real(n.as_f64().unwrap_or(0.0)), Value::Integer),
        Json::String(t) => Value::Text(t.clone()),
        Json::Bool(b) => Value::Integer(i64::from(*b)),
        _ => Value::Null,
    }
}

fn in_words(value: &Value) -> String {
    match ValueRef::from(value) {
        ValueRef::Integer(n) => n.to_string(),
        ValueRef::Real(x) => x.to_string(),
        ValueRef::Text(t) => String::from_utf8_lossy(t).into_owned(),
        ValueRef::Null | ValueRef::Blob(_) => String::new(),
    }
}

/// `None` as NULL.
pub(crate) fn maybe<T: Into<Value>>(value: Option<T>) -> Value {
    value.map_or(Value::Null, Into::into)
}
