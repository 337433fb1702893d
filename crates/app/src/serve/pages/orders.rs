//! Parts and orders over all jobs: what came, what is short and what it holds up, what can be
//! finished, what is still to order, and what lies on the shelf.

use super::{area, choice, field};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::site::Site;
use crate::serve::{dates, money, part_words, sheets, work_out};
use maud::{Markup, html};
use shop::{
    At, Came, Job, JobId, Need, Order, OrderLine, Reader, ReadingState, ShopError, State,
    StockItem, Unit, Vendor, Verdict, WorkState,
};

/// A verdict that asks for a part which nobody has put on the list yet.
struct Asked {
    job: JobId,
    part: String,
    spec: String,
    why: String,
}

/// `/orders`.
pub(crate) fn show(site: &Site, ask: &Ask, fields: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let jobs = r.open_jobs()?;
        let orders = r.orders()?;
        let needs = r.needs()?;
        let stock = r.stock()?;
        let vendors = r.vendors()?;
        let asked = asked(site, r, &jobs, &needs, ask.now)?;
        let all = fields.get("show") == "all";
        let short = orders.iter().flat_map(|o| &o.lines).filter(|l| l.is_short()).count();
        let owing = orders.iter().filter(|o| !o.is_closed()).count();
        let shown: Vec<&Order> = orders.iter().rev().filter(|o| all || !o.is_closed()).collect();
        let to_order: Vec<&Need> = needs.iter().filter(|n| n.to_order() > 0).collect();
        let first = orders.iter().flat_map(|o| &o.lines).find(|l| l.owed() > 0);
        let body = html! {
            div.orders {
                div {
                    @if shown.is_empty() { section.sheet { h2 { "Nothing is owed" } p { "What you order stands here until all of it has come." } } }
                    @for order in &shown { (one_order(order, fields, ask.now)) }
                    (shelf(&stock))
                }
                div {
                    (today(r, &jobs, &needs, &orders)?)
                    @if let Some(line) = first {
                        (frame::primary_link(&format!("/orders?line={}#line-{}", line.id, line.id), "Take in a delivery", "count what came, line by line", "Enter"))
                    }
                    (still_to_order(&to_order, &stock, &vendors, ask.now))
                    (by_verdict(&asked))
                    (new_need(fields, &jobs))
                    (several(&to_order, &vendors, ask.now))
                    (new_vendor())
                    (from_csv())
                }
            }
        };
        let count = match short {
            0 => String::new(),
            1 => " 1 line short".to_owned(),
            n => format!(" {n} lines short"),
        };
        frame::page(site, ask, r, Page {
            title: "Orders".to_owned(),
            place: Place::Shop,
            head: html! { h1 { "Orders" span.count { (count) } } },
            buttons: html! {
                a.button.chosen[!all] href="/orders" aria-current=[(!all).then_some("true")] { "Owed " (owing) }
                a.button.chosen[all] href="/orders?show=all" aria-current=[all.then_some("true")] { "All " (orders.len()) }
                a.button href="/orders.csv" { "As CSV" }
            },
            conditions: html! {},
            body,
        })
    })?;
    ok(page)
}

/// Replace verdicts of open jobs for which nothing was needed, ordered or fitted yet.
fn asked(
    site: &Site,
    r: &Reader<'_>,
    jobs: &[Job],
    needs: &[Need],
    now: At,
) -> Result<Vec<Asked>, ShopError> {
    let manner = super::parts::manner(r)?;
    let mut all = Vec::new();
    for job in jobs {
        let states = r.part_states(job.id)?;
        let work = r.work(job.id)?;
        let found = work_out::found(site, r, job.id, ReadingState::AsFound)?;
        let verdicts = r.verdicts(job.id)?;
        for given in verdicts.clone() {
            let settled = given.verdict != Verdict::Replace
                || needs
                    .iter()
                    .any(|n| n.fields.job == Some(job.id) && names(&n.fields.part, &given.part))
                || states
                    .iter()
                    .any(|s| s.fields.part == given.part && s.fields.state != State::Original)
                || work.iter().any(|w| {
                    names(&w.fields.part, &given.part) && w.fields.state != WorkState::Open
                });
            if settled {
                continue;
            }
            let judged = sheets::judged_of(site, &found, &verdicts, dates::year(now));
            let fit = judged
                .parts
                .iter()
                .find(|j| j.part == given.part)
                .and_then(|j| j.replacement.as_ref());
            let spec = match fit {
                Some(fit) => fit.words.clone(),
                None => found
                    .traced
                    .circuit
                    .parts
                    .iter()
                    .find(|p| p.name == given.part)
                    .map_or_else(String::new, |p| {
                        part_words::marked(p, &site.library, manner)
                    }),
            };
            all.push(Asked {
                job: job.id,
                part: given.part,
                spec,
                why: given.reason,
            });
        }
    }
    Ok(all)
}

