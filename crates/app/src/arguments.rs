//! The command line: what can be asked for, and how it is written.

mod kin;
mod recordings;
mod sheets;
mod suspects;
mod values;
mod voicing;
mod wired;

pub(crate) use kin::Kin;
pub(crate) use recordings::{Hear, Listen, Played, Signal};
pub(crate) use sheets::{
    Bias, Bleeder, Discharge, Fuse, Heaters, Lamp, Leakage, Place, Speaker, Stage,
};
pub(crate) use suspects::Suspects;
pub(crate) use voicing::Voicing;
pub(crate) use wired::{
    Cold, Inspect, Parts, Power, Powerup, Proof, Region, Safety, Stress, Supply, Tremolo, Wired,
};

use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;
use wiring::circuit::Position;

/// The version, and what it was built from where the one who built it said so (`./package` does).
const BUILT: &str = match option_env!("TUBEWRIGHT_BUILT_FROM") {
    Some(said) => said,
    None => concat!(
        env!("CARGO_PKG_VERSION"),
        ", built from a source tree without a mark"
    ),
};

/// The bench companion for vintage valve amplifiers.
#[derive(Debug, Parser)]
#[command(
    name = "tubewright",
    version = BUILT,
    about = "The bench companion for vintage valve amplifiers.",
    after_help = "Exit status: 0 done, 1 the input has errors, 2 wrong use, 3 something outside \
                  failed.\nA file named `-` is read from standard input.",
    max_term_width = 80
)]
pub(crate) struct Arguments {
    /// What to do.
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Chart an example amplifier, then serve a shop to try out
    Demo(Demo),
    /// The pages on the bench, in a browser on this machine
    Serve(Serve),
    /// Copy a shop while it is in use, verify a copy, restore one
    Backup(Backup),
    /// Write a job, or the whole shop, as one archive of open formats
    Export(Export),
    /// Take in a job from its archive, or make a shop of an archive of one
    Import(Import),
    /// Say what is wrong, open or assumed in a wiring
    Check(Check),
    /// Print a wiring in its tidy form; comments and order stay
    Format(Format),
    /// Expected volts with bands, next to what the meter read
    Chart(Chart),
    /// Which part is at fault, given the readings, and what to measure next
    Suspects(Suspects),
    /// How near the amp is to each of several drawings, block by block
    Kin(Kin),
    /// Sheet: plate and screen watts of the output valves
    Bias(Bias),
    /// Sheet: heater currents against the windings
    Heaters(Heaters),
    /// Sheet: time, energy and resistor for emptying capacitors
    Discharge(Discharge),
    /// Sheet: the mains fuse, never above the marking
    Fuse(Fuse),
    /// Sheet: the limiter lamp for the first power
    Lamp(Lamp),
    /// Sheet: bleeder and balance resistors
    Bleeder(Bleeder),
    /// Sheet: leakage of coupling capacitors and electrolytics
    Leakage(Leakage),
    /// Sheet: loudspeaker load, tap, and share of the power
    Speaker(Speaker),
    /// Draw the schematic of what was traced
    Draw(Draw),
    /// Sheet: what eyes and nose find before power
    Inspect(Inspect),
    /// Sheet: ohms before power, go or no-go
    Cold(Cold),
    /// Sheet: lamp, mains steps, when to switch off, where charge stays
    Powerup(Powerup),
    /// Sheet: rails, who draws, surge, discharge, rectifier, fuse
    Supply(Supply),
    /// What a small signal from a jack becomes at the loudspeaker; channels, knobs and wirings compared
    Voicing(Voicing),
    /// Sheet: how hard each part is worked, and what one fault takes with it
    Stress(Stress),
    /// Sheet: keep, watch or replace, part by part, with what to order
    Parts(Parts),
    /// Sheet: watts clean and driven hard, distortion, what drive costs valves and rails
    Power(Power),
    /// Sheet: does the tremolo start, how fast, how deep, and what would bring it back
    Tremolo(Tremolo),
    /// Sheet: mains side and hand-over, pass, fail or open
    Safety(Safety),
    /// Sheet: burn-in, controls, oscillation sweep, tap test
    Proof(Proof),
    /// The hand-over report of a job: words, a page to print, or a PDF
    Report(Report),
    /// Write a test signal to play into the amp
    Signal(Signal),
    /// What a recording says: hum, noise, response, distortion, tremolo
    Hear(Hear),
    /// Play a recording through the amp as wired: to hear it, or a change to it
    Listen(Listen),
    /// List ready pieces of circuit, or print one with free names
    Snippet(Snippet),
    /// List the data sheets of valves, or print one
    Valves(Valves),
    /// List the chapters of the handbook, print one, or write the man pages
    Handbook(Handbook),
    /// Fit a valve that has no curves yet to its sheet's rows or to readings
    Fit(Fit),
}

