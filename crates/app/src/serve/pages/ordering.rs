//! What the forms of the orders page write.

use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go};
use crate::serve::money;
use crate::serve::site::Site;
use shop::{
    Came, DeliveryFields, JobId, LineFields, LineId, NeedFields, NeedId, OrderFields, StockFields,
    StockId, Unit, VendorFields, VendorId,
};

/// Needs, vendors, orders, the shelf.
pub(crate) fn change(site: &Site, ask: &Ask, fields: &Fields) -> Answer {
    let stamp = ask.stamp();
    let need = || NeedId(fields.number("need").unwrap_or_default());
    let item = || StockId(fields.number("item").unwrap_or_default());
    match fields.get("do") {
        "need" => {
            let job = match fields.get("job") {
                "" => None,
                job => Some(JobId(job.parse().map_err(|_| Fail::NoPage)?)),
            };
            let new = NeedFields {
                job,
                what: fields.line("what"),
                part: fields.line("part"),
                spec: fields.line("spec"),
                unit: unit(fields)?,
                quantity: quantity(fields)?,
                why: fields.line("why"),
            };
            site.shop.write(&stamp, |w| w.add_need(&new))?;
        }
        "drop" => site.shop.write(&stamp, |w| w.drop_need(need()))?,
        "vendor" => {
            let new = VendorFields {
                name: fields.line("name"),
                contact: fields.line("contact"),
                note: String::new(),
            };
            site.shop.write(&stamp, |w| w.add_vendor(&new))?;
        }
        "order" => {
            let price_minor = price(fields, "price")?;
            let promised = date(fields, "promised")?;
            let order = OrderFields {
                reference: fields.line("reference"),
                ordered_on: date(fields, "today")?,
                currency: fields.line("currency"),
                note: String::new(),
            };
            let vendor = VendorId(fields.number("vendor").unwrap_or_default());
            site.shop.write(&stamp, |w| {
                let need = w.need(need())?;
                let line = LineFields {
                    need: Some(need.id),
                    quantity: need.to_order(),
                    what: need.fields.what,
                    spec: need.fields.spec,
                    unit: need.fields.unit,
                    price_minor,
                    promised,
                };
                w.place_order(vendor, &order, &[line])
            })?;
        }
        "order-several" => {
            let promised = date(fields, "promised")?;
            let order = OrderFields {
                reference: fields.line("reference"),
                ordered_on: date(fields, "today")?,
                currency: fields.line("currency"),
                note: String::new(),
            };
            let vendor = VendorId(fields.number("vendor").unwrap_or_default());
            let mut wanted = Vec::new();
            for (_, id) in fields.pairs().filter(|(n, _)| *n == "needs") {
                let price_minor = price(fields, &format!("price {id}"))?;
                wanted.push((NeedId(id.parse().map_err(|_| Fail::NoPage)?), price_minor));
            }
            if wanted.is_empty() {
                return Err(Fail::typed("Nothing was chosen.", "Tick what is ordered."));
            }
            site.shop.write(&stamp, |w| {
                let mut lines = Vec::new();
                for (id, price_minor) in &wanted {
                    let need = w.need(*id)?;
                    lines.push(LineFields {
                        need: Some(need.id),
                        quantity: need.to_order(),
                        what: need.fields.what,
                        spec: need.fields.spec,
                        unit: need.fields.unit,
                        price_minor: *price_minor,
                        promised: promised.clone(),
                    });
                }
                w.place_order(vendor, &order, &lines)
            })?;
        }
        "take" => {
            site.shop.write(&stamp, |w| {
                let wanted = w.need(need())?.to_order();
                let there = w.there(item())?;
                w.move_stock(item(), -wanted.min(there), Some(need()), "")
            })?;
        }
        "stock" => {
            let new = StockFields {
                what: fields.line("what"),
                spec: fields.line("spec"),
                unit: unit(fields)?,
                place: fields.line("place"),
            };
            let there = quantity(fields)?;
            site.shop.write(&stamp, |w| {
                let item = w.add_stock(&new)?;
                w.move_stock(item, there, None, "counted")
            })?;
        }
        way @ ("put" | "out") => {
            let sign = if way == "put" { 1 } else { -1 };
            let many = quantity(fields)? * sign;
            let note = fields.line("note");
            site.shop
                .write(&stamp, |w| w.move_stock(item(), many, None, &note))?;
        }
        _ => return Err(Fail::NoPage),
    }
    go("/orders")
}

/// What came of a line.
pub(crate) fn came(site: &Site, ask: &Ask, fields: &Fields) -> Answer {
    let line = LineId(fields.number("line").unwrap_or_default());
    if fields.get("do") == "give-up" {
        site.shop.write(&ask.stamp(), |w| w.give_up(line))?;
        return go("/orders");
    }
    let what = DeliveryFields {
        came: Came::of(fields.get("came")).ok_or(Fail::NoPage)?,
        quantity: quantity(fields)?,
        promised: date(fields, "promised")?,
        note: fields.line("note"),
    };
    site.shop.write(&ask.stamp(), |w| w.receive(line, &what))?;
    go(format!("/orders?line={line}#line-{line}"))
}

/// A price in the currency typed beside it; none where it is left empty.
fn price(fields: &Fields, name: &str) -> Result<Option<i64>, Fail> {
    match fields.some(name) {
        None => Ok(None),
        Some(text) => money::parse(text, &fields.line("currency"))
            .map(Some)
            .ok_or_else(|| {
                Fail::typed(
                    format!("\u{201c}{text}\u{201d} is no price."),
                    "Type it as 12 or 12.50.",
                )
            }),
    }
}

fn unit(fields: &Fields) -> Result<Unit, Fail> {
    Unit::of(fields.get("unit")).ok_or(Fail::NoPage)
}

fn quantity(fields: &Fields) -> Result<i64, Fail> {
    fields
        .number("quantity")
        .filter(|q| (1..=1_000_000).contains(q))
        .ok_or_else(|| {
            Fail::typed(
                "How many is not a whole number.",
                "Type a whole number from 1 to 1,000,000.",
            )
        })
}

pub(crate) fn date(fields: &Fields, name: &str) -> Result<String, Fail> {
    match fields.some(name) {
        None => Ok(String::new()),
        Some(text) => text
            .parse::<jiff::civil::Date>()
            .map(|d| d.to_string())
            .map_err(|_| {
                Fail::typed(
                    format!("\u{201c}{text}\u{201d} is no date."),
                    "Type it as year-month-day, such as 2026-12-05, or leave it empty.",
                )
            }),
    }
}
