//! Valve stages: what surrounds a plate, a grid, a cathode and a screen, and which stage that makes.

use super::view::{Edge, Section, Sort};
use super::{Block, BlockKind, Finder, Role};
use crate::circuit::{GROUND, Kind, NodeId, PartId};
use std::collections::BTreeSet;

/// A resistor from a cathode to ground is a load or a tail, not a bias resistor, from here on.
const CATHODE_LOAD_OHMS: f64 = 12e3;

pub(super) fn block(kind: BlockKind) -> Block {
    Block::of(kind)
}

/// Plate load: resistances from the plate to a rail. Returns the rail.
pub(super) fn plate_side(
    found: &Finder<'_>,
    i: usize,
    parts: &mut Vec<(PartId, Role)>,
) -> Option<NodeId> {
    let view = &found.view;
    let plate = view.sections[i].plate?;
    let is_rail = |n: NodeId| found.rails.contains(&n);
    for e in view.at(plate) {
        let other = e.other(plate);
        if matches!(e.sort, Sort::Resistor | Sort::Choke) || e.sort.is_pot() {
            if is_rail(other) {
                parts.push((e.part, Role::PlateLoad));
                return Some(other);
            }
            // Two resistors in series, or a load behind a control.
            let beyond = view.at(other).find(|f| {
                f.part != e.part
                    && matches!(f.sort, Sort::Resistor | Sort::Choke | Sort::Lamp)
                    && is_rail(f.other(other))
            });
            if let Some(f) = beyond
                && other != GROUND
                && !found.still.contains(&other)
            {
                parts.push((e.part, Role::PlateLoad));
                if f.sort != Sort::Lamp {
                    parts.push((f.part, Role::PlateLoad));
                }
                return Some(f.other(other));
            }
        }
    }
    // Half a tracing: the only resistor that goes to a point where nothing else stands still.
    let lone: Vec<&Edge> = view
        .at(plate)
        .filter(|e| {
            e.sort == Sort::Resistor && !e.at_least(600e3) && !found.still.contains(&e.other(plate))
        })
        .filter(|e| {
            let o = e.other(plate);
            view.named_rail(o)
                || view.at(o).all(|f| f.part == e.part) && view.terminals_at(o).len() == 1
                || view.sections.iter().enumerate().any(|(j, s)| {
                    j != i
                        && s.plate
                            .is_some_and(|p| view.between(p, o).any(|f| f.sort == Sort::Resistor))
                })
        })
        .collect();
    if let [e] = lone.as_slice() {
        parts.push((e.part, Role::PlateLoad));
        return Some(e.other(plate));
    }
    None
}

/// Cathode resistors and bypass. Returns the node under the bias resistor where it is not ground
/// (the tail junction, or where feedback lands).
pub(super) fn cathode_side(
    found: &Finder<'_>,
    i: usize,
    parts: &mut Vec<(PartId, Role)>,
) -> Option<NodeId> {
    let view = &found.view;
    let cathode = view.sections[i].cathode?;
    if found.still.contains(&cathode) {
        return None;
    }
    let mut under = None;
    for e in view.at(cathode) {
        let other = e.other(cathode);
        match e.sort {
            // A larger one is a load or a tail, and the rest of that block is not traced; but those
            // have no capacitor across them.
            Sort::Resistor
                if found.still.contains(&other)
                    && !found.rails.contains(&other)
                    && (!e.at_least(CATHODE_LOAD_OHMS)
                        || view
                            .between(cathode, other)
                            .any(|c| c.sort == Sort::Capacitor && c.at_least(0.1e-6))) =>
            {
                parts.push((e.part, Role::CathodeResistor));
            }
            Sort::Resistor if e.below(CATHODE_LOAD_OHMS) && goes_down(found, other, e.part) => {
                parts.push((e.part, Role::CathodeResistor));
                parts.extend(lower_half(found, other, e.part));
                under = Some(other);
            }
            Sort::Capacitor if e.other(cathode) == GROUND || found.still.contains(&other) => {
                parts.push((
                    e.part,
                    if e.at_least(0.02e-6) {
                        Role::CathodeBypass
                    } else {
                        Role::Stability
                    },
                ));
            }
            Sort::Capacitor
                if under == Some(other)
                    || view
                        .between(cathode, other)
                        .any(|f| f.sort == Sort::Resistor) =>
            {
                parts.push((e.part, Role::CathodeBypass));
            }
            s if s.is_pot() && other == GROUND && !e.at_least(CATHODE_LOAD_OHMS) => {
                parts.push((e.part, Role::CathodeResistor));
            }
            _ => {}
        }
    }
    // A capacitor in series with a switch or a resistor to ground also bypasses.
    for e in view.at(cathode).filter(|e| e.sort == Sort::Capacitor) {
        let mid = e.other(cathode);
        if found.still.contains(&mid) {
            continue;
        }
        for f in view.at(mid).filter(|f| f.part != e.part) {
            if f.sort == Sort::Switch && found.still.contains(&f.other(mid)) {
                parts.push((e.part, Role::CathodeBypass));
                parts.push((f.part, Role::SignalSwitch));
            }
        }
    }
    under
}

