//! The estimate: safety, repair, prevention and wishes apart, each with what it costs at least and
//! at most, and what the owner said to each item.

use super::{area, choice, field};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::run::StepState;
use crate::serve::site::Site;
use crate::serve::state::{self, JobView};
use crate::serve::{dates, marks, money, purse};
use maud::{Markup, html};
use shop::{
    At, EstimateFields, EstimateId, EstimateItem, EstimateSort, JobId, Reader, ShopError, Verdict,
    WorkState,
};

/// What a sort is for, in the owner's words.
fn heading(sort: EstimateSort) -> &'static str {
    match sort {
        EstimateSort::Safety => "Safety: not optional",
        EstimateSort::Repair => "Repair: so that it works",
        EstimateSort::Prevention => "Prevention: so that it goes on working",
        EstimateSort::Wishes => "Wishes",
    }
}

/// `/job/42/estimate`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let items = r.estimate(id)?;
        let purse = purse::of(r, id, ask.now)?;
        let currency = purse.currency.clone();
        let missing = not_on_it(r, id, &items)?;
        let open = items.iter().find(|i| i.said.is_none());
        let body = html! {
            div.orders.estimate {
                div {
                    div.only-print {
                        p { (r.setting("bench_name")?.unwrap_or_default()) }
                        @for line in r.setting("bench_address")?.unwrap_or_default().lines() { p { (line) } }
                        h2 { "Estimate, " (dates::in_days(ask.now, 0)) ", job " (id) }
                    }
                    @if items.is_empty() { section.sheet { h2 { "Nothing is on the estimate" } p { "Put on what the amp needs, with what it costs at least and at most." } } }
                    @for sort in EstimateSort::ALL {
                        @let of: Vec<&EstimateItem> = items.iter().filter(|i| i.fields.sort == sort).collect();
                        @if !of.is_empty() { (group(id, sort, &of, ask.now, view.seen.0)) }
                    }
                    @if !items.is_empty() {
                        section.sheet {
                            h2 { "In all, without what was refused" }
                            p.sum { (ranges(&items)) }
                            p.only-print { "Taxes are not in it." }
                            details.no-print { summary { "To send to the owner" } (area("A message, from the items above", "letter", &letter(&view, &items), 14)) }
                        }
                    }
                }
                div.no-print {
                    @match open {
                        Some(i) => { (frame::primary_link(&format!("/job/{id}/estimate?at={}#item-{}", i.id, i.id), "Write down the owner's answer", &i.fields.what, "Enter")) }
                        None if items.is_empty() => { (frame::primary_link(&format!("/job/{id}/estimate#new"), "Put on the first item", "what, why, at least, at most", "Enter")) }
                        None => { (frame::primary_link(&format!("/job/{id}/intake#allows"), "Write down what is allowed", "who, how, up to how much", "Enter")) }
                    }
                    section.sheet.money { h2 { "So far" } (purse.words()) }
                    (not_yet(id, &missing))
                    (new_item(id, fields, &currency))
                }
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}: estimate", id, view.job.amp.fields.short()),
            place: Place::Job(&view, None),
            head: frame::job_head(&view),
            buttons: html! { a.button href=(format!("/job/{id}/invoice")) { "Invoice" } },
            conditions: frame::power_strip(&view, ask),
            body,
        })
    })?;
    ok(page)
}

fn range(low: i64, high: i64, currency: &str) -> String {
    if low == high {
        money::shown(low, currency)
    } else {
        format!(
            "{} to {}",
            money::shown(low, currency),
            money::amount(high, currency)
        )
    }
}

/// The sum of what was not refused, for each currency.
fn ranges(items: &[EstimateItem]) -> String {
    let mut sums: Vec<(&str, i64, i64)> = Vec::new();
    for f in items.iter().filter(|i| !i.is_refused()).map(|i| &i.fields) {
        match sums.iter_mut().find(|s| s.0 == f.currency) {
            Some(s) => {
                s.1 = s.1.saturating_add(f.low_minor);
                s.2 = s.2.saturating_add(f.high_minor);
            }
            None => sums.push((&f.currency, f.low_minor, f.high_minor)),
        }
    }
    let all: Vec<String> = sums.iter().map(|(c, l, h)| range(*l, *h, c)).collect();
    if all.is_empty() {
        "nothing".to_owned()
    } else {
        all.join(", ")
    }
}

