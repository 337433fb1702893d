//! Voicing: the response of a channel, redrawn while a knob is moved, beside the knobs as they were set
//! and another channel. Nothing on this page is written down.

use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::site::Site;
use crate::serve::{state, work_out};
use crate::voicing_plot::plot;
use crate::words::sentence;
use bench::Asked;
use bench::voicing::{Voicing, VoicingRequest, inputs, loudspeaker, voicing};
use draw::plot::Shades;
use maud::{Markup, PreEscaped, html};
use shop::{JobId, ReadingState};
use wiring::circuit::{Circuit, Position, Setting};
use wiring::diagnostic::Place as Where;
use wiring::sheet::Library;
use wiring::units::{Quantity, rounded};

/// Frequencies of a curve.
const POINTS: i32 = 121;

/// `/job/42/voicing`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let found = work_out::found(site, r, id, ReadingState::AsFound)?;
        let shown = Shown::of(&found.traced.circuit, &site.library, fields);
        let body = html! {
            div.voicing {
                section.sheet.plots #curves aria-live="polite" { (curves(&shown)) }
                @if let Ok(shown) = &shown { (knobs(id, shown)) }
            }
        };
        frame::page(
            site,
            ask,
            r,
            Page {
                title: format!("{} {}: voicing", id, view.job.amp.fields.short()),
                place: Place::Job(&view, None),
                head: frame::job_head(&view),
                buttons: html! {
                    a.button href=(format!("/job/{id}/listen")) { "Listen" }
                    a.button href=(format!("/job/{id}/tracing")) { "To the wiring" }
                },
                conditions: frame::power_strip(&view, ask),
                body,
            },
        )
    })?;
    ok(page)
}

/// `/job/42/curves`: what changes while a knob is moved.
pub(crate) fn while_moved(site: &Site, _: &Ask, id: JobId, fields: &Fields) -> Answer {
    let part = site.shop.read(|r| {
        let found = work_out::found(site, r, id, ReadingState::AsFound)?;
        let shown = Shown::of(&found.traced.circuit, &site.library, fields);
        Ok(html! {
            (curves(&shown))
            @if let Ok(shown) = &shown {
                @for (i, (_, at)) in shown.at.iter().enumerate() {
                    output.now id=(format!("at-{i}")) hx-swap-oob="true" { (at) }
                }
            }
        })
    })?;
    ok(part)
}

/// What is on the page.
struct Shown {
    jacks: Vec<String>,
    from: String,
    beside: String,
    /// Each knob with where it stands now.
    at: Vec<(String, f64)>,
    curves: Vec<(String, Voicing)>,
}

impl Shown {
    fn of(circuit: &Circuit, library: &Library, fields: &Fields) -> Result<Self, String> {
        if circuit.parts.len() > crate::amp::MOST_COMPUTED {
            return Err("There are more parts than an amplifier has.".to_owned());
        }
        let jacks = inputs(circuit);
        let named = |field: &str| jacks.iter().find(|j| *j == fields.get(field)).cloned();
        let from = named("from")
            .or_else(|| jacks.first().cloned())
            .ok_or("No input jack is traced yet, as in `J1 jack` and `J1.tip - R2 68k - V1.2`.")?;
        let to = loudspeaker(circuit)
            .ok_or("No loudspeaker is traced yet, as in `LS1 speaker 8 ohm`.")?;
        let step = (20e3_f64 / 20.0).ln() / f64::from(POINTS - 1);
        let request = VoicingRequest {
            asked: Asked::default(),
            from: from.clone(),
            to,
            hertz: (0..POINTS)
                .map(|i| 20.0 * (f64::from(i) * step).exp())
                .collect(),
            source_ohms: 0.0,
            guitar: None,
            resistive_load: false,
        };
        let set = voicing(circuit, library, &request);
        // where knobs stand is known even where nothing arrives with them so
        let stood = match &set {
            Ok(found) => found.knobs.clone(),
            Err(_) => bench::voicing::knobs_of(circuit, &request.asked),
        };
        let at: Vec<(String, f64)> = stood
            .iter()
            .map(|(name, was)| {
                let typed = fields.get(&field(name)).parse::<f64>().ok();
                let now = typed.filter(|v| (0.0..=10.0).contains(v)).unwrap_or(*was);
                (name.clone(), now)
            })
            .collect();
        let moved = at
            .iter()
            .any(|(name, now)| stood.get(name).is_some_and(|was| (was - now).abs() > 1e-9));
        let mut asked = request.clone();
        asked.asked.sets = at
            .iter()
            .map(|(name, to)| Setting {
                name: name.clone(),
                to: Position::Number(*to),
                place: Where::default(),
            })
            .collect();
        let mut curves = Vec::new();
        let mut why = String::new();
        let mut keep = |name: String, found: Result<Voicing, String>| match found {
            Ok(found) => curves.push((name, found)),
            Err(reason) => why = reason,
        };
        if moved {
            keep(from.clone(), voicing(circuit, library, &asked));
            keep(format!("{from} as set"), set);
        } else {
            keep(from.clone(), set);
        }
        let beside = named("beside").filter(|j| *j != from).unwrap_or_default();
        if !beside.is_empty() {
            asked.from.clone_from(&beside);
            keep(beside.clone(), voicing(circuit, library, &asked));
        }
        if curves.is_empty() && at.is_empty() {
            return Err(sentence(&why));
        }
        Ok(Self {
            jacks,
            from,
            beside,
            at,
            curves,
        })
    }
}

