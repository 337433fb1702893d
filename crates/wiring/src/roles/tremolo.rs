//! Phase-shift oscillators, and the way their oscillation goes to the signal.
//!
//! An oscillator is a section whose plate reaches its own grid through a ladder of at least
//! three sections: capacitors in series with resistances to a still point, or the other way round.

use super::stages::{cathode_side, plate_side};
use super::view::{Edge, Sort};
use super::{Block, BlockKind, Finder, Role};
use crate::circuit::{GROUND, Kind, NodeId, PartId};
use std::collections::{BTreeSet, VecDeque};

/// Longest ladder looked for.
const MOST_SECTIONS: usize = 6;

pub(super) fn oscillators(found: &mut Finder<'_>) {
    for i in 0..found.view.sections.len() {
        if found.taken.contains(&i) {
            continue;
        }
        let s = found.view.sections[i];
        let (Some(plate), Some(grid)) = (s.plate, s.grid) else {
            continue;
        };
        // The ladder may start at a follower on the oscillator's plate.
        let mut starts = vec![plate];
        for t in &found.view.sections {
            if t.grid == Some(plate)
                && let Some(k) = t.cathode
                && t.plate.is_some_and(|p| found.rails.contains(&p))
            {
                starts.push(k);
            }
        }
        let Some(ladder) = starts.iter().find_map(|from| ladder(found, *from, grid)) else {
            continue;
        };
        let mut parts: Vec<(PartId, Role)> = Vec::new();
        let mut block = Block {
            kind: BlockKind::TremoloOscillator,
            sections: vec![s],
            parts: Vec::new(),
            inputs: Vec::new(),
            outputs: vec![plate],
            supply: None,
        };
        block.supply = plate_side(found, i, &mut parts);
        cathode_side(found, i, &mut parts);
        for e in &ladder {
            let role = match e.sort {
                Sort::Capacitor => Role::OscillatorCapacitor,
                s if s.is_pot() => Role::SpeedControl,
                _ => Role::OscillatorResistor,
            };
            parts.push((e.part, role));
        }
        parts.push((s.part, Role::Valve));
        // Jacks and switches that stop it by grounding a ladder node or a bypass.
        let nodes: BTreeSet<NodeId> = ladder
            .iter()
            .flat_map(|e| [e.a, e.b])
            .chain(s.cathode)
            .chain([grid])
            .filter(|n| !found.still.contains(n))
            .collect();
        for n in &nodes {
            for e in found.view.at(*n) {
                if e.sort == Sort::Switch {
                    parts.push((e.part, Role::TremoloSwitch));
                }
            }
            for (p, _) in found.view.terminals_at(*n) {
                if matches!(found.view.kind(*p), Kind::Jack { .. }) {
                    parts.push((*p, Role::TremoloSwitch));
                }
            }
        }
        found.taken.insert(i);
        block.parts = parts;
        found.add(block);
    }
}

/// The edges of a ladder from plate to grid, of either form.
fn ladder(found: &Finder<'_>, from: NodeId, grid: NodeId) -> Option<Vec<Edge>> {
    let mut path = Vec::new();
    let mut seen = BTreeSet::from([from]);
    if walk(found, from, grid, true, &mut path, &mut seen) {
        return Some(with_shunts(found, &path, true));
    }
    path.clear();
    seen = BTreeSet::from([from]);
    if walk(found, from, grid, false, &mut path, &mut seen) {
        return Some(with_shunts(found, &path, false));
    }
    None
}

