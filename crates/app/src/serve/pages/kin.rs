//! Kin: the amp beside the drawings that the shop has, block by block, and both schematics with the
//! differences over them. Drawings are handed in here and kept for every job.

use crate::commands::kin::MOST_PARTS;
use crate::kin_over::{LINES, Side, marks};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::kept_kin::{self, Held, MOST, Shelved};
use crate::serve::pages::photos::Upload;
use crate::serve::run::Step;
use crate::serve::site::Site;
use crate::serve::work_out::{Found, Traced};
use crate::serve::{pins, state, work_out};
use crate::words::sentence;
use bench::kin::{BlockVerdict, DrawingKin, Kin};
use draw::over::Overlay;
use maud::{Markup, PreEscaped, html};
use shop::{JobId, ReadingState, RevisionId, Saved, ShopError, WiringId};

/// Largest text of a drawing.
const LARGEST: usize = 1 << 20;

/// `/job/42/kin`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let found = work_out::found(site, r, id, ReadingState::AsFound)?;
        let shelved = kept_kin::shelved(r, id)?;
        let asked: Vec<WiringId> = fields
            .pairs()
            .filter(|(name, _)| *name == "with")
            .filter_map(|(_, v)| Some(WiringId(v.parse().ok()?)))
            .collect();
        let held = kept_kin::held(site, r, &found, &shelved, &asked)?;
        let body = body(site, id, &found, &shelved, &held, fields);
        frame::page(
            site,
            ask,
            r,
            Page {
                title: format!("{} {}: kin", id, view.job.amp.fields.short()),
                place: Place::Job(&view, Some(Step::Tracing)),
                head: frame::job_head(&view),
                buttons: html! { a.button href=(format!("/job/{id}/tracing")) { "To the wiring" } },
                conditions: html! {},
                body,
            },
        )
    })?;
    ok(page)
}

fn body(
    site: &Site,
    id: JobId,
    found: &Found,
    shelved: &[Shelved],
    held: &[Held],
    fields: &Fields,
) -> Markup {
    let amp = &found.traced;
    let why_not = if amp.circuit.parts.is_empty() {
        Some("Nothing is traced yet: there is nothing to hold against a drawing.")
    } else if amp.circuit.parts.len() > MOST_PARTS {
        Some("There are more parts than an amplifier has; they are not compared.")
    } else if held.is_empty() {
        Some("No drawing is chosen.")
    } else {
        None
    };
    let compared = why_not.is_none().then(|| {
        let kin = kept_kin::compare(site, found, held);
        (at(held, &kin, fields), kin)
    });
    html! {
        div.kin {
            section.sheet {
                h2 { "Which drawing is it?" }
                @if let Some(why) = why_not { p.hint { (why) } }
                @if let Some((at, kin)) = &compared { (overview(id, held, kin, *at)) }
            }
            @if let Some((at, kin)) = &compared {
                @if let (Some(drawing), Some(held)) = (kin.drawings.get(*at), held.get(*at)) {
                    (against(drawing))
                    (beside(amp, held, drawing))
                }
            }
            (choose(id, shelved, held))
            (hand_in(id))
            @if let Some(held) = compared.as_ref().and_then(|(at, _)| held.get(*at)) { (text_of(id, held)) }
        }
    }
}

/// The drawing that is shown in full: the one asked for, else the nearest.
fn at(held: &[Held], kin: &Kin, fields: &Fields) -> usize {
    let asked = fields.number("at");
    let asked = held.iter().position(|h| Some(h.id.0) == asked);
    asked.unwrap_or_else(|| {
        let drawings = &kin.drawings;
        let nearer = |a: &usize, b: &usize| {
            // a whole drawing before a partial one, of which little is held against the amp
            let key = |i: usize| {
                let d = &drawings[i];
                ((d.kin, !d.partial), d.score)
            };
            let ((a_kin, a_score), (b_kin, b_score)) = (key(*a), key(*b));
            a_kin
                .cmp(&b_kin)
                .then(a_score.total_cmp(&b_score))
                .then(b.cmp(a))
        };
        (0..drawings.len()).max_by(nearer).unwrap_or(0)
    })
}

/// The address of the page with these drawings, one of them shown whole.
fn address(id: JobId, held: &[Held], at: WiringId) -> String {
    let with: Vec<String> = held.iter().map(|h| format!("with={}", h.id)).collect();
    format!("/job/{id}/kin?{}&at={at}#against", with.join("&"))
}

