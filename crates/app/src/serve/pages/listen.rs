//! Listening: a recording, or a plucked string, through the amp as it is wired, beside the drawings of the shop, the
//! amp as left, and the same amp with its knobs elsewhere. One key goes from one to the next. Nothing here is written down.

use super::photos::sounding;
use crate::commands::listen::chain::{Rates, Source};
use crate::serve::ask::{Ask, Fields};
use crate::serve::fail::{Answer, Fail, go, ok};
use crate::serve::frame::{self, Page, Place};
use crate::serve::kept_kin::{self, Shelved};
use crate::serve::plays::{Asked, MOST, Play};
use crate::serve::site::Site;
use crate::serve::{assets, state, work_out};
use crate::words::sentence;
use axum::http::HeaderValue;
use bench::play::PlayRequest;
use bench::voicing::{inputs, knobs_of};
use maud::{Markup, html};
use shop::{JobId, Reader, ReadingState, Recording, ShopError, WiringId};
use std::fs::File;
use std::path::PathBuf;
use wiring::circuit::{Circuit, Position, Setting};
use wiring::diagnostic::Place as Where;

/// Seconds of a recording that are played where not all of it is asked for.
const FIRST: f64 = 20.0;
/// What nobody hears here, whatever is played.
const NOT_IN: &str = "Hum, hiss, a saturating core and the loudspeaker's own distortion are not in what is played: an amp that hums is as quiet here as a sound one. What it hums and hisses is measured on the page of the recordings.";
/// Samples a second inside the amplifier: quick, and as the command does.
const INSIDE: (u32, u32) = (96_000, 192_000);
/// The built-in string is made at this rate.
const STRING_RATE: u32 = 48_000;

/// `/job/42/listen`.
pub(crate) fn show(site: &Site, ask: &Ask, id: JobId, fields: &Fields) -> Answer {
    let page = site.shop.read(|r| {
        let view = state::view(site, r, id)?;
        let found = work_out::found(site, r, id, ReadingState::AsFound)?;
        let left = work_out::found(site, r, id, ReadingState::AsLeft)?;
        let other = left.traced.text != found.traced.text;
        let shelved: Vec<Shelved> = kept_kin::shelved(r, id)?
            .into_iter()
            .filter(|s| s.of_shop)
            .collect();
        let recordings = r.recordings(id)?;
        let play = fields
            .number("play")
            .and_then(|n| site.plays.get(n))
            .filter(|p| p.job == id);
        let gone = play.is_none() && fields.has("play");
        let chosen = play.as_ref().map(|p| Fields::of(p.chosen.clone()));
        let fields = chosen.as_ref().unwrap_or(fields);
        let body = html! {
            div.listen {
                @match &play {
                    Some(play) => (heard(id, play)),
                    None if gone => { section.sheet { p.hint { "That is not kept any more: play it again." } } }
                    None => {}
                }
                @let told = play.as_ref().is_some_and(|p| matches!(p.done(), Some(Ok(_))));
                (choose(id, &found.traced.circuit, other, &shelved, &recordings, fields, told))
            }
        };
        frame::page(site, ask, r, Page {
            title: format!("{} {}: listen", id, view.job.amp.fields.short()),
            place: Place::Job(&view, None),
            head: frame::job_head(&view),
            buttons: html! {
                a.button href=(format!("/job/{id}/recordings")) { "Recordings" }
                a.button href=(format!("/job/{id}/voicing")) { "Voicing" }
            },
            conditions: html! {},
            body,
        })
    })?;
    ok(page)
}

