//! What sits in a socket against how the socket is wired.

use super::Look;
use crate::rules::Gravity;
use wiring::circuit::{Electrode, Kind};
use wiring::sheet::Sheet;
use wiring::{GROUND, NodeId, PartId};

pub(super) fn check(look: &mut Look<'_>) {
    for i in 0..look.circuit.parts.len() {
        let id = PartId(i);
        heater_on_other_pins(look, id);
        fitted(look, id);
        impossible(look, id);
    }
}

/// A low-voltage winding lies on this node, and not the one that lights a rectifier: that one is at
/// high tension, and whatever the reservoir feeds may be on it.
fn heater_winding(look: &Look<'_>, node: NodeId) -> bool {
    let rectifier = |p: PartId| match &look.circuit.parts[p.0].kind {
        Kind::Valve(valve) => {
            !valve.electrodes.is_empty()
                && !valve
                    .electrodes
                    .iter()
                    .any(|u| u.electrode == Electrode::Grid)
        }
        _ => false,
    };
    look.circuit.nodes.get(node.0).is_some_and(|n| {
        if look.anatomy.rails.contains(&node) || n.terminals.iter().any(|(p, _)| rectifier(*p)) {
            return false;
        }
        n.terminals
            .iter()
            .any(|(p, t)| match &look.circuit.parts[p.0].kind {
                Kind::PowerTransformer(pt) => pt.windings.iter().any(|w| {
                    w.taps.iter().any(|(i, _)| i == t) && w.taps.iter().all(|(_, v)| v.abs() < 20.0)
                }),
                _ => false,
            })
    })
}

fn uses(sheet: &Sheet, pin: &str) -> Vec<Electrode> {
    sheet
        .pins
        .iter()
        .filter(|p| p.number.to_string() == pin)
        .flat_map(|p| p.uses.iter().map(|u| u.electrode))
        .collect()
}

/// The heater winding on pins that are no heater for this type.
fn heater_on_other_pins(look: &mut Look<'_>, id: PartId) {
    let part = &look.circuit.parts[id.0];
    let Kind::Valve(valve) = &part.kind else {
        return;
    };
    if valve.electrodes.is_empty() {
        return;
    }
    let ours: Vec<usize> = valve
        .electrodes
        .iter()
        .filter(|u| {
            matches!(
                u.electrode,
                Electrode::Heater1 | Electrode::Heater2 | Electrode::HeaterTap
            )
        })
        .map(|u| u.terminal)
        .collect();
    let mut wrong = Vec::new();
    for (t, terminal) in part.terminals.iter().enumerate() {
        let Some(node) = terminal.node else { continue };
        // The cathode may share a winding's end; grids, plates and screens never do.
        let electrode = valve.electrodes.iter().find(|u| {
            u.terminal == t
                && matches!(
                    u.electrode,
                    Electrode::Plate | Electrode::Grid | Electrode::Screen
                )
        });
        if let Some(u) = electrode
            && node != GROUND
            && !ours.contains(&t)
            && heater_winding(look, node)
        {
            wrong.push((
                format!("{}.{}", part.name, terminal.name),
                u.electrode.word(),
            ));
        }
    }
    let meant = valve.meant.clone();
    for (at, word) in wrong {
        let message = format!("{at} is on a heater winding, but it is the {word} of a {meant}.");
        look.add(
            "socket-not-for-type",
            Gravity::Stop,
            vec![at],
            message,
            "Count the pins again from below, clockwise from the key or gap; then see what type the socket is really wired for. Do not energise before that is clear.",
        );
    }
}

