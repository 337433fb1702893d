//! Who draws from a rail: the currents of every part on it, which sum to nothing.

use super::Work;
use crate::powered::{Powered, ends, node_name};
use serde::Serialize;
use solve::netlist::Law;
use std::collections::BTreeMap;
use wiring::circuit::{Circuit, Electrode, Kind};
use wiring::roles::Role;
use wiring::{GROUND, NodeId};

/// A current out of a rail below this is not listed, milliamperes.
const LEAST_MA: f64 = 1e-3;

/// What one part takes from a rail.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Draw {
    /// The part.
    pub part: String,
    /// What it does.
    pub role: Option<Role>,
    /// Where its current goes, in words: electrodes with pins, the next rail, ground.
    pub feeds: String,
    /// Milliamperes out of the rail; negative where the part feeds it.
    pub ma: f64,
    /// The same from what a meter read at both ends, where it did.
    pub read_ma: Option<f64>,
}

/// All draws of a rail, and the sum of all its currents, milliamperes.
pub(super) fn drawn(
    work: &Work<'_>,
    powered: &Powered,
    rail: NodeId,
    rails: &[NodeId],
) -> (Vec<Draw>, f64) {
    let Some(node) = powered.node(rail) else {
        return (Vec::new(), 0.0);
    };
    let mut owner: BTreeMap<usize, &str> = BTreeMap::new();
    for (name, elements) in &powered.solved.assembly.elements_of {
        for e in elements {
            owner.insert(*e, name);
        }
    }
    let mut by_part: BTreeMap<&str, f64> = BTreeMap::new();
    let mut sum = 0.0;
    let netlist = &powered.solved.point.netlist;
    for (index, element) in netlist.elements.iter().enumerate() {
        let terminals = element.law.terminals();
        if !terminals.contains(&node) {
            continue;
        }
        let amps = powered.amps(index);
        for (at, (terminal, amps)) in terminals.iter().zip(&amps).enumerate() {
            if *terminal != node || !amps.is_finite() {
                continue;
            }
            sum += amps;
            // A group's terminals are plate and cathode of each of its diodes in turn.
            let element = match &element.law {
                Law::Rectifiers(group) => group
                    .plates
                    .get(at / 2)
                    .map_or(index, |plate| plate.element),
                _ => index,
            };
            if let Some(name) = owner.get(&element) {
                *by_part.entry(name).or_insert(0.0) += amps;
            }
        }
    }
    by_filament(work.circuit, rail, &mut by_part);
    let mut all = Vec::new();
    for (index, part) in work.circuit.parts.iter().enumerate() {
        let Some(amps) = by_part.get(part.name.as_str()) else {
            continue;
        };
        let ma = amps * 1e3;
        if ma.abs() < LEAST_MA {
            continue;
        }
        all.push(Draw {
            part: part.name.clone(),
            role: work
                .role(index)
                .filter(|_| work.stand_in != Some(part.name.as_str())),
            feeds: feeds(work, index, rail, rails),
            ma,
            read_ma: read_ma(work, index, rail),
        });
    }
    all.sort_by(|a, b| b.ma.total_cmp(&a.ma));
    (all, sum * 1e3)
}

/// A directly heated rectifier gives part of its current through its heater winding: all of it is the valve's.
fn by_filament<'a>(circuit: &'a Circuit, rail: NodeId, by_part: &mut BTreeMap<&'a str, f64>) {
    let filament = |part: &&wiring::circuit::Part| {
        let Kind::Valve(valve) = &part.kind else {
            return false;
        };
        let mut here = valve.electrodes.iter().filter(|pin| {
            let at = part.terminals.get(pin.terminal).and_then(|t| t.node);
            at == Some(rail)
        });
        here.any(|pin| {
            matches!(
                pin.electrode,
                Electrode::Heater1 | Electrode::Heater2 | Electrode::Cathode
            )
        }) && !valve
            .electrodes
            .iter()
            .any(|pin| pin.electrode == Electrode::Grid)
    };
    let Some(valve) = circuit.parts.iter().find(filament) else {
        return;
    };
    for part in &circuit.parts {
        if matches!(part.kind, Kind::PowerTransformer(_))
            && let Some(amps) = by_part.get(part.name.as_str()).copied()
            && amps < 0.0
        {
            by_part.remove(part.name.as_str());
            *by_part.entry(valve.name.as_str()).or_insert(0.0) += amps;
        }
    }
}

/// The current out of the rail by Ohm's law from readings at both ends of a resistor or choke.
fn read_ma(work: &Work<'_>, index: usize, rail: NodeId) -> Option<f64> {
    let part = work.circuit.parts.get(index)?;
    let ohms = match part.kind {
        Kind::Resistor { ohms } => crate::powered::value(part, ohms)?,
        _ => return None,
    };
    if ohms <= 0.0 {
        return None;
    }
    let (a, _) = ends(part)?;
    let volts = work.read.part(work.circuit, index)?;
    Some(if a == rail { volts } else { -volts } / ohms * 1e3)
}

/// Where a part's current goes, seen from the rail.
fn feeds(work: &Work<'_>, index: usize, rail: NodeId, rails: &[NodeId]) -> String {
    let Some(part) = work.circuit.parts.get(index) else {
        return String::new();
    };
    let mut words: Vec<String> = Vec::new();
    if let Kind::Valve(_) = part.kind {
        return electrodes(work.circuit, rail)
            .into_iter()
            .filter(|w| w.starts_with(&format!("{}.", part.name)))
            .collect::<Vec<_>>()
            .join(", ");
    }
    for terminal in &part.terminals {
        let Some(node) = terminal.node.filter(|n| *n != rail) else {
            continue;
        };
        let secondary = terminal.name.starts_with('s')
            && matches!(
                part.kind,
                Kind::OutputTransformer(_) | Kind::CouplingTransformer(_)
            );
        if secondary {
            continue;
        }
        if node == GROUND {
            words.push("ground".to_owned());
        } else if rails.contains(&node) {
            words.push(node_name(work.circuit, node));
        } else {
            let here = electrodes(work.circuit, node);
            if here.is_empty() {
                words.push(node_name(work.circuit, node));
            }
            words.extend(here);
        }
    }
    words.dedup();
    words.join(", ")
}

/// Valve electrodes on a node: `V1.1 (plate a)`.
fn electrodes(circuit: &Circuit, node: NodeId) -> Vec<String> {
    let Some(n) = circuit.nodes.get(node.0) else {
        return Vec::new();
    };
    let mut all = Vec::new();
    for (id, terminal) in &n.terminals {
        let Some(part) = circuit.parts.get(id.0) else {
            continue;
        };
        let Kind::Valve(valve) = &part.kind else {
            continue;
        };
        for pin in valve.electrodes.iter().filter(|p| p.terminal == *terminal) {
            if matches!(
                pin.electrode,
                Electrode::Heater1 | Electrode::Heater2 | Electrode::HeaterTap | Electrode::Shield
            ) {
                continue;
            }
            let name = part
                .terminals
                .get(*terminal)
                .map_or("", |t| t.name.as_str());
            let section = pin.section.map_or_else(String::new, |s| format!(" {s}"));
            all.push(format!(
                "{}.{name} ({}{section})",
                part.name,
                pin.electrode.word()
            ));
        }
    }
    all
}
