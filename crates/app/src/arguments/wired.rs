//! Arguments of the bench sheets that work from a wiring, and from typed numbers where there is none.

use super::{mains_volts, setting, values};
use crate::bench_sheet::Form;
use bench::fuse::Marking;
use bench::instead::Instead;
use bench::proof::LogRow;
use bench::typed::Typed;
use clap::{Args, ValueEnum};
use std::path::PathBuf;
use wiring::circuit::Position;

/// The amplifier that a sheet is for; a sheet may do without.
#[derive(Debug, Args)]
pub(crate) struct Wired {
    /// Wirings and readings; several are joined into one amp
    #[arg(value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// Readings in a file of their own (also CSV)
    #[arg(long, value_name = "FILE")]
    pub(crate) readings: Vec<PathBuf>,
    /// Volts at the wall, instead of what the files say
    #[arg(long, value_name = "VOLTS", value_parser = mains_volts)]
    pub(crate) mains: Option<f64>,
    /// Where a knob or switch stands: `VOLUME=5`, `S1=open`, `J1=plugged`
    #[arg(long = "set", value_name = "KNOB=5", value_parser = setting)]
    pub(crate) sets: Vec<(String, Position)>,
    /// Valves pulled: `V5`, or `V2,V3`
    #[arg(long, value_name = "VALVE", value_delimiter = ',')]
    pub(crate) without: Vec<String>,
    /// What if: another part in a place, `C20=47u 450V`, `V5=GZ34`, `V5=silicon`
    #[arg(long, value_name = "PART=WHAT", value_parser = values::instead)]
    pub(crate) instead: Vec<Instead>,
    /// The readings block to use, by its name
    #[arg(long, value_name = "NAME")]
    pub(crate) block: Option<String>,
    /// Your own data sheets of valves, besides the built-in ones
    #[arg(long, value_name = "FILE")]
    pub(crate) valves_file: Option<PathBuf>,
}

/// A sheet of an amplifier whose lines take answers.
#[derive(Debug, Args)]
pub(crate) struct Answered {
    /// The amplifier.
    #[command(flatten)]
    pub(crate) wired: Wired,
    /// An answer to a line, by what stands beside it: `cord=yes`, `C7=no`, `earth-bond=0.08 ohm`
    #[arg(long = "answer", value_name = "LINE=ANSWER")]
    pub(crate) answers: Vec<String>,
    /// How to print.
    #[command(flatten)]
    pub(crate) form: Form,
}

/// `supply`.
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    after_help = "Examples: tubewright supply amp.wiring\n          tubewright supply amp.wiring --instead V5=silicon --mains 242\n          tubewright supply --winding 265 --rectifier 5Y3GT --reservoir 16u --load 60mA"
)]
pub(crate) struct Supply {
    /// The amplifier.
    #[command(flatten)]
    pub(crate) wired: Wired,
    /// What is printed beside the mains fuse holder: `T1A`, `2 A slow`
    #[arg(long, value_name = "TEXT", value_parser = values::marking)]
    pub(crate) marking: Option<Marking>,
    /// Without a wiring: volts of the winding, each half to its tap
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) winding: Option<Typed>,
    /// Direct current at which the winding has these volts
    #[arg(long, value_name = "AMPS", value_parser = values::amps)]
    pub(crate) winding_current: Option<Typed>,
    /// Ohms of the winding end to end
    #[arg(long, value_name = "OHMS", value_parser = values::ohms)]
    pub(crate) winding_ohms: Option<Typed>,
    /// Volts that the primary is made for
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) primary: Option<Typed>,
    /// Ohms of the primary
    #[arg(long, value_name = "OHMS", value_parser = values::ohms)]
    pub(crate) primary_ohms: Option<Typed>,
    /// A rectifier valve's type, `silicon` (two diodes) or `bridge`
    #[arg(long, value_name = "TYPE")]
    pub(crate) rectifier: Option<String>,
    /// The first capacitor
    #[arg(long, value_name = "FARADS", value_parser = values::farads)]
    pub(crate) reservoir: Option<Typed>,
    /// Its rated volts
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) rated: Option<Typed>,
    /// Current that the amplifier draws
    #[arg(long, value_name = "AMPS", value_parser = values::amps)]
    pub(crate) load: Option<Typed>,
    /// A resistor across the first capacitor
    #[arg(long, value_name = "OHMS", value_parser = values::ohms)]
    pub(crate) bleeder: Option<Typed>,
    /// How to print.
    #[command(flatten)]
    pub(crate) form: Form,
}

/// Regions, as they are typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Region {
    /// Continental Europe
    Eu,
    /// United Kingdom
    Uk,
    /// North America
    Us,
}

