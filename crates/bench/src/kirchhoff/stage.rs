//! Cross-checks inside one valve stage.
//!
//! A stage's currents are compared where the wiring leaves no other way: each plate fed by
//! one resistor only, the cathode (which several sections may share) led away by one resistor
//! only. Capacitors, grids and open leads do not count; anything else that carries direct
//! current does, and then the check is left out.

use super::{Bench, Check, Figure, Finding, ends};
use crate::chart::entry::{name_of, volts_expected, volts_read};
use crate::chart::verdict::K95;
use wiring::circuit::{Circuit, Electrode, Kind, NodeId, Part};

/// One valve section and the nodes its electrodes are wired to.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Section {
    /// `V1a`, or the valve's name where it has one section.
    pub name: String,
    pub plate: Option<NodeId>,
    pub grid: Option<NodeId>,
    pub cathode: Option<NodeId>,
    pub screen: Option<NodeId>,
}

/// All amplifying sections (those with a grid).
pub(super) fn sections(circuit: &Circuit) -> Vec<Section> {
    let mut all: Vec<Section> = Vec::new();
    for part in &circuit.parts {
        let Kind::Valve(valve) = &part.kind else {
            continue;
        };
        let mut letters: Vec<Option<char>> = Vec::new();
        for pin in valve
            .electrodes
            .iter()
            .filter(|p| p.electrode == Electrode::Grid)
        {
            if !letters.contains(&pin.section) {
                letters.push(pin.section);
            }
        }
        for letter in letters {
            let node = |electrode: Electrode| {
                valve
                    .electrodes
                    .iter()
                    .filter(|p| {
                        p.electrode == electrode && (p.section == letter || p.section.is_none())
                    })
                    .find_map(|p| part.terminals.get(p.terminal)?.node)
            };
            all.push(Section {
                name: letter.map_or_else(|| part.name.clone(), |l| format!("{}{l}", part.name)),
                plate: node(Electrode::Plate),
                grid: node(Electrode::Grid),
                cathode: node(Electrode::Cathode),
                screen: node(Electrode::Screen),
            });
        }
    }
    all
}

/// The only resistor that carries direct current to or from a node, and its far end.
///
/// `None` when there is another path. A cathode or plate of the sections looked at is not a
/// path; nor is a grid, a capacitor, or an empty jack's lone tip.
fn only_resistor(circuit: &Circuit, node: NodeId) -> Option<(&Part, NodeId)> {
    let mut found = None;
    for (id, terminal) in &circuit.nodes.get(node.0)?.terminals {
        let part = circuit.parts.get(id.0)?;
        match &part.kind {
            Kind::Capacitor { .. } => {}
            Kind::Valve(valve) => {
                let carries = valve.electrodes.iter().any(|p| {
                    p.terminal == *terminal
                        && matches!(
                            p.electrode,
                            Electrode::Screen | Electrode::Heater1 | Electrode::Heater2
                        )
                });
                if carries {
                    return None;
                }
            }
            Kind::Resistor { .. } => {
                // a lead that ends nowhere carries nothing
                let Some((a, b)) = ends(part) else { continue };
                if found.is_some() {
                    return None;
                }
                found = Some((part, if a == node { b } else { a }));
            }
            _ => return None,
        }
    }
    found
}

/// Plate-load current against cathode current, for every group of sections on one cathode.
pub(super) fn currents(bench: &Bench<'_>) -> Vec<Finding> {
    let all = sections(bench.circuit);
    let mut done: Vec<NodeId> = Vec::new();
    let mut found = Vec::new();
    for section in &all {
        let Some(cathode) = section.cathode.filter(|c| *c != wiring::GROUND) else {
            continue;
        };
        if done.contains(&cathode) {
            continue;
        }
        done.push(cathode);
        let group: Vec<&Section> = all.iter().filter(|s| s.cathode == Some(cathode)).collect();
        if let Some(finding) = group_currents(bench, &group, cathode) {
            found.push(finding);
        }
    }
    found
}