/// What is being worked out, or what came of it.
fn heard(id: JobId, play: &Play) -> Markup {
    let number = play.id;
    match play.done() {
        None => html! {
            section.sheet #waiting data-again=(format!("/job/{id}/listen?play={number}")) {
                h2 { "Playing it through" }
                p { (play.words) }
                p { progress max="100" value=(play.percent()) aria-label="How far" { (play.percent()) " %" } " " (play.percent()) " %" }
                p.hint { "Look again in a moment; it goes on by itself where the browser runs script." }
                form method="post" action=(format!("/job/{id}/listen/stop")) {
                    input type="hidden" name="play" value=(number);
                    a.button href=(format!("/job/{id}/listen?play={number}")) { "Look again" }
                    button.button { "Stop" }
                }
            }
            script defer src=(assets::address("listen.js")) {}
        },
        Some(Err(why)) => html! {
            section.sheet {
                h2 { "Nothing to hear" }
                p { (sentence(why)) }
                p.hint { "What is not traced is listed on the tracing page; a knob at 0 lets nothing through." }
            }
        },
        Some(Ok(tracks)) => html! {
            section.sheet #tracks {
                h2 { "Hear it" }
                p { (play.words) }
                @if tracks.len() > 1 {
                    button.primary #primary type="button" data-next hidden { span.words { span.what { "Hear 1, then 2" } span.why { "the next one from the same moment" } } kbd { "Space" } }
                }
                ol.tracks {
                    @for (at, t) in tracks.iter().enumerate() {
                        li data-track {
                            strong.label { (at + 1) " " (t.label) }
                            audio controls preload="auto" aria-label=(t.label) src=(format!("/job/{id}/listen/{}", number * 16 + at as i64)) {}
                            span.small {
                                "from " (t.from) ", " (format!("{:.2} V r.m.s., {:.1} V peak", t.rms, t.peak)) " at the loudspeaker"
                                @if let Some(hertz) = t.tremolo_hertz { ", tremolo from " (format!("{hertz:.1}")) " Hz" }
                            }
                        }
                    }
                }
                p.hint {
                    @if tracks.len() > 1 { "Equally loud (ITU-R BS.1770, from memory, not seen); the volts are those before that. " }
                    (NOT_IN)
                }
            }
            script defer src=(assets::address("listen.js")) {}
        },
    }
}

fn choose(
    id: JobId,
    circuit: &Circuit,
    other: bool,
    shelved: &[Shelved],
    recordings: &[Recording],
    fields: &Fields,
    told: bool,
) -> Markup {
    let jacks = inputs(circuit);
    if jacks.is_empty() || circuit.parts.len() > crate::amp::MOST_COMPUTED {
        return html! { section.sheet { p.hint { "No input jack is traced yet, as in `J1 jack` and `J1.tip - R2 68k - V1.2`." } } };
    }
    let knobs = knobs_of(circuit, &bench::Asked::default());
    html! {
        form.sheet method="post" action=(format!("/job/{id}/listen")) {
            h2 { "What is played" }
            div.fields {
                label { span { "Recording" } select name="of" {
                    option value="" { "a plucked string, made by calculation" }
                    @for x in recordings { option value=(x.id) selected[fields.number("of") == Some(x.id.0)] { (named(x)) } }
                } }
                label { span { "How much of it" } select name="much" {
                    option value="" { "its first " (FIRST) " s" } option value="all" selected[fields.get("much") == "all"] { "all of it" }
                } }
                label { span { "Into" } select name="from" { @for j in &jacks { option value=(j) selected[fields.get("from") == j] { (j) } } } }
                label { span { "Peak volts at the jack" } input name="volts" value=(fields.some("volts").unwrap_or("0.5")) inputmode="decimal" autocomplete="off"; }
                label { span { "Loudspeaker's impulse response" } select name="box" {
                    option value="" { "none: the volts at the voice coil" }
                    @for x in recordings { option value=(x.id) selected[fields.number("box") == Some(x.id.0)] { (named(x)) } }
                } }
                label { span { "How fine" } select name="fine" {
                    option value="" { "quick" } option value="yes" selected[fields.get("fine") == "yes"] { "fine, slower" }
                } }
            }
            @if !knobs.is_empty() {
                h3 { "Knobs" }
                div.fields {
                    @for (name, at) in &knobs {
                        label { span { (name) } input type="number" name=(format!("at {name}")) min="0" max="10" step="0.1" value=(fields.some(&format!("at {name}")).map_or_else(|| at.to_string(), str::to_owned)) inputmode="decimal"; }
                    }
                }
            }
            h3 { "Beside it" }
            div.ways {
                @if !knobs.is_empty() { label.way { input type="checkbox" name="as-set" value="yes" checked[fields.has("as-set")]; span { "The amp with its knobs as set" } } }
                @if other { label.way { input type="checkbox" name="left" value="yes" checked; span { "The amp as left" } } }
                @for s in shelved { label.way { input type="checkbox" name="with" value=(s.id) checked[fields.pairs().any(|(n, v)| n == "with" && v == s.id.to_string())]; span { (s.name) } } }
            }
            button.button { "Play it through" }
            p.hint {
                "A guitar's pick-up gives some tenths of a volt, a volt when struck hard (common practice, no source). At most " (MOST) " beside one another. "
                "What is long is read and written piece by piece, goes on while other pages are open, and can be stopped. Quick is " (INSIDE.0 / 1000) ",000 samples a second inside the amplifier, fine " (INSIDE.1 / 1000) ",000."
            }
            @if !told { p.hint { (NOT_IN) } }
        }
    }
}

