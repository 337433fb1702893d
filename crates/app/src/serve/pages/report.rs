//! The report of a job on its page, to be printed from the browser, or made into a PDF by the program beside this one.

use super::area;
use crate::pdf_maker;
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go};
use crate::serve::frame::{self, Page, Place};
use crate::serve::report::{self, NOTES, NOTHING, Wanted, note_on};
use crate::serve::run::{Step, StepState};
use crate::serve::site::Site;
use crate::serve::{assets, marks, state};
use ::report::{Document, Paper};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{Html, IntoResponse as _};
use maud::{DOCTYPE, html};
use shop::{JobId, Reader, ShopError};

/// Which paper of a job is asked for, and in which size.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Asked {
    version: &'static str,
    paper: Paper,
}

impl Asked {
    fn of(r: &Reader<'_>, fields: &Fields) -> Result<Self, ShopError> {
        let paper = match fields.get("paper") {
            "A4" => Paper::A4,
            "letter" => Paper::Letter,
            _ if r.setting("paper")?.as_deref() == Some("Letter") => Paper::Letter,
            _ => Paper::A4,
        };
        let version = match fields.get("version") {
            "full" => "full",
            "labels" => "labels",
            _ => "owner",
        };
        Ok(Self { version, paper })
    }

    fn query(self) -> String {
        format!("?version={}&paper={}", self.version, self.paper.name())
    }

    fn document(
        self,
        site: &Site,
        r: &Reader<'_>,
        ask: &Ask,
        id: JobId,
        whole: bool,
    ) -> Result<Document, ShopError> {
        if self.version == "labels" {
            return report::labels(site, r, id, ask.now, self.paper);
        }
        let wanted = Wanted {
            full: self.version == "full",
            paper: self.paper,
            whole,
        };
        report::document(site, r, id, ask.now, wanted)
    }
}

/// So many open things are shown at once; more are folded.
const FEW: usize = 5;

/// `/job/42/report`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let maker = pdf_maker::find().is_some();
    let page = site.shop.read(|r| {
        let asked = Asked::of(r, fields)?;
        let view = state::view(site, r, id)?;
        let document = asked.document(site, r, ask, id, false)?;
        let notes = r.notes(id)?;
        let gate = super::gate::gate(site, r, id)?;
        let open: Vec<_> = gate.stops.iter().chain(&gate.rest).collect();
        let to = |version, paper| format!("/job/{id}/report{}", Asked { version, paper }.query());
        let query = asked.query();
        let body = html! {
            link rel="stylesheet" href=(format!("/job/{id}/report.css{query}"));
            div.report-page {
                div.report-side {
                    section.sheet {
                        @if maker {
                            (frame::primary_link(&format!("/job/{id}/report.pdf{query}"), "Make the PDF", "the same page as a file", "Enter"))
                            p { a.button href=(format!("/job/{id}/report/print{query}")) target="_blank" { "To print from the browser" } }
                        } @else {
                            (frame::primary_link(&format!("/job/{id}/report/print{query}"), "To print it", "by the browser", "Enter"))
                            p.hint { (marks::typed(&format!("For a PDF of its own: the program `tubewright-pdf` is not beside this one. {}", pdf_maker::HOW))) }
                        }
                    }
                    @if !open.is_empty() {
                        section.sheet {
                            details open[open.len() <= FEW] {
                                summary { strong { (open.len()) @if open.len() == 1 { " thing open" } @else { " things open" } } ", the report says so" }
                                ul.open-things { @for bar in &open { li { (marks::one_joint(StepState::Open)) a href=(bar.address) { (bar.what) } } } }
                            }
                        }
                    }
                    @if asked.version != "labels" {
                        section.sheet {
                            h2 { "In your own words" }
                            form method="post" action=(format!("/job/{id}/report{query}")) {
                                @for (about, label, _) in NOTES { (area(label, about, note_on(&notes, about), 3)) }
                                button.button { "Write into the report" }
                            }
                        }
                    }
                }
                div.report-paper { (::report::inset(&document)) }
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}: report", id, view.job.amp.fields.short()),
            place: Place::Job(&view, Some(Step::HandOver)),
            head: frame::job_head(&view),
            buttons: html! {
                @for (version, name) in [("owner", "Owner's"), ("full", "Full record"), ("labels", "Labels")] {
                    a.button.chosen[asked.version == version] href=(to(version, asked.paper)) aria-current=[(asked.version == version).then_some("true")] { (name) }
                }
                @let (other, name) = match asked.paper { Paper::A4 => (Paper::Letter, "A4, to Letter"), Paper::Letter => (Paper::A4, "Letter, to A4") };
                a.button href=(to(asked.version, other)) { (name) }
            },
            conditions: frame::power_strip(&view, ask),
            body,
        })
    })?;
    crate::serve::fail::ok(page)
}

