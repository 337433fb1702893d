//! Heaters as they are wired: volts at the sockets, reference, elevation, hum.
//!
//! For every heater supply of the wiring: the volts that the valves get at lowest, today's and
//! highest mains with the winding sagging under their load; what brings them right; what ties the
//! winding to ground and how far it is raised; each valve's volts between heater and cathode
//! against its sheet, by sign, with the steady share; the watts in the balance resistors; an
//! estimate of the hum that an imbalance brings. Chains are followed valve by valve. Pure.

mod elevation;
mod hum;
mod page;
mod reference;

pub use elevation::Elevated;
pub(crate) use elevation::elevated_at;
pub use hum::Hum;
pub use reference::{Balance, Reference, ReferenceSort};

use crate::powered::{Asked, Powered, Read, block, conditions, head, mains_volts, sheet_of};
use crate::sheet::Sheet;
use crate::surge::{Surge, surge};
use crate::wall::{Wall, made_for, wall};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use wiring::circuit::{Circuit, Electrode, History, Kind, Part};
use wiring::readings::Conditions;
use wiring::roles::{Anatomy, anatomy};
use wiring::sheet::Library;
use wiring::{GROUND, NodeId};

/// The heaters, worked out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Heating {
    /// Every heater supply, in the order of the wiring.
    pub supplies: Vec<HeaterSupply>,
    /// Every valve between heater and cathode.
    pub elevated: Vec<Elevated>,
    /// What the mains gives and may give.
    pub wall: Wall,
    /// Mains volts that the figures are for.
    pub mains_volts: Option<f64>,
    /// The sheet.
    #[serde(flatten)]
    pub sheet: Sheet,
}

/// Valves on one winding or one pair of leads.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HeaterSupply {
    /// The winding, `T1 heater`; or the leads, where no winding is traced.
    pub name: String,
    /// Amperes that the winding is marked for.
    pub winding_amps: Option<f64>,
    /// Amperes rms that its heaters and lamps take, today's mains.
    pub amps: Option<f64>,
    /// Volts rms across the winding, today's mains.
    pub winding_volts: Option<f64>,
    /// The valves on it.
    pub sockets: Vec<Socket>,
    /// What ties it to ground.
    pub reference: Reference,
    /// Hum from imbalance.
    pub hum: Option<Hum>,
    /// What brings the volts right.
    pub correction: Option<Correction>,
}

/// A valve's heater.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Socket {
    /// The valve.
    pub valve: String,
    /// Type in the socket.
    pub valve_type: String,
    /// Pins, as wired: `4+5 and 9`.
    pub pins: String,
    /// Rated volts between those pins.
    pub rated_volts: f64,
    /// Rated amperes there.
    pub rated_amps: f64,
    /// Volts rms, today's mains.
    pub volts: Option<f64>,
    /// At the lowest mains.
    pub volts_lowest: Option<f64>,
    /// At the highest mains.
    pub volts_highest: Option<f64>,
    /// What a meter read between the pins, rms.
    pub read_volts: Option<f64>,
    /// Other heaters lie in series with it.
    pub in_series: bool,
}

/// A resistor in each of both heater leads.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Correction {
    /// Ohms in each lead, as computed.
    pub wanted_ohms: f64,
    /// The part to fit in each lead.
    pub ohms: f64,
    /// Watts that each dissipates.
    pub dissipates_w: f64,
    /// Rating to fit.
    pub rated_w: f64,
    /// Volts at the sockets with it, today's mains.
    pub volts: f64,
    /// At the lowest mains.
    pub volts_lowest: Option<f64>,
}

pub(crate) struct Work<'a> {
    pub(crate) circuit: &'a Circuit,
    pub(crate) library: &'a Library,
    pub(crate) anatomy: &'a Anatomy,
    pub(crate) read: Read,
    pub(crate) now: Option<Powered>,
    pub(crate) lowest: Option<Powered>,
    pub(crate) highest: Option<Powered>,
    pub(crate) surge: Surge,
}

