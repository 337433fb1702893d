//! Orders and what came of them.
//!
//! What a line still owes is never stored: it is what was ordered, less what was given up, less what
//! came right or as an accepted substitute, plus what went back. So deliveries in any sequence end
//! in the same state. The latest date that was promised counts, of the line and its back-orders.

use crate::change::{Card, Entries, maybe};
use crate::error::ShopError;
use crate::id::{DeliveryId, JobId, LineId, NeedId, OrderId, VendorId};
use crate::needs::{Unit, wanted};
use crate::open::{Reader, Write};
use crate::stamp::At;
use rusqlite::Row;
use serde::{Deserialize, Serialize};

/// What became of some of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Came {
    /// As ordered.
    Right,
    /// Not what was ordered: does not count, and is to go back.
    Wrong,
    /// Something else that does as well, and is kept.
    Substituted,
    /// Nothing: the vendor says that it comes later.
    BackOrdered,
    /// It had come and went back.
    Returned,
}

impl Came {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::Right,
        Self::Wrong,
        Self::Substituted,
        Self::BackOrdered,
        Self::Returned,
    ];

    /// As stored and as shown.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Wrong => "wrong",
            Self::Substituted => "substituted",
            Self::BackOrdered => "back-ordered",
            Self::Returned => "returned",
        }
    }

    /// Of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|c| c.word() == word)
    }
}

/// What is written of a delivery.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DeliveryFields {
    /// What became of it.
    pub came: Came,
    /// How many.
    pub quantity: i64,
    /// The date now promised, `YYYY-MM-DD`; empty where none was.
    pub promised: String,
    /// What was wrong with it, what came instead.
    pub note: String,
}

impl DeliveryFields {
    /// So many, as ordered.
    #[must_use]
    pub fn right(quantity: i64) -> Self {
        Self {
            came: Came::Right,
            quantity,
            promised: String::new(),
            note: String::new(),
        }
    }
}

/// A delivery that stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Delivery {
    /// Which.
    pub id: DeliveryId,
    /// What.
    pub fields: DeliveryFields,
    /// When.
    pub at: At,
}

/// What is written of a line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LineFields {
    /// What it is ordered for.
    pub need: Option<NeedId>,
    /// The thing.
    pub what: String,
    /// Its specification.
    pub spec: String,
    /// What is counted.
    pub unit: Unit,
    /// How many.
    pub quantity: i64,
    /// For the whole line, minor units; none where it is not known yet.
    pub price_minor: Option<i64>,
    /// The date promised, `YYYY-MM-DD`; empty where none was.
    pub promised: String,
}

impl Default for LineFields {
    fn default() -> Self {
        Self {
            need: None,
            what: String::new(),
            spec: String::new(),
            unit: Unit::Piece,
            quantity: 1,
            price_minor: None,
            promised: String::new(),
        }
    }
}

/// A line of an order, with what came of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OrderLine {
    /// Which.
    pub id: LineId,
    /// What was ordered.
    pub fields: LineFields,
    /// No longer waited for.
    pub given_up: i64,
    /// The job that it is for.
    pub job: Option<JobId>,
    /// The part in that job's wiring.
    pub part: String,
    /// What came and what was said, oldest first.
    pub deliveries: Vec<Delivery>,
}

impl OrderLine {
    /// How many of one sort.
    #[must_use]
    pub fn count(&self, came: Came) -> i64 {
        self.deliveries
            .iter()
            .filter(|d| d.fields.came == came)
            .map(|d| d.fields.quantity)
            .fold(0, i64::saturating_add)
    }

    /// Came, right or as an accepted substitute, and stayed; never below 0.
    #[must_use]
    pub fn came(&self) -> i64 {
        self.count(Came::Right)
            .saturating_add(self.count(Came::Substituted))
            .saturating_sub(self.count(Came::Returned))
            .max(0)
    }

    /// What the line still owes; never below 0.
    #[must_use]
    pub fn owed(&self) -> i64 {
        self.fields
            .quantity
            .saturating_sub(self.given_up)
            .saturating_sub(self.came())
            .max(0)
    }

    /// Something has been delivered, and not all of it, or not the right thing.
    #[must_use]
    pub fn is_short(&self) -> bool {
        self.owed() > 0 && !self.deliveries.is_empty()
    }

    /// The latest date promised.
    #[must_use]
    pub fn promised(&self) -> &str {
        self.deliveries
            .iter()
            .filter(|d| d.fields.came != Came::Right)
            .map(|d| d.fields.promised.as_str())
            .chain([self.fields.promised.as_str()])
            .max()
            .unwrap_or_default()
    }
}

