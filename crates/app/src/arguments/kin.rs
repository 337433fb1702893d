//! Arguments of `kin`.

use clap::Args;
use std::path::PathBuf;

/// `kin`.
#[derive(Debug, Args)]
pub(crate) struct Kin {
    /// The amp as found first, then each drawing of it
    #[arg(value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// List every part, also those that are the same
    #[arg(long)]
    pub(crate) all: bool,
    /// Draw the amp and each drawing with the differences over them, as SVG into this folder
    #[arg(long, value_name = "FOLDER")]
    pub(crate) pictures: Option<PathBuf>,
    /// Your own data sheets of valves, besides the built-in ones
    #[arg(long, value_name = "FILE")]
    pub(crate) valves_file: Option<PathBuf>,
    /// Print JSON (docs/json.md)
    #[arg(long)]
    pub(crate) json: bool,
}
