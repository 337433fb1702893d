//! The same thing changed on two screens: both texts, and a press for each.

use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::Fail;
use crate::serve::frame::{self, Page, Place};
use crate::serve::site::Site;
use crate::serve::{dates, state};
use axum::http::StatusCode;
use maud::{Markup, html};
use shop::{EntryId, JobId, ShopError};

/// Gives a result through; where somebody else changed the same fields, a page with both texts.
pub(crate) fn or_page<T>(
    site: &Site,
    ask: &Ask,
    job: JobId,
    fields: &Fields,
    action: &str,
    done: Result<T, ShopError>,
) -> Result<T, Fail> {
    match done {
        Err(ShopError::Changed { what, now, by }) if !now.is_empty() => {
            let page = page(site, ask, job, fields, action, (&what, &now, by))?;
            Err(Fail::Page(StatusCode::CONFLICT, Box::new(page)))
        }
        other => Ok(other?),
    }
}

fn page(
    site: &Site,
    ask: &Ask,
    job: JobId,
    fields: &Fields,
    action: &str,
    (what, now, by): (&str, &[(&'static str, String)], EntryId),
) -> Result<Markup, ShopError> {
    site.shop.read(|r| {
        let view = state::view(site, r, job)?;
        let other = r
            .journal(Some(job), None, 200)?
            .into_iter()
            .find(|e| e.id == by);
        let there = other.map_or_else(
            || "Elsewhere".to_owned(),
            |e| format!("{}, {}", e.bench, dates::since(e.at, ask.now)),
        );
        // each button sends the whole form again, with the clashing fields one way
        let again = |way: &str| {
            html! {
                form method="post" action=(action) {
                    input type="hidden" name="seen" value=(view.seen);
                    @for (name, value) in fields.pairs().filter(|(n, _)| *n != "seen") {
                        @let theirs = now.iter().find(|(n, _)| *n == name).map(|(_, v)| v.as_str());
                        @let value = match (way, theirs) {
                            ("there", Some(t)) => t.to_owned(),
                            ("both", Some(t)) if !t.is_empty() && t != value => format!("{value} / {t}"),
                            _ => value.to_owned(),
                        };
                        input type="hidden" name=(name) value=(value);
                    }
                    button.button { @match way { "here" => "Here", "there" => (there), _ => "Both" } }
                }
            }
        };
        let body = html! {
            section.sheet.clash {
                h2 { "Changed elsewhere: " (what) }
                p { "Nothing is written yet. Both texts are here; say which one stays." }
                @for (name, theirs) in now {
                    h3 { (words(name)) }
                    div.both {
                        div { h4 { "Here" } p { (fields.get(name)) } }
                        div { h4 { (there) } p { (theirs) } }
                    }
                }
                div.ways { (again("here")) (again("there")) (again("both")) }
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{}: changed elsewhere", view.job.amp.fields.short()),
            place: Place::Job(&view, None),
            head: frame::job_head(&view),
            buttons: html! {},
            conditions: html! {},
            body,
        })
    })
}

/// A field's name in words.
fn words(name: &str) -> String {
    name.replace('_', " ")
}
