//! Mains side, rectifier and filter chain, bias supply, heaters.

use super::rails::{held, near_winding};
use super::view::Sort;
use super::{Block, BlockKind, Finder, Role};
use crate::circuit::{Electrode, GROUND, Kind, NodeId, PartId};
use std::collections::BTreeSet;

fn empty(kind: BlockKind) -> Block {
    Block {
        kind,
        sections: Vec::new(),
        parts: Vec::new(),
        inputs: Vec::new(),
        outputs: Vec::new(),
        supply: None,
    }
}

/// Cord, fuse, switch, primary, line capacitor.
pub(super) fn mains(found: &mut Finder<'_>) {
    let view = &found.view;
    let mut block = empty(BlockKind::Mains);
    let mut region: BTreeSet<NodeId> = ["live", "neutral"]
        .iter()
        .filter_map(|n| {
            view.circuit
                .nodes
                .iter()
                .position(|x| x.names.iter().any(|y| y == n))
        })
        .map(NodeId)
        .collect();
    for t in view.parts(|k| matches!(k, Kind::PowerTransformer(_))) {
        block.parts.push((t, Role::MainsTransformer));
        if let Kind::PowerTransformer(pt) = view.kind(t) {
            for (i, _) in &pt.primary {
                region.extend(
                    view.circuit.parts[t.0]
                        .terminals
                        .get(*i)
                        .and_then(|x| x.node),
                );
            }
        }
    }
    region.remove(&GROUND);
    // Grow through switches and fuses only.
    let mut todo: Vec<NodeId> = region.iter().copied().collect();
    while let Some(n) = todo.pop() {
        for e in view.at(n) {
            let other = e.other(n);
            match e.sort {
                Sort::Fuse => block.parts.push((e.part, Role::MainsFuse)),
                Sort::Switch => block.parts.push((e.part, Role::MainsSwitch)),
                Sort::Capacitor if other == GROUND => {
                    block.parts.push((e.part, Role::LineCapacitor))
                }
                Sort::Capacitor => block.parts.push((e.part, Role::MainsCapacitor)),
                Sort::Lamp => block.parts.push((e.part, Role::PilotLamp)),
                // A dropper for a neon lamp, or a discharge resistor across the mains.
                Sort::Resistor => block.parts.push((e.part, Role::SeriesResistor)),
                _ => continue,
            }
            if matches!(e.sort, Sort::Fuse | Sort::Switch | Sort::Resistor)
                && other != GROUND
                && region.insert(other)
            {
                todo.push(other);
            }
        }
    }
    found.add(block);
}

