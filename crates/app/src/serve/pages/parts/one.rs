//! The sheet of one part: what it is, how hard it is worked, what speaks of it, what a new one brings,
//! and three buttons.

use super::super::{chart, choice, field, photos};
use super::{Row, of_wiring, verdict};
use crate::serve::ask::Ask;
use crate::serve::{dates, marks};
use crate::words::sentence;
use bench::parts::{Judged, Replacement};
use bench::sheet::Figure;
use bench::stress::{Strained, Verdict as Strain};
use maud::{Markup, html};
use shop::{JobId, PartStateFields, Photo, TieKind, Verdict};

/// Quantities and effects of a failure that are listed.
const MOST: usize = 4;

/// The largest share of a rating, as a bar; words where no rating is known.
pub(super) fn worked(row: &Row) -> Markup {
    let all = row.judged.iter().flat_map(|j| &j.stress);
    let worst = all
        .clone()
        .filter_map(|s| Some((s.ratio?, s.verdict)))
        .max_by(|a, b| a.0.total_cmp(&b.0));
    match worst {
        Some((ratio, verdict)) => {
            let percent = 100.0 * ratio;
            html! {
                span.worked-bar {
                    svg viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true" {
                        rect.all x="0" y="0" width="100" height="10" {}
                        rect.fill x="0" y="0" width=(format!("{:.1}", percent.clamp(0.0, 100.0))) height="10" {}
                    }
                    @if over(verdict) { strong { (format!("{percent:.0} %")) } } @else { span { (format!("{percent:.0} %")) } }
                }
            }
        }
        None if all.count() > 0 => html! { span.small { "rating not known" } },
        None => html! {},
    }
}

fn over(verdict: Strain) -> bool {
    matches!(
        verdict,
        Strain::Over | Strain::Hot | Strain::OverSheetAsMade
    )
}

/// `volts 406 V of 400 V, cold start, highest mains: over`.
fn strain(s: &Strained) -> Markup {
    let unit = s.quantity.unit();
    html! {
        (s.kind.word()) ", " (s.quantity.words()) " "
        strong { (Figure::new(s.value, unit)) }
        @if let Some(r) = s.rating { " of " (Figure::new(r, unit)) }
        " " (s.when.words())
        @if s.verdict != Strain::Fits { ": " strong { (s.verdict.words()) } }
        @if let Some(remedy) = &s.remedy { ". " (remedy) }
    }
}

pub(super) fn sheet(
    id: JobId,
    row: &Row,
    became: Option<&PartStateFields>,
    of_job: &[Photo],
    against: Option<Verdict>,
    ask: &Ask,
) -> Markup {
    let tied: Vec<&Photo> = of_job
        .iter()
        .filter(|p| {
            let mut ties = p.ties.iter();
            ties.any(|t| t.kind == TieKind::Part && t.target == row.name)
        })
        .collect();
    let proposed = row.proposed();
    html! {
        section.sheet.part {
            div.now { h2.point-now { (row.name) } span.what { (row.role) } }
            dl {
                @if !row.marked.is_empty() { dt { "Marked" } dd.marked { (row.marked) } }
                @if !row.read.is_empty() { dt { "Read" } dd.read { (row.read) @if !row.off.is_empty() { ", " (row.off) } } }
                @if let Some(j) = &row.judged { (figures(j)) }
                @if let Some(g) = &row.given {
                    dt { "Verdict" } dd { (verdict(row)) @if !g.reason.is_empty() { " " (g.reason) } span.small { " " (g.bench) ", " (dates::since(g.at, ask.now)) } }
                }
                @if let Some(b) = became {
                    dt { "Became" } dd { (b.state.word()) @if !b.was.is_empty() { ", was " (b.was) } @if !b.now.is_empty() { ", now " (b.now) } }
                }
            }
            @if let Some(j) = &row.judged { (speaks(j, row.typed)) (brings(j)) }
            form method="post" action=(format!("/job/{id}/verdict")) {
                input type="hidden" name="part" value=(row.name);
                @if let Some(p) = proposed { input type="hidden" name="proposed" value=(p.word()); }
                @if let (Some(a), Some(p)) = (against, proposed) {
                    p.why-against role="status" { "Proposed is " strong { (p.word()) } ". Say in a few words why " strong { (a.word()) } ", then press it again." }
                }
                // Enter in the field means the one that is filled, not the first of three
                @if let Some(v) = against.or(proposed) { button.visually-hidden name="verdict" value=(v.word()) tabindex="-1" aria-hidden="true" { (v.word()) } }
                label #why { span { "Why, in a few words" } input name="reason" value=(row.given.as_ref().map_or("", |g| g.reason.as_str())) autocomplete="off" autofocus[against.is_some()]; }
                div.three {
                    @for (v, words, key) in [(Verdict::Keep, "Keep", "k"), (Verdict::Watch, "Watch", "w"), (Verdict::Replace, "Replace", "r")] {
                        button.verdict-button.filled[against.or(proposed) == Some(v)] id=(words.to_lowercase()) name="verdict" value=(v.word()) {
                            (marks::part_sign(v)) span { (words) } kbd { (key) }
                        }
                    }
                }
            }
            div.others {
                a.button #photo href=(format!("/job/{id}/photos?kind=part&target={}", chart::percent(&row.name))) { "Photo" kbd { "p" } }
                a.button href=(to_work(id, row)) { "To the work list" }
            }
            (photos::thumbnails(&tied))
            details {
                summary { "What became of it" }
                form method="post" action=(format!("/job/{id}/part-state")) {
                    input type="hidden" name="part" value=(row.name);
                    (choice("It is", "state", &[("original", "original"), ("replaced", "replaced"), ("added", "added"), ("removed", "removed")], became.map_or("original", |b| b.state.word())))
                    (field("Was, with what it read", "was", became.map_or("", |b| b.was.as_str())))
                    (field("Now", "now", became.map_or("", |b| b.now.as_str())))
                    button.button { "Write" }
                }
            }
        }
    }
}

