//! What a job costs: time by task, parts, fees and credits, taxes, what was paid; and the invoice.

use super::{choice, field};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::purse::Near;
use crate::serve::site::Site;
use crate::serve::state;
use crate::serve::{dates, money, purse};
use maud::{Markup, html};
use shop::{
    At, Bill, BillLine, Billed, Charge, ChargeFields, ChargeId, ChargeSort, Invoice, InvoiceFields,
    InvoiceId, JobId, LineId, OrderLine, PaymentFields, Reader, ShopError,
};

/// So many other jobs of an owner are looked through, the latest ones.
const MOST_OTHERS: usize = 12;

/// Something is to be billed, besides taxes and what was paid.
fn has_work(bill: &Bill) -> bool {
    bill.lines
        .iter()
        .any(|l| !matches!(l.sort, Billed::Tax | Billed::Deposit))
}

/// `/job/42/invoice`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let purse = purse::of(r, id, ask.now)?;
        let currency = &purse.currency;
        let usual = purse::usual_rate(r, currency)?;
        let mut others: Vec<JobId> = Vec::new();
        for other in r.jobs_of_client(view.job.amp.client)?.into_iter().rev().filter(|j| *j != id).take(MOST_OTHERS) {
            if has_work(&r.bill(&[other], currency, usual, ask.now)?) {
                others.push(other);
            }
        }
        let with: Vec<JobId> = others.iter().copied().filter(|j| fields.pairs().any(|(n, v)| n == "with" && v == j.to_string())).collect();
        let jobs: Vec<JobId> = std::iter::once(id).chain(with.iter().copied()).collect();
        let bill = r.bill(&jobs, currency, usual, ask.now)?;
        let charges = r.charges(id)?;
        let came = came(r, id, &charges)?;
        let written = r.invoices_of(id)?;
        let running = r.hours(id)?.iter().any(|h| h.stopped_at.is_none());
        let number = r.next_invoice_number(i64::from(dates::year(ask.now)))?;
        let something = has_work(&bill);
        let body = html! {
            div.orders.invoice-page {
                div {
                    section.sheet {
                        h2 { "Still to be billed" @if jobs.len() > 1 { ", jobs " (jobs.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")) } }
                        @if bill.lines.is_empty() { p.hint { "Nothing. Time goes on by the clock, what else is charged by the forms at the right." } }
                        @else { (table(&bill, currency, Some(id), jobs.len() > 1)) }
                        @if running { p.hint { "The clock runs: its time counts up to now, in whole minutes." } }
                        @if usual == 0 && bill.lines.iter().any(|l| l.sort == Billed::Labour && l.hour_minor == 0) { p.hint { "An hour costs nothing: set what it costs in the " a href="/settings#money" { "settings" } "." } }
                        @if bill.elsewhere > 0 { p.hint { (bill.elsewhere) " amounts are in another currency and on no bill in " (currency) "." } }
                    }
                    @for invoice in written.iter().rev() { (short(id, invoice)) }
                }
                div {
                    section.sheet.money { h2 { "Against what is agreed" } (purse.words()) }
                    @if something && running {
                        form.sheet method="post" action=(format!("/job/{id}/clock")) {
                            input type="hidden" name="what" value="stop";
                            input type="hidden" name="back" value=(format!("/job/{id}/invoice"));
                            (frame::primary_button("Stop the clock", "then the invoice can be written", "Enter"))
                        }
                    } @else if something {
                        form.sheet method="post" action=(format!("/job/{id}/invoice")) {
                            h2 { "Write the invoice" }
                            input type="hidden" name="expected" value=(bill.to_pay());
                            @for j in &with { input type="hidden" name="with" value=(j); }
                            input type="hidden" name="do" value="write";
                            div.pair {
                                (field("Its number", "number", &number))
                                label { span { "Of" } input type="date" name="on" value=(dates::in_days(ask.now, 0)) required; }
                            }
                            @if purse.near() == Some(Near::Above) {
                                label { span { "It is above what is agreed: who agreed to more, and when" } input name="reason" required autocomplete="off"; }
                            }
                            (frame::primary_button(&format!("Write invoice {number}"), &format!("{} to pay", money::shown_exact(bill.to_pay(), currency)), "Enter"))
                        }
                    }
                    @if !others.is_empty() {
                        form.sheet method="get" action=(format!("/job/{id}/invoice")) {
                            h2 { "One invoice for several jobs of " (view.job.owner) }
                            @for j in &others { label.check { input type="checkbox" name="with" value=(j) checked[with.contains(j)]; span { "with job " (j) } } }
                            button.button { "Put together" }
                        }
                    }
                    (parts_that_came(id, &came, currency))
                    (charge_form(id, currency))
                    (payment_form(id, currency, ask.now))
                    p { a.button href="/invoices" { "All invoices" } }
                }
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}: invoice", id, view.job.amp.fields.short()),
            place: Place::Job(&view, None),
            head: frame::job_head(&view),
            buttons: html! { a.button href=(format!("/job/{id}/estimate")) { "Estimate" } },
            conditions: frame::power_strip(&view, ask),
            body,
        })
    })?;
    ok(page)
}

