//! Recordings: handed in, and measured, with what the wiring promises beside what was measured. The conditions are part of
//! the address; what it came to is written down only as a note, by a press.

use super::{choice, field};
use crate::amp::Amp;
use crate::arguments::{Hear, Played};
use crate::commands::hear::beside as compared;
use crate::commands::hear::measure::{Measured, measure};
use crate::commands::hear::text;
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::long::{Long, Standing};
use crate::serve::site::Site;
use crate::serve::{assets, dates, marks, state, work_out};
use crate::voicing_plot::plot;
use bench::beside::{Beside, Pair};
use bench::voicing::{Figures, Voicing, inputs, knobs_of};
use draw::plot::Shades;
use maud::{Markup, PreEscaped, html};
use shop::{JobId, ReadingState, Recording};
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::Duration;
use wiring::circuit::{Circuit, Position};
use wiring::sheet::Library;

/// What was played, as it is chosen.
const PLAYED: [(&str, &str); 6] = [
    ("", "nothing: hum, noise, clicks"),
    ("sweep", "the sweep: response, distortion"),
    ("steps", "the steps: power, distortion against level"),
    ("tone", "the tone: tremolo"),
    ("two-tone", "two tones: modulation distortion"),
    ("string", "a guitar or the string: level only"),
];
/// A page waits so long, then says that it is at work: most recordings are measured by then.
const PATIENCE: Duration = Duration::from_millis(1500);

/// One recording, measured.
pub(crate) struct Shown {
    now: Measured,
    beside: Option<Result<Beside, String>>,
    /// Everything, as the command prints it.
    text: String,
}

/// The last measurements, by everything they hang on: what came of each, or why nothing did.
pub(crate) type Measurings = Long<Result<Shown, String>>;

/// `/job/42/recordings`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let (recordings, found) = site.shop.read(|r| {
        let recordings = r.recordings(id)?;
        let found = work_out::found(site, r, id, ReadingState::AsFound)?;
        let left = work_out::found(site, r, id, ReadingState::AsLeft)?;
        let which = if fields.get("state") == "left" {
            left
        } else {
            found
        };
        Ok((recordings, which))
    })?;
    let circuit = &found.traced.circuit;
    let chosen = fields
        .number("of")
        .and_then(|row| recordings.iter().find(|x| x.id.0 == row));
    let shown = chosen.map(|x| {
        let given = given(fields, x)?;
        let content = site.shop.content(&x.original)?;
        let key = format!("{id}\u{0}{}\u{0}{}\u{0}{given:?}", x.id, found.traced.text);
        let (name, circuit, library) = (x.file_name.clone(), circuit.clone(), site.library.clone());
        Ok::<_, Fail>(
            site.measured
                .ask_for(PATIENCE, &key, &key, ask.now, move |_| {
                    work(content, name, &given, circuit, library)
                }),
        )
    });
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let body = html! {
            div.recordings {
                @match (&shown, chosen) {
                    (Some(Ok(standing)), Some(x)) => {
                        @match standing {
                            Standing::Done { made, .. } => {
                                @match &**made {
                                    Ok(shown) => (measured(id, x, shown, fields)),
                                    Err(why) => { section.sheet { h2 { "Not measured" } p { (why) } } }
                                }
                            }
                            Standing::Failed => { section.sheet { h2 { "Not measured" } p { "It failed inside the program. Try again, and note what you did if it stays so." } } }
                            Standing::Going { .. } => (at_work(&ask.path))
                        }
                    }
                    (Some(Err(fail)), _) => { section.sheet { h2 { "Not measured" } p { (fail.words()) } } }
                    _ => {}
                }
                (ask_for(id, circuit, &recordings, fields))
                (hand_in(id))
                (list(id, &recordings, ask))
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}: recordings", id, view.job.amp.fields.short()),
            place: Place::Job(&view, None),
            head: frame::job_head(&view),
            buttons: html! {
                a.button href=(format!("/job/{id}/play-test")) { "Play test" }
                a.button href=(format!("/job/{id}/listen")) { "Listen" }
            },
            conditions: frame::power_strip(&view, ask),
            body,
        })
    })?;
    ok(page)
}

