//! Heater windings, their reference to ground, lamps on them, and direct current for heaters.

use super::view::{Edge, Sort};
use super::{Block, BlockKind, Finder, Role};
use crate::circuit::{Electrode, GROUND, Kind, NodeId, PartId};
use std::collections::BTreeSet;

/// A winding whose taps are all below this is for heaters.
const MOST_HEATER_VOLTS: f64 = 20.0;

/// From here on a capacitor smooths direct current for heaters.
const FILTERS_HEATERS_FARADS: f64 = 400e-6;

/// Whether a low-voltage winding is on this node, directly or through a small resistor or a fuse.
pub(super) fn on_low_winding(found: &Finder<'_>, node: NodeId) -> bool {
    let low = low_winding_nodes(found);
    low.contains(&node)
        || found.view.at(node).any(|e| {
            (e.sort == Sort::Fuse || e.sort == Sort::Resistor && e.below(100.0))
                && low.contains(&e.other(node))
        })
}

/// Nodes of low-voltage windings, ground left out.
fn low_winding_nodes(found: &Finder<'_>) -> BTreeSet<NodeId> {
    let view = &found.view;
    let mut nodes = BTreeSet::new();
    for t in view.parts(|k| matches!(k, Kind::PowerTransformer(_))) {
        if let Kind::PowerTransformer(pt) = view.kind(t) {
            for (i, _) in pt
                .windings
                .iter()
                .filter(|w| w.taps.iter().all(|(_, v)| v.abs() < MOST_HEATER_VOLTS))
                .flat_map(|w| &w.taps)
            {
                nodes.extend(
                    view.circuit.parts[t.0]
                        .terminals
                        .get(*i)
                        .and_then(|x| x.node),
                );
            }
        }
    }
    nodes.remove(&GROUND);
    nodes
}

/// The middle taps of low-voltage windings.
fn middle_taps(found: &Finder<'_>) -> BTreeSet<NodeId> {
    let view = &found.view;
    let mut nodes = BTreeSet::new();
    for t in view.parts(|k| matches!(k, Kind::PowerTransformer(_))) {
        if let Kind::PowerTransformer(pt) = view.kind(t) {
            for w in pt.windings.iter().filter(|w| {
                w.taps.len() == 3 && w.taps.iter().all(|(_, v)| v.abs() < MOST_HEATER_VOLTS)
            }) {
                nodes.extend(
                    w.taps
                        .iter()
                        .filter(|(_, v)| *v == 0.0)
                        .filter_map(|(i, _)| {
                            view.circuit.parts[t.0]
                                .terminals
                                .get(*i)
                                .and_then(|x| x.node)
                        }),
                );
            }
        }
    }
    nodes
}

/// Heater pins of wired valves.
fn heater_pins(found: &Finder<'_>) -> BTreeSet<NodeId> {
    let view = &found.view;
    let mut nodes = BTreeSet::new();
    for (i, part) in view.circuit.parts.iter().enumerate() {
        if let Kind::Valve(valve) = &part.kind
            && view.is_wired(PartId(i))
        {
            nodes.extend(
                valve
                    .electrodes
                    .iter()
                    .filter(|u| {
                        matches!(
                            u.electrode,
                            Electrode::Heater1 | Electrode::Heater2 | Electrode::HeaterTap
                        )
                    })
                    .filter_map(|u| part.terminals.get(u.terminal).and_then(|t| t.node)),
            );
        }
    }
    nodes.remove(&GROUND);
    nodes
}

