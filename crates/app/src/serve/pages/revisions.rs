//! Revisions of a wiring with their differences, and clashes of two texts.

use super::tracing::which;
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::run::Step;
use crate::serve::site::Site;
use crate::serve::{dates, state};
use maud::{Markup, html};
use shop::{
    Clash, Compared, JobId, Piece, Revision, RevisionId, Saved, ShopError, WiringId, difference,
    merge,
};

/// `/job/42/revisions`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let wanted = which(fields);
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let all = match r.wiring_of(id, wanted)? {
            Some(w) => r.revisions(w.id)?,
            None => Vec::new(),
        };
        let chosen = fields
            .number("at")
            .and_then(|n| all.iter().find(|x| x.id.0 == n))
            .or_else(|| all.first());
        let before = chosen.and_then(|c| before(&all, c));
        let body = html! {
            div.revisions {
                section.sheet {
                    h2 { "Revisions, " (wanted.word()) }
                    @if all.is_empty() { p.hint { "Nothing is saved yet." } }
                    ol.list {
                        @for rev in &all {
                            @let here = chosen.is_some_and(|c| c.id == rev.id);
                            li.here[here] {
                                a href=(format!("/job/{id}/revisions?state={}&at={}", wanted.word().replace(' ', "%20"), rev.id)) aria-current=[here.then_some("true")] {
                                    strong { @if rev.number == 0 { "aside" } @else { (rev.number) } }
                                    span { (how(rev)) }
                                    span.small { (rev.bench) ", " (dates::since(rev.at, ask.now)) }
                                }
                            }
                        }
                    }
                }
                @if let Some(rev) = chosen {
                    section.sheet {
                        h2 { "What changed" }
                        (compared(before.map_or("", |b| b.text.as_str()), &rev.text))
                        form method="post" action=(format!("/job/{id}/tracing")) {
                            input type="hidden" name="state" value=(wanted.word());
                            input type="hidden" name="base" value=(all.iter().find(|x| x.number > 0).map(|x| x.id.0.to_string()).unwrap_or_default());
                            textarea.visually-hidden name="text" aria-hidden="true" tabindex="-1" { "\n" (rev.text) }
                            button.button { "Make this text the latest again" }
                        }
                    }
                }
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}: revisions", id, view.job.amp.fields.short()),
            place: Place::Job(&view, Some(Step::Tracing)),
            head: frame::job_head(&view),
            buttons: html! { a.button href=(format!("/job/{id}/tracing?state={}", wanted.word().replace(' ', "%20"))) { "Back to the wiring" } },
            conditions: html! {},
            body,
        })
    })?;
    ok(page)
}

fn before<'a>(all: &'a [Revision], rev: &Revision) -> Option<&'a Revision> {
    all.iter().find(|x| x.id < rev.id && x.number > 0)
}

fn how(rev: &Revision) -> &'static str {
    match rev.how.as_str() {
        "joined" => "two texts joined",
        "aside" => "kept aside in a clash",
        "undone" => "undone",
        _ => "typed",
    }
}

fn compared(old: &str, new: &str) -> Markup {
    let lines = difference(old, new);
    html! {
        div.compared {
            @for line in &lines {
                @match line {
                    Compared::Same(_) => {}
                    Compared::Gone(text) => { p.gone { span.visually-hidden { "gone: " } "− " (text) } }
                    Compared::New(text) => { p.new { span.visually-hidden { "new: " } "+ " (text) } }
                }
            }
            @if lines.iter().all(|l| matches!(l, Compared::Same(_))) { p.hint { "Nothing." } }
        }
    }
}

/// The three texts of a clash.
struct Three {
    wiring: WiringId,
    aside: Revision,
    head: Revision,
    pieces: Vec<Piece>,
}

fn three(site: &Site, aside: RevisionId, wiring: WiringId) -> Result<Three, ShopError> {
    site.shop.read(|r| {
        let all = r.revisions(wiring)?;
        let aside = all
            .iter()
            .find(|x| x.id == aside)
            .cloned()
            .ok_or_else(|| ShopError::Nothing("such text".to_owned()))?;
        let head = r
            .head(wiring)?
            .ok_or_else(|| ShopError::Nothing("saved text".to_owned()))?;
        let base = r.base_of(aside.id)?.map(|b| b.text).unwrap_or_default();
        let merged = merge(&base, &aside.text, &head.text);
        Ok(Three {
            wiring,
            aside,
            head,
            pieces: merged.pieces,
        })
    })
}

