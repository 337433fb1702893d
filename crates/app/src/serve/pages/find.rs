//! Finding a job by number, amp, serial number or owner; closed ones among them.

use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::site::Site;
use maud::html;

/// Jobs shown.
const MOST: usize = 60;

/// `/find`.
pub(crate) fn show(site: &Site, ask: &Ask, fields: &Fields) -> Answer {
    let words = fields.line("q");
    let page = site.shop.read(|r| {
        let found = r.find(&words, MOST)?;
        let body = html! {
            section.sheet.find {
                form.inline method="get" action="/find" role="search" {
                    label { span { "Number, amp, serial, owner" } input #q name="q" value=(words) autocomplete="off" autofocus; }
                    button.button { "Find" }
                }
                @if found.is_empty() { p { "Nothing is found." } }
                ul.found {
                    @for f in &found {
                        li {
                            a href=(format!("/job/{}", f.job)) {
                                span.tag { (f.job) }
                                span.amp { (f.amp) }
                                span.small { (f.serial) @if !f.owner.is_empty() { ", " (f.owner) } }
                                @if f.closed { span.small { "closed" } }
                            }
                        }
                    }
                }
                @if found.len() == MOST { p.hint { "There are more; type another word." } }
            }
        };
        frame::page(site, ask, r, Page {
            title: "Find".to_owned(),
            place: Place::Shop,
            head: html! { h1 { "Find" } },
            buttons: html! {},
            conditions: html! {},
            body,
        })
    })?;
    ok(page)
}
