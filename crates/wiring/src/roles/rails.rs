//! Which nodes are supply rails, in order from the reservoir.
//!
//! From rectifier outputs onward through resistors, chokes, fuses and switches to every node
//! that a filter capacitor holds; without a rectifier traced, from capacitors of a microfarad
//! and more to ground, or from the technician's own name (`B2`).

use super::Finder;
use super::heaters::on_low_winding;
use super::view::{Edge, Sort};
use crate::circuit::{GROUND, Kind, NodeId, PartId};
use std::collections::BTreeSet;

/// Rails in the order they were found, with a quick look-up.
#[derive(Debug, Clone, Default)]
pub(crate) struct Rails {
    order: Vec<NodeId>,
    all: BTreeSet<NodeId>,
}

impl Rails {
    /// Whether it was new.
    fn insert(&mut self, node: NodeId) -> bool {
        let new = self.all.insert(node);
        if new {
            self.order.push(node);
        }
        new
    }

    pub(crate) fn contains(&self, node: &NodeId) -> bool {
        self.all.contains(node)
    }

    /// The reservoir's first.
    pub(crate) fn in_order(&self) -> &[NodeId] {
        &self.order
    }
}

/// A capacitor at least this large to ground holds a rail.
const FILTER_FARADS: f64 = 0.9e-6;
/// Larger resistors between two capacitors are not droppers.
const LARGEST_DROPPER_OHMS: f64 = 330e3;

pub(super) fn find(found: &mut Finder<'_>) {
    // What a stage moves is no rail.
    let electrodes: BTreeSet<NodeId> = found
        .view
        .sections
        .iter()
        .flat_map(|s| [s.plate, s.cathode, s.grid])
        .flatten()
        .collect();
    for node in rectifier_outputs(found) {
        spread(found, node, &electrodes);
    }
    // Parts of a chain whose rectifier is not traced yet.
    let view = &found.view;
    let leading = lead_to_plates(found);
    let mut loose: Vec<NodeId> = Vec::new();
    for i in 1..view.circuit.nodes.len() {
        let node = NodeId(i);
        if found.still.contains(&node) {
            continue;
        }
        let named = view.named_rail(node);
        let feeds = leading.contains(&node) || on_a_primary(found, node);
        if (named && held(found, node) || (named || held(found, node)) && feeds)
            && !lifts_heaters(found, node)
            && !divides(found, node)
        {
            loose.push(node);
        }
    }
    // The one nearest the plates of the output stage first: it has the fewest droppers upstream.
    loose.sort_by_key(|n| (usize::from(!on_a_primary(found, *n)), n.0));
    for node in loose {
        spread(found, node, &electrodes);
    }
}

/// Nodes where a rectifier gives its positive output.
pub(super) fn rectifier_outputs(found: &Finder<'_>) -> Vec<NodeId> {
    let view = &found.view;
    let mut out = Vec::new();
    for (_, _, cathode) in &view.rectifier_plates {
        out.extend(*cathode);
    }
    for bridge in view.parts(|k| matches!(k, Kind::Bridge)) {
        let low = ["ac1", "ac2"].iter().any(|n| {
            view.terminal(bridge, n)
                .is_some_and(|n| on_low_winding(found, n))
        });
        if let Some(plus) = view.terminal(bridge, "plus")
            && !low
            && !smooths_heaters(found, plus)
        {
            out.push(plus);
        }
    }
    // Diodes from a winding, one or several in a row, into a node that is held or leads on to one.
    for e in view.edges.iter().filter(|e| e.sort == Sort::Diode) {
        if !alternating(found, e.a) {
            continue;
        }
        let mut end = e.b;
        for _ in 0..4 {
            match along(found, end) {
                Some(next) => end = next,
                None => break,
            }
        }
        if end != GROUND && !alternating(found, end) && (held(found, end) || leads_on(found, end)) {
            out.push(end);
        }
    }
    let mut seen = BTreeSet::new();
    out.retain(|n| *n != GROUND && seen.insert(*n));
    out
}

