//! Commands: the only crate that prints, reads files and exits.
//!
//! Each command turns its arguments into one [`outcome::Outcome`], the whole text that it
//! prints and the status it ends with, or into an [`outcome::Failure`] with a remedy.
//! Nothing is computed here; commands translate between files and the crates below.

mod amp;
mod arguments;
mod bench_sheet;
mod caution;
mod commands;
mod csv_text;
mod handbook;
mod input;
mod kin_over;
mod library;
mod loose;
mod outcome;
mod paper;
mod pdf_maker;
mod picture;
mod plate_plot;
mod power_plot;
mod problems;
mod replace;
mod serve;
mod table;
mod voicing_plot;
mod wired_sheet;
mod words;

use clap::Parser as _;
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments = match arguments::Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => return outcome::refuse(&error),
    };
    let result = match &arguments.command {
        arguments::Command::Demo(given) => commands::demo::run(given),
        arguments::Command::Serve(given) => serve::run(given),
        arguments::Command::Backup(given) => commands::backup::run(given),
        arguments::Command::Export(given) => commands::export::run(given),
        arguments::Command::Import(given) => commands::import::run(given),
        arguments::Command::Check(given) => commands::check::run(given),
        arguments::Command::Format(given) => commands::format::run(given),
        arguments::Command::Chart(given) => commands::chart::run(given),
        arguments::Command::Kin(given) => commands::kin::run(given),
        arguments::Command::Suspects(given) => commands::suspects::run(given),
        arguments::Command::Bias(given) => commands::bias::run(given),
        arguments::Command::Voicing(given) => commands::voicing::run(given),
        arguments::Command::Parts(given) => commands::parts::run(given),
        arguments::Command::Stress(given) => commands::stress::run(given),
        arguments::Command::Power(given) => commands::power::run(given),
        arguments::Command::Tremolo(given) => commands::tremolo::run(given),
        arguments::Command::Heaters(given) => commands::heaters::run(given),
        arguments::Command::Discharge(given) => commands::discharge::run(given),
        arguments::Command::Fuse(given) => commands::fuse::run(given),
        arguments::Command::Lamp(given) => commands::lamp::run(given),
        arguments::Command::Bleeder(given) => commands::bleeder::run(given),
        arguments::Command::Leakage(given) => commands::leakage::run(given),
        arguments::Command::Speaker(given) => commands::speaker::run(given),
        arguments::Command::Draw(given) => commands::draw::run(given),
        arguments::Command::Inspect(given) => commands::inspect::run(given),
        arguments::Command::Cold(given) => commands::cold::run(given),
        arguments::Command::Powerup(given) => commands::powerup::run(given),
        arguments::Command::Supply(given) => commands::supply::run(given),
        arguments::Command::Safety(given) => commands::safety::run(given),
        arguments::Command::Proof(given) => commands::proof::run(given),
        arguments::Command::Report(given) => commands::report::run(given),
        arguments::Command::Signal(given) => commands::signal::run(given),
        arguments::Command::Hear(given) => commands::hear::run(given),
        arguments::Command::Listen(given) => commands::listen::run(given),
        arguments::Command::Snippet(given) => commands::snippet::run(given),
        arguments::Command::Valves(given) => commands::valves::run(given),
        arguments::Command::Handbook(given) => commands::handbook::run(given),
        arguments::Command::Fit(given) => commands::fit::run(given),
    };
    outcome::end(result)
}
