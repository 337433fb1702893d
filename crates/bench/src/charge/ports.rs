//! The dead amplifier as every capacitor sees it: ohms between all their ports.

use crate::chart::ohms::passive;
use solve::Assembly;
use solve::linearised::Linearised;
use solve::netlist::{Law, Netlist, NodeIndex};
use solve::operating;
use wiring::circuit::Kind;
use wiring::{Circuit, NodeId};

/// What carries nothing: far above everything a discharge may count on.
const NOTHING_OHMS: f64 = 1e15;

/// Resistances above this stand for opens and insulation, and are not counted on.
const INSULATION_OHMS: f64 = 1e9;

/// Capacitors of the netlist with the network between them.
pub(super) struct Ports {
    /// The capacitors' names.
    pub(super) parts: Vec<String>,
    /// Their farads.
    pub(super) farads: Vec<f64>,
    /// `ohms[i][j]`: volts across `i` for an ampere into `j`.
    pub(super) ohms: Vec<Vec<f64>>,
    /// `seen[n][j]`: volts of the `n`-th watched point over ground for an ampere into `j`.
    pub(super) seen: Vec<Vec<f64>>,
}

/// The ports of every capacitor that is wired and has farads, and how `watched` points see them.
///
/// # Errors
/// A sentence, when even the bare resistances cannot be solved.
pub(super) fn of(
    circuit: &Circuit,
    assembly: &Assembly,
    watched: &[NodeId],
) -> Result<Ports, String> {
    let dead = dead(circuit, assembly);
    let (mut parts, mut farads, mut ends) = (Vec::new(), Vec::new(), Vec::new());
    for part in &circuit.parts {
        if !matches!(part.kind, Kind::Capacitor { .. }) {
            continue;
        }
        let elements = assembly.elements_of.get(&part.name).into_iter().flatten();
        for element in elements.filter_map(|e| dead.elements.get(*e)) {
            if let Law::Capacitor {
                a, b, farads: c, ..
            } = element.law
            {
                parts.push(part.name.clone());
                farads.push(c);
                ends.push((a, b));
            }
        }
    }
    let solution = operating::solve(&dead, None);
    let linear = Linearised::new(&dead, &solution)
        .map_err(|e| format!("the resistances cannot be solved: {e}"))?;
    let mut ohms = vec![vec![0.0; ends.len()]; ends.len()];
    let mut seen = vec![vec![0.0; ends.len()]; watched.len()];
    let placed = |n: &NodeId| assembly.node_of.get(n.0).copied().flatten();
    let watched: Vec<Option<NodeIndex>> = watched.iter().map(placed).collect();
    for (j, (into, out_of)) in ends.iter().enumerate() {
        let mut fed = vec![0.0; dead.nodes.len()];
        feed(&mut fed, *into, 1.0);
        feed(&mut fed, *out_of, -1.0);
        let moved = linear.response(&fed);
        let at = |n: NodeIndex| moved.get(n).copied().unwrap_or(0.0);
        for (row, (a, b)) in ohms.iter_mut().zip(&ends) {
            row[j] = at(*a) - at(*b);
        }
        for (row, node) in seen.iter_mut().zip(&watched) {
            row[j] = node.map_or(0.0, at);
        }
    }
    Ok(Ports {
        parts,
        farads,
        ohms,
        seen,
    })
}

fn feed(fed: &mut [f64], node: NodeIndex, amps: f64) {
    if let Some(x) = fed.get_mut(node) {
        *x += amps;
    }
}

/// The resistances that were traced, and nothing that leaks, emits, conducts one way or comes
/// from outside.
fn dead(circuit: &Circuit, assembly: &Assembly) -> Netlist {
    let mut dead = passive(&assembly.netlist);
    let mut nothing: Vec<usize> = assembly.stand_ins.clone();
    for (index, element) in assembly.netlist.elements.iter().enumerate() {
        let away = match &element.law {
            Law::Resistor { ohms, .. } => *ohms >= INSULATION_OHMS,
            Law::Diode { .. }
            | Law::Triode { .. }
            | Law::Pentode { .. }
            | Law::Neon { .. }
            | Law::Source { .. }
            | Law::Alternating { .. } => true,
            _ => false,
        };
        if away {
            nothing.push(index);
        }
    }
    for part in &circuit.parts {
        if matches!(part.kind, Kind::Capacitor { .. }) {
            let leak = format!("{} leak", part.name);
            let elements = assembly.elements_of.get(&part.name).into_iter().flatten();
            nothing.extend(elements.copied().filter(|e| {
                let element = assembly.netlist.elements.get(*e);
                element.is_some_and(|e| e.name == leak)
            }));
        }
    }
    for index in nothing {
        let Some(element) = dead.elements.get_mut(index) else {
            continue;
        };
        if let [a, b, ..] = element.law.terminals().as_slice() {
            element.law = Law::Resistor {
                a: *a,
                b: *b,
                ohms: NOTHING_OHMS,
            };
        }
    }
    dead
}
