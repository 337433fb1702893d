//! What `listen` prints.

use super::{Played, Rendering};
use crate::table::{Side, Table, paragraph};
use serde_json::{Value, json};

/// For people.
pub(super) fn text(played: &Played, renderings: &[Rendering], told: bool) -> String {
    let mut out = paragraph(
        &format!(
            "{}: {:.1} s, full scale {} V at the jack; {} samples a second inside the amplifier, {} in the files.",
            played.name, played.seconds, played.full_scale, played.rates.inside, played.rates.to
        ),
        "",
    );
    out.push('\n');
    let mut table = Table::new()
        .wrapping("file", 12)
        .wrapping("wiring", 8)
        .column("from", Side::Left)
        .column("to", Side::Left)
        .column("V rms", Side::Right)
        .column("V peak", Side::Right)
        .column("full scale V", Side::Right);
    for r in renderings {
        table.row([
            r.file.display().to_string(),
            r.label.clone(),
            r.from.clone(),
            r.to.clone(),
            format!("{:.3}", r.heard.rms),
            format!("{:.3}", r.heard.peak),
            format!("{:.3}", 1.0 / r.scale),
        ]);
    }
    out.push_str(&table.render());
    out.push('\n');
    let level = if told {
        "The files have the volts that were told; what is louder than full scale is cut off there."
    } else if renderings.len() > 1 {
        "The files are equally loud (ITU-R BS.1770, from memory, not seen); the volts are those before that."
    } else {
        "The file's highest peak is 1 dB below full scale; the volts are those before that."
    };
    out.push_str(&paragraph(level, ""));
    for note in all_notes(played, renderings, told) {
        out.push_str(&paragraph(&note, ""));
    }
    out
}

/// Four times 44.1 kHz.
const USUAL_INSIDE: u32 = 176_400;

/// What is worth knowing about them.
fn all_notes(played: &Played, renderings: &[Rendering], told: bool) -> Vec<String> {
    let mut notes = played.notes.clone();
    match &played.response {
        Some(name) => notes.push(format!("Heard through the impulse response {name}.")),
        None => notes.push(
            "These are the volts at the loudspeaker, not its sound: sharper than any loudspeaker. `--impulse FILE` puts \
             a recorded impulse response of one behind it."
                .to_owned(),
        ),
    }
    let read = renderings
        .iter()
        .map(|r| r.heard.read_peak)
        .fold(0.0, f64::max);
    if read * played.full_scale > 2.0 {
        notes.push(format!(
            "The loudest moment is {:.1} V at the jack: more than a guitar gives (common practice, no source). \
             `--full-scale` sets it.",
            read * played.full_scale
        ));
    }
    if played.rates.inside < USUAL_INSIDE {
        notes.push(format!(
            "At {} samples a second inside the amplifier, what it makes of a tone above {} kHz folds back into what is heard \
             (docs/sound.md says how much); `--inside 192000` is the usual.",
            played.rates.inside,
            (played.rates.inside - 20_000) / 1000
        ));
    }
    for r in renderings {
        if told && r.heard.peak * r.scale > 1.0 {
            notes.push(format!(
                "{} is cut off: it reaches {:.2} V. Name more volts after `--out-full-scale`.",
                r.label, r.heard.peak
            ));
        }
        if let Some(hertz) = r.tremolo_hertz {
            notes.push(format!(
                "The tremolo of {} swings, from {hertz:.1} Hz.",
                r.label
            ));
        }
    }
    notes.push(
        "Hum, hiss, a saturating core and the loudspeaker's own distortion are not in it; the supply sags without \
         ripple."
            .to_owned(),
    );
    notes
}

/// For programs.
pub(super) fn value(played: &Played, renderings: &[Rendering], told: bool) -> Value {
    let files: Vec<Value> = renderings
        .iter()
        .map(|r| {
            json!({
                "file": r.file.display().to_string(),
                "label": r.label,
                "from": r.from,
                "to": r.to,
                "gain": r.gain,
                "tremolo_hz": r.tremolo_hertz,
                "volts_rms": r.heard.rms,
                "volts_peak": r.heard.peak,
                "full_scale_volts": 1.0 / r.scale,
                "loudness_lkfs": r.heard.loudness.map(|l| l + sound::decibels(r.scale)),
                "cut_off": r.heard.peak * r.scale > 1.0,
                "notes": r.notes,
            })
        })
        .collect();
    json!({
        "played": played.name,
        "seconds": played.seconds,
        "jack_full_scale_volts": played.full_scale,
        "rate_hz": played.rates.to,
        "inside_hz": played.rates.inside,
        "impulse": played.response,
        "files": files,
        "notes": all_notes(played, renderings, told),
    })
}