fn overview(id: JobId, held: &[Held], kin: &Kin, here: usize) -> Markup {
    html! {
        div.scrolls tabindex="0" role="region" aria-label="Each drawing in figures, scrolls" {
            table.plain {
                thead { tr {
                    th { "Drawing" } th.figure { "Score" } th.figure { "Same" } th.figure { "Value" }
                    th.figure { "Rewired" } th.figure { "Missing" } th.figure { "Added" } th { "Kin" }
                } }
                tbody {
                    @for (i, (d, h)) in kin.drawings.iter().zip(held).enumerate() {
                        tr {
                            td { a href=(address(id, held, h.id)) aria-current=[(i == here).then_some("true")] { (i + 1) " " (d.name) } }
                            td.figure { (format!("{:.2}", d.score)) }
                            td.figure { (d.same) } td.figure { (d.value_changed) } td.figure { (d.rewired) }
                            td.figure { (d.missing) } td.figure { (d.added) }
                            td { @if !d.kin { strong { "not kin" } } @else if d.partial { "kin, partial" } @else { "kin" } }
                        }
                    }
                }
            }
        }
        p.hint { "Matched by what is joined to what; names are not looked at. Missing: on the drawing only. Added: in the amp only. Score: 1 where nothing differs." }
        @if !kin.patchwork.is_empty() {
            h3 { "Region by region" }
            ul.regions { @for patch in &kin.patchwork { li { (sentence(&patch.words)) } } }
        }
    }
}

