//! Tone networks of two and three controls, and cuts between opposed points.

use super::view::{Edge, Sort};
use super::{Block, BlockKind, Finder, Role, controls};
use crate::circuit::{GROUND, Kind, NodeId, PartId};
use std::collections::BTreeSet;

pub(super) fn block(
    kind: BlockKind,
    parts: Vec<(PartId, Role)>,
    inputs: Vec<NodeId>,
    outputs: Vec<NodeId>,
) -> Block {
    Block {
        parts,
        inputs,
        outputs,
        ..Block::of(kind)
    }
}

pub(super) fn find(found: &mut Finder<'_>) {
    cuts(found);
    networks(found);
    feedback_type(found);
    controls::volumes(found);
    controls::singles(found);
}

/// Pots that have no role yet.
pub(super) fn free_pots(found: &Finder<'_>) -> Vec<PartId> {
    found
        .view
        .parts(|k| matches!(k, Kind::Pot { .. }))
        .into_iter()
        .filter(|p| !found.has_role(*p))
        .collect()
}

pub(super) fn ends(
    found: &Finder<'_>,
    pot: PartId,
) -> (Option<NodeId>, Option<NodeId>, Option<NodeId>) {
    let t = &found.view.circuit.parts[pot.0].terminals;
    let n = |i: usize| t.get(i).and_then(|x| x.node);
    (n(0), n(1), n(2))
}

/// Capacitor and control in series between opposed points of an inverter or an output stage.
fn cuts(found: &mut Finder<'_>) {
    let mut opposed: Vec<(NodeId, NodeId)> = Vec::new();
    for b in &found.blocks {
        match b.kind {
            BlockKind::LongTailedPair | BlockKind::Cathodyne | BlockKind::Paraphase => {
                if let [a, b] = b.outputs.as_slice() {
                    opposed.push((*a, *b));
                }
            }
            BlockKind::PushPull => {
                let grids: BTreeSet<NodeId> = b.inputs.iter().copied().collect();
                let grids: Vec<NodeId> = grids.into_iter().collect();
                for (i, a) in grids.iter().enumerate() {
                    for b in &grids[i + 1..] {
                        opposed.push((*a, *b));
                    }
                }
            }
            _ => {}
        }
    }
    let mut out = Vec::new();
    for (a, b) in opposed {
        for e in found.view.at(a) {
            if found.has_role(e.part)
                || e.other(a) == b
                || found.still.contains(&e.other(a))
                || !(e.sort == Sort::Capacitor || e.sort.is_pot() || e.sort == Sort::Resistor)
            {
                continue;
            }
            let mid = e.other(a);
            for f in found.view.at(mid) {
                if f.part == e.part && f.sort == e.sort || f.other(mid) != b {
                    continue;
                }
                let pot = e.sort.is_pot() || f.sort.is_pot();
                let cap = e.sort == Sort::Capacitor || f.sort == Sort::Capacitor;
                if pot && cap {
                    let role = |g: &Edge| {
                        if g.sort.is_pot() {
                            Role::ToneControl
                        } else {
                            Role::ToneCapacitor
                        }
                    };
                    out.push(block(
                        BlockKind::ToneCut,
                        vec![(e.part, role(e)), (f.part, role(f))],
                        vec![a],
                        vec![b],
                    ));
                }
            }
        }
    }
    for b in out {
        if !b.parts.iter().any(|(p, _)| found.has_role(*p)) {
            found.add(b);
        }
    }
}

/// Treble and bass, with a middle control or resistor: one source, a small capacitor to the treble
/// control, a slope resistor to the bass and middle capacitors.
fn networks(found: &mut Finder<'_>) {
    for treble in free_pots(found) {
        if found.has_role(treble) {
            continue;
        }
        let Some(b) = network_at(found, treble) else {
            continue;
        };
        found.add(b);
    }
}

