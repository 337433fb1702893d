//! A job on one page: what the owner said, the steps with a finding each, money, clock, bag.

use super::{choice, field};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::run::{Step, StepState};
use crate::serve::site::Site;
use crate::serve::state::{self, JobView};
use crate::serve::{dates, marks, pins, purse, work_out};
use bench::chart::Word;
use draw::over::Overlay;
use maud::{Markup, html};
use shop::{At, Hours, HoursId, JobId, Outcome, Reader, ReadingState, ShopError, StepMark};
use std::collections::BTreeMap;
use wiring::circuit::Kind;

/// What the chart of a job says, counted.
struct Charted {
    read: usize,
    points: usize,
    outside: usize,
    doubtful: usize,
}

/// What a run sheet says, counted.
struct Answered {
    pass: usize,
    fail: usize,
}

/// `/job/42`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let next = state::next(&view, ask.now);
        let words = r.owner_words(id)?;
        let marks_of = r.steps(id)?;
        let found = work_out::found(site, r, id, ReadingState::AsFound)?;
        let worked = (!found.blocks.is_empty())
            .then(|| work_out::chart(site, &found, found.blocks.last().map(|b| b.id)));
        let pinned = worked.as_ref().map_or_else(Overlay::default, |w| {
            pins::readings(&found.traced, &w.chart, "")
        });
        let charted = worked.as_ref().map(|worked| {
            let points = &worked.chart.points;
            let count = |w| points.iter().filter(|l| l.verdict == Some(w)).count();
            Charted {
                read: points.iter().filter(|l| l.reading.is_some() || l.shown.is_some()).count(),
                points: points.len(),
                outside: count(Word::Outside),
                doubtful: count(Word::Doubtful),
            }
        });
        let told = |sheet: &str| {
            let of = |o: Outcome| found.results.iter().filter(|x| x.fields.sheet == sheet && x.fields.result == o).count();
            Answered { pass: of(Outcome::Pass), fail: of(Outcome::Fail) }
        };
        let body = html! {
            div.job-page {
                div.main {
                    div.first {
                        section.sheet.said {
                            @match words.iter().find(|w| !w.blanked) {
                                Some(w) => {
                                    p.by { (view.job.owner) " said, " (dates::day(w.at, ask.now)) }
                                    blockquote { "“" (w.text) "”" }
                                }
                                None => { p.by { "Nothing was taken down of what the owner said." } }
                            }
                        }
                        (frame::primary_link(&next.address, &next.what, &next.why, "Enter"))
                    }
                    @if let Some(told) = super::archive::told(fields) { p.hint role="status" { (told) } }
                    @if let Some(last) = r.job_before(id)? {
                        p { a.button href=(format!("/job/{id}/comeback")) { "It was here before, as job " (last.id) ": what moved" } }
                    }
                    (steps(&view, &marks_of, charted.as_ref(), &found.traced, &told, ask.now))
                    @if !found.traced.circuit.parts.is_empty() { (super::look::drawing(&found.traced, "", &pinned)) }
                    (waits(&view, ask))
                }
                aside {
                    (chassis(&found.traced.circuit))
                    (money_and_hours(site, r, &view, ask)?)
                    (bag(&view))
                }
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}", view.job.id, view.job.amp.fields.short()),
            place: Place::Job(&view, None),
            head: frame::job_head(&view),
            buttons: html! {
                a.button #photo href=(format!("/job/{id}/photos")) { "Photo" kbd { "p" } }
                a.button #note href=(format!("/job/{id}/journal#write")) { "Note" kbd { "m" } }
                a.button href=(format!("/job/{id}/archive.zip")) download { "Archive" }
                a.button #journal href=(format!("/job/{id}/journal")) { "Journal" kbd { "j" } }
            },
            conditions: frame::power_strip(&view, ask),
            body,
        })
    })?;
    ok(page)
}