/// Windings, references, lamps, elevation, rectified heaters.
pub(super) fn find(found: &mut Finder<'_>) {
    let mut block = Block::of(BlockKind::HeaterSupply);
    let steady = direct_current(found, &mut block);
    let view = &found.view;
    let mut nodes = low_winding_nodes(found);
    for t in view.parts(|k| matches!(k, Kind::PowerTransformer(_))) {
        if view.circuit.parts[t.0]
            .terminals
            .iter()
            .any(|x| x.node.is_some_and(|n| nodes.contains(&n)))
        {
            block.parts.push((t, Role::MainsTransformer));
        }
    }
    nodes.extend(heater_pins(found));
    // A tap on an output stage's cathode raises the heaters; the parts there are that stage's.
    nodes.retain(|n| {
        !found.rails.contains(n)
            && !steady.contains(n)
            && !view.sections.iter().any(|s| s.cathode == Some(*n))
    });
    let mut lift = BTreeSet::new();
    let middles = middle_taps(found);
    for node in &nodes {
        let from_a_rail = |e: &Edge| {
            e.sort == Sort::Resistor
                && !e.below(1e3)
                && (found.rails.contains(&e.other(*node)) || view.named_rail(e.other(*node)))
        };
        let raised = view.at(*node).any(from_a_rail);
        let lifted = raised
            || view
                .at(*node)
                .any(|e| e.sort == Sort::Resistor && e.at_least(4.7e3));
        for e in view.at(*node) {
            let other = e.other(*node);
            if block.parts.iter().any(|(p, _)| *p == e.part) && e.sort != Sort::Lamp {
                continue;
            }
            match e.sort {
                Sort::Lamp => block.parts.push((e.part, Role::PilotLamp)),
                Sort::Resistor if e.below(20.0) || nodes.contains(&other) => {}
                // The halves of a divider that raises them.
                Sort::Resistor if raised && !e.below(1e3) || e.at_least(4.7e3) => {
                    block.parts.push((e.part, Role::HeaterElevation));
                }
                // A centre tap needs no resistor; what is there belongs to something else.
                Sort::Resistor if middles.contains(node) => {}
                Sort::Resistor => {
                    block.parts.push((e.part, Role::HeaterReference));
                    if other != GROUND {
                        lift.insert(other);
                    }
                }
                s if s.is_pot() => {
                    block.parts.push((e.part, Role::HumBalance));
                    if !nodes.contains(&other) && other != GROUND {
                        lift.insert(other);
                    }
                }
                Sort::Capacitor if other == GROUND && e.at_least(FILTERS_HEATERS_FARADS) => {
                    block.parts.push((e.part, Role::HeaterFilter));
                }
                Sort::Capacitor if other == GROUND && (lifted || !middles.contains(node)) => {
                    block.parts.push((e.part, Role::HeaterElevation));
                }
                _ => {}
            }
        }
    }
    for node in lift {
        if view.sections.iter().any(|s| s.cathode == Some(node)) {
            continue; // raised by an output stage's cathode: those parts have their own roles
        }
        let fed = view
            .at(node)
            .any(|e| e.sort == Sort::Resistor && e.at_least(1e3));
        for e in view.at(node) {
            let other = e.other(node);
            if nodes.contains(&other) {
                continue;
            }
            if e.sort == Sort::Resistor && e.at_least(1e3) || e.sort == Sort::Capacitor && fed {
                block.parts.push((e.part, Role::HeaterElevation));
            }
        }
        found.still.insert(node);
    }
    found.still.extend(nodes);
    found.still.extend(steady);
    block.inputs = low_winding_nodes(found).into_iter().collect();
    found.add(block);
}

/// From a rectifier on a low winding through small resistors to heater pins, held by large capacitors.
fn direct_current(found: &Finder<'_>, block: &mut Block) -> BTreeSet<NodeId> {
    let view = &found.view;
    let pins = heater_pins(found);
    let mut starts: Vec<(NodeId, Vec<PartId>)> = Vec::new();
    for bridge in view.parts(|k| matches!(k, Kind::Bridge)) {
        let on = ["ac1", "ac2"].iter().any(|n| {
            view.terminal(bridge, n)
                .is_some_and(|n| on_low_winding(found, n))
        });
        if on {
            for end in ["plus", "minus"] {
                if let Some(n) = view.terminal(bridge, end) {
                    starts.push((n, vec![bridge]));
                }
            }
        }
    }
    for e in view.edges.iter().filter(|e| e.sort == Sort::Diode) {
        for (from, to) in [(e.a, e.b), (e.b, e.a)] {
            if on_low_winding(found, from) && !on_low_winding(found, to) {
                starts.push((to, vec![e.part]));
            }
        }
    }
    let mut steady = BTreeSet::new();
    for (start, rectifiers) in starts {
        if start == GROUND {
            continue;
        }
        let small = |e: &Edge| {
            matches!(e.sort, Sort::Choke | Sort::Fuse)
                || e.sort == Sort::Resistor && e.below(100.0) && e.a != GROUND && e.b != GROUND
        };
        let region = view.through(start, &found.still, small);
        if !region.iter().any(|n| pins.contains(n)) {
            continue;
        }
        block
            .parts
            .extend(rectifiers.iter().map(|p| (*p, Role::Rectifier)));
        for n in &region {
            for e in view.at(*n) {
                match e.sort {
                    Sort::Capacitor if e.other(*n) == GROUND => {
                        block.parts.push((e.part, Role::HeaterFilter));
                    }
                    Sort::Resistor if region.contains(&e.other(*n)) => {
                        block.parts.push((e.part, Role::HeaterDropping));
                    }
                    Sort::Lamp => block.parts.push((e.part, Role::PilotLamp)),
                    _ => {}
                }
            }
        }
        steady.extend(region);
    }
    steady.remove(&GROUND);
    steady
}