/// Rectifier, reservoir, droppers, chokes, filters, bleeders.
pub(super) fn high_tension(found: &mut Finder<'_>) {
    if found.rails.is_empty() {
        return;
    }
    let mut block = empty(BlockKind::HtSupply);
    let rails: BTreeSet<NodeId> = found.rails.iter().copied().collect();
    let view = &found.view;
    for (valve, _, cathode) in &view.rectifier_plates {
        if view.is_wired(*valve) && cathode.is_none_or(|c| rails.contains(&c)) {
            block.parts.push((*valve, Role::Rectifier));
        }
    }
    for bridge in view.parts(|k| matches!(k, Kind::Bridge)) {
        if view
            .terminal(bridge, "plus")
            .is_some_and(|p| rails.contains(&p))
        {
            block.parts.push((bridge, Role::Rectifier));
        }
    }
    let mut winding_side: BTreeSet<NodeId> = BTreeSet::new();
    for (_, plate, _) in &view.rectifier_plates {
        winding_side.extend(*plate);
    }
    for bridge in view.parts(|k| matches!(k, Kind::Bridge)) {
        winding_side.extend(view.terminal(bridge, "ac1"));
        winding_side.extend(view.terminal(bridge, "ac2"));
    }
    for e in view.edges.iter().filter(|e| e.sort == Sort::Diode) {
        if rails.contains(&e.b) && e.a != GROUND && !rails.contains(&e.a) {
            block.parts.push((e.part, Role::Rectifier));
            winding_side.insert(e.a);
            // Second diodes of a bridge or a doubler made of single ones.
            for f in view
                .at(e.a)
                .filter(|f| f.sort == Sort::Diode && f.part != e.part)
            {
                block.parts.push((f.part, Role::Rectifier));
            }
        }
        // Ground to rail the wrong way round for a rectifier, between two windings' ends: bridge leg.
        if e.a == GROUND && near_winding(found, e.b) {
            block.parts.push((e.part, Role::Rectifier));
        }
    }
    // Resistors and capacitors between winding and plate.
    for node in &winding_side {
        for e in view.at(*node) {
            match e.sort {
                Sort::Resistor if e.other(*node) != GROUND => {
                    block.parts.push((e.part, Role::RectifierSeries))
                }
                Sort::Switch => block.parts.push((e.part, Role::StandbySwitch)),
                Sort::Fuse => block.parts.push((e.part, Role::HtFuse)),
                Sort::Capacitor => block.parts.push((e.part, Role::ShuntCapacitor)),
                _ => {}
            }
        }
    }
    // Centre tap lifted by a switch, fuse or resistor.
    for t in view.parts(|k| matches!(k, Kind::PowerTransformer(_))) {
        if let Kind::PowerTransformer(pt) = view.kind(t) {
            for w in pt
                .windings
                .iter()
                .filter(|w| w.taps.iter().any(|(_, v)| v.abs() > 100.0))
            {
                for (i, v) in &w.taps {
                    let Some(node) = view.circuit.parts[t.0]
                        .terminals
                        .get(*i)
                        .and_then(|x| x.node)
                    else {
                        continue;
                    };
                    if node == GROUND || v.abs() > 0.0 && !winding_side.contains(&node) {
                        continue;
                    }
                    for e in view.at(node) {
                        match e.sort {
                            Sort::Switch => block.parts.push((e.part, Role::StandbySwitch)),
                            Sort::Fuse => block.parts.push((e.part, Role::HtFuse)),
                            Sort::Resistor if *v == 0.0 => {
                                block.parts.push((e.part, Role::RectifierSeries))
                            }
                            _ => {}
                        }
                    }
                }
            }
        }
    }
    let first = found.rails.first().copied();
    let mut series: BTreeSet<NodeId> = BTreeSet::new();
    for e in &view.edges {
        let (a, b) = (rails.contains(&e.a), rails.contains(&e.b));
        if a && b {
            let role = match e.sort {
                Sort::Resistor => Role::Dropping,
                Sort::Choke => Role::FilterChoke,
                Sort::Fuse => Role::HtFuse,
                Sort::Switch => Role::StandbySwitch,
                Sort::Capacitor => Role::Filter,
                Sort::Diode => Role::Rectifier,
                _ => continue,
            };
            block.parts.push((e.part, role));
        } else if a || b {
            let (rail, other) = if a { (e.a, e.b) } else { (e.b, e.a) };
            match e.sort {
                Sort::Capacitor if other == GROUND => {
                    let role = if Some(rail) == first {
                        Role::Reservoir
                    } else {
                        Role::Filter
                    };
                    block.parts.push((e.part, role));
                }
                Sort::Capacitor if e.at_least(0.9e-6) => {
                    let role = if Some(rail) == first {
                        Role::Reservoir
                    } else {
                        Role::Filter
                    };
                    block.parts.push((e.part, role));
                    series.insert(other);
                }
                Sort::Resistor if other == GROUND => block.parts.push((e.part, Role::Bleeder)),
                _ => {}
            }
        }
    }
    // Capacitors in series: the lower one and the resistors that share the volts.
    for mid in series {
        for e in view.at(mid) {
            match e.sort {
                Sort::Capacitor if e.other(mid) == GROUND => {
                    block.parts.push((e.part, Role::Filter))
                }
                Sort::Resistor if e.other(mid) == GROUND || rails.contains(&e.other(mid)) => {
                    block.parts.push((e.part, Role::Balance));
                }
                _ => {}
            }
        }
    }
    block.outputs.clone_from(&found.rails);
    found.add(block);
}