/// Every step with one finding and its date.
fn steps(
    view: &JobView,
    marks_of: &BTreeMap<String, StepMark>,
    charted: Option<&Charted>,
    traced: &work_out::Traced,
    told: &dyn Fn(&str) -> Answered,
    now: At,
) -> Markup {
    let at = Step::of(&view.job.step);
    html! {
        section.sheet.steps aria-label="Steps" {
            ol {
                @for (step, state) in Step::ALL.into_iter().zip(view.states) {
                    @let here = step == at && view.job.closed_at.is_none();
                    li.here[here].past[state == StepState::Done] {
                        a href=(step.address(view.job.id)) {
                            @if here { (marks::probe()) }
                            (marks::one_joint(state))
                            span.name { (step.name()) span.visually-hidden { ", " (state.word()) } }
                            span.finding { (finding(step, view, charted, traced, told)) }
                            span.date {
                                @if let Some(mark) = marks_of.get(step.slug()) { (dates::day(mark.at, now)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// What a step has brought so far, in a few words.
fn finding(
    step: Step,
    view: &JobView,
    charted: Option<&Charted>,
    traced: &work_out::Traced,
    told: &dyn Fn(&str) -> Answered,
) -> Markup {
    let some = |n: usize, one: &str, many: &str| match n {
        0 => String::new(),
        1 => format!("1 {one}"),
        n => format!("{n} {many}"),
    };
    let t = &view.tally;
    let answers = |sheet: &str| {
        let of = told(sheet);
        let all = t.results_of(sheet);
        html! {
            @if all == 0 { @if view.states.get(step.index()) == Some(&StepState::Done) { "nothing written down" } }
            @else if of.fail > 0 { (all) " answered; " (marks::failed(of.fail)) }
            @else if of.pass == all { (all) " answered, all pass" }
            @else { (some(all, "answer", "answers")) }
        }
    };
    match step {
        Step::Intake => html! { (some(t.photos, "photo", "photos")) },
        Step::Inspection => answers("inspection"),
        Step::Cold => answers("cold"),
        Step::PowerUp => answers("power-up"),
        Step::Tracing if t.revision > 0 => html! {
            (some(traced.circuit.parts.len(), "part", "parts"))
            @if !traced.loose_ends.is_empty() { ", " (some(traced.loose_ends.len(), "loose end", "loose ends")) }
        },
        Step::Tracing => html! {},
        Step::Chart => match charted {
            None => html! {},
            Some(c) => html! {
                (c.read) " of " (c.points) " points read"
                @if c.outside > 0 { " " (marks::verdict_count(Word::Outside, c.outside)) }
                @else if c.doubtful > 0 { " " (marks::verdict_count(Word::Doubtful, c.doubtful)) }
            },
        },
        Step::Parts => html! { (some(t.verdicts, "verdict given", "verdicts given")) },
        Step::Work => {
            let (open, done, declined) = t.work;
            let parts: Vec<String> = [(done, "done"), (open, "open"), (declined, "declined")]
                .into_iter()
                .filter(|(n, _)| *n > 0)
                .map(|(n, w)| format!("{n} {w}"))
                .collect();
            html! { (parts.join(", ")) }
        }
        Step::SetUp => html! { @if t.begun(Step::SetUp) { "sheets kept" } },
        Step::Safety => answers("safety"),
        Step::PlayTest => answers("proof"),
        Step::HandOver if view.job.closed_at.is_some() => html! { "closed" },
        Step::HandOver if !view.job.promised.is_empty() => {
            html! { "promised " (dates::promised(&view.job.promised, At(view.job.opened_at.0))) }
        }
        Step::HandOver => html! { (some(t.left, "reading as left", "readings as left")) },
    }
}

/// Valves and wound parts, as traced; places are not known, so none are claimed.
fn chassis(circuit: &wiring::Circuit) -> Markup {
    let named: Vec<(&str, String, &str)> = circuit
        .parts
        .iter()
        .filter_map(|p| match &p.kind {
            Kind::Valve(v) => Some((p.name.as_str(), v.type_in_socket().to_owned(), "valve")),
            Kind::PowerTransformer(_) => Some((p.name.as_str(), "mains".to_owned(), "wound")),
            Kind::OutputTransformer(_) => Some((p.name.as_str(), "output".to_owned(), "wound")),
            _ => None,
        })
        .collect();
    if named.is_empty() {
        return html! {};
    }
    html! {
        section.sheet.chassis {
            h2 { "Valves and transformers" }
            ul { @for (name, what, class) in &named { li class=(class) { strong { (name) } span { (what) } } } }
        }
    }
}

fn money_and_hours(
    site: &Site,
    r: &Reader<'_>,
    view: &JobView,
    ask: &Ask,
) -> Result<Markup, ShopError> {
    let _ = site;
    let id = view.job.id;
    let hours = r.hours(id)?;
    let total: i64 = hours.iter().map(|h| h.length_ms(ask.now)).sum();
    let running: Option<&Hours> = hours.iter().find(|h| h.stopped_at.is_none());
    let purse = purse::of(r, id, ask.now)?;
    Ok(html! {
        section.sheet.money {
            h2 { "Money and hours" }
            (purse.words())
            p.others {
                a.button href=(format!("/job/{id}/estimate")) { "Estimate" }
                a.button href=(format!("/job/{id}/invoice")) { "Invoice" }
            }
            p { strong { (dates::length(total)) } " hours on this job" }
            form method="post" action=(format!("/job/{id}/clock")) {
                input type="hidden" name="back" value=(ask.path);
                input type="hidden" name="task" value=(Step::of(&view.job.step).name());
                @match running {
                    Some(h) => { button.button.wide #clock name="what" value="stop" { "Stop the clock " strong { (dates::length(h.length_ms(ask.now))) } kbd { "t" } } }
                    None => { button.button.wide #clock name="what" value="start" { "Start the clock" kbd { "t" } } }
                }
            }
            details {
                summary { "Write time down by hand" }
                form method="post" action=(format!("/job/{id}/clock")) {
                    input type="hidden" name="back" value=(ask.path);
                    (field("Spent on", "task", ""))
                    (field("Minutes", "minutes", ""))
                    label.check { input type="checkbox" name="free" value="yes"; span { "not billed" } }
                    button.button name="what" value="add" { "Write" }
                }
            }
            (stretches(id, &hours, ask))
        }
    })
}

/// The time that was written down, the latest first, each to be corrected.
fn stretches(id: JobId, hours: &[Hours], ask: &Ask) -> Markup {
    let ended: Vec<&Hours> = hours
        .iter()
        .filter(|h| h.stopped_at.is_some())
        .rev()
        .collect();
    if ended.is_empty() {
        return html! {};
    }
    html! {
        details.stretches {
            summary { "Correct a time" }
            @for h in ended {
                details {
                    summary {
                        (dates::length(h.length_ms(ask.now))) " " (h.task)
                        @if !h.billable { ", not billed" }
                        span.aside { " " (dates::day(h.stopped_at.unwrap_or(h.started_at), ask.now)) }
                    }
                    form method="post" action=(format!("/job/{id}/clock")) {
                        input type="hidden" name="back" value=(ask.path);
                        input type="hidden" name="stretch" value=(h.id);
                        (field("Spent on", "task", &h.task))
                        (field("Minutes", "minutes", &h.minutes().to_string()))
                        label.check { input type="checkbox" name="free" value="yes" checked[!h.billable]; span { "not billed" } }
                        button.button name="what" value="correct" { "Correct it" }
                    }
                }
            }
            p.hint { "What stood there before stays in the journal." }
        }
    }
}

fn bag(view: &JobView) -> Markup {
    let or = |text: &str, none: &str| {
        if text.is_empty() {
            none.to_owned()
        } else {
            text.to_owned()
        }
    };
    html! {
        section.sheet.bag {
            dl {
                dt { "Came with it" } dd { (or(&view.job.accessories, "nothing noted")) }
                dt { "Bag" } dd { (or(&view.job.bag, "empty")) }
                dt { "Cabinet" } dd { (or(&view.job.shelf, "no place noted")) }
            }
            @if view.job.closed_at.is_some() { p.others { a.button href=(format!("/new?amp={}", view.job.amp.id)) { "Take it in again" } } }
        }
    }
}

/// The form that says what the job waits for.
fn waits(view: &JobView, ask: &Ask) -> Markup {
    let job = &view.job;
    let id = job.id;
    html! {
        details.sheet.waits {
            summary { "What it waits for, what is next, where it stands" }
            form method="post" action=(format!("/job/{id}/waits")) {
                input type="hidden" name="seen" value=(view.seen);
                input type="hidden" name="back" value=(ask.path);
                (choice("Waits for", "waits_for", &[
                    ("you", "your hands"), ("parts", "parts"), ("answer", "the owner's answer"), ("time", "time to pass"),
                ], job.waits_for.word()))
                (field("In words, such as what is owed; and by when", "waits_text", &job.waits_text))
                (field("Next, in your own words", "next_text", &job.next_text))
                label { span { "Promised for" } input type="date" name="promised" value=(job.promised); }
                (field("In the bag that goes home", "bag", &job.bag))
                (field("Where the cabinet stands", "shelf", &job.shelf))
                button.button { "Write" }
            }
        }
    }
}

/// Starts and stops the clock; writes time down.
pub(crate) fn clock(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let task = fields.line("task");
    site.shop
        .write(&ask.stamp(), |w| match fields.get("what") {
            "start" => w.start_clock(id, &task),
            "stop" => w.stop_clock(id),
            "correct" => w.correct_hours(
                id,
                HoursId(fields.number("stretch").unwrap_or(0)),
                &task,
                fields.number("minutes").unwrap_or(0),
                !fields.has("free"),
            ),
            _ => w
                .add_minutes(
                    id,
                    &task,
                    fields.number("minutes").unwrap_or(0),
                    !fields.has("free"),
                    "",
                )
                .map(|_| ()),
        })?;
    go(super::back(fields, &format!("/job/{id}")))
}
