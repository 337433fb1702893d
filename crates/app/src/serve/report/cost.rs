//! What it cost, beside what the owner agreed to.

use super::{Gathered, list};
use crate::serve::{money, purse};
use report::Document;
use shop::{Authorisation, Billed, Invoice, Payment, Reader, ShopError};

/// A line for each invoice, or for what it came to so far, and one for what was agreed. A job without costs has none.
pub(super) fn cost(g: &Gathered<'_>, r: &Reader<'_>, d: &mut Document) -> Result<(), ShopError> {
    let written = r.invoices_of(g.id)?;
    let standing: Vec<&Invoice> = written.iter().filter(|i| !i.withdrawn).collect();
    let purse = purse::of(r, g.id, g.now)?;
    let mut lines: Vec<String> = standing.iter().map(|i| billed(g, i)).collect();
    if standing.is_empty() {
        let costs = purse.whole.costs();
        if costs == 0 {
            return Ok(());
        }
        lines.push(format!(
            "No invoice is written. So far it comes to {}.",
            money::shown_exact(costs, &purse.currency)
        ));
    }
    lines.extend(paid_since(&r.payments(g.id)?, !standing.is_empty()));
    lines.push(agreed(&r.authorisations(g.id)?));
    d.heading("What it cost");
    d.say(lines.join(" "));
    Ok(())
}

/// One invoice: `Invoice 2026-1 of 2026-11-08: € 295.30; € 100.00 of it was paid before, € 195.30 is to pay.`
fn billed(g: &Gathered<'_>, invoice: &Invoice) -> String {
    let f = &invoice.fields;
    let shown = |minor: i64| money::shown_exact(minor, &f.currency);
    let others: Vec<String> = invoice
        .jobs()
        .iter()
        .filter(|j| **j != g.id)
        .map(|j| format!("job {j}"))
        .collect();
    let with = if others.is_empty() {
        String::new()
    } else {
        format!(", together with {}", list(&others))
    };
    let before = -invoice.bill.sum(&[Billed::Deposit]);
    let to_pay = invoice.bill.to_pay();
    let rest = if to_pay < 0 {
        format!("{} is to be paid back", shown(-to_pay))
    } else {
        format!("{} is to pay", shown(to_pay))
    };
    let paid = if before == 0 {
        String::new()
    } else {
        format!("; {} of it was paid before, {rest}", shown(before))
    };
    let above = if f.reason.is_empty() {
        String::new()
    } else {
        format!(
            " Above what was agreed: {}.",
            f.reason.trim_end_matches('.')
        )
    };
    format!(
        "Invoice {} of {}{with}: {}{paid}.{above}",
        f.number,
        f.invoiced_on,
        shown(invoice.bill.costs())
    )
}

/// What was paid and stands on no invoice: after the last one, or before there is one.
fn paid_since(payments: &[Payment], invoiced: bool) -> Vec<String> {
    payments
        .iter()
        .filter(|p| !p.invoiced)
        .map(|p| {
            let f = &p.fields;
            let when = if invoiced { "Paid since" } else { "Paid" };
            let how = if f.how.is_empty() {
                String::new()
            } else {
                format!(", {}", f.how)
            };
            format!(
                "{when}, on {}: {}{how}.",
                f.paid_on,
                money::shown_exact(f.amount_minor, &f.currency)
            )
        })
        .collect()
}

/// The last amount that the owner agreed to.
fn agreed(all: &[Authorisation]) -> String {
    let last = all
        .iter()
        .rev()
        .find_map(|a| Some((&a.fields, a.fields.ceiling_minor?)));
    match last {
        Some((f, ceiling)) => {
            let how = [f.who.as_str(), f.how.as_str()];
            let how: Vec<&str> = how.into_iter().filter(|w| !w.is_empty()).collect();
            let by = if how.is_empty() {
                String::new()
            } else {
                format!(" by {}", how.join(", "))
            };
            format!(
                "Agreed{by}: up to {}.",
                money::shown_exact(ceiling, &f.currency)
            )
        }
        None => "No amount was agreed.".to_owned(),
    }
}