/// What was said to an item, in a few words.
fn said(item: &EstimateItem, now: At) -> String {
    match &item.said {
        None => "not answered".to_owned(),
        Some(s) => {
            let day = dates::promised(&s.on, now);
            let word = if s.yes { "yes" } else { "refused" };
            format!("{word}, {day}")
        }
    }
}

fn group(id: JobId, sort: EstimateSort, items: &[&EstimateItem], now: At, seen: i64) -> Markup {
    html! {
        section.sheet.order {
            h2 { (heading(sort)) }
            ul.order-lines.answered { @for item in items { (one(id, item, now, seen)) } }
        }
    }
}

fn one(id: JobId, item: &EstimateItem, now: At, seen: i64) -> Markup {
    let f = &item.fields;
    let joint = match &item.said {
        None => StepState::Open,
        Some(s) if s.yes => StepState::Done,
        Some(_) => StepState::Held,
    };
    html! {
        li id=(format!("item-{}", item.id)) {
            details open[item.said.is_none()] {
                summary {
                    span.title { (marks::one_joint(joint)) " " (f.what) @if !f.part.is_empty() { " " (f.part) } @if !f.why.is_empty() { span.small { (f.why) } } }
                    span.came { (range(f.low_minor, f.high_minor, &f.currency)) }
                    span.owed { (said(item, now)) }
                }
                div.opened.no-print {
                    @if let Some(s) = &item.said { @if !s.says.is_empty() { p.small { "“" (s.says) "”" } } }
                    form method="post" action=(format!("/job/{id}/estimate")) {
                        input type="hidden" name="item" value=(item.id);
                        div.pair {
                            label { span { "The owner said on" } input type="date" name="on" value=(dates::in_days(now, 0)) required; }
                            (field("In words", "says", ""))
                        }
                        div.others {
                            button.button name="do" value="yes" { "Yes, do it" }
                            button.button name="do" value="no" { "No, refused" }
                            @if item.said.is_none() { button.button name="do" value="off" { "Off the estimate" } }
                        }
                    }
                    @if item.said.is_none() {
                        details {
                            summary { "Change it" }
                            form method="post" action=(format!("/job/{id}/estimate")) {
                                input type="hidden" name="item" value=(item.id);
                                input type="hidden" name="seen" value=(seen);
                                input type="hidden" name="currency" value=(f.currency);
                                (inputs(f))
                                button.button name="do" value="change" { "Write" }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn inputs(f: &EstimateFields) -> Markup {
    let typed = |minor: i64| {
        if f.what.is_empty() {
            String::new()
        } else {
            money::amount(minor, &f.currency)
        }
    };
    let sorts: Vec<(&str, &str)> = EstimateSort::ALL
        .into_iter()
        .map(|s| (s.word(), s.word()))
        .collect();
    html! {
        (field("What", "what", &f.what))
        div.pair { (field("Part, if in the circuit", "part", &f.part)) (field("Why", "why", &f.why)) }
        div.triple {
            (choice("It is", "sort", &sorts, f.sort.word()))
            (field(&format!("At least, {}", f.currency), "low", &typed(f.low_minor)))
            (field("At most", "high", &typed(f.high_minor)))
        }
    }
}

fn new_item(id: JobId, fields: &Fields, currency: &str) -> Markup {
    let prefilled = EstimateFields {
        sort: EstimateSort::of(fields.get("sort")).unwrap_or_default(),
        part: fields.line("part"),
        why: fields.line("why"),
        currency: currency.to_owned(),
        ..EstimateFields::default()
    };
    let what = fields.line("what");
    html! {
        section.sheet #new {
            h2 { "Put on the estimate" }
            form method="post" action=(format!("/job/{id}/estimate")) {
                input type="hidden" name="currency" value=(currency);
                @if what.is_empty() { (inputs(&prefilled)) }
                @else {
                    @let mut f = prefilled;
                    @let typed = { f.what = what; inputs(&f) };
                    (typed)
                }
                button.button name="do" value="add" { "Put on" }
            }
        }
    }
}

/// A thing that the record asks for and the estimate does not have.
struct Wanted {
    what: String,
    part: String,
    why: String,
}

/// Parts to be replaced and open work items that are not on the estimate.
fn not_on_it(r: &Reader<'_>, id: JobId, items: &[EstimateItem]) -> Result<Vec<Wanted>, ShopError> {
    let has = |what: &str, part: &str| {
        items.iter().any(|i| {
            i.fields.what == what
                || (!part.is_empty() && i.fields.part.split([' ', ',']).any(|p| p == part))
        })
    };
    let mut all: Vec<Wanted> = Vec::new();
    for w in r.work(id)? {
        if w.fields.state == WorkState::Open && !has(&w.fields.title, &w.fields.part) {
            all.push(Wanted {
                what: w.fields.title,
                part: w.fields.part,
                why: w.fields.why,
            });
        }
    }
    for v in r.verdicts(id)? {
        let listed = all.iter().any(|w| w.part == v.part);
        if v.verdict == Verdict::Replace && !listed && !has("", &v.part) {
            all.push(Wanted {
                what: format!("new {}", v.part),
                part: v.part,
                why: v.reason,
            });
        }
    }
    Ok(all)
}

fn not_yet(id: JobId, all: &[Wanted]) -> Markup {
    html! {
        @if !all.is_empty() {
            section.sheet {
                h2 { "Asked for, and not on the estimate" }
                ul.to-order { @for w in all {
                    li { a href=(format!("/job/{id}/estimate?what={}&part={}&why={}#new", super::chart::percent(&w.what), super::chart::percent(&w.part), super::chart::percent(&w.why))) {
                        (w.what) @if !w.why.is_empty() { " " span.small { (w.why) } }
                    } }
                } }
            }
        }
    }
}

/// A message to the owner. Nothing is said that the record does not hold.
fn letter(view: &JobView, items: &[EstimateItem]) -> String {
    let mut text = format!(
        "Good day,\n\nthis is the estimate for your {}, job {}.\n",
        view.job.amp.fields.name(),
        view.job.id
    );
    for sort in EstimateSort::ALL {
        let of: Vec<&EstimateItem> = items.iter().filter(|i| i.fields.sort == sort).collect();
        if of.is_empty() {
            continue;
        }
        text.push_str(&format!("\n{}\n", heading(sort)));
        for item in of {
            let f = &item.fields;
            text.push_str(&format!(
                "- {}{}: {}",
                f.what,
                if f.why.is_empty() {
                    String::new()
                } else {
                    format!(" ({})", f.why)
                },
                range(f.low_minor, f.high_minor, &f.currency)
            ));
            if item.is_refused() {
                text.push_str("; you refused it");
            }
            text.push('\n');
        }
    }
    text.push_str(&format!(
        "\nIn all, without what you refused: {}. Taxes are not in it.\n\nPlease answer each item with yes or no. Above the sum that you allow I call you before I go on.\n",
        ranges(items)
    ));
    text
}

/// Writes an item or an answer.
pub(crate) fn change(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let stamp = ask.stamp();
    let item = || EstimateId(fields.number("item").unwrap_or_default());
    let own = |r: &Reader<'_>| -> Result<EstimateItem, ShopError> {
        let found = r.estimate_item(item())?;
        if found.job == id {
            Ok(found)
        } else {
            Err(ShopError::Nothing("such item in this job".to_owned()))
        }
    };
    let mut to = format!("/job/{id}/estimate");
    match fields.get("do") {
        "add" => {
            let new = typed(fields)?;
            site.shop.write(&stamp, |w| w.add_estimate(id, &new))?;
        }
        "change" => {
            let new = typed(fields)?;
            site.shop.write(&stamp, |w| {
                own(w)?;
                w.change_estimate(item(), &new, false, fields.seen())
            })?;
        }
        "off" => site.shop.write(&stamp, |w| {
            let now = own(w)?;
            w.change_estimate(item(), &now.fields, true, None)
        })?,
        said @ ("yes" | "no") => {
            let on = super::ordering::date(fields, "on")?;
            site.shop.write(&stamp, |w| {
                own(w)?;
                w.owner_said(item(), said == "yes", &on, &fields.line("says"))
            })?;
            to.push_str(&format!("#item-{}", item()));
        }
        _ => return Err(Fail::NoPage),
    }
    go(to)
}

fn typed(fields: &Fields) -> Result<EstimateFields, Fail> {
    let currency = fields.line("currency");
    let price = |name: &str| {
        let text = fields.get(name);
        money::parse(text, &currency).ok_or_else(|| {
            Fail::typed(
                format!("\u{201c}{text}\u{201d} is no price."),
                "Type it as 12 or 12.50.",
            )
        })
    };
    let low_minor = price("low")?;
    Ok(EstimateFields {
        sort: EstimateSort::of(fields.get("sort")).ok_or(Fail::NoPage)?,
        what: fields.line("what"),
        part: fields.line("part"),
        why: fields.line("why"),
        low_minor,
        high_minor: if fields.get("high").is_empty() {
            low_minor
        } else {
            price("high")?
        },
        currency,
    })
}
