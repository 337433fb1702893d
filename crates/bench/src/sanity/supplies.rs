//! Ways to ground and to the supply: grids, plates, screens, heaters; capacitors the right way round.

use super::Look;
use super::paths::Through;
use crate::rules::Gravity;
use wiring::circuit::{Electrode, History, Kind};
use wiring::{GROUND, NodeId, PartId};

pub(super) fn check(look: &mut Look<'_>) {
    grids(look);
    plates(look);
    electrolytics(look);
    heaters(look);
}

fn section_name(look: &Look<'_>, part: PartId, section: Option<char>) -> String {
    let mut name = look.name(part).to_owned();
    name.extend(section);
    name
}

/// The pin as typed, with its electrode.
fn pin(
    look: &Look<'_>,
    part: PartId,
    section: Option<char>,
    electrode: Electrode,
) -> Option<(String, NodeId)> {
    let p = look.circuit.parts.get(part.0)?;
    let Kind::Valve(valve) = &p.kind else {
        return None;
    };
    valve
        .electrodes
        .iter()
        .filter(|u| u.electrode == electrode && (u.section == section || u.section.is_none()))
        .find_map(|u| {
            let t = p.terminals.get(u.terminal)?;
            Some((format!("{}.{}", p.name, t.name), t.node?))
        })
}

fn sections(look: &Look<'_>) -> Vec<(PartId, Option<char>)> {
    let mut all = Vec::new();
    for (i, p) in look.circuit.parts.iter().enumerate() {
        if let Kind::Valve(valve) = &p.kind {
            let mut letters: Vec<Option<char>> = valve
                .electrodes
                .iter()
                .filter(|u| u.electrode == Electrode::Plate)
                .map(|u| u.section)
                .collect();
            letters.sort_unstable();
            letters.dedup();
            all.extend(letters.into_iter().map(|l| (PartId(i), l)));
        }
    }
    all
}

/// Every control grid needs a way for its charge to leave.
fn grids(look: &mut Look<'_>) {
    for (part, section) in sections(look) {
        let Some((name, node)) = pin(look, part, section, Electrode::Grid) else {
            continue;
        };
        let cathode = pin(look, part, section, Electrode::Cathode).map(|c| c.1);
        let ends = |n: NodeId| {
            n == GROUND
                || Some(n) == cathode
                || look.anatomy.rails.contains(&n)
                || look.anatomy.bias_rails.contains(&n)
        };
        let reach = look.paths.reach(node, |t| t != Through::Heater, ends);
        let referred = reach.iter().any(|n| ends(*n) || names(look, *n, "bias"));
        let open = reach.iter().any(|n| look.paths.loose(*n));
        if !referred && !open {
            look.add(
                "grid-without-path",
                Gravity::Should,
                vec![name.clone()],
                format!("{name}, the grid of {}, has no way for direct current to ground, cathode or bias.", section_name(look, part, section)),
                "Look for a grid leak that was not traced, or an open one; read the grid's ohms to ground with the power off.",
            );
        }
    }
}

fn names(look: &Look<'_>, node: NodeId, name: &str) -> bool {
    look.circuit
        .nodes
        .get(node.0)
        .is_some_and(|n| n.names.iter().any(|x| x == name))
}

/// Plates and screens need a way to the high tension.
fn plates(look: &mut Look<'_>) {
    for (part, section) in sections(look) {
        let rectifier = matches!(&look.circuit.parts[part.0].kind, Kind::Valve(v) if !v.electrodes.iter().any(|u| u.electrode == Electrode::Grid));
        if rectifier {
            continue;
        }
        for electrode in [Electrode::Plate, Electrode::Screen] {
            let Some((name, node)) = pin(look, part, section, electrode) else {
                continue;
            };
            let rail = |n: NodeId| look.anatomy.rails.contains(&n) || rail_by_name(look, n);
            let reach = look.paths.reach(
                node,
                |t| matches!(t, Through::Plain | Through::Winding),
                |n| n == GROUND || rail(n),
            );
            let fed = reach.iter().any(|n| rail(*n)) || supply_in(look, &reach);
            let open = reach.iter().any(|n| *n != GROUND && look.paths.loose(*n));
            if !fed && !open {
                look.add(
                    "plate-without-supply",
                    Gravity::Should,
                    vec![name.clone()],
                    format!("{name}, the {} of {}, has no way to the high tension.", electrode.word(), section_name(look, part, section)),
                    "Look for a load or dropping resistor that was not traced, or one that is open.",
                );
            }
        }
    }
}

fn rail_by_name(look: &Look<'_>, node: NodeId) -> bool {
    look.circuit.nodes.get(node.0).is_some_and(|n| {
        n.names.iter().any(|x| {
            x.strip_prefix('B')
                .is_some_and(|r| !r.is_empty() && r.chars().all(|c| c.is_ascii_digit() || c == '+'))
                || x.strip_prefix("HT")
                    .is_some_and(|r| r.chars().all(|c| c.is_ascii_digit()))
        })
    })
}

