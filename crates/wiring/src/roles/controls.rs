//! Volume controls, and single tone controls that hang on the signal.
//!
//! A control is only named where its way in and its way out are traced: half of one looks like
//! half of another.

use super::tone::{block, ends, free_pots};
use super::view::Sort;
use super::{BlockKind, Finder, Role};
use crate::circuit::{GROUND, Kind, NodeId, PartId};
use std::collections::BTreeSet;

/// Smaller tracks load a plate too much to set its level.
const LEAST_VOLUME_OHMS: f64 = 40e3;
/// A tone capacitor is smaller than this; a larger one holds a direct voltage.
const MOST_TONE_FARADS: f64 = 0.3e-6;
/// A resistor in series with a tone control is smaller than this.
const MOST_TONE_OHMS: f64 = 47e3;

/// A control from signal to ground with its wiper onward.
pub(super) fn volumes(found: &mut Finder<'_>) {
    for pot in free_pots(found) {
        let Some((top, wiper, low)) = level_ends(found, pot) else {
            continue;
        };
        let view = &found.view;
        // Above a resistor, with a capacitor over the lower arm or a resistor to another wiper, it is
        // a bass control.
        let over_lower = low != GROUND
            && view.at(wiper).any(|e| {
                let far = e.other(wiper);
                e.sort == Sort::Capacitor && far == low
                    || e.sort == Sort::Resistor
                        && view
                            .terminals_at(far)
                            .iter()
                            .any(|(p, _)| *p != pot && matches!(view.kind(*p), Kind::Pot { .. }))
            });
        let forward = fed(found, pot, top, wiper) && onward(found, pot, top, wiper);
        // Some wire it the other way round: in at the wiper, out at the top.
        let backward = driven(found, wiper) && onward(found, pot, wiper, top);
        if over_lower || !forward && !backward {
            continue;
        }
        let (way_in, way_out) = if forward { (top, wiper) } else { (wiper, top) };
        let mut parts = vec![(pot, Role::VolumeControl)];
        for e in view
            .between(top, wiper)
            .filter(|e| e.sort == Sort::Capacitor)
        {
            parts.push((e.part, Role::BrightCapacitor));
        }
        // A bright capacitor behind a switch.
        for e in view
            .at(top)
            .filter(|e| e.sort == Sort::Capacitor && e.below(2e-9))
        {
            let mid = e.other(top);
            for f in view.between(mid, wiper).filter(|f| f.sort == Sort::Switch) {
                parts.push((e.part, Role::BrightCapacitor));
                parts.push((f.part, Role::SignalSwitch));
            }
        }
        found.add(block(BlockKind::Volume, parts, vec![way_in], vec![way_out]));
    }
}

/// Top, wiper and low end of a control whose low end stands still, or nearly.
fn level_ends(found: &Finder<'_>, pot: PartId) -> Option<(NodeId, NodeId, NodeId)> {
    let view = &found.view;
    let (Some(a), Some(w), Some(c)) = ends(found, pot) else {
        return None;
    };
    if view.of_part(pot).any(|e| e.below(LEAST_VOLUME_OHMS)) {
        return None;
    }
    let low = |n: NodeId| {
        found.still.contains(&n) && !found.rails.contains(&n) && !found.bias_rails.contains(&n)
            || view
                .at(n)
                .any(|e| e.sort == Sort::Resistor && e.other(n) == GROUND && e.below(50e3))
    };
    let (top, bottom) = if low(a) && !found.still.contains(&c) {
        (c, a)
    } else if low(c) && !found.still.contains(&a) {
        (a, c)
    } else {
        return None;
    };
    (w != top && w != bottom && !found.still.contains(&w)).then_some((top, w, bottom))
}

/// Something brings signal to the top: a part that goes elsewhere, a wire to a plate or a jack, or
/// a point the technician named and traced no further.
fn fed(found: &Finder<'_>, pot: PartId, top: NodeId, wiper: NodeId) -> bool {
    let view = &found.view;
    let by_part = view.at(top).any(|e| {
        e.part != pot
            && e.other(top) != wiper
            && !found.still.contains(&e.other(top))
            && (e.sort == Sort::Capacitor || e.sort.resistive() || e.sort == Sort::Switch)
    });
    by_part || named_end(found, pot, top) || on_jack(found, top) || view.grids_at(top).count() > 0
}

/// A plate drives this node through a capacitor.
fn driven(found: &Finder<'_>, node: NodeId) -> bool {
    found.view.at(node).any(|e| {
        e.sort == Sort::Capacitor
            && found
                .view
                .sections
                .iter()
                .any(|s| s.plate == Some(e.other(node)))
    })
}

