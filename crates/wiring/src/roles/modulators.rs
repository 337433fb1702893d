//! The way of an oscillation to the signal: follower, depth control, lamp and cell, swayed bias,
//! two bands crossed.

use super::view::{Edge, Sort};
use super::{Block, BlockKind, Finder, Role};
use crate::circuit::{GROUND, Kind, NodeId, PartId};
use std::collections::{BTreeSet, VecDeque};

/// Most parts between the oscillator and what it sways.
const FARTHEST: usize = 6;

/// Everything between an oscillator (or its buffer) and the point it modulates.
pub(super) fn find(found: &mut Finder<'_>) {
    let (starts, own) = oscillation(found);
    let mut block = Block::of(BlockKind::TremoloModulator);
    follow(found, &starts, &own, &mut block);
    block.inputs = starts.into_iter().collect();
    bands(found, &mut block);
    cells(found, &mut block);
    found.add(block);
}

/// Where the oscillation leaves oscillators and their buffers, and the nodes inside the ladder.
fn oscillation(found: &Finder<'_>) -> (BTreeSet<NodeId>, BTreeSet<NodeId>) {
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
        return (starts, own);
    }
    let reached = |starts: &BTreeSet<NodeId>, n: NodeId| {
        starts.contains(&n)
            || found.view.at(n).any(|e| {
                let far = e.other(n);
                matches!(e.sort, Sort::Capacitor | Sort::Resistor)
                    && !found.still.contains(&far)
                    && (starts.contains(&far)
                        // Behind a control whose top the oscillation reaches.
                        || found.view.at(far).any(|f| {
                            f.sort.is_pot()
                                && !own.contains(&f.other(far))
                                && by_capacitor(found, starts, f.other(far))
                        }))
                    && !is_signal_source(found, n)
                    || e.sort.is_pot() && !own.contains(&far) && by_capacitor(found, starts, far)
            })
    };
    let mut changed = true;
    while changed {
        changed = false;
        for b in &found.blocks {
            if matches!(
                b.kind,
                BlockKind::Follower
                    | BlockKind::CommonCathode
                    | BlockKind::Pentode
                    | BlockKind::Cathodyne
                    | BlockKind::LongTailedPair
            ) && !meets_signal(found, b)
                && b.inputs.iter().any(|n| reached(&starts, *n))
            {
                for o in &b.outputs {
                    changed |= starts.insert(*o);
                }
            }
        }
    }
    (starts, own)
}

/// A capacitor joins this node to one where the oscillation is.
fn by_capacitor(found: &Finder<'_>, starts: &BTreeSet<NodeId>, node: NodeId) -> bool {
    found
        .view
        .at(node)
        .any(|e| e.sort == Sort::Capacitor && starts.contains(&e.other(node)))
}

/// The block's grid also takes signal: a jack, or a coupling from a stage that no oscillator drives.
fn meets_signal(found: &Finder<'_>, block: &Block) -> bool {
    block.inputs.iter().any(|n| is_signal_source(found, *n))
}

/// A jack is on this node.
fn is_signal_source(found: &Finder<'_>, node: NodeId) -> bool {
    found
        .view
        .terminals_at(node)
        .iter()
        .any(|(p, _)| matches!(found.view.kind(*p), Kind::Jack { .. }))
}

