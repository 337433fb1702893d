//! An amp that was here before: its last chart as left, what moved since, what was replaced and what
//! was refused.

use super::choice;
use crate::serve::ask::{Ask, Fields};
use crate::serve::comeback::{self, Moved, Word};
use crate::serve::dates;
use crate::serve::fail::{Answer, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::site::Site;
use crate::serve::state;
use bench::digits;
use maud::{Markup, html};
use shop::{EstimateItem, Job, JobId, ShopError, State, WiringState, WorkState, Write};

/// The question under which the sort of comeback is kept.
const QUESTION: &str = "comeback";

/// What a comeback can be.
const SORTS: [(&str, &str); 5] = [
    ("", "not said yet"),
    ("same fault", "the same fault: on warranty"),
    ("new fault", "a new fault"),
    ("refused item", "something that was refused"),
    ("use", "the way it was used"),
];

/// `/job/42/comeback`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, _: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let last = r.job_before(id)?;
        let body = match &last {
            None => html! { section.sheet { h2 { "It was not here before" } p { "An amp that comes back is taken in with " strong { "Was it here before?" } ", and stands here beside its last chart as left." } } },
            Some(last) => {
                let all = comeback::moved(site, r, last.id, id)?;
                let said = r.answers(id)?.into_iter().find(|a| a.question == QUESTION).map_or_else(String::new, |a| a.answer);
                let refused: Vec<EstimateItem> = r.estimate(last.id)?.into_iter().filter(EstimateItem::is_refused).collect();
                let declined: Vec<String> = r.work(last.id)?.into_iter().filter(|w| w.fields.state == WorkState::Declined).map(|w| w.fields.title).collect();
                let replaced = r.part_states(last.id)?;
                let open = all.iter().find(|m| m.word == Word::Open);
                html! {
                    div.orders.comeback {
                        div { (table(id, last, &all, ask)) }
                        div {
                            @match open {
                                Some(m) => { (frame::primary_link(&format!("/job/{id}/chart?at={}", super::chart::percent(&m.point)), &format!("Read {}", m.point), &format!("{} {} as left", m.left, unit(m)), "Enter")) }
                                None => { (frame::primary_link(&format!("/job/{id}/suspects"), "To the suspects", "every point of the last chart is read", "Enter")) }
                            }
                            form.sheet method="post" action=(format!("/job/{id}/comeback")) {
                                h2 { "Why it is back" }
                                (choice("It is", "sort", &SORTS, &said))
                                p.hint { "The same fault on warranty: write its time down as not billed." }
                                button.button { "Write" }
                            }
                            @if replaced.iter().any(|p| p.fields.state == State::Replaced) {
                                section.sheet { h2 { "Replaced the last time" } ul { @for p in replaced.iter().filter(|p| p.fields.state == State::Replaced) {
                                    li { strong { (p.fields.part) } " " (p.fields.now) span.small { ", " (dates::day(p.at, ask.now)) } }
                                } } }
                            }
                            @if !refused.is_empty() || !declined.is_empty() {
                                section.sheet { h2 { "Declined by the owner the last time" } ul {
                                    @for i in &refused { li { (i.fields.what) @if let Some(s) = &i.said { span.small { ", " (dates::promised(&s.on, ask.now)) } } } }
                                    @for d in &declined { li { (d) } }
                                } }
                            }
                        }
                    }
                }
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}: comeback", id, view.job.amp.fields.short()),
            place: Place::Job(&view, None),
            head: frame::job_head(&view),
            buttons: html! { @if let Some(last) = &last { a.button href=(format!("/job/{}", last.id)) { "Job " (last.id) } } },
            conditions: frame::power_strip(&view, ask),
            body,
        })
    })?;
    ok(page)
}

fn unit(m: &Moved) -> &str {
    if m.unit.is_empty() { "V" } else { &m.unit }
}

fn table(id: JobId, last: &Job, all: &[Moved], ask: &Ask) -> Markup {
    let count = all
        .iter()
        .filter(|m| matches!(m.word, Word::Moved(_)))
        .count();
    html! {
        section.sheet {
            h2 { @match count { 0 => { "Nothing has moved that was read" } 1 => { "1 point has moved" } n => { (n) " points have moved" } }
                span.aside { " since job " (last.id) @if let Some(at) = last.closed_at { ", closed " (dates::day(at, ask.now)) } } }
            @if all.is_empty() { p { "Job " (last.id) " was closed without a chart as left: there is nothing to hold the readings against." } }
            @else {
                table.bill {
                    thead { tr { th scope="col" { "Point" } th.figure scope="col" { "As left" } th.figure scope="col" { "At the mains of today" } th.figure scope="col" { "Now" } th scope="col" { "So" } } }
                    tbody { @for m in all { tr {
                        th scope="row" { a href=(format!("/job/{id}/chart?at={}", super::chart::percent(&m.point))) { (m.point) } }
                        td.figure { (m.left) " " (unit(m)) }
                        td.figure { @if let Some(v) = m.scaled { (digits::volts(v)) " " (unit(m)) } }
                        td.figure { @if let Some(now) = &m.now { strong { (now) } " " (unit(m)) } }
                        td { @match m.word {
                            Word::Moved(off) => { span.wrong { "moved " (signed(off)) "\u{a0}%" } }
                            Word::Same(_) => { "as it was" }
                            Word::Open => { "not read yet" }
                            Word::Other => { "read under other conditions" }
                        } }
                    } } }
                }
                p.hint { "Moved: off by more than both meters may err and 3 % for warm-up and mains, after scaling by the mains (common practice, no source)." }
            }
        }
    }
}

fn signed(off: f64) -> String {
    format!("{off:+.0}").replace('-', "\u{2212}")
}

/// Writes down what sort of comeback it is.
pub(crate) fn write(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let sort = fields.line("sort");
    site.shop
        .write(&ask.stamp(), |w| w.answer(id, QUESTION, &sort))?;
    go(format!("/job/{id}/comeback"))
}

/// A new job on an amp that was here starts from the wiring as it was left.
pub(crate) fn begin(w: &mut Write<'_>, id: JobId) -> Result<(), ShopError> {
    let Some(last) = w.job_before(id)? else {
        return Ok(());
    };
    for state in [WiringState::AsLeft, WiringState::AsFound] {
        if let Some(wiring) = w.wiring_of(last.id, state)?
            && let Some(head) = w.head(wiring.id)?
        {
            let own = w.wiring_for(id, WiringState::AsFound)?;
            w.save_wiring(own, &head.text, None)?;
            return Ok(());
        }
    }
    Ok(())
}
