//! The bench: every open amp, where it is, what it waits for, what hands do next.

use crate::serve::ask::{Ask, Fields};
use crate::serve::dates;
use crate::serve::fail::{Answer, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::marks;
use crate::serve::run::Step;
use crate::serve::site::Site;
use crate::serve::state::{self, JobView, Next};
use crate::words::sentence;
use maud::{Markup, html};
use shop::{At, JobId, Order, Power, WaitsFor};
use std::collections::BTreeMap;

/// `/`.
pub(crate) fn show(site: &Site, ask: &Ask, _: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let mut views = Vec::new();
        for job in r.open_jobs()? {
            views.push(state::view(site, r, job.id)?);
        }
        let short = short(&r.orders()?);
        let heading = heading(views.len());
        let body = if views.is_empty() {
            empty()
        } else {
            full(&views, &short, ask.now)
        };
        frame::page(
            site,
            ask,
            r,
            Page {
                title: heading.clone(),
                place: Place::Bench,
                head: html! { h1 { (heading) } },
                buttons: html! {
                    span.aside { (dates::day_and_time(ask.now)) }
                    a.button #new href="/new" { "New job" kbd { "n" } }
                },
                conditions: html! {},
                body,
            },
        )
    })?;
    ok(page)
}

fn heading(amps: usize) -> String {
    const WORDS: [&str; 13] = [
        "No amp",
        "One amp",
        "Two amps",
        "Three amps",
        "Four amps",
        "Five amps",
        "Six amps",
        "Seven amps",
        "Eight amps",
        "Nine amps",
        "Ten amps",
        "Eleven amps",
        "Twelve amps",
    ];
    match WORDS.get(amps) {
        Some(words) => format!("{words} on the bench"),
        None => format!("{amps} amps on the bench"),
    }
}

fn empty() -> Markup {
    html! {
        section.sheet.clear {
            (marks::small_wire(&[crate::serve::run::StepState::Open], None))
            h2 { "The bench is clear" }
            p { "Take in an amp, or open a shop from a backup." }
            (frame::primary_link("/new", "Take in an amp", "", "Enter"))
        }
    }
}

/// What is short, by the job that it holds up.
type Short = BTreeMap<JobId, Vec<String>>;

fn short(orders: &[Order]) -> Short {
    let mut all = Short::new();
    for line in orders.iter().flat_map(|o| &o.lines) {
        if let (true, Some(job)) = (line.is_short(), line.job) {
            all.entry(job).or_default().push(line.fields.what.clone());
        }
    }
    all
}

fn full(views: &[JobView], short: &Short, now: At) -> Markup {
    let mut ready: Vec<&JobView> = views.iter().filter(|v| !v.job.waits_for.holds()).collect();
    let held: Vec<&JobView> = views.iter().filter(|v| v.job.waits_for.holds()).collect();
    // a live chassis first, then what was promised soonest, then the oldest
    ready.sort_by_key(|v| {
        let promised = if v.job.promised.is_empty() {
            "9".to_owned()
        } else {
            v.job.promised.clone()
        };
        (
            !matches!(v.power, Power::Live { .. }),
            v.job.waits_for != WaitsFor::You,
            promised,
            v.job.id,
        )
    });
    html! {
        @if let Some(view) = ready.first() { (lead(view, now)) }
        @else { (frame::primary_link("/new", "Take in an amp", "every amp here is held", "Enter")) }
        @if !ready.is_empty() { (list("Ready for your hands", &ready, short, now, true)) }
        @if !held.is_empty() { (list("Held", &held, short, now, ready.is_empty())) }
    }
}

/// The most useful thing to do.
fn lead(view: &JobView, now: At) -> Markup {
    let next = state::next(view, now);
    let step = Step::of(&view.job.step);
    html! {
        section.sheet.lead {
            div {
                h2 { (view.job.amp.fields.short()) ": " (lower(&next.what)) }
                p { (reason(view, &next, now)) }
            }
            (frame::primary_link(&next.address, &format!("Carry on with {}", view.job.id), step.name(), "Enter"))
        }
    }
}