fn group_currents(bench: &Bench<'_>, group: &[&Section], cathode: NodeId) -> Option<Finding> {
    let (out, far) = only_resistor(bench.circuit, cathode)?;
    let leaves = bench.current(out, cathode, far)?;
    let mut enters = Figure {
        value: 0.0,
        sigma: 0.0,
    };
    let mut loads = Vec::new();
    let mut nodes = Vec::new();
    for section in group {
        // a screen brings current that no plate load shows
        if section.screen.is_some() {
            return None;
        }
        let plate = section.plate?;
        let (load, supply) = only_resistor(bench.circuit, plate)?;
        let current = bench.current(load, supply, plate)?;
        enters.value += current.value;
        enters.sigma = enters.sigma.hypot(current.sigma);
        loads.push(load.name.as_str());
        nodes.extend([supply, plate]);
    }
    nodes.extend([cathode, far]);
    let sigma = enters.sigma.hypot(leaves.sigma);
    let off = (enters.value - leaves.value).abs();
    let allowed = 0.05 * enters.value.abs().max(leaves.value.abs()) + K95 * sigma;
    if off <= allowed {
        return None;
    }
    let names: Vec<&str> = group.iter().map(|s| s.name.as_str()).collect();
    let points = bench.names(&nodes);
    Some(Finding {
        check: Check::StageCurrent,
        text: format!(
            "{}: {:.2} mA goes in through {}, {:.2} mA comes out through {}. Read {} again; if they stand, measure {} and {}, and think of a path that is not in the wiring.",
            names.join(" and "),
            enters.value * 1e3,
            loads.join(" and "),
            leaves.value * 1e3,
            out.name,
            points.join(", "),
            loads.join(", "),
            out.name,
        ),
        points,
        sigmas: off / sigma.max(f64::MIN_POSITIVE),
    })
}

/// Cathode above grid, and a follower's cathode near its grid.
pub(super) fn grids(bench: &Bench<'_>) -> Vec<Finding> {
    let all = sections(bench.circuit);
    let mut found = Vec::new();
    for section in &all {
        let (Some(grid), Some(cathode)) = (section.grid, section.cathode) else {
            continue;
        };
        let Some(stands) = bench.drop(cathode, grid) else {
            continue;
        };
        let (g, k) = (
            name_of(bench.entries, grid),
            name_of(bench.entries, cathode),
        );
        let direct = all.iter().any(|s| s.plate == Some(grid));
        let finding = if direct {
            follower(bench, section, stands, grid, cathode)
        } else {
            above(bench, section, stands, grid, cathode)
        };
        if let Some((check, text, sigmas)) = finding {
            found.push(Finding {
                check,
                points: bench.names(&[grid, cathode]),
                text: format!("{text} Read {g} and {k} again."),
                sigmas,
            });
        }
    }
    found
}

type Clash = (Check, String, f64);

/// A grid that stands above its cathode draws current; a sound stage at rest does not.
fn above(
    bench: &Bench<'_>,
    section: &Section,
    stands: Figure,
    grid: NodeId,
    cathode: NodeId,
) -> Option<Clash> {
    // where the circuit itself expects it (an oscillator, a diode-connected half), say nothing
    let expected = volts_expected(bench.entries, cathode)? - volts_expected(bench.entries, grid)?;
    if expected <= 0.0 || stands.value >= -K95 * stands.sigma {
        return None;
    }
    Some((
        Check::GridAboveCathode,
        format!(
            "{}: its grid reads {:.2} V above its cathode. A sound stage at rest stands the other way round; a leaking coupling capacitor can do that, and so can a slipped probe.",
            section.name, -stands.value
        ),
        -stands.value / stands.sigma,
    ))
}

/// A follower's cathode follows its grid to within a few volts: 3 V and 5 % of the grid volts
/// about what is expected (common practice, no source).
fn follower(
    bench: &Bench<'_>,
    section: &Section,
    stands: Figure,
    grid: NodeId,
    cathode: NodeId,
) -> Option<Clash> {
    let (grid_volts, _) = volts_read(bench.entries, grid)?;
    let expected = volts_expected(bench.entries, cathode)? - volts_expected(bench.entries, grid)?;
    let off = (stands.value - expected).abs();
    let allowed = 3.0 + 0.05 * grid_volts.abs() + K95 * stands.sigma;
    if off <= allowed {
        return None;
    }
    Some((
        Check::Follower,
        format!(
            "{}: a follower's cathode stands near its grid (about {expected:.1} V above it), but these readings put it {:.1} V {}.",
            section.name,
            stands.value.abs(),
            if stands.value < 0.0 { "below" } else { "above" }
        ),
        off / stands.sigma.max(f64::MIN_POSITIVE),
    ))
}
