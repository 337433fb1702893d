//! Arguments of the bench sheets that work from typed numbers; bias and heaters from a wiring too.

use super::{Wired, values};
use crate::bench_sheet::Form;
use bench::fuse::Marking;
use bench::heaters::Winding;
use bench::speaker::Load;
use bench::typed::Typed;
use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// What sort of output stage it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Stage {
    /// Fixed bias, push-pull
    Fixed,
    /// Cathode bias, push-pull
    Pair,
    /// Single-ended
    Single,
}

/// `bias`.
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    after_help = "Examples: tubewright bias amp.wiring\n          \
                  tubewright bias --valve EL84 --plate 310 --cathode 11.2 --ohms 130 --shared 2\n          \
                  tubewright bias --valve EL34 --plate 447 --cathode 38mV --ohms 1\n          \
                  tubewright bias amp.wiring --plot bias.svg"
)]
pub(crate) struct Bias {
    /// The amplifier.
    #[command(flatten)]
    pub(crate) wired: Wired,
    /// The valve's type
    #[arg(long, value_name = "TYPE")]
    pub(crate) valve: Option<String>,
    /// Plate volts against ground
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) plate: Option<Typed>,
    /// Volts across the cathode resistor
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) cathode: Option<Typed>,
    /// The cathode resistor
    #[arg(long, value_name = "OHMS", value_parser = values::ohms)]
    pub(crate) ohms: Option<Typed>,
    /// Valves that share it
    #[arg(long, value_name = "N", value_parser = values::count, default_value = "1", hide_default_value = true)]
    pub(crate) shared: u32,
    /// Volts across the other side's cathode resistor
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) other: Option<Typed>,
    /// Screen volts against ground
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) screen: Option<Typed>,
    /// Volts across one screen resistor
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) screen_drop: Option<Typed>,
    /// That screen resistor
    #[arg(long, value_name = "OHMS", value_parser = values::ohms)]
    pub(crate) screen_ohms: Option<Typed>,
    /// Volts across half the output transformer's primary
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) primary_drop: Option<Typed>,
    /// Ohms of that half, read warm
    #[arg(long, value_name = "OHMS", value_parser = values::ohms)]
    pub(crate) primary_ohms: Option<Typed>,
    /// Valves on that half
    #[arg(long, value_name = "N", value_parser = values::count, default_value = "1", hide_default_value = true)]
    pub(crate) on_half: u32,
    /// What sort of stage it is
    #[arg(long, value_name = "SORT")]
    pub(crate) stage: Option<Stage>,
    /// Plate watts to aim at, per cent of the lowest limit
    #[arg(long, value_name = "PERCENT", value_parser = values::percent)]
    pub(crate) target: Option<f64>,
    /// The resistors were read with a meter
    #[arg(long, conflicts_with = "tolerance")]
    pub(crate) measured: bool,
    /// Tolerance of the resistors; else 10 %
    #[arg(long, value_name = "PERCENT", value_parser = values::percent)]
    pub(crate) tolerance: Option<f64>,
    /// Error of the meter on direct volts; else 0.5 %
    #[arg(long, value_name = "PERCENT", value_parser = values::percent)]
    pub(crate) meter: Option<f64>,
    /// Write the plate curves with the idle point, its limit and the load line: a name ending in `.svg` or `.png`
    #[arg(long, value_name = "FILE")]
    pub(crate) plot: Option<PathBuf>,
    /// Primary impedance of the output transformer, for the load line: plate to plate, or of one valve
    #[arg(long, value_name = "OHMS", value_parser = values::ohms)]
    pub(crate) load: Option<Typed>,
    /// How to print.
    #[command(flatten)]
    pub(crate) form: Form,
}