/// Where the work list takes it up, with what to fit already typed.
fn to_work(id: JobId, row: &Row) -> String {
    let mut address = format!("/job/{id}/work?part={}", chart::percent(&row.name));
    if let Some(new) = row.judged.as_ref().and_then(|j| j.replacement.as_ref()) {
        let title = format!("fit {} for {}", new.words, row.name);
        address.push_str(&format!("&title={}", chart::percent(&title)));
    }
    address + "#new"
}

/// Strain, drift, age, what its failure takes with it.
fn figures(j: &Judged) -> Markup {
    html! {
        @if !j.stress.is_empty() {
            dt { "Worked" }
            dd { @for s in j.stress.iter().take(MOST) { p { (strain(s)) } } }
        }
        @if let Some(words) = j.moves.as_ref().and_then(bench::parts::Moves::words) { dt { "Drift" } dd { (words) } }
        @if let Some(era) = &j.era { dt { "Date code" } dd { (era) } }
        @if !j.fails.is_empty() {
            dt { "If it fails" }
            dd { @for f in j.fails.iter().take(MOST) { p { (f) } } }
        }
    }
}

/// Rules that speak of it, each with its source.
fn speaks(j: &Judged, typed: Option<Verdict>) -> Markup {
    html! {
        @if let Some(typed) = typed.filter(|t| *t != of_wiring(j.proposed)) {
            p { "In the wiring: " strong { (typed.word()) } ". By the figures: " strong { (of_wiring(j.proposed).word()) } "." }
        }
        @if j.hits.is_empty() {
            p.hint { "Nothing speaks against it." }
        } @else {
            ul.speaks {
                @for hit in &j.hits {
                    li {
                        span.asks { (marks::part_sign(of_wiring(hit.verdict))) span.visually-hidden { (of_wiring(hit.verdict).word()) ": " } }
                        span { (sentence(&hit.says)) details { summary { "Source" } p.small { (hit.origin.text) } } }
                    }
                }
            }
        }
    }
}

/// What a new one changes, and what to order.
fn brings(j: &Judged) -> Markup {
    html! {
        @if let Some(gains) = &j.gains {
            div.brings { h3 { "What a new one brings" } p { (gains) } }
        }
        @if j.verdict() != wiring::circuit::Verdict::Keep && let Some(new) = &j.replacement { (fit(new)) }
    }
}

fn fit(new: &Replacement) -> Markup {
    html! {
        dl {
            dt { "Fit" }
            dd {
                strong { (new.words) }
                @if let Some(volts) = new.needs_volts.filter(|v| *v >= 0.5) { ", needs " (Figure::new(volts, "V")) }
                @if let Some(watts) = new.needs_watts.filter(|w| *w >= 0.005) { ", needs " (Figure::new(watts, "W")) }
                @if let Some(note) = &new.note { ": " (note) }
            }
        }
    }
}
