//! `signal`: a test signal as a WAV file, to play into an amplifier.

use crate::arguments::{Played, Signal as Given};
use crate::outcome::{Failure, Outcome};
use crate::table::paragraph;
use serde_json::json;
use sound::signals;
use std::fs::OpenOptions;
use std::io::{ErrorKind, Write as _};

/// Runs `signal`.
pub(crate) fn run(given: &Given) -> Result<Outcome, Failure> {
    let rate = f64::from(given.rate);
    let (samples, use_it) = match given.signal {
        Played::Sweep => (signals::sweep(rate), "hear --played sweep"),
        Played::Steps => (signals::steps(rate), "hear --played steps"),
        Played::TwoTone => (signals::two_tone(rate, 10.0), "hear --played two-tone"),
        Played::Tone => (signals::tone(rate, 12.0, 440.0), "hear --played tone"),
        Played::Silence => (signals::silence(rate, 20.0), "hear --played silence"),
        Played::String => (signals::string(rate), "hear --played string"),
    };
    let bytes = sound::write::wav(&samples, given.rate).map_err(|e| {
        Failure::outside(
            format!("The signal could not be made: {e}."),
            "Take a lower rate.",
        )
    })?;
    let name = given.output.display().to_string();
    // A new file only: a recording with the same name is not to be lost.
    let written = OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(&given.output)
        .and_then(|mut file| {
            file.write_all(&bytes)?;
            file.sync_all()
        });
    match written {
        Ok(()) => {}
        Err(e) if e.kind() == ErrorKind::AlreadyExists => {
            return Err(Failure::misuse(
                format!("{name} is there already."),
                "Name a new file.",
            ));
        }
        Err(e) => {
            return Err(Failure::outside(
                format!("{name} could not be written: {e}."),
                "Look at the folder, its permissions and the room on the disk.",
            ));
        }
    }
    let seconds = samples.len() as f64 / rate;
    let peak_db = sound::decibels(samples.iter().fold(0.0_f64, |m, x| m.max(x.abs())));
    if given.json {
        let value = json!({
            "file": name, "seconds": seconds, "rate": given.rate, "bits": 24,
            "peak_db": if peak_db > -299.0 { Some(peak_db) } else { None },
            "errors": [], "warnings": [],
        });
        return Ok(Outcome::done(format!("{value:#}\n")));
    }
    let level = if peak_db > -299.0 {
        format!("Its peak is {peak_db:.1} dB below full scale. Turn the player down first, then up while watching the load. Never drive the amplifier without a load.")
            .replace("is -", "is ")
    } else {
        "It is silent: for the amplifier's own hum and noise.".to_owned()
    };
    Ok(Outcome::done(format!(
        "{}{}{}",
        paragraph(
            &format!(
                "{name}: {seconds:.1} s, {} Hz, 24 bits, one channel.",
                given.rate
            ),
            ""
        ),
        paragraph(&level, ""),
        paragraph(
            &format!(
                "Record what comes out at the load, without automatic level, then: `tubewright {use_it} RECORDING`."
            ),
            ""
        ),
    )))
}
