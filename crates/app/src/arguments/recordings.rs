//! Arguments of `signal` and `hear`.

use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// A test signal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Played {
    /// Logarithmic sweep, 10 Hz to 21 kHz in 10 s: response and distortion
    Sweep,
    /// Eight levels at 100 Hz, 1 kHz, 5 kHz: distortion and power against level
    Steps,
    /// 250 Hz and 8 kHz, four to one: modulation distortion
    TwoTone,
    /// One steady tone of 440 Hz, 12 s: tremolo
    Tone,
    /// Nothing, 20 s: hum and noise
    Silence,
    /// A plucked string, made by calculation
    String,
}

/// `signal`.
#[derive(Debug, Args)]
pub(crate) struct Signal {
    /// Which signal
    #[arg(value_name = "SIGNAL")]
    pub(crate) signal: Played,
    /// The WAV file to write: a new file
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: PathBuf,
    /// Samples a second
    #[arg(long, value_name = "HZ", default_value_t = 48_000, value_parser = clap::value_parser!(u32).range(44_100..=192_000))]
    pub(crate) rate: u32,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    pub(crate) json: bool,
}

/// `hear`.
#[derive(Debug, Args)]
pub(crate) struct Hear {
    /// The recording: WAV, FLAC, MP3, AAC, or a phone's M4A
    #[arg(value_name = "RECORDING")]
    pub(crate) file: PathBuf,
    /// What was played into the amp; without it, hum, noise and clicks are measured
    #[arg(long, value_name = "SIGNAL")]
    pub(crate) played: Option<Played>,
    /// Which channel of the recording, from 1; otherwise the louder
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=64))]
    pub(crate) channel: Option<u16>,
    /// Calibration: the peak volts at the load that the recorder takes as full scale
    #[arg(long, value_name = "VOLTS", value_parser = above_nothing)]
    pub(crate) full_scale: Option<f64>,
    /// The load in ohms, for output power
    #[arg(long, value_name = "OHMS", requires = "full_scale", value_parser = above_nothing)]
    pub(crate) load: Option<f64>,
    /// What the calibration may be wrong by, in per cent
    #[arg(long, value_name = "PER CENT", default_value_t = 5.0, value_parser = share)]
    pub(crate) calibrated_to: f64,
    /// Another recording, made before, to compare with
    #[arg(long, value_name = "RECORDING")]
    pub(crate) before: Option<PathBuf>,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    pub(crate) json: bool,
}

/// `28.3`, `28.3V`, `8 ohm`.
fn above_nothing(text: &str) -> Result<f64, String> {
    let bare = text
        .trim()
        .trim_end_matches("ohms")
        .trim_end_matches("ohm")
        .trim_end_matches(['V', 'v'])
        .trim();
    match bare.parse::<f64>() {
        Ok(x) if x > 1e-6 && x < 1e6 => Ok(x),
        _ => Err("type a number above 0, for example `28.3`".into()),
    }
}

/// `5`, `5%`.
fn share(text: &str) -> Result<f64, String> {
    match text.trim().trim_end_matches('%').trim().parse::<f64>() {
        Ok(x) if (0.0..=100.0).contains(&x) => Ok(x),
        _ => Err("type per cent from 0 to 100, for example `5`".into()),
    }
}
