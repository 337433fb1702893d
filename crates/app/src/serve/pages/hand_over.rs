//! The end of a job: what is still open, and closing it.

use super::gate;
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::run::{Step, StepState};
use crate::serve::site::Site;
use crate::serve::{dates, marks, state, work_out};
use bench::chart::Word;
use maud::{Markup, html};
use shop::{JobId, Reader, ReadingState, ShopError, WorkState};

/// What a note of the hand-over is about.
const ABOUT: &str = "hand-over";

/// Something that is not finished.
struct Open {
    what: String,
    address: String,
}

/// `/job/42/hand-over`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, _: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let open = open(site, r, &view)?;
        let closed = view.job.closed_at;
        let gate = gate::gate(site, r, id)?;
        let said: Vec<String> = r.notes(id)?.into_iter().filter(|n| n.about == ABOUT).map(|n| n.text).collect();
        let body = html! {
            div.hand-over {
              div {
                @if !gate.stops.is_empty() {
                    section.sheet.problem {
                        h2 { (gate.heading()) }
                        ul.open-things { @for bar in &gate.stops { li { (marks::one_joint(StepState::Held)) a href=(bar.address) { (bar.what) } } } }
                        p.hint { "No reason replaces these. If the owner refuses, the amp leaves only on the owner's signature." }
                    }
                }
                @if !said.is_empty() { section.sheet { h2 { "Written at the hand-over" } @for text in &said { p { (text) } } } }
                @if !gate.rest.is_empty() {
                    section.sheet {
                        h2 { "Wants a reason" }
                        ul.open-things { @for bar in &gate.rest { li { (marks::one_joint(StepState::Open)) a href=(bar.address) { (bar.what) } } } }
                    }
                }
                section.sheet {
                    h2 { @if open.is_empty() { "Nothing is open" } @else { (open.len()) " things open" } }
                    ul.open-things {
                        @for o in &open { li { (marks::one_joint(StepState::Open)) a href=(o.address) { (o.what) } } }
                    }
                }
              }
                div {
                    @match closed {
                        Some(at) => {
                            section.sheet {
                                h2 { "Closed " (dates::since(at, ask.now)) }
                                form method="post" action=(format!("/job/{id}/close")) {
                                    button.button name="do" value="open" { "Open it again" }
                                }
                            }
                        }
                        None => {
                            @if view.tally.left == 0 {
                                (frame::primary_link(&format!("/job/{id}/chart?state=as%20left"), "Read the chart as left", "the baseline, should it come back", "Enter"))
                                form.after method="post" action=(format!("/job/{id}/close")) {
                                    (wanted(&gate))
                                    button.button name="do" value="close" { "Close it without" }
                                }
                            } @else {
                                form method="post" action=(format!("/job/{id}/close")) {
                                    (wanted(&gate))
                                    (frame::primary_button(&format!("Close job {id}"), "the amp goes home", "Enter"))
                                }
                                p { a.button href=(format!("/job/{id}/chart?state=as%20left")) { "The chart as left" } }
                            }
                        }
                    }
                }
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}: hand-over", id, view.job.amp.fields.short()),
            place: Place::Job(&view, Some(Step::HandOver)),
            head: frame::job_head(&view),
            buttons: html! { a.button href=(format!("/job/{id}/report")) { "The report" } },
            conditions: frame::power_strip(&view, ask),
            body,
        })
    })?;
    ok(page)
}

/// What has to be typed before the job can be closed.
fn wanted(gate: &gate::Gate) -> Markup {
    html! {
        @if !gate.stops.is_empty() {
            label { span { "The owner's name, as signed under \u{201c}" (gate::NOT_SAFE) "\u{201d}" } input name="signed" required autocomplete="off"; }
        }
        @if !gate.rest.is_empty() {
            label { span { "Why it goes home with things open" } input name="reason" required autocomplete="off"; }
        }
    }
}

/// Everything of the job that is not finished, in the order of the steps.
fn open(site: &Site, r: &Reader<'_>, view: &state::JobView) -> Result<Vec<Open>, ShopError> {
    let id = view.job.id;
    let mut all = Vec::new();
    let mut add = |what: String, address: String| all.push(Open { what, address });
    for (step, mark) in Step::ALL.into_iter().zip(view.states) {
        if step != Step::HandOver && mark != StepState::Done {
            add(
                format!("{}: {}", step.name(), mark.word()),
                step.address(id),
            );
        }
    }
    let results = r.results(id)?;
    // what was wrong when it came in and passed when it was proved is put right
    let put_right = |item: &str| {
        let proved = [Step::Safety, Step::PlayTest].map(crate::serve::sheets::kept_as);
        results.iter().any(|x| {
            proved.contains(&x.fields.sheet.as_str())
                && x.fields.item == item
                && x.fields.result == shop::Outcome::Pass
        })
    };
    let came_in = crate::serve::sheets::kept_as(Step::Inspection);
    for result in &results {
        if result.fields.sheet == came_in && put_right(&result.fields.item) {
            continue;
        }
        if result.fields.result == shop::Outcome::Fail {
            let step = Step::ALL
                .into_iter()
                .find(|s| crate::serve::sheets::kept_as(*s) == result.fields.sheet)
                .unwrap_or(Step::Safety);
            add(
                format!("{}: {} is not in order", step.name(), result.fields.item),
                format!(
                    "{}?at={}",
                    step.address(id),
                    super::chart::percent(&result.fields.item)
                ),
            );
        }
    }
    for item in r.work(id)? {
        if item.fields.state == WorkState::Open {
            add(
                format!("Work: {}", item.fields.title),
                format!("/job/{id}/work?at={}", item.id),
            );
        }
    }
    let left = work_out::found(site, r, id, ReadingState::AsLeft)?;
    match left.blocks.last() {
        None => add(
            "Chart as left: not read".to_owned(),
            format!("/job/{id}/chart?state=as%20left"),
        ),
        Some(block) => {
            let worked = work_out::chart(site, &left, Some(block.id));
            for line in &worked.chart.points {
                if line.verdict == Some(Word::Outside) {
                    add(
                        format!("Chart as left: {} is outside", line.point),
                        format!(
                            "/job/{id}/chart?state=as%20left&at={}",
                            super::chart::percent(&line.point)
                        ),
                    );
                }
            }
        }
    }
    Ok(all)
}

/// Closes the job, or opens it again.
pub(crate) fn close(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let closing = fields.get("do") != "open";
    let notes = if closing {
        site.shop.read(|r| gate::gate(site, r, id))?.pass(fields)?
    } else {
        Vec::new()
    };
    site.shop.write(&ask.stamp(), |w| {
        for note in &notes {
            w.add_note(id, ABOUT, note, None)?;
        }
        if closing {
            w.stop_clock(id)?;
            w.mark_step(id, Step::HandOver.slug(), shop::StepState::Done)?;
        }
        w.close_job(id, closing)
    })?;
    go(if closing {
        "/".to_owned()
    } else {
        format!("/job/{id}")
    })
}