/// From the oscillation onward through what has no role yet, until it reaches something that stands.
fn follow(
    found: &Finder<'_>,
    starts: &BTreeSet<NodeId>,
    own: &BTreeSet<NodeId>,
    block: &mut Block,
) {
    let mut arrived: BTreeSet<NodeId> = BTreeSet::new();
    let mut seen: BTreeSet<NodeId> = starts.clone();
    let mut ahead: VecDeque<(NodeId, usize)> = starts.iter().map(|n| (*n, 0)).collect();
    while let Some((n, depth)) = ahead.pop_front() {
        if depth > FARTHEST {
            continue;
        }
        let edges: Vec<Edge> = found.view.at(n).copied().collect();
        for e in edges {
            let other = e.other(n);
            let lamp = e.sort == Sort::Lamp;
            // A follower's load may be the depth control itself.
            let load = e.sort.is_pot() && found.is(e.part, Role::CathodeLoad);
            if found.has_role(e.part) && !lamp && !load {
                if found.is(e.part, Role::GridLeak) && !starts.contains(&n) {
                    block.outputs.push(n);
                }
                continue;
            }
            // A large one to a still point filters; a grid's only resistance is its leak.
            let filters = e.sort == Sort::Capacitor && e.at_least(2e-6);
            if (filters || e.sort == Sort::Resistor) && found.still.contains(&other)
                || e.sort == Sort::Resistor && its_only_leak(found, other, e.part)
            {
                block.outputs.push(n);
                continue;
            }
            // Past a point that is swayed only controls and capacitors lead on.
            if arrived.contains(&n) && e.sort == Sort::Resistor {
                continue;
            }
            let role = match e.sort {
                Sort::Capacitor | Sort::Resistor => Role::TremoloCoupling,
                s if s.is_pot() => Role::DepthControl,
                Sort::Lamp => Role::ModulatorLamp,
                Sort::Switch => Role::TremoloSwitch,
                Sort::Box => Role::VariedResistance,
                _ => continue,
            };
            if found.rails.contains(&other) && !lamp {
                continue;
            }
            block.parts.push((e.part, role));
            if found.still.contains(&other) {
                if other != GROUND {
                    block.outputs.push(other);
                }
                continue;
            }
            let swayed = found
                .view
                .at(other)
                .any(|f| found.is(f.part, Role::GridLeak));
            if arrives(found, other) {
                block.outputs.push(other);
            } else if swayed {
                block.outputs.push(other);
                held_by(found, other, block);
                if arrived.insert(other) && seen.insert(other) {
                    ahead.push_back((other, depth + 1));
                }
            } else if !own.contains(&other) && seen.insert(other) {
                ahead.push_back((other, depth + 1));
            }
        }
    }
    block.outputs.sort_unstable();
    block.outputs.dedup();
}

/// A cathode, a grid, the input of a block, or the part of a phase shifter that is varied.
fn arrives(found: &Finder<'_>, node: NodeId) -> bool {
    found
        .view
        .sections
        .iter()
        .any(|s| s.cathode == Some(node) || s.grid == Some(node))
        || found
            .blocks
            .iter()
            .any(|b| b.kind != BlockKind::TremoloOscillator && b.inputs.contains(&node))
        || found
            .view
            .terminals_at(node)
            .iter()
            .any(|(p, _)| matches!(found.view.kind(*p), Kind::Box { .. } | Kind::Cell { .. }))
}

/// The small capacitors that hold the swayed point for the signal.
fn held_by(found: &Finder<'_>, node: NodeId, block: &mut Block) {
    for e in found.view.at(node) {
        if e.sort == Sort::Capacitor
            && e.below(2e-6)
            && e.other(node) == GROUND
            && !found.has_role(e.part)
            && found.view.grids_at(node).next().is_none()
        {
            block.parts.push((e.part, Role::TremoloCoupling));
        }
    }
}

/// The grid on this node has no other resistance.
fn its_only_leak(found: &Finder<'_>, node: NodeId, part: PartId) -> bool {
    let view = &found.view;
    let stopper = |e: &Edge| {
        e.sort == Sort::Resistor && e.below(34e3) && view.grids_at(e.other(node)).next().is_some()
    };
    (view.grids_at(node).next().is_some() || view.at(node).any(stopper))
        && !view
            .at(node)
            .any(|e| e.part != part && e.sort.resistive() && !stopper(e))
}