/// A capacitor this large is for low volts.
fn smooths_heaters(found: &Finder<'_>, node: NodeId) -> bool {
    let view = &found.view;
    let large = |n: NodeId| {
        n != GROUND
            && view
                .at(n)
                .any(|e| e.sort == Sort::Capacitor && e.at_least(900e-6))
    };
    large(node)
        || view
            .at(node)
            .any(|e| e.sort == Sort::Resistor && e.below(50.0) && large(e.other(node)))
}

/// The next node of a row of diodes: nothing but diodes here, one of them leading on.
fn along(found: &Finder<'_>, node: NodeId) -> Option<NodeId> {
    let view = &found.view;
    if node == GROUND || view.at(node).any(|e| e.sort != Sort::Diode) {
        return None;
    }
    view.at(node).find(|e| e.a == node).map(|e| e.b)
}

/// A node that a high-tension winding moves: on one, or behind the capacitor that feeds a doubler.
fn alternating(found: &Finder<'_>, node: NodeId) -> bool {
    let view = &found.view;
    if node == GROUND || on_low_winding(found, node) {
        return false;
    }
    near_winding(found, node)
        || view.at(node).any(|e| {
            e.sort == Sort::Capacitor
                && e.at_least(1e-6)
                && e.other(node) != GROUND
                && near_winding(found, e.other(node))
                && !on_low_winding(found, e.other(node))
        }) && view.at(node).filter(|e| e.sort == Sort::Diode).count() >= 2
}

/// A switch, fuse, choke or small resistor leads from here to a held node.
fn leads_on(found: &Finder<'_>, node: NodeId) -> bool {
    found.view.at(node).any(|e| {
        passes(e)
            && !e.at_least(1e3)
            && e.other(node) != GROUND
            && (held(found, e.other(node)) || found.view.named_rail(e.other(node)))
    })
}

/// Every diode between a winding and these rails, with the node of its winding side.
pub(super) fn rectifier_diodes(
    found: &Finder<'_>,
    rails: &BTreeSet<NodeId>,
) -> Vec<(PartId, NodeId)> {
    let view = &found.view;
    let mut out = Vec::new();
    let mut ends = BTreeSet::new();
    let mut ahead: Vec<NodeId> = rails.iter().copied().collect();
    let mut seen: BTreeSet<NodeId> = rails.clone();
    while let Some(n) = ahead.pop() {
        for e in view.at(n).filter(|e| e.sort == Sort::Diode && e.b == n) {
            if e.a == GROUND || rails.contains(&e.a) {
                continue;
            }
            out.push((e.part, e.a));
            if alternating(found, e.a) {
                ends.insert(e.a);
            } else if seen.insert(e.a) {
                ahead.push(e.a);
            }
        }
    }
    // The other half of a bridge or a doubler: from ground into the winding.
    for e in view.edges.iter().filter(|e| e.sort == Sort::Diode) {
        if e.a == GROUND && (ends.contains(&e.b) || alternating(found, e.b)) {
            out.push((e.part, e.b));
        }
    }
    out
}

/// A terminal of a mains transformer is on this node.
pub(super) fn on_winding(found: &Finder<'_>, node: NodeId) -> bool {
    let view = &found.view;
    node != GROUND
        && view
            .terminals_at(node)
            .iter()
            .any(|(p, _)| matches!(view.kind(*p), Kind::PowerTransformer(_)))
}