/// What is written of an order.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct OrderFields {
    /// The vendor's number for it.
    pub reference: String,
    /// The day, `YYYY-MM-DD`.
    pub ordered_on: String,
    /// The currency of its prices (ISO 4217).
    pub currency: String,
    /// A remark.
    pub note: String,
}

/// An order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Order {
    /// Which.
    pub id: OrderId,
    /// From whom.
    pub vendor: VendorId,
    /// The vendor's name.
    pub vendor_name: String,
    /// What is written of it.
    pub fields: OrderFields,
    /// Its lines.
    pub lines: Vec<OrderLine>,
}

impl Order {
    /// Nothing is owed any more.
    #[must_use]
    pub fn is_closed(&self) -> bool {
        self.lines.iter().all(|l| l.owed() == 0)
    }
}

const LINES: &str = "SELECT l.*, n.job AS job, coalesce(n.part, '') AS part FROM order_lines l
    LEFT JOIN needs n ON n.id = l.need JOIN orders o ON o.id = l.of_order
    WHERE l.gone = 0 AND o.gone = 0 AND";

impl Reader<'_> {
    /// All orders, oldest first.
    pub fn orders(&self) -> Result<Vec<Order>, ShopError> {
        self.orders_where("o.id > ?1", 0)
    }

    /// One order.
    pub fn order(&self, id: OrderId) -> Result<Order, ShopError> {
        self.orders_where("o.id = ?1", id.0)?
            .pop()
            .ok_or_else(|| ShopError::Nothing(format!("order {id}")))
    }

    /// One line of an order.
    pub fn order_line(&self, id: LineId) -> Result<OrderLine, ShopError> {
        self.lines_where("l.id = ?1", id.0)?
            .pop()
            .ok_or_else(|| ShopError::Nothing(format!("order line {id}")))
    }

    /// The lines that were ordered for a need.
    pub fn lines_for(&self, need: NeedId) -> Result<Vec<OrderLine>, ShopError> {
        self.lines_where("l.need = ?1", need.0)
    }

    fn orders_where(&self, which: &str, value: i64) -> Result<Vec<Order>, ShopError> {
        let mut ask = self.base.prepare_cached(&format!(
            "SELECT o.*, v.name AS vendor_name FROM orders o JOIN vendors v ON v.id = o.vendor
             WHERE o.gone = 0 AND {which} ORDER BY o.id"
        ))?;
        let mut all: Vec<Order> = ask
            .query_map([value], |r| {
                Ok(Order {
                    id: r.get("id")?,
                    vendor: r.get("vendor")?,
                    vendor_name: r.get("vendor_name")?,
                    fields: OrderFields {
                        reference: r.get("reference")?,
                        ordered_on: r.get("ordered_on")?,
                        currency: r.get("currency")?,
                        note: r.get("note")?,
                    },
                    lines: Vec::new(),
                })
            })?
            .collect::<Result<_, _>>()?;
        for order in &mut all {
            order.lines = self.lines_where("l.of_order = ?1", order.id.0)?;
        }
        Ok(all)
    }

    fn lines_where(&self, which: &str, value: i64) -> Result<Vec<OrderLine>, ShopError> {
        let mut ask = self
            .base
            .prepare_cached(&format!("{LINES} {which} ORDER BY l.id"))?;
        let mut all: Vec<OrderLine> = ask.query_map([value], line)?.collect::<Result<_, _>>()?;
        let mut ask = self.base.prepare_cached(
            "SELECT * FROM deliveries d WHERE line = ?1 AND withdrawn = 0
             AND NOT EXISTS (SELECT 1 FROM deliveries n WHERE n.corrects = d.id) ORDER BY id",
        )?;
        for line in &mut all {
            line.deliveries = ask
                .query_map([line.id], delivery)?
                .collect::<Result<_, _>>()?;
        }
        Ok(all)
    }
}

fn line(r: &Row<'_>) -> rusqlite::Result<OrderLine> {
    Ok(OrderLine {
        id: r.get("id")?,
        fields: LineFields {
            need: r.get("need")?,
            what: r.get("what")?,
            spec: r.get("spec")?,
            unit: Unit::of(&r.get::<_, String>("unit")?).unwrap_or_default(),
            quantity: r.get("quantity")?,
            price_minor: r.get("price_minor")?,
            promised: r.get("promised")?,
        },
        given_up: r.get("given_up")?,
        job: r.get("job")?,
        part: r.get("part")?,
        deliveries: Vec::new(),
    })
}