/// Lines with their amounts, and what is to pay. With a job, its charges can be taken off.
pub(crate) fn table(bill: &Bill, currency: &str, off: Option<JobId>, jobs: bool) -> Markup {
    html! {
        table.bill {
            thead { tr { @if jobs { th scope="col" { "Job" } } th scope="col" { "For" } th.figure scope="col" { "Time" } th.figure scope="col" { "An hour" } th.figure scope="col" { (currency) } @if off.is_some() { th { span.visually-hidden { "Take off" } } } } }
            tbody { @for line in &bill.lines { tr {
                @if jobs { td { @if let Some(j) = line.job { (j) } } }
                td { (words(line)) }
                td.figure { @if line.sort == Billed::Labour { (hours(line.minutes)) } }
                td.figure { @if line.sort == Billed::Labour { (money::exact(line.hour_minor, currency)) } }
                td.figure { (money::exact(line.amount_minor, currency).replace('-', "\u{2212}")) }
                @if let Some(id) = off { td { @if let Some(charge) = line.charge.filter(|_| line.job == Some(id)) {
                    form.inline method="post" action=(format!("/job/{id}/invoice")) {
                        input type="hidden" name="charge" value=(charge);
                        button.button.small-button name="do" value="off" aria-label=(format!("Take off: {}", line.what)) { "Off" }
                    }
                } } }
            } } }
            tfoot { tr {
                @if jobs { td {} }
                th scope="row" colspan="3" { @if bill.to_pay() < 0 { "To be paid back" } @else { "To pay" } }
                td.figure { strong { (money::exact(bill.to_pay().abs(), currency)) } }
                @if off.is_some() { td {} }
            } }
        }
    }
}

fn words(line: &BillLine) -> String {
    match line.sort {
        Billed::Labour if line.what.is_empty() => "work".to_owned(),
        Billed::Credit => format!("{}, credited", line.what),
        Billed::Deposit => format!("paid: {}", line.what),
        _ => line.what.clone(),
    }
}

/// `2:05`.
pub(crate) fn hours(minutes: i64) -> String {
    format!("{}:{:02}", minutes / 60, minutes % 60)
}

fn short(id: JobId, invoice: &Invoice) -> Markup {
    let f = &invoice.fields;
    html! {
        section.sheet {
            div.spread {
                h2 { "Invoice " (f.number) span.aside { " of " (f.invoiced_on) @if invoice.withdrawn { ", taken back" } } }
                strong { (money::shown_exact(invoice.bill.to_pay(), &f.currency)) }
            }
            @if !f.reason.is_empty() { p.small { "Above what was agreed: " (f.reason) } }
            div.others {
                a.button href=(format!("/invoice/{}", invoice.id)) { "As it prints" }
                @if !invoice.withdrawn {
                    form.inline method="post" action=(format!("/job/{id}/invoice")) {
                        input type="hidden" name="invoice" value=(invoice.id);
                        button.button name="do" value="back" { "Take it back" }
                    }
                }
            }
        }
    }
}

/// Order lines of a job of which something came, and which are not charged yet.
fn came(r: &Reader<'_>, id: JobId, charges: &[Charge]) -> Result<Vec<OrderLine>, ShopError> {
    let mut all = Vec::new();
    for need in r.needs_of(id)? {
        for line in r.lines_for(need)? {
            if line.came() > 0 && !charges.iter().any(|c| c.fields.line == Some(line.id)) {
                all.push(line);
            }
        }
    }
    Ok(all)
}

fn parts_that_came(id: JobId, came: &[OrderLine], currency: &str) -> Markup {
    html! {
        @if !came.is_empty() {
            section.sheet {
                h2 { "Came for this job, not charged yet" }
                @for line in came {
                    form.inline method="post" action=(format!("/job/{id}/invoice")) {
                        input type="hidden" name="line" value=(line.id);
                        input type="hidden" name="currency" value=(currency);
                        input type="hidden" name="sort" value="part";
                        input type="hidden" name="what" value=(part_words(line));
                        input type="hidden" name="taxed" value="yes";
                        label { span { (part_words(line)) } input name="amount" inputmode="decimal" required autocomplete="off" value=(line.fields.price_minor.map(|p| money::amount(p, currency)).unwrap_or_default()); }
                        button.button name="do" value="charge" { "Charge" }
                    }
                }
                p.hint { "The price of the line stands in the box: put your own beside it." }
            }
        }
    }
}