/// A second resistor with a large capacitor across it and nothing else: the bypassed half.
fn lower_half(found: &Finder<'_>, node: NodeId, from: PartId) -> Vec<(PartId, Role)> {
    let rest: Vec<&Edge> = found.view.at(node).filter(|e| e.part != from).collect();
    let bypassed = rest
        .iter()
        .any(|e| e.sort == Sort::Capacitor && e.at_least(0.5e-6));
    let plain = rest
        .iter()
        .all(|e| e.other(node) == GROUND && matches!(e.sort, Sort::Resistor | Sort::Capacitor));
    if !bypassed || !plain {
        return Vec::new();
    }
    rest.iter()
        .map(|e| match e.sort {
            Sort::Capacitor => (e.part, Role::CathodeBypass),
            _ => (e.part, Role::CathodeResistor),
        })
        .collect()
}

/// From this node a resistance goes on to ground: the lower part of a cathode chain.
fn goes_down(found: &Finder<'_>, node: NodeId, from: PartId) -> bool {
    let view = &found.view;
    node != GROUND
        && !found.still.contains(&node)
        && !view
            .sections
            .iter()
            .any(|s| s.plate == Some(node) || s.grid == Some(node))
        && view.at(node).any(|e| {
            e.part != from
                && e.sort.resistive()
                && (e.other(node) == GROUND || bottom(found, e.other(node), node))
        })
}

fn bottom(found: &Finder<'_>, node: NodeId, from: NodeId) -> bool {
    let view = &found.view;
    !found.rails.contains(&node)
        && view
            .at(node)
            .any(|e| e.other(node) != from && e.sort.resistive() && e.other(node) == GROUND)
}

/// Stopper, leak and the coupling capacitor in front. `inputs` gets where the signal comes in.
pub(super) fn grid_side(
    found: &Finder<'_>,
    i: usize,
    parts: &mut Vec<(PartId, Role)>,
    inputs: &mut Vec<NodeId>,
) {
    let view = &found.view;
    let s = view.sections[i];
    let Some(grid) = s.grid else { return };
    if found.still.contains(&grid) {
        return;
    }
    let front = behind_stopper(found, i, parts);
    inputs.push(front);
    let output = power(found, i);
    for node in BTreeSet::from([grid, front]) {
        let only = only_leak(found, node, parts);
        for e in view.at(node) {
            let other = e.other(node);
            match e.sort {
                Sort::Resistor if found.still.contains(&other) && !found.rails.contains(&other) => {
                    parts.push((e.part, Role::GridLeak));
                }
                // The upper half of a divider that sets the grid's volts.
                Sort::Resistor
                    if found.rails.contains(&other)
                        && e.at_least(100e3)
                        && !view.sections.iter().any(|t| t.plate == Some(node))
                        && view
                            .at(node)
                            .any(|f| f.sort == Sort::Resistor && f.other(node) == GROUND) =>
                {
                    parts.push((e.part, Role::BiasDivider));
                }
                Sort::Resistor
                    if only == Some(e.part)
                        || output
                            && e.at_least(47e3)
                            && !view.sections.iter().any(|t| t.plate == Some(other)) =>
                {
                    parts.push((e.part, Role::GridLeak));
                }
                // Leak to a point that sways slowly: a capacitor holds it for the signal.
                Sort::Resistor
                    if e.at_least(100e3)
                        && !found.rails.contains(&other)
                        && !view.sections.iter().any(|t| t.plate == Some(node))
                        && view.at(other).any(|f| {
                            f.sort == Sort::Capacitor
                                && f.at_least(8e-9)
                                && found.still.contains(&f.other(other))
                        })
                        && !view.sections.iter().any(|t| t.plate == Some(other)) =>
                {
                    parts.push((e.part, Role::GridLeak));
                }
                // Leak to the tail junction or to under a cathode resistor.
                Sort::Resistor
                    if !found.is(e.part, Role::GridStopper)
                        && e.at_least(47e3)
                        && view.sections.iter().any(|t| {
                            t.cathode.is_some_and(|k| {
                                k == other && t.grid == Some(grid) || under_cathode(found, k, other)
                            })
                        }) =>
                {
                    parts.push((e.part, Role::GridLeak));
                }
                Sort::Capacitor
                    if e.below(1.0e-9) && (s.plate == Some(other) || s.cathode == Some(other)) =>
                {
                    parts.push((e.part, Role::Stability));
                }
                Sort::Capacitor if found.still.contains(&other) && e.below(1.0e-9) => {
                    parts.push((e.part, Role::Stability));
                }
                _ => {}
            }
        }
    }
}

