//! Hints of a bad reading, before a part is blamed.
//!
//! A reading that does not fit its point may fit it after one slip of the hand: the range
//! (a factor near 10, 100 or 1000), the leads (the sign), the pin (the next one, or the
//! mirrored one when pins were counted from the wrong side of the socket), the meter left on
//! AC, or the amplifier already off. A hint is given only when the slip explains the reading
//! well and the reading as it stands does not. A hint is a question, never a correction.

use crate::chart::entry::Entry;
use crate::chart::verdict::Word;
use serde::Serialize;
use wiring::circuit::{Circuit, Kind, NodeId, PartId};
use wiring::readings::{Probe, Unit};

/// Which slip would explain a reading.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "slip", rename_all = "snake_case")]
pub enum Slip {
    /// The true value is the reading times this.
    Range {
        /// 10, 100, 1000 or their inverses.
        factor: f64,
    },
    /// Leads exchanged, or a sign left out.
    Sign,
    /// The probe was on this other pin of the same socket.
    Pin {
        /// Where it probably was.
        instead: String,
        /// The pins mirror each other from below.
        mirrored: bool,
    },
    /// The meter stood on AC.
    AcPosition,
    /// Everything reads near nothing.
    AmpOff,
}

/// A question about one reading (or, for an amplifier that was off, about all).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hint {
    /// The point as typed; empty for all.
    pub point: String,
    /// What may have happened.
    #[serde(flatten)]
    pub slip: Slip,
    /// The question, in words.
    pub text: String,
}

/// Every hint, in the order of the entries; an amplifier that was off comes alone.
#[must_use]
pub fn hints(circuit: &Circuit, entries: &[Entry]) -> Vec<Hint> {
    if let Some(off) = amp_off(entries) {
        return vec![off];
    }
    entries
        .iter()
        .filter_map(|entry| hint(circuit, entries, entry))
        .collect()
}

/// A point behind more than this reads what leaks into it: every grid leak and plate load is below (our own choice).
const LOOSE_OHMS: f64 = 20e6;

/// The best hint for one reading: sign, then range, then pin, then the AC position.
#[must_use]
pub fn hint(circuit: &Circuit, entries: &[Entry], entry: &Entry) -> Option<Hint> {
    if entry.unit != Unit::VoltsDc || entry.verdict()? != Word::Outside {
        return None;
    }
    let value = entry.number()?;
    let sigma = entry.read?.sigma;
    let band = entry.band?;
    let fits = |value: f64, sigma: f64| band.judge(value, sigma) == Word::Inside;
    let named = |slip: Slip, text: String| {
        Some(Hint {
            point: entry.point.clone(),
            slip,
            text,
        })
    };
    // exchanged leads show only where the sign is beyond doubt
    if value != 0.0 && fits(-value, sigma) && band.low() * band.high() > 0.0 {
        return named(
            Slip::Sign,
            format!(
                "{} would fit with the other sign ({}). Were the leads exchanged?",
                entry.point, -value
            ),
        );
    }
    // behind so much resistance a trace of leakage makes any figure, as at a plate whose load is open
    let firm = entry.source_ohms.is_none_or(|ohms| ohms < LOOSE_OHMS);
    for factor in [10.0, 0.1, 100.0, 0.01, 1000.0, 0.001] {
        // a slipped range cannot hide in a band that is wide enough for anything
        let narrow = band.high() - band.low() < 0.8 * band.centre.abs();
        if value != 0.0 && firm && narrow && fits(value * factor, sigma * factor) {
            return named(
                Slip::Range { factor },
                format!(
                    "{} would fit as {} instead of {value}. Was the range or the decimal point mistaken?",
                    entry.point,
                    tidy(value * factor)
                ),
            );
        }
    }
    if let Some((instead, mirrored)) = other_pin(circuit, entries, entry, value, sigma) {
        let how = if mirrored {
            "which mirrors it when pins are counted from the wrong side"
        } else {
            "which is next to it"
        };
        let text = format!(
            "{} reads what {instead} should ({how}). Was the probe on the right pin?",
            entry.point
        );
        return named(Slip::Pin { instead, mirrored }, text);
    }
    // On the AC range a meter with a blocking capacitor shows nothing of steady volts, one
    // without shows about 1.1 or 2.2 times (average-reading scale, full or half wave; common
    // practice, no source).
    let volts = band.centre.abs();
    let blocked = volts > 20.0 && value.abs() < 0.02 * volts;
    let doubled = volts > 20.0 && (value.abs() / volts - 2.22).abs() < 0.11;
    if blocked || doubled {
        return named(
            Slip::AcPosition,
            format!(
                "{} reads {value} where about {} V is expected. Did the meter stand on AC, or had the probe no contact?",
                entry.point,
                tidy(band.centre)
            ),
        );
    }
    None
}