/// A rectifier the other way round, its filter and divider; or a resistor in the centre tap.
pub(super) fn bias(found: &mut Finder<'_>) {
    let mut block = empty(BlockKind::BiasSupply);
    let view = &found.view;
    let mut starts = Vec::new();
    for e in view.edges.iter().filter(|e| e.sort == Sort::Diode) {
        // Conducts from the bias node (a) into the winding (k).
        if e.a != GROUND
            && !found.rails.contains(&e.a)
            && !found.rails.contains(&e.b)
            && reaches_winding(found, e.b, e.part)
            && held_below(found, e.a)
        {
            starts.push(e.a);
            block.parts.push((e.part, Role::Rectifier));
            for f in view.at(e.b) {
                match f.sort {
                    Sort::Resistor => block.parts.push((f.part, Role::BiasFeed)),
                    Sort::Capacitor => block.parts.push((f.part, Role::Coupling)),
                    Sort::Diode if f.part != e.part => block.parts.push((f.part, Role::Rectifier)),
                    _ => {}
                }
            }
        }
    }
    for valve_bias in view
        .circuit
        .nodes
        .iter()
        .enumerate()
        .filter(|(_, n)| n.names.iter().any(|x| x == "bias"))
    {
        starts.push(NodeId(valve_bias.0));
    }
    let mut todo = starts;
    let mut seen: BTreeSet<NodeId> = BTreeSet::new();
    let grid_side = |n: NodeId| view.sections.iter().any(|s| s.grid == Some(n));
    while let Some(n) = todo.pop() {
        if n == GROUND || found.rails.contains(&n) || grid_side(n) || !seen.insert(n) {
            continue;
        }
        for e in view.at(n) {
            let other = e.other(n);
            if block.parts.iter().any(|(p, _)| *p == e.part) && e.sort == Sort::Diode {
                continue;
            }
            match e.sort {
                Sort::Capacitor if other == GROUND && e.at_least(0.5e-6) => {
                    block.parts.push((e.part, Role::BiasFilter))
                }
                Sort::Resistor if other == GROUND => block.parts.push((e.part, Role::BiasDivider)),
                // Onward as long as the next node is held or only divides; grid leaks end it.
                Sort::Resistor
                    if !grid_side(other)
                        && (held_below(found, other) || only_divides(found, other, e.part)) =>
                {
                    block.parts.push((e.part, Role::BiasDivider));
                    todo.push(other);
                }
                s if s.is_pot() && !grid_side(other) => {
                    block.parts.push((e.part, Role::BiasControl));
                    todo.push(other);
                }
                Sort::Diode | Sort::Switch
                    if !near_winding(found, other)
                        && !found.rails.contains(&other)
                        && other != GROUND =>
                {
                    todo.push(other);
                }
                _ => {}
            }
        }
    }
    for n in seen {
        found.still.insert(n);
        found.bias_rails.push(n);
    }
    block.outputs.clone_from(&found.bias_rails);
    found.add(block);
}

/// A winding lies behind this node, through a resistor or a capacitor at most.
fn reaches_winding(found: &Finder<'_>, node: NodeId, diode: PartId) -> bool {
    near_winding(found, node)
        || found.view.at(node).any(|e| {
            e.part != diode
                && matches!(e.sort, Sort::Resistor | Sort::Capacitor)
                && e.other(node) != GROUND
                && near_winding(found, e.other(node))
        })
}

/// A capacitor with its plus at ground, or any large one, holds it.
fn held_below(found: &Finder<'_>, node: NodeId) -> bool {
    held(found, node)
        || found
            .view
            .at(node)
            .any(|e| e.sort == Sort::Capacitor && e.at_least(0.5e-6) && e.other(node) == GROUND)
}

