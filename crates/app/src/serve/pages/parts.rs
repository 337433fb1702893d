//! Verdicts, part by part: keep, watch, replace.

mod one;

use super::{back, field};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::marks;
use crate::serve::part_words::{self, Manner};
use crate::serve::run::Step;
use crate::serve::site::Site;
use crate::serve::{dates, pins, sheets, state, work_out};
use crate::words::sentence;
use bench::parts::{Judged, Parts};
use maud::{Markup, html};
use shop::{
    JobFields, JobId, PartStateFields, Reader, ReadingState, ShopError, State, Verdict,
    VerdictGiven,
};
use wiring::{Circuit, PartId};

/// One row.
pub(super) struct Row {
    pub(super) name: String,
    pub(super) role: String,
    pub(super) marked: String,
    pub(super) read: String,
    pub(super) off: String,
    /// What the figures say of it; none of a part that is only named by hand.
    pub(super) judged: Option<Judged>,
    /// The verdict that stands in the wiring.
    pub(super) typed: Option<Verdict>,
    pub(super) given: Option<VerdictGiven>,
}

impl Row {
    fn undecided(&self) -> bool {
        self.given.is_none()
    }

    fn is(&self, verdict: Verdict) -> bool {
        self.given.as_ref().is_some_and(|g| g.verdict == verdict)
    }

    /// The verdict in the wiring where there is one, else what the figures ask for.
    pub(super) fn proposed(&self) -> Option<Verdict> {
        let by_figures = self.judged.as_ref().map(|j| of_wiring(j.proposed));
        self.typed.or(by_figures)
    }
}

