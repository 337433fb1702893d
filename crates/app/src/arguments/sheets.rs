//! Arguments of the bench sheets that work from typed numbers.

use super::values;
use crate::bench_sheet::Form;
use bench::fuse::Marking;
use bench::typed::Typed;
use clap::{Args, ValueEnum};

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
