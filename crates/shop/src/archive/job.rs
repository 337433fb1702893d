//! One job, with its amp and owner, orders and invoices, and its journal.
//!
//! Rows are numbered anew, from 1 in each table, so that an archive is the same whichever shop it
//! comes out of. What other jobs own is left out: another amp of the owner, lines of an order that
//! are for another job. An invoice over several jobs stays whole; its lines for others name no job.

use super::rows::{self, Row, Rows, TABLES};
use super::whole::kept;
use super::{ABOUT, About, Opened, RECORD, file_name, open, people, unwritten, zip};
use crate::error::ShopError;
use crate::id::JobId;
use crate::jobs::{MOST_TAG, next_tag};
use crate::open::{Reader, Shop, Write as Change};
use crate::stamp::Stamp;
use rusqlite::{Connection, OptionalExtension as _, params};
use serde_json::{Map, Value as Json};
use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;

const AMP: &str = "(SELECT amp FROM jobs WHERE id = ?1)";
const NEEDS: &str = "(SELECT id FROM needs WHERE job = ?1)";
const LINES: &str =
    "(SELECT id FROM order_lines WHERE need IN (SELECT id FROM needs WHERE job = ?1)
 UNION SELECT line FROM charges WHERE job = ?1)";
const INVOICES: &str =
    "(SELECT i.id FROM invoices i WHERE i.number IN (SELECT n.number FROM invoices n
 JOIN invoice_lines l ON l.invoice = n.id WHERE l.job = ?1))";

/// Which rows of a table are a job's; none for a table of which no row is.
fn which(table: &str) -> Option<String> {
    let of_job = || "job = ?1".to_owned();
    Some(match table {
        "clients" => format!("id = (SELECT client FROM amps WHERE id = {AMP})"),
        "client_details" => format!("client = (SELECT client FROM amps WHERE id = {AMP})"),
        "amps" => format!("id = {AMP}"),
        "jobs" => "id = ?1".to_owned(),
        "steps" | "owner_words" | "answers" | "date_codes" | "authorisations" | "valves_fitted"
        | "wirings" | "blocks" | "power_states" | "results" | "sheets" | "part_states"
        | "verdicts" | "work_items" | "hours" | "notes" | "photos" | "recordings" | "needs"
        | "estimate_items" | "charges" | "payments" => of_job(),
        "instruments" => "id IN (SELECT instrument FROM valves_fitted WHERE job = ?1
             UNION SELECT instrument FROM blocks WHERE job = ?1
             UNION SELECT r.instrument FROM readings r JOIN blocks b ON b.id = r.block WHERE b.job = ?1
             UNION SELECT instrument FROM power_states WHERE job = ?1
             UNION SELECT instrument FROM results WHERE job = ?1)"
            .to_owned(),
        "wiring_revisions" => "wiring IN (SELECT id FROM wirings WHERE job = ?1)".to_owned(),
        "readings" => "block IN (SELECT id FROM blocks WHERE job = ?1)".to_owned(),
        "attachments" => "hash IN (SELECT original FROM photos WHERE job = ?1
             UNION SELECT shown FROM photos WHERE job = ?1
             UNION SELECT thumbnail FROM photos WHERE job = ?1
             UNION SELECT original FROM recordings WHERE job = ?1)"
            .to_owned(),
        "ties" => "photo IN (SELECT id FROM photos WHERE job = ?1)".to_owned(),
        "vendors" => format!("id IN (SELECT vendor FROM orders WHERE id IN (SELECT of_order FROM order_lines WHERE id IN {LINES}))"),
        "orders" => format!("id IN (SELECT of_order FROM order_lines WHERE id IN {LINES})"),
        "order_lines" => format!("id IN {LINES}"),
        "deliveries" => format!("line IN {LINES}"),
        "stock_items" => format!("id IN (SELECT item FROM stock_moves WHERE need IN {NEEDS})"),
        "stock_moves" => format!("need IN {NEEDS}"),
        "estimate_answers" => {
            "item IN (SELECT id FROM estimate_items WHERE job = ?1)".to_owned()
        }
        "invoices" => format!("id IN {INVOICES}"),
        "invoice_lines" => format!("invoice IN {INVOICES}"),
        _ => return None,
    })
}

/// New numbers of rows, by table and old number.
type Numbers = BTreeMap<String, BTreeMap<i64, i64>>;

fn id_of(row: &Row) -> Option<i64> {
    row.get("id").and_then(Json::as_i64)
}

/// Columns that name rows, by table.
fn all_links(base: &Connection) -> Result<BTreeMap<String, Vec<(String, String)>>, ShopError> {
    let mut all = BTreeMap::new();
    for table in TABLES {
        let mut links = rows::links(base, table)?;
        links.retain(|(_, to)| to != "attachments");
        if table == "journal" {
            links.push(("job".to_owned(), "jobs".to_owned()));
        }
        all.insert(table.to_owned(), links);
    }
    Ok(all)
}

