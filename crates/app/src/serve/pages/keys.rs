//! Every key, on a page.

use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::site::Site;
use maud::html;

const KEYS: [(&str, &str); 22] = [
    ("Enter", "the filled button of the page"),
    ("Esc", "leave a field; then letters act"),
    ("F2  F4", "the amp before, the next amp"),
    ("F8  F9", "the step before, the next step"),
    ("/", "find"),
    ("n", "new job, on the bench"),
    ("c", "conditions"),
    ("y", "why"),
    ("s", "skip, on the chart"),
    ("1 .. 9", "answer a question, or a problem of a wiring"),
    ("k  w  r", "keep, watch, replace"),
    ("p", "photo"),
    ("m", "note"),
    ("j", "journal"),
    ("t", "clock"),
    ("z", "undo, as a new entry"),
    ("Up  Down", "rows"),
    ("Ctrl Enter", "next loose end, in a wiring"),
    ("Ctrl S", "save, in a wiring"),
    ("Tab", "out of a wiring's text to its first problem"),
    (
        "Space",
        "the next amplifier from the same moment, while listening",
    ),
    ("?", "this list"),
];

/// `/keys`.
pub(crate) fn show(site: &Site, ask: &Ask, _: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let body = html! {
            section.sheet {
                dl.keys { @for (key, what) in KEYS { dt { kbd { (key) } } dd { (what) } } }
                p.hint { "Single letters act outside fields only, and can be switched off among the settings." }
            }
        };
        frame::page(site, ask, r, Page {
            title: "Keys".to_owned(),
            place: Place::Shop,
            head: html! { h1 { "Keys" } },
            buttons: html! { a.button href="/settings" { "Settings" } },
            conditions: html! {},
            body,
        })
    })?;
    ok(page)
}
