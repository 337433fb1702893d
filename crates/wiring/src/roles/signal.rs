//! Inputs, mixers, the tank, coupling between stages, and the order of blocks along the signal.

use super::view::Sort;
use super::{Block, BlockKind, Finder, Role};
use crate::circuit::{GROUND, Kind, NodeId, PartId};
use std::collections::{BTreeMap, BTreeSet};

/// Nodes joined by input parts, those parts, and the grids they feed.
type Group = (BTreeSet<NodeId>, Vec<(PartId, Role)>, Vec<NodeId>);

pub(super) fn find(found: &mut Finder<'_>) {
    coupling(found);
    inputs(found);
    tanks(found);
    mixers(found);
    joined_wipers(found);
    coupling(found);
}

fn inputs(found: &mut Finder<'_>) {
    let jacks: Vec<PartId> = found
        .view
        .parts(|k| matches!(k, Kind::Jack { .. }))
        .into_iter()
        .filter(|j| !found.has_role(*j))
        .filter(|j| {
            matches!(found.view.kind(*j), Kind::Jack { phono: false, .. })
                || feeds_control(found, *j)
        })
        .collect();
    let mut groups: Vec<Group> = Vec::new();
    let mut leaving = Vec::new();
    for jack in jacks {
        let hot: Vec<NodeId> = found.view.circuit.parts[jack.0]
            .terminals
            .iter()
            .filter(|t| t.name != "sleeve")
            .filter_map(|t| t.node)
            .filter(|n| *n != GROUND)
            .collect();
        let top = |n: &NodeId| {
            found
                .blocks
                .iter()
                .any(|b| b.kind == BlockKind::Volume && b.inputs.contains(n))
        };
        if hot.iter().any(|n| driven(found, *n) && !top(n)) {
            leaving.push((jack, hot));
            continue;
        }
        let mut parts = vec![(jack, Role::Jack)];
        let mut nodes: BTreeSet<NodeId> = hot.iter().copied().collect();
        let mut outputs = Vec::new();
        for n in &hot {
            for e in found.view.at(*n) {
                let far = e.other(*n);
                match e.sort {
                    Sort::Resistor if far == GROUND => parts.push((e.part, Role::InputLeak)),
                    Sort::Resistor if e.below(220e3) => {
                        parts.push((e.part, Role::InputStopper));
                        if found.view.grids_at(far).next().is_some() {
                            outputs.push(far);
                        }
                        if !found.still.contains(&far) {
                            nodes.insert(far);
                        }
                    }
                    Sort::Capacitor if far == GROUND => parts.push((e.part, Role::ShuntCapacitor)),
                    Sort::Capacitor if !found.has_role(e.part) => {
                        parts.push((e.part, Role::Coupling));
                        nodes.insert(far);
                    }
                    _ => {}
                }
            }
        }
        // A jack that only grounds a point of another block is its foot switch.
        if parts.len() == 1
            && !feeds_control(found, jack)
            && let Some(b) = found.blocks.iter_mut().find(|b| {
                b.kind != BlockKind::Input
                    && b.inputs.iter().chain(&b.outputs).any(|n| nodes.contains(n))
            })
        {
            b.parts.push((jack, Role::SignalSwitch));
            continue;
        }
        let mut merged = (nodes, parts, outputs);
        let mut kept = Vec::new();
        for g in groups {
            if g.0.is_disjoint(&merged.0) {
                kept.push(g);
            } else {
                merged.0.extend(g.0);
                merged.1.extend(g.1);
                merged.2.extend(g.2);
            }
        }
        kept.push(merged);
        groups = kept;
    }
    // A jack that a stage drives leads out of the amplifier.
    for (jack, hot) in leaving {
        found.add(Block {
            parts: vec![(jack, Role::Jack)],
            inputs: hot,
            ..Block::of(BlockKind::Interstage)
        });
    }
    for (nodes, parts, outputs) in groups {
        found.add(Block {
            parts,
            inputs: nodes.into_iter().collect(),
            outputs,
            ..Block::of(BlockKind::Input)
        });
    }
}

