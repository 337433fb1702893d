//! Which nodes are supply rails, in order from the reservoir.
//!
//! From rectifier outputs onward through resistors, chokes, fuses and switches to every node
//! that a filter capacitor holds; without a rectifier traced, from capacitors of a microfarad
//! and more to ground, or from the technician's own name (`B2`).

use super::Finder;
use super::view::{Edge, Sort};
use crate::circuit::{GROUND, Kind, NodeId};
use std::collections::BTreeSet;

/// A capacitor at least this large to ground holds a rail.
const FILTER_FARADS: f64 = 0.9e-6;
/// Larger resistors between two capacitors are not droppers.
const LARGEST_DROPPER_OHMS: f64 = 330e3;

pub(super) fn find(found: &mut Finder<'_>) {
    let starts = rectifier_outputs(found);
    for node in starts {
        spread(found, node);
    }
    // Parts of a chain whose rectifier is not traced yet.
    let view = &found.view;
    let mut loose: Vec<NodeId> = Vec::new();
    for i in 1..view.circuit.nodes.len() {
        let node = NodeId(i);
        if found.still.contains(&node) {
            continue;
        }
        if (view.named_rail(node) || held(found, node)) && feeds_plates(found, node) {
            loose.push(node);
        }
    }
    // The one nearest the plates of the output stage first: it has the fewest droppers upstream.
    loose.sort_by_key(|n| (usize::from(!on_a_primary(found, *n)), n.0));
    for node in loose {
        if !found.rails.contains(&node) {
            spread(found, node);
        }
    }
}

/// Nodes where a rectifier gives its positive output.
fn rectifier_outputs(found: &Finder<'_>) -> Vec<NodeId> {
    let view = &found.view;
    let mut out = Vec::new();
    for (_, _, cathode) in &view.rectifier_plates {
        out.extend(*cathode);
    }
    for bridge in view.parts(|k| matches!(k, Kind::Bridge)) {
        if let Some(plus) = view.terminal(bridge, "plus")
            && plus != GROUND
        {
            out.push(plus);
        }
    }
    // A diode from a winding (its a end) into a held node.
    for e in view.edges.iter().filter(|e| e.sort == Sort::Diode) {
        if near_winding(found, e.a)
            && !near_winding(found, e.b)
            && e.b != GROUND
            && held(found, e.b)
        {
            out.push(e.b);
        }
    }
    let mut seen = BTreeSet::new();
    out.retain(|n| *n != GROUND && seen.insert(*n));
    out
}

/// Whether a winding of a mains transformer is on this node, directly or through a resistor, fuse or switch.
pub(super) fn near_winding(found: &Finder<'_>, node: NodeId) -> bool {
    let view = &found.view;
    let direct = |n: NodeId| {
        view.terminals_at(n)
            .iter()
            .any(|(p, _)| matches!(view.kind(*p), Kind::PowerTransformer(_)))
    };
    node != GROUND
        && (direct(node)
            || view.at(node).any(|e| {
                let o = e.other(node);
                o != GROUND
                    && matches!(e.sort, Sort::Resistor | Sort::Fuse | Sort::Switch)
                    && direct(o)
                    && !view
                        .parts(|k| matches!(k, Kind::PowerTransformer(_)))
                        .iter()
                        .any(|t| {
                            view.terminal(*t, "pri1") == Some(o)
                                || view.terminal(*t, "pri2") == Some(o)
                        })
            }))
}

/// A filter capacitor holds this node, directly or as the top of two in series.
pub(super) fn held(found: &Finder<'_>, node: NodeId) -> bool {
    let view = &found.view;
    view.at(node).any(|e| {
        e.sort == Sort::Capacitor
            && e.at_least(FILTER_FARADS)
            && (e.other(node) == GROUND
                || found.rails.contains(&e.other(node))
                || view.at(e.other(node)).any(|f| {
                    f.part != e.part
                        && f.sort == Sort::Capacitor
                        && f.at_least(FILTER_FARADS)
                        && f.other(e.other(node)) == GROUND
                }))
    })
}

fn on_a_primary(found: &Finder<'_>, node: NodeId) -> bool {
    let view = &found.view;
    view.terminals_at(node)
        .iter()
        .any(|(p, _)| matches!(view.kind(*p), Kind::OutputTransformer(_)))
}

/// Something leads from here to a plate or a screen: a load, a primary, or the next dropper.
fn feeds_plates(found: &Finder<'_>, node: NodeId) -> bool {
    let view = &found.view;
    let plate = |n: NodeId| {
        view.sections
            .iter()
            .any(|s| s.plate == Some(n) || s.screen == Some(n))
    };
    // A cathode's own bypassed node is no rail.
    if view.sections.iter().any(|s| s.cathode == Some(node)) {
        return false;
    }
    let reach = view.through(node, &found.still, |e| {
        matches!(
            e.sort,
            Sort::Resistor | Sort::Choke | Sort::Fuse | Sort::Switch
        ) && e.a != GROUND
            && e.b != GROUND
    });
    reach.iter().any(|n| plate(*n)) || on_a_primary(found, node)
}

/// Walks from one rail to the next.
fn spread(found: &mut Finder<'_>, start: NodeId) {
    if found.rails.contains(&start) {
        return;
    }
    let mut todo = std::collections::VecDeque::from([start]);
    found.rails.push(start);
    found.still.insert(start);
    while let Some(node) = todo.pop_front() {
        let next: Vec<NodeId> = found
            .view
            .at(node)
            .filter(|e| passes(e))
            .map(|e| e.other(node))
            .filter(|n| *n != GROUND)
            .collect();
        for n in next {
            if found.rails.contains(&n) {
                continue;
            }
            let plate = found
                .view
                .sections
                .iter()
                .any(|s| s.plate == Some(n) || s.cathode == Some(n) || s.grid == Some(n));
            let joined = found
                .view
                .between(node, n)
                .any(|e| matches!(e.sort, Sort::Fuse | Sort::Switch | Sort::Choke));
            // The middle of two capacitors in series is held, but is no rail.
            let middle = found
                .view
                .between(node, n)
                .any(|e| e.sort == Sort::Capacitor && e.at_least(FILTER_FARADS));
            if !middle
                && (held(found, n) || found.view.named_rail(n) || joined)
                && !plate
                && !lifts_heaters(found, n)
            {
                found.rails.push(n);
                found.still.insert(n);
                todo.push_back(n);
            }
        }
    }
}

/// The tapping of a divider that raises the heaters is no rail.
fn lifts_heaters(found: &Finder<'_>, node: NodeId) -> bool {
    let view = &found.view;
    let on_heaters = |n: NodeId| {
        !found.rails.contains(&n)
            && view
                .terminals_at(n)
                .iter()
                .any(|(p, t)| match view.kind(*p) {
                    Kind::PowerTransformer(pt) => pt.windings.iter().any(|w| {
                        w.taps.iter().any(|(i, _)| i == t)
                            && w.taps.iter().all(|(_, v)| v.abs() < 20.0)
                    }),
                    _ => false,
                })
    };
    on_heaters(node)
        || view
            .at(node)
            .any(|e| e.sort.resistive() && e.other(node) != GROUND && on_heaters(e.other(node)))
}

fn passes(e: &Edge) -> bool {
    match e.sort {
        Sort::Choke | Sort::Fuse | Sort::Switch => true,
        Sort::Resistor => !e.at_least(LARGEST_DROPPER_OHMS),
        _ => false,
    }
}
