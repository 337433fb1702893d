//! What is charged besides time, what the owner paid, what an hour costs, and taxes.

use crate::change::{Card, Entries, maybe};
use crate::error::ShopError;
use crate::id::{ChargeId, JobId, LineId, PaymentId, RateId, TaxId};
use crate::open::{Reader, Write};
use crate::stamp::At;
use rusqlite::{OptionalExtension as _, Row};
use serde::{Deserialize, Serialize};

/// What is charged for.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ChargeSort {
    /// A part.
    #[default]
    Part,
    /// Work at a fixed price.
    Work,
    /// A fee, such as for the diagnosis.
    Fee,
    /// Taken off the bill, such as that fee when the repair goes on.
    Credit,
}

impl ChargeSort {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Part, Self::Work, Self::Fee, Self::Credit];

    /// As stored and as shown.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Part => "part",
            Self::Work => "work",
            Self::Fee => "fee",
            Self::Credit => "credit",
        }
    }

    /// Of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|s| s.word() == word)
    }
}

/// What is written of a charge.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct ChargeFields {
    /// What for.
    pub sort: ChargeSort,
    /// In words.
    pub what: String,
    /// Minor units; of a credit too, never below 0.
    pub amount_minor: i64,
    /// Of this currency (ISO 4217).
    pub currency: String,
    /// Taxes come on top of it; of a credit: it is taken off before the taxes.
    pub taxed: bool,
    /// The order line that brought the part.
    pub line: Option<LineId>,
}

impl ChargeFields {
    /// What it adds to the bill: a credit takes away.
    #[must_use]
    pub fn signed(&self) -> i64 {
        match self.sort {
            ChargeSort::Credit => -self.amount_minor,
            ChargeSort::Part | ChargeSort::Work | ChargeSort::Fee => self.amount_minor,
        }
    }
}

/// Something charged.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Charge {
    /// Which.
    pub id: ChargeId,
    /// Of which job.
    pub job: JobId,
    /// What is written of it.
    pub fields: ChargeFields,
    /// It stands on an invoice.
    pub invoiced: bool,
}

/// What is written of a payment.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct PaymentFields {
    /// Minor units, above 0.
    pub amount_minor: i64,
    /// Of this currency (ISO 4217).
    pub currency: String,
    /// The day, `YYYY-MM-DD`.
    pub paid_on: String,
    /// Cash, by transfer.
    pub how: String,
}

/// Something that the owner paid.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Payment {
    /// Which.
    pub id: PaymentId,
    /// For which job.
    pub job: JobId,
    /// What is written of it.
    pub fields: PaymentFields,
    /// When it was written down.
    pub at: At,
    /// An invoice takes it off already.
    pub invoiced: bool,
}

/// What an hour of a task costs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Rate {
    /// Which.
    pub id: RateId,
    /// The task, as on the clock.
    pub task: String,
    /// Minor units an hour.
    pub hour_minor: i64,
}

/// A tax.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Tax {
    /// Which.
    pub id: TaxId,
    /// Its name on the invoice.
    pub name: String,
    /// Thousandths of a per cent.
    pub milli_percent: i64,
}

/// Standing lines of standing invoices that name a row.
fn invoiced(column: &str, row: &str) -> String {
    format!(
        "EXISTS (SELECT 1 FROM invoice_lines l WHERE l.{column} = {row} AND l.withdrawn = 0
         AND NOT EXISTS (SELECT 1 FROM invoice_lines n WHERE n.corrects = l.id))"
    )
}

fn charge(r: &Row<'_>) -> rusqlite::Result<Charge> {
    Ok(Charge {
        id: r.get("id")?,
        job: r.get("job")?,
        fields: ChargeFields {
            sort: ChargeSort::of(&r.get::<_, String>("sort")?).unwrap_or_default(),
            what: r.get("what")?,
            amount_minor: r.get("amount_minor")?,
            currency: r.get("currency")?,
            taxed: r.get("taxed")?,
            line: r.get("line")?,
        },
        invoiced: r.get("invoiced")?,
    })
}

