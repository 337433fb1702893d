//! Set-up: one sheet for each output valve with what it dissipates, what to fit; heaters; supply.
//! Everything here follows from the wiring and from readings, so nothing is typed on it.

use super::run_sheet;
use super::what_if::{self, WhatIf};
use crate::plate_plot::plot;
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::marks::{self, BandShown};
use crate::serve::run::Step;
use crate::serve::sheets::{self, SetUp, Slow};
use crate::serve::site::Site;
use crate::serve::{state, work_out};
use bench::chart::Word;
use bench::digits;
use bench::idle::{Control, Fit, Idle, Stage, ValveIdle};
use bench::plate_curves::of_stage;
use bench::sheet::{Line, Outcome, Sheet};
use draw::plot::Shades;
use maud::{Markup, PreEscaped, html};
use shop::{JobId, ReadingState};
use wiring::circuit::Circuit;
use wiring::sheet::Library;
use wiring::units::{Quantity, rounded};

/// `/job/42/set-up`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let which = SetUp::of(fields.get("sheet"));
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let found = work_out::found(site, r, id, ReadingState::AsFound)?;
        let circuit = &found.traced.circuit;
        let asked = match which {
            SetUp::Supply => WhatIf::of(circuit, fields),
            _ => Ok(None),
        };
        let changed = asked.and_then(|what| {
            what.map(|what| sheets::supply_if(site, &found, what.mains, &what.changes)).transpose()
        });
        let (changed, refused) = match changed {
            Ok(changed) => (changed, None),
            Err(refused) => (None, Some(refused)),
        };
        let all = changed.unwrap_or_else(|| sheets::set_up(which, site, &found));
        let lines: Vec<&Line> = all.iter().flat_map(Sheet::lines).collect();
        let body = html! {
            div.run-sheet.set-up {
                div {
                    @if which == SetUp::Bias && !all.is_empty() {
                        (plots(&sheets::idle_of(site, &found), &found.traced.circuit, &site.library))
                        (valves(&sheets::idle_of(site, &found), &lines))
                    }
                    @for sheet in all.iter() { (run_sheet::table(id, Step::SetUp, sheet, None, &|_, _| html! {})) }
                    @if all.is_empty() { section.sheet { p.hint { "Nothing can be said here yet." } } }
                    @if let Some(first) = all.first() { (frame::sheet_foot(first.caution())) }
                }
                div.run-entry {
                    @if which == SetUp::Bias && !all.is_empty() { (fits(id, &sheets::idle_of(site, &found))) }
                    @if which == SetUp::Supply && !all.is_empty() {
                        (what_if::form(id, circuit, &site.library, fields, refused.as_ref()))
                    }
                    section.sheet {
                        h2 { "From readings" }
                        p { "What is read on the chart is held against the limits here. Heater volts are read as " code { "V1.4 to V1.5" } ", AC." }
                        p.others { a.button href=(format!("/job/{id}/chart")) { "To the chart" } }
                    }
                    form method="post" action=(format!("/job/{id}/step")) {
                        input type="hidden" name="step" value=(Step::SetUp.slug());
                        button.button { "Set-up is done" }
                    }
                }
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}: set-up, {}", id, view.job.amp.fields.short(), which.slug()),
            place: Place::Job(&view, Some(Step::SetUp)),
            head: frame::job_head(&view),
            buttons: html! {
                span.aside { (run_sheet::count(&lines)) }
                @if !all.is_empty() { (super::paper::button(id, which.slug(), "")) }
                (buttons(id, which.slug()))
            },
            conditions: frame::power_strip(&view, ask),
            body,
        })
    })?;
    ok(page)
}

/// Where the sheets of the set-up are, those that take long last.
pub(crate) fn buttons(id: JobId, chosen: &str) -> Markup {
    let one = |name: &str, slug: &str, page: &str| {
        let here = slug == chosen;
        html! { a.button.chosen[here] href=(format!("/job/{id}/{page}?sheet={slug}")) aria-current=[here.then_some("true")] { (name) } }
    };
    html! {
        @for s in SetUp::ALL { (one(s.name(), s.slug(), "set-up")) }
        @for s in Slow::ALL { (one(s.name(), s.slug(), "driven")) }
        a.button href=(format!("/job/{id}/voicing")) { "Voicing" }
    }
}

/// Plate curves of each stage, with what idles where: wide for a desk, narrow for a phone.
fn plots(idle: &Idle, circuit: &Circuit, library: &Library) -> Markup {
    let all = idle.stages.iter().enumerate();
    let all = all.filter_map(|(i, s)| Some((i, s, of_stage(circuit, library, s)?)));
    html! {
        @for (i, stage, curves) in all {
            section.sheet.plots aria-label=(format!("Plate curves, {}", stage.name)) {
                div.wide { (PreEscaped(plot(&curves, &format!("plates-{i}"), 680, 480).svg(Shades::PAGE))) }
                div.narrow { (PreEscaped(plot(&curves, &format!("plates-{i}-narrow"), 340, 420).svg(Shades::PAGE))) }
                p.hint { "Ring: computed. Filled: read, with its uncertainty." }
                @for m in &curves.missing { p { strong { "Not drawn: " (m.what) ". " } (m.remedy) } }
                details { summary { "What the curves and the load line are" } ul { @for n in &curves.notes { li { (n) } } } }
            }
        }
    }
}

/// A sheet for each output valve.
fn valves(idle: &Idle, lines: &[&Line]) -> Markup {
    html! {
        @for stage in &idle.stages {
            div.valve-sheets {
                @for v in &stage.valves { (valve(stage, v, lines)) }
            }
        }
    }
}