fn delivery(r: &Row<'_>) -> rusqlite::Result<Delivery> {
    Ok(Delivery {
        id: r.get("id")?,
        fields: DeliveryFields {
            came: Came::of(&r.get::<_, String>("came")?).unwrap_or(Came::Wrong),
            quantity: r.get("quantity")?,
            promised: r.get("promised")?,
            note: r.get("note")?,
        },
        at: r.get("at")?,
    })
}

impl Write<'_> {
    /// Writes down an order with its lines.
    ///
    /// # Errors
    /// Refused without a line, or with a line that names nothing, a quantity outside 1 to 1,000,000,
    /// or a price below 0.
    pub fn place_order(
        &mut self,
        vendor: VendorId,
        fields: &OrderFields,
        lines: &[LineFields],
    ) -> Result<OrderId, ShopError> {
        let vendors = self.vendors()?;
        let Some(vendor) = vendors.iter().find(|v| v.id == vendor) else {
            return Err(ShopError::Nothing(format!("vendor {vendor}")));
        };
        if lines.is_empty() {
            return Err(ShopError::Refused("An order has a line.".to_owned()));
        }
        let says = format!("ordered from {}: {} lines", vendor.fields.name, lines.len());
        let entry = self.enter(None, &says)?;
        let columns = [
            ("vendor", vendor.id.into()),
            ("reference", fields.reference.trim().to_owned().into()),
            ("ordered_on", fields.ordered_on.clone().into()),
            ("currency", fields.currency.clone().into()),
            ("note", fields.note.trim().to_owned().into()),
        ];
        let order = OrderId(self.make(entry, Card::Orders, &columns)?);
        for line in lines {
            wanted(&line.what, line.quantity)?;
            if line.price_minor.is_some_and(|p| p < 0) {
                return Err(ShopError::Refused("A price is never below 0.".to_owned()));
            }
            if let Some(need) = line.need {
                let unit = self.need(need)?.fields.unit;
                if unit != line.unit {
                    return Err(ShopError::Refused(format!(
                        "{} is needed by the {}: order it so.",
                        line.what,
                        unit.word()
                    )));
                }
            }
            let columns = [
                ("of_order", order.into()),
                ("need", maybe(line.need)),
                ("what", line.what.trim().to_owned().into()),
                ("spec", line.spec.trim().to_owned().into()),
                ("unit", line.unit.word().to_owned().into()),
                ("quantity", line.quantity.into()),
                ("price_minor", maybe(line.price_minor)),
                ("promised", line.promised.clone().into()),
            ];
            self.make(entry, Card::OrderLines, &columns)?;
        }
        Ok(order)
    }

    /// Writes down what came of a line, or what the vendor says of it.
    ///
    /// # Errors
    /// Refused for a quantity below 1, or where more would go back than came.
    pub fn receive(
        &mut self,
        line: LineId,
        fields: &DeliveryFields,
    ) -> Result<DeliveryId, ShopError> {
        let now = self.order_line(line)?;
        wanted(&now.fields.what, fields.quantity)?;
        if fields.came == Came::Returned && fields.quantity > now.came() {
            return Err(ShopError::Refused(format!(
                "Only {} came: no more can have gone back. What came wrong is said to be wrong, and never counted.",
                now.fields.unit.count(now.came())
            )));
        }
        let says = format!(
            "{}, {}: {}",
            now.fields.what,
            now.fields.unit.count(fields.quantity),
            fields.came.word()
        );
        let entry = self.enter(now.job, &says)?;
        let columns = [
            ("line", line.into()),
            ("came", fields.came.word().to_owned().into()),
            ("quantity", fields.quantity.into()),
            ("promised", fields.promised.clone().into()),
            ("note", fields.note.trim().to_owned().into()),
        ];
        Ok(DeliveryId(self.append(
            entry,
            Entries::Deliveries,
            &columns,
            None,
        )?))
    }

    /// Waits no longer for what a line still owes.
    pub fn give_up(&mut self, line: LineId) -> Result<(), ShopError> {
        let now = self.order_line(line)?;
        let columns = [("given_up", now.given_up.saturating_add(now.owed()).into())];
        let says = format!("no longer waited for: {}", now.fields.what);
        self.alter(now.job, Card::OrderLines, line.0, &columns, None, &says)?;
        Ok(())
    }
}