impl Reader<'_> {
    /// What is charged in a job, in the order written.
    pub fn charges(&self, job: JobId) -> Result<Vec<Charge>, ShopError> {
        let sql = format!(
            "SELECT c.*, {} AS invoiced FROM charges c WHERE job = ?1 AND gone = 0 ORDER BY id",
            invoiced("job = c.job AND l.charge", "c.id")
        );
        let mut ask = self.base.prepare_cached(&sql)?;
        let all = ask.query_map([job], charge)?.collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// What was paid for a job, in the order written.
    pub fn payments(&self, job: JobId) -> Result<Vec<Payment>, ShopError> {
        let sql = format!(
            "SELECT p.*, {} AS invoiced FROM payments p WHERE job = ?1 AND withdrawn = 0
             AND NOT EXISTS (SELECT 1 FROM payments n WHERE n.corrects = p.id) ORDER BY id",
            invoiced("job = p.job AND l.payment", "p.id")
        );
        let mut ask = self.base.prepare_cached(&sql)?;
        let all = ask
            .query_map([job], |r| {
                Ok(Payment {
                    id: r.get("id")?,
                    job: r.get("job")?,
                    fields: PaymentFields {
                        amount_minor: r.get("amount_minor")?,
                        currency: r.get("currency")?,
                        paid_on: r.get("paid_on")?,
                        how: r.get("how")?,
                    },
                    at: r.get("at")?,
                    invoiced: r.get("invoiced")?,
                })
            })?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// Rates of tasks, by name.
    pub fn rates(&self) -> Result<Vec<Rate>, ShopError> {
        let mut ask = self
            .base
            .prepare_cached("SELECT * FROM rates WHERE gone = 0 ORDER BY task")?;
        let all = ask
            .query_map([], |r| {
                Ok(Rate {
                    id: r.get("id")?,
                    task: r.get("task")?,
                    hour_minor: r.get("hour_minor")?,
                })
            })?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }

    /// Taxes, in the order written.
    pub fn taxes(&self) -> Result<Vec<Tax>, ShopError> {
        let mut ask = self
            .base
            .prepare_cached("SELECT * FROM taxes WHERE gone = 0 ORDER BY id")?;
        let all = ask
            .query_map([], |r| {
                Ok(Tax {
                    id: r.get("id")?,
                    name: r.get("name")?,
                    milli_percent: r.get("milli_percent")?,
                })
            })?
            .collect::<Result<_, _>>()?;
        Ok(all)
    }
}

impl Write<'_> {
    /// Charges something.
    ///
    /// # Errors
    /// Refused without words, or below 0.
    pub fn add_charge(&mut self, job: JobId, f: &ChargeFields) -> Result<ChargeId, ShopError> {
        self.job(job)?;
        if f.what.trim().is_empty() {
            return Err(ShopError::Refused("Say what is charged for.".to_owned()));
        }
        if f.amount_minor < 0 {
            return Err(ShopError::Refused(
                "An amount is never below 0; a credit is taken off by itself.".to_owned(),
            ));
        }
        let entry = self.enter(
            Some(job),
            &format!("{} charged: {}", f.sort.word(), f.what.trim()),
        )?;
        let columns = [
            ("job", job.into()),
            ("sort", f.sort.word().to_owned().into()),
            ("what", f.what.trim().to_owned().into()),
            ("amount_minor", f.amount_minor.into()),
            ("currency", f.currency.clone().into()),
            ("taxed", i64::from(f.taxed).into()),
            ("line", maybe(f.line)),
        ];
        Ok(ChargeId(self.make(entry, Card::Charges, &columns)?))
    }

    /// Takes a charge off.
    ///
    /// # Errors
    /// Refused where it stands on an invoice.
    pub fn drop_charge(&mut self, job: JobId, id: ChargeId) -> Result<(), ShopError> {
        let all = self.charges(job)?;
        let Some(now) = all.iter().find(|c| c.id == id) else {
            return Err(ShopError::Nothing(format!("charge {id}")));
        };
        if now.invoiced {
            return Err(ShopError::Refused(
                "It stands on an invoice. Take the invoice back first, or write a credit."
                    .to_owned(),
            ));
        }
        let says = format!("no longer charged: {}", now.fields.what);
        let gone = [("gone", 1.into())];
        self.alter(Some(job), Card::Charges, id.0, &gone, None, &says)?;
        Ok(())
    }

    /// Writes down what the owner paid.
    ///
    /// # Errors
    /// Refused unless it is above 0.
    pub fn add_payment(&mut self, job: JobId, f: &PaymentFields) -> Result<PaymentId, ShopError> {
        self.job(job)?;
        if f.amount_minor <= 0 {
            return Err(ShopError::Refused(
                "A payment is above 0. What is paid back is a credit.".to_owned(),
            ));
        }
        let entry = self.enter(Some(job), "paid by the owner")?;
        let columns = [
            ("job", job.into()),
            ("amount_minor", f.amount_minor.into()),
            ("currency", f.currency.clone().into()),
            ("paid_on", f.paid_on.clone().into()),
            ("how", f.how.trim().to_owned().into()),
        ];
        Ok(PaymentId(self.append(
            entry,
            Entries::Payments,
            &columns,
            None,
        )?))
    }

    /// Sets what an hour of a task costs; none: it costs what an hour usually does.
    pub fn set_rate(&mut self, task: &str, hour_minor: Option<i64>) -> Result<(), ShopError> {
        let task = task.trim();
        if task.is_empty() {
            return Err(ShopError::Refused("Say which task.".to_owned()));
        }
        let row: Option<i64> = self
            .base
            .prepare_cached("SELECT id FROM rates WHERE task = ?1")?
            .query_row([task], |r| r.get(0))
            .optional()?;
        let gone = i64::from(hour_minor.is_none());
        let says = format!("rate of {task}");
        match (row, hour_minor) {
            (Some(row), Some(hour)) => {
                let columns = [("hour_minor", hour.into()), ("gone", gone.into())];
                self.alter(None, Card::Rates, row, &columns, None, &says)?;
            }
            (Some(row), None) => {
                self.alter(None, Card::Rates, row, &[("gone", 1.into())], None, &says)?;
            }
            (None, Some(hour)) => {
                let entry = self.enter(None, &says)?;
                let columns = [
                    ("task", task.to_owned().into()),
                    ("hour_minor", hour.into()),
                ];
                self.make(entry, Card::Rates, &columns)?;
            }
            (None, None) => {}
        }
        Ok(())
    }

    /// A tax on top of what is taxed.
    pub fn add_tax(&mut self, name: &str, milli_percent: i64) -> Result<TaxId, ShopError> {
        if name.trim().is_empty() || !(0..=100_000).contains(&milli_percent) {
            return Err(ShopError::Refused(
                "A tax has a name, and is from 0 to 100 %.".to_owned(),
            ));
        }
        let entry = self.enter(None, &format!("tax: {}", name.trim()))?;
        let columns = [
            ("name", name.trim().to_owned().into()),
            ("milli_percent", milli_percent.into()),
        ];
        Ok(TaxId(self.make(entry, Card::Taxes, &columns)?))
    }

    /// Takes a tax away. Invoices that have it keep it.
    pub fn drop_tax(&mut self, id: TaxId) -> Result<(), ShopError> {
        self.alter(
            None,
            Card::Taxes,
            id.0,
            &[("gone", 1.into())],
            None,
            "tax gone",
        )?;
        Ok(())
    }
}
