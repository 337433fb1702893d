//! The work list: things done or to be done, in the circuit or not.

use super::{area, back, choice, clash, field};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::run::{Step, StepState};
use crate::serve::site::Site;
use crate::serve::{dates, marks, state};
use maud::{Markup, html};
use shop::{JobId, Photo, ShopError, TieKind, WorkFields, WorkId, WorkItem, WorkState};

/// What is often done and is in no circuit (common practice, no source).
const USUAL: [&str; 8] = [
    "clean and re-tension valve sockets",
    "clean controls",
    "clean jacks and switches",
    "re-flow joints",
    "new mains cord with earth",
    "right fuse",
    "tighten transformer and socket bolts",
    "re-seat board or eyelets",
];

/// `/job/42/work`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let items = r.work(id)?;
        let photos = r.photos(id)?;
        let open = items.iter().filter(|i| i.fields.state == WorkState::Open).count();
        let minutes: i64 = items.iter().map(|i| i.fields.minutes).sum();
        let at = fields.number("at");
        let body = html! {
            div.work {
                section.sheet {
                    @if items.is_empty() { p.hint { "Nothing is on the list yet." } }
                    ol.work-list { @for item in &items { (row(id, item, &photos, at, &view, ask)) } }
                    p.hint { (open) " open, " (dates::length(minutes * 60_000)) " hours on the list" }
                }
                div {
                    (new_item(id, fields.get("title"), fields.get("part")))
                    form method="post" action=(format!("/job/{id}/step")) {
                        input type="hidden" name="step" value=(Step::Work.slug());
                        (frame::primary_button("The list is done", "next: set-up", "Enter"))
                    }
                }
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}: work list", id, view.job.amp.fields.short()),
            place: Place::Job(&view, Some(Step::Work)),
            head: frame::job_head(&view),
            buttons: html! {},
            conditions: frame::power_strip(&view, ask),
            body,
        })
    })?;
    ok(page)
}

fn sign(state: WorkState) -> Markup {
    marks::one_joint(match state {
        WorkState::Open => StepState::Open,
        WorkState::Done => StepState::Done,
        WorkState::Declined => StepState::Held,
    })
}

fn row(
    id: JobId,
    item: &WorkItem,
    photos: &[Photo],
    at: Option<i64>,
    view: &state::JobView,
    ask: &Ask,
) -> Markup {
    let f = &item.fields;
    let tied: Vec<&Photo> = photos
        .iter()
        .filter(|p| {
            p.ties
                .iter()
                .any(|t| t.kind == TieKind::Work && t.target == item.id.to_string())
        })
        .collect();
    html! {
        li {
            details open[at == Some(item.id.0)] {
                summary {
                    (sign(f.state))
                    span.title { (f.title) @if !f.part.is_empty() { " " span.small { (f.part) } } }
                    span.state { (f.state.word()) @if f.minutes > 0 { ", " (f.minutes) " min" } }
                }
                form method="post" action=(format!("/job/{id}/work/{}", item.id)) {
                    input type="hidden" name="seen" value=(view.seen);
                    (field("What", "title", &f.title))
                    div.pair { (field("Part, if in the circuit", "part", &f.part)) (field("Why", "why", &f.why)) }
                    div.pair { (field("Read before", "before", &f.before)) (field("Read after", "after", &f.after)) }
                    div.triple {
                        (field("Part used", "part_used", &f.part_used))
                        (field("Minutes", "minutes", &f.minutes.to_string()))
                        (choice("It is", "state", &[("open", "open"), ("done", "done"), ("declined", "declined by the owner")], f.state.word()))
                    }
                    (field("The owner's answer", "answer", &f.answer))
                    div.others {
                        button.button name="do" value="write" { "Write" }
                        @if f.state == WorkState::Open { button.button name="do" value="done" { "Done" } }
                        button.button name="do" value="off" { "Off the list" }
                        @if f.state == WorkState::Open { a.button href=(format!("/orders?job={id}&what={}&part={}&why={}#need", super::chart::percent(&f.title), super::chart::percent(&f.part), super::chart::percent(&f.why))) { "To the shopping list" } }
                        a.button href=(format!("/job/{id}/photos?kind=work&target={}", item.id)) { "Photo" }
                    }
                    @if let Some(at) = item.ended_at { p.hint { (f.state.word()) " " (dates::since(at, ask.now)) } }
                }
                (super::photos::thumbnails(&tied))
            }
        }
    }
}

fn new_item(id: JobId, title: &str, part: &str) -> Markup {
    html! {
        section.sheet #new {
            h2 { "Put on the list" }
            form method="post" action=(format!("/job/{id}/work")) {
                label { span { "What" } input name="title" list="usual" autocomplete="off" required value=(title); }
                datalist #usual { @for u in USUAL { option value=(u) {} } }
                (field("Part, if in the circuit", "part", part))
                (area("Why", "why", "", 2))
                button.button { "Put on" }
            }
        }
    }
}

fn typed(fields: &Fields) -> Result<WorkFields, Fail> {
    let minutes = match fields.some("minutes") {
        None => 0,
        Some(text) => text.parse().map_err(|_| {
            Fail::typed(
                format!("`{text}` is no number of minutes."),
                "Type a whole number.",
            )
        })?,
    };
    Ok(WorkFields {
        title: fields.line("title"),
        part: fields.line("part"),
        why: fields.line("why"),
        state: WorkState::of(fields.get("state")),
        answer: fields.line("answer"),
        before: fields.line("before"),
        after: fields.line("after"),
        part_used: fields.line("part_used"),
        minutes,
    })
}

/// Puts an item on the list.
pub(crate) fn add(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let new = typed(fields)?;
    site.shop.write(&ask.stamp(), |w| w.add_work(id, &new))?;
    go(back(fields, &format!("/job/{id}/work")))
}

/// Changes an item.
pub(crate) fn change(site: &Site, ask: &Ask, id: JobId, item: i64, fields: &Fields) -> Answer {
    let mut new = typed(fields)?;
    let item = WorkId(item);
    let off = fields.get("do") == "off";
    if fields.get("do") == "done" {
        new.state = WorkState::Done;
    }
    let done = site.shop.write(&ask.stamp(), |w| {
        if w.work_item(item)?.job != id {
            return Err(ShopError::Nothing("such item in this job".to_owned()));
        }
        w.change_work(item, &new, off, fields.seen())
    });
    let action = format!("/job/{id}/work/{item}");
    clash::or_page(site, ask, id, fields, &action, done)?;
    go(back(fields, &format!("/job/{id}/work")))
}
