//! Invoices as they print, the list of them, and the same for the book-keeping as CSV.

use super::invoice;
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::money;
use crate::serve::site::Site;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::IntoResponse as _;
use maud::{Markup, html};
use shop::{Client, EstimateItem, Invoice, InvoiceId, Job, Settings};

/// `/invoice/7`: as it prints.
pub(crate) fn one(site: &Site, ask: &Ask, id: InvoiceId) -> Answer {
    let page = site.shop.read(|r| {
        let invoice = r.invoice(id)?;
        let client = r.client(invoice.client)?;
        let mut jobs = Vec::new();
        let mut refused = Vec::new();
        for job in invoice.jobs() {
            refused.extend(r.estimate(job)?.into_iter().filter(EstimateItem::is_refused));
            jobs.push(r.job(job)?);
        }
        let body = paper(&invoice, &client, &jobs, &refused, &r.settings()?);
        frame::page(site, ask, r, Page {
            title: format!("Invoice {}", invoice.fields.number),
            place: Place::Shop,
            head: html! { h1.no-print { "Invoice " (invoice.fields.number) } },
            buttons: html! {
                @if let Some(job) = jobs.first() { a.button href=(format!("/job/{}/invoice", job.id)) { "Back to job " (job.id) } }
                a.button href="/invoices" { "All invoices" }
            },
            conditions: html! {},
            body,
        })
    })?;
    ok(page)
}

fn lines(text: &str) -> Markup {
    html! { @for (i, line) in text.lines().enumerate() { @if i > 0 { br; } (line) } }
}

fn paper(
    invoice: &Invoice,
    client: &Client,
    jobs: &[Job],
    refused: &[EstimateItem],
    set: &Settings,
) -> Markup {
    let f = &invoice.fields;
    let get = |name: &str| set.get(name).map_or("", String::as_str);
    html! {
        article.sheet.invoice {
            div.spread {
                p { strong { (get("bench_name")) } @if !get("bench_address").is_empty() { br; (lines(get("bench_address"))) } }
                p.number { strong { "Invoice " (f.number) } br; (f.invoiced_on) }
            }
            @if invoice.withdrawn { p.wrong { "Taken back: nothing is to be paid on this invoice." } }
            p.to { @if client.blanked { "The owner's details were blanked." } @else { (client.fields.name) br; (lines(&client.fields.address)) } }
            @for job in jobs { p { "Job " (job.id) ": " (job.amp.fields.name()) @if !job.amp.fields.serial.is_empty() { ", serial number " (job.amp.fields.serial) } } }
            (invoice::table(&invoice.bill, &f.currency, None, jobs.len() > 1))
            @if !f.reason.is_empty() { p { "Above the sum first agreed: " (f.reason) } }
            @if !refused.is_empty() {
                h2 { "Offered, and declined by the owner" }
                ul { @for item in refused { li { (item.fields.what) @if let Some(s) = &item.said { ", declined on " (s.on) } } } }
            }
            @if !get("invoice_foot").is_empty() { p.foot-words { (lines(get("invoice_foot"))) } }
        }
    }
}

/// `/invoices`.
pub(crate) fn show(site: &Site, ask: &Ask, _: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let all = r.invoices()?;
        let body = html! {
            section.sheet {
                @if all.is_empty() { p.hint { "No invoice was written yet. It is written on the page of a job." } }
                @else { table.bill {
                    thead { tr { th scope="col" { "Number" } th scope="col" { "Of" } th scope="col" { "Jobs" } th.figure scope="col" { "To pay" } } }
                    tbody { @for i in all.iter().rev() { tr {
                        td { a href=(format!("/invoice/{}", i.id)) { (i.fields.number) } @if i.withdrawn { ", taken back" } }
                        td { (i.fields.invoiced_on) }
                        td { (i.jobs().iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")) }
                        td.figure { (money::shown_exact(i.bill.to_pay(), &i.fields.currency)) }
                    } } }
                } }
            }
        };
        frame::page(site, ask, r, Page {
            title: "Invoices".to_owned(),
            place: Place::Shop,
            head: html! { h1 { "Invoices" } },
            buttons: html! { a.button href="/invoices.csv" { "As CSV" } },
            conditions: html! {},
            body,
        })
    })?;
    ok(page)
}

/// `/invoices.csv`: every line of every invoice.
pub(crate) fn as_csv(site: &Site, _: &Ask, _: &Fields) -> Answer {
    let all = site.shop.read(|r| r.invoices())?;
    let text =
        crate::csv_text::of(rows(&all)).map_err(|e| Fail::typed(e.what.clone(), "Try again."))?;
    let headers = [
        (CONTENT_TYPE, "text/csv; charset=utf-8"),
        (CONTENT_DISPOSITION, "attachment; filename=\"invoices.csv\""),
    ];
    Ok((headers, text).into_response())
}

fn rows(all: &[Invoice]) -> Vec<Vec<String>> {
    let head = [
        "invoice", "date", "state", "job", "sort", "what", "minutes", "hour", "amount", "currency",
    ];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    for invoice in all {
        let f = &invoice.fields;
        let state = if invoice.withdrawn {
            "taken back"
        } else {
            "written"
        };
        for l in &invoice.bill.lines {
            rows.push(vec![
                f.number.clone(),
                f.invoiced_on.clone(),
                state.to_owned(),
                l.job.map(|j| j.to_string()).unwrap_or_default(),
                l.sort.word().to_owned(),
                l.what.clone(),
                l.minutes.to_string(),
                money::exact(l.hour_minor, &f.currency),
                money::exact(l.amount_minor, &f.currency),
                f.currency.clone(),
            ]);
        }
    }
    rows
}