/// `node` is joined to the cathode by its bias resistor and goes on to ground.
pub(super) fn under_cathode(found: &Finder<'_>, cathode: NodeId, node: NodeId) -> bool {
    let view = &found.view;
    !found.still.contains(&node)
        && view
            .between(cathode, node)
            .any(|e| e.sort == Sort::Resistor && e.below(CATHODE_LOAD_OHMS))
        && view.at(node).any(|e| {
            e.sort.resistive() && e.other(node) != cathode && !found.rails.contains(&e.other(node))
        })
}

/// The node in front of a grid stopper; the grid itself when there is none.
pub(super) fn behind_stopper(
    found: &Finder<'_>,
    i: usize,
    parts: &mut Vec<(PartId, Role)>,
) -> NodeId {
    let view = &found.view;
    let s = view.sections[i];
    let Some(grid) = s.grid else { return GROUND };
    let ways: Vec<&Edge> = view
        .at(grid)
        .filter(|e| {
            !(e.sort == Sort::Capacitor && (e.below(1.0e-9) || s.plate == Some(e.other(grid))))
        })
        .collect();
    let wired = view
        .terminals_at(grid)
        .iter()
        .filter(|(p, _)| !matches!(view.kind(*p), Kind::Capacitor { .. }))
        .count();
    if let [e] = ways.as_slice()
        && e.sort == Sort::Resistor
        && wired <= 2
        && !found.still.contains(&e.other(grid))
        && !view.sections.iter().any(|t| {
            t.cathode
                .is_some_and(|k| under_cathode(found, k, e.other(grid)) && t.grid == Some(grid))
        })
    {
        let front = e.other(grid);
        if view
            .terminals_at(front)
            .iter()
            .any(|(p, _)| matches!(view.kind(*p), Kind::Jack { .. }))
        {
            return front;
        }
        // A larger one might be a leak or a mixing resistor; what lies in front decides.
        let leak = view.at(front).any(|f| {
            f.part != e.part
                && f.sort == Sort::Resistor
                && f.value >= e.value.map(|v| 2.0 * v)
                && found.still.contains(&f.other(front))
                && !found.rails.contains(&f.other(front))
        });
        let shared = view
            .at(front)
            .any(|f| f.part != e.part && view.grids_at(f.other(front)).any(|j| power(found, j)));
        let wiper = view.at(front).any(|f| f.sort.is_pot());
        if e.below(34e3)
            || e.below(120e3) && (leak || wiper)
            || e.below(1e6) && leak && !shared && power(found, i)
        {
            parts.push((e.part, Role::GridStopper));
            return front;
        }
    }
    grid
}

/// The section's plate is on an output transformer, or a small resistor away.
pub(super) fn power(found: &Finder<'_>, i: usize) -> bool {
    let view = &found.view;
    let primary = |n: NodeId| {
        view.terminals_at(n)
            .iter()
            .any(|(p, _)| matches!(view.kind(*p), Kind::OutputTransformer(_)))
    };
    view.sections[i].plate.is_some_and(|plate| {
        primary(plate)
            || view
                .at(plate)
                .any(|e| e.sort == Sort::Resistor && e.below(1e3) && primary(e.other(plate)))
    })
}

/// The only resistance on this node, when a capacitor brings the signal and a leak must be there:
/// through it alone the grid's charge can leave.
fn only_leak(found: &Finder<'_>, node: NodeId, stopper: &[(PartId, Role)]) -> Option<PartId> {
    let view = &found.view;
    if view.sections.iter().any(|t| t.plate == Some(node)) {
        return None;
    }
    let mut ways = view.at(node).filter(|e| {
        (e.sort.resistive() || e.sort == Sort::Switch)
            && !stopper.contains(&(e.part, Role::GridStopper))
    });
    let (Some(e), None) = (ways.next(), ways.next()) else {
        return None;
    };
    let far = e.other(node);
    let fed = view.at(node).any(|c| {
        c.sort == Sort::Capacitor
            && c.at_least(0.4e-9)
            && c.other(node) != far
            && !found.still.contains(&c.other(node))
    });
    let to_a_plate = view.sections.iter().any(|t| t.plate == Some(far));
    (e.sort == Sort::Resistor
        && e.at_least(100e3)
        && fed
        && !to_a_plate
        && !found.rails.contains(&far)
        && !view.named_rail(far))
    .then_some(e.part)
}

