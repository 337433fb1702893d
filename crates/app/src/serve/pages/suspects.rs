//! Suspects: which part may be at fault, what each suspect explains, and what to read next.
//!
//! Everything here follows from the wiring, the readings and what was heard and seen; the page writes
//! nothing but the conditions under which the next reading is taken.

mod next;

use super::chart::{self, ChartView};
use super::{conditions, look};
use crate::commands::suspects::{partner_size, percent, size, value};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::marks::{self, BandShown};
use crate::serve::part_words::{self, Manner};
use crate::serve::run::Step;
use crate::serve::site::Site;
use crate::serve::work_out;
use crate::words::sentence;
use bench::chart::Word;
use bench::faults::Sort;
use bench::rules::STANDARD_CAUTION;
use bench::suspects::{Explained, Suspect, Suspects};
use maud::{Markup, html};
use shop::{JobId, Reader, ReadingState, ShopError};
use std::sync::Arc;
use wiring::circuit::{Part, PartId};

/// Suspects that stand in the open list; the rest is folded.
const SHOWN: usize = 8;
/// Below this a suspect stands in the folded list.
const LEAST: f64 = 0.005;

/// Of the rest so many are named.
const FOLDED: usize = 30;

/// Everything that the page shows.
struct View {
    chart: ChartView,
    found: Arc<Suspects>,
    manner: Manner,
    /// Were two readings ahead asked for?
    ahead: bool,
    words: Option<String>,
}

impl View {
    fn of(site: &Site, r: &Reader<'_>, id: JobId, fields: &Fields) -> Result<Self, ShopError> {
        let mut chart = chart::view(site, r, id, fields)?;
        let words = work_out::told(r, id)?;
        let wish = work_out::Wish {
            both: fields.get("faults") == "two",
            ahead: fields.get("ahead") == "two",
        };
        let found = work_out::suspects(site, &chart.found, words.as_deref(), wish);
        chart.back = Some(address(id, chart.state));
        Ok(Self {
            manner: super::parts::manner(r)?,
            chart,
            found,
            ahead: wish.ahead,
            words,
        })
    }

    fn address(&self) -> String {
        address(self.chart.view.job.id, self.chart.state)
    }

    /// The part of a suspect; of a valve's section the valve.
    fn part(&self, name: &str) -> Option<(PartId, &Part)> {
        let circuit = &self.chart.found.traced.circuit;
        let id = circuit.part_or_valve(name)?;
        Some((id, circuit.parts.get(id.0)?))
    }
}

fn address(id: JobId, state: ReadingState) -> String {
    match state {
        ReadingState::AsFound => format!("/job/{id}/suspects"),
        ReadingState::AsLeft => format!("/job/{id}/suspects?state=as%20left"),
    }
}

/// `/job/42/suspects`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let seen = View::of(site, r, id, fields)?;
        let view = &seen.chart.view;
        let body = html! {
            div.suspects {
                div.suspects-list {
                    (list(site, &seen))
                    @if fields.get("faults") == "two" { (two(&seen.found)) }
                    (beside(&seen))
                    (frame::sheet_foot(STANDARD_CAUTION))
                }
                div.suspects-next { (next::sheets(&seen)) }
            }
            @if fields.has("drawing") { (drawn(&seen)) }
        };
        let form = conditions::form(&seen.chart, &r.instruments()?);
        frame::page(
            site,
            ask,
            r,
            Page {
                title: format!("{} {}: suspects", id, view.job.amp.fields.short()),
                place: Place::Job(view, Some(Step::Chart)),
                head: frame::job_head(view),
                buttons: html! {
                    span.aside { (weighed(&seen.found)) }
                    a.button href=(with(&seen.address(), "faults=two")) { "Two faults at once" }
                    a.button href=(with(&seen.address(), "ahead=two")) { "Two readings ahead" }
                    a.button href=(format!("{}#drawing", with(&seen.address(), "drawing=yes"))) { "On the drawing" }
                    a.button href=(seen.chart.address()) { "To the chart" }
                },
                conditions: frame::conditions_strip(view, ask, &seen.chart.conditions, &form),
                body,
            },
        )
    })?;
    ok(page)
}