/// `demo`.
#[derive(Debug, Args)]
pub(crate) struct Demo {
    /// End when everything is printed; otherwise the demo's shop is served until Ctrl-C
    #[arg(long)]
    pub(crate) once: bool,
    /// Port of the demo's pages; 0 takes a free one
    #[arg(long, default_value_t = 8642)]
    pub(crate) port: u16,
}

/// `serve`.
#[derive(Debug, Args)]
pub(crate) struct Serve {
    /// The shop's folder; made where there is none
    #[arg(long, value_name = "FOLDER")]
    pub(crate) shop: Option<PathBuf>,
    /// Port on this machine; 0 takes a free one
    #[arg(long, default_value_t = 8642)]
    pub(crate) port: u16,
    /// Let other devices of this network in, with a passcode and a code that works once
    #[arg(long)]
    pub(crate) lan: bool,
    /// The passcode for other devices: the first line of a file
    #[arg(long, value_name = "FILE", requires = "lan")]
    pub(crate) passcode_file: Option<PathBuf>,
    /// Hold the time still, in milliseconds since 1970: for pictures that repeat
    #[arg(long, value_name = "MS", hide = true)]
    pub(crate) at: Option<i64>,
}

/// `backup`.
#[derive(Debug, Args)]
pub(crate) struct Backup {
    /// The shop's folder
    #[arg(long, value_name = "FOLDER")]
    pub(crate) shop: Option<PathBuf>,
    /// Where the backup goes: a folder that is not there yet
    #[arg(value_name = "TO", conflicts_with_all = ["verify", "restore"])]
    pub(crate) to: Option<PathBuf>,
    /// Read all of a backup and say whether it is whole
    #[arg(long, value_name = "BACKUP", conflicts_with = "restore")]
    pub(crate) verify: Option<PathBuf>,
    /// Make a shop of a backup, in a folder that is not there yet
    #[arg(long, value_name = "BACKUP")]
    pub(crate) restore: Option<PathBuf>,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    pub(crate) json: bool,
}

/// `report`.
#[derive(Debug, Args)]
pub(crate) struct Report {
    /// The job's number
    #[arg(value_name = "JOB")]
    pub(crate) job: i64,
    /// The shop's folder
    #[arg(long, value_name = "FOLDER")]
    pub(crate) shop: Option<PathBuf>,
    /// The full record instead of the owner's version
    #[arg(long)]
    pub(crate) full: bool,
    /// The job's labels instead: bags, valves, fuse, bias
    #[arg(long, conflicts_with = "full")]
    pub(crate) labels: bool,
    /// The paper is Letter, not A4
    #[arg(long)]
    pub(crate) letter: bool,
    /// Write it as a page to print
    #[arg(long, value_name = "FILE.html")]
    pub(crate) html: Option<PathBuf>,
    /// Write it as a PDF, by `tubewright-pdf`
    #[arg(long, value_name = "FILE.pdf")]
    pub(crate) pdf: Option<PathBuf>,
    /// Print JSON (docs/json.md)
    #[arg(long, conflicts_with_all = ["html", "pdf"])]
    pub(crate) json: bool,
}

/// `export`.
#[derive(Debug, Args)]
pub(crate) struct Export {
    /// Where the archive goes: a file that is not there yet
    #[arg(value_name = "TO")]
    pub(crate) to: PathBuf,
    /// The number of the job; without it the whole shop
    #[arg(long, value_name = "NUMBER")]
    pub(crate) job: Option<i64>,
    /// The shop's folder
    #[arg(long, value_name = "FOLDER")]
    pub(crate) shop: Option<PathBuf>,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    pub(crate) json: bool,
}