/// Screen feed and bypass.
pub(super) fn screen_side(found: &Finder<'_>, i: usize, parts: &mut Vec<(PartId, Role)>) {
    let view = &found.view;
    let Some(screen) = view.sections[i].screen else {
        return;
    };
    if found.still.contains(&screen) {
        return;
    }
    for e in view.at(screen) {
        let other = e.other(screen);
        match e.sort {
            Sort::Resistor if found.rails.contains(&other) => {
                parts.push((e.part, Role::ScreenResistor))
            }
            Sort::Resistor if found.still.contains(&other) => {
                parts.push((e.part, Role::ShuntResistor))
            }
            // To a screen tap, or to a shared screen node.
            Sort::Resistor if e.below(12e3) => parts.push((e.part, Role::ScreenResistor)),
            Sort::Resistor if view.named_rail(other) || view.terminals_at(other).len() == 1 => {
                parts.push((e.part, Role::ScreenResistor));
            }
            Sort::Capacitor
                if found.still.contains(&other) || view.sections[i].cathode == Some(other) =>
            {
                parts.push((e.part, Role::ScreenBypass));
            }
            _ => {}
        }
    }
}

pub(super) fn free(found: &Finder<'_>) -> Vec<usize> {
    (0..found.view.sections.len())
        .filter(|i| !found.taken.contains(i))
        .collect()
}

/// A load resistor under a cathode: (load, bias resistor above it, junction between them).
pub(super) fn cathode_load(
    found: &Finder<'_>,
    cathode: NodeId,
) -> Option<(PartId, Option<PartId>, NodeId)> {
    let view = &found.view;
    for e in view.at(cathode).filter(|e| e.sort == Sort::Resistor) {
        let other = e.other(cathode);
        if other == GROUND {
            if e.at_least(4.0e3) {
                return Some((e.part, None, cathode));
            }
            continue;
        }
        if found.still.contains(&other) {
            continue;
        }
        for f in view
            .at(other)
            .filter(|f| f.part != e.part && f.sort == Sort::Resistor)
        {
            if f.other(other) == GROUND && f.at_least(10.0e3) && f.value > e.value {
                return Some((f.part, Some(e.part), other));
            }
        }
    }
    None
}

