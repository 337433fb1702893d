//! Power and tremolo: what takes seconds to minutes to work out. Begun when the page is opened, told while it goes
//! on, stopped by a press. Nothing on these pages is written down.

use super::{paper, run_sheet, set_up};
use crate::power_plot::{distortion, swing};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::long::Standing;
use crate::serve::run::Step;
use crate::serve::sheets::{self, Drive, Slow};
use crate::serve::site::Site;
use crate::serve::work_out::Found;
use crate::serve::{dates, state, work_out};
use crate::words::sentence;
use axum::response::IntoResponse as _;
use bench::power::{Power, Room};
use bench::sheet::{Figure, Sheet};
use bench::tremolo::Tremolo;
use bench::voicing::{inputs, knobs_of};
use draw::plot::{Plot, Shades};
use maud::{Markup, PreEscaped, html};
use shop::{JobId, ReadingState};
use wiring::circuit::{Circuit, Position, Setting};
use wiring::diagnostic::Place as Where;

/// What is asked for by the fields of the page: jack and knobs.
pub(crate) fn drive(circuit: &Circuit, fields: &Fields) -> Drive {
    let jacks = inputs(circuit);
    let from = jacks.into_iter().find(|j| *j == fields.get("from"));
    let stood = knobs_of(circuit, &bench::Asked::default());
    let mut sets = Vec::new();
    for (name, was) in &stood {
        let typed = fields.get(&field(name)).parse::<f64>().ok();
        if let Some(to) = typed.filter(|v| (0.0..=10.0).contains(v) && (v - was).abs() > 1e-9) {
            sets.push(Setting {
                name: name.clone(),
                to: Position::Number(to),
                place: Where::default(),
            });
        }
    }
    Drive { from, sets }
}

fn field(knob: &str) -> String {
    format!("at {knob}")
}

/// What a page was asked with: the sheet, and jack and knobs where they were typed.
fn asked_with(which: Slow, fields: &Fields, circuit: &Circuit) -> Vec<(String, String)> {
    let mut all = vec![("sheet".to_owned(), which.slug().to_owned())];
    let knobs = knobs_of(circuit, &bench::Asked::default());
    let names = std::iter::once("from".to_owned()).chain(knobs.keys().map(|k| field(k)));
    for name in names {
        if let Some(value) = fields.some(&name) {
            let value = value.to_owned();
            all.push((name, value));
        }
    }
    all
}

/// The same for an address.
fn query(with: &[(String, String)]) -> String {
    let percent = super::chart::percent;
    let all: Vec<String> = with
        .iter()
        .map(|(name, value)| format!("{}={}", percent(name), percent(value)))
        .collect();
    all.join("&")
}

/// `/job/42/driven?sheet=power`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let which = Slow::of(fields.get("sheet"));
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let found = work_out::found(site, r, id, ReadingState::AsFound)?;
        let circuit = &found.traced.circuit;
        let asked = drive(circuit, fields);
        let with = asked_with(which, fields, circuit);
        let (body, done) = match which {
            Slow::Power => whole(
                sheets::power_of(site, &found, &asked, ask.now),
                id,
                which,
                &with,
                ask,
                |p| (power(p), p.sheet.clone()),
            ),
            Slow::Tremolo => whole(
                sheets::tremolo_of(site, &found, &asked, ask.now),
                id,
                which,
                &with,
                ask,
                |t| (tremolo(t), t.sheet.clone()),
            ),
        };
        let body = html! {
            div.run-sheet.set-up.driven {
                div { (body) }
                div.driven-from { (knobs(id, which, &found, &asked)) }
            }
        };
        frame::page(
            site,
            ask,
            r,
            Page {
                title: format!("{} {}: {}", id, view.job.amp.fields.short(), which.slug()),
                place: Place::Job(&view, Some(Step::SetUp)),
                head: frame::job_head(&view),
                buttons: html! {
                    @if done { (paper::button_with(id, &query(&with))) }
                    (set_up::buttons(id, which.slug()))
                },
                conditions: frame::power_strip(&view, ask),
                body,
            },
        )
    })?;
    ok(page)
}

