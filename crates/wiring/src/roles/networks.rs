//! Feedback with presence; and what is left between stages once everything else has its place.

use super::view::{Edge, Sort};
use super::{Block, BlockKind, Finder, Role};
use crate::circuit::{GROUND, Kind, NodeId, PartId};
use std::collections::{BTreeMap, BTreeSet};

/// Nodes joined by parts, and those parts.
type Group = (BTreeSet<NodeId>, Vec<(PartId, Role)>);

/// From the secondary of the output transformer to a cathode, tail or grid.
pub(super) fn feedback(found: &mut Finder<'_>) {
    let secondaries: Vec<NodeId> = found
        .blocks
        .iter()
        .filter(|b| matches!(b.kind, BlockKind::SingleEnded | BlockKind::PushPull))
        .flat_map(|b| b.outputs.clone())
        .collect();
    let mut block = Block::of(BlockKind::Feedback);
    let view = &found.view;
    for s in &secondaries {
        for e in view.at(*s) {
            let to = e.other(*s);
            if to == GROUND
                || !matches!(e.sort, Sort::Resistor | Sort::Switch) && !e.sort.is_pot()
                || found.is(e.part, Role::SpeakerNetwork)
                || found.is(e.part, Role::SignalSwitch)
            {
                continue;
            }
            // One or two resistances on the way.
            let mut way = vec![*e];
            let mut land = to;
            if lands(found, land).is_none()
                && view.at(land).count() == 2
                && let Some(f) = view.at(land).find(|f| {
                    let end = f.other(land);
                    f.part != e.part
                        && matches!(f.sort, Sort::Resistor | Sort::Switch)
                        && lands(found, end).is_some()
                        // That might be a cathode resistor whose foot is not traced.
                        && (f.sort == Sort::Switch
                            || !view.sections.iter().any(|s| s.cathode == Some(end)))
                        // Or a tail, below the junction that grid leaks go to.
                        && !view.at(end).any(|g| {
                            g.sort == Sort::Resistor
                                && g.at_least(220e3)
                                && view.grids_at(g.other(end)).next().is_some()
                        })
                })
            {
                way.push(*f);
                land = f.other(land);
            }
            if lands(found, land).is_none() {
                continue;
            }
            block.inputs.push(*s);
            block.outputs.push(land);
            for f in &way {
                let role = match f.sort {
                    Sort::Switch => Role::SignalSwitch,
                    _ => Role::FeedbackResistor,
                };
                block.parts.push((f.part, role));
                for g in view.between(f.a, f.b).filter(|g| g.sort == Sort::Capacitor) {
                    block.parts.push((g.part, Role::FeedbackCapacitor));
                }
            }
            presence(found, land, &mut block.parts);
        }
    }
    // Local feedback: a resistor with a blocking capacitor from a plate to an earlier grid or cathode
    // is left to the network between stages.
    if !block.parts.is_empty() {
        found.add(block);
    }
}

/// A node that feedback can land on: a cathode, under a cathode resistor, a tail's bottom, a grid.
fn lands(found: &Finder<'_>, node: NodeId) -> Option<()> {
    let view = &found.view;
    if found.still.contains(&node) {
        return None;
    }
    let cathode = view
        .sections
        .iter()
        .any(|s| s.cathode == Some(node) || s.grid == Some(node));
    let under = view.at(node).any(|e| {
        e.sort == Sort::Resistor
            && found.blocks.iter().any(|b| {
                b.parts.iter().any(|(p, r)| {
                    *p == e.part
                        && matches!(
                            r,
                            Role::Tail
                                | Role::CathodeResistor
                                | Role::FeedbackShunt
                                | Role::GridLeak
                        )
                })
            })
    });
    let second_grid = view.at(node).any(|e| found.is(e.part, Role::GridGround));
    (cathode || under || second_grid).then_some(())
}

