//! The journal of a job: every change with its time and place, each undone by a press; notes.

use super::{area, back};
use crate::serve::ask::{Ask, Fields};
use crate::serve::dates;
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::site::Site;
use crate::serve::state;
use maud::html;
use shop::{EntryId, JobId, NoteId, ShopError};

/// Entries on a page.
const PAGE: usize = 100;

/// `/job/42/journal`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let before = fields.number("before").map(EntryId);
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let entries = r.journal(Some(id), before, PAGE)?;
        let notes = r.notes(id)?;
        let body = html! {
            div.journal {
                section.sheet {
                    h2 { "Journal" }
                    ol.entries {
                        @for e in &entries {
                            li.undone[e.undone_by.is_some()] {
                                span.when { (dates::since(e.at, ask.now)) }
                                span.bench { (e.bench) }
                                span.says { (e.says) @if e.undone_by.is_some() { span.small { " (undone)" } } }
                                @if e.undone_by.is_none() {
                                    form method="post" action=(format!("/job/{id}/undo")) {
                                        input type="hidden" name="entry" value=(e.id);
                                        button.button.small-button aria-label=(format!("Undo: {}", e.says)) { "Undo" }
                                    }
                                }
                            }
                        }
                    }
                    @if entries.len() == PAGE {
                        @if let Some(last) = entries.last() { a.button href=(format!("/job/{id}/journal?before={}", last.id)) { "Earlier" } }
                    }
                    p.hint { "Undoing is an entry of its own; nothing is erased." }
                }
                section.sheet #write {
                    h2 { "Notes" }
                    @for n in &notes {
                        div.note {
                            @if n.blanked { p.hint { "blanked" } }
                            @else { p { (n.text) } }
                            p.small { (n.bench) ", " (dates::since(n.at, ask.now)) }
                            @if !n.blanked {
                                details {
                                    summary { "Change or blank" }
                                    form method="post" action=(format!("/job/{id}/note")) {
                                        input type="hidden" name="note" value=(n.id);
                                        (area("Text", "text", &n.text, 2))
                                        div.others {
                                            button.button name="do" value="write" { "Write" }
                                            button.button name="do" value="blank" { "Blank it for good" }
                                        }
                                    }
                                }
                            }
                        }
                    }
                    form method="post" action=(format!("/job/{id}/note")) {
                        (area("A note", "text", "", 3))
                        (frame::primary_button("Write the note", "", "Enter"))
                    }
                }
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}: journal", id, view.job.amp.fields.short()),
            place: Place::Job(&view, None),
            head: frame::job_head(&view),
            buttons: html! {
                form method="post" action=(format!("/job/{id}/undo")) { button.button #undo { "Undo the last" kbd { "z" } } }
            },
            conditions: html! {},
            body,
        })
    })?;
    ok(page)
}

/// Undoes an entry, or the last one of this bench.
pub(crate) fn undo(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    site.shop.write(&ask.stamp(), |w| {
        let entry = match fields.number("entry") {
            Some(n) => EntryId(n),
            None => w
                .last_to_undo(id, &ask.bench)?
                .map(|e| e.id)
                .ok_or_else(|| ShopError::Refused("There is nothing to undo here.".to_owned()))?,
        };
        let own = w.journal(Some(id), Some(EntryId(entry.0 + 1)), 1)?;
        if own.first().is_none_or(|e| e.id != entry) {
            return Err(ShopError::Nothing("such entry in this job".to_owned()));
        }
        w.undo(entry)
    })?;
    go(back(fields, &format!("/job/{id}/journal")))
}

/// Writes, changes or blanks a note.
pub(crate) fn note(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let old = fields.number("note").map(NoteId);
    if let Some(old) = old {
        let known = site
            .shop
            .read(|r| Ok(r.notes(id)?.iter().any(|n| n.id == old)))?;
        if !known {
            return Err(Fail::NoPage);
        }
    }
    match (old, fields.get("do")) {
        (Some(note), "blank") => site.shop.forget(&ask.stamp(), |w| w.blank_note(id, note))?,
        _ => {
            site.shop.write(&ask.stamp(), |w| {
                w.add_note(id, "", fields.get("text"), old)
            })?;
        }
    }
    go(back(fields, &format!("/job/{id}/journal")))
}
