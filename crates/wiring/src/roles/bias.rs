//! Bias supplies: a rectifier the other way round with its filter and divider, or a resistor
//! under the high-tension supply whose volts the whole current makes.

use super::rails::{held, near_winding, on_winding};
use super::view::Sort;
use super::{Block, BlockKind, Finder, Role};
use crate::circuit::{GROUND, Kind, NodeId, PartId};
use std::collections::BTreeSet;

/// A resistor that lifts the high-tension supply off ground is smaller than this.
const MOST_BACK_OHMS: f64 = 3e3;

/// The centre tap, or the minus of a bridge, on ground through a resistor that something is taken from.
pub(super) fn back(found: &mut Finder<'_>) {
    let view = &found.view;
    let mut starts: Vec<NodeId> = Vec::new();
    for t in view.parts(|k| matches!(k, Kind::PowerTransformer(_))) {
        if let Kind::PowerTransformer(pt) = view.kind(t) {
            let taps = pt
                .windings
                .iter()
                .filter(|w| w.taps.iter().any(|(_, v)| v.abs() > 100.0))
                .flat_map(|w| w.taps.iter().filter(|(_, v)| *v == 0.0));
            starts.extend(taps.filter_map(|(i, _)| {
                view.circuit.parts[t.0]
                    .terminals
                    .get(*i)
                    .and_then(|x| x.node)
            }));
        }
    }
    for bridge in view.parts(|k| matches!(k, Kind::Bridge)) {
        let on_heaters = ["ac1", "ac2"].iter().any(|n| {
            view.terminal(bridge, n)
                .is_some_and(|n| super::heaters::on_low_winding(found, n))
        });
        if !on_heaters {
            starts.extend(view.terminal(bridge, "minus"));
        }
    }
    let mut nodes = BTreeSet::new();
    let mut parts = BTreeSet::new();
    for start in starts {
        let region = view.through(start, &BTreeSet::new(), |e| {
            matches!(e.sort, Sort::Fuse | Sort::Switch)
        });
        if region.contains(&GROUND) {
            continue;
        }
        for node in region.iter().copied() {
            for way in ways_down(found, node, 3) {
                let on_it: BTreeSet<NodeId> = way
                    .iter()
                    .flat_map(|p| view.of_part(*p))
                    .flat_map(|e| [e.a, e.b])
                    .chain(region.iter().copied())
                    .filter(|n| *n != GROUND)
                    .collect();
                let used = on_it.iter().any(|n| {
                    view.grids_at(*n).next().is_some()
                        || view
                            .at(*n)
                            .any(|e| e.sort == Sort::Resistor && !way.contains(&e.part))
                });
                if used {
                    nodes.extend(on_it);
                    parts.extend(way);
                }
            }
        }
    }
    found.back = nodes.into_iter().collect();
    found.back_parts = parts.into_iter().collect();
}

/// Chains of small resistors from a node to ground.
fn ways_down(found: &Finder<'_>, node: NodeId, most: usize) -> Vec<Vec<PartId>> {
    let view = &found.view;
    let mut ways = Vec::new();
    for e in view
        .at(node)
        .filter(|e| e.sort == Sort::Resistor && !e.at_least(MOST_BACK_OHMS))
    {
        let next = e.other(node);
        if next == GROUND {
            ways.push(vec![e.part]);
        } else if most > 1 && !on_winding(found, next) {
            for mut way in ways_down(found, next, most - 1) {
                if !way.contains(&e.part) {
                    way.push(e.part);
                    ways.push(way);
                }
            }
        }
    }
    ways
}

