//! Phase inverters: long-tailed pairs, cathodynes, paraphase pairs.

use super::stages::{
    behind_stopper, block, cathode_load, cathode_side, free, grid_side, plate_side,
};
use super::view::{Section, Sort};
use super::{BlockKind, Finder, Role};
use crate::circuit::{GROUND, NodeId, PartId};

/// Long-tailed pairs, cathodynes, paraphase pairs, inverter transformers.
pub(super) fn find(found: &mut Finder<'_>) {
    pairs(found);
    split_loads(found);
    paraphase(found);
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
            // Both grids' leaks at the junction make it a pair, also when the tail's foot is not traced.
            let leaks = view
                .sections
                .iter()
                .filter(|s| s.cathode == Some(cathode))
                .filter_map(|s| s.grid)
                .any(|g| {
                    view.between(g, mid)
                        .any(|l| l.sort == Sort::Resistor && l.at_least(220e3))
                });
            let long = f.at_least(4e3) && f.below(100e3);
            if low == GROUND
                || found.bias_rails.contains(&low)
                || down_to_ground(found, low, mid)
                || leaks && long
            {
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
                // Where the first grid stands on a plate, the second follows it through its leak.
                for first in pair.iter().filter_map(|t| t.grid).filter(|g| *g != grid) {
                    parts.extend(
                        view.between(grid, first)
                            .filter(|l| l.sort == Sort::Resistor && l.at_least(220e3))
                            .map(|l| (l.part, Role::GridLeak)),
                    );
                }
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

fn plate_to_plate(
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
        let shifted = shifts(found, plate, cathode).or_else(|| shifts(found, plate, junction));
        if shifted.is_none()
            && (!leaves(found, plate, &[supply])
                || !(leaves(found, cathode, &[]) || leaves(found, junction, &[])))
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
        let mut blk = block(if shifted.is_some() {
            BlockKind::PhaseShifter
        } else {
            BlockKind::Cathodyne
        });
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
        if let Some((out, shift)) = shifted {
            parts.extend(shift);
            blk.outputs = vec![out];
            blk.parts = parts;
            found.taken.insert(i);
            found.add(blk);
            continue;
        }
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

/// Plate and cathode meet again: one through a capacitor, the other through a resistance (with a
/// capacitor in front, perhaps). Gives where they meet, and the parts on both ways.
fn shifts(
    found: &Finder<'_>,
    plate: NodeId,
    cathode: NodeId,
) -> Option<(NodeId, Vec<(PartId, Role)>)> {
    let view = &found.view;
    for (first, second) in [(plate, cathode), (cathode, plate)] {
        for c in view.at(first).filter(|e| e.sort == Sort::Capacitor) {
            let out = c.other(first);
            if found.still.contains(&out) || out == second {
                continue;
            }
            let onward = view.grids_at(out).next().is_some()
                || view.at(out).filter(|e| e.sort == Sort::Capacitor).count() > 1;
            let role = |sort: Sort| match sort {
                Sort::Cell => Some(Role::ModulatorCell),
                Sort::Box => Some(Role::VariedResistance),
                Sort::Resistor => Some(Role::ShiftResistor),
                s if s.is_pot() => Some(Role::VariedResistance),
                _ => None,
            };
            for e in view.at(second).filter(|e| e.part != c.part) {
                let next = e.other(second);
                if next == out
                    && onward
                    && let Some(r) = role(e.sort)
                {
                    return Some((out, vec![(c.part, Role::ShiftCapacitor), (e.part, r)]));
                }
                if e.sort != Sort::Capacitor || found.still.contains(&next) || next == out {
                    continue;
                }
                if let Some((f, r)) = view
                    .between(next, out)
                    .find_map(|f| Some((f.part, role(f.sort)?)))
                    && onward
                    // Two coupling capacitors with a control between them are a tone cut.
                    && !matches!(r, Role::VariedResistance if view.of_part(f).count() > 1)
                    && (r != Role::ShiftResistor || view.at(next).count() == 2)
                {
                    return Some((
                        out,
                        vec![
                            (c.part, Role::ShiftCapacitor),
                            (e.part, Role::Coupling),
                            (f, r),
                        ],
                    ));
                }
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