/// The heater sheet of a wiring.
#[must_use]
pub fn heating(circuit: &Circuit, library: &Library, asked: &Asked) -> Heating {
    let anatomy = anatomy(circuit);
    let block = block(circuit, asked);
    let under = conditions(asked, block);
    let today = mains_volts(circuit, &under);
    let wall = wall(made_for(circuit), today);
    let mut sheet = Sheet::new("heaters", "Heaters as wired");
    head(&mut sheet, circuit);
    let at = |volts: Option<f64>| {
        let conditions = Conditions {
            mains_volts: volts.or(under.mains_volts),
            ..under.clone()
        };
        Powered::new(circuit, library, &conditions)
    };
    let now = match at(None) {
        Ok(p) => Some(p),
        Err(why) => {
            sheet.missing(
                format!("volts: {why}"),
                "Run `check`, and look for a slip near that point.",
            );
            None
        }
    };
    let work = Work {
        now,
        lowest: at(Some(wall.lowest)).ok(),
        highest: at(Some(wall.highest)).ok(),
        surge: surge(circuit, library, &anatomy, asked),
        read: Read::of(block),
        circuit,
        library,
        anatomy: &anatomy,
    };
    let supplies = supplies(&work);
    let mut heating = Heating {
        elevated: elevated_at(
            circuit,
            library,
            &[&work.now, &work.highest, &work.surge.cold, &work.lowest].map(Option::as_ref),
        ),
        supplies,
        wall,
        mains_volts: today,
        sheet,
    };
    page::fill(&work, block.map(|b| b.name.as_str()), &mut heating);
    heating
}

/// Nodes of a valve's heater: both ends, and the tap where it has one.
#[derive(Debug, Clone)]
pub(crate) struct HeaterPins {
    pub(crate) one: Option<NodeId>,
    pub(crate) two: Option<NodeId>,
    pub(crate) tap: Option<NodeId>,
}

impl HeaterPins {
    pub(crate) fn of(part: &Part) -> Option<Self> {
        let Kind::Valve(valve) = &part.kind else {
            return None;
        };
        let node = |which: Electrode| {
            valve
                .electrodes
                .iter()
                .filter(|u| u.electrode == which)
                .find_map(|u| part.terminals.get(u.terminal)?.node)
        };
        Some(Self {
            one: node(Electrode::Heater1),
            two: node(Electrode::Heater2),
            tap: node(Electrode::HeaterTap),
        })
    }

    /// The two nodes that the heater lies between as wired: of a tapped one with both ends joined, the
    /// ends and the tap.
    pub(crate) fn pair(&self) -> Option<(NodeId, NodeId)> {
        match (self.one, self.two, self.tap) {
            (Some(a), Some(b), Some(t)) if a == b => Some((a, t)),
            (Some(a), Some(b), _) if a != b => Some((a, b)),
            (Some(a), None, Some(t)) | (None, Some(a), Some(t)) => Some((a, t)),
            _ => None,
        }
    }

    pub(crate) fn nodes(&self) -> impl Iterator<Item = NodeId> {
        [self.one, self.two, self.tap].into_iter().flatten()
    }
}

/// A valve that is in the amplifier.
pub(crate) fn valves(circuit: &Circuit) -> impl Iterator<Item = (usize, &Part)> {
    circuit.parts.iter().enumerate().filter(|(_, p)| {
        matches!(p.kind, Kind::Valve(_)) && p.known.history != Some(History::Removed)
    })
}

/// Windings that heat: all taps below 20 V, and the nodes on them.
struct HeaterWinding {
    name: String,
    amps: Option<f64>,
    /// First and last end in winding order.
    ends: Option<(NodeId, NodeId)>,
    /// A tap between them.
    centre: Option<NodeId>,
    has_centre: bool,
}

fn windings(circuit: &Circuit) -> Vec<HeaterWinding> {
    let mut all = Vec::new();
    for part in &circuit.parts {
        let Kind::PowerTransformer(t) = &part.kind else {
            continue;
        };
        if part.known.history == Some(History::Removed) {
            continue;
        }
        for w in &t.windings {
            if w.taps.len() < 2 || w.taps.iter().any(|(_, v)| v.abs() >= 20.0) {
                continue;
            }
            let node = |i: usize| part.terminals.get(i).and_then(|t| t.node);
            let first = w.taps.first().and_then(|t| node(t.0));
            let last = w.taps.last().and_then(|t| node(t.0));
            let centre = (w.taps.len() == 3)
                .then(|| w.taps.get(1).and_then(|t| node(t.0)))
                .flatten();
            all.push(HeaterWinding {
                name: format!("{} {}", part.name, w.name),
                amps: w.amps,
                ends: first.zip(last),
                centre,
                has_centre: w.taps.len() == 3,
            });
        }
    }
    all
}

