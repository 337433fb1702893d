//! Orders as comma-separated text: every line out, and lines in.
//!
//! Coming in, a line that stands in the record already (vendor, order, job, part, thing and
//! specification the same) is not written twice; where more of it came, that is received. Any
//! other line is written, with its vendor, order and need where those are new. All rows or none.

use super::photos::Upload;
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go};
use crate::serve::money;
use crate::serve::site::Site;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::IntoResponse as _;
use shop::{
    DeliveryFields, JobId, LineFields, NeedFields, Order, OrderFields, OrderLine, ShopError, Unit,
    Write,
};

/// The columns, in the order written.
const COLUMNS: [&str; 14] = [
    "vendor",
    "order",
    "ordered",
    "job",
    "part",
    "what",
    "specification",
    "unit",
    "quantity",
    "came",
    "owed",
    "promised",
    "price",
    "currency",
];

/// `/orders.csv`: every line of every order.
pub(crate) fn out(site: &Site, _: &Ask, _: &Fields) -> Answer {
    let orders = site.shop.read(|r| r.orders())?;
    let text =
        crate::csv_text::of(table(&orders)).map_err(|e| Fail::typed(e.what, "Try again."))?;
    let headers = [
        (CONTENT_TYPE, "text/csv; charset=utf-8"),
        (CONTENT_DISPOSITION, "attachment; filename=\"orders.csv\""),
    ];
    Ok((headers, text).into_response())
}

fn table(orders: &[Order]) -> Vec<Vec<String>> {
    let mut rows = vec![COLUMNS.map(str::to_owned).to_vec()];
    for order in orders {
        for line in &order.lines {
            let f = &line.fields;
            rows.push(vec![
                order.vendor_name.clone(),
                order.fields.reference.clone(),
                order.fields.ordered_on.clone(),
                line.job.map_or_else(String::new, |j| j.to_string()),
                line.part.clone(),
                f.what.clone(),
                f.spec.clone(),
                f.unit.word().to_owned(),
                f.quantity.to_string(),
                line.came().to_string(),
                line.owed().to_string(),
                line.promised().to_owned(),
                f.price_minor
                    .map_or_else(String::new, |p| money::exact(p, &order.fields.currency)),
                order.fields.currency.clone(),
            ]);
        }
    }
    rows
}

/// A row that came in.
#[derive(Debug, Clone, PartialEq)]
struct Row {
    vendor: String,
    order: OrderFields,
    job: Option<JobId>,
    part: String,
    line: LineFields,
    came: i64,
}