/// The request as the command has it.
fn given(fields: &Fields, x: &Recording) -> Result<Hear, Fail> {
    let number = |name: &str, what: &str| -> Result<Option<f64>, Fail> {
        let typed = fields
            .get(name)
            .trim()
            .trim_end_matches(['V', 'v', '%'])
            .trim();
        if typed.is_empty() {
            return Ok(None);
        }
        match typed.parse::<f64>() {
            Ok(v) if v > 1e-6 && v < 1e6 => Ok(Some(v)),
            _ => Err(Fail::typed(
                format!("`{typed}` is no {what} above 0."),
                "Type a number, such as `28.3`, or leave it empty.",
            )),
        }
    };
    let full_scale = number("full", "volts")?;
    let sets = fields
        .pairs()
        .filter_map(|(name, to)| {
            let knob = name.strip_prefix("at ")?;
            let to = to
                .trim()
                .parse::<f64>()
                .ok()
                .filter(|v| (0.0..=10.0).contains(v))?;
            Some((knob.to_owned(), Position::Number(to)))
        })
        .collect();
    Ok(Hear {
        file: PathBuf::from(&x.file_name),
        played: match fields.get("played") {
            "sweep" => Some(Played::Sweep),
            "steps" => Some(Played::Steps),
            "tone" => Some(Played::Tone),
            "two-tone" => Some(Played::TwoTone),
            "string" => Some(Played::String),
            _ => None,
        },
        channel: fields
            .number("channel")
            .and_then(|n| u16::try_from(n).ok())
            .filter(|n| (1..=64).contains(n)),
        full_scale,
        load: number("load", "ohms")?.filter(|_| full_scale.is_some()),
        calibrated_to: number("sure", "per cent")?.unwrap_or(5.0).min(100.0),
        amp: Vec::new(),
        jack: number("jack", "volts")?,
        from: fields.some("from").map(str::to_owned),
        to: None,
        sets,
        mains: None,
        valves_file: None,
        before: None,
        json: false,
    })
}

/// It takes longer than a page waits.
fn at_work(here: &str) -> Markup {
    html! {
        section.sheet #waiting data-again=(here) {
            h2 { "Measuring" }
            p { "The recording is measured, and the wiring is asked what it promises. Driven steps of a large amplifier take up to a minute." }
            a.button href=(here) { "Look again" }
        }
        script defer src=(assets::address("listen.js")) {}
    }
}

/// Measures, and puts the wiring's promise beside it where there is one.
fn work(
    content: Vec<u8>,
    name: String,
    given: &Hear,
    circuit: Circuit,
    library: Library,
) -> Result<Shown, String> {
    let ending = name.rsplit('.').next().unwrap_or("").to_owned();
    let recording =
        sound::decode(content, &ending).map_err(|e| format!("{name}: {e}. {}", e.remedy()))?;
    let now = measure(given, name, recording).map_err(|f| format!("{} {}", f.what, f.remedy))?;
    let traced = !circuit.parts.is_empty() && circuit.parts.len() <= crate::amp::MOST_COMPUTED;
    let beside = (traced && !now.unusable()).then(|| {
        let amp = Amp {
            circuit,
            problems: Vec::new(),
            texts: Vec::new(),
            library,
        };
        compared::beside(given, &amp, &now, &mut |_| true)
    });
    let mut text = text::text(given, &now, None);
    if let Some(Ok(found)) = &beside {
        text.push_str(&compared::text(found));
    }
    Ok(Shown { now, beside, text })
}

