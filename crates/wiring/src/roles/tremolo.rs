//! Phase-shift oscillators, and the way their oscillation goes to the signal.
//!
//! An oscillator is a section whose plate reaches its own grid through a ladder of at least
//! three sections: capacitors in series with resistances to a still point, or the other way round.

use super::stages::{cathode_side, plate_side};
use super::view::{Edge, Sort};
use super::{Block, BlockKind, Finder, Role};
use crate::circuit::{Kind, NodeId, PartId};
use std::collections::BTreeSet;

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
            sections: vec![s],
            outputs: vec![plate],
            ..Block::of(BlockKind::TremoloOscillator)
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
        // With resistances in series the grid may have a leak of its own.
        for e in found.view.at(grid) {
            if e.sort == Sort::Resistor
                && found.still.contains(&e.other(grid))
                && !ladder.iter().any(|l| l.part == e.part)
            {
                parts.push((e.part, Role::GridLeak));
            }
        }
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
        let passes = shunted(found, next, lead)
            || !lead && (e.sort == Sort::Capacitor || between_resistances(found, next));
        if next != grid && !passes {
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

/// Two resistances in series: the speed control with its least resistance.
fn between_resistances(found: &Finder<'_>, node: NodeId) -> bool {
    let mut parts: Vec<PartId> = Vec::new();
    let plain = found.view.at(node).all(|e| {
        parts.push(e.part);
        e.sort.resistive()
    });
    plain && parts.len() == 2
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
    if let Some(last) = path.last() {
        for end in [last.a, last.b] {
            if found.view.grids_at(end).next().is_some() {
                all.extend(shunts(found, end, lead));
            }
        }
    }
    all
}