/// The rows of a text.
fn rows(content: &[u8], usual: &str) -> Result<Vec<Row>, Fail> {
    let bad = |row: usize, what: String| {
        Fail::typed(
            format!("Row {row} of the file: {what}."),
            "Nothing was written. Put it right and send the file again.",
        )
    };
    let mut from = csv::ReaderBuilder::new()
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(content);
    let head = from.headers().map_err(|e| bad(1, e.to_string()))?.clone();
    let place = |name: &str| {
        head.iter()
            .position(|h| h.trim_start_matches('\u{feff}').eq_ignore_ascii_case(name))
    };
    for must in ["vendor", "what", "quantity"] {
        if place(must).is_none() {
            return Err(bad(1, format!("there is no column `{must}`")));
        }
    }
    let mut all = Vec::new();
    for (i, record) in from.records().enumerate() {
        let row = i + 2;
        let record = record.map_err(|e| bad(row, e.to_string()))?;
        let get = |name: &str| place(name).and_then(|p| record.get(p)).unwrap_or("");
        let whole = |name: &str, none: i64| match get(name) {
            "" => Ok(none),
            text => text
                .parse::<i64>()
                .map_err(|_| bad(row, format!("`{text}` in {name} is no whole number"))),
        };
        let date = |name: &str| match get(name) {
            "" => Ok(String::new()),
            text => text
                .parse::<jiff::civil::Date>()
                .map(|d| d.to_string())
                .map_err(|_| {
                    bad(
                        row,
                        format!("`{text}` in {name} is no date such as 2026-12-05"),
                    )
                }),
        };
        let currency = match get("currency") {
            "" => usual,
            text => text,
        };
        let price_minor = match get("price") {
            "" => None,
            text => Some(
                money::parse(text, currency)
                    .ok_or_else(|| bad(row, format!("`{text}` is no price in {currency}")))?,
            ),
        };
        let unit = match get("unit") {
            "" => Unit::Piece,
            text => Unit::of(text).ok_or_else(|| {
                bad(
                    row,
                    format!("`{text}` is no unit: piece, pair, set, length"),
                )
            })?,
        };
        let job = whole("job", 0)?;
        let quantity = whole("quantity", 0)?;
        let came = whole("came", 0)?;
        if !(0..=1_000_000).contains(&came) {
            return Err(bad(row, format!("{came} cannot have come")));
        }
        if get("vendor").is_empty() {
            return Err(bad(row, "it names no vendor".to_owned()));
        }
        all.push(Row {
            vendor: get("vendor").to_owned(),
            order: OrderFields {
                reference: get("order").to_owned(),
                ordered_on: date("ordered")?,
                currency: currency.to_owned(),
                note: String::new(),
            },
            job: (job != 0).then_some(JobId(job)),
            part: get("part").to_owned(),
            line: LineFields {
                need: None,
                what: get("what").to_owned(),
                spec: get("specification").to_owned(),
                unit,
                quantity,
                price_minor,
                promised: date("promised")?,
            },
            came,
        });
    }
    Ok(all)
}

/// Takes in a file of lines.
pub(crate) fn take(site: &Site, ask: &Ask, files: &[Upload]) -> Answer {
    let Some(file) = files.first() else {
        return Err(Fail::typed(
            "No file was chosen.",
            "Choose a file with the columns of the one that comes out.",
        ));
    };
    let usual = site.shop.read(crate::serve::purse::currency)?;
    let rows = rows(&file.content, &usual)?;
    site.shop.write(&ask.stamp(), |w| put(w, &rows))?;
    go("/orders?show=all")
}

fn same(order: &Order, line: &OrderLine, row: &Row) -> bool {
    order.vendor_name == row.vendor
        && order.fields.reference == row.order.reference
        && line.job == row.job
        && line.part == row.part
        && line.fields.what == row.line.what
        && line.fields.spec == row.line.spec
        && line.fields.quantity == row.line.quantity
}