/// What came of one recording.
fn measured(id: JobId, x: &Recording, shown: &Shown, fields: &Fields) -> Markup {
    let now = &shown.now;
    let words = if x.caption.is_empty() {
        &x.file_name
    } else {
        &x.caption
    };
    html! {
        section.sheet #measured {
            h2 { (words) }
            @for missing in &now.missing { p { strong { (missing) } } }
            @for note in &now.notes { p.hint { (note) } }
            @match &shown.beside {
                Some(Ok(found)) => {
                    p.result { (found.words) }
                    @if let Some(curves) = curves(now, found) { (curves) }
                    (pairs(found))
                    @for note in found.notes.iter().take(2) { p.hint { (note) } }
                }
                Some(Err(why)) => { p.hint { (why) } }
                None if !now.unusable() => { p.hint { "Nothing is traced that could be put beside it." } }
                None => {}
            }
            details open[!matches!(shown.beside, Some(Ok(_)))] {
                summary { "Everything that was measured, with its conditions" }
                div.scrolls tabindex="0" role="region" aria-label="Everything that was measured, scrolls" { pre.figures { (shown.text) } }
            }
            @if !now.unusable() {
                form method="post" action=(format!("/job/{id}/note")) {
                    input type="hidden" name="text" value=(note(words, shown, fields));
                    input type="hidden" name="back" value=(format!("/job/{id}/journal"));
                    button.button { "Write it into the journal" }
                }
            }
        }
    }
}

/// What goes into the journal: the figures that count, and under which conditions.
fn note(words: &str, shown: &Shown, fields: &Fields) -> String {
    let mut out = format!("Recording {words}");
    for (name, what) in [
        ("played", "played"),
        ("full", "full scale V"),
        ("load", "ohms"),
        ("jack", "V at the jack"),
        ("from", "into"),
    ] {
        if let Some(value) = fields.some(name) {
            out.push_str(&format!(", {what} {value}"));
        }
    }
    out.push('.');
    match &shown.beside {
        Some(Ok(found)) => {
            out.push_str(&format!(" {}", found.words));
            for p in found
                .pairs
                .iter()
                .filter(|p| p.hz.is_none_or(|hz| (hz.log10().fract()).abs() < 0.02))
            {
                out.push_str(&format!(
                    " {} {} {} (+- {}; computed {}).",
                    p.what,
                    compared::figure(p.measured, p.unit),
                    p.unit,
                    compared::figure(p.uncertainty, p.unit),
                    compared::figure(p.computed, p.unit)
                ));
            }
        }
        _ => {
            let first: Vec<&str> = shown
                .text
                .lines()
                .filter(|l| !l.is_empty())
                .take(30)
                .collect();
            out.push_str(&format!("\n{}", first.join("\n")));
        }
    }
    out
}

/// Measured and computed response as curves.
fn curves(now: &Measured, found: &Beside) -> Option<Markup> {
    now.swept.as_ref()?;
    let of = |value: fn(&Pair) -> f64| Voicing {
        from: found.from.clone(),
        to: found.to.clone(),
        hz: found.pairs.iter().filter_map(|p| p.hz).collect(),
        db: found.pairs.iter().map(value).collect(),
        deg: Vec::new(),
        input_ohms: Vec::new(),
        knobs: BTreeMap::new(),
        noise_volts: None,
        figures: Figures::default(),
        notes: Vec::new(),
    };
    let (measured, computed) = (of(|p| p.measured), of(|p| p.computed));
    let named = [
        ("measured".to_owned(), &measured),
        ("computed".to_owned(), &computed),
    ];
    Some(html! {
        div.plots {
            div.wide { (PreEscaped(plot(&named, "recorded", 1080, 440).svg(Shades::PAGE))) }
            div.narrow { (PreEscaped(plot(&named, "recorded-narrow", 340, 260).svg(Shades::PAGE))) }
        }
    })
}

fn pairs(found: &Beside) -> Markup {
    html! {
        div.scrolls tabindex="0" role="region" aria-label="Measured beside computed, scrolls" {
            table.plain {
                thead { tr {
                    th { "Figure" } th.figure { "Measured" } th.figure { "\u{b1}" } th.figure { "Low" } th.figure { "Computed" } th.figure { "High" } th { "Verdict" }
                } }
                tbody {
                    @for p in &found.pairs {
                        tr {
                            th scope="row" { (p.what) @if !p.unit.is_empty() { ", " (p.unit) } }
                            td.figure { strong { (compared::figure(p.measured, p.unit)) } }
                            td.figure { (compared::figure(p.uncertainty, p.unit)) }
                            td.figure { (compared::figure(p.low, p.unit)) }
                            td.figure { (compared::figure(p.computed, p.unit)) }
                            td.figure { (compared::figure(p.high, p.unit)) }
                            td { (marks::verdict(Some(p.verdict), p.measured > p.computed, "")) }
                        }
                    }
                }
            }
        }
    }
}