/// `import`.
#[derive(Debug, Args)]
pub(crate) struct Import {
    /// The archive
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    /// The shop's folder; of an archive of a shop: a folder that is not there yet
    #[arg(long, value_name = "FOLDER")]
    pub(crate) shop: Option<PathBuf>,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    pub(crate) json: bool,
}

/// `chart`.
#[derive(Debug, Args)]
pub(crate) struct Chart {
    /// The amplifier.
    #[command(flatten)]
    pub(crate) wired: Wired,
    /// Add the currents of valves and resistors
    #[arg(long)]
    pub(crate) currents: bool,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    pub(crate) json: bool,
    /// Print CSV: one row a point
    #[arg(long, conflicts_with = "json")]
    pub(crate) csv: bool,
    /// How it goes on paper.
    #[command(flatten)]
    pub(crate) paper: crate::paper::Paper,
}

/// `check`.
#[derive(Debug, Args)]
pub(crate) struct Check {
    /// Wirings and readings; several are joined into one amp
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// Readings in a file of their own (also CSV)
    #[arg(long, value_name = "FILE")]
    pub(crate) readings: Vec<PathBuf>,
    /// Your own data sheets of valves, besides the built-in ones
    #[arg(long, value_name = "FILE")]
    pub(crate) valves_file: Option<PathBuf>,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    pub(crate) json: bool,
}

/// `format`.
#[derive(Debug, Args)]
pub(crate) struct Format {
    /// A wiring or a readings file
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    /// Put the tidy form in place of the file
    #[arg(long, conflicts_with = "check")]
    pub(crate) write: bool,
    /// Change nothing; status 1 if the file is not in its tidy form
    #[arg(long)]
    pub(crate) check: bool,
    /// Start from a drawing: print it with every walk marked ` ?`, not yet seen on the chassis
    #[arg(long, conflicts_with_all = ["write", "check"])]
    pub(crate) assumed: bool,
}

/// `draw`.
#[derive(Debug, Args)]
pub(crate) struct Draw {
    /// Wirings; several are joined into one amp
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// Where to put the picture: a name ending in `.svg` or `.png`; SVG on standard output otherwise
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: Option<PathBuf>,
    /// Resistors as zig-zags (IEEE 315) instead of rectangles (IEC 60617)
    #[arg(long)]
    pub(crate) ieee: bool,
    /// Where the parts sit instead of the schematic: boards by their lugs, sockets from below, wires as traced
    #[arg(long, conflicts_with = "ieee")]
    pub(crate) physical: bool,
    /// What is laid over the drawing: volts, verdicts, parts, suspects, stress; several with commas
    #[arg(long, value_name = "WHAT", value_delimiter = ',')]
    pub(crate) over: Vec<Over>,
    /// Readings in a file of their own (also CSV)
    #[arg(long, value_name = "FILE")]
    pub(crate) readings: Vec<PathBuf>,
    /// The readings block to lay over, by its name; otherwise the last one
    #[arg(long, value_name = "NAME")]
    pub(crate) block: Option<String>,
    /// Your own data sheets of valves, besides the built-in ones
    #[arg(long, value_name = "FILE")]
    pub(crate) valves_file: Option<PathBuf>,
    /// Print what was drawn as JSON (docs/json.md) instead of the picture
    #[arg(long)]
    pub(crate) json: bool,
}

/// What can be laid over a drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Over {
    /// Volts expected at every point, what was read beside them
    Volts,
    /// What was read, with its verdict
    Verdicts,
    /// Parts replaced, added, to be watched or replaced, not seen, of no known pattern
    Parts,
    /// Parts that may be at fault given the readings, each with its chance in per cent
    Suspects,
    /// Parts worked beyond their rating, or beyond what the trade allows of it, in per cent of it
    Stress,
}

/// `snippet`.
#[derive(Debug, Args)]
pub(crate) struct Snippet {
    /// Which one, such as `common-cathode`; all are listed otherwise
    #[arg(value_name = "NAME")]
    pub(crate) name: Option<String>,
    /// The wiring it will go into: its names are not used again
    #[arg(long, value_name = "FILE")]
    pub(crate) beside: Vec<PathBuf>,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    pub(crate) json: bool,
}