/// Only resistors and pots hang on it: the tapping of a divider.
fn only_divides(found: &Finder<'_>, node: NodeId, from: PartId) -> bool {
    let view = &found.view;
    let grid = |n: NodeId| view.sections.iter().any(|s| s.grid == Some(n));
    let mut others = view.at(node).filter(|e| e.part != from).peekable();
    others.peek().is_some()
        && others.all(|e| {
            let far = e.other(node);
            match e.sort {
                Sort::Capacitor => far == GROUND,
                s if s.is_pot() => true,
                Sort::Resistor => far == GROUND || !grid(far) && grid_leak_away(found, node, far),
                _ => false,
            }
        })
}

/// A resistor from a bias tapping to the front of a grid is that grid's leak.
fn grid_leak_away(found: &Finder<'_>, node: NodeId, far: NodeId) -> bool {
    let view = &found.view;
    view.between(node, far).any(|e| e.at_least(47e3))
}

/// Heater windings, reference resistors, hum control, elevation, pilot lamps.
pub(super) fn heaters(found: &mut Finder<'_>) {
    let view = &found.view;
    let mut block = empty(BlockKind::HeaterSupply);
    let mut nodes: BTreeSet<NodeId> = BTreeSet::new();
    for t in view.parts(|k| matches!(k, Kind::PowerTransformer(_))) {
        if let Kind::PowerTransformer(pt) = view.kind(t) {
            for w in pt
                .windings
                .iter()
                .filter(|w| w.taps.iter().all(|(_, v)| v.abs() < 20.0))
            {
                for (i, _) in &w.taps {
                    nodes.extend(
                        view.circuit.parts[t.0]
                            .terminals
                            .get(*i)
                            .and_then(|x| x.node),
                    );
                }
            }
        }
    }
    for (i, part) in view.circuit.parts.iter().enumerate() {
        if let Kind::Valve(valve) = &part.kind
            && view.is_wired(PartId(i))
        {
            for u in &valve.electrodes {
                if matches!(
                    u.electrode,
                    Electrode::Heater1 | Electrode::Heater2 | Electrode::HeaterTap
                ) {
                    nodes.extend(part.terminals.get(u.terminal).and_then(|t| t.node));
                }
            }
        }
    }
    // A tap on an output stage's cathode raises the heaters; the parts there are that stage's.
    nodes.retain(|n| {
        *n != GROUND
            && !found.rails.contains(n)
            && !view.sections.iter().any(|s| s.cathode == Some(*n))
    });
    let mut lift = BTreeSet::new();
    for node in &nodes {
        let raised = view.at(*node).any(|e| {
            e.sort == Sort::Resistor
                && (found.rails.contains(&e.other(*node)) || view.named_rail(e.other(*node)))
        });
        for e in view.at(*node) {
            let other = e.other(*node);
            match e.sort {
                Sort::Resistor if raised => block.parts.push((e.part, Role::HeaterElevation)),
                Sort::Lamp => block.parts.push((e.part, Role::PilotLamp)),
                Sort::Resistor => {
                    block.parts.push((e.part, Role::HeaterReference));
                    if !nodes.contains(&other) && other != GROUND {
                        lift.insert(other);
                    }
                }
                s if s.is_pot() => {
                    block.parts.push((e.part, Role::HumBalance));
                    if !nodes.contains(&other) && other != GROUND {
                        lift.insert(other);
                    }
                }
                Sort::Capacitor if other == GROUND => {
                    block.parts.push((e.part, Role::HeaterElevation))
                }
                _ => {}
            }
        }
    }
    for node in lift {
        if view.sections.iter().any(|s| s.cathode == Some(node)) {
            continue; // raised by an output stage's cathode: those parts have their own roles
        }
        for e in view.at(node) {
            let other = e.other(node);
            if nodes.contains(&other) {
                continue;
            }
            if e.sort == Sort::Resistor || e.sort == Sort::Capacitor {
                block.parts.push((e.part, Role::HeaterElevation));
            }
        }
        found.still.insert(node);
    }
    found.still.extend(nodes);
    found.add(block);
}