/// The wiper leads on to a grid, a jack, another control: directly, or through a capacitor, a
/// resistor, or both; or it ends at a point the technician named.
fn onward(found: &Finder<'_>, pot: PartId, top: NodeId, wiper: NodeId) -> bool {
    let view = &found.view;
    // A point held for the signal is no way on.
    if view.at(wiper).any(|e| {
        e.sort == Sort::Capacitor
            && e.at_least(MOST_TONE_FARADS)
            && found.still.contains(&e.other(wiper))
    }) {
        return false;
    }
    let mut seen = BTreeSet::from([wiper, top]);
    let mut ahead = vec![(wiper, 0_usize, false)];
    while let Some((n, depth, resistor)) = ahead.pop() {
        let output_grid = |i: usize| super::stages::power(found, i);
        // The leak of an output grid is no way for a signal from a control.
        if view.grids_at(n).any(|i| !(resistor && output_grid(i))) || on_jack(found, n) {
            return true;
        }
        if n != wiper && view.at(n).any(|e| e.sort.is_pot() && e.part != pot) {
            return true;
        }
        if n == wiper
            && view
                .at(n)
                .any(|e| e.sort.is_pot() && e.part != pot && found.view.of_part(e.part).count() > 0)
        {
            return true;
        }
        if depth == 2 {
            continue;
        }
        let shunted = view.at(n).any(|e| {
            e.sort == Sort::Capacitor && e.at_least(8e-9) && found.still.contains(&e.other(n))
        });
        if n != wiper && shunted {
            continue;
        }
        for e in view.at(n).filter(|e| e.part != pot) {
            let far = e.other(n);
            let passes = match e.sort {
                Sort::Capacitor | Sort::Switch => true,
                Sort::Resistor => !resistor,
                _ => false,
            };
            let cathode = view.sections.iter().any(|s| s.cathode == Some(far));
            if passes && !cathode && !found.still.contains(&far) && seen.insert(far) {
                ahead.push((far, depth + 1, resistor || e.sort == Sort::Resistor));
            }
        }
    }
    named_end(found, pot, wiper)
        || view
            .at(wiper)
            .any(|e| e.sort == Sort::Resistor && e.at_least(33e3) && loose(found, e.other(wiper)))
}

/// A named point with nothing on it but this control.
fn named_end(found: &Finder<'_>, pot: PartId, node: NodeId) -> bool {
    found
        .view
        .circuit
        .nodes
        .get(node.0)
        .is_some_and(|n| !n.names.is_empty() && n.terminals.iter().all(|(p, _)| *p == pot))
}

/// A named point where the tracing ends.
fn loose(found: &Finder<'_>, node: NodeId) -> bool {
    found
        .view
        .circuit
        .nodes
        .get(node.0)
        .is_some_and(|n| !n.names.is_empty() && n.terminals.len() <= 1)
}

fn on_jack(found: &Finder<'_>, node: NodeId) -> bool {
    found
        .view
        .terminals_at(node)
        .iter()
        .any(|(p, _)| matches!(found.view.kind(*p), Kind::Jack { .. }))
}

/// A control and a capacitor in a row from the signal to ground, in either order; or a bridge
/// between a volume control's top, its wiper and ground.
pub(super) fn singles(found: &mut Finder<'_>) {
    for pot in free_pots(found) {
        let (a, w, c) = ends(found, pot);
        let distinct: BTreeSet<NodeId> = [a, w, c].into_iter().flatten().collect();
        let made = if w.is_some() && distinct.len() == 2 {
            in_a_row(found, &distinct, a.is_some() && c.is_some())
        } else if distinct.len() == 3 {
            bridge(found, pot)
        } else {
            None
        };
        if let Some((mut parts, signal)) = made {
            parts.insert(0, (pot, Role::ToneControl));
            found.add(block(
                BlockKind::SingleTone,
                parts,
                signal,
                distinct.into_iter().filter(|n| *n != GROUND).collect(),
            ));
        }
    }
}

type Made = (Vec<(PartId, Role)>, Vec<NodeId>);