/// `handbook`.
#[derive(Debug, Args)]
pub(crate) struct Handbook {
    /// Which chapter, such as `first-hour`; all are listed otherwise
    #[arg(value_name = "CHAPTER")]
    pub(crate) chapter: Option<String>,
    /// Write a man page of every command into this folder
    #[arg(long, value_name = "FOLDER", conflicts_with = "chapter")]
    pub(crate) man: Option<PathBuf>,
}

/// `valves`.
#[derive(Debug, Args)]
pub(crate) struct Valves {
    /// A type, such as `12AX7` or `el84`; every type otherwise
    #[arg(value_name = "TYPE")]
    pub(crate) name: Option<String>,
    /// Your own data sheets of valves, besides the built-in ones
    #[arg(long, value_name = "FILE")]
    pub(crate) valves_file: Option<PathBuf>,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    pub(crate) json: bool,
    /// Print CSV: the list, or the published points of one type
    #[arg(long, conflicts_with = "json")]
    pub(crate) csv: bool,
}

/// `fit`.
#[derive(Debug, Args)]
pub(crate) struct Fit {
    /// Operating points: a spreadsheet (CSV), or a valve file (TOML)
    #[arg(value_name = "ROWS")]
    pub(crate) file: PathBuf,
    /// The type number; a valve file with one type needs none
    #[arg(long = "type", value_name = "TYPE")]
    pub(crate) name: Option<String>,
    /// A type with the same pins, base and heater, which are copied
    #[arg(long, value_name = "TYPE")]
    pub(crate) like: Option<String>,
    /// Your own data sheets of valves, besides the built-in ones
    #[arg(long, value_name = "FILE")]
    pub(crate) valves_file: Option<PathBuf>,
    /// Write the type there: a new file, or one that does not have it yet
    #[arg(short, long, value_name = "FILE")]
    pub(crate) output: Option<PathBuf>,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    pub(crate) json: bool,
}

/// `240`, `240V`, `240 V`.
pub(crate) fn mains_volts(text: &str) -> Result<f64, String> {
    let bare = text.trim();
    let bare = bare.strip_suffix(['V', 'v']).unwrap_or(bare).trim();
    match bare.parse::<f64>() {
        Ok(volts) if (0.0..=1000.0).contains(&volts) => Ok(volts),
        Ok(_) => Err("mains volts lie between 0 and 1000; type for example `--mains 233`".into()),
        Err(_) => Err("type the volts as a number, for example `--mains 233`".into()),
    }
}

/// `VOLUME=5`, `S1=open`.
fn setting(text: &str) -> Result<(String, Position), String> {
    let advice = "type the name, `=`, and a number, `open`, `closed`, `plugged` or `unplugged`, \
                  for example `--set VOLUME=5`";
    let (name, to) = text.split_once('=').ok_or(advice)?;
    let position = match to.trim() {
        "closed" => Position::Closed,
        "open" => Position::Open,
        "plugged" => Position::Plugged,
        "unplugged" => Position::Unplugged,
        number => match number.parse::<f64>() {
            Ok(x) if (0.0..=1000.0).contains(&x) => Position::Number(x),
            _ => return Err(advice.into()),
        },
    };
    if name.trim().is_empty() {
        return Err(advice.into());
    }
    Ok((name.trim().to_owned(), position))
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory as _;

    #[test]
    fn the_command_line_is_consistent() {
        Arguments::command().debug_assert();
    }

    #[test]
    fn mains_and_settings_are_read_as_typed_at_the_bench() {
        assert_eq!(mains_volts("233"), Ok(233.0));
        assert_eq!(mains_volts("120 V"), Ok(120.0));
        assert!(mains_volts("nan").is_err());
        assert!(mains_volts("1e9").is_err());
        assert_eq!(
            setting("VOLUME=7.5"),
            Ok(("VOLUME".to_owned(), Position::Number(7.5)))
        );
        assert_eq!(setting("S1=open"), Ok(("S1".to_owned(), Position::Open)));
        assert!(setting("VOLUME").is_err());
        assert!(setting("=5").is_err());
        assert!(setting("VOLUME=inf").is_err());
    }
}
