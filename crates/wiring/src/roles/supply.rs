//! Mains side; rectifier and filter chain.

use super::heaters::on_low_winding;
use super::rails::{on_winding, rectifier_diodes, rectifier_outputs};
use super::view::Sort;
use super::{Block, BlockKind, Finder, Role};
use crate::circuit::{GROUND, Kind, NodeId};
use std::collections::{BTreeMap, BTreeSet};

/// Cord, fuse, switch, primary, line capacitor.
pub(super) fn mains(found: &mut Finder<'_>) {
    let view = &found.view;
    let mut block = Block::of(BlockKind::Mains);
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
    let mut ahead: Vec<NodeId> = region.iter().copied().collect();
    while let Some(n) = ahead.pop() {
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
                ahead.push(other);
            }
        }
    }
    found.add(block);
}

/// Rectifier, reservoir, droppers, chokes, filters, bleeders.
pub(super) fn high_tension(found: &mut Finder<'_>) {
    if found.rails.in_order().is_empty() {
        return;
    }
    let mut block = Block::of(BlockKind::HtSupply);
    let rails: BTreeSet<NodeId> = found.rails.in_order().iter().copied().collect();
    let view = &found.view;
    for (valve, _, cathode) in &view.rectifier_plates {
        if view.is_wired(*valve) && cathode.is_none_or(|c| rails.contains(&c)) {
            block.parts.push((*valve, Role::Rectifier));
        }
    }
    for (valve, plate) in &view.regulators {
        if plate.is_some_and(|p| rails.contains(&p)) {
            block.parts.push((*valve, Role::Regulator));
        }
    }
    let mut winding_side: BTreeSet<NodeId> = BTreeSet::new();
    for (_, plate, _) in &view.rectifier_plates {
        winding_side.extend(*plate);
    }
    for bridge in view.parts(|k| matches!(k, Kind::Bridge)) {
        let ends: Vec<NodeId> = ["ac1", "ac2"]
            .iter()
            .filter_map(|n| view.terminal(bridge, n))
            .collect();
        if ends.iter().any(|n| on_low_winding(found, *n)) {
            continue;
        }
        if view
            .terminal(bridge, "plus")
            .is_some_and(|p| rails.contains(&p))
        {
            block.parts.push((bridge, Role::Rectifier));
        }
        winding_side.extend(ends);
    }
    for (diode, from) in rectifier_diodes(found, &rails) {
        block.parts.push((diode, Role::Rectifier));
        winding_side.insert(from);
    }
    winding_side.remove(&GROUND);
    // Between winding and plate: series resistors, switches, fuses, capacitors against noise.
    for node in &winding_side {
        for e in view.at(*node) {
            let far = e.other(*node);
            match e.sort {
                Sort::Resistor if !on_winding(found, *node) && on_winding(found, far) => {
                    block.parts.push((e.part, Role::RectifierSeries));
                }
                Sort::Switch => block.parts.push((e.part, Role::StandbySwitch)),
                Sort::Fuse => block.parts.push((e.part, Role::HtFuse)),
                // The capacitor that feeds a doubler.
                Sort::Capacitor if e.at_least(1e-6) && on_winding(found, far) => {
                    block.parts.push((e.part, Role::Reservoir));
                }
                Sort::Capacitor
                    if far == GROUND || rails.contains(&far) || winding_side.contains(&far) =>
                {
                    block.parts.push((e.part, Role::ShuntCapacitor));
                }
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
                            Sort::Resistor
                                if *v == 0.0
                                    && e.below(3e3)
                                    && !rails.contains(&e.other(node))
                                    && !found.back_parts.contains(&e.part) =>
                            {
                                block.parts.push((e.part, Role::RectifierSeries));
                            }
                            _ => {}
                        }
                    }
                }
            }
        }
    }
    let first = filled(found);
    let mut series: BTreeMap<NodeId, Role> = BTreeMap::new();
    let holds = |rail: NodeId| {
        if first.contains(&rail) {
            Role::Reservoir
        } else {
            Role::Filter
        }
    };
    for e in &view.edges {
        let (a, b) = (rails.contains(&e.a), rails.contains(&e.b));
        if a && b {
            let beside_a_switch = view.between(e.a, e.b).any(|f| f.sort == Sort::Switch);
            let role = match e.sort {
                Sort::Resistor if beside_a_switch => Role::StandbyBypass,
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
                Sort::Capacitor if other == GROUND || found.back.contains(&other) => {
                    block.parts.push((e.part, holds(rail)));
                }
                Sort::Capacitor if e.at_least(0.9e-6) => {
                    block.parts.push((e.part, holds(rail)));
                    series.insert(other, holds(rail));
                }
                Sort::Resistor if other == GROUND => block.parts.push((e.part, Role::Bleeder)),
                _ => {}
            }
        }
    }
    // Capacitors in series: the lower one and the resistors that share the volts.
    for (mid, role) in series {
        for e in view.at(mid) {
            match e.sort {
                Sort::Capacitor if e.other(mid) == GROUND => block.parts.push((e.part, role)),
                Sort::Resistor
                    if e.at_least(10e3)
                        && (e.other(mid) == GROUND || rails.contains(&e.other(mid))) =>
                {
                    block.parts.push((e.part, Role::Balance));
                }
                _ => {}
            }
        }
    }
    block.outputs = found.rails.in_order().to_vec();
    found.add(block);
}

/// The rails of the first capacitors after a rectifier: through fuses, switches and very small
/// resistors only, and not past another capacitor.
pub(super) fn filled(found: &Finder<'_>) -> BTreeSet<NodeId> {
    let view = &found.view;
    let held = |n: NodeId| {
        view.at(n).any(|e| {
            e.sort == Sort::Capacitor && e.at_least(0.9e-6) && !found.rails.contains(&e.other(n))
        })
    };
    let mut out = BTreeSet::new();
    let mut ahead = rectifier_outputs(found);
    let mut seen: BTreeSet<NodeId> = ahead.iter().copied().collect();
    while let Some(n) = ahead.pop() {
        if held(n) {
            out.insert(n);
            continue;
        }
        for e in view.at(n) {
            let passes = matches!(e.sort, Sort::Fuse | Sort::Switch)
                || e.sort == Sort::Resistor && e.below(50.0);
            let far = e.other(n);
            if passes && found.rails.contains(&far) && seen.insert(far) {
                ahead.push(far);
            }
        }
    }
    out
}