/// The control as a variable resistance: signal, capacitor, control, ground; or signal, control,
/// capacitor, ground. `tied` says that the wiper is joined to an end.
fn in_a_row(found: &Finder<'_>, nodes: &BTreeSet<NodeId>, tied: bool) -> Option<Made> {
    let view = &found.view;
    let still = |n: NodeId| {
        found.still.contains(&n) && !found.rails.contains(&n) && !found.bias_rails.contains(&n)
    };
    let tone_capacitors = |n: NodeId| {
        view.at(n)
            .filter(|e| {
                e.sort == Sort::Capacitor
                    && !e.at_least(MOST_TONE_FARADS)
                    && !found.has_role(e.part)
            })
            .copied()
            .collect::<Vec<_>>()
    };
    let pair: Vec<NodeId> = nodes.iter().copied().collect();
    for (x, y) in [(pair[0], pair[1]), (pair[1], pair[0])] {
        let resistor = view.at(y).find(|e| {
            !still(y)
                && e.sort == Sort::Resistor
                && still(e.other(y))
                && e.below(MOST_TONE_OHMS)
                && !found.has_role(e.part)
        });
        // Capacitor above, ground (or a resistor to it) below.
        if still(y) || resistor.is_some() {
            let above: Vec<_> = tone_capacitors(x)
                .into_iter()
                .filter(|e| !still(e.other(x)) && e.other(x) != y)
                .collect();
            if let [e] = above.as_slice() {
                let s = e.other(x);
                // With a lug left free it might be a level control fed from the plate.
                let plate = view.sections.iter().any(|t| t.plate == Some(s));
                let elsewhere = on_cathode_chain(found, s) || holds_a_grid(found, s);
                if tied && !elsewhere || !plate && carries(found, s) {
                    let mut parts = vec![(e.part, Role::ToneCapacitor)];
                    parts.extend(resistor.map(|r| (r.part, Role::ToneResistor)));
                    return Some((parts, vec![s]));
                }
            }
        }
        // Capacitor below, the signal above.
        let below: Vec<_> = tone_capacitors(y)
            .into_iter()
            .filter(|e| still(e.other(y)))
            .collect();
        if let [e] = below.as_slice()
            && !still(x)
            && carries(found, x)
            && view.at(y).count() <= 2
        {
            return Some((vec![(e.part, Role::ToneCapacitor)], vec![x]));
        }
    }
    None
}

/// One end by a capacitor on a volume control's top, the wiper on its wiper, the other end by a
/// capacitor to ground.
fn bridge(found: &Finder<'_>, pot: PartId) -> Option<Made> {
    let view = &found.view;
    let (Some(a), Some(w), Some(c)) = ends(found, pot) else {
        return None;
    };
    let volumes: Vec<(NodeId, NodeId)> = found
        .blocks
        .iter()
        .filter(|b| b.kind == BlockKind::Volume)
        .filter_map(|b| Some((*b.inputs.first()?, *b.outputs.first()?)))
        .collect();
    for (high, low) in [(c, a), (a, c)] {
        for (top, wiper) in &volumes {
            if w != *wiper {
                continue;
            }
            let up = view.between(high, *top).find(|e| e.sort == Sort::Capacitor);
            let down = view
                .at(low)
                .find(|e| e.sort == Sort::Capacitor && found.still.contains(&e.other(low)));
            if let (Some(up), Some(down)) = (up, down) {
                return Some((
                    vec![
                        (up.part, Role::ToneCapacitor),
                        (down.part, Role::ToneCapacitor),
                    ],
                    vec![*top],
                ));
            }
        }
    }
    None
}

/// A node that a plate drives through a capacitor, or that is a volume control's top or a plate.
fn carries(found: &Finder<'_>, node: NodeId) -> bool {
    let view = &found.view;
    let source = |n: NodeId| {
        view.sections.iter().any(|s| s.plate == Some(n))
            || found
                .blocks
                .iter()
                .any(|b| b.kind == BlockKind::Follower && b.outputs.contains(&n))
    };
    source(node)
        || found
            .blocks
            .iter()
            .any(|b| b.kind == BlockKind::Volume && b.inputs.contains(&node))
        || view
            .at(node)
            .any(|e| e.sort == Sort::Capacitor && source(e.other(node)))
}

/// A capacitor leads from here to a grid: signal goes there, or stands still there.
fn holds_a_grid(found: &Finder<'_>, node: NodeId) -> bool {
    let view = &found.view;
    !carries(found, node)
        && view
            .at(node)
            .any(|e| e.sort == Sort::Capacitor && view.grids_at(e.other(node)).next().is_some())
}

/// Small resistances lead from here to a cathode or to ground, or any to a secondary: no place for a
/// tone control.
pub(super) fn on_cathode_chain(found: &Finder<'_>, node: NodeId) -> bool {
    let view = &found.view;
    found.view.sections.iter().any(|s| s.cathode == Some(node))
        || view.at(node).any(|e| {
            e.sort == Sort::Resistor
                && (e.below(15e3)
                    || view
                        .terminals_at(e.other(node))
                        .iter()
                        .any(|(p, _)| matches!(view.kind(*p), Kind::OutputTransformer(_))))
        })
}