fn put(w: &mut Write<'_>, rows: &[Row]) -> Result<(), ShopError> {
    let there = w.orders()?;
    let mut used: Vec<shop::LineId> = Vec::new();
    let mut new: Vec<&Row> = Vec::new();
    for row in rows {
        let known = there
            .iter()
            .flat_map(|o| o.lines.iter().map(move |l| (o, l)))
            .find(|(o, l)| same(o, l, row) && !used.contains(&l.id));
        match known {
            None => new.push(row),
            Some((_, line)) => {
                used.push(line.id);
                if row.came > line.came() {
                    let more = row.came - line.came();
                    w.receive(line.id, &DeliveryFields::right(more))?;
                }
            }
        }
    }
    // one order for each vendor and number, in the sequence of the file
    while let Some(first) = new.first().copied() {
        let (of, rest): (Vec<&Row>, Vec<&Row>) = new
            .into_iter()
            .partition(|r| r.vendor == first.vendor && r.order == first.order);
        new = rest;
        let vendor = w.vendor_named(&first.vendor)?;
        let mut lines = Vec::new();
        for row in &of {
            let mut line = row.line.clone();
            if row.job.is_some() {
                line.need = Some(w.add_need(&NeedFields {
                    job: row.job,
                    what: line.what.clone(),
                    part: row.part.clone(),
                    spec: line.spec.clone(),
                    unit: line.unit,
                    quantity: line.quantity,
                    why: String::new(),
                })?);
            }
            lines.push(line);
        }
        let order = w.place_order(vendor, &first.order, &lines)?;
        let written = w.order(order)?.lines;
        for (line, row) in written.iter().zip(&of) {
            if row.came > 0 {
                w.receive(line.id, &DeliveryFields::right(row.came))?;
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use shop::{At, Shop, Stamp};

    const FILE: &str = "vendor,order,ordered,what,specification,unit,quantity,came,promised,price,currency\n\
        Quillon,Q 1,2026-11-20,sleeving,\"6 mm, 600 V\",length,200,50,2026-12-05,2.40,EUR\n\
        Quillon,Q 1,2026-11-20,fuse,T1A,piece,10,0,,,EUR\n\
        Ostrel,,,EL84,,pair,1,0,,46,EUR\n";

    fn shop() -> (tempfile::TempDir, Shop) {
        let folder = tempfile::tempdir().unwrap();
        let shop = Shop::open(folder.path(), At(0)).unwrap();
        (folder, shop)
    }

    #[test]
    fn what_goes_out_comes_in_the_same_and_is_never_written_twice() {
        let stamp = Stamp::new(0, "Desk");
        let (_a, first) = shop();
        let given = rows(FILE.as_bytes(), "EUR").unwrap();
        first.write(&stamp, |w| put(w, &given)).unwrap();
        let orders = first.read(|r| r.orders()).unwrap();
        assert_eq!(orders.len(), 2);
        assert_eq!((orders[0].lines.len(), orders[0].lines[0].owed()), (2, 150));
        let text = crate::csv_text::of(table(&orders)).unwrap();
        // into the same shop: nothing changes
        let again = rows(text.as_bytes(), "EUR").unwrap();
        let before = first.read(|r| r.last_entry()).unwrap();
        first.write(&stamp, |w| put(w, &again)).unwrap();
        assert_eq!(first.read(|r| r.last_entry()).unwrap(), before);
        // into another one: the same table
        let (_b, second) = shop();
        second.write(&stamp, |w| put(w, &again)).unwrap();
        let there = second.read(|r| r.orders()).unwrap();
        assert_eq!(crate::csv_text::of(table(&there)).unwrap(), text);
        // more came
        let more = text.replace(",50,150,", ",200,0,");
        let more = rows(more.as_bytes(), "EUR").unwrap();
        first.write(&stamp, |w| put(w, &more)).unwrap();
        assert_eq!(first.read(|r| r.orders()).unwrap()[0].lines[0].owed(), 0);
    }

    #[test]
    fn a_bad_row_is_named_and_nothing_is_written() {
        for (bad, says) in [
            ("what,quantity\nfuse,1\n", "no column `vendor`"),
            ("vendor,what,quantity\nQuillon,fuse,many\n", "Row 2"),
            (
                "vendor,what,quantity,price\nQuillon,fuse,1,3.141\n",
                "no price",
            ),
            ("vendor,what,quantity,unit\nQuillon,fuse,1,box\n", "no unit"),
            (
                "vendor,what,quantity,promised\nQuillon,fuse,1,soon\n",
                "no date",
            ),
            ("vendor,what,quantity\n,fuse,1\n", "no vendor"),
        ] {
            let Err(Fail::Typed { what, .. }) = rows(bad.as_bytes(), "EUR") else {
                panic!("{bad}");
            };
            assert!(what.contains(says), "{what}");
        }
        let (_f, shop) = shop();
        let rows = rows(b"vendor,what,quantity\nQuillon,fuse,1\nQuillon,,1\n", "EUR").unwrap();
        assert!(
            shop.write(&Stamp::new(0, "Desk"), |w| put(w, &rows))
                .is_err()
        );
        assert!(shop.read(|r| r.vendors()).unwrap().is_empty());
    }
}