/// Whether a winding of a mains transformer is on this node, directly or through a small resistor, a fuse or a switch.
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
                    && (matches!(e.sort, Sort::Fuse | Sort::Switch)
                        || e.sort == Sort::Resistor && e.below(2e3))
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
            // With its plus the other way it holds a negative line.
            && e.plus.is_none_or(|p| p == node || p != GROUND && !found.back.contains(&p))
            && (e.other(node) == GROUND
                || found.rails.contains(&e.other(node))
                || found.back.contains(&e.other(node))
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

/// Nodes from which a load, a dropper, a choke, a fuse or a switch leads on to a plate or a screen,
/// however many of them in a row. A cathode's own bypassed node is no rail and is left out.
fn lead_to_plates(found: &Finder<'_>) -> BTreeSet<NodeId> {
    let view = &found.view;
    let leads = |e: &&Edge| {
        matches!(
            e.sort,
            Sort::Resistor | Sort::Choke | Sort::Fuse | Sort::Switch
        ) && e.a != GROUND
            && e.b != GROUND
    };
    let mut seen: BTreeSet<NodeId> = view
        .sections
        .iter()
        .flat_map(|s| [s.plate, s.screen])
        .flatten()
        .collect();
    let mut ahead: Vec<NodeId> = seen.iter().copied().collect();
    while let Some(n) = ahead.pop() {
        for e in view.at(n).filter(leads) {
            let next = e.other(n);
            if !found.still.contains(&next) && seen.insert(next) {
                ahead.push(next);
            }
        }
    }
    for cathode in view.sections.iter().filter_map(|s| s.cathode) {
        seen.remove(&cathode);
    }
    seen
}

/// Walks from one rail to the next.
fn spread(found: &mut Finder<'_>, start: NodeId, electrodes: &BTreeSet<NodeId>) {
    if !found.rails.insert(start) {
        return;
    }
    let mut ahead = std::collections::VecDeque::from([start]);
    found.still.insert(start);
    while let Some(node) = ahead.pop_front() {
        let next: Vec<NodeId> = found
            .view
            .at(node)
            .filter(|e| passes(e))
            .map(|e| e.other(node))
            .filter(|n| *n != GROUND)
            .collect();
        for n in next {
            if found.rails.contains(&n) || electrodes.contains(&n) {
                continue;
            }
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
                && !lifts_heaters(found, n)
                && !divides(found, n)
                && (joined || !on_high_winding(found, n))
            {
                found.rails.insert(n);
                found.still.insert(n);
                ahead.push_back(n);
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

/// The tapping of a divider: to ground there is less than to the rail, and nothing is fed.
fn divides(found: &Finder<'_>, node: NodeId) -> bool {
    let view = &found.view;
    let down = view
        .at(node)
        .filter(|e| e.sort == Sort::Resistor && e.other(node) == GROUND)
        .filter_map(|e| e.value)
        .fold(f64::INFINITY, f64::min);
    let up = view
        .at(node)
        .filter(|e| e.sort == Sort::Resistor && e.other(node) != GROUND)
        .filter_map(|e| e.value)
        .fold(f64::INFINITY, f64::min);
    !view.named_rail(node)
        && down.is_finite()
        && up.is_finite()
        && down < up
        && view.terminals_at(node).iter().all(|(p, _)| {
            matches!(
                view.kind(*p),
                Kind::Resistor { .. } | Kind::Capacitor { .. } | Kind::Pot { .. }
            )
        })
}

/// A high-tension winding's own end or tap: what moves with it is no rail.
fn on_high_winding(found: &Finder<'_>, node: NodeId) -> bool {
    let view = &found.view;
    view.terminals_at(node)
        .iter()
        .any(|(p, t)| match view.kind(*p) {
            Kind::PowerTransformer(pt) => pt.windings.iter().any(|w| {
                w.taps.iter().any(|(i, _)| i == t) && w.taps.iter().any(|(_, v)| v.abs() > 100.0)
            }),
            _ => false,
        })
}

fn passes(e: &Edge) -> bool {
    match e.sort {
        Sort::Choke | Sort::Fuse | Sort::Switch => true,
        Sort::Resistor => !e.at_least(LARGEST_DROPPER_OHMS),
        _ => false,
    }
}
