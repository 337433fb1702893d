//! Rows of tables as JSON and back, whatever the table. Decimal numbers are kept as text, so that
//! each comes back with all its bits.

use crate::error::ShopError;
use rusqlite::types::{Value, ValueRef};
use rusqlite::{Connection, params_from_iter};
use serde_json::{Map, Value as Json};
use std::collections::BTreeMap;

/// One row.
pub(super) type Row = Map<String, Json>;
/// Rows by table.
pub(super) type Rows = BTreeMap<String, Vec<Row>>;

/// Tables of an archive of a shop: parents before what names them.
pub(super) const TABLES: [&str; 46] = [
    "shop",
    "settings",
    "rates",
    "taxes",
    "clients",
    "client_details",
    "amps",
    "jobs",
    "steps",
    "owner_words",
    "answers",
    "date_codes",
    "authorisations",
    "instruments",
    "valves_fitted",
    "wirings",
    "wiring_revisions",
    "blocks",
    "readings",
    "power_states",
    "results",
    "sheets",
    "part_states",
    "verdicts",
    "work_items",
    "hours",
    "notes",
    "attachments",
    "photos",
    "recordings",
    "ties",
    "vendors",
    "needs",
    "orders",
    "order_lines",
    "deliveries",
    "stock_items",
    "stock_moves",
    "estimate_items",
    "estimate_answers",
    "charges",
    "payments",
    "invoices",
    "invoice_lines",
    "journal",
    "changes",
];

/// A column of a table: its name and whether it holds decimal numbers.
pub(super) fn columns(base: &Connection, table: &str) -> Result<Vec<(String, bool)>, ShopError> {
    let mut ask =
        base.prepare_cached("SELECT name, type FROM pragma_table_info(?1) ORDER BY cid")?;
    let all = ask
        .query_map([table], |r| {
            Ok((r.get(0)?, r.get::<_, String>(1)? == "REAL"))
        })?
        .collect::<Result<_, _>>()?;
    Ok(all)
}

/// Columns of a table that name rows of another: column, table.
pub(super) fn links(base: &Connection, table: &str) -> Result<Vec<(String, String)>, ShopError> {
    let mut ask = base.prepare_cached(
        "SELECT \"from\", \"table\" FROM pragma_foreign_key_list(?1) ORDER BY id, seq",
    )?;
    let all = ask
        .query_map([table], |r| Ok((r.get(0)?, r.get(1)?)))?
        .collect::<Result<_, _>>()?;
    Ok(all)
}

/// Rows of a table, by its key.
pub(super) fn read(
    base: &Connection,
    table: &str,
    which: &str,
    values: &[i64],
) -> Result<Vec<Row>, ShopError> {
    let key = if table == "attachments" { "hash" } else { "id" };
    let sql = format!("SELECT * FROM {table} WHERE {which} ORDER BY {key}");
    let mut ask = base.prepare(&sql)?;
    let names: Vec<String> = ask.column_names().into_iter().map(str::to_owned).collect();
    let all = ask
        .query_map(params_from_iter(values), |r| {
            let mut row = Row::new();
            for (i, name) in names.iter().enumerate() {
                let value = match r.get_ref(i)? {
                    ValueRef::Null | ValueRef::Blob(_) => Json::Null,
                    ValueRef::Integer(n) => Json::from(n),
                    ValueRef::Real(x) => Json::from(format!("{x:?}")),
                    ValueRef::Text(t) => Json::from(String::from_utf8_lossy(t)),
                };
                row.insert(name.clone(), value);
            }
            Ok(row)
        })?
        .collect::<Result<_, _>>()?;
    Ok(all)
}

/// Puts a row into a table. Columns that the row does not have take what the table gives them.
///
/// # Errors
/// Refused for a column that the table does not have, or a value that does not fit.
pub(super) fn put(
    base: &Connection,
    table: &str,
    known: &[(String, bool)],
    row: &Row,
) -> Result<(), ShopError> {
    let mut names = Vec::new();
    let mut values = Vec::new();
    for (name, value) in row {
        let Some((_, real)) = known.iter().find(|(k, _)| k == name) else {
            return Err(ShopError::Refused(format!(
                "The archive has `{name}` in {table}, which this program does not know. A later program wrote it."
            )));
        };
        let odd = || ShopError::Refused(format!("`{name}` in {table} holds what cannot be kept."));
        values.push(match value {
            Json::Null => Value::Null,
            Json::Number(n) => Value::Integer(n.as_i64().ok_or_else(odd)?),
            Json::String(t) if *real => Value::Real(t.parse().map_err(|_| odd())?),
            Json::String(t) => Value::Text(t.clone()),
            Json::Bool(_) | Json::Array(_) | Json::Object(_) => return Err(odd()),
        });
        names.push(name.as_str());
    }
    let marks: Vec<String> = (1..=names.len()).map(|i| format!("?{i}")).collect();
    let sql = format!(
        "INSERT INTO {table} ({}) VALUES ({})",
        names.join(", "),
        marks.join(", ")
    );
    base.prepare_cached(&sql)?
        .execute(params_from_iter(values))?;
    Ok(())
}

/// As the text of `record.json`: one row a line.
pub(super) fn to_text(rows: &Rows) -> String {
    let mut text = String::from("{");
    let mut first = true;
    for table in TABLES {
        let Some(all) = rows.get(table).filter(|r| !r.is_empty()) else {
            continue;
        };
        text.push_str(if first { "\n" } else { ",\n" });
        first = false;
        text.push_str(&format!("\"{table}\": [\n"));
        let lines: Vec<String> = all
            .iter()
            .map(|r| Json::Object(r.clone()).to_string())
            .collect();
        text.push_str(&lines.join(",\n"));
        text.push_str("\n]");
    }
    text.push_str("\n}\n");
    text
}

/// From the text of `record.json`.
///
/// # Errors
/// Refused where it does not read, or names a table that is not one of a shop.
pub(super) fn of_text(text: &[u8]) -> Result<Rows, ShopError> {
    let odd = |what: String| ShopError::Refused(format!("record.json does not read: {what}."));
    let whole: Map<String, Json> = serde_json::from_slice(text).map_err(|e| odd(e.to_string()))?;
    let mut rows = Rows::new();
    for (table, all) in whole {
        if !TABLES.contains(&table.as_str()) {
            return Err(odd(format!("there is no `{table}` in a shop")));
        }
        let Json::Array(all) = all else {
            return Err(odd(format!("`{table}` is no list")));
        };
        let mut of = Vec::new();
        for row in all {
            let Json::Object(row) = row else {
                return Err(odd(format!("a row of `{table}` is none")));
            };
            of.push(row);
        }
        rows.insert(table, of);
    }
    Ok(rows)
}