/// Followers, drivers, recoveries, and every plain stage.
pub(super) fn the_rest(found: &mut Finder<'_>) {
    let tank_out: BTreeSet<NodeId> = found
        .view
        .parts(|k| matches!(k, Kind::Tank { .. }))
        .into_iter()
        .flat_map(|p| {
            [
                found.view.terminal(p, "out1"),
                found.view.terminal(p, "out2"),
            ]
        })
        .flatten()
        .filter(|n| *n != GROUND)
        .collect();
    let tank_in: BTreeSet<NodeId> = found
        .view
        .parts(|k| matches!(k, Kind::Tank { .. }))
        .into_iter()
        .flat_map(|p| [found.view.terminal(p, "in1"), found.view.terminal(p, "in2")])
        .flatten()
        .filter(|n| *n != GROUND)
        .collect();
    for i in free(found) {
        if found.taken.contains(&i) {
            continue;
        }
        let s = found.view.sections[i];
        if s.plate.is_none() && s.grid.is_none() && s.cathode.is_none() {
            continue;
        }
        // Sections wired side by side are one stage.
        let twins: Vec<usize> = free(found)
            .into_iter()
            .filter(|j| {
                let t = found.view.sections[*j];
                t.plate.is_some()
                    && t.plate == s.plate
                    && t.cathode == s.cathode
                    && t.grid == s.grid
                    && t.grid.is_some()
            })
            .collect();
        let members = if twins.is_empty() { vec![i] } else { twins };
        let mut parts = Vec::new();
        let mut blk = block(if s.pentode {
            BlockKind::Pentode
        } else {
            BlockKind::CommonCathode
        });
        let transformer = s.plate.and_then(|p| transformer_at(found, p));
        let on_rail = s.plate.is_some_and(|p| found.rails.contains(&p));
        if let Some(t) = transformer {
            parts.push((t, Role::DriverTransformer));
            let to_grids = found.view.circuit.parts[t.0]
                .terminals
                .iter()
                .filter(|x| x.name.starts_with('s'))
                .filter_map(|x| x.node)
                .filter(|n| reaches_output_grid(found, *n))
                .count();
            blk.kind = if super::output::drives_tank(found, t) || to_grids == 0 {
                BlockKind::ReverbDriver
            } else {
                BlockKind::TransformerInverter
            };
            blk.outputs = found.view.circuit.parts[t.0]
                .terminals
                .iter()
                .filter(|x| x.name.starts_with('s'))
                .filter_map(|x| x.node)
                .filter(|n| *n != GROUND)
                .collect();
        } else if on_rail {
            blk.kind = BlockKind::Follower;
            blk.supply = s.plate;
            follower(found, s, &mut parts, &mut blk.outputs);
        } else {
            blk.supply = plate_side(found, i, &mut parts);
            blk.outputs.extend(s.plate);
            if s.grid.is_some_and(|g| on_or_behind(found, g, &tank_out)) {
                blk.kind = BlockKind::ReverbRecovery;
            } else if s.plate.is_some_and(|p| {
                found
                    .view
                    .at(p)
                    .any(|e| e.sort == Sort::Capacitor && on_or_behind(found, e.other(p), &tank_in))
            }) {
                blk.kind = BlockKind::ReverbDriver;
            }
        }
        for k in members {
            let t = found.view.sections[k];
            parts.push((t.part, Role::Valve));
            if blk.kind != BlockKind::Follower {
                cathode_side(found, k, &mut parts);
            }
            grid_side(found, k, &mut parts, &mut blk.inputs);
            screen_side(found, k, &mut parts);
            blk.sections.push(t);
            found.taken.insert(k);
        }
        if let Some(p) = s.plate {
            for e in found.view.at(p).filter(|e| {
                e.sort == Sort::Capacitor && e.below(2.0e-9) && found.still.contains(&e.other(p))
            }) {
                parts.push((e.part, Role::Stability));
            }
        }
        blk.inputs.sort_unstable();
        blk.inputs.dedup();
        blk.parts = parts;
        found.add(blk);
    }
}

fn follower(
    found: &Finder<'_>,
    s: Section,
    parts: &mut Vec<(PartId, Role)>,
    outputs: &mut Vec<NodeId>,
) {
    let view = &found.view;
    let Some(cathode) = s.cathode else { return };
    if let Some((load, bias, junction)) = cathode_load(found, cathode) {
        parts.push((load, Role::CathodeLoad));
        parts.extend(bias.map(|b| (b, Role::CathodeResistor)));
        if let Some(grid) = s.grid {
            for e in view
                .between(grid, junction)
                .filter(|e| e.sort == Sort::Resistor)
            {
                parts.push((e.part, Role::GridLeak));
            }
        }
    } else {
        for e in view.at(cathode) {
            let whole = e.sort.is_pot()
                && view
                    .of_part(e.part)
                    .any(|f| found.still.contains(&f.a) || found.still.contains(&f.b));
            if whole || e.sort.resistive() && found.still.contains(&e.other(cathode)) {
                parts.push((e.part, Role::CathodeLoad));
            }
        }
    }
    outputs.push(cathode);
}

fn on_or_behind(found: &Finder<'_>, node: NodeId, of: &BTreeSet<NodeId>) -> bool {
    of.contains(&node)
        || found.view.at(node).any(|e| {
            (e.sort == Sort::Resistor && e.below(470e3) || e.sort == Sort::Capacitor)
                && of.contains(&e.other(node))
        })
}

/// A transformer whose primary has this node at one end and a rail (or nothing yet) at the other.
fn transformer_at(found: &Finder<'_>, plate: NodeId) -> Option<PartId> {
    found
        .view
        .terminals_at(plate)
        .iter()
        .map(|(p, _)| *p)
        .find(|p| match found.view.kind(*p) {
            Kind::CouplingTransformer(_) => true,
            Kind::OutputTransformer(_) => super::output::drives_tank(found, *p),
            _ => false,
        })
}

fn reaches_output_grid(found: &Finder<'_>, node: NodeId) -> bool {
    found
        .blocks
        .iter()
        .filter(|b| matches!(b.kind, BlockKind::PushPull))
        .any(|b| b.inputs.contains(&node) || b.sections.iter().any(|s| s.grid == Some(node)))
}
