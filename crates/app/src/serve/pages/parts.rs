//! Verdicts, part by part: keep, watch, replace.

use super::{back, field};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::marks;
use crate::serve::part_words::{self, Manner};
use crate::serve::run::Step;
use crate::serve::site::Site;
use crate::serve::{dates, pins, state, work_out};
use maud::{Markup, html};
use shop::{
    JobFields, JobId, PartStateFields, Photo, Reader, ReadingState, ShopError, State, TieKind,
    Verdict, VerdictGiven,
};
use wiring::circuit::Kind;
use wiring::{Circuit, PartId};

/// One row.
struct Row {
    name: String,
    role: String,
    marked: String,
    read: String,
    off: String,
    proposed: Option<Verdict>,
    given: Option<VerdictGiven>,
}

impl Row {
    fn undecided(&self) -> bool {
        self.given.is_none()
    }
}

/// How the bench wants things written.
pub(crate) fn manner(r: &Reader<'_>) -> Result<Manner, ShopError> {
    Ok(Manner {
        mfd: r.setting("capacitors")?.as_deref() == Some("MFD"),
        european: r.setting("valves")?.as_deref() == Some("European"),
    })
}

/// `/job/42/parts`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let found = work_out::found(site, r, id, ReadingState::AsFound)?;
        let all = rows(site, r, id, &found.traced)?;
        let filter = fields.get("show");
        let shown: Vec<&Row> = all
            .iter()
            .filter(|x| match filter {
                "undecided" => x.undecided(),
                "replace" => x.given.as_ref().is_some_and(|g| g.verdict == Verdict::Replace),
                _ => true,
            })
            .collect();
        let at = fields
            .some("at")
            .and_then(|at| all.iter().find(|x| x.name == at))
            .or_else(|| all.iter().find(|x| x.undecided()))
            .or(all.first());
        let undecided = all.iter().filter(|x| x.undecided()).count();
        let replace = all
            .iter()
            .filter(|x| x.given.as_ref().is_some_and(|g| g.verdict == Verdict::Replace))
            .count();
        let photos = r.photos(id)?;
        let states = r.part_states(id)?;
        let given = r.verdicts(id)?;
        let body = html! {
            div.parts {
                div.parts-list {
                    @if all.is_empty() {
                        section.sheet {
                            h2 { "No part is traced or named yet" }
                            p { "Trace a wire, or name a part here and give it a verdict." }
                        }
                    } @else { (table(id, filter, &shown, at)) }
                    p.hint { "A question mark: proposed in the wiring, not yet yours." }
                    (by_hand(id))
                }
                div.part-entry {
                    @if let Some(row) = at {
                        (sheet(id, row, states.iter().find(|s| s.fields.part == row.name).map(|s| &s.fields), &photos, ask))
                    }
                    @if let Some(row) = at.filter(|_| !found.traced.circuit.parts.is_empty()) { (super::look::drawing(&found.traced, &row.name, &pins::verdicts(&found.traced, &given))) }
                    @if undecided == 0 && !all.is_empty() {
                        form method="post" action=(format!("/job/{id}/step")) {
                            input type="hidden" name="step" value=(Step::Parts.slug());
                            (frame::primary_button("Parts are done", "next: the work list", "Enter"))
                        }
                    }
                }
            }
        };
        let button = |words: &str, key: &str, count: usize| {
            let chosen = filter == key;
            html! { a.button.chosen[chosen] href=(format!("/job/{id}/parts?show={key}")) aria-current=[chosen.then_some("true")] { (words) " " (count) } }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}: parts", id, view.job.amp.fields.short()),
            place: Place::Job(&view, Some(Step::Parts)),
            head: frame::job_head(&view),
            buttons: html! { (button("All", "", all.len())) (button("Undecided", "undecided", undecided)) (button("Replace", "replace", replace)) },
            conditions: frame::power_strip(&view, ask),
            body,
        })
    })?;
    ok(page)
}

