//! The wiring: text on one side; the drawing, loose ends and problems on the other.

use super::look;
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::run::Step;
use crate::serve::site::Site;
use crate::serve::{dates, state, work_out};
use axum::http::StatusCode;
use axum::response::IntoResponse as _;
use maud::{Markup, html};
use shop::{JobFields, JobId, Revision, RevisionId, Saved, WiringState};
use wiring::snippet::{self, SNIPPETS};

/// Which wiring a page is about.
pub(crate) fn which(fields: &Fields) -> WiringState {
    match fields.get("state") {
        "as left" => WiringState::AsLeft,
        _ => WiringState::AsFound,
    }
}

/// A wiring to begin with: the heading, from what the intake knows.
fn beginning(job: &shop::Job, state: WiringState) -> String {
    let f = &job.amp.fields;
    let mut text = format!("amp     {}\n", f.name());
    if !f.serial.is_empty() {
        text.push_str(&format!("serial  {}\n", f.serial));
    }
    text.push_str(&format!("state   {}\n\n", state.word()));
    text
}

/// `/job/42/tracing`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let state = which(fields);
    if fields.get("tidy") == "yes" {
        work_out::tidy(site, id, state);
    }
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let wiring = r.wiring_of(id, state)?;
        let head: Option<Revision> = match &wiring {
            Some(w) => r.head(w.id)?,
            None => None,
        };
        // as left begins as the amp was found
        let start = match (&head, state) {
            (Some(h), _) => h.text.clone(),
            (None, WiringState::AsLeft) => match r.wiring_of(id, WiringState::AsFound)? {
                Some(w) => r.head(w.id)?.map_or_else(|| beginning(&view.job, state), |h| h.text.replace("state   as found", "state   as left")),
                None => beginning(&view.job, state),
            },
            (None, _) => beginning(&view.job, state),
        };
        let place = work_out::alone(id, state);
        let put_in = fields.some("put").and_then(snippet::find);
        let text = match put_in {
            Some(s) => with_snippet(site, &place, &start, s),
            None => start,
        };
        let kept: usize = match &wiring {
            Some(w) => r.revisions(w.id)?.len(),
            None => 0,
        };
        let traced = work_out::trace(site, &place, &text, "");
        let body = editor(&view, &text, head.as_ref(), state, kept, &look::panes(&traced));
        let saved = head.as_ref().map(|h| format!("saved {}", dates::since(h.at, ask.now)));
        frame::page(site, ask, r, Page {
            title: format!("{} {}: tracing", id, view.job.amp.fields.short()),
            place: Place::Job(&view, Some(Step::Tracing)),
            head: frame::job_head(&view),
            buttons: html! {
                span.aside #counts {
                    (look::counts(&traced))
                    @if let Some(saved) = &saved { ", " span #saved { (saved) } } @else { ", " span #saved { "not saved yet" } }
                }
                (state_buttons(id, "tracing", state == WiringState::AsLeft))
            },
            conditions: html! {},
            body,
        })
    })?;
    ok(page)
}

/// As found, as left: the chosen one filled with ink.
pub(crate) fn state_buttons(id: JobId, page: &str, left: bool) -> Markup {
    html! {
        a.button.chosen[!left] href=(format!("/job/{id}/{page}")) aria-current=[(!left).then_some("true")] { "As found" }
        a.button.chosen[left] href=(format!("/job/{id}/{page}?state=as%20left")) aria-current=[left.then_some("true")] { "As left" }
    }
}

fn with_snippet(site: &Site, place: &str, text: &str, piece: snippet::Snippet) -> String {
    let circuit = &work_out::trace(site, place, text, "").circuit;
    let filled = snippet::fill(piece, &snippet::names_in(circuit));
    format!("{}\n\n{filled}", text.trim_end())
}