fn named(x: &Recording) -> &str {
    if x.caption.is_empty() {
        &x.file_name
    } else {
        &x.caption
    }
}

/// A recording of this job, to be read again and again.
struct Taken {
    name: String,
    path: PathBuf,
    ending: String,
    file_name: String,
}

impl Taken {
    fn of(site: &Site, r: &Reader<'_>, id: JobId, row: i64) -> Result<Option<Self>, ShopError> {
        let Some(x) = r.recordings(id)?.into_iter().find(|x| x.id.0 == row) else {
            return Ok(None);
        };
        Ok(Some(Self {
            name: named(&x).to_owned(),
            path: site.shop.content_at(&x.original)?,
            ending: x.file_name.rsplit('.').next().unwrap_or("").to_owned(),
            file_name: x.file_name,
        }))
    }

    fn open(&self) -> Result<sound::Reader, String> {
        let file = File::open(&self.path).map_err(|e| format!("{}: {e}", self.file_name))?;
        sound::Reader::open(Box::new(file), &self.ending)
            .map_err(|e| format!("{}: {e}. {}", self.file_name, e.remedy()))
    }

    /// Its first channel as a loudspeaker's impulse response, and its rate.
    fn response(&self) -> Result<(Vec<f64>, f64), String> {
        let mut reader = self.open()?;
        let most = (sound::convolve::LONGEST * reader.rate()) as usize;
        let (mut all, mut block) = (Vec::new(), Vec::new());
        while all.len() < most && reader.next(&mut block) {
            all.extend_from_slice(block.first().map_or(&[][..], |b| &b[..]));
        }
        all.truncate(most);
        Ok((all, reader.rate()))
    }
}

/// What is played: its name, its rate, how many samples, and how it is opened.
struct Played {
    name: String,
    rate: f64,
    samples: u64,
    source: Box<dyn Fn() -> Result<Source, String> + Send>,
}

impl Played {
    fn string() -> Self {
        let rate = f64::from(STRING_RATE);
        let made = sound::signals::string(rate);
        Self {
            name: "A plucked string".to_owned(),
            rate,
            samples: made.len() as u64,
            source: Box::new(move || Ok(Source::Made(made.clone()))),
        }
    }

    /// A recording, all of it or its beginning.
    fn recording(taken: Taken, all: bool) -> Result<Self, String> {
        let reader = taken.open()?;
        let rate = reader.rate();
        let most = if all { u64::MAX } else { (FIRST * rate) as u64 };
        Ok(Self {
            name: taken.name.clone(),
            rate,
            samples: reader.promised().unwrap_or(most).min(most),
            source: Box::new(move || Ok(Source::File(Box::new(taken.open()?), 0, most))),
        })
    }
}