/// Opens the reading that was pressed, under its conditions.
pub(crate) fn take(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let (probe, condition) = (fields.line("probe"), fields.line("condition"));
    let seen = site.shop.read(|r| View::of(site, r, id, fields))?;
    let mut all = seen.found.next.iter();
    let wanted = all.find(|n| n.probe == probe && n.condition == condition && !n.unit.is_empty());
    let Some(wanted) = wanted else {
        // somebody wrote a reading meanwhile: what to do next is another thing now
        return go(seen.address());
    };
    if next::locked(&seen.chart.view.power, wanted) {
        return Err(Fail::typed(
            "Hands go in for this reading, and the amp is not off.",
            "Unplug it, and read every point that stores charge below 10 V first.",
        ));
    }
    let (mains, meter) = site.shop.read(conditions::usual)?;
    if let Some(block) = next::block_to_begin(&seen.chart, wanted, &mains, &meter) {
        site.shop.write(&ask.stamp(), |w| {
            w.begin_block(
                id,
                seen.chart.state,
                &block.name,
                &block.conditions,
                block.instrument,
            )
        })?;
    }
    let unit = match wanted.unit {
        "V ac" => "&unit=ac",
        "Hz" => "&unit=Hz",
        _ => "",
    };
    go(format!(
        "{}{unit}&back={}",
        seen.chart.at_address(&wanted.probe),
        chart::percent(&seen.address())
    ))
}

fn with(address: &str, more: &str) -> String {
    let joint = if address.contains('?') { '&' } else { '?' };
    format!("{address}{joint}{more}")
}

/// `12 readings weighed`.
fn weighed(found: &Suspects) -> String {
    match found.used {
        0 => "no reading weighed yet".to_owned(),
        1 => "1 reading weighed".to_owned(),
        n => format!("{n} readings weighed"),
    }
}

/// A row of the list.
enum Row<'a> {
    One(&'a Suspect),
    /// Not told apart.
    Group(Vec<&'a Suspect>),
    Other(f64, &'static str, &'static str),
}

impl Row<'_> {
    fn chance(&self) -> f64 {
        match self {
            Self::One(s) => s.probability,
            Self::Group(all) => all.first().map_or(0.0, |s| s.probability),
            Self::Other(p, _, _) => *p,
        }
    }
}

fn rows(found: &Suspects) -> Vec<Row<'_>> {
    let shown = |index: usize| {
        found
            .suspects
            .get(index)
            .filter(|s| index < SHOWN && s.probability >= LEAST)
    };
    let mut rows: Vec<Row<'_>> = Vec::new();
    let mut grouped: Vec<usize> = Vec::new();
    for group in &found.groups {
        let all: Vec<usize> = group
            .iter()
            .copied()
            .filter(|i| shown(*i).is_some())
            .collect();
        if all.len() > 1 {
            rows.push(Row::Group(all.iter().filter_map(|i| shown(*i)).collect()));
            grouped.extend(all);
        }
    }
    let single = (0..found.suspects.len()).filter(|i| !grouped.contains(i));
    rows.extend(single.filter_map(shown).map(Row::One));
    let why =
        "no single fault of the dictionary: two at once, a slip in the wiring, something else";
    rows.push(Row::Other(found.unlisted, "Not in the list", why));
    let why = "that these readings can show";
    rows.push(Row::Other(found.healthy, "Nothing wrong", why));
    rows.sort_by(|a, b| b.chance().total_cmp(&a.chance()));
    rows
}

