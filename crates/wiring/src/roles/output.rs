//! Output stages: plates on an output transformer's primary, and all that belongs to them.

use super::stages::{cathode_side, grid_side, screen_side};
use super::view::Sort;
use super::{Block, BlockKind, Finder, Role};
use crate::circuit::{GROUND, Kind, NodeId, PartId};
use std::collections::BTreeSet;

/// Finds every output stage; one block for each output transformer, or for each plate pair
/// that has a power valve's plate without any load traced yet.
pub(super) fn find(found: &mut Finder<'_>) {
    let transformers = found
        .view
        .parts(|k| matches!(k, Kind::OutputTransformer(_)));
    for t in transformers {
        let Some(block) = stage_of(found, t) else {
            continue;
        };
        found.add(block);
    }
}

fn stage_of(found: &mut Finder<'_>, t: PartId) -> Option<Block> {
    let view = &found.view;
    let Kind::OutputTransformer(ot) = view.kind(t) else {
        return None;
    };
    let single = ot.single;
    let p1 = view.terminal(t, "p1");
    let p2 = view.terminal(t, "p2");
    let p0 = view.terminal(t, "p0");
    let ends: Vec<NodeId> = [p1, p2]
        .into_iter()
        .flatten()
        .filter(|n| *n != GROUND && !found.rails.contains(n))
        .collect();
    // Plates at the ends, directly or through a small resistor or a fuse.
    let mut at_end: Vec<(usize, NodeId)> = Vec::new();
    let mut parts: Vec<(PartId, Role)> = vec![(t, Role::OutputTransformer)];
    for end in &ends {
        for (i, s) in view.sections.iter().enumerate() {
            let Some(plate) = s.plate else { continue };
            if plate == *end {
                at_end.push((i, *end));
            } else if let Some(e) = view
                .between(plate, *end)
                .find(|e| e.sort == Sort::Resistor && e.below(1000.0))
            {
                at_end.push((i, *end));
                parts.push((e.part, Role::SeriesResistor));
            }
        }
    }
    // A tank behind the secondary makes it a driver transformer, whatever it was bought as.
    if drives_tank(found, t) {
        return None;
    }
    let kind = if single {
        BlockKind::SingleEnded
    } else {
        BlockKind::PushPull
    };
    let mut block = Block {
        supply: p0.or_else(|| {
            [p1, p2]
                .into_iter()
                .flatten()
                .find(|n| found.rails.contains(n))
        }),
        ..Block::of(kind)
    };
    for (i, _) in &at_end {
        let s = found.view.sections[*i];
        block.sections.push(s);
        parts.push((s.part, Role::Valve));
        grid_side(found, *i, &mut parts, &mut block.inputs);
        cathode_side(found, *i, &mut parts);
        screen_side(found, *i, &mut parts);
        found.taken.insert(*i);
    }
    let view = &found.view;
    // Across the plates, or from a plate to ground or its own supply.
    for end in &ends {
        for e in view.at(*end) {
            let other = e.other(*end);
            if matches!(e.sort, Sort::Capacitor | Sort::Resistor)
                && (ends.contains(&other)
                    || found.still.contains(&other)
                    || small_series_to(found, other, e.part, &ends))
            {
                parts.push((e.part, Role::PlateDamping));
                for f in view
                    .at(other)
                    .filter(|_| !found.still.contains(&other) && !ends.contains(&other))
                {
                    if matches!(f.sort, Sort::Capacitor | Sort::Resistor) {
                        parts.push((f.part, Role::PlateDamping));
                    }
                }
            }
        }
    }
    // The secondary and what hangs on it.
    let secondary: BTreeSet<NodeId> = found.view.circuit.parts[t.0]
        .terminals
        .iter()
        .filter(|x| x.name.starts_with('s'))
        .filter_map(|x| x.node)
        .filter(|n| *n != GROUND)
        .collect();
    let mut region = secondary.clone();
    let mut ahead: Vec<NodeId> = region.iter().copied().collect();
    while let Some(n) = ahead.pop() {
        for e in view.at(n) {
            if e.sort == Sort::Switch && e.other(n) != GROUND && region.insert(e.other(n)) {
                parts.push((e.part, Role::SignalSwitch));
                ahead.push(e.other(n));
            }
            if e.sort == Sort::Resistor && e.below(300.0) && e.other(n) == GROUND
                || e.sort == Sort::Capacitor && e.other(n) == GROUND
            {
                parts.push((e.part, Role::SpeakerNetwork));
            }
            // Resistor and capacitor in a row.
            let far = e.other(n);
            if (e.sort == Sort::Resistor && e.below(300.0) || e.sort == Sort::Capacitor)
                && far != GROUND
                && view.terminals_at(far).len() == 2
                && let Some(f) = view.at(far).find(|f| f.part != e.part)
                && f.other(far) == GROUND
                && matches!(f.sort, Sort::Resistor | Sort::Capacitor)
                && f.sort != e.sort
            {
                parts.push((e.part, Role::SpeakerNetwork));
                parts.push((f.part, Role::SpeakerNetwork));
            }
        }
        for (p, _) in view.terminals_at(n) {
            match view.kind(*p) {
                Kind::Speaker { .. } => parts.push((*p, Role::Speaker)),
                Kind::Jack { .. } => {
                    parts.push((*p, Role::Jack));
                    for term in &view.circuit.parts[p.0].terminals {
                        if let Some(m) = term.node
                            && m != GROUND
                            && region.insert(m)
                        {
                            ahead.push(m);
                        }
                    }
                }
                _ => {}
            }
        }
    }
    block.outputs = secondary.into_iter().collect();
    block.parts = parts;
    Some(block)
}

/// The secondary leads to a spring tank.
pub(super) fn drives_tank(found: &Finder<'_>, t: PartId) -> bool {
    let view = &found.view;
    let tanks: BTreeSet<NodeId> = view
        .parts(|k| matches!(k, Kind::Tank { .. }))
        .into_iter()
        .flat_map(|p| {
            ["in1", "in2"]
                .into_iter()
                .filter_map(move |n| view.terminal(p, n))
        })
        .filter(|n| *n != GROUND)
        .collect();
    view.circuit.parts[t.0]
        .terminals
        .iter()
        .filter(|x| x.name.starts_with('s'))
        .filter_map(|x| x.node)
        .filter(|n| *n != GROUND)
        .any(|n| {
            tanks.contains(&n)
                || view.at(n).any(|e| tanks.contains(&e.other(n)))
                || view
                    .terminals_at(n)
                    .iter()
                    .any(|(p, _)| matches!(view.kind(*p), Kind::Jack { phono: true, .. }))
        })
}

fn small_series_to(found: &Finder<'_>, node: NodeId, from: PartId, ends: &[NodeId]) -> bool {
    let view = &found.view;
    let mut others = view.at(node).filter(|e| e.part != from);
    match (others.next(), others.next()) {
        (Some(e), None) => {
            matches!(e.sort, Sort::Capacitor | Sort::Resistor)
                && (found.still.contains(&e.other(node)) || ends.contains(&e.other(node)))
                && view.terminals_at(node).len() == 2
        }
        _ => false,
    }
}