/// `/job/42/report/print`: the report alone, on its paper.
pub(crate) fn print(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let asked = Asked::of(r, fields)?;
        let document = asked.document(site, r, ask, id, false)?;
        Ok::<_, ShopError>(html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    title { (document.running) ", " (document.version) }
                    link rel="stylesheet" href=(format!("/job/{id}/report.css{}", asked.query()));
                }
                body.report-behind { main { (::report::body(&document)) } }
            }
        })
    })?;
    Ok(Html(page.into_string()).into_response())
}

/// `/job/42/report.css`: style of the two, which hold none themselves.
pub(crate) fn style(site: &Site, _: &Ask, id: JobId, fields: &Fields) -> Answer {
    let (asked, running) = site
        .shop
        .read(|r| Ok::<_, ShopError>((Asked::of(r, fields)?, report::running(&r.job(id)?))))?;
    let document = Document {
        running,
        version: match asked.version {
            "labels" => "labels".to_owned(),
            version => report::version(version == "full").to_owned(),
        },
        paper: asked.paper,
        ..Document::default()
    };
    let face = |weight: u16| {
        let file = assets::address(&format!("fonts/sofia-sans-condensed-{weight}.ttf"));
        format!(
            "@font-face{{font-family:'Sofia Sans Condensed';font-weight:{weight};src:url({file}) format('truetype')}}\n"
        )
    };
    let css = format!("{}{}{}", face(500), face(700), ::report::style(&document));
    Ok(([(CONTENT_TYPE, "text/css; charset=utf-8")], css).into_response())
}

/// `/job/42/report.pdf`.
pub(crate) fn pdf(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let (asked, document) = site.shop.read(|r| {
        let asked = Asked::of(r, fields)?;
        let document = asked.document(site, r, ask, id, true)?;
        Ok::<_, ShopError>((asked, document))
    })?;
    let made = pdf_maker::pdf(&document).map_err(|(what, remedy)| Fail::typed(what, remedy))?;
    let name = format!("inline; filename=\"job-{id}-{}.pdf\"", asked.version);
    Ok((
        [
            (CONTENT_TYPE, "application/pdf".to_owned()),
            (CONTENT_DISPOSITION, name),
        ],
        made,
    )
        .into_response())
}

/// Takes down what the technician says in the report, as notes; what stands already writes nothing.
pub(crate) fn write(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let query = site
        .shop
        .read(|r| Ok::<_, ShopError>(Asked::of(r, fields)?.query()))?;
    site.shop.write(&ask.stamp(), |w| {
        let now = w.notes(id)?;
        for (about, _, _) in NOTES {
            let text = fields.get(about).trim();
            if fields.has(about) && text != note_on(&now, about) {
                w.add_note(
                    id,
                    about,
                    if text.is_empty() { NOTHING } else { text },
                    None,
                )?;
            }
        }
        Ok::<_, ShopError>(())
    })?;
    go(format!("/job/{id}/report{query}"))
}