/// Depth-first along series elements; every inner node must have a shunt of the other kind.
fn walk(
    found: &Finder<'_>,
    node: NodeId,
    grid: NodeId,
    lead: bool,
    path: &mut Vec<Edge>,
    seen: &mut BTreeSet<NodeId>,
) -> bool {
    let view = &found.view;
    let sections = path
        .iter()
        .filter(|e| {
            if lead {
                e.sort == Sort::Capacitor
            } else {
                e.sort.resistive()
            }
        })
        .count();
    if node == grid {
        return sections >= 3;
    }
    if sections > MOST_SECTIONS || path.len() > MOST_SECTIONS + 2 {
        return false;
    }
    let edges: Vec<Edge> = view.at(node).copied().collect();
    for e in edges {
        let next = e.other(node);
        if found.still.contains(&next) || seen.contains(&next) {
            continue;
        }
        let series = if lead {
            e.sort == Sort::Capacitor && e.at_least(0.4e-9) && e.below(1.1e-6)
                // a stopper at the grid
                || e.sort == Sort::Resistor && next == grid && sections >= 3
        } else {
            e.sort.resistive() && e.at_least(22e3)
                // the capacitor that keeps the plate's volts off the ladder
                || e.sort == Sort::Capacitor && (sections == 0 || next == grid) && e.below(1.1e-6)
        };
        if !series || view.sections.iter().any(|s| s.plate == Some(next)) {
            continue;
        }
        if next != grid && !(shunted(found, next, lead) || !lead && e.sort == Sort::Capacitor) {
            continue;
        }
        seen.insert(next);
        path.push(e);
        if walk(found, next, grid, lead, path, seen) {
            return true;
        }
        path.pop();
        seen.remove(&next);
    }
    false
}

fn shunted(found: &Finder<'_>, node: NodeId, lead: bool) -> bool {
    !shunts(found, node, lead).is_empty()
}

/// From a ladder node to a still point: one resistance, or two or three in series (speed control).
fn shunts(found: &Finder<'_>, node: NodeId, lead: bool) -> Vec<Edge> {
    let view = &found.view;
    if !lead {
        return view
            .at(node)
            .filter(|e| e.sort == Sort::Capacitor && found.still.contains(&e.other(node)))
            .copied()
            .collect();
    }
    let mut out = Vec::new();
    for e in view.at(node).filter(|e| e.sort.resistive()) {
        let mut chain = vec![*e];
        let mut at = e.other(node);
        for _ in 0..3 {
            if found.still.contains(&at) {
                break;
            }
            let Some(next) = view.at(at).find(|f| {
                f.sort.resistive()
                    && chain.iter().all(|c| c != *f)
                    && !view.sections.iter().any(|s| s.plate == Some(f.other(at)))
            }) else {
                break;
            };
            chain.push(*next);
            at = next.other(at);
        }
        if found.still.contains(&at) && !found.rails.contains(&at) {
            out.extend(chain);
        }
    }
    out
}

fn with_shunts(found: &Finder<'_>, path: &[Edge], lead: bool) -> Vec<Edge> {
    let mut all = path.to_vec();
    for pair in path.windows(2) {
        if let [a, b] = pair {
            let shared = if a.a == b.a || a.a == b.b { a.a } else { a.b };
            all.extend(shunts(found, shared, lead));
        }
    }
    if lead && let Some(last) = path.last() {
        for end in [last.a, last.b] {
            if found.view.grids_at(end).next().is_some() {
                all.extend(shunts(found, end, lead));
            }
        }
    }
    all
}