/// A jack straight on the top of a control that no stage drives: the amplifier's input.
fn feeds_control(found: &Finder<'_>, jack: PartId) -> bool {
    found.view.circuit.parts[jack.0]
        .terminals
        .iter()
        .filter(|t| t.name != "sleeve")
        .filter_map(|t| t.node)
        .filter(|n| *n != GROUND)
        .any(|n| {
            !driven(found, n)
                && found
                    .blocks
                    .iter()
                    .any(|b| b.kind == BlockKind::Volume && b.inputs.contains(&n))
        })
}

/// A stage's signal comes to this node: by a capacitor from its plate that leads nowhere else but
/// here, by a control's wiper, or through a ladder's capacitors on both sides.
fn driven(found: &Finder<'_>, node: NodeId) -> bool {
    let view = &found.view;
    let grid = |n: NodeId| view.grids_at(n).next().is_some();
    let capacitors = view
        .at(node)
        .filter(|e| e.sort == Sort::Capacitor && e.at_least(0.4e-9) && e.other(node) != GROUND);
    let (mut to_grid, mut from_elsewhere) = (0, 0);
    for e in capacitors {
        if grid(e.other(node)) {
            to_grid += 1;
        } else {
            from_elsewhere += 1;
        }
    }
    let wiper = view.at(node).any(|e| {
        e.sort == Sort::UpperArm && e.a == node || e.sort == Sort::LowerArm && e.b == node
    });
    let mixed = view.at(node).any(|e| {
        e.sort == Sort::Resistor
            && !found.still.contains(&e.other(node))
            && view
                .at(e.other(node))
                .any(|f| f.sort.is_pot() && f.sort != Sort::LowerArm)
    });
    from_elsewhere > 0 || to_grid > 1 || !grid(node) && to_grid == 0 && (wiper || mixed)
}

fn tanks(found: &mut Finder<'_>) {
    for tank in found.view.parts(|k| matches!(k, Kind::Tank { .. })) {
        let ends = |names: [&str; 2]| -> Vec<NodeId> {
            names
                .iter()
                .filter_map(|n| found.view.terminal(tank, n))
                .filter(|n| *n != GROUND)
                .collect()
        };
        let (inputs, outputs) = (ends(["in1", "in2"]), ends(["out1", "out2"]));
        let mut parts = vec![(tank, Role::Tank)];
        for n in outputs.iter().chain(&inputs) {
            for e in found
                .view
                .at(*n)
                .filter(|e| e.other(*n) == GROUND && !found.has_role(e.part))
            {
                match e.sort {
                    Sort::Resistor => parts.push((e.part, Role::ShuntResistor)),
                    Sort::Capacitor => parts.push((e.part, Role::ShuntCapacitor)),
                    _ => {}
                }
            }
            for (p, _) in found.view.terminals_at(*n) {
                if matches!(found.view.kind(*p), Kind::Jack { .. }) && !found.has_role(*p) {
                    parts.push((*p, Role::Jack));
                }
            }
        }
        found.add(Block {
            parts,
            inputs,
            outputs,
            ..Block::of(BlockKind::ReverbTank)
        });
    }
    // The volume control behind a recovery stage is the reverb control.
    let recovery: Vec<NodeId> = found
        .blocks
        .iter()
        .filter(|b| b.kind == BlockKind::ReverbRecovery)
        .flat_map(|b| b.outputs.clone())
        .collect();
    let behind: BTreeSet<NodeId> = recovery
        .iter()
        .flat_map(|n| {
            found
                .view
                .at(*n)
                .filter(|e| e.sort == Sort::Capacitor)
                .map(|e| e.other(*n))
        })
        .collect();
    for b in &mut found.blocks {
        if b.kind == BlockKind::Volume && b.inputs.iter().any(|n| behind.contains(n)) {
            for (_, role) in &mut b.parts {
                if *role == Role::VolumeControl {
                    *role = Role::ReverbControl;
                }
            }
        }
    }
}