/// Begins to play.
pub(crate) fn start(site: &Site, _: &Ask, id: JobId, fields: &Fields) -> Answer {
    let volts = fields
        .get("volts")
        .trim()
        .trim_end_matches(['V', 'v'])
        .trim();
    let full_scale = volts
        .parse::<f64>()
        .ok()
        .filter(|v| *v > 1e-6 && *v < 1000.0)
        .ok_or_else(|| {
            Fail::typed(
                format!("`{volts}` is no number of volts above 0."),
                "Type the volts that the recording's loudest moment may reach at the jack, such as `0.5`.",
            )
        })?;
    let gathered = site.shop.read(|r| {
        let taken = |name: &str| match fields.number(name) {
            Some(row) => Taken::of(site, r, id, row).map(|taken| taken.map(Some)),
            None => Ok(Some(None)),
        };
        let (played, response) = (taken("of")?, taken("box")?);
        let found = work_out::found(site, r, id, ReadingState::AsFound)?;
        let mut amps = vec![("as found".to_owned(), found.traced.circuit.clone(), false)];
        if fields.has("as-set") {
            amps.push((
                "knobs as set".to_owned(),
                found.traced.circuit.clone(),
                true,
            ));
        }
        if fields.has("left") {
            let left = work_out::found(site, r, id, ReadingState::AsLeft)?;
            amps.push(("as left".to_owned(), left.traced.circuit.clone(), false));
        }
        let with: Vec<WiringId> = fields
            .pairs()
            .filter(|(name, _)| *name == "with")
            .filter_map(|(_, v)| Some(WiringId(v.parse().ok()?)))
            .collect();
        if !with.is_empty() {
            let shelved = kept_kin::shelved(r, id)?;
            for held in kept_kin::held(site, r, &found, &shelved, &with)? {
                amps.push((held.name.clone(), held.traced.circuit.clone(), false));
            }
        }
        let text = found.traced.text.clone();
        Ok((played, response, amps, text))
    })?;
    let (played, response, mut amps, text) = gathered;
    let bad = |why: String| Fail::typed(why, "Choose another, or hand it in again as WAV.");
    let played = match played.ok_or(Fail::NoPage)? {
        Some(taken) => Played::recording(taken, fields.get("much") == "all").map_err(bad)?,
        None => Played::string(),
    };
    amps.truncate(MOST);
    let inside = if fields.get("fine") == "yes" {
        INSIDE.1
    } else {
        INSIDE.0
    };
    let rates = Rates::new(played.rate as u32, inside);
    let response = match response.ok_or(Fail::NoPage)? {
        Some(taken) => {
            let (x, rate) = taken.response().map_err(bad)?;
            Some(sound::convolve::resampled(&x, rate, f64::from(rates.to)))
        }
        None => None,
    };
    let from = fields.line("from");
    let step = 1.0 / f64::from(rates.inside);
    let requests = amps
        .into_iter()
        .map(|(label, circuit, as_set)| {
            let sets = if as_set {
                Vec::new()
            } else {
                sets(&circuit, fields)
            };
            let request = PlayRequest {
                asked: bench::Asked {
                    sets,
                    ..bench::Asked::default()
                },
                from: Some(from.clone()).filter(|f| !f.is_empty()),
                to: None,
                step,
            };
            (label, circuit, request)
        })
        .collect();
    let play = site.plays.start(
        Asked {
            job: id,
            key: format!(
                "{id}\u{0}{text}\u{0}{:?}",
                fields.pairs().collect::<Vec<_>>()
            ),
            words: format!("{}, {full_scale} V peak into {from}", played.name),
            chosen: fields
                .pairs()
                .map(|(name, value)| (name.to_owned(), value.to_owned()))
                .collect(),
            amps: requests,
            source: played.source,
            samples: played.samples,
            rates,
            full_scale,
            response,
        },
        site.library.clone(),
    );
    go(format!("/job/{id}/listen?play={}", play.id))
}

/// The knobs as they were typed, of those that this circuit has.
fn sets(circuit: &Circuit, fields: &Fields) -> Vec<Setting> {
    knobs_of(circuit, &bench::Asked::default())
        .into_keys()
        .filter_map(|name| {
            let to = fields
                .get(&format!("at {name}"))
                .trim()
                .parse::<f64>()
                .ok()?;
            (0.0..=10.0).contains(&to).then(|| Setting {
                name,
                to: Position::Number(to),
                place: Where::default(),
            })
        })
        .collect()
}

/// Breaks it off.
pub(crate) fn stop(site: &Site, _: &Ask, id: JobId, fields: &Fields) -> Answer {
    if let Some(play) = fields
        .number("play")
        .and_then(|n| site.plays.get(n))
        .filter(|p| p.job == id)
    {
        play.stop();
    }
    go(format!("/job/{id}/listen"))
}

/// The sound of one track.
pub(crate) fn track(site: &Site, id: JobId, row: i64, range: Option<&HeaderValue>) -> Answer {
    let play = site
        .plays
        .get(row / 16)
        .filter(|p| p.job == id)
        .ok_or(Fail::NoPage)?;
    let tracks = play
        .done()
        .and_then(|d| d.as_ref().ok())
        .ok_or(Fail::NoPage)?;
    let track = usize::try_from(row % 16).ok().and_then(|at| tracks.get(at));
    let track = track.ok_or(Fail::NoPage)?;
    sounding("audio/wav", track.bytes, range, |from, many| {
        track.piece(from, many)
    })
}