/// `heaters`.
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    after_help = "Examples: tubewright heaters amp.wiring\n          \
                  tubewright heaters --valves 12AX7,12AX7,EL84x2,EZ81 --winding \"6.3V 3A\""
)]
pub(crate) struct Heaters {
    /// The amplifier.
    #[command(flatten)]
    pub(crate) wired: Wired,
    /// Types with their count: `12AX7,EL84x2`, at other volts `"12AX7 12.6V"`
    #[arg(long, value_name = "TYPES", value_delimiter = ',')]
    pub(crate) valves: Vec<String>,
    /// The valves that the transformer was made for
    #[arg(long, value_name = "TYPES", value_delimiter = ',')]
    pub(crate) original: Vec<String>,
    /// A winding and what it may give: `"6.3V 3A"`
    #[arg(long, value_name = "WINDING", value_parser = values::winding)]
    pub(crate) winding: Vec<Winding>,
    /// Volts read at the socket pins, one for each supply
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) read: Vec<Typed>,
    /// Heaters in series, fed from `--mains`: their current
    #[arg(long, value_name = "AMPS", value_parser = values::amps)]
    pub(crate) series: Option<Typed>,
    /// How to print.
    #[command(flatten)]
    pub(crate) form: Form,
}

/// `speaker`.
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    after_help = "Example: tubewright speaker --drivers \"[16 30W | 16 30W]\" --taps 4,8,16 --output 30"
)]
pub(crate) struct Speaker {
    /// The drivers: `8`, in series `"8 - 8"`, side by side `"[16 | 16]"`
    #[arg(long, value_name = "DRIVERS", value_parser = values::load)]
    pub(crate) drivers: Option<Load>,
    /// Taps of the output transformer, ohms
    #[arg(long, value_name = "OHMS", value_parser = values::ohms, value_delimiter = ',')]
    pub(crate) taps: Vec<Typed>,
    /// Output power of the amplifier
    #[arg(long, value_name = "WATTS", value_parser = values::watts)]
    pub(crate) output: Option<Typed>,
    /// Rating of each driver that has none of its own
    #[arg(long, value_name = "WATTS", value_parser = values::watts)]
    pub(crate) rated: Option<Typed>,
    /// Ohms read at the plug, direct current
    #[arg(long, value_name = "OHMS", value_parser = values::ohms)]
    pub(crate) read: Option<Typed>,
    /// How to print.
    #[command(flatten)]
    pub(crate) form: Form,
}

/// `discharge`.
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    after_help = "Example: tubewright discharge --capacitance 32u,16u --volts 420 --ohms 10k"
)]
pub(crate) struct Discharge {
    /// Each capacitor: `32u`, `32u,16u`, a can as `8+8u`
    #[arg(long, value_name = "FARADS", value_parser = values::can, value_delimiter = ',')]
    pub(crate) capacitance: Vec<Vec<f64>>,
    /// Volts they stand at
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) volts: Option<Typed>,
    /// The discharge resistor
    #[arg(long, value_name = "OHMS", value_parser = values::ohms)]
    pub(crate) ohms: Option<Typed>,
    /// Volts measured after discharging
    #[arg(long, value_name = "VOLTS", value_parser = values::volts, allow_hyphen_values = true)]
    pub(crate) left: Option<Typed>,
    /// How to print.
    #[command(flatten)]
    pub(crate) form: Form,
}

/// `fuse`.
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    after_help = "Example: tubewright fuse --current 0.8 --mains 230 --marking T1A"
)]
pub(crate) struct Fuse {
    /// Mains current at full drive, amperes true rms
    #[arg(long, value_name = "AMPS", value_parser = values::amps)]
    pub(crate) current: Option<Typed>,
    /// Volts at the wall
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) mains: Option<Typed>,
    /// What is printed beside the holder: `T1A`, `2 A slow`
    #[arg(long, value_name = "TEXT", value_parser = values::marking)]
    pub(crate) marking: Option<Marking>,
    /// Steady HT current, for a fuse in the HT
    #[arg(long, value_name = "AMPS", value_parser = values::amps)]
    pub(crate) ht_current: Option<Typed>,
    /// HT volts that such a fuse must break
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) ht_volts: Option<Typed>,
    /// How to print.
    #[command(flatten)]
    pub(crate) form: Form,
}

/// `lamp`.
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    after_help = "Example: tubewright lamp --watts 60 --mains 230"
)]
pub(crate) struct Lamp {
    /// Watts the amplifier is expected to draw at idle
    #[arg(long, value_name = "WATTS", value_parser = values::watts)]
    pub(crate) watts: Option<Typed>,
    /// Its output power
    #[arg(long, value_name = "WATTS", value_parser = values::watts)]
    pub(crate) output: Option<Typed>,
    /// Volts at the wall
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) mains: Option<Typed>,
    /// The lamp at hand
    #[arg(long, value_name = "WATTS", value_parser = values::watts)]
    pub(crate) lamp: Option<Typed>,
    /// How to print.
    #[command(flatten)]
    pub(crate) form: Form,
}

