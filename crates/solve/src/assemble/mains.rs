//! The mains: its volts and frequency, where it comes in, and the lamp in series.
//!
//! Where walks lead from `live` or `neutral` to a primary, the path is as traced: an open
//! switch or a missing fuse in it kills the transformer. A side that no walk reaches counts as
//! connected. The mains side meets circuit ground only where `earth` meets the chassis.

use std::collections::{BTreeMap, BTreeSet};

use wiring::circuit::{Kind, PowerTransformer};
use wiring::{NodeId, Part};

use super::builder::{Builder, MOST_VOLTS, written};
use super::defaults::{MAINS_OHMS, MAINS_TIE_OHMS, NEUTRAL_EARTH_OHMS, lamp_volts};
use super::power::span;
use crate::device::FilamentLaw;
use crate::netlist::{Law, NodeIndex, Quantity, Slot};

/// What is known of the mains before the parts are added.
pub(super) struct Mains {
    /// Volts rms, hertz.
    supply: Option<(f64, f64)>,
    /// Netlist nodes of the two conductors, where there is anything to feed.
    ends: Option<(NodeIndex, NodeIndex)>,
    /// Volts of the primary in use.
    primary_volts: f64,
    /// Primary leads that no walk joins to the mains but that count as joined.
    joined: BTreeMap<(String, usize), NodeIndex>,
}

impl Mains {
    /// The mains conductor that a primary lead counts as joined to though no walk says so.
    pub(super) fn joined(&self, part: &Part, terminal: usize) -> Option<NodeIndex> {
        self.joined.get(&(part.name.clone(), terminal)).copied()
    }
}

/// Finds the mains and what reaches each primary.
pub(super) fn find(b: &mut Builder<'_>) -> Mains {
    let circuit = b.circuit;
    let transformers: Vec<(&Part, &PowerTransformer)> = circuit
        .parts
        .iter()
        .filter(|p| !b.is_removed(p))
        .filter_map(|p| match &p.kind {
            Kind::PowerTransformer(t) if span(&t.primary).0 < span(&t.primary).1 => Some((p, t)),
            _ => None,
        })
        .collect();
    let named = |name: &str| {
        let at = |n: &wiring::circuit::Node| n.names.iter().any(|x| x == name);
        circuit.nodes.iter().position(at).map(NodeId)
    };
    let (live, neutral) = (named("live"), named("neutral"));
    let primary_volts = transformers
        .first()
        .map_or(0.0, |(p, t)| volts_in_use(b, p, t));
    let supply = volts_and_hertz(b, primary_volts);
    let mut mains = Mains {
        supply,
        ends: None,
        primary_volts,
        joined: BTreeMap::new(),
    };
    if transformers.is_empty() && live.is_none() && neutral.is_none() {
        return mains;
    }
    let mut end = |node: Option<NodeId>, name: &str| match node {
        Some(node) => b.node(node),
        None => b.inner(name.to_owned()),
    };
    let (live_end, neutral_end) = (end(live, "live"), end(neutral, "neutral"));
    mains.ends = Some((live_end, neutral_end));

    let from_live = reached(b, live);
    let from_neutral = reached(b, neutral);
    for (part, t) in transformers {
        let leads = |set: &BTreeSet<NodeId>| -> Vec<usize> {
            let on = |terminal: usize| b.wired(part, terminal).is_some_and(|n| set.contains(&n));
            t.primary.iter().map(|p| p.0).filter(|i| on(*i)).collect()
        };
        let (on_live, on_neutral) = (leads(&from_live), leads(&from_neutral));
        let volts = supply.map_or(primary_volts, |s| s.0);
        match (on_live.as_slice(), on_neutral.as_slice()) {
            ([], []) => {
                let (first, last) = leads_in_use(b, part, t, volts);
                mains.joined.insert((part.name.clone(), first), live_end);
                mains.joined.insert((part.name.clone(), last), neutral_end);
                b.note(
                    "mains-not-traced",
                    format!(
                        "{}: no walk reaches it from the mains; it counts as energised",
                        part.name
                    ),
                );
            }
            ([one], []) | ([], [one]) => {
                let (side, word) = if on_live.is_empty() {
                    (live_end, "live")
                } else {
                    (neutral_end, "neutral")
                };
                if let Some(other) = other_lead(b, part, t, *one, volts) {
                    mains.joined.insert((part.name.clone(), other), side);
                    b.note(
                        "mains-half-traced",
                        format!(
                            "{}: no walk reaches it from {word}; that side counts as connected",
                            part.name
                        ),
                    );
                }
            }
            _ => {}
        }
    }
    mains
}