fn ask_for(id: JobId, circuit: &Circuit, recordings: &[Recording], fields: &Fields) -> Markup {
    if recordings.is_empty() {
        return html! { section.sheet { p.hint { "No recording yet. Write a test signal with " code { "tubewright signal sweep -o sweep.wav" } ", play it in, record what comes out at the load, and hand that in." } } };
    }
    let jacks = inputs(circuit);
    let knobs = knobs_of(circuit, &bench::Asked::default());
    let last = recordings.last().map_or(0, |x| x.id.0);
    let of = fields.number("of").unwrap_or(last);
    html! {
        form.sheet method="get" action=(format!("/job/{id}/recordings")) {
            h2 { "Measure a recording" }
            div.fields {
                label { span { "Recording" } select name="of" {
                    @for x in recordings { option value=(x.id) selected[x.id.0 == of] { @if x.caption.is_empty() { (x.file_name) } @else { (x.caption) } } }
                } }
                (choice("What was played", "played", &PLAYED, fields.get("played")))
                (field("Peak volts at the load at the recorder's full scale", "full", fields.get("full")))
                (field("Load, ohms", "load", fields.get("load")))
                (field("Those volts are right to, per cent", "sure", fields.some("sure").unwrap_or("5")))
                (field("Peak volts at the jack at the player's full scale", "jack", fields.get("jack")))
                (field("Channel, the louder where empty", "channel", fields.get("channel")))
                @if !jacks.is_empty() {
                    label { span { "Played into" } select name="from" { @for j in &jacks { option value=(j) selected[fields.get("from") == j] { (j) } } } }
                    (choice("Beside the wiring", "state", &[("found", "as found"), ("left", "as left")], fields.get("state")))
                }
                @for (name, at) in &knobs {
                    label { span { (name) " stood at" } input name=(format!("at {name}")) value=(fields.some(&format!("at {name}")).map_or_else(|| at.to_string(), str::to_owned)) inputmode="decimal" autocomplete="off"; }
                }
            }
            (frame::primary_button("Measure it", "", "Enter"))
            p.hint { "Without the volts at full scale there are decibels only; without the volts at the jack a response is compared against 1 kHz. With a load in ohms the loudspeaker counts as that resistor." }
        }
    }
}

fn hand_in(id: JobId) -> Markup {
    html! {
        details.sheet {
            summary { "Hand in a recording" }
            form method="post" action=(format!("/job/{id}/photos")) enctype="multipart/form-data" {
                input type="hidden" name="back" value=(format!("/job/{id}/recordings"));
                label.file { span { "WAV, FLAC, MP3 or a phone's M4A, up to 190 MB" } input type="file" name="file" accept="audio/*,.wav,.flac,.m4a,.mp3" required; }
                (field("A few words, such as sweep, as left", "caption", ""))
                button.button { "Hand in" }
            }
            p.hint { "Record at the load, without automatic level and without noise reduction. A phone's own formats leave out what the ear does not miss: hum and response are usable, noise and distortion are not (common practice, no source)." }
        }
    }
}

fn list(id: JobId, recordings: &[Recording], ask: &Ask) -> Markup {
    html! {
        @if !recordings.is_empty() {
            section.sheet {
                h2 { "Recordings" }
                ul.tracks {
                    @for x in recordings.iter().rev() {
                        li {
                            strong { @if x.caption.is_empty() { (x.file_name) } @else { (x.caption) } }
                            audio controls preload="none" aria-label=(x.file_name) src=(format!("/job/{id}/recordings/{}", x.id)) {}
                            span.small { (x.file_name) ", " (dates::since(x.at, ask.now)) }
                        }
                    }
                }
            }
        }
    }
}