/// The record's word for a verdict of a wiring.
pub(super) fn of_wiring(verdict: wiring::circuit::Verdict) -> Verdict {
    match verdict {
        wiring::circuit::Verdict::Keep => Verdict::Keep,
        wiring::circuit::Verdict::Watch => Verdict::Watch,
        wiring::circuit::Verdict::Replace => Verdict::Replace,
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
        let given = r.verdicts(id)?;
        let judged = sheets::judged_of(site, &found, &given, dates::year(ask.now));
        let all = rows(site, r, &found.traced, &judged, &given)?;
        let filter = fields.get("show");
        let shown: Vec<&Row> = all
            .iter()
            .filter(|x| match filter {
                "undecided" => x.undecided(),
                "replace" => x.is(Verdict::Replace),
                _ => true,
            })
            .collect();
        let at = fields
            .some("at")
            .and_then(|at| all.iter().find(|x| x.name == at))
            .or_else(|| next(&all))
            .or(all.first());
        let undecided = all.iter().filter(|x| x.undecided()).count();
        let replace = all.iter().filter(|x| x.is(Verdict::Replace)).count();
        let photos = r.photos(id)?;
        let states = r.part_states(id)?;
        let against = fields.some("against").and_then(Verdict::of);
        let body = html! {
            div.parts {
                div.parts-list {
                    @if all.is_empty() {
                        section.sheet {
                            h2 { "No part is traced or named yet" }
                            p { "Trace a wire, or name a part here and give it a verdict." }
                        }
                    } @else { (table(id, filter, &shown, at)) (rest(id, &all)) (counted(&judged)) }
                    (by_hand(id))
                    @if !all.is_empty() { (frame::sheet_foot(judged.sheet.caution())) }
                }
                div.part-entry {
                    @if let Some(row) = at {
                        (one::sheet(id, row, states.iter().find(|s| s.fields.part == row.name).map(|s| &s.fields), &photos, against, ask))
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

/// The part to decide next: what is to be replaced first, then what to watch.
fn next(all: &[Row]) -> Option<&Row> {
    let urgency = |row: &Row| match row.proposed() {
        Some(Verdict::Replace) => 0,
        Some(Verdict::Watch) => 1,
        None => 2,
        Some(Verdict::Keep) => 3,
    };
    all.iter()
        .filter(|x| x.undecided())
        .min_by_key(|x| urgency(x))
}

/// Undecided, and nothing speaks against keeping it.
fn kept_by_all(row: &Row) -> bool {
    row.undecided() && row.proposed() == Some(Verdict::Keep)
}

/// One press for all that nothing speaks against; each gets its own verdict.
fn rest(id: JobId, all: &[Row]) -> Markup {
    let count = all.iter().filter(|x| kept_by_all(x)).count();
    html! {
        @if count > 1 {
            form.others method="post" action=(format!("/job/{id}/verdict")) {
                input type="hidden" name="all" value="keep";
                button.button { "Keep the " (count) " that nothing speaks against" }
            }
        }
    }
}

/// What a question mark is, how much is as made, what could not be judged.
fn counted(judged: &Parts) -> Markup {
    let n = judged.original;
    html! {
        p.hint {
            "A question mark: proposed, not yet yours. "
            @if n.original > 0 {
                (n.original) " of " (n.all) " parts are said to be the maker's own; "
                (n.original - n.original_to_go) " stay by the verdicts and proposals as they stand. "
            }
            @if n.not_said > 0 { "Of " (n.not_said) " nobody said whether they are." }
        }
        @if !judged.sheet.missing.is_empty() {
            details.sheet {
                summary { "What is not in these proposals" }
                ul.less { @for m in &judged.sheet.missing { li { (sentence(&m.what)) " " (m.remedy) } } @for n in &judged.sheet.notes { li { (n) } } }
            }
        }
    }
}

/// Every part of the wiring that can be kept or replaced, then those that were named by hand.
fn rows(
    site: &Site,
    r: &Reader<'_>,
    traced: &work_out::Traced,
    judged: &Parts,
    given: &[VerdictGiven],
) -> Result<Vec<Row>, ShopError> {
    let manner = manner(r)?;
    let circuit: &Circuit = &traced.circuit;
    let mut rows: Vec<Row> = Vec::new();
    for (i, part) in circuit.parts.iter().enumerate() {
        let Some(judged) = judged.parts.iter().find(|j| j.part == part.name) else {
            continue;
        };
        let (read, off) = part_words::read(part, manner);
        rows.push(Row {
            role: part_words::roles(circuit, &traced.anatomy, PartId(i)),
            marked: part_words::marked(part, &site.library, manner),
            read,
            off,
            judged: Some(judged.clone()),
            typed: part.known.verdict.map(of_wiring),
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
                judged: None,
                typed: None,
                given: Some(g.clone()),
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
            thead { tr { th { "Part" } th { "Role" } th { "Marked" } th { "Read" } th { "Off by" } th { "Worked" } th { "Verdict" } } }
            tbody {
                @for row in rows {
                    @let here = at.is_some_and(|a| a.name == row.name);
                    tr.here[here] id=[here.then_some("at")] {
                        td.point { a href=(format!("/job/{id}/parts?show={filter}&at={}", super::chart::percent(&row.name))) aria-current=[here.then_some("true")] { (row.name) } }
                        td.what { (row.role) }
                        td.marked { (row.marked) }
                        td.read { (row.read) }
                        td { (row.off) }
                        td.worked { (one::worked(row)) }
                        td.verdict-cell { (verdict(row)) }
                    }
                }
            }
        }
    }
}

fn verdict(row: &Row) -> Markup {
    match (&row.given, row.proposed()) {
        (Some(g), _) => {
            html! { span.part-verdict { (marks::part_sign(g.verdict)) strong { (g.verdict.word()) } } }
        }
        (None, Some(p)) => {
            html! { span.part-verdict.proposed { (marks::part_sign(p)) (p.word()) "?" } }
        }
        (None, None) => html! { span.part-verdict.none { "open" } },
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

/// Keeps every undecided part that nothing speaks against.
fn keep_the_rest(site: &Site, ask: &Ask, id: JobId) -> Answer {
    let names: Vec<String> = site.shop.read(|r| {
        let found = work_out::found(site, r, id, ReadingState::AsFound)?;
        let given = r.verdicts(id)?;
        let judged = sheets::judged_of(site, &found, &given, dates::year(ask.now));
        let all = rows(site, r, &found.traced, &judged, &given)?;
        Ok::<_, ShopError>(
            all.into_iter()
                .filter(kept_by_all)
                .map(|x| x.name)
                .collect(),
        )
    })?;
    site.shop.write(&ask.stamp(), |w| {
        for part in &names {
            w.give_verdict(
                id,
                part,
                Verdict::Keep,
                Some(Verdict::Keep),
                "nothing speaks against it",
            )?;
        }
        Ok::<_, ShopError>(())
    })?;
    go(format!("/job/{id}/parts"))
}

/// Gives a verdict and goes on to the next undecided part.
pub(crate) fn give(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    if fields.get("all") == "keep" {
        return keep_the_rest(site, ask, id);
    }
    let part = fields.line("part");
    let verdict = Verdict::of(fields.get("verdict")).ok_or(Fail::NoPage)?;
    if part.is_empty() {
        return Err(Fail::typed(
            "The part has no name.",
            "Type it as in the wiring: `C3`, or in words.",
        ));
    }
    let proposed = fields.some("proposed").and_then(Verdict::of);
    if proposed.is_some_and(|p| p != verdict) && fields.line("reason").is_empty() {
        // the words come first: the next technician reads them beside the proposal
        return go(format!(
            "/job/{id}/parts?at={}&against={}",
            super::chart::percent(&part),
            verdict.word()
        ));
    }
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