/// Is the part among those named (`V5 V6`, `V5, V6`)?
fn names(all: &str, part: &str) -> bool {
    all.split([' ', ',']).any(|p| p == part)
}

fn tag(job: Option<JobId>) -> Markup {
    html! {
        @match job {
            Some(job) => a.tag href=(format!("/job/{job}")) aria-label=(format!("Job {job}")) { (job) },
            None => span.aside { "shelf" },
        }
    }
}

fn one_order(order: &Order, fields: &Fields, now: At) -> Markup {
    let short = order.lines.iter().any(OrderLine::is_short);
    let write = fields.number("write") == Some(order.id.0);
    html! {
        section.sheet.order id=(format!("order-{}", order.id)) {
            div.spread {
                h2 { (order.vendor_name)
                    span.aside { " order " @if order.fields.reference.is_empty() { (order.id) } @else { (order.fields.reference) }
                        @if !order.fields.ordered_on.is_empty() { ", " (dates::promised(&order.fields.ordered_on, now)) } }
                }
                @if short { a.button href=(format!("/orders?write={}#order-{}", order.id, order.id)) { "Write to " (order.vendor_name) } }
            }
            @if write && short { (area("To send, from the short lines", "letter", &letter(order, now), 9)) }
            ul.order-lines { @for line in &order.lines { (one_line(line, &order.fields.currency, fields, now)) } }
        }
    }
}

fn one_line(line: &OrderLine, currency: &str, fields: &Fields, now: At) -> Markup {
    let f = &line.fields;
    let open = fields.number("line") == Some(line.id.0);
    html! {
        li.short[line.is_short()] id=(format!("line-{}", line.id)) {
            details open[open] {
                summary {
                    span.title { (f.what) @if !f.spec.is_empty() { span.small { (f.spec) } } }
                    span.came { (f.unit.count(line.came())) " of " (f.quantity) }
                    span.owed { (owed(line, now)) }
                }
                div.opened {
                    @if let Some(price) = f.price_minor { p.small { "Price of the line " (money::shown(price, currency)) } }
                    @if line.given_up > 0 { p.small { (f.unit.count(line.given_up)) " no longer waited for" } }
                    @if !line.deliveries.is_empty() {
                        ul.small { @for d in &line.deliveries {
                            li { (dates::since(d.at, now)) ": " (f.unit.count(d.fields.quantity)) " " (d.fields.came.word())
                                @if !d.fields.note.is_empty() { ", " (d.fields.note) }
                                @if !d.fields.promised.is_empty() { ", promised " (dates::promised(&d.fields.promised, now)) } }
                        } }
                    }
                    form method="post" action="/orders/line" {
                        input type="hidden" name="line" value=(line.id);
                        div.pair {
                            (choice("It", "came", &[("right", "came as ordered"), ("wrong", "came wrong, goes back"), ("substituted", "came as a substitute, stays"), ("back-ordered", "comes later"), ("returned", "had come, went back")], "right"))
                            label { span { "How many" @if f.unit == Unit::Length { ", cm" } } input name="quantity" inputmode="numeric" value=(line.owed().max(1)) required autocomplete="off"; }
                        }
                        div.pair {
                            label { span { "Promised now for" } input type="date" name="promised"; }
                            (field("What was wrong, what came", "note", ""))
                        }
                        div.others {
                            button.button name="do" value="came" { "Write" }
                            @if line.owed() > 0 { button.button name="do" value="give-up" { "Wait no longer" } }
                        }
                    }
                }
            }
            span.holds { span.visually-hidden { @if line.owed() > 0 { "holds up" } @else { "for" } } (tag(line.job)) }
        }
    }
}

