//! Arguments of `suspects`.

use clap::Args;
use std::path::PathBuf;

/// `suspects`.
#[derive(Debug, Args)]
pub(crate) struct Suspects {
    /// Wirings and readings; several are joined into one amp
    #[arg(value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// Readings in a file of their own (also CSV)
    #[arg(long, value_name = "FILE")]
    pub(crate) readings: Vec<PathBuf>,
    /// What was heard: `hum that follows the volume`; may stand several times
    #[arg(long, value_name = "WORDS")]
    pub(crate) heard: Vec<String>,
    /// What was seen: `V2 glows red`; may stand several times
    #[arg(long, value_name = "WORDS")]
    pub(crate) seen: Vec<String>,
    /// Your own fault dictionary with your own priors, instead of the built-in one
    #[arg(long, value_name = "FILE")]
    pub(crate) faults: Option<PathBuf>,
    /// Look for two faults at once, too; takes a few seconds
    #[arg(long)]
    pub(crate) pairs: bool,
    /// Order the readings to take by what each tells together with the best one after it
    #[arg(long)]
    pub(crate) two_ahead: bool,
    /// List every suspect, also the unlikely ones
    #[arg(long)]
    pub(crate) all: bool,
    /// Your own data sheets of valves, besides the built-in ones
    #[arg(long, value_name = "FILE")]
    pub(crate) valves_file: Option<PathBuf>,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    pub(crate) json: bool,
}
