//! Kind of bias, class, and the window that both ask for.

use super::{BiasKind, Stage, Work, section_amps};
use crate::rules::rules;
use serde::Serialize;
use wiring::circuit::Kind;
use wiring::roles::{Block, Role, Section};

/// Where plate dissipation at idle should lie, percent of the plate limit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Window {
    /// Below this the stage is colder than it need be.
    pub low: f64,
    /// Never above; at most 100.
    pub high: f64,
    /// Where to start.
    pub aim: f64,
    /// The rule it is from.
    pub rule: &'static str,
}

/// The window by kind of bias; a single-ended stage with fixed bias has nothing to hold it, so it gets
/// the lower one.
pub(super) fn window(push_pull: bool, bias: BiasKind) -> Window {
    let range = |id: &'static str, name: &str, safe: (f64, f64)| {
        let (low, high) = rules().range(id, name).unwrap_or(safe);
        (low.min(safe.1), high.min(safe.1))
    };
    match bias {
        BiasKind::Fixed => {
            let id = "bias.target.fixed_ab";
            let (low, high) = range(id, "range", (50.0, 70.0));
            let never = rules().figure(id, "never above").unwrap_or(70.0).min(70.0);
            let start = rules().figure(id, "start").unwrap_or(60.0);
            Window {
                low,
                high: high.min(never),
                aim: start.min(never),
                rule: id,
            }
        }
        BiasKind::Cathode => {
            let id = "bias.target.cathode";
            let name = if push_pull {
                "push-pull"
            } else {
                "single-ended"
            };
            let (low, high) = range(id, name, (80.0, 100.0));
            Window {
                low,
                high,
                aim: f64::midpoint(low, high),
                rule: id,
            }
        }
    }
}

/// Which end of the primary a section's plate is on: 1 or 2.
pub(super) fn side(work: &Work<'_>, block: &Block, section: &Section) -> u8 {
    let end = work
        .with_role(block, Role::OutputTransformer)
        .next()
        .and_then(|i| work.circuit.parts.get(i))
        .and_then(|p| p.terminals.iter().find(|t| t.name == "p2")?.node);
    let near = |a, b| {
        a == b
            || work.circuit.parts.iter().any(|p| {
                matches!(p.kind, Kind::Resistor { ohms: Some(r) } if r < 1000.0)
                    && crate::powered::ends(p).is_some_and(|e| e == (a, b) || e == (b, a))
            })
    };
    match (end, section.plate) {
        (Some(end), Some(plate)) if near(end, plate) && block_is_push_pull(block) => 2,
        _ => 1,
    }
}

fn block_is_push_pull(block: &Block) -> bool {
    block.kind == wiring::roles::BlockKind::PushPull
}

/// By the volts where they are known: the larger share of grid over cathode decides. Else by
/// the wiring: a cathode resistor of 30 ohm and more is no meter shunt.
pub(super) fn bias_kind(work: &Work<'_>, block: &Block) -> Option<BiasKind> {
    for section in &block.sections {
        if let Some(a) = section_amps(work, work.states.now.as_ref(), section) {
            let bias = a.cathode_volts - a.grid_volts;
            if bias > 0.5 {
                return Some(if a.cathode_volts > 0.5 * bias {
                    BiasKind::Cathode
                } else {
                    BiasKind::Fixed
                });
            }
        }
    }
    let under = work
        .with_role(block, Role::CathodeResistor)
        .filter_map(|i| work.circuit.parts.get(i))
        .filter_map(|p| match p.kind {
            Kind::Resistor { ohms } => crate::powered::value(p, ohms),
            _ => None,
        })
        .reduce(f64::max);
    match under {
        Some(ohms) if ohms >= 30.0 => Some(BiasKind::Cathode),
        _ if !work.anatomy.bias_rails.is_empty() => Some(BiasKind::Fixed),
        _ => None,
    }
}

/// A knee of this part of the supply is left under the plate (common practice, no source).
const KNEE: f64 = 0.15;

/// Class letters (IEEE): one valve on a single primary works in A. A pair works in A up to full
/// drive when each side idles at twice the supply volts less the knee over the plate-to-plate
/// load, in AB below that; in B when it idles at less than a twentieth of it (F. Langford-Smith,
/// Radiotron Designer's Handbook, from memory, not seen).
pub(super) fn class(work: &Work<'_>, block: &Block, stage: &Stage) -> Option<&'static str> {
    if !stage.push_pull {
        return Some("A");
    }
    let load = work
        .with_role(block, Role::OutputTransformer)
        .find_map(|i| match &work.circuit.parts.get(i)?.kind {
            Kind::OutputTransformer(t) => t.primary_impedance.filter(|z| *z > 0.0),
            _ => None,
        })?;
    let mut idle = 0.0;
    let mut volts = 0.0_f64;
    for section in &block.sections {
        let a = section_amps(work, work.states.now.as_ref(), section)?;
        idle += a.plate;
        volts = volts.max(a.plate_volts - a.cathode_volts);
    }
    let idle = idle / 2.0;
    let full = 2.0 * volts * (1.0 - KNEE) / load;
    Some(if idle >= full {
        "A"
    } else if idle >= full / 20.0 {
        "AB"
    } else {
        "B"
    })
}