/// Volts between the primary leads that are wired, or of the whole primary.
fn volts_in_use(b: &Builder<'_>, part: &Part, t: &PowerTransformer) -> f64 {
    let wired: Vec<(usize, f64)> = t
        .primary
        .iter()
        .copied()
        .filter(|p| b.wired(part, p.0).is_some())
        .collect();
    let (low, high) = if wired.len() >= 2 {
        span(&wired)
    } else {
        span(&t.primary)
    };
    high - low
}

/// The two leads that an untraced mains is joined to: those that are wired, else the common one
/// and the tap nearest the mains volts.
fn leads_in_use(
    b: &mut Builder<'_>,
    part: &Part,
    t: &PowerTransformer,
    volts: f64,
) -> (usize, usize) {
    let mut wired: Vec<(usize, f64)> = t
        .primary
        .iter()
        .copied()
        .filter(|p| b.wired(part, p.0).is_some())
        .collect();
    wired.sort_by(|x, y| x.1.total_cmp(&y.1));
    if let ([first, .., last], true) = (wired.as_slice(), wired.len() >= 2) {
        return (first.0, last.0);
    }
    let base = t
        .primary
        .iter()
        .min_by(|x, y| x.1.total_cmp(&y.1))
        .map_or(0, |p| p.0);
    (base, nearest_tap(b, part, t, base, volts))
}

/// The lead opposite to the one that the mains reaches.
fn other_lead(
    b: &mut Builder<'_>,
    part: &Part,
    t: &PowerTransformer,
    one: usize,
    volts: f64,
) -> Option<usize> {
    let wired = t
        .primary
        .iter()
        .map(|p| p.0)
        .filter(|i| *i != one && b.wired(part, *i).is_some());
    let wired: Vec<usize> = wired.collect();
    match wired.as_slice() {
        [other] => Some(*other),
        _ if t.primary.len() < 2 => None,
        _ => Some(nearest_tap(b, part, t, one, volts)),
    }
}

/// Of the other leads, the one whose volts from `from` come nearest to the mains.
fn nearest_tap(
    b: &mut Builder<'_>,
    part: &Part,
    t: &PowerTransformer,
    from: usize,
    volts: f64,
) -> usize {
    let base = t.primary.iter().find(|p| p.0 == from).map_or(0.0, |p| p.1);
    let best = t
        .primary
        .iter()
        .filter(|p| p.0 != from)
        .min_by(|x, y| {
            let off = |v: f64| ((v - base).abs() - volts).abs();
            off(x.1).total_cmp(&off(y.1))
        })
        .copied();
    let Some((terminal, tap)) = best else {
        return from;
    };
    if t.primary.len() > 2 {
        b.note(
            "tap-assumed",
            format!(
                "{}: no primary tap is wired; the one of {} V is taken, nearest to the mains",
                part.name,
                (tap - base).abs()
            ),
        );
    }
    terminal
}

/// Mains volts and frequency: the block's, else the heading's, else the primary's volts; 50 Hz
/// from 200 V up and 60 Hz below where nothing says, by the volts the amplifier is made for, so
/// that a variable transformer does not change the frequency.
fn volts_and_hertz(b: &Builder<'_>, primary_volts: f64) -> Option<(f64, f64)> {
    let heading = b.circuit.heading.mains;
    let sound = |v: &f64| (0.0..=MOST_VOLTS).contains(v);
    let made_for = Some(primary_volts).filter(|v| *v > 0.0);
    let volts = b
        .conditions
        .mains_volts
        .filter(sound)
        .or(heading.map(|m| m.volts).filter(sound))
        .or(made_for)?;
    let said = b.conditions.mains_hertz.or(heading.and_then(|m| m.hertz));
    let hertz = written(said, 1e6).unwrap_or_else(|| {
        let by = made_for.or(heading.map(|m| m.volts)).unwrap_or(volts);
        if by >= 200.0 { 50.0 } else { 60.0 }
    });
    Some((volts, hertz))
}