fn part_words(line: &OrderLine) -> String {
    let f = &line.fields;
    if line.came() == 1 {
        f.what.clone()
    } else {
        format!("{}, {}", f.what, f.unit.count(line.came()))
    }
}

fn charge_form(id: JobId, currency: &str) -> Markup {
    html! {
        details.sheet open {
            summary { "Charge something" }
            form method="post" action=(format!("/job/{id}/invoice")) {
                input type="hidden" name="currency" value=(currency);
                (field("What", "what", ""))
                div.pair {
                    (choice("It is", "sort", &[("part", "a part"), ("work", "work at a fixed price"), ("fee", "a fee"), ("credit", "a credit, taken off")], "part"))
                    (field(&format!("Amount, {currency}"), "amount", ""))
                }
                label.check { input type="checkbox" name="taxed" value="yes" checked; span { "taxes come on top" } }
                button.button name="do" value="charge" { "Write" }
            }
        }
    }
}

fn payment_form(id: JobId, currency: &str, now: At) -> Markup {
    html! {
        details.sheet {
            summary { "The owner paid" }
            form method="post" action=(format!("/job/{id}/invoice")) {
                input type="hidden" name="currency" value=(currency);
                div.triple {
                    (field(&format!("Amount, {currency}"), "amount", ""))
                    (field("How", "how", "deposit"))
                    label { span { "On" } input type="date" name="on" value=(dates::in_days(now, 0)) required; }
                }
                button.button name="do" value="paid" { "Write" }
            }
        }
    }
}

fn amount(fields: &Fields, currency: &str) -> Result<i64, Fail> {
    let text = fields.get("amount");
    money::parse(text, currency).ok_or_else(|| {
        Fail::typed(
            format!("\u{201c}{text}\u{201d} is no amount."),
            "Type it as 12 or 12.50.",
        )
    })
}

/// Writes a charge, a payment or the invoice.
pub(crate) fn change(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let stamp = ask.stamp();
    let currency = fields.line("currency");
    match fields.get("do") {
        "charge" => {
            let new = ChargeFields {
                sort: ChargeSort::of(fields.get("sort")).ok_or(Fail::NoPage)?,
                what: fields.line("what"),
                amount_minor: amount(fields, &currency)?,
                currency,
                taxed: fields.has("taxed"),
                line: fields.number("line").map(LineId),
            };
            site.shop.write(&stamp, |w| w.add_charge(id, &new))?;
        }
        "off" => {
            let charge = ChargeId(fields.number("charge").unwrap_or_default());
            site.shop.write(&stamp, |w| w.drop_charge(id, charge))?;
        }
        "paid" => {
            let new = PaymentFields {
                amount_minor: amount(fields, &currency)?,
                currency,
                paid_on: super::ordering::date(fields, "on")?,
                how: fields.line("how"),
            };
            site.shop.write(&stamp, |w| w.add_payment(id, &new))?;
        }
        "back" => {
            let invoice = InvoiceId(fields.number("invoice").unwrap_or_default());
            site.shop.write(&stamp, |w| {
                if !w.invoice(invoice)?.jobs().contains(&id) {
                    return Err(ShopError::Nothing("such invoice of this job".to_owned()));
                }
                w.take_back_invoice(invoice)
            })?;
        }
        "write" => return write(site, ask, id, fields),
        _ => return Err(Fail::NoPage),
    }
    go(format!("/job/{id}/invoice"))
}

fn write(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let jobs: Vec<JobId> = std::iter::once(id)
        .chain(
            fields
                .pairs()
                .filter(|(n, _)| *n == "with")
                .filter_map(|(_, v)| v.parse().ok().map(JobId)),
        )
        .collect();
    let (currency, usual, above) = site.shop.read(|r| {
        let currency = purse::currency(r)?;
        let usual = purse::usual_rate(r, &currency)?;
        let mut above = false;
        for job in &jobs {
            above |= purse::of(r, *job, ask.now)?.near() == Some(Near::Above);
        }
        Ok((currency, usual, above))
    })?;
    let reason = fields.line("reason");
    if above && reason.is_empty() {
        return Err(Fail::typed(
            "The job is above what the owner agreed to.",
            "Ask the owner first, and write down what is allowed; or type who agreed to more, and when. It stands on the invoice.",
        ));
    }
    let new = InvoiceFields {
        number: fields.line("number"),
        invoiced_on: super::ordering::date(fields, "on")?,
        currency,
        reason,
    };
    let expected = fields.number("expected").unwrap_or_default();
    let made = site.shop.write(&ask.stamp(), |w| {
        for job in &jobs {
            w.stop_clock(*job)?;
        }
        w.write_invoice(&jobs, &new, usual, expected)
    })?;
    go(format!("/invoice/{made}"))
}