/// Puts new numbers into a row: its own, and those of the rows it names. What is not there any
/// more is named no longer.
fn renumber(row: &mut Row, table: &str, links: &[(String, String)], numbers: &Numbers) {
    let of = |to: &str, old: &Json| -> Json {
        let new = old.as_i64().and_then(|n| numbers.get(to)?.get(&n).copied());
        new.map_or(Json::Null, Json::from)
    };
    if table != "attachments"
        && let Some(id) = row.get_mut("id")
    {
        *id = of(table, id);
    }
    for (column, to) in links {
        if let Some(value) = row.get_mut(column.as_str())
            && !value.is_null()
        {
            *value = of(to, value);
        }
    }
    if table == "ties" {
        let to = match row.get("kind").and_then(Json::as_str) {
            Some("work") => "work_items",
            Some("reading") => "readings",
            _ => return,
        };
        let old: Option<i64> = row
            .get("target")
            .and_then(Json::as_str)
            .and_then(|t| t.parse().ok());
        if let Some(new) = old.and_then(|n| numbers.get(to)?.get(&n))
            && let Some(target) = row.get_mut("target")
        {
            *target = Json::from(new.to_string());
        }
    }
}

/// The same in a change of the journal: its row, and what stood there before and after.
fn renumber_change(
    row: &mut Row,
    links: &BTreeMap<String, Vec<(String, String)>>,
    numbers: &Numbers,
) {
    let table = row
        .get("tbl")
        .and_then(Json::as_str)
        .unwrap_or_default()
        .to_owned();
    let new = |to: &str, old: &Json| {
        old.as_i64()
            .and_then(|n| numbers.get(to)?.get(&n).copied())
            .map_or(Json::Null, Json::from)
    };
    if let Some(of) = row.get_mut("row") {
        *of = new(&table, of);
    }
    for column in ["before", "after"] {
        let Some(text) = row.get(column).and_then(Json::as_str) else {
            continue;
        };
        let Ok(mut was) = serde_json::from_str::<Map<String, Json>>(text) else {
            continue;
        };
        let mut named = false;
        for (name, to) in links.get(&table).into_iter().flatten() {
            if let Some(value) = was.get_mut(name.as_str())
                && !value.is_null()
            {
                *value = new(to, value);
                named = true;
            }
        }
        if !named {
            // as it stands, to the last digit of a decimal number
            continue;
        }
        row.insert(column.to_owned(), Json::from(Json::Object(was).to_string()));
    }
}

/// Every row of a job, numbered from 1.
fn gather(r: &Reader<'_>, job: JobId) -> Result<Rows, ShopError> {
    let mut all = Rows::new();
    let mut changes: BTreeMap<i64, Row> = BTreeMap::new();
    for table in TABLES {
        let Some(which) = which(table) else { continue };
        let of = rows::read(r.base, table, &which, &[job.0])?;
        let ask = format!("tbl = '{table}' AND row = ?1");
        for id in of.iter().filter_map(id_of) {
            for change in rows::read(r.base, "changes", &ask, &[id])? {
                changes.insert(id_of(&change).unwrap_or(0), change);
            }
        }
        all.insert(table.to_owned(), of);
    }
    let mut entries: BTreeMap<i64, Row> = BTreeMap::new();
    let named: BTreeSet<i64> = changes
        .values()
        .filter_map(|c| c.get("entry").and_then(Json::as_i64))
        .collect();
    for entry in rows::read(r.base, "journal", "job = ?1", &[job.0])? {
        entries.insert(id_of(&entry).unwrap_or(0), entry);
    }
    for id in named {
        for entry in rows::read(r.base, "journal", "id = ?1", &[id])? {
            entries.insert(id, entry);
        }
    }
    all.insert("journal".to_owned(), entries.into_values().collect());
    all.insert("changes".to_owned(), changes.into_values().collect());
    let mut numbers = Numbers::new();
    for (table, of) in &all {
        let new = of.iter().filter_map(id_of).zip(1..).collect();
        numbers.insert(table.clone(), new);
    }
    apply(r.base, &mut all, &numbers)?;
    Ok(all)
}

fn apply(base: &Connection, all: &mut Rows, numbers: &Numbers) -> Result<(), ShopError> {
    let links = all_links(base)?;
    for (table, of) in all.iter_mut() {
        let own = links.get(table).map_or(&[][..], Vec::as_slice);
        for row in of {
            renumber(row, table, own, numbers);
            if table == "changes" {
                renumber_change(row, &links, numbers);
            }
        }
    }
    Ok(())
}

/// A job that was taken in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TakenIn {
    /// Its number here.
    pub job: JobId,
    /// Its owner was here already, by name and contact; else a new owner was written.
    pub owner_known: bool,
}