/// Every part from the bias rectifier to the grid leaks.
pub(super) fn find(found: &mut Finder<'_>) {
    let mut block = Block::of(BlockKind::BiasSupply);
    let view = &found.view;
    let mut starts = found.back.clone();
    block
        .parts
        .extend(found.back_parts.iter().map(|p| (*p, Role::BackBias)));
    for e in view.edges.iter().filter(|e| e.sort == Sort::Diode) {
        // Conducts from the bias node (a) into the winding (k).
        if e.a == GROUND
            || found.rails.contains(&e.a)
            || found.rails.contains(&e.b)
            || !reaches_winding(found, e.b, e.part)
            || !held_below(found, e.a)
        {
            continue;
        }
        starts.push(e.a);
        block.parts.push((e.part, Role::Rectifier));
        for f in view.at(e.b).filter(|f| f.part != e.part) {
            let far = f.other(e.b);
            match f.sort {
                Sort::Resistor if far == GROUND => block.parts.push((f.part, Role::BiasDivider)),
                Sort::Resistor if !found.rails.contains(&far) => {
                    block.parts.push((f.part, Role::BiasFeed));
                }
                Sort::Capacitor if far != GROUND => {
                    block.parts.push((f.part, Role::BiasFeedCapacitor));
                }
                Sort::Diode if far == GROUND => block.parts.push((f.part, Role::Rectifier)),
                _ => {}
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
    let mut ahead = starts;
    let mut seen: BTreeSet<NodeId> = BTreeSet::new();
    let grid_side =
        |n: NodeId| view.sections.iter().any(|s| s.grid == Some(n)) || driven_front(found, n);
    while let Some(n) = ahead.pop() {
        if n == GROUND || found.rails.contains(&n) || grid_side(n) || !seen.insert(n) {
            continue;
        }
        for e in view.at(n) {
            let other = e.other(n);
            if block.parts.iter().any(|(p, _)| *p == e.part)
                && (e.sort == Sort::Diode || found.back_parts.contains(&e.part))
            {
                continue;
            }
            match e.sort {
                Sort::Capacitor if other == GROUND && e.at_least(0.5e-6) => {
                    block.parts.push((e.part, Role::BiasFilter));
                }
                Sort::Resistor if other == GROUND && !e.below(470.0) => {
                    block.parts.push((e.part, Role::BiasDivider));
                }
                // Onward as long as the next node is held or only divides; grid leaks end it.
                Sort::Resistor
                    if other != GROUND
                        && !grid_side(other)
                        && (held_below(found, other) || only_divides(found, other, e.part)) =>
                {
                    block.parts.push((e.part, Role::BiasDivider));
                    ahead.push(other);
                }
                s if s.is_pot() && !grid_side(other) => {
                    block.parts.push((e.part, Role::BiasControl));
                    ahead.push(other);
                }
                Sort::Diode | Sort::Switch
                    if !near_winding(found, other)
                        && !found.rails.contains(&other)
                        && other != GROUND =>
                {
                    ahead.push(other);
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

/// A plate's coupling capacitor ends here and a stopper leads on to an output valve's grid: the signal's side of a
/// control that stands on the bias.
fn driven_front(found: &Finder<'_>, node: NodeId) -> bool {
    let view = &found.view;
    let coupled = view.at(node).any(|e| {
        let far = e.other(node);
        e.sort == Sort::Capacitor
            && far != GROUND
            && view.sections.iter().any(|s| s.plate == Some(far))
    });
    coupled
        && view.at(node).any(|e| {
            e.sort == Sort::Resistor
                && e.below(47e3)
                && view
                    .grids_at(e.other(node))
                    .any(|i| view.sections[i].pentode)
        })
}

/// A winding lies behind this node, through a resistor or a capacitor at most.
pub(super) fn reaches_winding(found: &Finder<'_>, node: NodeId, diode: PartId) -> bool {
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
    let mut others = view.at(node).filter(|e| e.part != from).peekable();
    // A capacitor may bring a tremolo's sway to a tapping that a second resistor holds.
    let others_at = || {
        view.at(node)
            .filter(|e| e.part != from && e.sort == Sort::Resistor)
    };
    let held = others_at().any(|e| e.other(node) == GROUND)
        || others_at().filter(|e| e.at_least(47e3)).count() >= 2;
    others.peek().is_some()
        && others.all(|e| {
            let far = e.other(node);
            match e.sort {
                Sort::Capacitor => far == GROUND || held,
                s if s.is_pot() => true,
                // A triode's leak goes to the junction of a tail, not to a bias line.
                Sort::Resistor => {
                    far == GROUND
                        || e.at_least(47e3) && view.grids_at(far).all(|i| view.sections[i].pentode)
                }
                _ => false,
            }
        })
}