/// `cold`.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples: tubewright cold amp.wiring\n          tubewright cold amp.wiring --block \"cold check\""
)]
pub(crate) struct Cold {
    /// The amplifier.
    #[command(flatten)]
    pub(crate) wired: Wired,
    /// Volts of the ohmmeter at open leads; else 3 V
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) test_volts: Option<Typed>,
    /// How to print.
    #[command(flatten)]
    pub(crate) form: Form,
}

/// `powerup`.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples: tubewright powerup amp.wiring\n          tubewright powerup amp.wiring --lamp 60 --mains 233"
)]
pub(crate) struct Powerup {
    /// The amplifier, answers, how to print.
    #[command(flatten)]
    pub(crate) on: Answered,
    /// The lamp at hand
    #[arg(long, value_name = "WATTS", value_parser = values::watts)]
    pub(crate) lamp: Option<Typed>,
}

/// `inspect`.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples: tubewright inspect amp.wiring\n          tubewright inspect --answer cord=no --answer C7=yes"
)]
pub(crate) struct Inspect {
    /// The amplifier, answers, how to print.
    #[command(flatten)]
    pub(crate) on: Answered,
}

/// `safety`.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples: tubewright safety amp.wiring --region eu\n          tubewright safety --region us --answer cord=yes --answer \"earth-bond=0.08 ohm\""
)]
pub(crate) struct Safety {
    /// The amplifier, answers, how to print.
    #[command(flatten)]
    pub(crate) on: Answered,
    /// Whose limits and cord colours; by the mains volts otherwise
    #[arg(long, value_enum)]
    pub(crate) region: Option<Region>,
}

/// `proof`.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples: tubewright proof amp.wiring --answer VOLUME=yes\n          tubewright proof --row \"25 0.41 312 35\" --row \"150 0.42 309 52\""
)]
pub(crate) struct Proof {
    /// The amplifier, answers, how to print.
    #[command(flatten)]
    pub(crate) on: Answered,
    /// A row of the burn-in log: minutes, mains A, HT V, degrees C
    #[arg(long = "row", value_name = "ROW", value_parser = row)]
    pub(crate) rows: Vec<LogRow>,
}

fn row(text: &str) -> Result<LogRow, String> {
    bench::proof::row(text).map_err(|e| e.to_string())
}

/// `parts`.
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    after_help = "Examples: tubewright parts amp.wiring\n          tubewright parts amp.wiring --year 2026 --json"
)]
pub(crate) struct Parts {
    /// The amplifier.
    #[command(flatten)]
    pub(crate) wired: Wired,
    /// The year it is now, for date codes and ages
    #[arg(long, value_name = "YEAR", value_parser = clap::value_parser!(u16).range(1950..=2200))]
    pub(crate) year: Option<u16>,
    /// How to print.
    #[command(flatten)]
    pub(crate) form: Form,
}

/// `stress`.
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    after_help = "Examples: tubewright stress amp.wiring\n          tubewright stress amp.wiring --mains 242 --without V5\n          tubewright stress amp.wiring --drive --set VOLUME=8"
)]
pub(crate) struct Stress {
    /// The amplifier.
    #[command(flatten)]
    pub(crate) wired: Wired,
    /// Drive it as well, to the clean limit and four times as hard: takes as long as `power`
    #[arg(long)]
    pub(crate) drive: bool,
    /// How to print.
    #[command(flatten)]
    pub(crate) form: Form,
}

/// `power`.
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    after_help = "Examples: tubewright power amp.wiring --set VOLUME=8\n          tubewright power amp.wiring --from J3 --hz 1000,100,5000 --distortion 10"
)]
pub(crate) struct Power {
    /// The amplifier.
    #[command(flatten)]
    pub(crate) wired: Wired,
    /// The jack or generator that drives; the input heard loudest unless told
    #[arg(long, value_name = "JACK")]
    pub(crate) from: Option<String>,
    /// Frequencies of the tone, the one to look at closely first
    #[arg(long, value_name = "HZ", value_delimiter = ',', default_value = "1000,100,5000", value_parser = values::audible)]
    pub(crate) hz: Vec<f64>,
    /// Per cent of distortion that still counts as clean
    #[arg(long, value_name = "PERCENT", default_value = "5", value_parser = values::distortion)]
    pub(crate) distortion: f64,
    /// How to print.
    #[command(flatten)]
    pub(crate) form: Form,
}

/// `tremolo`.
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    after_help = "Examples: tubewright tremolo amp.wiring\n          tubewright tremolo amp.wiring --set SPEED=3 --set DEPTH=10 --from J3"
)]
pub(crate) struct Tremolo {
    /// The amplifier.
    #[command(flatten)]
    pub(crate) wired: Wired,
    /// The jack or generator whose tone is swayed; the input heard loudest unless told
    #[arg(long, value_name = "JACK")]
    pub(crate) from: Option<String>,
    /// How to print.
    #[command(flatten)]
    pub(crate) form: Form,
}
