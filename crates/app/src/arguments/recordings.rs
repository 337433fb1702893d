//! Arguments of `signal`, `hear` and `listen`.

use super::{Wired, mains_volts, setting};
use clap::{Args, ValueEnum};
use std::path::PathBuf;
use wiring::circuit::Position;

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
    /// The wiring of the amplifier, to put what it promises beside what was measured; may stand several times
    #[arg(long, value_name = "FILE")]
    pub(crate) amp: Vec<PathBuf>,
    /// Peak volts at the jack where the test signal's file is at full scale, for gain and for watts at each level
    #[arg(long, value_name = "VOLTS", requires = "amp", value_parser = above_nothing)]
    pub(crate) jack: Option<f64>,
    /// The jack that was played into; the input heard loudest unless told
    #[arg(long, value_name = "JACK", requires = "amp")]
    pub(crate) from: Option<String>,
    /// Point or part that was recorded; the loudspeaker unless told
    #[arg(long, value_name = "POINT", requires = "amp")]
    pub(crate) to: Option<String>,
    /// Where a knob or switch stood: `VOLUME=5`
    #[arg(long = "set", value_name = "KNOB=5", requires = "amp", value_parser = setting)]
    pub(crate) sets: Vec<(String, Position)>,
    /// Volts at the wall, instead of what the wiring says
    #[arg(long, value_name = "VOLTS", requires = "amp", value_parser = mains_volts)]
    pub(crate) mains: Option<f64>,
    /// Your own data sheets of valves, besides the built-in ones
    #[arg(long, value_name = "FILE", requires = "amp")]
    pub(crate) valves_file: Option<PathBuf>,
    /// Another recording, made before, to compare with
    #[arg(long, value_name = "RECORDING")]
    pub(crate) before: Option<PathBuf>,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    pub(crate) json: bool,
}

/// `listen`.
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    after_help = "Examples: tubewright listen amp.wiring -o string.wav\n          \
                  tubewright listen as-found.wiring --against as-left.wiring --against drawing.wiring --play riff.wav -o riff-heard.wav"
)]
pub(crate) struct Listen {
    /// The amplifier.
    #[command(flatten)]
    pub(crate) wired: Wired,
    /// The recording to play into it: WAV, FLAC, MP3, AAC, or a phone's M4A; a plucked string made by calculation unless told
    #[arg(long, value_name = "RECORDING")]
    pub(crate) play: Option<PathBuf>,
    /// Which channel of the recording, from 1
    #[arg(long, value_name = "N", requires = "play", value_parser = clap::value_parser!(u16).range(1..=64))]
    pub(crate) channel: Option<u16>,
    /// Peak volts at the jack where the recording is at full scale
    #[arg(long, value_name = "VOLTS", default_value = "0.5", value_parser = above_nothing)]
    pub(crate) full_scale: f64,
    /// The jack or generator it goes into; the input heard loudest unless told
    #[arg(long, value_name = "JACK")]
    pub(crate) from: Option<String>,
    /// Point or part that is heard; the loudspeaker unless told
    #[arg(long, value_name = "POINT")]
    pub(crate) to: Option<String>,
    /// Another wiring, at the same settings and equally loud; may stand several times
    #[arg(long, value_name = "FILE")]
    pub(crate) against: Vec<PathBuf>,
    /// An impulse response of a loudspeaker in its box, as a recording
    #[arg(long, value_name = "RECORDING")]
    pub(crate) impulse: Option<PathBuf>,
    /// Samples a second inside the amplifier, about: fewer are quicker and fold more of the treble back
    #[arg(long, value_name = "HZ", default_value_t = 192_000, value_parser = clap::value_parser!(u32).range(44_100..=1_536_000))]
    pub(crate) inside: u32,
    /// Volts that are full scale in the files, in place of equally loud
    #[arg(long, value_name = "VOLTS", value_parser = above_nothing)]
    pub(crate) out_full_scale: Option<f64>,
    /// The WAV file to write, a new file; several get a number and the wiring's name
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: PathBuf,
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