/// A resistance below this in a heater lead is still heater wiring, ohms.
const LEAD_OHMS: f64 = 20.0;

/// Every node that a heater lead reaches through heaters, lamps, switches, fuses, chokes and
/// small resistors.
fn region(circuit: &Circuit, from: &[NodeId]) -> BTreeSet<NodeId> {
    let mut ways: BTreeMap<NodeId, Vec<NodeId>> = BTreeMap::new();
    for part in &circuit.parts {
        if part.known.history == Some(History::Removed) {
            continue;
        }
        let nodes: Vec<NodeId> = match &part.kind {
            Kind::Valve(_) => HeaterPins::of(part)
                .into_iter()
                .flat_map(|p| p.nodes().collect::<Vec<_>>())
                .collect(),
            Kind::Fuse { .. } | Kind::Switch { .. } | Kind::Choke { .. } => {
                part.terminals.iter().filter_map(|t| t.node).collect()
            }
            Kind::Resistor { ohms } if ohms.is_some_and(|r| r < LEAD_OHMS) => {
                part.terminals.iter().filter_map(|t| t.node).collect()
            }
            _ => continue,
        };
        for a in &nodes {
            for b in &nodes {
                if a != b {
                    ways.entry(*a).or_default().push(*b);
                }
            }
        }
    }
    let mut seen: BTreeSet<NodeId> = from.iter().copied().filter(|n| *n != GROUND).collect();
    let mut ahead: VecDeque<NodeId> = seen.iter().copied().collect();
    while let Some(n) = ahead.pop_front() {
        for next in ways.get(&n).into_iter().flatten() {
            if *next != GROUND && seen.insert(*next) {
                ahead.push_back(*next);
            }
        }
    }
    seen
}

fn supplies(work: &Work<'_>) -> Vec<HeaterSupply> {
    let circuit = work.circuit;
    let mut taken: BTreeSet<usize> = BTreeSet::new();
    let mut all = Vec::new();
    for w in windings(circuit) {
        let from: Vec<NodeId> = w.ends.map_or_else(Vec::new, |(a, b)| vec![a, b]);
        if from.is_empty() {
            continue;
        }
        let nodes = region(circuit, &from);
        let here: Vec<usize> = valves(circuit)
            .filter(|(i, p)| {
                !taken.contains(i)
                    && HeaterPins::of(p).is_some_and(|h| {
                        h.pair().is_some_and(|(a, b)| {
                            // One lead may be ground, where one side of the winding is.
                            [a, b].iter().all(|n| nodes.contains(n) || *n == GROUND)
                                && (nodes.contains(&a) || nodes.contains(&b))
                        })
                    })
            })
            .map(|(i, _)| i)
            .collect();
        if here.is_empty() {
            continue;
        }
        taken.extend(here.iter().copied());
        let reference = reference::reference(work, w.ends, w.centre, w.has_centre);
        let sockets: Vec<Socket> = here
            .iter()
            .filter_map(|i| socket(work, *i, w.ends))
            .collect();
        let amps = work.now.as_ref().map(|p| drawn(work, p, &nodes, &here));
        let mut supply = HeaterSupply {
            name: w.name,
            winding_amps: w.amps.filter(|a| *a > 0.0),
            amps: amps.filter(|a| *a > 0.0),
            winding_volts: w
                .ends
                .and_then(|(a, b)| work.now.as_ref()?.alternating(a, b)),
            hum: hum::hum(work, w.ends, &reference),
            sockets,
            reference,
            correction: None,
        };
        supply.correction = correction(&supply);
        all.push(supply);
    }
    // Valves on leads whose winding is not traced yet.
    let rest: Vec<usize> = valves(circuit)
        .filter(|(i, p)| {
            !taken.contains(i) && HeaterPins::of(p).is_some_and(|h| h.pair().is_some())
        })
        .map(|(i, _)| i)
        .collect();
    let mut left: BTreeSet<usize> = rest.into_iter().collect();
    while let Some(first) = left.pop_first() {
        let Some(part) = circuit.parts.get(first) else {
            continue;
        };
        let Some((a, b)) = HeaterPins::of(part).and_then(|h| h.pair()) else {
            continue;
        };
        let nodes = region(circuit, &[a, b]);
        let mut here = vec![first];
        left.retain(|i| {
            let on = circuit
                .parts
                .get(*i)
                .and_then(HeaterPins::of)
                .and_then(|h| h.pair())
                .is_some_and(|(x, y)| nodes.contains(&x) || nodes.contains(&y));
            if on {
                here.push(*i);
            }
            !on
        });
        all.push(HeaterSupply {
            name: format!(
                "leads {} and {}",
                crate::powered::node_name(circuit, a),
                crate::powered::node_name(circuit, b)
            ),
            winding_amps: None,
            amps: None,
            winding_volts: None,
            sockets: here
                .iter()
                .filter_map(|i| socket(work, *i, Some((a, b))))
                .collect(),
            reference: reference::reference(work, Some((a, b)), None, false),
            hum: None,
            correction: None,
        });
    }
    all
}

