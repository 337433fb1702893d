//! How long capacitors take to empty by themselves, unplugged.
//!
//! From the highest volts down to 10 V through the resistances of the wiring alone: valves count
//! as cold, diodes as open, and an electrolytic's own leakage is not relied on. Whatever is still
//! charged after a day has no path.

use crate::powered::Asked;
use crate::rules::rules;
use solve::transient::Transient;
use solve::{AssembleOptions, assemble};
use std::collections::BTreeMap;
use wiring::circuit::Circuit;
use wiring::readings::Conditions;
use wiring::sheet::Library;
use wiring::{NodeId, PartId};

/// Work begins below these volts (`live.discharge`).
pub const EMPTY_VOLTS: f64 = 10.0;

/// What is not empty after a day is not emptied by the circuit.
const DAY_SECONDS: f64 = 86_400.0;

/// First step, seconds.
const FIRST_STEP: f64 = 1e-4;

/// Each step is this part of the time that has passed: half a percent on the answer.
const GROWTH: f64 = 0.08;

/// Times to empty; none where there is no path.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Empties {
    capacitors: BTreeMap<usize, Option<f64>>,
    nodes: BTreeMap<usize, Option<f64>>,
}

impl Empties {
    /// Seconds until a capacitor holds 10 V for good; none where it never does, or is unknown.
    #[must_use]
    pub fn capacitor(&self, part: PartId) -> Option<f64> {
        self.capacitors.get(&part.0).copied().flatten()
    }

    /// Whether a capacitor is known to keep its charge.
    #[must_use]
    pub fn keeps(&self, part: PartId) -> bool {
        self.capacitors.get(&part.0) == Some(&None)
    }

    /// Seconds until a node stands below 10 V for good.
    #[must_use]
    pub fn node(&self, node: NodeId) -> Option<f64> {
        self.nodes.get(&node.0).copied().flatten()
    }
}

/// Highest volts that count as empty: the rule's, and never more than 10 V.
fn empty_volts() -> f64 {
    let rule = rules().figure("live.discharge", "work only below");
    rule.map_or(EMPTY_VOLTS, |v| v.min(EMPTY_VOLTS))
}

/// Follows the circuit from the volts in `starts`, by capacitor, with the plug out.
#[must_use]
pub fn empties(
    circuit: &Circuit,
    library: &Library,
    asked: &Asked,
    starts: &BTreeMap<String, f64>,
) -> Empties {
    let conditions = Conditions {
        power_off: true,
        sets: asked.sets.clone(),
        ..Conditions::default()
    };
    let assembly = assemble(circuit, library, &conditions, &AssembleOptions::default());
    let netlist = &assembly.netlist;
    let leaks: Vec<usize> = netlist
        .elements
        .iter()
        .enumerate()
        .filter(|(_, e)| e.name.ends_with(" leak"))
        .map(|(i, _)| i)
        .collect();
    let mut out = Empties::default();
    let Some(mut course) = Transient::new(netlist, &leaks) else {
        return out;
    };
    let stores: Vec<usize> = course.capacitors().collect();
    let mut watched: Vec<(usize, usize, f64)> = Vec::new();
    for (index, part) in circuit.parts.iter().enumerate() {
        let Some(volts) = starts.get(&part.name).copied() else {
            continue;
        };
        let elements = assembly.elements_of.get(&part.name);
        let element = elements
            .into_iter()
            .flatten()
            .copied()
            .find(|e| stores.contains(e));
        if let Some(element) = element
            && course.charge(element, volts)
        {
            watched.push((index, element, volts.abs()));
        }
    }
    let nodes: Vec<(usize, usize)> = assembly
        .node_of
        .iter()
        .enumerate()
        .filter_map(|(i, n)| Some((i, (*n)?)))
        .collect();
    let limit = empty_volts();
    // Last time above the limit, and whether it is above now.
    let mut parts: Vec<Fall> = watched.iter().map(|w| Fall::new(w.2, limit)).collect();
    let mut points: Vec<Fall> = nodes.iter().map(|_| Fall::default()).collect();
    let mut step = FIRST_STEP;
    while course.seconds() < DAY_SECONDS {
        if !course.step(step) {
            return out;
        }
        let now = course.seconds();
        for (fall, (_, element, _)) in parts.iter_mut().zip(&watched) {
            fall.look(now, course.held(*element).abs(), limit);
        }
        for (fall, (_, node)) in points.iter_mut().zip(&nodes) {
            fall.look(now, course.volts(*node).abs(), limit);
        }
        let quiet = |f: &Fall| f.volts < 0.5 * limit;
        if parts.iter().all(quiet) && points.iter().all(quiet) {
            break;
        }
        step = GROWTH * now;
    }
    for (fall, (index, _, _)) in parts.iter().zip(&watched) {
        out.capacitors.insert(*index, fall.seconds(limit));
    }
    for (fall, (index, _)) in points.iter().zip(&nodes) {
        out.nodes.insert(*index, fall.seconds(limit));
    }
    out
}

/// Volts that fall, and when they were last above the limit.
#[derive(Debug, Clone, Copy, Default)]
struct Fall {
    volts: f64,
    at: f64,
    crossed: f64,
}

impl Fall {
    fn new(volts: f64, limit: f64) -> Self {
        Self {
            volts,
            at: 0.0,
            crossed: if volts > limit { f64::NAN } else { 0.0 },
        }
    }

    fn look(&mut self, now: f64, volts: f64, limit: f64) {
        if self.volts > limit && volts <= limit {
            // Straight in the logarithm between the two looks.
            let whole = (self.volts / volts.max(1e-9)).ln();
            let part = ((self.volts / limit).ln() / whole).clamp(0.0, 1.0);
            self.crossed = self.at + part * (now - self.at);
        }
        (self.volts, self.at) = (volts, now);
    }

    fn seconds(&self, limit: f64) -> Option<f64> {
        (self.volts <= limit && self.crossed.is_finite()).then_some(self.crossed)
    }
}
