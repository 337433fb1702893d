//! Invoices: the lines as they were billed. Never changed; one that was wrong is taken back, and
//! its number stays given.

use crate::bill::{Bill, BillLine, Billed};
use crate::change::{Entries, maybe};
use crate::error::ShopError;
use crate::id::{ClientId, InvoiceId, InvoiceLineId, JobId};
use crate::open::{Reader, Write};
use crate::stamp::At;
use rusqlite::{OptionalExtension as _, Row};
use serde::Serialize;

/// What is written of an invoice.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct InvoiceFields {
    /// Its number.
    pub number: String,
    /// The day, `YYYY-MM-DD`.
    pub invoiced_on: String,
    /// The currency (ISO 4217).
    pub currency: String,
    /// Why it is above what was agreed; empty where it is not.
    pub reason: String,
}

/// A line that stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct InvoiceLine {
    /// Which.
    pub id: InvoiceLineId,
    /// As billed.
    pub bill: BillLine,
}

/// An invoice.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Invoice {
    /// Which.
    pub id: InvoiceId,
    /// To whom.
    pub client: ClientId,
    /// What is written of it.
    pub fields: InvoiceFields,
    /// When it was written.
    pub at: At,
    /// It was taken back.
    pub withdrawn: bool,
    /// Its lines, also of one that was taken back.
    pub bill: Bill,
}

impl Invoice {
    /// The jobs on it, each once.
    #[must_use]
    pub fn jobs(&self) -> Vec<JobId> {
        let mut all: Vec<JobId> = self.bill.lines.iter().filter_map(|l| l.job).collect();
        all.sort_unstable();
        all.dedup();
        all
    }
}

fn line(r: &Row<'_>) -> rusqlite::Result<InvoiceLine> {
    Ok(InvoiceLine {
        id: r.get("id")?,
        bill: BillLine {
            job: r.get("job")?,
            sort: Billed::of(&r.get::<_, String>("sort")?).unwrap_or(Billed::Work),
            what: r.get("what")?,
            minutes: r.get("minutes")?,
            hour_minor: r.get("hour_minor")?,
            amount_minor: r.get("amount_minor")?,
            charge: r.get("charge")?,
            payment: r.get("payment")?,
        },
    })
}

const STANDS: &str = "l.withdrawn = 0
 AND NOT EXISTS (SELECT 1 FROM invoice_lines n WHERE n.corrects = l.id)";

impl Reader<'_> {
    /// Every invoice that was written, the first first.
    pub fn invoices(&self) -> Result<Vec<Invoice>, ShopError> {
        self.invoices_where("i.id > ?1", 0)
    }

    /// The invoices on which a job stands, or stood.
    pub fn invoices_of(&self, job: JobId) -> Result<Vec<Invoice>, ShopError> {
        self.invoices_where(
            "i.id IN (SELECT invoice FROM invoice_lines WHERE job = ?1)",
            job.0,
        )
    }

    /// One invoice.
    pub fn invoice(&self, id: InvoiceId) -> Result<Invoice, ShopError> {
        self.invoices_where("i.id = ?1", id.0)?
            .pop()
            .ok_or_else(|| ShopError::Nothing(format!("invoice {id}")))
    }

    /// The standing lines of a job.
    pub(crate) fn invoice_lines_of(&self, job: JobId) -> Result<Vec<InvoiceLine>, ShopError> {
        let mut ask = self.base.prepare_cached(&format!(
            "SELECT l.* FROM invoice_lines l WHERE l.job = ?1 AND {STANDS} ORDER BY l.id"
        ))?;
        let all = ask.query_map([job], line)?.collect::<Result<_, _>>()?;
        Ok(all)
    }

    fn invoices_where(&self, which: &str, value: i64) -> Result<Vec<Invoice>, ShopError> {
        let mut ask = self.base.prepare_cached(&format!(
            "SELECT i.*, (SELECT h.withdrawn FROM invoices h WHERE h.number = i.number
               AND NOT EXISTS (SELECT 1 FROM invoices n WHERE n.corrects = h.id)) AS back
             FROM invoices i WHERE i.corrects IS NULL AND {which} ORDER BY i.id"
        ))?;
        let mut all: Vec<Invoice> = ask
            .query_map([value], |r| {
                Ok(Invoice {
                    id: r.get("id")?,
                    client: r.get("client")?,
                    fields: InvoiceFields {
                        number: r.get("number")?,
                        invoiced_on: r.get("invoiced_on")?,
                        currency: r.get("currency")?,
                        reason: r.get("reason")?,
                    },
                    at: r.get("at")?,
                    withdrawn: r.get("back")?,
                    bill: Bill::default(),
                })
            })?
            .collect::<Result<_, _>>()?;
        // the lines as first written: what was on the paper
        let mut ask = self.base.prepare_cached(
            "SELECT l.* FROM invoice_lines l WHERE l.invoice = ?1 AND l.corrects IS NULL ORDER BY l.id",
        )?;
        for invoice in &mut all {
            invoice.bill.lines = ask
                .query_map([invoice.id], |r| Ok(line(r)?.bill))?
                .collect::<Result<_, _>>()?;
        }
        Ok(all)
    }

    /// The next free number of a year: `2026-7`.
    pub fn next_invoice_number(&self, year: i64) -> Result<String, ShopError> {
        let mut ask = self
            .base
            .prepare_cached("SELECT number FROM invoices WHERE number LIKE ?1")?;
        let given: Vec<String> = ask
            .query_map([format!("{year}-%")], |r| r.get(0))?
            .collect::<Result<_, _>>()?;
        let last = given
            .iter()
            .filter_map(|n| n.split_once('-')?.1.parse::<i64>().ok())
            .max()
            .unwrap_or(0);
        Ok(format!("{year}-{}", last + 1))
    }
}