/// Amperes rms of the heaters, lamps included.
fn drawn(work: &Work<'_>, state: &Powered, nodes: &BTreeSet<NodeId>, here: &[usize]) -> f64 {
    let mut sum = 0.0;
    // Of a chain only one heater counts; heaters side by side all do. Each heater's share of the
    // winding is its watts over the winding's volts.
    let mut watts = 0.0;
    let mut volts: f64 = 0.0;
    for i in here {
        let Some(part) = work.circuit.parts.get(*i) else {
            continue;
        };
        for heating in &state.solved.assembly.netlist.heating {
            if heating.valve != part.name {
                continue;
            }
            for e in &heating.heaters {
                let amps = state.amps_rms(*e);
                if let Some(solve::Law::Resistor { ohms, .. }) = state.element(*e).map(|e| &e.law) {
                    watts += amps * amps * ohms;
                }
            }
        }
    }
    for part in &work.circuit.parts {
        if let Kind::Lamp { .. } = part.kind
            && let Some((a, b)) = crate::powered::ends(part)
            && nodes.contains(&a)
            && nodes.contains(&b)
            && let Some(e) = state.own_element(&part.name)
        {
            let amps = state.amps_rms(e);
            watts += amps * state.alternating(a, b).unwrap_or(0.0);
        }
    }
    for (a, b) in windings(work.circuit).iter().filter_map(|w| w.ends) {
        if nodes.contains(&a) || nodes.contains(&b) {
            volts = volts.max(state.alternating(a, b).unwrap_or(0.0));
        }
    }
    if volts > 0.1 {
        sum += watts / volts;
    }
    sum
}

fn socket(work: &Work<'_>, index: usize, supply: Option<(NodeId, NodeId)>) -> Option<Socket> {
    let part = work.circuit.parts.get(index)?;
    let sheet = sheet_of(work.library, part)?;
    let Kind::Valve(valve) = &part.kind else {
        return None;
    };
    let pins = HeaterPins::of(part)?;
    let (a, b) = pins.pair()?;
    let joined = pins.one.is_some() && pins.one == pins.two && pins.tap.is_some();
    let halves = sheet.heater_parts();
    let whole: f64 = halves.iter().map(|h| h.volts).sum();
    let first = halves.first()?;
    let half_only = pins.tap.is_some() && (pins.one.is_none() || pins.two.is_none());
    let (rated_volts, rated_amps) = if joined {
        (first.volts, halves.iter().map(|h| h.amps).sum())
    } else if half_only {
        (first.volts, first.amps)
    } else {
        (whole, first.amps)
    };
    let volts = |state: &Option<Powered>| {
        let state = state.as_ref()?;
        // A heater fed with direct volts has them in its steady part.
        let steady = state.across(a, b).unwrap_or(0.0);
        Some(steady.hypot(state.alternating(a, b)?))
    };
    let on_supply = supply.is_some_and(|(x, y)| {
        let near = |n: NodeId| n == x || n == y || n == GROUND;
        near(a) && near(b)
    });
    Some(Socket {
        valve: part.name.clone(),
        valve_type: valve.type_in_socket().to_owned(),
        pins: pin_words(part, a, b),
        rated_volts,
        rated_amps,
        volts: volts(&work.now),
        volts_lowest: volts(&work.lowest),
        volts_highest: volts(&work.highest),
        read_volts: work.read.alternating(a, b),
        in_series: !on_supply && in_chain(work.circuit, index, a, b),
    })
}

