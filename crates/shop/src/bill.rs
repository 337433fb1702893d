//! What is still to be billed for jobs, as lines whose plain sum is what is to pay.
//!
//! Time is billed in whole minutes of a task, begun minutes not. All minutes at one rate cost what
//! their sum costs, to the nearest minor unit, and that amount is shared out over the tasks: however
//! the time was cut up, the bill is the same. Each tax is worked out once, on all that is taxed.

use crate::charges::{ChargeSort, Tax};
use crate::error::ShopError;
use crate::id::{ChargeId, JobId, PaymentId};
use crate::open::Reader;
use crate::stamp::At;
use crate::sums;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What a line is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Billed {
    /// Time of a task.
    Labour,
    /// A part.
    Part,
    /// Work at a fixed price.
    Work,
    /// A fee.
    Fee,
    /// Taken off before taxes.
    Credit,
    /// A tax.
    Tax,
    /// Paid already.
    Deposit,
}

impl Billed {
    /// As stored and as shown.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Labour => "labour",
            Self::Part => "part",
            Self::Work => "work",
            Self::Fee => "fee",
            Self::Credit => "credit",
            Self::Tax => "tax",
            Self::Deposit => "deposit",
        }
    }

    /// Of a word.
    pub(crate) fn of(word: &str) -> Option<Self> {
        [
            Self::Labour,
            Self::Part,
            Self::Work,
            Self::Fee,
            Self::Credit,
            Self::Tax,
            Self::Deposit,
        ]
        .into_iter()
        .find(|b| b.word() == word)
    }
}

/// A line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BillLine {
    /// The job it is for; none for a tax.
    pub job: Option<JobId>,
    /// What it is.
    pub sort: Billed,
    /// In words; of time the task.
    pub what: String,
    /// Whole minutes, of time.
    pub minutes: i64,
    /// What an hour costs, of time.
    pub hour_minor: i64,
    /// What it adds to what is to pay; below 0 for credits and deposits.
    pub amount_minor: i64,
    /// The charge it stands for.
    pub charge: Option<ChargeId>,
    /// The payment it stands for.
    pub payment: Option<PaymentId>,
}

/// What is to be billed.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Bill {
    /// The lines: time, charges, credits, taxes, deposits.
    pub lines: Vec<BillLine>,
    /// Amounts in another currency, which are on no bill in this one.
    pub elsewhere: usize,
}

impl Bill {
    /// The sum of lines of some sorts.
    #[must_use]
    pub fn sum(&self, of: &[Billed]) -> i64 {
        total(self.lines.iter().filter(|l| of.contains(&l.sort)))
    }

    /// What is to pay; below 0: to be paid back.
    #[must_use]
    pub fn to_pay(&self) -> i64 {
        total(self.lines.iter())
    }

    /// All but what was paid already: what counts against the ceiling.
    #[must_use]
    pub fn costs(&self) -> i64 {
        total(self.lines.iter().filter(|l| l.sort != Billed::Deposit))
    }
}

fn total<'l>(lines: impl Iterator<Item = &'l BillLine>) -> i64 {
    lines.map(|l| l.amount_minor).fold(0, i64::saturating_add)
}

