//! The end of a job: what is still open, and closing it.

use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::run::{Step, StepState};
use crate::serve::site::Site;
use crate::serve::{dates, marks, state, work_out};
use bench::chart::Word;
use maud::html;
use shop::{JobId, Reader, ReadingState, ShopError, WorkState};

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
        let body = html! {
            div.hand-over {
                section.sheet {
                    h2 { @if open.is_empty() { "Nothing is open" } @else { (open.len()) " things open" } }
                    ul.open-things {
                        @for o in &open { li { (marks::one_joint(StepState::Open)) a href=(o.address) { (o.what) } } }
                    }
                    @if !open.is_empty() { p.hint { "The record says so if you close it all the same." } }
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
                                    button.button name="do" value="close" { "Close it without" }
                                }
                            } @else {
                                form method="post" action=(format!("/job/{id}/close")) {
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
            buttons: html! {},
            conditions: frame::power_strip(&view, ask),
            body,
        })
    })?;
    ok(page)
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
    for result in r.results(id)? {
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
    site.shop.write(&ask.stamp(), |w| {
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