fn list(site: &Site, seen: &View) -> Markup {
    let found = &*seen.found;
    let half = !seen.chart.found.traced.circuit.parts.is_empty();
    if found.suspects.is_empty() {
        return html! {
            section.sheet {
                h2 { @if half { "Nothing can be weighed yet" } @else { "Nothing is traced yet" } }
                @for note in &found.notes { p { (sentence(note)) } }
                p.others { a.button href=(format!("/job/{}/tracing", seen.chart.view.job.id)) { "Trace a wire" } }
            }
        };
    }
    let rest: Vec<&Suspect> = found
        .suspects
        .iter()
        .enumerate()
        .filter(|(i, s)| *i >= SHOWN || s.probability < LEAST)
        .map(|(_, s)| s)
        .collect();
    let mut first = found.used > 0;
    html! {
        section.sheet.ranked aria-label="Suspects" {
            @if found.used == 0 {
                p.hint { "Nothing was read that could point at a part: this is how often each fault is met." }
            }
            ol {
                @for row in rows(found) {
                    @match row {
                        Row::One(s) => { li { (suspect(site, seen, s, std::mem::take(&mut first))) } }
                        Row::Group(all) => {
                            li.bracket {
                                @for s in all { (suspect(site, seen, s, std::mem::take(&mut first))) }
                                p.hint { "These readings do not tell them apart." }
                            }
                        }
                        Row::Other(p, words, why) => {
                            li.suspect { (chance(p)) div.who { strong { (words) } span.small { (why) } } (bar(p)) }
                        }
                    }
                }
            }
            @if found.unseen >= 0.01 { p.hint { (percent(found.unseen)) " in all are faults that would move none of these readings." } }
            @if !rest.is_empty() {
                details {
                    summary { (rest.len()) " more, " (percent(rest.iter().map(|s| s.probability).sum())) " together" }
                    ul.less { @for s in rest.iter().take(FOLDED) { li { strong { (s.part) } " " (s.words) ", " (percent(s.probability)) } } }
                    @if rest.len() > FOLDED { p.hint { "And " (rest.len() - FOLDED) " less likely still." } }
                }
            }
        }
    }
}

fn chance(p: f64) -> Markup {
    let text = percent(p);
    let number = text.trim_end_matches(" %");
    html! { span.chance { strong { (number) } " %" } }
}

/// A bar with a tick at every tenth.
fn bar(p: f64) -> Markup {
    html! {
        svg.chance-bar viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true" {
            @for i in 1..=10 { path.tick d=(format!("M{}0 1V9", i)) {} }
            rect.fill x="0" y="0" width=(format!("{:.1}", (100.0 * p).clamp(0.4, 100.0))) height="10" {}
        }
    }
}

fn suspect(site: &Site, seen: &View, s: &Suspect, open: bool) -> Markup {
    let part = seen.part(&s.part);
    let marked = part.map_or_else(String::new, |(id, part)| {
        let roles = part_words::roles(
            &seen.chart.found.traced.circuit,
            &seen.chart.found.traced.anatomy,
            id,
        );
        let mut words = vec![part_words::marked(part, &site.library, seen.manner), roles];
        words.retain(|w| !w.is_empty());
        words.join(", ")
    });
    // nothing was read, so nothing says how far it went
    let size = if seen.found.used == 0 {
        String::new()
    } else {
        size(s)
    };
    html! {
        details.of open[open] {
            summary.suspect {
                (chance(s.probability))
                div.who { strong { (s.part) " " (s.words) @if !size.is_empty() { ", about " (size) } } span.small { (marked) } }
                (bar(s.probability))
            }
            div.why {
                @if !s.explains.is_empty() || !s.against.is_empty() { (explained(s)) }
                @else if seen.found.used > 0 { p { "A sound amplifier would read much the same at every point that was read." } }
                @for words in &s.strain { p { strong { "If it is this: " } (words) "." } }
                p { strong { "To make sure: " } (s.confirm) }
                p.others { a.button.small-button href=(format!("/job/{}/parts?at={}", seen.chart.view.job.id, chart::percent(part.map_or(&s.part, |(_, p)| &p.name)))) { "Its verdict" } }
            }
        }
    }
}