impl Reader<'_> {
    /// What is still to be billed for jobs, until `now`. `usual_minor` is what an hour costs where
    /// its task has no rate of its own.
    pub fn bill(
        &self,
        jobs: &[JobId],
        currency: &str,
        usual_minor: i64,
        now: At,
    ) -> Result<Bill, ShopError> {
        self.bill_of(jobs, currency, usual_minor, now, false)
    }

    /// The whole of jobs, also what stands on an invoice already: what counts against a ceiling.
    pub fn whole_bill(
        &self,
        jobs: &[JobId],
        currency: &str,
        usual_minor: i64,
        now: At,
    ) -> Result<Bill, ShopError> {
        self.bill_of(jobs, currency, usual_minor, now, true)
    }

    fn bill_of(
        &self,
        jobs: &[JobId],
        currency: &str,
        usual_minor: i64,
        now: At,
        whole: bool,
    ) -> Result<Bill, ShopError> {
        let mut bill = Bill::default();
        let mut taxed = 0_i64;
        let rates = self.rates()?;
        let mut work: Vec<BillLine> = Vec::new();
        for job in jobs {
            for (task, minutes) in self.unbilled(*job, now, whole)? {
                let hour_minor = rates
                    .iter()
                    .find(|r| r.task == task)
                    .map_or(usual_minor, |r| r.hour_minor);
                work.push(BillLine {
                    job: Some(*job),
                    sort: Billed::Labour,
                    what: task,
                    minutes,
                    hour_minor,
                    amount_minor: 0,
                    charge: None,
                    payment: None,
                });
            }
        }
        price(&mut work);
        taxed = taxed.saturating_add(total(work.iter()));
        bill.lines = work;
        let mut deposits = Vec::new();
        for job in jobs {
            for charge in self.charges(*job)? {
                let f = &charge.fields;
                if charge.invoiced && !whole {
                    continue;
                }
                if f.currency != currency {
                    bill.elsewhere += 1;
                    continue;
                }
                if f.taxed {
                    taxed = taxed.saturating_add(f.signed());
                }
                bill.lines.push(BillLine {
                    job: Some(*job),
                    sort: match f.sort {
                        ChargeSort::Part => Billed::Part,
                        ChargeSort::Work => Billed::Work,
                        ChargeSort::Fee => Billed::Fee,
                        ChargeSort::Credit => Billed::Credit,
                    },
                    what: f.what.clone(),
                    minutes: 0,
                    hour_minor: 0,
                    amount_minor: f.signed(),
                    charge: Some(charge.id),
                    payment: None,
                });
            }
            for paid in self.payments(*job)? {
                if paid.invoiced && !whole {
                    continue;
                }
                if paid.fields.currency != currency {
                    bill.elsewhere += 1;
                    continue;
                }
                deposits.push(BillLine {
                    job: Some(*job),
                    sort: Billed::Deposit,
                    what: [paid.fields.how.as_str(), &paid.fields.paid_on]
                        .into_iter()
                        .filter(|t| !t.is_empty())
                        .collect::<Vec<_>>()
                        .join(", "),
                    minutes: 0,
                    hour_minor: 0,
                    amount_minor: -paid.fields.amount_minor,
                    charge: None,
                    payment: Some(paid.id),
                });
            }
        }
        if !bill.lines.is_empty() {
            bill.lines.extend(taxes(&self.taxes()?, taxed));
        }
        bill.lines.extend(deposits);
        Ok(bill)
    }

    /// Whole billable minutes by task, in the order first spent, less what invoices have.
    /// Minutes of a task of a job that stand on invoices.
    pub(crate) fn invoiced_minutes(&self, job: JobId, task: &str) -> Result<i64, ShopError> {
        let lines = self.invoice_lines_of(job)?.into_iter();
        Ok(lines
            .filter(|l| l.bill.sort == Billed::Labour && l.bill.what == task)
            .map(|l| l.bill.minutes)
            .fold(0, i64::saturating_add))
    }

    fn unbilled(&self, job: JobId, now: At, whole: bool) -> Result<Vec<(String, i64)>, ShopError> {
        let mut order: Vec<String> = Vec::new();
        let mut spent: BTreeMap<String, i64> = BTreeMap::new();
        for h in self.hours(job)?.into_iter().filter(|h| h.billable) {
            if !order.contains(&h.task) {
                order.push(h.task.clone());
            }
            let sum = spent.entry(h.task.clone()).or_default();
            *sum = sum.saturating_add(h.length_ms(now));
        }
        let mut had: BTreeMap<String, i64> = BTreeMap::new();
        if !whole {
            for line in self.invoice_lines_of(job)? {
                if line.bill.sort == Billed::Labour {
                    let sum = had.entry(line.bill.what).or_default();
                    *sum = sum.saturating_add(line.bill.minutes);
                }
            }
        }
        Ok(order
            .into_iter()
            .map(|task| {
                let all = spent.get(&task).map_or(0, |ms| ms / 60_000);
                let left = all.saturating_sub(had.get(&task).copied().unwrap_or(0));
                (task, left)
            })
            .filter(|(_, left)| *left > 0)
            .collect())
    }
}

/// Prices time: at each rate the minutes together, shared out over their lines.
fn price(lines: &mut [BillLine]) {
    let mut rates: Vec<i64> = lines.iter().map(|l| l.hour_minor).collect();
    rates.sort_unstable();
    rates.dedup();
    for rate in rates {
        let mut of_rate: Vec<&mut BillLine> =
            lines.iter_mut().filter(|l| l.hour_minor == rate).collect();
        let minutes: Vec<i64> = of_rate.iter().map(|l| l.minutes).collect();
        let all = minutes.iter().copied().fold(0, i64::saturating_add);
        let shares = sums::share(sums::of_minutes(all, rate), &minutes);
        for (line, share) in of_rate.iter_mut().zip(shares) {
            line.amount_minor = share;
        }
    }
}

fn taxes(all: &[Tax], taxed: i64) -> Vec<BillLine> {
    all.iter()
        .map(|t| BillLine {
            job: None,
            sort: Billed::Tax,
            what: format!("{} {} %", t.name, percent(t.milli_percent)),
            minutes: 0,
            hour_minor: 0,
            amount_minor: sums::tax(taxed, t.milli_percent),
            charge: None,
            payment: None,
        })
        .collect()
}

/// `19`, `9.975`.
fn percent(milli: i64) -> String {
    let text = format!("{}.{:03}", milli / 1000, milli % 1000);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