/// `/job/42/driven/standing?sheet=power`: what is going on; when it is there the browser takes the page anew.
pub(crate) fn standing(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let which = Slow::of(fields.get("sheet"));
    let found = site
        .shop
        .read(|r| work_out::found(site, r, id, ReadingState::AsFound))?;
    let asked = drive(&found.traced.circuit, fields);
    let going = match which {
        Slow::Power => words(&sheets::power_of(site, &found, &asked, ask.now), ask),
        Slow::Tremolo => words(&sheets::tremolo_of(site, &found, &asked, ask.now), ask),
    };
    match going {
        Some(words) => ok(words),
        None => Ok(([("HX-Refresh", "true")], "").into_response()),
    }
}

/// Stops the work, or has it done anew.
pub(crate) fn press(site: &Site, _: &Ask, id: JobId, fields: &Fields) -> Answer {
    let which = Slow::of(fields.get("sheet"));
    let found = site
        .shop
        .read(|r| work_out::found(site, r, id, ReadingState::AsFound))?;
    let anew = fields.get("what") == "anew";
    match (which, anew) {
        (Slow::Power, false) => site.kept.powers.stop(&found.place),
        (Slow::Power, true) => site.kept.powers.forget(&found.place),
        (Slow::Tremolo, false) => site.kept.tremolos.stop(&found.place),
        (Slow::Tremolo, true) => site.kept.tremolos.forget(&found.place),
    }
    let with = asked_with(which, fields, &found.traced.circuit);
    go(format!("/job/{id}/driven?{}", query(&with)))
}

/// What is being worked out and for how long; none when it is there.
fn words<T>(standing: &Standing<T>, ask: &Ask) -> Option<Markup> {
    let Standing::Going { said, since } = standing else {
        return None;
    };
    let seconds = (ask.now.0 - since.0).max(0) / 1000;
    Some(html! {
        p {
            @if said.is_empty() { "It waits for another work to end." }
            @else { "Now: " strong { (said) } "." }
            " " (dates::seconds(seconds)) " so far."
        }
    })
}

/// The page of a work, however it stands; and whether there is a sheet to print.
fn whole<T>(
    standing: Standing<T>,
    id: JobId,
    which: Slow,
    with: &[(String, String)],
    ask: &Ask,
    page: impl Fn(&T) -> (Markup, Sheet),
) -> (Markup, bool) {
    let press = |what: &str, words: &str| {
        html! {
            form method="post" action=(format!("/job/{id}/driven")) {
                input type="hidden" name="what" value=(what);
                @for (name, value) in with { input type="hidden" name=(name) value=(value); }
                button.button { (words) }
            }
        }
    };
    match &standing {
        Standing::Done { made, stopped } => {
            let (lead, sheet) = page(made);
            let body = html! {
                (lead)
                (run_sheet::table(id, Step::SetUp, &sheet, None, &|_, _| html! {}))
                @if *stopped { (press("anew", "It was stopped: work it out again, to the end")) }
                (frame::sheet_foot(sheet.caution()))
            };
            (body, true)
        }
        Standing::Going { .. } => {
            let standing_at = format!("/job/{id}/driven/standing?{}", query(with));
            let body = html! {
                section.sheet.working {
                    h2 { (which.doing()) }
                    div hx-get=(standing_at) hx-trigger="every 1s" role="status" { @if let Some(w) = words(&standing, ask) { (w) } }
                    p.hint { "It takes up to a minute for a large amplifier. You can go on elsewhere; it is kept." }
                    div.others {
                        (press("stop", "Stop, and show what is there"))
                        a.button href=(format!("/job/{id}/driven?{}", query(with))) { "Look again" }
                    }
                }
            };
            (body, false)
        }
        Standing::Failed => {
            let body = html! {
                section.sheet {
                    h2 { "It failed inside the program" }
                    p { "Nothing was written. Try it with other knobs; if it stays, note what you did." }
                    (press("anew", "Try again"))
                }
            };
            (body, false)
        }
    }
}