impl Shop {
    /// Writes a job as one archive, with more files for people where there are any (name, content).
    /// The same record gives the same bytes.
    ///
    /// # Errors
    /// When there is no such job, an attachment is not what was put in, or the disk fails.
    pub fn export_job(
        &self,
        job: JobId,
        more: &[(String, Vec<u8>)],
        to: &mut dyn Write,
    ) -> Result<(), ShopError> {
        self.read(|r| {
            r.job(job)?;
            let rows = gather(r, job)?;
            let mut zip = zip::Writer::new(to);
            let mut add = |name: &str, content: &[u8]| zip.add(name, content).map_err(unwritten);
            add("READ-ME.txt", people::READ_ME.as_bytes())?;
            add(ABOUT, About::new("job", Some(job.0)).text().as_bytes())?;
            add(RECORD, rows::to_text(&rows).as_bytes())?;
            for (name, text) in people::wirings(r, job)? {
                add(&name, text.as_bytes())?;
            }
            add("readings.csv", people::readings(r, job)?.as_bytes())?;
            for (name, content) in more {
                add(name, content)?;
            }
            for (hash, media) in kept(&rows)? {
                let content = self.attachments().get(&hash)?;
                add(&file_name(&hash, &media), &content)?;
            }
            zip.finish().map_err(unwritten)
        })
    }

    /// Takes a job in from its archive, with its amp as a new one. It keeps its number where no job here has it. Its
    /// owner is the one here with exactly the same name and contact, else a new one.
    ///
    /// # Errors
    /// When the archive does not hold together. Then nothing is changed.
    pub fn import_job(&self, stamp: &Stamp, bytes: &[u8]) -> Result<TakenIn, ShopError> {
        let archive = open(bytes, "job")?;
        for (hash, _) in kept(&archive.rows)? {
            let content = archive.files.get(&hash).ok_or_else(|| {
                ShopError::Refused(format!(
                    "The archive names a file {hash} that is not in it."
                ))
            })?;
            self.attachments().put(content)?;
        }
        self.write(stamp, |w| take(w, archive))
    }
}

/// The highest number of a table's rows.
fn last(base: &Connection, table: &str) -> Result<i64, ShopError> {
    Ok(base.query_row(
        &format!("SELECT coalesce(max(id), 0) FROM {table}"),
        [],
        |r| r.get(0),
    )?)
}

fn take(w: &mut Change<'_>, archive: Opened<'_>) -> Result<TakenIn, ShopError> {
    let base = w.base;
    let mut all = archive.rows;
    let one = all.get("jobs").is_some_and(|j| j.len() == 1);
    if !one
        || all
            .keys()
            .any(|t| t != "journal" && t != "changes" && which(t).is_none())
    {
        return Err(ShopError::Refused(
            "The archive is not of one job alone.".to_owned(),
        ));
    }
    w.enter(None, "a job was taken in from its archive")?;
    let known = owner_here(base, &all)?;
    let mut numbers = Numbers::new();
    if let Some((there, here)) = known {
        let of_owner = |table: &str| table == "clients" || table == "client_details";
        all.retain(|table, _| !of_owner(table));
        if let Some(changes) = all.get_mut("changes") {
            changes.retain(|c| !c.get("tbl").and_then(Json::as_str).is_some_and(of_owner));
        }
        numbers.insert("clients".to_owned(), BTreeMap::from([(there, here)]));
    }
    for (table, of) in &all {
        if table == "attachments" {
            continue;
        }
        let mut from = last(base, table)?;
        if table == "stock_moves" {
            // what is lent goes in front
            from += all.get("stock_items").map_or(0, |i| i.len() as i64);
        }
        let mut new = BTreeMap::new();
        for row in of {
            let old = id_of(row)
                .filter(|n| (1..=1_000_000_000).contains(n))
                .ok_or_else(|| ShopError::Refused(format!("A row of {table} has no number.")))?;
            new.insert(old, from.saturating_add(old));
        }
        numbers.insert(table.clone(), new);
    }
    let job = number(base, archive.about.number)?;
    if let Some(jobs) = numbers.get_mut("jobs") {
        for new in jobs.values_mut() {
            *new = job;
        }
    }
    apply(base, &mut all, &numbers)?;
    rename_invoices(base, &mut all)?;
    base.pragma_update(None, "defer_foreign_keys", true)?;
    for table in TABLES {
        let lent = if table == "stock_moves" {
            lend(w, &all)?
        } else {
            Lent::new()
        };
        let known = rows::columns(base, table)?;
        for row in all.get(table).into_iter().flatten() {
            let there = table == "attachments" && has(base, row)?;
            if !there {
                rows::put(base, table, &known, row)?;
            }
        }
        take_lent(w, &lent)?;
    }
    Ok(TakenIn {
        job: JobId(job),
        owner_known: known.is_some(),
    })
}