/// `bleeder`.
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    after_help = "Examples: tubewright bleeder --volts 450 --capacitance 50u\n          \
                  tubewright bleeder --series --volts 560 --capacitance 100u --leakage 0.2mA"
)]
pub(crate) struct Bleeder {
    /// Highest HT: cold valves, highest mains
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) volts: Option<Typed>,
    /// What is to be emptied; of two in series, each
    #[arg(long, value_name = "FARADS", value_parser = values::farads)]
    pub(crate) capacitance: Option<Typed>,
    /// Two capacitors in series: balance resistors
    #[arg(long)]
    pub(crate) series: bool,
    /// Difference of their leakage, amperes
    #[arg(long, value_name = "AMPS", value_parser = values::amps, requires = "series")]
    pub(crate) leakage: Option<Typed>,
    /// The resistor that is fitted (each, in series)
    #[arg(long, value_name = "OHMS", value_parser = values::ohms)]
    pub(crate) ohms: Option<Typed>,
    /// Its rating
    #[arg(long, value_name = "WATTS", value_parser = values::watts)]
    pub(crate) rated: Option<Typed>,
    /// How to print.
    #[command(flatten)]
    pub(crate) form: Form,
}

/// Where a coupling capacitor leads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Place {
    /// To the grid of an output valve
    Output,
    /// To a small-signal grid or a control
    Preamp,
}

/// `leakage`.
#[derive(Debug, Args)]
#[command(
    arg_required_else_help = true,
    after_help = "Examples: tubewright leakage --grid 0.12 --plate 200 --grid-leak 220k\n          \
                  tubewright leakage --capacitance 20u --rated 450 --drop 24 --over 10k"
)]
pub(crate) struct Leakage {
    /// Coupling capacitor: volts at the grid, valve out
    #[arg(long, value_name = "VOLTS", value_parser = values::volts, allow_hyphen_values = true)]
    pub(crate) grid: Option<Typed>,
    /// Volts there with the capacitor lifted; else 0
    #[arg(long, value_name = "VOLTS", value_parser = values::volts, allow_hyphen_values = true)]
    pub(crate) lifted: Option<Typed>,
    /// The grid leak
    #[arg(long, value_name = "OHMS", value_parser = values::ohms)]
    pub(crate) grid_leak: Option<Typed>,
    /// Volts at the driving plate
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) plate: Option<Typed>,
    /// Where the capacitor leads; else to an output grid
    #[arg(long, value_name = "WHERE")]
    pub(crate) place: Option<Place>,
    /// Or meter in series: volts that it shows
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) meter_volts: Option<Typed>,
    /// Volts across capacitor and meter together
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) across: Option<Typed>,
    /// The meter's input resistance; else 10M
    #[arg(long, value_name = "OHMS", value_parser = values::ohms)]
    pub(crate) meter: Option<Typed>,
    /// Electrolytic: marked capacitance
    #[arg(long, value_name = "FARADS", value_parser = values::farads)]
    pub(crate) capacitance: Option<Typed>,
    /// Marked volts
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) rated: Option<Typed>,
    /// Leakage after charging
    #[arg(long, value_name = "AMPS", value_parser = values::amps)]
    pub(crate) leakage: Option<Typed>,
    /// Or volts across a resistor, nothing else drawing
    #[arg(long, value_name = "VOLTS", value_parser = values::volts)]
    pub(crate) drop: Option<Typed>,
    /// That resistor
    #[arg(long, value_name = "OHMS", value_parser = values::ohms)]
    pub(crate) over: Option<Typed>,
    /// Equivalent series resistance
    #[arg(long, value_name = "OHMS", value_parser = values::ohms)]
    pub(crate) esr: Option<Typed>,
    /// What its meter tests at
    #[arg(long, value_name = "HERTZ", value_parser = values::hertz)]
    pub(crate) hertz: Option<Typed>,
    /// Capacitance read
    #[arg(long, value_name = "FARADS", value_parser = values::farads)]
    pub(crate) measured: Option<Typed>,
    /// How to print.
    #[command(flatten)]
    pub(crate) form: Form,
}
