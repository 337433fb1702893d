//! Arguments of `voicing`.

use super::{Wired, values};
use bench::typed::Typed;
use clap::Args;
use std::path::PathBuf;

/// `voicing`.
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    after_help = "Examples: tubewright voicing amp.wiring\n          \
                  tubewright voicing amp.wiring --from J1 --sweep TREBLE --plot treble.svg\n          \
                  tubewright voicing as-found.wiring --from J1 --against drawing.wiring"
)]
pub(crate) struct Voicing {
    /// The amplifier.
    #[command(flatten)]
    pub(crate) wired: Wired,
    /// The jack or generator that drives; every input jack unless told
    #[arg(long, value_name = "JACK")]
    pub(crate) from: Vec<String>,
    /// Point or part where it is taken; the loudspeaker unless told
    #[arg(long, value_name = "POINT")]
    pub(crate) to: Option<String>,
    /// One frequency, or lowest, highest and how many between them
    #[arg(long, value_name = "HZ", value_parser = frequencies, default_value = "20,20000,200")]
    pub(crate) hz: Frequencies,
    /// Ohms of the source
    #[arg(long, value_name = "OHMS", value_parser = values::ohms, conflicts_with = "guitar")]
    pub(crate) source: Option<Typed>,
    /// A guitar drives: 3 H and 6k of pickup, 500 pF of cable, a volume control of 250k turned up
    #[arg(long)]
    pub(crate) guitar: bool,
    /// Henries of the pickup, in place of 3; with it a guitar drives
    #[arg(long, value_name = "HENRIES", value_parser = values::henries, conflicts_with = "source")]
    pub(crate) pickup: Option<Typed>,
    /// Ohms of the pickup, in place of 6k
    #[arg(long, value_name = "OHMS", value_parser = values::ohms, conflicts_with = "source")]
    pub(crate) pickup_ohms: Option<Typed>,
    /// Farads of the cable, in place of 500p
    #[arg(long, value_name = "FARADS", value_parser = values::farads, conflicts_with = "source")]
    pub(crate) cable: Option<Typed>,
    /// Ohms of the guitar's volume control, in place of 250k
    #[arg(long, value_name = "OHMS", value_parser = values::ohms, conflicts_with = "source")]
    pub(crate) guitar_volume: Option<Typed>,
    /// Where that stands, 0 to 10, by its track: 5 is half of its ohms; in place of 10
    #[arg(long, value_name = "0-10", value_parser = turned, conflicts_with = "source")]
    pub(crate) turned: Option<f64>,
    /// In dB over this point in place of the source: what a network before `--to` loses
    #[arg(long, value_name = "POINT")]
    pub(crate) over: Option<String>,
    /// How far each part's tolerance moves the first curve
    #[arg(long, conflicts_with_all = ["over", "csv"])]
    pub(crate) parts: bool,
    /// The loudspeaker as a resistor of its nominal ohms
    #[arg(long)]
    pub(crate) resistor_load: bool,
    /// This knob at 0, 2.5, 5, 7.5 and 10
    #[arg(long, value_name = "KNOB", conflicts_with = "against")]
    pub(crate) sweep: Option<String>,
    /// What every knob does from 0 to 10, in words
    #[arg(long)]
    pub(crate) ranges: bool,
    /// Another wiring, from the same jack at the same settings; may stand several times
    #[arg(long, value_name = "FILE")]
    pub(crate) against: Vec<PathBuf>,
    /// Write the curves to a picture, SVG or PNG by the name's ending
    #[arg(long, value_name = "FILE")]
    pub(crate) plot: Option<PathBuf>,
    /// Print JSON (docs/json.md)
    #[arg(long, conflicts_with = "csv")]
    pub(crate) json: bool,
    /// Print CSV
    #[arg(long)]
    pub(crate) csv: bool,
}

/// Frequencies, hertz, rising.
#[derive(Debug, Clone)]
pub(crate) struct Frequencies(pub(crate) Vec<f64>);

/// Where a control stands.
fn turned(text: &str) -> Result<f64, String> {
    let at: f64 = text.trim().parse().unwrap_or(f64::NAN);
    if (0.0..=10.0).contains(&at) {
        Ok(at)
    } else {
        Err("type where it stands, from 0 to 10".to_owned())
    }
}

/// More would only be slow.
const MOST: f64 = 5000.0;

/// `1000`, or `20,20000,200`.
fn frequencies(text: &str) -> Result<Frequencies, String> {
    let parts: Vec<&str> = text.split(',').map(str::trim).collect();
    let hertz = |text: &str| {
        let typed = values::hertz(text)?.value;
        if (1e-3..=1e7).contains(&typed) {
            Ok(typed)
        } else {
            Err("a frequency lies between 0.001 Hz and 10 MHz".to_owned())
        }
    };
    match parts.as_slice() {
        [one] => Ok(Frequencies(vec![hertz(one)?])),
        [low, high, count] => {
            let (low, high) = (hertz(low)?, hertz(high)?);
            let count: f64 = count.parse().unwrap_or(f64::NAN);
            if !(2.0..=MOST).contains(&count) || count.fract() != 0.0 || high <= low {
                return Err(format!(
                    "type lowest, highest and how many, from 2 to {MOST}, such as 20,20000,200"
                ));
            }
            let step = (high / low).ln() / (count - 1.0);
            let mut all = Vec::new();
            let mut i = 0.0;
            while i < count {
                all.push(low * (i * step).exp());
                i += 1.0;
            }
            Ok(Frequencies(all))
        }
        _ => Err("type one frequency, or lowest, highest and how many: 20,20000,200".to_owned()),
    }
}