fn against(drawing: &DrawingKin) -> Markup {
    let needed = drawing.needed();
    html! {
        section.sheet #against {
            h2 { "Against " (drawing.name) }
            @if let Some(why) = &drawing.why { p { strong { "Not kin: " } (why) "." } }
            @if drawing.kin && drawing.partial { p.hint { "It does not show the whole amp; what it leaves out is not held against it." } }
            @if drawing.kin {
                div.scrolls tabindex="0" role="region" aria-label="Block by block, scrolls" {
                    table.plain.blockwise {
                        thead { tr { th { "Block" } th { "Verdict" } th { "What differs" } } }
                        tbody {
                            @for block in &drawing.blocks {
                                tr {
                                    th scope="row" { (sentence(&block.name).trim_end_matches('.')) }
                                    td.strong[block.verdict != BlockVerdict::Same] { (block.verdict.words()) }
                                    td {
                                        @if block.differences.is_empty() && block.verdict != BlockVerdict::Same { (block.parts.join(", ")) }
                                        @for difference in &block.differences { p { (sentence(difference)) } }
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
        @if drawing.kin {
            section.sheet {
                h2 { "To make the amp as drawn" }
                @if drawing.edits == 0 { p { "Nothing would have to be changed." } }
                div.needs {
                    @for (title, steps) in [("Parts", &needed.parts), ("Wires", &needed.wires)] {
                        @if !steps.is_empty() {
                            div {
                                h3 { (title) " " (steps.len()) }
                                ul { @for step in steps.iter() { li { (step.words) } } }
                            }
                        }
                    }
                }
                @if needed.left_out > 0 {
                    p.hint {
                        "Not listed: " (needed.left_out) @if needed.left_out == 1 { " part" } @else { " parts" }
                        " of blocks that are only here or only there, or not traced yet."
                    }
                }
                p.hint { "A list, not advice: an old change may be worth keeping." }
            }
        }
    }
}

/// Both schematics.
fn beside(amp: &Traced, held: &Held, kin: &DrawingKin) -> Markup {
    html! {
        @if kin.kin {
            div.side-by-side {
                @for (traced, side, title) in [
                    (amp, Side::Found, "As found".to_owned()),
                    (&*held.traced, Side::Drawn, format!("As drawn: {}", held.name)),
                ] {
                    section.sheet.drawn {
                        h2 { (title) }
                        @let over = Overlay { marks: marks(&traced.circuit, kin, side), ..Overlay::default() };
                        @match pins::beside_another(traced, &over, &title) {
                            Some((picture, left)) => {
                                div.paper tabindex="0" role="region" aria-label=(format!("{title}, scrolls")) { (PreEscaped(picture)) }
                                @if !left.is_empty() { p.hint { (left) } }
                            }
                            None => { p.hint { "That many parts are not drawn." } }
                        }
                    }
                }
                p.hint { (LINES) }
            }
        }
    }
}

fn choose(id: JobId, shelved: &[Shelved], held: &[Held]) -> Markup {
    html! {
        section.sheet {
            h2 { "Drawings" }
            @if shelved.is_empty() {
                p.hint { "The shop has no drawing yet, and no other amp that is open is traced." }
            } @else {
                form method="get" action=(format!("/job/{id}/kin")) {
                    div.ways {
                        @for s in shelved {
                            label.way { input type="checkbox" name="with" value=(s.id) checked[held.iter().any(|h| h.id == s.id)]; span { (s.name) } }
                        }
                    }
                    button.button { "Hold the amp against these" }
                    span.hint { " At most " (MOST) " at a time." }
                }
            }
        }
    }
}

fn hand_in(id: JobId) -> Markup {
    html! {
        details.sheet {
            summary { "Hand in a drawing" }
            form method="post" action=(format!("/job/{id}/kin")) enctype="multipart/form-data" {
                (super::field("Name, such as first issue", "name", ""))
                label { span { "A wiring, as a file" } input type="file" name="file" accept=".wiring,.txt,text/plain"; }
                (super::area("Or typed here", "text", "", 8))
                button.button { "Keep it" }
                p.hint { "Typed like any wiring. A part of an amp is enough: what it leaves out is not held against it. It is kept for every job." }
            }
        }
    }
}

fn text_of(id: JobId, held: &Held) -> Markup {
    html! {
        @if let Some(base) = held.base.filter(|_| held.of_shop) {
            details.sheet {
                summary { "The text of " (held.name) }
                @if !held.traced.problems.is_empty() {
                    ul { @for d in held.traced.problems.iter().filter(|d| d.severity != wiring::Severity::Note).take(20) {
                        li { "Line " (d.place.line) ": " (crate::serve::marks::typed(&d.message)) " " span.hint { (crate::serve::marks::typed(&d.advice)) } }
                    } }
                }
                form method="post" action=(format!("/job/{id}/kin")) enctype="multipart/form-data" {
                    input type="hidden" name="wiring" value=(held.id);
                    input type="hidden" name="base" value=(base);
                    (super::area("Wiring", "text", &format!("\n{}", held.traced.text), 16))
                    button.button { "Save the text" }
                }
            }
        }
    }
}

/// Keeps a drawing, or another text of one.
pub(crate) fn put(site: &Site, ask: &Ask, id: JobId, fields: &Fields, files: &[Upload]) -> Answer {
    let typed = fields.whole("text");
    let typed = typed.strip_prefix('\n').unwrap_or(typed);
    let (text, stem) = match files.first() {
        Some(file) => {
            let text = String::from_utf8(file.content.clone())
                .ok()
                .filter(|t| !t.contains('\0'))
                .ok_or_else(|| {
                    Fail::typed(
                        format!("{} is not a text.", file.name),
                        "Hand in a wiring: a plain text, one part or walk a line. A picture of a drawing has to be typed.",
                    )
                })?;
            let stem = file.name.rsplit(['/', '\\']).next().unwrap_or_default();
            let stem = stem.rsplit_once('.').map_or(stem, |(stem, _)| stem);
            (text, stem.to_owned())
        }
        None => (typed.to_owned(), String::new()),
    };
    if text.trim().is_empty() {
        return Err(Fail::typed(
            "There is nothing in it.",
            "Choose a file, or type the drawing as a wiring.",
        ));
    }
    if text.len() > LARGEST {
        return Err(Fail::typed(
            "The text is larger than a megabyte.",
            "A wiring is a text of some kilobytes.",
        ));
    }
    if let Some(wiring) = fields.number("wiring").map(WiringId) {
        let base = fields.number("base").map(RevisionId);
        let saved = site.shop.write(&ask.stamp(), |w| {
            if !w.drawings()?.iter().any(|d| d.id == wiring) {
                return Err(ShopError::Nothing("such drawing".to_owned()));
            }
            w.save_wiring(wiring, &text, base)
        })?;
        if let Saved::Clash { aside, .. } = saved {
            return go(format!("/job/{id}/revisions/{aside}/clash?wiring={wiring}"));
        }
        return go(format!("/job/{id}/kin?with={wiring}&at={wiring}"));
    }
    let name = [fields.line("name"), stem]
        .into_iter()
        .find(|n| !n.is_empty())
        .or_else(|| wiring::read_one(&text).circuit.heading.drawing)
        .unwrap_or_else(|| "drawing".to_owned());
    let wiring = site.shop.write(&ask.stamp(), |w| {
        let wiring = w.add_drawing(None, &name)?;
        w.save_wiring(wiring, &text, None)?;
        Ok::<_, ShopError>(wiring)
    })?;
    go(format!("/job/{id}/kin?with={wiring}&at={wiring}"))
}