/// What a line owes, in a few words.
fn owed(line: &OrderLine, now: At) -> String {
    if line.owed() == 0 {
        return if line.given_up > 0 {
            "closed".to_owned()
        } else {
            "all came".to_owned()
        };
    }
    let when = match line.promised() {
        "" => "no date given".to_owned(),
        date => dates::promised(date, now),
    };
    let count = line.fields.unit.count(line.owed());
    let what = if !line.is_short() {
        format!("{count} to come")
    } else if line.count(Came::Wrong) > 0 && line.came() == 0 {
        format!("{count} short, came wrong")
    } else if line.count(Came::Returned) > 0 {
        format!("{count} short, went back")
    } else {
        format!("{count} short")
    };
    format!("{what}, {when}")
}

/// A message to the vendor about what is short. Nothing is said that the record does not hold.
fn letter(order: &Order, now: At) -> String {
    let mut text = String::from("Good day,\n\nof our order");
    if !order.fields.reference.is_empty() {
        text.push(' ');
        text.push_str(&order.fields.reference);
    }
    if !order.fields.ordered_on.is_empty() {
        text.push_str(" of ");
        text.push_str(&dates::promised(&order.fields.ordered_on, now));
    }
    text.push_str(" these lines are still open:\n");
    for line in order.lines.iter().filter(|l| l.is_short()) {
        let f = &line.fields;
        text.push_str(&format!("\n- {}", f.what));
        if !f.spec.is_empty() {
            text.push_str(&format!(" ({})", f.spec));
        }
        text.push_str(&format!(
            ": ordered {}, still owed {}",
            f.unit.count(f.quantity),
            f.unit.count(line.owed())
        ));
        for d in &line.deliveries {
            let happened = match d.fields.came {
                Came::Wrong => "came wrong",
                Came::Returned => "went back to you",
                Came::BackOrdered => "you said it comes later",
                Came::Right | Came::Substituted => continue,
            };
            text.push_str(&format!("; {} {happened}", f.unit.count(d.fields.quantity)));
            if !d.fields.note.is_empty() {
                text.push_str(&format!(" ({})", d.fields.note));
            }
        }
        match line.promised() {
            "" => text.push_str("; no date was given"),
            date => text.push_str(&format!("; promised for {}", dates::promised(date, now))),
        }
        text.push('.');
    }
    let wrong = order.lines.iter().filter(|l| l.is_short());
    let wrong = wrong
        .flat_map(|l| &l.deliveries)
        .any(|d| d.fields.came == Came::Wrong);
    text.push_str("\n\nPlease tell us when they come");
    if wrong {
        text.push_str(", and how what came wrong is to go back");
    }
    text.push_str(".\n");
    text
}

/// Jobs that had to wait for parts or needed some, and have all of them now.
fn today(
    r: &Reader<'_>,
    jobs: &[Job],
    needs: &[Need],
    orders: &[Order],
) -> Result<Markup, ShopError> {
    let mut able = Vec::new();
    for job in jobs {
        let own: Vec<&Need> = needs
            .iter()
            .filter(|n| n.fields.job == Some(job.id))
            .collect();
        let owes = orders
            .iter()
            .flat_map(|o| &o.lines)
            .any(|l| l.job == Some(job.id) && l.owed() > 0);
        if own.is_empty() || owes || own.iter().any(|n| !n.is_here()) {
            continue;
        }
        let left = r
            .work(job.id)?
            .iter()
            .filter(|w| w.fields.state == WorkState::Open)
            .count();
        let here: Vec<&str> = own.iter().map(|n| n.fields.what.as_str()).collect();
        able.push((job, here.join(", "), left));
    }
    Ok(html! {
        section.sheet {
            h2 { "Can be finished today" }
            @if able.is_empty() { p.hint { "No amp has all the parts it needs." } }
            ul.found { @for (job, here, left) in &able {
                li { a href=(format!("/job/{}", job.id)) {
                    span.tag { (job.id) }
                    span.amp { (job.amp.fields.short()) }
                    span.small { (here) " here; " @if *left == 1 { "1 work item left" } @else { (left) " work items left" } }
                } }
            } }
        }
    })
}