fn valve(stage: &Stage, v: &ValveIdle, lines: &[&Line]) -> Markup {
    let name = format!("{} {}", v.valve, v.valve_type);
    // the verdict is the sheet's own: from readings, where there are any
    let line = lines
        .iter()
        .filter(|l| l.point() == Some(name.as_str()) && l.what().starts_with("plate dissipation"))
        .max_by_key(|l| l.reading().is_some());
    let outcome = line.map_or(Outcome::Open, |l| l.outcome());
    let percent = |watts: f64| v.plate_limit_w.map(|limit| 100.0 * watts / limit);
    let computed = v.plate_w.and_then(percent);
    let read = v.measured.as_ref().and_then(|m| percent(m.plate_w));
    let plus_minus = v
        .measured
        .as_ref()
        .and_then(|m| percent(m.plate_w_plus_minus));
    let band = stage.window.map(|w| BandShown {
        low: w.low,
        high: w.high.min(100.0),
        expected: computed,
        reading: read.or(computed),
        verdict: matches!(outcome, Outcome::Fail | Outcome::Stop).then_some(Word::Outside),
    });
    html! {
        section.sheet.valve {
            div.now {
                h2 { (v.valve) " " span { (v.valve_type) } }
                (marks::outcome(outcome))
            }
            @match read.or(computed) {
                Some(p) => {
                    p.percent {
                        strong.computed[read.is_none()] { (format!("{p:.0}")) }
                        " %" @if let Some(pm) = plus_minus { " ± " (format!("{:.0}", pm.ceil())) }
                        @if read.is_none() { " computed, not read" }
                    }
                }
                None => { p.hint { "No figure yet: the sheet below says what is missing." } }
            }
            @if let Some(band) = &band {
                (super::chart::wide_band(Some(*band)))
            }
            @if let Some(m) = &v.measured {
                p { strong { (format!("{:.1} ± {:.1} mA", m.plate_ma, m.plate_ma_plus_minus)) } ", " strong { (format!("{:.1} W", m.plate_w)) } (of(v)) }
                p.hint { "By " (m.by) "." }
            } @else if let (Some(w), Some(ma)) = (v.plate_w, v.plate_ma) {
                p { span.computed { (format!("{ma:.1} mA")) } ", " span.computed { (format!("{w:.1} W")) } (of(v)) }
            }
        }
    }
}

/// ` of 12 W, design-centre`.
fn of(v: &ValveIdle) -> String {
    let limit = v
        .plate_limit_w
        .map_or_else(String::new, |l| format!(" of {l} W"));
    let system = v
        .system
        .map_or_else(String::new, |s| format!(", {}", s.word()));
    format!("{limit}{system}")
}

/// What to fit or to set, and four facts.
fn fits(id: JobId, idle: &Idle) -> Markup {
    html! {
        @for stage in &idle.stages {
            @if let Some(fit) = &stage.fit { (to_fit(id, fit)) }
            section.sheet.facts {
                h2 { (stage.name) ", " @match stage.bias { Some(b) => (b.words()), None => "bias not traced yet" } }
                dl {
                    @if let Some(w) = stage.window { dt { "Wanted" } dd { (format!("{:.0} to {:.0} %", w.low, w.high)) " of the plate limit" } }
                    @if let Some(c) = &stage.control { (control(c)) }
                    @if let Some(b) = stage.balance_percent { dt { "Pair" } dd { strong { (format!("{b:.0} %")) } " apart, by readings" } }
                    @if let Some(w) = hottest(stage, |v| v.plate_w_highest) { dt { "High mains" } dd { span.computed { (w) } " at " (format!("{:.0} V", idle.wall.highest)) } }
                    @if let Some(w) = hottest(stage, |v| v.screen_w) { dt { "Screens" } dd { span.computed { (w) } " at most" } }
                }
            }
        }
    }
}

fn hottest(stage: &Stage, watts: impl Fn(&ValveIdle) -> Option<f64>) -> Option<String> {
    let most = stage.valves.iter().filter_map(watts).reduce(f64::max)?;
    Some(format!("{most:.1} W"))
}

fn control(c: &Control) -> Markup {
    html! {
        dt { (c.part) }
        dd {
            @match c.target_at {
                Some(at) => { "to " span.computed { (format!("{at:.1}")) } @if let Some(now) = c.stands_at { ", stands at " (format!("{now:.1}")) } }
                None => "does not reach it",
            }
        }
        @if let Some(cold) = c.fails_cold {
            dt { "Wiper open" }
            dd { @if cold { "fails cold" } @else { strong { "runs hot: see the sheet" } } }
        }
    }
}

/// The part that brings the stage into its window; one press puts it on the work list.
fn to_fit(id: JobId, fit: &Fit) -> Markup {
    let ohms = match rounded(fit.ohms, Quantity::Ohms, 3) {
        plain if plain.ends_with(|c: char| c.is_ascii_digit()) => format!("{plain} ohm"),
        short => short,
    };
    let rated = fit.rated_w;
    let after = format!(
        "then {} W, {} W at the highest mains",
        digits::volts(fit.plate_w),
        digits::volts(fit.plate_w_highest)
    );
    html! {
        @if fit.keeps {
            section.sheet { p { strong { (fit.part) " stays: " } "it keeps the stage inside its window (" (after) ")." } }
        } @else {
            form method="post" action=(format!("/job/{id}/work")) {
                input type="hidden" name="title" value=(format!("fit {ohms} {rated} W for {}", fit.part));
                input type="hidden" name="part" value=(fit.part);
                input type="hidden" name="why" value=(format!("bias: {after}"));
                input type="hidden" name="back" value=(format!("/job/{id}/work"));
                (frame::primary_button(&format!("Fit {ohms}, {rated} W for {}", fit.part), &format!("{after}; to the work list"), ""))
            }
        }
    }
}