/// The owner in an archive and the one here with the same name, telephone, mail and address, as they stand now; none
/// where no contact is known, for two people may have one name.
fn owner_here(base: &Connection, all: &Rows) -> Result<Option<(i64, i64)>, ShopError> {
    let details = all.get("client_details").into_iter().flatten();
    let Some(row) = details.max_by_key(|row| id_of(row)) else {
        return Ok(None);
    };
    let text = |name: &str| row.get(name).and_then(Json::as_str).unwrap_or_default();
    let contact = ["phone", "email", "address"].map(text);
    let blanked = !row.get("blanked_at").is_none_or(Json::is_null);
    let Some(there) = row.get("client").and_then(Json::as_i64) else {
        return Ok(None);
    };
    if blanked || text("name").is_empty() || contact.iter().all(|c| c.is_empty()) {
        return Ok(None);
    }
    let [phone, email, address] = contact;
    let here: Option<i64> = base
        .query_row(
            "SELECT client FROM client_details d WHERE name = ?1 AND phone = ?2 AND email = ?3 AND address = ?4
             AND blanked_at IS NULL AND id = (SELECT max(id) FROM client_details WHERE client = d.client)
             ORDER BY client LIMIT 1",
            [text("name"), phone, email, address],
            |r| r.get(0),
        )
        .optional()?;
    Ok(here.map(|here| (there, here)))
}

fn has(base: &Connection, attachment: &Row) -> Result<bool, ShopError> {
    let hash = attachment.get("hash").and_then(Json::as_str).unwrap_or("");
    let there: Option<i64> = base
        .query_row("SELECT 1 FROM attachments WHERE hash = ?1", [hash], |r| {
            r.get(0)
        })
        .optional()?;
    Ok(there.is_some())
}

/// The job's own number where it is free, else the next one.
fn number(base: &Connection, own: Option<i64>) -> Result<i64, ShopError> {
    if let Some(own) = own.filter(|n| (1..=MOST_TAG).contains(n)) {
        let taken: Option<i64> = base
            .query_row("SELECT 1 FROM jobs WHERE id = ?1", [own], |r| r.get(0))
            .optional()?;
        if taken.is_none() {
            return Ok(own);
        }
    }
    next_tag(base)
}

/// An invoice whose number is given here already says so behind its number.
fn rename_invoices(base: &Connection, all: &mut Rows) -> Result<(), ShopError> {
    for row in all.get_mut("invoices").into_iter().flatten() {
        let Some(Json::String(number)) = row.get_mut("number") else {
            continue;
        };
        let given = |number: &str| -> Result<bool, ShopError> {
            let found: Option<i64> = base
                .query_row(
                    "SELECT 1 FROM invoices WHERE number = ?1 LIMIT 1",
                    [number],
                    |r| r.get(0),
                )
                .optional()?;
            Ok(found.is_some())
        };
        let own = number.clone();
        let mut n = 1;
        while given(number)? {
            *number = format!("{own} (from another shop, {n})");
            n += 1;
        }
    }
    Ok(())
}

/// What was taken from a shelf that stays where it is: item and how many moves there are of it.
type Lent = BTreeMap<i64, i64>;

/// The moves that the archive holds take from shelves of another shop. As many as they take at
/// most are put there first; [`take_lent`] takes out what is left, so that no stock is made.
fn lend(w: &mut Change<'_>, all: &Rows) -> Result<Lent, ShopError> {
    let mut lent = Lent::new();
    for row in all.get("stock_moves").into_iter().flatten() {
        let get = |name: &str| row.get(name).and_then(Json::as_i64).unwrap_or(0);
        let sum = lent.entry(get("item")).or_default();
        *sum = sum.saturating_add(get("quantity").saturating_neg().max(0));
    }
    for (item, quantity) in &lent {
        balance(w, *item, *quantity)?;
    }
    Ok(lent)
}

fn take_lent(w: &mut Change<'_>, lent: &Lent) -> Result<(), ShopError> {
    for item in lent.keys() {
        let there = w.there(crate::id::StockId(*item))?;
        balance(w, *item, there.saturating_neg())?;
    }
    Ok(())
}

/// A move that belongs to no job.
fn balance(w: &mut Change<'_>, item: i64, quantity: i64) -> Result<(), ShopError> {
    if quantity == 0 {
        return Ok(());
    }
    w.base.execute(
        "INSERT INTO stock_moves (item, quantity, need, note, at, bench, corrects, withdrawn)
         VALUES (?1, ?2, NULL, 'on the shelf of the shop that it came from', ?3, ?4, NULL, 0)",
        params![item, quantity, w.stamp.at, w.stamp.bench],
    )?;
    Ok(())
}