/// A bench supply feeds it.
fn supply_in(look: &Look<'_>, reach: &std::collections::BTreeSet<NodeId>) -> bool {
    look.circuit.parts.iter().any(|p| {
        matches!(p.kind, Kind::Supply { .. })
            && p.terminals
                .iter()
                .any(|t| t.node.is_some_and(|n| reach.contains(&n)))
    })
}

/// Plus toward the more positive side: rails and cathodes above ground, bias lines below it.
fn electrolytics(look: &mut Look<'_>) {
    for (i, p) in look.circuit.parts.iter().enumerate() {
        let Kind::Capacitor {
            plus_first: Some(first),
            ..
        } = p.kind
        else {
            continue;
        };
        if p.known.history == Some(History::Removed) {
            continue;
        }
        let node = |t: usize| p.terminals.get(t).and_then(|x| x.node);
        let (Some(a), Some(b)) = (node(0), node(1)) else {
            continue;
        };
        let (plus, minus) = if first { (a, b) } else { (b, a) };
        let height = |n: NodeId| -> Option<i32> {
            if n == GROUND {
                Some(0)
            } else if look.anatomy.rails.contains(&n) {
                Some(2)
            } else if look.anatomy.bias_rails.contains(&n) || names(look, n, "bias") {
                Some(-1)
            } else if sections(look)
                .iter()
                .any(|(v, s)| pin(look, *v, *s, Electrode::Cathode).is_some_and(|c| c.1 == n))
            {
                Some(1)
            } else {
                None
            }
        };
        if let (Some(high), Some(low)) = (height(plus), height(minus))
            && high < low
        {
            let name = look.name(PartId(i)).to_owned();
            look.add(
                "electrolytic-reversed",
                Gravity::Stop,
                vec![name.clone()],
                format!("{name} is wired with its plus toward the more negative side."),
                "Check the marking on the part. If it really sits that way round, do not energise: it can burst. Turn it round or replace it.",
            );
        }
    }
}

/// A heater winding that floats picks up hum and lets the heaters drift to the cathodes' limit.
fn heaters(look: &mut Look<'_>) {
    let mut done: Vec<NodeId> = Vec::new();
    for (i, p) in look.circuit.parts.iter().enumerate() {
        let Kind::PowerTransformer(t) = &p.kind else {
            continue;
        };
        for w in &t.windings {
            if w.taps.iter().any(|(_, v)| v.abs() >= 20.0) {
                continue;
            }
            let Some(node) = w
                .taps
                .iter()
                .find_map(|(t, _)| p.terminals.get(*t).and_then(|x| x.node))
            else {
                continue;
            };
            let reach = look.paths.reach(
                node,
                |t| t != Through::Diode,
                |n| n == GROUND || look.anatomy.rails.contains(&n),
            );
            let lights: Vec<String> = look
                .circuit
                .parts
                .iter()
                .filter(|v| {
                    matches!(&v.kind, Kind::Valve(valve) if valve.electrodes.iter().any(|u| {
                        matches!(u.electrode, Electrode::Heater1 | Electrode::Heater2)
                            && v.terminals.get(u.terminal).and_then(|x| x.node).is_some_and(|n| reach.contains(&n))
                    }))
                })
                .map(|v| v.name.clone())
                .collect();
            if lights.is_empty() || done.contains(&node) {
                continue;
            }
            done.push(node);
            let cathode = |n: NodeId| {
                look.circuit.parts.iter().any(|v| {
                    matches!(&v.kind, Kind::Valve(valve) if valve.electrodes.iter().any(|u| {
                        u.electrode == Electrode::Cathode && v.terminals.get(u.terminal).and_then(|x| x.node) == Some(n)
                    }))
                })
            };
            if reach
                .iter()
                .any(|n| *n == GROUND || look.anatomy.rails.contains(n) || cathode(*n))
            {
                continue;
            }
            // A winding whose own ends are not all traced may have its centre tap on ground.
            let untraced = w.taps.len() > 2
                && w.taps
                    .iter()
                    .any(|(t, _)| p.terminals.get(*t).and_then(|x| x.node).is_none());
            if untraced || reach.iter().any(|n| named_loose(look, *n)) {
                continue;
            }
            let name = format!("{} {}", look.name(PartId(i)), w.name);
            look.add(
                "heater-without-reference",
                Gravity::Should,
                vec![name.clone()],
                format!("The winding {name}, which lights {}, has no way to ground, cathode or a raised point.", lights.join(" ")),
                "Look for a centre tap, two resistors of about 100 ohm or a hum control (common practice, no source); without one the heaters float and hum.",
            );
        }
    }
}

/// A bare name with nothing else on it: the tracing goes on from there.
fn named_loose(look: &Look<'_>, node: NodeId) -> bool {
    look.circuit
        .nodes
        .get(node.0)
        .is_some_and(|n| !n.names.is_empty() && n.terminals.len() <= 1)
}