fn reason(view: &JobView, next: &Next, now: At) -> String {
    let mut parts = Vec::new();
    if !next.why.is_empty() {
        parts.push(sentence(&next.why));
    }
    if !view.job.promised.is_empty() {
        parts.push(format!(
            "Promised for {}.",
            dates::promised(&view.job.promised, now)
        ));
    }
    parts.join(" ")
}

/// The first letter small, unless the word is a name such as `V2`.
fn lower(text: &str) -> String {
    let mut chars = text.chars();
    let first = chars.next();
    let second_small = chars.clone().next().is_none_or(char::is_lowercase);
    match first {
        Some(c) if second_small => c.to_lowercase().chain(chars).collect(),
        _ => text.to_owned(),
    }
}

fn list(title: &str, views: &[&JobView], short: &Short, now: At, heads: bool) -> Markup {
    let count = if views.len() == 1 {
        "1 amp".to_owned()
    } else {
        format!("{} amps", views.len())
    };
    html! {
        section.jobs aria-label=(title) {
            div.heads {
                h2 { (title) " " span { (count) } }
                @if heads { span { "Stage" } span { "Waits for" } span { "Next step" } }
            }
            ul { @for view in views { (row(view, short.get(&view.job.id), now)) } }
        }
    }
}

fn row(view: &JobView, short: Option<&Vec<String>>, now: At) -> Markup {
    let job = &view.job;
    let step = Step::of(&job.step);
    let next = state::next(view, now);
    let held = job.waits_for.holds();
    let (waits, more) = waits(view, now);
    let mut whose = job.owner.clone();
    if !job.amp.fields.serial.is_empty() {
        if !whose.is_empty() {
            whose.push_str(", ");
        }
        whose.push_str("serial ");
        whose.push_str(&job.amp.fields.serial);
    }
    html! {
        li.job.held[held] {
            a.tag href=(format!("/job/{}", job.id)) aria-label=(format!("Job {}, {}", job.id, job.amp.fields.name())) {
                span.number { (job.id) }
            }
            div.who {
                p.model { (job.amp.fields.short())
                    @if let Power::Live { .. } = view.power {
                        " " span.slab { "LIVE" @if let Some((_, volts)) = &view.live_at { " " (volts) " V" } }
                    }
                }
                p.owner { (whose) }
            }
            div.stage { p { (step.name()) } (marks::small_wire(&view.states, Some(step.index()))) }
            div.waits { p.what { (waits) } @if !more.is_empty() { p.more { (more) } }
                @if let Some(short) = short { p.more { a href="/orders" { "Short: " (short.join(", ")) } } } }
            a.next href=(next.address) { (marks::probe()) span { (next.what) } }
        }
    }
}

/// What a job waits for, and a second line.
fn waits(view: &JobView, now: At) -> (String, String) {
    let job = &view.job;
    let promised = if job.promised.is_empty() {
        String::new()
    } else {
        format!("promised {}", dates::promised(&job.promised, now))
    };
    match (job.waits_for, job.waits_text.as_str()) {
        (WaitsFor::You, "") => ("you".to_owned(), promised),
        (WaitsFor::You, text) => ("you".to_owned(), text.to_owned()),
        (WaitsFor::Answer, "") => ("owner's answer".to_owned(), promised),
        (WaitsFor::Answer, text) => ("owner's answer".to_owned(), text.to_owned()),
        (WaitsFor::Parts, "") => ("parts".to_owned(), promised),
        (WaitsFor::Time, "") => ("time".to_owned(), promised),
        // `6V6GT pair, sent wrong; promised Fri 28 Nov` in two lines
        (_, text) => match text.split_once("; ") {
            Some((first, rest)) => (first.to_owned(), rest.to_owned()),
            None => (text.to_owned(), promised),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_fit_into_sentences() {
        assert_eq!(lower("Read V2.2 with V2 out"), "read V2.2 with V2 out");
        assert_eq!(lower("V2.2, V2 out"), "V2.2, V2 out");
        assert_eq!(
            sentence("one reading splits the two"),
            "One reading splits the two."
        );
        assert_eq!(heading(0), "No amp on the bench");
        assert_eq!(heading(5), "Five amps on the bench");
        assert_eq!(heading(40), "40 amps on the bench");
    }
}
