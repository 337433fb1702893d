//! The handbook on the pages, without a network: its list, and one chapter.

use crate::handbook::{self, CHAPTERS, Chapter, Shelf};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::site::Site;
use maud::{Markup, PreEscaped, html};

/// `/help`.
pub(crate) fn show(site: &Site, ask: &Ask, _: &Fields) -> Answer {
    let body = html! {
        @for shelf in Shelf::ALL {
            section.sheet {
                h2 { (shelf.name()) }
                ul.chapters {
                    @for chapter in CHAPTERS.iter().filter(|c| c.shelf == shelf) {
                        li { a href=(address(chapter)) { strong { (chapter.title()) } span { (chapter.about) } } }
                    }
                }
            }
        }
    };
    framed(
        site,
        ask,
        "Help",
        html! { a.button href="/keys" { "Keys" } },
        body,
    )
}

/// `/help/{chapter}`.
pub(crate) fn chapter(site: &Site, ask: &Ask, name: &str) -> Answer {
    let (at, chapter) = CHAPTERS
        .iter()
        .enumerate()
        .find(|(_, c)| c.name == name)
        .ok_or(Fail::NoPage)?;
    let sections = handbook::sections(chapter.text());
    let body = html! {
        article.sheet.handbook {
            @if sections.len() > 3 {
                nav aria-label="In this chapter" {
                    ul { @for s in &sections { li { a href=(format!("#{}", s.id)) { (s.words) } } } }
                }
            }
            (PreEscaped(handbook::html(chapter.text())))
        }
        nav.turn aria-label="Chapters" {
            @if let Some(before) = at.checked_sub(1).and_then(|i| CHAPTERS.get(i)) {
                a.button href=(address(before)) { "Before: " (before.title()) }
            }
            @if let Some(next) = CHAPTERS.get(at + 1) {
                a.button href=(address(next)) { "Next: " (next.title()) }
            }
        }
    };
    framed(
        site,
        ask,
        chapter.title(),
        html! { a.button href="/help" { "All chapters" } },
        body,
    )
}

fn address(chapter: &Chapter) -> String {
    format!("/help/{}", chapter.name)
}

fn framed(site: &Site, ask: &Ask, title: &str, buttons: Markup, body: Markup) -> Answer {
    let page = site.shop.read(|r| {
        frame::page(
            site,
            ask,
            r,
            Page {
                title: title.to_owned(),
                place: Place::Shop,
                head: html! { h1 { (title) } },
                buttons,
                conditions: html! {},
                body,
            },
        )
    })?;
    ok(page)
}