fn network_at(found: &Finder<'_>, treble: PartId) -> Option<Block> {
    let view = &found.view;
    let (e1, wiper, e3) = ends(found, treble);
    let (e1, e3) = (e1?, e3?);
    if wiper == Some(e1) || wiper == Some(e3) {
        return None;
    }
    for (top, low) in [(e3, e1), (e1, e3)] {
        if found.still.contains(&top) || low == GROUND {
            continue;
        }
        let Some(c_treble) = view.at(top).find(|e| {
            e.sort == Sort::Capacitor
                && e.below(3.0e-9)
                && Some(e.other(top)) != wiper
                && !found.still.contains(&e.other(top))
        }) else {
            continue;
        };
        let source = c_treble.other(top);
        let Some(slope) = view.at(source).find(|e| {
            e.sort == Sort::Resistor
                && e.at_least(10e3)
                && e.below(500e3)
                && !found.still.contains(&e.other(source))
                && e.other(source) != top
                && meets(found, e.other(source), low)
        }) else {
            continue;
        };
        let junction = slope.other(source);
        let mut parts = vec![
            (treble, Role::TrebleControl),
            (c_treble.part, Role::TrebleCapacitor),
            (slope.part, Role::SlopeResistor),
        ];
        let caps: Vec<&Edge> = view
            .at(junction)
            .filter(|e| e.sort == Sort::Capacitor && e.part != c_treble.part)
            .collect();
        // The bass capacitor goes to the treble control's lower end; the other one, when there are
        // two, is the middle's. A lone one that goes elsewhere may be either.
        let mut lower = BTreeSet::from([low]);
        let bass_there = caps.iter().any(|c| c.other(junction) == low);
        for c in &caps {
            let far = c.other(junction);
            lower.insert(far);
            parts.push((
                c.part,
                if far == low {
                    Role::BassCapacitor
                } else if bass_there {
                    Role::MiddleCapacitor
                } else {
                    Role::ToneCapacitor
                },
            ));
        }
        // Controls and resistors below, down to ground.
        let mut ahead: Vec<NodeId> = lower.iter().copied().collect();
        let mut seen = lower.clone();
        seen.insert(junction);
        while let Some(n) = ahead.pop() {
            if n == GROUND
                || found.still.contains(&n)
                || Some(n) == wiper
                || n == top
                || n == source
            {
                continue;
            }
            for e in view.at(n) {
                if e.part == treble
                    || found.has_role(e.part)
                    || parts.iter().any(|(p, _)| *p == e.part)
                {
                    continue;
                }
                let far = e.other(n);
                let role = match e.sort {
                    s if s.is_pot() => {
                        let middle = found
                            .view
                            .of_part(e.part)
                            .any(|g| g.a == GROUND || g.b == GROUND)
                            && parts.iter().any(|(p, r)| {
                                *r == Role::MiddleCapacitor
                                    && view.of_part(*p).any(|g| {
                                        found.view.of_part(e.part).any(|h| {
                                            h.a == g.a || h.a == g.b || h.b == g.a || h.b == g.b
                                        })
                                    })
                            })
                            && !view.of_part(e.part).any(|h| h.a == low || h.b == low);
                        if middle {
                            Role::MiddleControl
                        } else if view.of_part(e.part).any(|h| h.a == low || h.b == low) {
                            Role::BassControl
                        } else {
                            Role::ToneControl
                        }
                    }
                    Sort::Resistor if far == GROUND && e.below(60e3) && bass_there => {
                        Role::MiddleResistor
                    }
                    Sort::Resistor if e.below(60e3) => Role::ToneResistor,
                    Sort::Capacitor if far == GROUND || lower.contains(&far) => Role::ToneCapacitor,
                    _ => continue,
                };
                parts.push((e.part, role));
                if seen.insert(far) {
                    ahead.push(far);
                }
            }
        }
        let more = parts
            .iter()
            .any(|(_, r)| matches!(r, Role::BassControl | Role::ToneControl));
        if !more {
            continue;
        }
        return Some(block(
            BlockKind::ToneNetwork,
            parts,
            vec![source],
            wiper.into_iter().collect(),
        ));
    }
    None
}

/// The slope junction reaches the treble control's lower end through a capacitor, and a control at most.
fn meets(found: &Finder<'_>, junction: NodeId, low: NodeId) -> bool {
    let view = &found.view;
    view.at(junction).any(|c| {
        c.sort == Sort::Capacitor
            && (c.other(junction) == low
                || view
                    .between(c.other(junction), low)
                    .any(|e| e.sort.resistive()))
    }) || view
        .between(junction, low)
        .any(|e| e.sort == Sort::Capacitor)
}

/// Two controls with networks at both ends: resistors round the bass one, capacitors round the treble one.
fn feedback_type(found: &mut Finder<'_>) {
    for bass in free_pots(found) {
        if found.has_role(bass) {
            continue;
        }
        let (Some(a), Some(_), Some(c)) = ends(found, bass) else {
            continue;
        };
        let shunt_caps: Vec<Edge> = found
            .view
            .of_part(bass)
            .flat_map(|arm| {
                found
                    .view
                    .between(arm.a, arm.b)
                    .copied()
                    .collect::<Vec<_>>()
            })
            .filter(|e| e.sort == Sort::Capacitor)
            .collect();
        if shunt_caps.is_empty() || a == GROUND || c == GROUND {
            continue;
        }
        let series = |n: NodeId, sort: Sort| {
            found
                .view
                .at(n)
                .find(|e| e.sort == sort && !shunt_caps.iter().any(|s| s.part == e.part))
                .copied()
        };
        let (Some(ra), Some(rc)) = (series(a, Sort::Resistor), series(c, Sort::Resistor)) else {
            continue;
        };
        let mut parts = vec![
            (bass, Role::BassControl),
            (ra.part, Role::ToneResistor),
            (rc.part, Role::ToneResistor),
        ];
        for s in found
            .view
            .of_part(bass)
            .flat_map(|arm| found.view.between(arm.a, arm.b))
            .filter(|e| e.sort == Sort::Capacitor)
        {
            parts.push((s.part, Role::BassCapacitor));
        }
        let outer = [ra.other(a), rc.other(c)];
        let mut outputs = Vec::new();
        for treble in free_pots(found) {
            if treble == bass {
                continue;
            }
            let (Some(ta), tw, Some(tc)) = ends(found, treble) else {
                continue;
            };
            let (Some(ca), Some(cc)) = (series_cap(found, ta), series_cap(found, tc)) else {
                continue;
            };
            if outer.contains(&ca.other(ta)) || outer.contains(&cc.other(tc)) {
                parts.push((treble, Role::TrebleControl));
                parts.push((ca.part, Role::TrebleCapacitor));
                parts.push((cc.part, Role::TrebleCapacitor));
                outputs.extend(tw);
            }
        }
        if outputs.is_empty() {
            continue;
        }
        // The resistor between the wipers.
        let wipers: BTreeSet<NodeId> = outputs.iter().copied().chain(ends(found, bass).1).collect();
        for e in
            found.view.edges.iter().filter(|e| {
                e.sort == Sort::Resistor && wipers.contains(&e.a) && wipers.contains(&e.b)
            })
        {
            parts.push((e.part, Role::ToneResistor));
        }
        let inputs = outer.iter().copied().filter(|n| *n != GROUND).collect();
        found.add(block(BlockKind::ToneNetwork, parts, inputs, outputs));
    }
}

fn series_cap(found: &Finder<'_>, node: NodeId) -> Option<Edge> {
    found
        .view
        .at(node)
        .find(|e| e.sort == Sort::Capacitor)
        .copied()
}
