//! Valve stages: what surrounds a plate, a grid, a cathode and a screen, and which stage that makes.

use super::view::{Edge, Section, Sort};
use super::{Block, BlockKind, Finder, Role};
use crate::circuit::{GROUND, Kind, NodeId, PartId};
use std::collections::BTreeSet;

/// A resistor from here to ground through a cathode is a load, not a bias resistor, above this.
const CATHODE_LOAD_OHMS: f64 = 12e3;

fn block(kind: BlockKind) -> Block {
    Block {
        kind,
        sections: Vec::new(),
        parts: Vec::new(),
        inputs: Vec::new(),
        outputs: Vec::new(),
        supply: None,
    }
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
                    && matches!(f.sort, Sort::Resistor | Sort::Choke)
                    && is_rail(f.other(other))
            });
            if let Some(f) = beyond
                && other != GROUND
                && !found.still.contains(&other)
            {
                parts.push((e.part, Role::PlateLoad));
                parts.push((f.part, Role::PlateLoad));
                return Some(f.other(other));
            }
        }
    }
    // Half a tracing: the only resistor that goes to a point where nothing else stands still.
    let lone: Vec<&Edge> = view
        .at(plate)
        .filter(|e| e.sort == Sort::Resistor && !found.still.contains(&e.other(plate)))
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
            Sort::Resistor if found.still.contains(&other) && !found.rails.contains(&other) => {
                parts.push((e.part, Role::CathodeResistor));
            }
            Sort::Resistor if e.below(CATHODE_LOAD_OHMS) && goes_down(found, other, e.part) => {
                parts.push((e.part, Role::CathodeResistor));
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
            s if s.is_pot() && found.still.contains(&other) && !found.rails.contains(&other) => {
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
    for node in BTreeSet::from([grid, front]) {
        for e in view.at(node) {
            let other = e.other(node);
            match e.sort {
                Sort::Resistor if found.still.contains(&other) && !found.rails.contains(&other) => {
                    parts.push((e.part, Role::GridLeak));
                }
                // Leak to a point that sways slowly: a capacitor holds it for the signal.
                Sort::Resistor
                    if e.at_least(100e3)
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
        && e.below(1.0e6)
        && wired <= 2
        && !found.still.contains(&e.other(grid))
        && !view.sections.iter().any(|t| {
            t.cathode
                .is_some_and(|k| under_cathode(found, k, e.other(grid)) && t.grid == Some(grid))
        })
    {
        parts.push((e.part, Role::GridStopper));
        return e.other(grid);
    }
    grid
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

/// Long-tailed pairs, cathodynes, paraphase pairs, inverter transformers.
pub(super) fn inverters(found: &mut Finder<'_>) {
    pairs(found);
    split_loads(found);
    paraphase(found);
}

fn free(found: &Finder<'_>) -> Vec<usize> {
    (0..found.view.sections.len())
        .filter(|i| !found.taken.contains(i))
        .collect()
}

fn pairs(found: &mut Finder<'_>) {
    let free = free(found);
    for (n, &i) in free.iter().enumerate() {
        for &j in &free[n + 1..] {
            if found.taken.contains(&i) || found.taken.contains(&j) {
                continue;
            }
            let (a, b) = (found.view.sections[i], found.view.sections[j]);
            let (Some(ka), Some(kb)) = (a.cathode, b.cathode) else {
                continue;
            };
            if ka != kb || found.still.contains(&ka) || a.grid == b.grid || a.plate == b.plate {
                continue;
            }
            let Some((mut parts, junction)) = tail(found, ka) else {
                continue;
            };
            let mut blk = block(BlockKind::LongTailedPair);
            blk.supply = plate_side(found, i, &mut parts);
            let other = plate_side(found, j, &mut parts);
            blk.supply = blk.supply.or(other);
            for k in [i, j] {
                let s = found.view.sections[k];
                blk.sections.push(s);
                parts.push((s.part, Role::Valve));
                grid_side(found, k, &mut parts, &mut blk.inputs);
                blk.outputs.extend(s.plate);
                found.taken.insert(k);
            }
            leaks_to(found, &[a, b], junction, &mut parts);
            second_grid(found, &[a, b], junction, &mut parts, &mut blk.inputs);
            plate_to_plate(found, a.plate, b.plate, &mut parts);
            blk.parts = parts;
            found.add(blk);
        }
    }
}

/// The common cathode of a pair stands on a tail: a bias resistor and a longer one, or a long one alone.
fn tail(found: &Finder<'_>, cathode: NodeId) -> Option<(Vec<(PartId, Role)>, NodeId)> {
    let view = &found.view;
    for e in view.at(cathode).filter(|e| e.sort == Sort::Resistor) {
        let mid = e.other(cathode);
        if mid == GROUND {
            if e.at_least(6.0e3)
                && !view
                    .between(cathode, GROUND)
                    .any(|f| f.sort == Sort::Capacitor && f.at_least(1e-6))
            {
                return Some((vec![(e.part, Role::Tail)], cathode));
            }
            continue;
        }
        if found.still.contains(&mid) {
            continue;
        }
        for f in view
            .at(mid)
            .filter(|f| f.part != e.part && f.sort == Sort::Resistor)
        {
            let low = f.other(mid);
            if found.rails.contains(&low)
                || view.sections.iter().any(|s| s.grid == Some(low))
                || low == cathode
            {
                continue;
            }
            if low == GROUND || found.bias_rails.contains(&low) || down_to_ground(found, low, mid) {
                let mut parts = vec![(e.part, Role::CathodeResistor), (f.part, Role::Tail)];
                if low != GROUND {
                    for g in view.at(low).filter(|g| {
                        g.part != f.part && g.sort == Sort::Resistor && g.other(low) == GROUND
                    }) {
                        parts.push((g.part, Role::FeedbackShunt));
                    }
                }
                return Some((parts, mid));
            }
        }
    }
    None
}

/// Resistances lead from here to ground, without passing `from`: one, or a control and its neighbour.
fn down_to_ground(found: &Finder<'_>, node: NodeId, from: NodeId) -> bool {
    let view = &found.view;
    view.at(node)
        .filter(|e| e.other(node) != from && e.sort.resistive())
        .any(|e| {
            let next = e.other(node);
            next == GROUND
                || !found.still.contains(&next)
                    && view.at(next).any(|f| {
                        f.other(next) == GROUND
                            && f.sort.resistive()
                            && (f.part == e.part || e.sort.is_pot() || f.sort.is_pot())
                    })
        })
}

fn leaks_to(
    found: &Finder<'_>,
    pair: &[Section],
    junction: NodeId,
    parts: &mut Vec<(PartId, Role)>,
) {
    for s in pair {
        let Some(grid) = s.grid else { continue };
        for e in found.view.between(grid, junction) {
            if e.sort == Sort::Resistor {
                parts.push((e.part, Role::GridLeak));
            }
        }
    }
}

/// The grid that a capacitor holds to ground or to the feedback point.
fn second_grid(
    found: &Finder<'_>,
    pair: &[Section],
    junction: NodeId,
    parts: &mut Vec<(PartId, Role)>,
    inputs: &mut Vec<NodeId>,
) {
    let view = &found.view;
    for s in pair {
        let Some(grid) = s.grid else { continue };
        for e in view
            .at(grid)
            .filter(|e| e.sort == Sort::Capacitor && e.at_least(5e-9))
        {
            let other = e.other(grid);
            if found.still.contains(&other) || below_tail(found, junction, other) {
                parts.push((e.part, Role::GridGround));
                inputs.retain(|n| *n != grid);
            }
        }
    }
}

/// The node under the tail, where feedback comes in.
fn below_tail(found: &Finder<'_>, junction: NodeId, node: NodeId) -> bool {
    node != GROUND
        && found
            .view
            .between(junction, node)
            .any(|e| e.sort == Sort::Resistor)
}

pub(super) fn plate_to_plate(
    found: &Finder<'_>,
    a: Option<NodeId>,
    b: Option<NodeId>,
    parts: &mut Vec<(PartId, Role)>,
) {
    if let (Some(a), Some(b)) = (a, b) {
        for e in found.view.between(a, b) {
            if e.sort == Sort::Capacitor && e.below(1.0e-9) {
                parts.push((e.part, Role::Stability));
            }
        }
    }
}

/// Equal loads in plate and cathode, a signal taken from both.
fn split_loads(found: &mut Finder<'_>) {
    for i in free(found) {
        let s = found.view.sections[i];
        let (Some(plate), Some(cathode)) = (s.plate, s.cathode) else {
            continue;
        };
        if found.still.contains(&cathode) || found.rails.contains(&plate) {
            continue;
        }
        let mut parts = Vec::new();
        let Some(supply) = plate_side(found, i, &mut parts) else {
            continue;
        };
        let Some((load, bias, junction)) = cathode_load(found, cathode) else {
            continue;
        };
        if !leaves(found, plate, &[supply])
            || !(leaves(found, cathode, &[]) || leaves(found, junction, &[]))
        {
            continue;
        }
        let total: f64 = parts
            .iter()
            .filter_map(|(p, _)| found.view.of_part(*p).next().and_then(|e| e.value))
            .sum();
        let lower = found.view.of_part(load).next().and_then(|e| e.value);
        if let Some(lower) = lower
            && total > 0.0
            && !(0.4..=2.5).contains(&(lower / total))
        {
            continue;
        }
        parts.push((load, Role::CathodeLoad));
        parts.extend(bias.map(|b| (b, Role::CathodeResistor)));
        parts.push((s.part, Role::Valve));
        let mut blk = block(BlockKind::Cathodyne);
        grid_side(found, i, &mut parts, &mut blk.inputs);
        if let Some(grid) = s.grid {
            for e in found
                .view
                .between(grid, junction)
                .filter(|e| e.sort == Sort::Resistor)
            {
                parts.push((e.part, Role::GridLeak));
            }
        }
        blk.sections.push(s);
        blk.supply = Some(supply);
        blk.outputs = vec![
            plate,
            if leaves(found, cathode, &[]) {
                cathode
            } else {
                junction
            },
        ];
        blk.parts = parts;
        found.taken.insert(i);
        found.add(blk);
    }
}

/// A load resistor under a cathode: (load, bias resistor above it, junction between them).
fn cathode_load(found: &Finder<'_>, cathode: NodeId) -> Option<(PartId, Option<PartId>, NodeId)> {
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

/// A signal leaves this node: a coupling capacitor or a wire to another grid.
fn leaves(found: &Finder<'_>, node: NodeId, not: &[NodeId]) -> bool {
    let view = &found.view;
    view.at(node).any(|e| {
        e.sort == Sort::Capacitor
            && e.at_least(0.3e-9)
            && !found.still.contains(&e.other(node))
            && !not.contains(&e.other(node))
    }) || view.grids_at(node).next().is_some()
}

/// Two common-cathode sections, the second fed from a part of the first's output, both driving output grids.
fn paraphase(found: &mut Finder<'_>) {
    let output_fronts: Vec<NodeId> = found
        .blocks
        .iter()
        .filter(|b| b.kind == BlockKind::PushPull)
        .flat_map(|b| b.inputs.clone())
        .collect();
    if output_fronts.len() < 2 {
        return;
    }
    let free = free(found);
    for &i in &free {
        for &j in &free {
            if i == j || found.taken.contains(&i) || found.taken.contains(&j) {
                continue;
            }
            let (a, b) = (found.view.sections[i], found.view.sections[j]);
            let (Some(pa), Some(pb), Some(gb)) = (a.plate, b.plate, b.grid) else {
                continue;
            };
            let drive_a = driven(found, pa, &output_fronts);
            let drive_b = driven(found, pb, &output_fronts);
            let (Some((ca, fa)), Some((cb, fb))) = (drive_a, drive_b) else {
                continue;
            };
            if fa == fb {
                continue;
            }
            // The second grid hangs on the first output's leak, divided; or on the junction of both leaks.
            let mut stop_parts = Vec::new();
            let front = behind_stopper(found, j, &mut stop_parts);
            let from: Vec<PartId> = found
                .view
                .at(front)
                .filter(|e| {
                    e.sort == Sort::Resistor && (e.other(front) == fa || e.other(front) == fb)
                })
                .map(|e| e.part)
                .collect();
            let by_capacitor: Vec<NodeId> = found
                .view
                .at(gb)
                .filter(|e| e.sort == Sort::Capacitor && !found.still.contains(&e.other(gb)))
                .map(|e| e.other(gb))
                .filter(|n| found.view.between(*n, fa).any(|e| e.sort == Sort::Resistor))
                .collect();
            let wiper = found
                .view
                .at(front)
                .filter(|e| {
                    e.sort.is_pot()
                        && (e.other(front) == fa
                            || found.view.between(e.other(front), fa).next().is_some())
                })
                .map(|e| e.part)
                .next();
            if from.is_empty() && by_capacitor.is_empty() && wiper.is_none() {
                continue;
            }
            let mut parts = stop_parts;
            parts.extend(from.iter().map(|p| (*p, Role::GridLeak)));
            parts.extend(wiper.map(|p| (p, Role::GridLeak)));
            for n in by_capacitor {
                for e in found.view.at(n) {
                    parts.push((
                        e.part,
                        if e.sort == Sort::Capacitor {
                            Role::Coupling
                        } else {
                            Role::GridLeak
                        },
                    ));
                }
            }
            for e in found
                .view
                .at(front)
                .filter(|e| e.sort == Sort::Resistor && e.other(front) == GROUND)
            {
                parts.push((e.part, Role::GridLeak));
            }
            parts.push((ca, Role::Coupling));
            parts.push((cb, Role::Coupling));
            let mut blk = block(BlockKind::Paraphase);
            for k in [i, j] {
                let s = found.view.sections[k];
                blk.supply = plate_side(found, k, &mut parts).or(blk.supply);
                cathode_side(found, k, &mut parts);
                parts.push((s.part, Role::Valve));
                blk.sections.push(s);
                found.taken.insert(k);
            }
            grid_side(found, i, &mut parts, &mut blk.inputs);
            blk.outputs = vec![fa, fb];
            blk.parts = parts;
            found.add(blk);
        }
    }
}

/// A coupling capacitor from a plate to the front of an output grid.
fn driven(found: &Finder<'_>, plate: NodeId, fronts: &[NodeId]) -> Option<(PartId, NodeId)> {
    found
        .view
        .at(plate)
        .filter(|e| e.sort == Sort::Capacitor)
        .find(|e| fronts.contains(&e.other(plate)))
        .map(|e| (e.part, e.other(plate)))
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
            if e.sort.resistive() && found.still.contains(&e.other(cathode)) {
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