/// Another heater lies behind one of its ends and nothing else does.
fn in_chain(circuit: &Circuit, index: usize, a: NodeId, b: NodeId) -> bool {
    [a, b].into_iter().any(|n| {
        n != GROUND
            && circuit.nodes.get(n.0).is_some_and(|node| {
                let others = node.terminals.iter().filter(|(p, _)| p.0 != index);
                let mut any = false;
                let all = others.into_iter().all(|(p, t)| {
                    any = true;
                    circuit.parts.get(p.0).is_some_and(|p| match &p.kind {
                        Kind::Valve(v) => v.electrodes.iter().any(|u| {
                            u.terminal == *t
                                && matches!(
                                    u.electrode,
                                    Electrode::Heater1 | Electrode::Heater2 | Electrode::HeaterTap
                                )
                        }),
                        _ => false,
                    })
                });
                any && all
                    && node
                        .terminals
                        .iter()
                        .map(|t| t.0)
                        .collect::<BTreeSet<_>>()
                        .len()
                        == 2
            })
    })
}

/// `4+5 and 9`.
fn pin_words(part: &Part, a: NodeId, b: NodeId) -> String {
    let Kind::Valve(valve) = &part.kind else {
        return String::new();
    };
    let at = |node: NodeId| {
        let mut pins: Vec<&str> = valve
            .electrodes
            .iter()
            .filter(|u| {
                matches!(
                    u.electrode,
                    Electrode::Heater1 | Electrode::Heater2 | Electrode::HeaterTap
                )
            })
            .filter_map(|u| part.terminals.get(u.terminal))
            .filter(|t| t.node == Some(node))
            .map(|t| t.name.as_str())
            .collect();
        pins.dedup();
        pins.join("+")
    };
    format!("{} and {}", at(a), at(b))
}

/// The volts that sockets on one supply should have: rated, of the first that is not in a chain.
pub(crate) fn rated(supply: &HeaterSupply) -> Option<f64> {
    supply
        .sockets
        .iter()
        .find(|s| !s.in_series)
        .map(|s| s.rated_volts)
}

/// Volts over rated volts above which a correction is worth it (`heater.tolerance`, 5 %).
const HIGH: f64 = 1.05;

/// A resistor in each lead where today's volts are too high; none where they are not, or where a chain
/// or a rectifier's own winding makes it no matter of one pair of leads.
fn correction(supply: &HeaterSupply) -> Option<Correction> {
    let nominal = rated(supply)?;
    let plain = || supply.sockets.iter().filter(|s| !s.in_series);
    let volts = plain().filter_map(|s| s.volts).reduce(f64::max)?;
    let read = plain().filter_map(|s| s.read_volts).reduce(f64::max);
    let volts = read.unwrap_or(volts);
    if volts <= HIGH * nominal {
        return None;
    }
    let amps: f64 = plain().map(|s| s.rated_amps).sum();
    if amps <= 0.0 {
        return None;
    }
    let wanted = (volts - nominal) / amps / 2.0;
    let need = crate::part::ResistorNeed {
        ohms: wanted,
        // The smaller neighbour: a heater too cold is worse than one a little too warm.
        toward: crate::part::Toward::Smaller,
        volts: (volts - nominal) / 2.0,
        factor: crate::part::power_factor().unwrap_or(2.0),
        least_watts: 0.0,
    };
    let part = crate::part::resistor(&need)?;
    let ohms = part.total_ohms();
    // Heaters taken as resistances about their rated point.
    let with = |v: f64| v * (nominal / amps) / (nominal / amps + 2.0 * ohms);
    let after = with(volts);
    let drop = (volts - after) / 2.0;
    let dissipates = drop * drop / ohms;
    let rating = crate::part::rated_watts(dissipates * need.factor)?;
    Some(Correction {
        wanted_ohms: wanted,
        ohms,
        dissipates_w: dissipates,
        rated_w: rating.max(part.watts),
        volts: after,
        volts_lowest: plain()
            .filter_map(|s| s.volts_lowest)
            .reduce(f64::min)
            .map(with),
    })
}

#[cfg(test)]
mod tests;