/// Every part of the wiring that can be kept or replaced, then those that were named by hand.
fn rows(
    site: &Site,
    r: &Reader<'_>,
    id: JobId,
    traced: &work_out::Traced,
) -> Result<Vec<Row>, ShopError> {
    let given = r.verdicts(id)?;
    let manner = manner(r)?;
    let circuit: &Circuit = &traced.circuit;
    let mut rows: Vec<Row> = Vec::new();
    for (i, part) in circuit.parts.iter().enumerate() {
        if matches!(
            part.kind,
            Kind::Unknown | Kind::Supply { .. } | Kind::Generator { .. } | Kind::Gain { .. }
        ) {
            continue;
        }
        let (read, off) = part_words::read(part, manner);
        rows.push(Row {
            role: part_words::roles(circuit, &traced.anatomy, PartId(i)),
            marked: part_words::marked(part, &site.library, manner),
            read,
            off,
            proposed: part.known.verdict.map(|v| match v {
                wiring::circuit::Verdict::Keep => Verdict::Keep,
                wiring::circuit::Verdict::Watch => Verdict::Watch,
                wiring::circuit::Verdict::Replace => Verdict::Replace,
            }),
            given: given.iter().find(|g| g.part == part.name).cloned(),
            name: part.name.clone(),
        });
    }
    rows.sort_by_key(|x| class_and_number(&x.name));
    for g in given {
        if !rows.iter().any(|x| x.name == g.part) {
            rows.push(Row {
                name: g.part.clone(),
                role: String::new(),
                marked: String::new(),
                read: String::new(),
                off: String::new(),
                proposed: None,
                given: Some(g),
            });
        }
    }
    Ok(rows)
}

/// `R2` before `R10`, letters together.
fn class_and_number(name: &str) -> (String, u32, String) {
    let letters: String = name.chars().take_while(|c| !c.is_ascii_digit()).collect();
    let (number, _) = bench::chart::points::natural(name);
    (letters, number, name.to_owned())
}

fn table(id: JobId, filter: &str, rows: &[&Row], at: Option<&Row>) -> Markup {
    html! {
        table.points.parts-table {
            thead { tr { th { "Part" } th { "Role" } th { "Marked" } th { "Read" } th { "Off by" } th { "Verdict" } } }
            tbody {
                @for row in rows {
                    @let here = at.is_some_and(|a| a.name == row.name);
                    tr.here[here] id=[here.then_some("at")] {
                        td.point { a href=(format!("/job/{id}/parts?show={filter}&at={}", super::chart::percent(&row.name))) aria-current=[here.then_some("true")] { (row.name) } }
                        td.what { (row.role) }
                        td.marked { (row.marked) }
                        td.read { (row.read) }
                        td { (row.off) }
                        td.verdict-cell { (verdict(row)) }
                    }
                }
            }
        }
    }
}

fn verdict(row: &Row) -> Markup {
    match (&row.given, row.proposed) {
        (Some(g), _) => {
            html! { span.part-verdict { (marks::part_sign(g.verdict)) strong { (g.verdict.word()) } } }
        }
        (None, Some(p)) => {
            html! { span.part-verdict.proposed { (marks::part_sign(p)) (p.word()) "?" } }
        }
        (None, None) => html! { span.part-verdict.none { "open" } },
    }
}