fn still_to_order(needs: &[&Need], stock: &[StockItem], vendors: &[Vendor], now: At) -> Markup {
    html! {
        section.sheet {
            h2 { "Still to order, all jobs" }
            @if needs.is_empty() { p.hint { "Nothing is on the list." } }
            @if !needs.is_empty() && vendors.is_empty() { p.hint { "Write down a vendor first." } }
            ul.to-order { @for need in needs {
                @let f = &need.fields;
                li {
                    details {
                        summary { span.title { (f.what) @if !f.spec.is_empty() { span.small { (f.spec) } } } span.came { (f.unit.count(need.to_order())) } }
                        div.opened {
                            @if !f.why.is_empty() { p.small { (f.why) } }
                            @for item in stock.iter().filter(|s| s.there > 0 && s.fields.unit == f.unit && alike(s, need)) {
                                form.inline method="post" action="/orders" {
                                    input type="hidden" name="need" value=(need.id);
                                    input type="hidden" name="item" value=(item.id);
                                    button.button name="do" value="take" { "Take from stock: " (item.fields.what) ", " (item.fields.unit.count(item.there)) " there" }
                                }
                            }
                            form method="post" action="/orders" {
                                input type="hidden" name="need" value=(need.id);
                                input type="hidden" name="today" value=(dates::in_days(now, 0));
                                @if !vendors.is_empty() {
                                    label { span { "From" } select name="vendor" { @for v in vendors { option value=(v.id) { (v.fields.name) } } } }
                                    div.pair { (field("Their number for the order", "reference", "")) (field("Price of the line", "price", "")) }
                                    div.pair { (field("Currency", "currency", "EUR")) label { span { "Promised for" } input type="date" name="promised"; } }
                                }
                                div.others {
                                    @if !vendors.is_empty() { button.button name="do" value="order" { "It is ordered" } }
                                    button.button name="do" value="drop" { "Off the list" }
                                }
                            }
                        }
                    }
                    span.holds { (tag(f.job)) }
                }
            } }
        }
    }
}

/// Could it be the same thing? A suggestion only: a hand takes it.
fn alike(item: &StockItem, need: &Need) -> bool {
    let words = |text: &str| -> Vec<String> {
        text.split(|c: char| !c.is_alphanumeric())
            .filter(|w| !w.is_empty())
            .map(str::to_lowercase)
            .collect()
    };
    let of_need = words(&format!("{} {}", need.fields.what, need.fields.spec));
    words(&item.fields.what).iter().any(|w| of_need.contains(w))
}

fn by_verdict(asked: &[Asked]) -> Markup {
    html! {
        @if !asked.is_empty() {
            section.sheet {
                h2 { "Asked for by a verdict" }
                ul.to-order { @for a in asked {
                    li {
                        a href=(format!("/orders?job={}&part={}&spec={}&why={}#need", a.job, super::chart::percent(&a.part), super::chart::percent(&a.spec), super::chart::percent(&a.why))) {
                            (a.part) @if !a.spec.is_empty() { " " span.small { (a.spec) } }
                        }
                        span.holds { (tag(Some(a.job))) }
                    }
                } }
            }
        }
    }
}

fn units() -> [(&'static str, &'static str); 4] {
    [
        ("piece", "pieces"),
        ("pair", "pairs"),
        ("set", "sets"),
        ("length", "centimetres"),
    ]
}