/// Every point that should carry more than 20 V reads under 5 % of it.
fn amp_off(entries: &[Entry]) -> Option<Hint> {
    let high: Vec<(f64, f64)> = entries
        .iter()
        .filter(|e| e.volts_at().is_some())
        .filter_map(|e| Some((e.number()?, e.band?.centre)))
        .filter(|(_, expected)| expected.abs() > 20.0)
        .collect();
    (high.len() >= 2 && high.iter().all(|(read, expected)| read.abs() < 0.05 * expected.abs())).then(|| Hint {
        point: String::new(),
        slip: Slip::AmpOff,
        text: "Every point that should carry volts reads almost none. Was the amplifier off, in standby, or its fuse blown, when these were read?".to_owned(),
    })
}

/// A neighbouring or mirrored pin whose expected volts the reading fits.
fn other_pin(
    circuit: &Circuit,
    entries: &[Entry],
    entry: &Entry,
    value: f64,
    sigma: f64,
) -> Option<(String, bool)> {
    let (id, pin) = socket_pin(circuit, entry)?;
    let part = circuit.parts.get(id.0)?;
    let pins: u32 = part
        .terminals
        .iter()
        .filter_map(|t| t.name.parse::<u32>().ok())
        .max()?;
    // counted from the gap or the key: clockwise from below, so the wrong side mirrors it
    let mirror = pins + 1 - pin.min(pins);
    let next = if pin == pins { 1 } else { pin + 1 };
    let before = if pin == 1 { pins } else { pin - 1 };
    let own = entry.volts_at()?;
    for (other, mirrored) in [(mirror, true), (next, false), (before, false)] {
        if other == pin {
            continue;
        }
        let name = other.to_string();
        let Some(node) = part
            .terminals
            .iter()
            .find(|t| t.name == name)
            .and_then(|t| t.node)
        else {
            continue;
        };
        if node == own || node == wiring::GROUND {
            continue;
        }
        let fits = entries
            .iter()
            .filter(|e| e.volts_at() == Some(node))
            .filter_map(|e| e.band)
            .any(|band| band.judge(value, sigma) == Word::Inside && band.centre.abs() > 0.5);
        if fits {
            return Some((format!("{}.{other}", part.name), mirrored));
        }
    }
    None
}

/// The socket and pin number of a reading at a valve: as typed, else the node's first pin.
fn socket_pin(circuit: &Circuit, entry: &Entry) -> Option<(PartId, u32)> {
    if let Some((id, terminal)) = circuit.terminal(&entry.point) {
        let part = circuit.parts.get(id.0)?;
        return match part.kind {
            Kind::Valve(_) => Some((id, part.terminals.get(terminal)?.name.parse().ok()?)),
            _ => None,
        };
    }
    let node: NodeId = match entry.probe {
        Probe::At(node) => node,
        _ => return None,
    };
    circuit
        .nodes
        .get(node.0)?
        .terminals
        .iter()
        .find_map(|(id, terminal)| {
            let part = circuit.parts.get(id.0)?;
            match part.kind {
                Kind::Valve(_) => Some((*id, part.terminals.get(*terminal)?.name.parse().ok()?)),
                _ => None,
            }
        })
}

/// Four significant digits, without trailing noise.
fn tidy(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let places = (3.0 - value.abs().log10().floor()).clamp(0.0, 6.0) as usize;
    let text = format!("{value:.places$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests;