/// The sheet of one part.
fn sheet(
    id: JobId,
    row: &Row,
    became: Option<&PartStateFields>,
    photos: &[Photo],
    ask: &Ask,
) -> Markup {
    let tied: Vec<&Photo> = photos
        .iter()
        .filter(|p| {
            p.ties
                .iter()
                .any(|t| t.kind == TieKind::Part && t.target == row.name)
        })
        .collect();
    html! {
        section.sheet.part {
            div.now { h2.point-now { (row.name) } span.what { (row.role) } }
            dl {
                @if !row.marked.is_empty() { dt { "Marked" } dd.marked { (row.marked) } }
                @if !row.read.is_empty() { dt { "Read" } dd.read { (row.read) @if !row.off.is_empty() { ", " (row.off) } } }
                @if let Some(g) = &row.given {
                    dt { "Verdict" } dd { (verdict(row)) @if !g.reason.is_empty() { " " (g.reason) } span.small { " " (g.bench) ", " (dates::since(g.at, ask.now)) } }
                }
                @if let Some(b) = became {
                    dt { "Became" } dd { (b.state.word()) @if !b.was.is_empty() { ", was " (b.was) } @if !b.now.is_empty() { ", now " (b.now) } }
                }
            }
            form method="post" action=(format!("/job/{id}/verdict")) {
                input type="hidden" name="part" value=(row.name);
                @if let Some(p) = row.proposed { input type="hidden" name="proposed" value=(p.word()); }
                (field("Why, in a few words", "reason", row.given.as_ref().map_or("", |g| g.reason.as_str())))
                div.three {
                    @for (v, words, key) in [(Verdict::Keep, "Keep", "k"), (Verdict::Watch, "Watch", "w"), (Verdict::Replace, "Replace", "r")] {
                        button.verdict-button.filled[row.proposed == Some(v)] id=(words.to_lowercase()) name="verdict" value=(v.word()) {
                            (marks::part_sign(v)) span { (words) } kbd { (key) }
                        }
                    }
                }
            }
            div.others {
                a.button #photo href=(format!("/job/{id}/photos?kind=part&target={}", super::chart::percent(&row.name))) { "Photo" kbd { "p" } }
                a.button href=(format!("/job/{id}/work?part={}#new", super::chart::percent(&row.name))) { "To the work list" }
            }
            (super::photos::thumbnails(&tied))
            details {
                summary { "What became of it" }
                form method="post" action=(format!("/job/{id}/part-state")) {
                    input type="hidden" name="part" value=(row.name);
                    (super::choice("It is", "state", &[("original", "original"), ("replaced", "replaced"), ("added", "added"), ("removed", "removed")], became.map_or("original", |b| b.state.word())))
                    (field("Was, with what it read", "was", became.map_or("", |b| b.was.as_str())))
                    (field("Now", "now", became.map_or("", |b| b.now.as_str())))
                    button.button { "Write" }
                }
            }
        }
    }
}

/// A part that is not in the wiring.
fn by_hand(id: JobId) -> Markup {
    html! {
        details.sheet {
            summary { "A part that is not traced" }
            form.inline method="post" action=(format!("/job/{id}/verdict")) {
                (field("Part", "part", ""))
                (super::choice("Verdict", "verdict", &[("keep", "keep"), ("watch", "watch"), ("replace", "replace")], "watch"))
                (field("Why", "reason", ""))
                button.button { "Give" }
            }
        }
    }
}

/// Gives a verdict and goes on to the next undecided part.
pub(crate) fn give(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let part = fields.line("part");
    let verdict = Verdict::of(fields.get("verdict")).ok_or(Fail::NoPage)?;
    if part.is_empty() {
        return Err(Fail::typed(
            "The part has no name.",
            "Type it as in the wiring: `C3`, or in words.",
        ));
    }
    let proposed = fields.some("proposed").and_then(Verdict::of);
    site.shop.write(&ask.stamp(), |w| {
        w.give_verdict(id, &part, verdict, proposed, &fields.line("reason"))?;
        if Step::of(&w.job(id)?.step) < Step::Parts {
            let at = JobFields {
                step: Some(Step::Parts.slug().to_owned()),
                ..JobFields::default()
            };
            w.change_job(id, &at, None, "at the parts")?;
        }
        Ok(())
    })?;
    go(back(fields, &format!("/job/{id}/parts")))
}

/// What became of a part.
pub(crate) fn became(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let state = State::of(fields.get("state")).ok_or(Fail::NoPage)?;
    let part = fields.line("part");
    let new = PartStateFields {
        part: part.clone(),
        state,
        was: fields.line("was"),
        now: fields.line("now"),
        note: String::new(),
    };
    site.shop
        .write(&ask.stamp(), |w| w.set_part_state(id, &new))?;
    go(format!(
        "/job/{id}/parts?at={}",
        super::chart::percent(&part)
    ))
}