fn editor(
    view: &state::JobView,
    text: &str,
    head: Option<&Revision>,
    state: WiringState,
    kept: usize,
    panes: &Markup,
) -> Markup {
    let id = view.job.id;
    html! {
        div.tracing {
            form #wiring.text-pane method="post" action=(format!("/job/{id}/tracing"))
                data-look=(format!("/job/{id}/look")) data-job=(id) data-state=(state.word()) {
                input type="hidden" name="base" value=(head.map(|h| h.id.0.to_string()).unwrap_or_default());
                input type="hidden" name="state" value=(state.word());
                div.editor {
                    div.lines aria-hidden="true" {}
                    div.layer aria-hidden="true" {}
                    textarea #text name="text" aria-label="Wiring" spellcheck="false" autocapitalize="off"
                        autocomplete="off" wrap="off" rows="24" { "\n" (text) }
                }
                div.under {
                    button.button type="submit" #save { "Save" kbd { "Ctrl S" } }
                    a.button href=(format!("/job/{id}/kin")) { "Which drawing is it?" }
                a.button #tidy href=(format!("/job/{id}/tracing?state={}&tidy=yes", state.word().replace(' ', "%20"))) { "Tidy the drawing" }
                    span.hint { "One thing a line: a part, or a walk such as " code { "V1.1 - R4 100k - B3" } "." }
                }
            }
            div #look.look { (panes) }
            div.tracing-foot {
                details.sheet #pieces {
                    summary { "Put in a block" }
                    ul.pieces {
                        @for s in SNIPPETS {
                            li { a href=(format!("/job/{id}/tracing?state={}&put={}", state.word().replace(' ', "%20"), s.name)) { (s.about()) } }
                        }
                    }
                    p.hint { "It goes to the end of the text with names that are free. Save first what you typed." }
                }
                @if kept > 0 {
                    a.button href=(format!("/job/{id}/revisions?state={}", state.word().replace(' ', "%20"))) { "Revisions " (kept) }
                }
                form method="post" action=(format!("/job/{id}/step")) {
                    input type="hidden" name="step" value=(Step::Tracing.slug());
                    button.button { "Tracing is done: on to the chart" }
                }
            }
        }
    }
}

/// Saves a text.
pub(crate) fn save(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let state = which(fields);
    let base = fields.number("base").map(RevisionId);
    let text = fields
        .whole("text")
        .strip_prefix('\n')
        .unwrap_or(fields.whole("text"));
    // with script the page stays; it wants to know the new base
    let quiet = fields.get("quiet") == "yes";
    let (saved, wiring) = site.shop.write(&ask.stamp(), |w| {
        let wiring = w.wiring_for(id, state)?;
        let saved = w.save_wiring(wiring, text, base)?;
        if matches!(saved, Saved::Head(_) | Saved::Joined(_))
            && Step::of(&w.job(id)?.step) < Step::Tracing
        {
            let at = JobFields {
                step: Some(Step::Tracing.slug().to_owned()),
                ..JobFields::default()
            };
            w.change_job(id, &at, None, "at tracing")?;
        }
        Ok((saved, wiring))
    })?;
    let here = format!(
        "/job/{id}/tracing?state={}",
        state.word().replace(' ', "%20")
    );
    match saved {
        Saved::Head(revision) | Saved::Same(revision) => {
            if quiet {
                return Ok((StatusCode::OK, revision.to_string()).into_response());
            }
            go(here)
        }
        // the text on the screen is no longer the saved one: show it
        Saved::Joined(revision) => {
            if quiet {
                return Ok((
                    StatusCode::RESET_CONTENT,
                    [("x-revision", revision.to_string())],
                )
                    .into_response());
            }
            go(here)
        }
        Saved::Clash { aside, .. } => {
            let to = format!("/job/{id}/revisions/{aside}/clash?wiring={wiring}");
            if quiet {
                return Ok((StatusCode::CONFLICT, to).into_response());
            }
            go(to)
        }
    }
}

/// What the typed text means, while it is typed.
pub(crate) fn look(site: &Site, _: &Ask, id: JobId, fields: &Fields) -> Answer {
    let text = fields.whole("text");
    if text.len() > (1 << 20) {
        return Err(Fail::typed(
            "The text is larger than a megabyte.",
            "A wiring is a text of some kilobytes.",
        ));
    }
    // every key gives another text: they share a place of their own
    let state = which(fields);
    if fields.get("tidy") == "yes" {
        work_out::tidy(site, id, state);
    }
    let traced = work_out::trace(site, &work_out::typing(id, state), text, "");
    ok(html! {
        (look::panes(&traced))
        span #counts { (look::counts(&traced)) ", " span #saved { "not saved yet" } }
    })
}
