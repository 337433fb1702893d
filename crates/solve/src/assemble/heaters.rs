//! Heaters: resistors at their rated current, and which of them are fed.

use std::collections::{BTreeMap, BTreeSet};

use wiring::circuit::{Electrode, Kind};
use wiring::{GROUND, NodeId};

use super::builder::Builder;
use super::sockets::Socket;
use crate::netlist::{Heating, NodeIndex};

/// Cold resistance of a heater over its hot resistance; common practice, no source.
const HEATER_COLD: f64 = 1.0 / 6.0;
/// A resistance below this in series still counts as heater wiring.
const WIRING_OHMS: f64 = 100.0;

/// Points that some winding or bench supply feeds through heater wiring: switches, fuses,
/// chokes, small resistors, diodes, other heaters, whatever their state.
pub(super) fn fed(b: &Builder<'_>) -> BTreeSet<NodeId> {
    let mut edges: BTreeMap<NodeId, Vec<NodeId>> = BTreeMap::new();
    let mut next: Vec<NodeId> = Vec::new();
    for part in &b.circuit.parts {
        let at = |t: usize| b.wired(part, t);
        let mut joined: Vec<NodeId> = Vec::new();
        match &part.kind {
            Kind::Resistor { ohms: Some(ohms) } if *ohms >= WIRING_OHMS => {}
            Kind::Switch { .. }
            | Kind::Fuse { .. }
            | Kind::Choke { .. }
            | Kind::Resistor { .. }
            | Kind::Diode { .. }
            | Kind::Bridge => joined = (0..part.terminals.len()).filter_map(at).collect(),
            Kind::Valve(valve) => {
                let socket = Socket::new(b, part, valve);
                let ends = [Electrode::Heater1, Electrode::HeaterTap, Electrode::Heater2];
                joined = ends
                    .iter()
                    .flat_map(|e| socket.pins(None, *e).filter_map(at).collect::<Vec<_>>())
                    .collect();
            }
            Kind::PowerTransformer(t) => {
                let taps = t.windings.iter().flat_map(|w| &w.taps);
                next.extend(taps.filter_map(|tap| at(tap.0)));
            }
            Kind::Supply { .. } => next.extend([at(0), at(1)].into_iter().flatten()),
            _ => {}
        }
        if let Some((first, rest)) = joined.split_first() {
            for other in rest {
                edges.entry(*first).or_default().push(*other);
                edges.entry(*other).or_default().push(*first);
            }
        }
    }
    let mut seen = BTreeSet::new();
    while let Some(node) = next.pop() {
        if node == GROUND || !seen.insert(node) {
            continue;
        }
        next.extend(edges.get(&node).into_iter().flatten().copied());
    }
    seen
}

/// Adds a valve's heater; gives its elements, its rated volts across each, and the node in the
/// middle of a filament that is the cathode.
pub(super) fn heater(b: &mut Builder<'_>, socket: &Socket<'_>, filament: bool) -> Heater {
    let mut done = Heater::default();
    let Some(sheet) = socket.sheet else {
        return done;
    };
    let name = &socket.part.name;
    let cold = if b.conditions.power_off {
        HEATER_COLD
    } else {
        1.0
    };
    let parts = sheet.heater_parts();
    if filament {
        let (Some(h), ends) = (
            parts.first(),
            [Electrode::Heater1, Electrode::Heater2].map(|e| socket.node(b, None, e)),
        ) else {
            return done;
        };
        if ends.iter().all(Option::is_none) {
            return done;
        }
        // The plates see the mean of both ends.
        let middle = b.inner(format!("{name} filament"));
        done.middle = Some(middle);
        done.rated_volts = h.volts / 2.0;
        for end in ends.into_iter().flatten() {
            let ohms = cold * 0.5 * h.volts / h.amps;
            let part = b.resistor(name, format!("{name} heater"), (end, middle), ohms);
            done.elements.extend(part);
        }
        done.whole = ends.iter().all(Option::is_some);
        return done;
    }
    let mut tap = socket.node(b, None, Electrode::HeaterTap);
    for h in &parts {
        let mut end = |electrode: Electrode, b: &mut Builder<'_>| {
            if electrode != Electrode::HeaterTap {
                return socket.node(b, None, electrode);
            }
            let both = [Electrode::Heater1, Electrode::Heater2]
                .iter()
                .all(|e| socket.is_wired(b, None, *e));
            if tap.is_none() && both {
                tap = Some(b.inner(format!("{name} heater tap")));
            }
            tap
        };
        let (Some(from), Some(to)) = (end(h.from, b), end(h.to, b)) else {
            continue;
        };
        let part = b.resistor(
            name,
            format!("{name} heater"),
            (from, to),
            cold * h.volts / h.amps,
        );
        done.elements.extend(part);
        done.rated_volts = h.volts;
    }
    done.whole = done.elements.len() == parts.len();
    done
}

/// What a heater came to.
#[derive(Debug, Default)]
pub(super) struct Heater {
    pub(super) elements: Vec<usize>,
    pub(super) rated_volts: f64,
    /// Every stretch of it is wired at both ends.
    pub(super) whole: bool,
    /// The middle of a filament that is the cathode.
    pub(super) middle: Option<NodeIndex>,
}

/// Says which sections a heater lights, or that it counts as hot because it is not traced.
pub(super) fn light(
    b: &mut Builder<'_>,
    socket: &Socket<'_>,
    heater: Heater,
    fed: &BTreeSet<NodeId>,
    lights: Vec<usize>,
) -> bool {
    if lights.is_empty() {
        return true;
    }
    let ends = [Electrode::Heater1, Electrode::HeaterTap, Electrode::Heater2];
    let is_fed = ends.iter().any(|e| {
        socket
            .pins(None, *e)
            .filter_map(|t| b.wired(socket.part, t))
            .any(|n| fed.contains(&n))
    });
    if heater.whole && is_fed && heater.rated_volts > 0.0 {
        b.out.netlist.heating.push(Heating {
            valve: socket.part.name.clone(),
            heaters: heater.elements,
            rated_volts: heater.rated_volts,
            lights,
        });
        return true;
    }
    // A cold cathode needs no heater.
    socket.sheet.is_some_and(|s| s.heater.is_none())
}
