//! What a recording says beside what the wiring promises: figures of `sound` go to `bench::beside`.

use super::measure::Measured;
use super::text::watts;
use crate::amp::Amp;
use crate::arguments::Hear as Given;
use crate::outcome::Failure;
use crate::table::{Side, Table, paragraph};
use bench::Asked;
use bench::beside::{self, Beside, BesideRequest, StepRead};
use bench::chart::Word;
use bench::play::{PlayRequest, Player};
use std::f64::consts::SQRT_2;
use wiring::circuit::Kind;

/// Distortion that counts as clean, a ratio.
const CLEAN: f64 = 0.05;
/// A tone is played through the amplifier at so many samples a second, for so long, with so many volts at the loudspeaker:
/// so quietly that nothing bends.
const TONE: (f64, f64, f64) = (24_000.0, 6.0, 0.3);

/// Puts beside it what can be; a sentence where nothing can.
pub(crate) fn beside(
    given: &Given,
    amp: &Amp,
    now: &Measured,
    watch: &mut dyn FnMut(&str) -> bool,
) -> Result<Beside, String> {
    let mut circuit = amp.circuit.clone();
    if let Some(load) = given.load {
        let mut speakers: Vec<_> = circuit
            .parts
            .iter_mut()
            .filter(|p| matches!(p.kind, Kind::Speaker { .. }))
            .collect();
        if let [one] = speakers.as_mut_slice() {
            one.kind = Kind::Speaker { ohms: Some(load) };
        }
    }
    let sets = amp.settings(&given.sets).map_err(|f| f.what)?;
    let request = BesideRequest {
        asked: Asked {
            mains_volts: given.mains,
            sets,
            ..Asked::default()
        },
        from: given.from.clone(),
        to: given.to.clone(),
        resistive_load: given.load.is_some(),
    };
    let peak = sound::signals::PEAK;
    // Volts at the load of a sample, over volts at the jack of one: what turns recorded decibels into gain.
    let gain = given
        .full_scale
        .zip(given.jack)
        .map(|(out, jack)| sound::decibels(out / jack) - sound::decibels(peak));
    let none = |what: &str| format!("There is nothing to compare: {what}.");
    let compared = if let Some(swept) = &now.swept {
        let points: Vec<(f64, f64, f64)> = swept
            .points
            .iter()
            .map(|p| (p.hertz, p.db + gain.unwrap_or(0.0), p.uncertainty))
            .collect();
        beside::response(&circuit, &amp.library, &request, &points, gain.is_some())
    } else if !now.steps.is_empty() {
        let steps: Option<Vec<StepRead>> = now
            .steps
            .iter()
            .map(|s| {
                Some(StepRead {
                    hertz: s.hertz,
                    jack_volts: given
                        .jack
                        .map(|v| v * peak * 10_f64.powf(s.played / 20.0) / SQRT_2),
                    watts: watts(given, s)?,
                    distortion: s.thd_percent / 100.0,
                    uncertainty_db: s.thd_uncertainty,
                })
            })
            .collect();
        let steps = steps.ok_or_else(|| none("watts need `--full-scale VOLTS --load OHMS`"))?;
        let sure = (given.calibrated_to / 100.0, CLEAN);
        beside::steps(&circuit, &amp.library, &request, &steps, sure, watch)
    } else if let Some(t) = &now.tremolo {
        let (rate, seconds, loud) = TONE;
        let asked = PlayRequest {
            asked: request.asked.clone(),
            from: request.from.clone(),
            to: request.to.clone(),
            step: 1.0 / rate,
        };
        Player::new(&circuit, &amp.library, &asked, watch).and_then(|mut player| {
            let volts = (loud / player.gain()).min(0.1);
            let mut heard = Vec::new();
            let tone = sound::signals::tone(rate, seconds, 440.0);
            for two in tone.as_chunks::<2>().0 {
                heard.extend(player.push(two.map(|x| x * volts))?);
            }
            let own = sound::tremolo::tremolo(&heard, rate)
                .ok_or("with its knobs as set this wiring has no tremolo that starts")?;
            let measured = ((t.hertz, t.hertz_uncertainty), t.depth_percent);
            let computed = (own.hertz, own.depth_percent);
            Ok(beside::tremolo(
                player.from(),
                player.to(),
                measured.0,
                measured.1,
                computed,
            ))
        })
    } else if let Some(hum) = &now.hum {
        let full = given
            .full_scale
            .ok_or_else(|| none("hum and noise in volts need `--full-scale VOLTS`"))?;
        let lines: Vec<(u32, f64, f64)> = hum
            .lines
            .iter()
            .map(|l| (l.order, l.amplitude / SQRT_2 * full, l.uncertainty))
            .collect();
        let hiss = Some((hum.noise * full, hum.noise_uncertainty.max(0.1)));
        beside::hum_and_hiss(&circuit, &amp.library, &request, &lines, hiss)
    } else {
        return Err(none("nothing was measured that a wiring promises"));
    };
    compared.map_err(|why| none(&why))
}

/// The wiring that is named.
pub(crate) fn amp(given: &Given) -> Result<Option<Amp>, Failure> {
    if given.amp.is_empty() {
        return Ok(None);
    }
    let amp = crate::wired_sheet::load_files(&given.amp, &[], given.valves_file.as_deref())?;
    amp.settings(&given.sets)?;
    Ok(Some(amp))
}

/// As a table.
pub(crate) fn text(found: &Beside) -> String {
    let mut out = format!("\nBeside the wiring, from {} to {}\n", found.from, found.to);
    let mut table = Table::new()
        .wrapping("figure", 18)
        .column("measured", Side::Right)
        .column("+-", Side::Right)
        .column("low", Side::Right)
        .column("computed", Side::Right)
        .column("high", Side::Right)
        .column("", Side::Left)
        .column("verdict", Side::Left);
    for p in &found.pairs {
        table.row([
            p.what.clone(),
            figure(p.measured, p.unit),
            figure(p.uncertainty, p.unit),
            figure(p.low, p.unit),
            figure(p.computed, p.unit),
            figure(p.high, p.unit),
            p.unit.to_owned(),
            word(p.verdict).to_owned(),
        ]);
    }
    out.push_str(&table.render());
    out.push_str(&paragraph(&found.words, ""));
    for note in &found.notes {
        out.push_str(&paragraph(note, ""));
    }
    out
}

/// A figure with as many places as its unit deserves.
pub(crate) fn figure(x: f64, unit: &str) -> String {
    match unit {
        "dB" | "dB V" => format!("{x:.1}"),
        _ if x.abs() >= 10.0 => format!("{x:.1}"),
        _ if x.abs() >= 1.0 => format!("{x:.2}"),
        _ => format!("{x:.3}"),
    }
}

/// The verdict as a word.
pub(crate) fn word(word: Word) -> &'static str {
    match word {
        Word::Inside => "inside",
        Word::Doubtful => "doubtful",
        Word::Outside => "outside",
    }
}