/// Two or more series resistors that meet where a grid (or the capacitor before it) is.
fn mixers(found: &mut Finder<'_>) {
    let mut fronts: BTreeSet<NodeId> = BTreeSet::new();
    for b in &found.blocks {
        if !b.sections.is_empty() {
            fronts.extend(b.inputs.iter().copied());
            for n in &b.inputs {
                fronts.extend(
                    found
                        .view
                        .at(*n)
                        .filter(|e| e.sort == Sort::Capacitor && e.at_least(0.4e-9))
                        .map(|e| e.other(*n)),
                );
            }
        }
        if b.kind == BlockKind::Volume {
            fronts.extend(b.inputs.iter().copied());
        }
    }
    for n in fronts {
        if found.still.contains(&n) {
            continue;
        }
        let ways: Vec<PartId> = found
            .view
            .at(n)
            .filter(|e| {
                e.sort == Sort::Resistor
                    && e.at_least(33e3)
                    && !found.has_role(e.part)
                    && !found.still.contains(&e.other(n))
                    && !before_a_grid(found, e.other(n))
            })
            .map(|e| e.part)
            .collect();
        if ways.len() < 2 || its_own_output(found, n, &ways) {
            continue;
        }
        let mut parts: Vec<(PartId, Role)> =
            ways.iter().map(|p| (*p, Role::MixingResistor)).collect();
        for p in &ways {
            for e in found.view.of_part(*p) {
                for f in found
                    .view
                    .between(e.a, e.b)
                    .filter(|f| f.sort == Sort::Capacitor && f.below(3e-9))
                {
                    parts.push((f.part, Role::PeakingCapacitor));
                }
            }
        }
        for e in found
            .view
            .at(n)
            .filter(|e| e.sort == Sort::Resistor && e.other(n) == GROUND && !found.has_role(e.part))
        {
            parts.push((e.part, Role::ShuntResistor));
        }
        let inputs = ways
            .iter()
            .flat_map(|p| {
                found
                    .view
                    .of_part(*p)
                    .map(|e| e.other(n))
                    .collect::<Vec<_>>()
            })
            .collect();
        found.add(Block {
            parts,
            inputs,
            outputs: vec![n],
            ..Block::of(BlockKind::Mixer)
        });
    }
}

/// The section whose grid is here drives one of the ways itself: the junction of a paraphase.
fn its_own_output(found: &Finder<'_>, node: NodeId, ways: &[PartId]) -> bool {
    let view = &found.view;
    let plates: BTreeSet<NodeId> = view
        .grids_at(node)
        .filter_map(|i| view.sections[i].plate)
        .collect();
    ways.iter().flat_map(|p| view.of_part(*p)).any(|e| {
        let far = e.other(node);
        view.at(far)
            .any(|f| f.sort == Sort::Capacitor && plates.contains(&f.other(far)))
    })
}

/// A grid is here, or behind a stopper: no channel comes from there.
fn before_a_grid(found: &Finder<'_>, node: NodeId) -> bool {
    let view = &found.view;
    view.grids_at(node).next().is_some()
        || view.at(node).any(|e| {
            e.sort == Sort::Resistor
                && e.below(34e3)
                && view.grids_at(e.other(node)).next().is_some()
        })
}

/// Volume controls of several channels that meet at one point without resistors.
fn joined_wipers(found: &mut Finder<'_>) {
    let mut at: BTreeMap<NodeId, Vec<PartId>> = BTreeMap::new();
    for b in found.blocks.iter().filter(|b| b.kind == BlockKind::Volume) {
        for (p, _) in b.parts.iter().filter(|(_, r)| *r == Role::VolumeControl) {
            for n in b.inputs.iter().chain(&b.outputs) {
                at.entry(*n).or_default().push(*p);
            }
        }
    }
    for (n, pots) in at {
        if pots.len() < 2 {
            continue;
        }
        let inputs: Vec<NodeId> = found
            .blocks
            .iter()
            .filter(|b| {
                b.kind == BlockKind::Volume && b.parts.iter().any(|(p, _)| pots.contains(p))
            })
            .flat_map(|b| b.inputs.iter().chain(&b.outputs))
            .copied()
            .filter(|m| *m != n)
            .collect();
        // One wire at the top of several controls is one source, not a mixer.
        if inputs.iter().collect::<BTreeSet<_>>().len() < 2 || feeds(found, n) {
            continue;
        }
        found.add(Block {
            parts: pots.into_iter().map(|p| (p, Role::VolumeControl)).collect(),
            inputs,
            outputs: vec![n],
            ..Block::of(BlockKind::Mixer)
        });
    }
}