impl Write<'_> {
    /// Writes an invoice of what is still to be billed for jobs of one owner, and gives it.
    /// `expected` is the sum that whoever asks has seen.
    ///
    /// # Errors
    /// Refused for jobs of two owners, where nothing is to be billed, where the number is given
    /// already, and where the sum is no longer the one that was seen.
    pub fn write_invoice(
        &mut self,
        jobs: &[JobId],
        fields: &InvoiceFields,
        usual_minor: i64,
        expected: i64,
    ) -> Result<InvoiceId, ShopError> {
        let mut client: Option<ClientId> = None;
        for job in jobs {
            let of = self.job(*job)?.amp.client;
            if client.is_some_and(|c| c != of) {
                return Err(ShopError::Refused(
                    "These jobs are of two owners: each has an invoice.".to_owned(),
                ));
            }
            client = Some(of);
        }
        let bill = self.bill(jobs, &fields.currency, usual_minor, self.stamp.at)?;
        let work = bill
            .lines
            .iter()
            .any(|l| !matches!(l.sort, Billed::Tax | Billed::Deposit));
        let (Some(client), true) = (client, work) else {
            return Err(ShopError::Refused(
                "There is nothing that is not on an invoice already.".to_owned(),
            ));
        };
        if bill.to_pay() != expected {
            return Err(ShopError::Refused(
                "What is to be billed has changed meanwhile. Look at it again.".to_owned(),
            ));
        }
        let number = fields.number.trim();
        let given: Option<i64> = self
            .base
            .query_row("SELECT id FROM invoices WHERE number = ?1", [number], |r| {
                r.get(0)
            })
            .optional()?;
        if number.is_empty() || given.is_some() {
            return Err(ShopError::Refused(
                "An invoice has a number that no other has, or had.".to_owned(),
            ));
        }
        let one = match jobs {
            [job] => Some(*job),
            _ => None,
        };
        let entry = self.enter(one, &format!("invoice {number}"))?;
        let columns = [
            ("number", number.to_owned().into()),
            ("client", client.into()),
            ("invoiced_on", fields.invoiced_on.clone().into()),
            ("currency", fields.currency.clone().into()),
            ("reason", fields.reason.trim().to_owned().into()),
        ];
        let id = InvoiceId(self.append(entry, Entries::Invoices, &columns, None)?);
        for l in &bill.lines {
            let columns = [
                ("invoice", id.into()),
                ("job", maybe(l.job)),
                ("sort", l.sort.word().to_owned().into()),
                ("what", l.what.clone().into()),
                ("minutes", l.minutes.into()),
                ("hour_minor", l.hour_minor.into()),
                ("amount_minor", l.amount_minor.into()),
                ("charge", maybe(l.charge)),
                ("payment", maybe(l.payment)),
            ];
            self.append(entry, Entries::InvoiceLines, &columns, None)?;
        }
        Ok(id)
    }

    /// Takes an invoice back: what stood on it is to be billed again. Its number stays given.
    ///
    /// # Errors
    /// Refused where it was taken back already.
    pub fn take_back_invoice(&mut self, id: InvoiceId) -> Result<(), ShopError> {
        let now = self.invoice(id)?;
        if now.withdrawn {
            return Err(ShopError::Refused(
                "This invoice was taken back already.".to_owned(),
            ));
        }
        let one = match now.jobs().as_slice() {
            [job] => Some(*job),
            _ => None,
        };
        let says = format!("invoice {} taken back", now.fields.number);
        let entry = self.enter(one, &says)?;
        for (table, which) in [
            (Entries::InvoiceLines, "invoice = ?1"),
            (
                Entries::Invoices,
                "number = (SELECT number FROM invoices WHERE id = ?1)",
            ),
        ] {
            let sql = format!(
                "SELECT id FROM {0} t WHERE {which} AND withdrawn = 0
                 AND NOT EXISTS (SELECT 1 FROM {0} n WHERE n.corrects = t.id) ORDER BY id",
                table.table()
            );
            let rows: Vec<i64> = self
                .base
                .prepare_cached(&sql)?
                .query_map([id], |r| r.get(0))?
                .collect::<Result<_, _>>()?;
            for row in rows {
                self.withdraw(entry, table, row)?;
            }
        }
        Ok(())
    }
}