fn new_need(fields: &Fields, jobs: &[Job]) -> Markup {
    let part = fields.get("part");
    let what = fields.some("what").unwrap_or(part);
    let for_job = fields.number("job");
    html! {
        section.sheet #need {
            h2 { "Put on the shopping list" }
            form method="post" action="/orders" {
                (field("What", "what", what))
                (field("Value, tolerance, volts, watts, kind, leads, what would do as well", "spec", fields.get("spec")))
                div.pair {
                    label { span { "How many" } input name="quantity" inputmode="numeric" value="1" autocomplete="off"; }
                    (choice("Counted in", "unit", &units(), "piece"))
                }
                div.pair {
                    label { span { "For" } select name="job" {
                        option value="" { "the shelf" }
                        @for job in jobs { option value=(job.id) selected[for_job == Some(job.id.0)] { (job.id) " " (job.amp.fields.short()) } }
                    } }
                    (field("Part in the wiring", "part", part))
                }
                (field("Why", "why", fields.get("why")))
                button.button name="do" value="need" { "Put on" }
            }
        }
    }
}

/// Several things from one vendor, as one order with a price for each line.
fn several(needs: &[&Need], vendors: &[Vendor], now: At) -> Markup {
    html! {
        @if needs.len() > 1 && !vendors.is_empty() {
            details.sheet.several {
                summary { "Order several things at once" }
                form method="post" action="/orders" {
                    input type="hidden" name="today" value=(dates::in_days(now, 0));
                    ul { @for need in needs {
                        @let f = &need.fields;
                        li.pair {
                            label.check { input type="checkbox" name="needs" value=(need.id); span { (f.unit.count(need.to_order())) " " (f.what) @if let Some(j) = f.job { ", job " (j) } } }
                            label { span { "Price of the line" } input name=(format!("price {}", need.id)) inputmode="decimal" autocomplete="off"; }
                        }
                    } }
                    label { span { "From" } select name="vendor" { @for v in vendors { option value=(v.id) { (v.fields.name) } } } }
                    div.triple {
                        (field("Their number for the order", "reference", ""))
                        (field("Currency", "currency", "EUR"))
                        label { span { "Promised for" } input type="date" name="promised"; }
                    }
                    button.button name="do" value="order-several" { "They are ordered" }
                }
            }
        }
    }
}

fn from_csv() -> Markup {
    html! {
        details.sheet {
            summary { "Orders from a file" }
            form method="post" action="/orders/csv" enctype="multipart/form-data" {
                label { span { "CSV with the columns of the one that comes out" } input type="file" name="file" accept=".csv,text/csv" required; }
                p.hint { "What stands here already is not written twice; where more of it came, that is received." }
                button.button { "Take it in" }
            }
        }
    }
}

fn new_vendor() -> Markup {
    html! {
        details.sheet {
            summary { "A new vendor" }
            form method="post" action="/orders" {
                (field("Name", "name", ""))
                (field("How to write to them", "contact", ""))
                button.button name="do" value="vendor" { "Write down" }
            }
        }
    }
}

fn shelf(stock: &[StockItem]) -> Markup {
    html! {
        details.sheet.shelf {
            summary { "On the shelf" span.small { " " (stock.len()) @if stock.len() == 1 { " sort" } @else { " sorts" } } }
            ul.to-order { @for item in stock {
                @let f = &item.fields;
                li {
                    details {
                        summary { span.title { (f.what) @if !f.spec.is_empty() { span.small { (f.spec) } } } span.came { (f.unit.count(item.there)) } }
                        form.inline.opened method="post" action="/orders" {
                            input type="hidden" name="item" value=(item.id);
                            label { "How many" input name="quantity" inputmode="numeric" autocomplete="off" required; }
                            label { "Why" input name="note" autocomplete="off"; }
                            button.button name="do" value="put" { "Put in" }
                            button.button name="do" value="out" { "Take out" }
                        }
                    }
                    span.holds { span.aside { (f.place) } }
                }
            } }
            form method="post" action="/orders" {
                div.pair { (field("What", "what", "")) (field("Specification", "spec", "")) }
                div.triple {
                    (choice("Counted in", "unit", &units(), "piece"))
                    (field("Where it lies", "place", ""))
                    label { span { "How many are there" } input name="quantity" inputmode="numeric" value="1" autocomplete="off"; }
                }
                button.button name="do" value="stock" { "Keep it on the shelf" }
            }
        }
    }
}