/// Each reading that tells for or against a suspect, on the band of what it would be.
fn explained(s: &Suspect) -> Markup {
    let row = |e: &Explained, is: bool| {
        let band = BandShown {
            low: e.low,
            high: e.high,
            expected: Some(e.expected),
            reading: Some(e.read),
            verdict: (!is).then_some(Word::Outside),
        };
        html! {
            tr {
                th { (e.point) span.small { (e.block) } }
                td.figure.computed { (value(e.expected, e.unit)) }
                td.band { (marks::band(&band, 160.0, 32.0)) }
                td.figure.read { (value(e.read, e.unit)) }
                td.figure.computed.sound { (value(e.sound, e.unit)) }
                td { @if is { "explained" } @else { strong { "not explained" } } }
            }
        }
    };
    html! {
        table.explained {
            thead { tr { th { "If it is this" } th.figure { "would be" } th.band { span.visually-hidden { "Band" } } th.figure { "you read" } th.figure.sound { "sound" } th { span.visually-hidden { "Explained" } } } }
            tbody {
                @for e in &s.explains { (row(e, true)) }
                @for e in &s.against { (row(e, false)) }
            }
        }
    }
}

/// Two faults at once.
fn two(found: &Suspects) -> Markup {
    let together: f64 = found.pairs.iter().map(|p| p.probability).sum();
    html! {
        section.sheet.two-faults #two {
            h2 { "Two faults at once" }
            p { "Weighed beside the single ones: " (percent(together)) " in all, of " (found.pairs_weighed) " pairs looked at." }
            ul.less {
                @for pair in found.pairs.iter().filter(|p| p.probability >= LEAST) {
                    li {
                        strong { (percent(pair.probability)) } " "
                        @for (i, one) in pair.both.iter().enumerate() {
                            @if i > 0 { " and " }
                            (one.part) " " (one.words)
                            @let size = partner_size(one);
                            @if !size.is_empty() { ", about " (size) }
                        }
                    }
                }
            }
            @if together < LEAST { p.hint { "No pair explains the readings so much better than a single fault that it would make up for being rarer." } }
        }
    }
}

/// What was heard, what no meter shows, what was not used.
fn beside(seen: &View) -> Markup {
    let found = &*seen.found;
    let heard = seen.words.as_ref().is_some_and(|w| !w.is_empty());
    let notes: &[String] = if found.suspects.is_empty() {
        &[]
    } else {
        &found.notes
    };
    html! {
        @if !found.by_ear.is_empty() || !notes.is_empty() {
            section.sheet {
                @if !notes.is_empty() { h2 { "Worth knowing" } ul.less { @for n in notes { li { (sentence(n)) } } } }
                @if !found.by_ear.is_empty() {
                    h2 { "Found by ear or eye, by no meter" }
                    ul.less {
                        @for row in &found.by_ear {
                            li { strong { @if row.on != Sort::Any { (row.on.words()) " " } (row.words) } ". " (row.confirm) }
                        }
                    }
                }
            }
        }
        @if heard { p.hint { "What the owner said, and what was heard and seen, counts toward the odds." } }
        @if !found.unused.is_empty() {
            details.sheet.not-computed {
                summary { "Readings that were not weighed, and why" }
                dl { @for u in &found.unused { dt { (u.point) } dd { (u.why) } } }
            }
        }
    }
}

/// The drawing with the suspects over it.
fn drawn(seen: &View) -> Markup {
    let circuit = &seen.chart.found.traced.circuit;
    let (marks, none) = crate::commands::draw::suspects_over(circuit, &seen.found);
    let over = draw::over::Overlay {
        marks,
        ..draw::over::Overlay::default()
    };
    html! {
        div #drawing {
            @if let Some(none) = none { p.hint { (none) } }
            (look::drawing(&seen.chart.found.traced, "", &over))
        }
    }
}