/// Everything between an oscillator (or its buffer) and the point it modulates.
pub(super) fn modulators(found: &mut Finder<'_>) {
    let mut starts: BTreeSet<NodeId> = BTreeSet::new();
    let mut own: BTreeSet<NodeId> = BTreeSet::new();
    for b in found
        .blocks
        .iter()
        .filter(|b| b.kind == BlockKind::TremoloOscillator)
    {
        starts.extend(b.outputs.iter().copied());
        for (p, role) in &b.parts {
            if matches!(
                role,
                Role::OscillatorCapacitor | Role::OscillatorResistor | Role::SpeedControl
            ) {
                own.extend(found.view.of_part(*p).flat_map(|e| [e.a, e.b]));
            }
        }
    }
    if starts.is_empty() {
        cells(found);
        return;
    }
    // Buffers: a section whose grid follows the oscillator, up to two resistors or a capacitor away.
    let mut changed = true;
    while changed {
        changed = false;
        for b in &found.blocks {
            if matches!(
                b.kind,
                BlockKind::Follower | BlockKind::CommonCathode | BlockKind::Pentode
            ) && b.inputs.iter().any(|n| {
                starts.contains(n)
                    || found.view.at(*n).any(|e| {
                        matches!(e.sort, Sort::Capacitor | Sort::Resistor)
                            && starts.contains(&e.other(*n))
                            && !is_signal_source(found, *n)
                    })
            }) {
                for o in &b.outputs {
                    changed |= starts.insert(*o);
                }
            }
        }
    }
    let mut parts: Vec<(PartId, Role)> = Vec::new();
    let mut seen: BTreeSet<NodeId> = starts.clone();
    let mut todo: VecDeque<(NodeId, usize)> = starts.iter().map(|n| (*n, 0)).collect();
    let mut outputs = Vec::new();
    while let Some((n, depth)) = todo.pop_front() {
        if depth > 6 {
            continue;
        }
        let edges: Vec<Edge> = found.view.at(n).copied().collect();
        for e in edges {
            let other = e.other(n);
            let lamp = e.sort == Sort::Lamp;
            if found.has_role(e.part) && !lamp {
                continue;
            }
            let role = match e.sort {
                Sort::Capacitor | Sort::Resistor => Role::TremoloCoupling,
                s if s.is_pot() => Role::DepthControl,
                Sort::Lamp => Role::ModulatorLamp,
                Sort::Switch => Role::TremoloSwitch,
                _ => continue,
            };
            if found.rails.contains(&other) && !lamp {
                continue;
            }
            parts.push((e.part, role));
            if found.still.contains(&other) {
                if other != GROUND {
                    outputs.push(other);
                }
                continue;
            }
            let arrives = found
                .view
                .sections
                .iter()
                .any(|s| s.cathode == Some(other) || s.grid == Some(other))
                || found
                    .blocks
                    .iter()
                    .any(|b| b.kind != BlockKind::TremoloOscillator && b.inputs.contains(&other));
            if arrives {
                outputs.push(other);
            } else if !own.contains(&other) && seen.insert(other) {
                todo.push_back((other, depth + 1));
            }
        }
    }
    if !parts.is_empty() {
        let block = Block {
            kind: BlockKind::TremoloModulator,
            sections: Vec::new(),
            parts,
            inputs: starts.into_iter().collect(),
            outputs,
            supply: None,
        };
        found.add(block);
    }
    cells(found);
}

/// A node that some other stage's plate feeds is signal, not oscillation.
fn is_signal_source(found: &Finder<'_>, node: NodeId) -> bool {
    found
        .view
        .terminals_at(node)
        .iter()
        .any(|(p, _)| matches!(found.view.kind(*p), Kind::Jack { .. }))
}

/// Photo-resistors and their lamps modulate wherever they sit.
fn cells(found: &mut Finder<'_>) {
    let cells = found.view.parts(|k| matches!(k, Kind::Cell { .. }));
    let mut parts = Vec::new();
    let mut outputs = Vec::new();
    for c in cells {
        if found.has_role(c) {
            continue;
        }
        parts.push((c, Role::ModulatorCell));
        outputs.extend(
            found
                .view
                .of_part(c)
                .flat_map(|e| [e.a, e.b])
                .filter(|n| *n != GROUND),
        );
        if let Kind::Cell { lamp, .. } = found.view.kind(c)
            && let Some(lamp) = found.view.circuit.part(lamp)
            && found.view.is_wired(lamp)
            && !found.is(lamp, Role::ModulatorLamp)
        {
            parts.push((lamp, Role::ModulatorLamp));
        }
    }
    if parts.is_empty() {
        return;
    }
    if let Some(b) = found
        .blocks
        .iter_mut()
        .find(|b| b.kind == BlockKind::TremoloModulator)
    {
        b.parts.extend(parts);
        b.outputs.extend(outputs);
        return;
    }
    found.add(Block {
        kind: BlockKind::TremoloModulator,
        sections: Vec::new(),
        parts,
        inputs: Vec::new(),
        outputs,
        supply: None,
    });
}