/// Two sections on one plate load, one fed through a low-pass, the other through a high-pass from
/// the same node.
fn bands(found: &Finder<'_>, block: &mut Block) {
    let view = &found.view;
    let stages: Vec<&Block> = found
        .blocks
        .iter()
        .filter(|b| matches!(b.kind, BlockKind::CommonCathode | BlockKind::Pentode))
        .collect();
    for (i, a) in stages.iter().enumerate() {
        for b in &stages[i + 1..] {
            let (Some(s), Some(t)) = (a.sections.first(), b.sections.first()) else {
                continue;
            };
            if s.plate.is_none() || s.plate != t.plate || s.grid == t.grid {
                continue;
            }
            let at = |n: Option<NodeId>, low: bool| {
                n.map_or_else(Vec::new, |n| band_filters(found, n, low))
            };
            for (x, y) in [(s, t), (t, s)] {
                let pair = at(x.grid, true).into_iter().find_map(|low| {
                    at(y.grid, false)
                        .into_iter()
                        .find(|high| high.0 == low.0)
                        .map(|high| (low, high))
                });
                if let Some((low, high)) = pair {
                    for part in low.1.into_iter().chain(high.1) {
                        let role = match view.of_part(part).next().map(|e| e.sort) {
                            Some(Sort::Capacitor) => Role::BandCapacitor,
                            _ => Role::BandResistor,
                        };
                        block.parts.push((part, role));
                    }
                }
            }
        }
    }
}

/// Low-pass or high-pass sections in front of a grid: where each starts, and its parts.
fn band_filters(found: &Finder<'_>, grid: NodeId, low: bool) -> Vec<(NodeId, Vec<PartId>)> {
    let view = &found.view;
    let mut fronts = BTreeSet::from([grid]);
    for e in view.at(grid) {
        if matches!(e.sort, Sort::Capacitor | Sort::Resistor)
            && !found.still.contains(&e.other(grid))
        {
            fronts.insert(e.other(grid));
        }
    }
    let mut out = Vec::new();
    for n in fronts {
        let shunts: Vec<&Edge> = view
            .at(n)
            .filter(|e| found.still.contains(&e.other(n)) && !found.rails.contains(&e.other(n)))
            .collect();
        for e in view.at(n) {
            let from = e.other(n);
            if found.still.contains(&from) || from == grid {
                continue;
            }
            let (series, across) = if low {
                (Sort::Resistor, Sort::Capacitor)
            } else {
                (Sort::Capacitor, Sort::Resistor)
            };
            let small = if low { e.at_least(22e3) } else { e.below(3e-9) };
            if e.sort != series || !small {
                continue;
            }
            if let Some(f) = shunts
                .iter()
                .find(|f| f.sort == across && (!low || f.below(50e-9)))
            {
                out.push((from, vec![e.part, f.part]));
            }
        }
    }
    out
}

/// Photo-resistors and their lamps modulate wherever they sit.
fn cells(found: &Finder<'_>, block: &mut Block) {
    for c in found.view.parts(|k| matches!(k, Kind::Cell { .. })) {
        block.parts.push((c, Role::ModulatorCell));
        block.outputs.extend(
            found
                .view
                .of_part(c)
                .flat_map(|e| [e.a, e.b])
                .filter(|n| *n != GROUND),
        );
        // A control beside the cell sets how much it does.
        for n in found.view.of_part(c).flat_map(|e| [e.a, e.b]) {
            if found.still.contains(&n) {
                continue;
            }
            for e in found.view.at(n).filter(|e| e.sort.is_pot()) {
                if !found.has_role(e.part) && found.still.contains(&e.other(n)) {
                    block.parts.push((e.part, Role::DepthControl));
                }
            }
        }
        if let Kind::Cell { lamp, .. } = found.view.kind(c)
            && let Some(lamp) = found.view.circuit.part(lamp)
            && found.view.is_wired(lamp)
        {
            block.parts.push((lamp, Role::ModulatorLamp));
        }
    }
}