/// A coupling capacitor from a plate brings signal to this node.
fn feeds(found: &Finder<'_>, node: NodeId) -> bool {
    found.view.at(node).any(|e| {
        e.sort == Sort::Capacitor
            && found
                .view
                .sections
                .iter()
                .any(|s| s.plate == Some(e.other(node)))
    })
}

/// Capacitors from a stage's output: they belong to the stage that drives them.
fn coupling(found: &mut Finder<'_>) {
    let mut add: Vec<(usize, PartId)> = Vec::new();
    for (i, b) in found.blocks.iter().enumerate() {
        if b.sections.is_empty()
            || matches!(
                b.kind,
                BlockKind::SingleEnded | BlockKind::PushPull | BlockKind::TremoloOscillator
            )
        {
            continue;
        }
        for o in &b.outputs {
            for e in found.view.at(*o).filter(|e| e.sort == Sort::Capacitor) {
                let far = e.other(*o);
                let inside = b.outputs.contains(&far)
                    || b.inputs.contains(&far) && b.kind != BlockKind::Paraphase;
                if !found.has_role(e.part) && !found.still.contains(&far) && !inside {
                    add.push((i, e.part));
                }
            }
        }
    }
    for (i, part) in add {
        found.blocks[i].parts.push((part, Role::Coupling));
    }
}

/// Inputs first, then along the signal, then the supplies.
pub(super) fn order(found: &mut Finder<'_>) {
    let n = found.blocks.len();
    let rank = |kind: BlockKind| match kind {
        BlockKind::Mains => 3,
        BlockKind::HtSupply => 4,
        BlockKind::BiasSupply => 5,
        BlockKind::HeaterSupply => 6,
        BlockKind::TremoloOscillator | BlockKind::TremoloModulator => 2,
        BlockKind::Feedback => 1,
        _ => 0,
    };
    // Distance from the inputs over the circuit's nodes, in parts passed.
    let mut at: BTreeMap<NodeId, usize> = BTreeMap::new();
    let mut frontier: Vec<NodeId> = found
        .blocks
        .iter()
        .filter(|b| b.kind == BlockKind::Input)
        .flat_map(|b| b.inputs.clone())
        .collect();
    for f in &frontier {
        at.insert(*f, 0);
    }
    let mut depth = 0;
    while !frontier.is_empty() {
        depth += 1;
        let mut next = Vec::new();
        for node in frontier {
            let mut step: Vec<NodeId> = found
                .view
                .at(node)
                .filter(|e| {
                    matches!(
                        e.sort,
                        Sort::Capacitor
                            | Sort::Resistor
                            | Sort::Switch
                            | Sort::LowerArm
                            | Sort::UpperArm
                            | Sort::WholePot
                    )
                })
                .filter(|e| !found.is(e.part, Role::FeedbackResistor))
                .map(|e| e.other(node))
                .collect();
            for s in found.view.sections.iter().filter(|s| s.grid == Some(node)) {
                step.extend(s.plate);
                step.extend(s.cathode);
            }
            for m in step {
                if !found.still.contains(&m) && !at.contains_key(&m) {
                    at.insert(m, depth);
                    next.push(m);
                }
            }
        }
        frontier = next;
    }
    let place = |b: &Block| {
        b.inputs
            .iter()
            .chain(&b.outputs)
            .filter_map(|x| at.get(x))
            .min()
            .copied()
            .unwrap_or(usize::MAX / 2)
    };
    let mut keyed: Vec<(usize, usize, usize)> = (0..n)
        .map(|i| (rank(found.blocks[i].kind), place(&found.blocks[i]), i))
        .collect();
    keyed.sort_unstable();
    let order: Vec<usize> = keyed.into_iter().map(|k| k.2).collect();
    found.blocks = order.into_iter().map(|i| found.blocks[i].clone()).collect();
}