/// `/job/42/revisions/7/clash`: both texts of each clash.
pub(crate) fn clash(site: &Site, ask: &Ask, id: JobId, aside: i64, fields: &Fields) -> Answer {
    let wiring = WiringId(fields.number("wiring").ok_or(Fail::NoPage)?);
    let three = three(site, RevisionId(aside), wiring)?;
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let there = format!("{}, {}", three.head.bench, dates::since(three.head.at, ask.now));
        let clashes: Vec<&Clash> = three
            .pieces
            .iter()
            .filter_map(|p| match p {
                Piece::Clash(c) => Some(c),
                Piece::Settled(_) => None,
            })
            .collect();
        let body = html! {
            form.sheet.clash method="post" action=(format!("/job/{id}/revisions/{aside}/clash")) {
                input type="hidden" name="wiring" value=(wiring);
                input type="hidden" name="head" value=(three.head.id);
                p { "Somebody saved other text for the same lines. Both are kept; say for each which one stays." }
                @for (i, c) in clashes.iter().enumerate() {
                    fieldset {
                        legend { "Line " (c.line) " was changed elsewhere" }
                        div.both {
                            div { h3 { "Here" } pre { (c.here.concat()) @if c.here.is_empty() { span.hint { "taken out" } } } }
                            div { h3 { (there) } pre { (c.there.concat()) @if c.there.is_empty() { span.hint { "taken out" } } } }
                        }
                        div.ways {
                            label.way { input type="radio" name=(format!("way{i}")) value="here" required; span { "Here" } }
                            label.way { input type="radio" name=(format!("way{i}")) value="there"; span { (three.head.bench) } }
                            label.way { input type="radio" name=(format!("way{i}")) value="both" checked; span { "Both" } }
                        }
                    }
                }
                (frame::primary_button("Save it so", "both texts stay among the revisions", "Enter"))
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}: two texts", id, view.job.amp.fields.short()),
            place: Place::Job(&view, Some(Step::Tracing)),
            head: frame::job_head(&view),
            buttons: html! {},
            conditions: html! {},
            body,
        })
    })?;
    ok(page)
}

/// Saves the settled text on what is saved now.
pub(crate) fn settle(site: &Site, ask: &Ask, id: JobId, aside: i64, fields: &Fields) -> Answer {
    let wiring = WiringId(fields.number("wiring").ok_or(Fail::NoPage)?);
    let three = three(site, RevisionId(aside), wiring)?;
    let again = format!("/job/{id}/revisions/{aside}/clash?wiring={wiring}");
    if fields.number("head") != Some(three.head.id.0) {
        // saved once more meanwhile: show the texts as they are now
        return go(again);
    }
    let mut text = String::new();
    let mut clash = 0;
    for piece in &three.pieces {
        match piece {
            Piece::Settled(lines) => lines.iter().for_each(|l| text.push_str(l)),
            Piece::Clash(c) => {
                let way = fields.get(&format!("way{clash}")).to_owned();
                clash += 1;
                if way != "there" {
                    c.here.iter().for_each(|l| text.push_str(l));
                }
                if way != "here" {
                    if !text.is_empty() && !text.ends_with('\n') {
                        text.push('\n');
                    }
                    c.there.iter().for_each(|l| text.push_str(l));
                }
            }
        }
    }
    let saved = site.shop.write(&ask.stamp(), |w| {
        w.save_wiring(three.wiring, &text, Some(three.head.id))
    })?;
    let _ = &three.aside;
    match saved {
        Saved::Clash { aside, .. } => {
            go(format!("/job/{id}/revisions/{aside}/clash?wiring={wiring}"))
        }
        _ => {
            let state = site.shop.read(|r| {
                Ok(r.wirings(id)?
                    .into_iter()
                    .find(|w| w.id == wiring)
                    .map(|w| w.state))
            })?;
            let word = state.map_or("as found", shop::WiringState::word);
            go(format!(
                "/job/{id}/tracing?state={}",
                word.replace(' ', "%20")
            ))
        }
    }
}