/// Every node that a conductor of the mains reaches through fuses, switches, resistors and
/// chokes, whatever their state: what matters is that the path was traced.
fn reached(b: &Builder<'_>, from: Option<NodeId>) -> BTreeSet<NodeId> {
    let mut edges: BTreeMap<NodeId, Vec<NodeId>> = BTreeMap::new();
    for part in &b.circuit.parts {
        let passes = match &part.kind {
            Kind::Fuse { .. } | Kind::Switch { .. } | Kind::Choke { .. } => true,
            Kind::Resistor { ohms } => ohms.is_none_or(|r| r < 1e4),
            _ => false,
        };
        if !passes {
            continue;
        }
        let nodes: Vec<NodeId> = (0..part.terminals.len())
            .filter_map(|t| b.wired(part, t))
            .collect();
        if let Some((common, throws)) = nodes.split_first() {
            for throw in throws {
                edges.entry(*common).or_default().push(*throw);
                edges.entry(*throw).or_default().push(*common);
            }
        }
    }
    let mut seen = BTreeSet::new();
    let mut next: Vec<NodeId> = from.into_iter().collect();
    while let Some(node) = next.pop() {
        // Ground is not a conductor of the mains.
        if node == wiring::GROUND || !seen.insert(node) {
            continue;
        }
        next.extend(edges.get(&node).into_iter().flatten().copied());
    }
    seen
}

/// Adds the mains source, the lamp in series, and the ties of the mains side.
pub(super) fn source(b: &mut Builder<'_>, mains: &Mains) {
    let Some((live, neutral)) = mains.ends else {
        return;
    };
    let earth = b
        .circuit
        .nodes
        .iter()
        .position(|n| n.names.iter().any(|x| x == "earth"));
    if let Some(earth) = earth {
        let earth = b.node(NodeId(earth));
        // Neutral and earth meet at the building's supply: not with the plug out.
        let apart = if b.conditions.power_off {
            MAINS_TIE_OHMS
        } else {
            NEUTRAL_EARTH_OHMS
        };
        b.resistor(
            "mains",
            "mains neutral to earth".to_owned(),
            (neutral, earth),
            apart,
        );
        if earth != 0 {
            b.resistor("mains", "mains tie".to_owned(), (earth, 0), MAINS_TIE_OHMS);
        }
    } else {
        b.resistor(
            "mains",
            "mains tie".to_owned(),
            (neutral, 0),
            MAINS_TIE_OHMS,
        );
    }
    if b.conditions.power_off {
        return;
    }
    let Some((volts, hertz)) = mains.supply else {
        b.unsolved(
            "mains",
            "its volts are not known; type `mains 230 V` in the heading".to_owned(),
        );
        return;
    };
    let rated = lamp_volts(if mains.primary_volts > 0.0 {
        mains.primary_volts
    } else {
        volts
    });
    let socket = match written(b.conditions.limiter_watts, 1e6) {
        Some(watts) => {
            let socket = b.inner("mains socket".to_owned());
            let law = FilamentLaw::rated(rated, watts / rated);
            b.note(
                "limiter-lamp",
                format!(
                    "limiter: taken as a lamp of {watts} W at {rated} V with its cold resistance"
                ),
            );
            b.add(
                "limiter",
                "limiter".to_owned(),
                Law::Filament {
                    a: socket,
                    b: live,
                    law,
                },
            );
            socket
        }
        None => live,
    };
    if socket == neutral {
        b.unsolved(
            "mains",
            "live and neutral are one point: a short across the mains".to_owned(),
        );
        return;
    }
    let e = b.add(
        "mains",
        "mains".to_owned(),
        Law::Alternating {
            a: socket,
            b: neutral,
            volts,
            hertz,
            ohms: MAINS_OHMS,
            mains: true,
        },
    );
    b.spreads("mains", Quantity::Mains, vec![(e, Slot::Volts)]);
    b.out.netlist.hertz = hertz;
}