/// Jack and knobs; nothing moves until the button is pressed, since it takes long.
fn knobs(id: JobId, which: Slow, found: &Found, asked: &Drive) -> Markup {
    let circuit = &found.traced.circuit;
    let jacks = inputs(circuit);
    let stood = knobs_of(circuit, &bench::Asked::default());
    let now = |name: &str, was: f64| {
        let moved = asked.sets.iter().find(|s| s.name == name);
        match moved.map(|s| &s.to) {
            Some(Position::Number(to)) => *to,
            _ => was,
        }
    };
    html! {
        @if !jacks.is_empty() || !stood.is_empty() {
            section.sheet {
                h2 { "Driven from, and the knobs" }
                form.knobs-typed method="get" action=(format!("/job/{id}/driven")) {
                    input type="hidden" name="sheet" value=(which.slug());
                    @if !jacks.is_empty() {
                        label { span { "From" } select name="from" {
                            option value="" { "the input heard loudest" }
                            @for j in &jacks { option value=(j) selected[asked.from.as_ref() == Some(j)] { (j) } }
                        } }
                    }
                    @for (name, was) in &stood {
                        label { span { (name) } input type="number" name=(field(name)) min="0" max="10" step="0.1" inputmode="decimal" value=(now(name, *was)); }
                    }
                    button.button { "Work it out" }
                }
            }
        }
    }
}

fn plots(wide: Option<Plot>, narrow: Option<Plot>, label: &str) -> Markup {
    html! {
        @if let (Some(wide), Some(narrow)) = (wide, narrow) {
            section.sheet.plots aria-label=(label) {
                div.wide { (PreEscaped(wide.svg(Shades::PAGE))) }
                div.narrow { (PreEscaped(narrow.svg(Shades::PAGE))) }
            }
        }
    }
}

/// The figure that one came for, the plot, what runs out of room.
fn power(p: &Power) -> Markup {
    let clean = p.cleanest.first().and_then(|c| c.1.as_ref());
    let first = p.limiting.iter().find(|l| !l.room.is_empty());
    html! {
        @if let Some(level) = clean {
            section.sheet.result {
                p.percent { strong.computed { (Figure::new(level.watts, "W")) } " clean" }
                p {
                    (format!("At {:.0} Hz, {:.1} % distortion, ", level.hertz, 100.0 * level.distortion))
                    (Figure::new(level.volts, "V ac")) " at " (p.from.as_deref().unwrap_or("the input"))
                    @if let Some(full) = &p.full { "; driven four times as hard " strong.computed { (Figure::new(full.watts, "W")) } }
                    "."
                }
                @if let Some(stage) = first {
                    p { strong { (stage.valve) } " runs out of room first: " (room(&stage.room)) "." }
                }
            }
        }
        (plots(distortion(p, "distortion", 680, 400), distortion(p, "distortion-narrow", 340, 320), "Distortion over watts"))
    }
}

fn room(of: &[Room]) -> String {
    let words: Vec<&str> = of.iter().map(|r| r.words()).collect();
    words.join(", ")
}

fn tremolo(t: &Tremolo) -> Markup {
    let depth = t.depths.first();
    html! {
        @if let Some(now) = &t.now {
            section.sheet.result {
                @match (now.starts, now.hertz) {
                    (true, Some(hz)) => { p.percent { strong.computed { (format!("{hz:.2}")) } " Hz" } }
                    (true, None) => { h2 { "It starts" } }
                    (false, _) => { h2 { "It does not start with the knobs as they stand" } }
                }
                @if let Some(tone) = depth.and_then(|d| d.tones.first()) {
                    p { (sentence(&format!("at the loudspeaker {:.0} % deep, {:.1} dB from loudest to softest", 100.0 * tone.depth, tone.db))) }
                }
            }
        }
        (plots(
            depth.and_then(|d| swing(d, "swing", 680, 320)),
            depth.and_then(|d| swing(d, "swing-narrow", 340, 280)),
            "Loudness through one cycle",
        ))
    }
}