/// The fitted type against the type the socket is wired for.
fn fitted(look: &mut Look<'_>, id: PartId) {
    let part = &look.circuit.parts[id.0];
    let Kind::Valve(valve) = &part.kind else {
        return;
    };
    let Some(other) = &valve.fitted else { return };
    let (Some(meant), Some(is)) = (look.library.find(&valve.meant), look.library.find(other))
    else {
        return;
    };
    let name = part.name.clone();
    if meant.base != is.base {
        let message = format!(
            "{name} is said to hold a {}, which does not fit the socket of a {}.",
            is.name, meant.name
        );
        look.add(
            "socket-not-for-type",
            Gravity::Stop,
            vec![name],
            message,
            "Read the print on the valve again, or the type the socket is meant for.",
        );
        return;
    }
    let mut clash = Vec::new();
    for t in &part.terminals {
        if t.node.is_none() {
            continue;
        }
        let (a, b) = (uses(meant, &t.name), uses(is, &t.name));
        let main = |v: &[Electrode]| -> Vec<Electrode> {
            let mut m: Vec<Electrode> = v
                .iter()
                .copied()
                .filter(|e| !matches!(e, Electrode::Shield | Electrode::Internal))
                // Either end of a heater may be either pin.
                .map(|e| {
                    if e == Electrode::Heater2 {
                        Electrode::Heater1
                    } else {
                        e
                    }
                })
                .collect();
            m.sort_unstable();
            m.dedup();
            m
        };
        let (ma, mb) = (main(&a), main(&b));
        if !ma.is_empty() && !mb.is_empty() && ma.iter().all(|e| !mb.contains(e)) {
            clash.push(format!("{}.{}", name, t.name));
        }
    }
    if !clash.is_empty() {
        let message = format!(
            "A {} has other electrodes at {} than the {} that the socket is wired for.",
            is.name,
            clash.join(", "),
            meant.name
        );
        look.add(
            "socket-not-for-type",
            Gravity::Stop,
            clash,
            message,
            "Take the valve out before power comes on, and look at its print and its basing.",
        );
    }
    let heater = |s: &Sheet| s.heater.as_ref().map(|h| (h.ends.volts, h.ends.amps));
    if let (Some((v, a)), Some((w, b))) = (heater(meant), heater(is)) {
        if (v / w - 1.0).abs() > 0.15 {
            let message = format!(
                "{name}: the heater of a {} wants {w} V, the socket gives a {} its {v} V.",
                is.name, meant.name
            );
            look.add(
                "heater-volts-differ",
                Gravity::Stop,
                vec![part.name.clone()],
                message,
                "Take the valve out before power comes on.",
            );
        } else if b > a * 1.1 {
            let message = format!(
                "{name}: a {} takes {b} A of heater current where a {} takes {a} A.",
                is.name, meant.name
            );
            look.add(
                "heater-current-rises",
                Gravity::Should,
                vec![part.name.clone()],
                message,
                "Add up the heaters against the winding before it stays in (never more than 10 % above the original load: common practice, no source).",
            );
        }
    }
}

/// A plate wired straight to ground, or a cathode of an amplifying valve straight on a rail.
fn impossible(look: &mut Look<'_>, id: PartId) {
    let part = &look.circuit.parts[id.0];
    let Kind::Valve(valve) = &part.kind else {
        return;
    };
    if !valve
        .electrodes
        .iter()
        .any(|u| u.electrode == Electrode::Grid)
    {
        return;
    }
    let mut odd = Vec::new();
    for u in &valve.electrodes {
        let Some(t) = part.terminals.get(u.terminal) else {
            continue;
        };
        let Some(node) = t.node else { continue };
        let at = format!("{}.{}", part.name, t.name);
        // A whole section put to ground is a section not used.
        let section_grounded = valve
            .electrodes
            .iter()
            .filter(|w| {
                w.section == u.section
                    && matches!(
                        w.electrode,
                        Electrode::Plate | Electrode::Grid | Electrode::Cathode
                    )
            })
            .all(|w| part.terminals.get(w.terminal).and_then(|x| x.node) == Some(GROUND));
        match u.electrode {
            Electrode::Plate | Electrode::Screen if node == GROUND && !section_grounded => {
                odd.push((
                    at,
                    format!(
                        "the {} of a {}, is wired straight to ground",
                        u.electrode.word(),
                        valve.meant
                    ),
                ));
            }
            Electrode::Cathode if look.anatomy.rails.contains(&node) => {
                odd.push((
                    at,
                    format!(
                        "the cathode of a {}, is wired straight to the high tension",
                        valve.meant
                    ),
                ));
            }
            Electrode::Grid if look.anatomy.rails.contains(&node) => {
                odd.push((
                    at,
                    format!(
                        "the grid of a {}, is wired straight to the high tension",
                        valve.meant
                    ),
                ));
            }
            _ => {}
        }
    }
    for (at, what) in odd {
        look.add(
            "socket-not-for-type",
            Gravity::Stop,
            vec![at.clone()],
            format!("{at}, {what}: that cannot be what the socket is wired for."),
            "Count the pins again from below; then check the type the socket is meant for. Do not energise before that is clear.",
        );
    }
}