/// Shunt resistor, presence control and capacitor where the feedback lands.
fn presence(found: &Finder<'_>, land: NodeId, parts: &mut Vec<(PartId, Role)>) {
    let view = &found.view;
    for e in view.at(land) {
        let other = e.other(land);
        if found.has_role(e.part) && !found.is(e.part, Role::FeedbackShunt) {
            continue;
        }
        match e.sort {
            Sort::Resistor if other == GROUND => parts.push((e.part, Role::FeedbackShunt)),
            Sort::Capacitor if other == GROUND => parts.push((e.part, Role::PresenceCapacitor)),
            Sort::Capacitor => {
                for f in view.at(other).filter(|f| f.part != e.part) {
                    if f.sort.is_pot() || f.sort == Sort::Resistor && f.other(other) == GROUND {
                        parts.push((e.part, Role::PresenceCapacitor));
                        parts.push((
                            f.part,
                            if f.sort.is_pot() {
                                Role::PresenceControl
                            } else {
                                Role::ShuntResistor
                            },
                        ));
                    }
                }
            }
            s if s.is_pot() => {
                parts.push((e.part, Role::PresenceControl));
                if other == GROUND {
                    continue;
                }
                for f in view
                    .at(other)
                    .filter(|f| f.part != e.part && f.sort == Sort::Capacitor)
                {
                    parts.push((f.part, Role::PresenceCapacitor));
                }
            }
            _ => {}
        }
    }
    // A presence control that is itself the bottom of the tail: wiper through a capacitor to ground.
    for e in view.at(land).filter(|e| e.sort.is_pot()) {
        for g in view.of_part(e.part) {
            for n in [g.a, g.b].into_iter().filter(|n| *n != GROUND) {
                for f in view
                    .at(n)
                    .filter(|f| f.sort == Sort::Capacitor && f.other(n) == GROUND)
                {
                    parts.push((f.part, Role::PresenceCapacitor));
                }
            }
        }
    }
}

/// Wired parts without a role that touch the signal: coupling capacitors, dividers, peaking networks.
pub(super) fn leftovers(found: &mut Finder<'_>) {
    let touched: BTreeSet<NodeId> = signal_nodes(found);
    let view = &found.view;
    let rest: Vec<&Edge> = view
        .edges
        .iter()
        .filter(|e| {
            !found.has_role(e.part)
                && !matches!(
                    e.sort,
                    Sort::Diode | Sort::Zener | Sort::Lamp | Sort::Fuse | Sort::Choke | Sort::Box
                )
        })
        .collect();
    // Grow from signal nodes through the rest; what is never reached stays unplaced.
    let mut reach = touched;
    let mut changed = true;
    let mut placed: BTreeMap<PartId, (Role, NodeId)> = BTreeMap::new();
    while changed {
        changed = false;
        for e in &rest {
            if placed.contains_key(&e.part) {
                continue;
            }
            let (a, b) = (reach.contains(&e.a), reach.contains(&e.b));
            if !a && !b {
                continue;
            }
            let (near, far) = if a { (e.a, e.b) } else { (e.b, e.a) };
            let to_still = found.still.contains(&e.a) || found.still.contains(&e.b);
            let beside = view
                .between(e.a, e.b)
                .any(|f| f.part != e.part && f.sort == Sort::Resistor);
            let couples = couples(found, e.a, e.b) || couples(found, e.b, e.a);
            let role = match e.sort {
                Sort::Capacitor if to_still => Role::ShuntCapacitor,
                Sort::Capacitor if beside && e.below(3e-9) && !on_secondary(found, e) => {
                    Role::PeakingCapacitor
                }
                Sort::Capacitor if couples => Role::Coupling,
                Sort::Capacitor => Role::SeriesCapacitor,
                Sort::Resistor if to_still => Role::ShuntResistor,
                Sort::Resistor => Role::SeriesResistor,
                Sort::Switch => Role::SignalSwitch,
                Sort::Cell => Role::ModulatorCell,
                _ => Role::SignalControl,
            };
            placed.insert(e.part, (role, near));
            if !found.still.contains(&far) {
                reach.insert(far);
            }
            changed = true;
        }
    }
    // One block for each connected group.
    let mut groups: Vec<Group> = Vec::new();
    for (part, (role, _)) in placed {
        let nodes: BTreeSet<NodeId> = view
            .of_part(part)
            .flat_map(|e| [e.a, e.b])
            .filter(|n| !found.still.contains(n))
            .collect();
        let mut merged = (nodes, vec![(part, role)]);
        let mut kept = Vec::new();
        for g in groups {
            if g.0.is_disjoint(&merged.0) {
                kept.push(g);
            } else {
                merged.0.extend(g.0);
                merged.1.extend(g.1);
            }
        }
        kept.push(merged);
        groups = kept;
    }
    for (nodes, parts) in groups {
        let ends: Vec<NodeId> = nodes.into_iter().collect();
        found.add(Block {
            parts,
            inputs: ends.clone(),
            outputs: ends,
            ..Block::of(BlockKind::Interstage)
        });
    }
}

