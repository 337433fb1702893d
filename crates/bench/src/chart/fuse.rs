//! Would a fuse blow?
//!
//! A circuit that takes more than its fuse stands has no lasting volts, so none are given.
//! The multiples are those of cartridge fuse-links: at 2.1 times the marked current they open
//! within 2 minutes (time-lag) or 30 minutes (quick); at 1.5 times they hold an hour
//! (IEC 60127-2, from memory, not seen). Other makes open earlier (UL 248-14: 1.35 times within
//! an hour, from memory, not seen), so above the marked current there is a note.

use super::model::Model;
use super::state::Trouble;
use wiring::circuit::{Circuit, Kind};

/// Multiple of the marked current that opens every fuse-link.
const OPENS: f64 = 2.1;

/// Each fuse with its rating and the rms current through it.
fn loads<'a>(circuit: &'a Circuit, model: &'a Model) -> impl Iterator<Item = (&'a str, f64, f64)> {
    circuit.parts.iter().filter_map(|part| {
        let Kind::Fuse {
            amps: Some(rated), ..
        } = part.kind
        else {
            return None;
        };
        if rated <= 0.0 {
            return None;
        }
        let elements = model.assembly().elements_of.get(&part.name)?;
        let rms = elements
            .iter()
            .map(|e| model.nominal().amps_rms(*e))
            .fold(0.0, f64::max);
        Some((part.name.as_str(), rated, rms))
    })
}

/// The fuse that would blow, as the reason why there are no volts.
pub(super) fn blown(circuit: &Circuit, model: &Model) -> Option<Trouble> {
    loads(circuit, model)
        .filter(|(_, rated, rms)| *rms > OPENS * rated)
        .max_by(|a, b| (a.2 / a.1).total_cmp(&(b.2 / b.1)))
        .map(|(name, rated, rms)| {
            Trouble::new(format!(
                "{name} would blow: {rms:.2} A rms go through it, {:.1} times the {rated} A it is marked with, so no volts would last",
                rms / rated
            ))
        })
}

/// Notes on fuses that carry more than they are marked with.
pub(super) fn overrun(circuit: &Circuit, model: &Model) -> Vec<String> {
    loads(circuit, model)
        .filter(|(_, rated, rms)| rms > rated)
        .map(|(name, rated, rms)| {
            format!(
                "{name} carries {rms:.2} A rms, {:.1} times the {rated} A it is marked with: it may hold for an hour, or not",
                rms / rated
            )
        })
        .collect()
}
