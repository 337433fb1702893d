//! One recording with all that was measured in it.

use crate::arguments::{Hear as Given, Played};
use crate::outcome::Failure;
use sound::Recording;
use sound::hum::Hum;
use sound::level::{Click, Level};
use sound::steps::Step;
use sound::sweep::Swept;
use sound::tremolo::Tremolo;
use sound::two_tone::Modulation;

/// What a recording said.
pub(crate) struct Measured {
    pub(crate) name: String,
    pub(crate) rate: f64,
    pub(crate) seconds: f64,
    pub(crate) bits: Option<u32>,
    pub(crate) format: &'static str,
    /// From 1.
    pub(crate) channel: usize,
    /// The level of every channel.
    pub(crate) levels: Vec<Level>,
    pub(crate) hum: Option<Hum>,
    /// None where a signal that is no steady background was played.
    pub(crate) clicks: Option<Vec<Click>>,
    pub(crate) swept: Option<Swept>,
    pub(crate) steps: Vec<Step>,
    pub(crate) tremolo: Option<Tremolo>,
    pub(crate) modulation: Option<Modulation>,
    /// What was noticed, a sentence each.
    pub(crate) notes: Vec<String>,
    /// What was asked for and could not be measured, with its reason.
    pub(crate) missing: Vec<String>,
}

impl Measured {
    /// The level of the measured channel.
    pub(crate) fn level(&self) -> Option<&Level> {
        self.levels.get(self.channel - 1)
    }

    /// What was asked for could not be measured.
    pub(crate) fn unusable(&self) -> bool {
        !self.missing.is_empty()
    }
}

/// Measures what was asked for.
pub(crate) fn measure(
    given: &Given,
    name: String,
    recording: Recording,
) -> Result<Measured, Failure> {
    let rate = recording.rate;
    let seconds = recording.seconds();
    let levels: Vec<Level> = recording
        .channels
        .iter()
        .map(|c| sound::level::level(c, None))
        .collect();
    let channel = match given.channel {
        Some(n) if usize::from(n) <= levels.len() => usize::from(n),
        Some(n) => {
            return Err(Failure::misuse(
                format!(
                    "{name} has {} channel(s); there is no channel {n}.",
                    levels.len()
                ),
                "Name a channel that is there, or leave `--channel` out.",
            ));
        }
        None => {
            1 + levels
                .iter()
                .enumerate()
                .fold(
                    (0, -1.0),
                    |best, (i, l)| if l.rms > best.1 { (i, l.rms) } else { best },
                )
                .0
        }
    };
    let empty = Vec::new();
    let x = recording.channels.get(channel - 1).unwrap_or(&empty);
    let mut notes = recording.notes.clone();
    let mut missing = Vec::new();
    let level = sound::level::level(x, recording.bits);
    if level.silent() {
        missing.push(
            "The recording is silent: look at the cable, the recorder's input and its level."
                .to_owned(),
        );
    } else if level.clipped > 0 {
        notes.push(format!(
            "Clipped at {} places: the recorder was overdriven there, and level, distortion and power are not to be \
             trusted. Record again, quieter.",
            level.clipped
        ));
    } else if level.flat > 0 && recording.bits != Some(8) {
        notes.push(format!(
            "Flat tops at {} places below full scale: it was clipped before it was made smaller, in the recorder's \
             input or in the amplifier.",
            level.flat
        ));
    } else if sound::decibels(level.peak) < -40.0
        && !matches!(given.played, None | Some(Played::Silence))
    {
        notes
            .push("The recording is quiet: its own noise may cover what is looked for.".to_owned());
    }
    if level.mean.abs() > 0.01 {
        notes.push(format!(
            "A constant of {:.1} % of full scale is in it: the recorder's own, left out.",
            100.0 * level.mean
        ));
    }
    let mut done = Measured {
        name,
        rate,
        seconds,
        bits: recording.bits,
        format: recording.format,
        channel,
        levels,
        hum: None,
        clicks: None,
        swept: None,
        steps: Vec::new(),
        tremolo: None,
        modulation: None,
        notes,
        missing,
    };
    if done.unusable() {
        return Ok(done);
    }
    match given.played {
        None | Some(Played::Silence) => {
            done.hum = sound::hum::hum(x, rate);
            done.clicks = Some(sound::level::clicks(x, rate));
            if done.hum.is_none() {
                done.missing.push("Hum and noise need a second of recording at least.".to_owned());
            }
        }
        Some(Played::Sweep) => match sound::sweep::response(x, rate, &sound::sweep::third_octaves()) {
            Ok(swept) => {
                // The second before the sweep is the amplifier's own noise, where the recording has it.
                let start = ((swept.begins - 0.05) * rate) as usize;
                if swept.begins > 1.05 {
                    done.hum = x.get(..start).and_then(|quiet| sound::hum::hum(quiet, rate));
                }
                done.swept = Some(swept);
            }
            Err(e) => done.missing.push(format!(
                "No response: {e}. Play the whole file that `tubewright signal sweep` writes, and record all of it."
            )),
        },
        Some(Played::Steps) => match sound::steps::steps(x, rate) {
            Some(steps) => done.steps = steps,
            None => done.missing.push(
                "No steps: they are not to be found in the recording. Play the whole file that `tubewright signal \
                 steps` writes, and record all of it."
                    .to_owned(),
            ),
        },
        Some(Played::Tone) => {
            done.tremolo = sound::tremolo::tremolo(x, rate);
            if done.tremolo.is_none() {
                done.missing.push(
                    "No tremolo: nothing swings between 1 and 20 times a second by one per cent or more (or the \
                     recording is shorter than 3 s)."
                        .to_owned(),
                );
            }
        }
        Some(Played::TwoTone) => {
            done.modulation = sound::two_tone::modulation(x, rate);
            if done.modulation.is_none() {
                done.missing.push(
                    "No modulation distortion: 250 Hz and 8 kHz do not both stand in the recording for two seconds."
                        .to_owned(),
                );
            }
        }
        Some(Played::String) => {}
    }
    Ok(done)
}