/// An output transformer's secondary is at one end.
fn on_secondary(found: &Finder<'_>, e: &Edge) -> bool {
    [e.a, e.b].iter().any(|n| {
        found
            .view
            .terminals_at(*n)
            .iter()
            .any(|(p, _)| matches!(found.view.kind(*p), Kind::OutputTransformer(_)))
    })
}

/// From a plate or a follower's cathode onward, or from a control, jack or resistor to a grid.
fn couples(found: &Finder<'_>, from: NodeId, to: NodeId) -> bool {
    let view = &found.view;
    let plate = view.sections.iter().any(|s| s.plate == Some(from))
        || found
            .blocks
            .iter()
            .any(|b| b.kind == BlockKind::Follower && b.outputs.contains(&from));
    let control = view.at(from).any(|e| {
        e.sort == Sort::UpperArm && e.a == from || e.sort == Sort::LowerArm && e.b == from
    }) || view
        .terminals_at(from)
        .iter()
        .any(|(p, _)| matches!(view.kind(*p), Kind::Jack { .. }));
    let grid = view.grids_at(to).next().is_some();
    let loose = |n: NodeId| {
        view.circuit
            .nodes
            .get(n.0)
            .is_some_and(|x| !x.names.is_empty() && x.terminals.len() <= 1)
    };
    // A grid with a leak, fed from anywhere but the foot of a tail or a secondary.
    let fed = grid
        && view.at(to).any(|e| found.is(e.part, Role::GridLeak))
        && !super::controls::on_cathode_chain(found, from)
        && view.grids_at(from).next().is_none()
        && (control || !view.at(from).any(|e| e.sort.is_pot()));
    let beside = view.between(from, to).any(|e| e.sort.is_pot());
    plate && !view.sections.iter().any(|s| s.plate == Some(to))
        || (control && (grid || loose(to)) || fed) && !beside
}

/// Nodes of valve electrodes, jacks, tanks, controls already placed: where signal is known to be.
fn signal_nodes(found: &Finder<'_>) -> BTreeSet<NodeId> {
    let mut nodes: BTreeSet<NodeId> = BTreeSet::new();
    for s in &found.view.sections {
        nodes.extend([s.plate, s.grid, s.cathode, s.screen].into_iter().flatten());
    }
    for b in &found.blocks {
        if matches!(
            b.kind,
            BlockKind::Mains | BlockKind::HtSupply | BlockKind::HeaterSupply
        ) {
            continue;
        }
        for (p, _) in &b.parts {
            nodes.extend(found.view.of_part(*p).flat_map(|e| [e.a, e.b]));
            if matches!(
                found.view.kind(*p),
                Kind::Jack { .. }
                    | Kind::Tank { .. }
                    | Kind::CouplingTransformer(_)
                    | Kind::OutputTransformer(_)
            ) {
                nodes.extend(
                    found.view.circuit.parts[p.0]
                        .terminals
                        .iter()
                        .filter_map(|t| t.node),
                );
            }
        }
    }
    nodes.retain(|n| !found.still.contains(n) && *n != GROUND);
    nodes
}