/// The field of a knob.
fn field(knob: &str) -> String {
    format!("at {knob}")
}

fn curves(shown: &Result<Shown, String>) -> Markup {
    let shown = match shown {
        Ok(shown) => shown,
        Err(why) => return html! { p.hint { (crate::serve::marks::typed(why)) } },
    };
    let named: Vec<(String, &Voicing)> = shown
        .curves
        .iter()
        .map(|(name, found)| (name.clone(), found))
        .collect();
    let figures = |found: &Voicing| {
        let f = &found.figures;
        let hz = |v: f64| rounded(v, Quantity::Hertz, 2);
        let corners = [f.low_corner_hz, f.high_corner_hz];
        let corners: Vec<String> = corners.into_iter().flatten().map(hz).collect();
        let mut all = Vec::new();
        all.extend(f.gain_1k_db.map(|gain| format!("{gain:.1} dB at 1 kHz")));
        if !corners.is_empty() {
            all.push(format!(
                "3 dB under its highest at {}",
                corners.join(" and ")
            ));
        }
        all.extend(
            f.dip
                .map(|(at, depth)| format!("a dip of {depth:.1} dB at {}", hz(at))),
        );
        all.join(", ")
    };
    html! {
        @if named.is_empty() {
            p { "Nothing from " (shown.from) " arrives with the knobs as they stand." }
        } @else {
            div.wide { (PreEscaped(plot(&named, "voicing", 1080, 440).svg(Shades::PAGE))) }
            div.narrow { (PreEscaped(plot(&named, "voicing-narrow", 340, 260).svg(Shades::PAGE))) }
        }
        @if let Some((name, first)) = named.first() {
            p {
                strong { (name) } " to " (first.to) ": "
                (figures(first))
                "."
            }
            @for (other, found) in named.iter().skip(1) {
                p { strong { (name) " against " (other) } ": " (first.against(found)) "." }
            }
        }
    }
}

/// The knobs and the channels; without script by its button.
fn knobs(id: JobId, shown: &Shown) -> Markup {
    html! {
        form #knobs method="get" action=(format!("/job/{id}/voicing")) hx-get=(format!("/job/{id}/curves")) hx-trigger="input" hx-target="#curves" hx-sync="this:queue last" {
            div.knobs {
                @for (i, (name, at)) in shown.at.iter().enumerate() {
                    label.sheet.knob {
                        span { (name) }
                        output.now id=(format!("at-{i}")) { (at) }
                        input type="range" name=(field(name)) min="0" max="10" step="0.1" value=(at);
                    }
                }
            }
            section.sheet.channels {
                label { span { "From" } select name="from" { @for j in &shown.jacks { option value=(j) selected[*j == shown.from] { (j) } } } }
                label { span { "Beside it" } select name="beside" {
                    option value="" { "nothing" }
                    @for j in &shown.jacks { option value=(j) selected[*j == shown.beside] { (j) } }
                } }
                button.button { "Show" }
                a.button href=(format!("/job/{id}/voicing")) { "Knobs as set" }
            }
            p.hint { "Small signals, volts at the loudspeaker over volts at the jack. Nothing here is written down." }
        }
    }
}
