//! Where charge stays when the plug is out, and how long it takes to go.
//!
//! The dead amplifier: plug out, valves cold, diodes shut, nothing of what leaks by chance counted
//! on (a good capacitor may hold its charge for days). What is left are resistances that were
//! traced and the switches as they stand. Every capacitor is told with its seconds to the volts at
//! which hands may go in, or that it has no path.
//!
//! Errs to the long side: valves that are still hot, leakage and diodes that open would empty it
//! sooner, and are not counted. It knows only what was traced.

mod modes;
mod ports;

#[cfg(test)]
mod tests;

use crate::chart::points::first_name;
use crate::rules::rules;
use modes::Modes;
use serde::Serialize;
use solve::{AssembleOptions, Solved, assemble};
use std::collections::BTreeMap;
use std::f64::consts::SQRT_2;
use wiring::circuit::{History, Kind, Make, NodeId, Part};
use wiring::sheet::Library;
use wiring::{Circuit, Conditions};

/// A capacitor without make-up or polarity counts as electrolytic from here on, farads.
const ELECTROLYTIC_FROM: f64 = solve::assemble::defaults::ELECTROLYTIC_FROM;

/// What counts as empty, volts, at most (common practice, no source).
const SAFE_VOLTS: f64 = 10.0;

/// What counts as dangerous, volts direct, at most.
const HAZARD_VOLTS: f64 = 60.0;

/// Volts across capacitors in one state of the amplifier, when the plug was pulled.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Start {
    /// Which state, in words (`all valves out, 253 V`).
    pub when: String,
    /// By capacitor: volts of its first terminal over its second.
    pub volts: BTreeMap<String, f64>,
}

/// What becomes of every capacitor.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Charges {
    /// One for each capacitor of the wiring, electrolytics first, then by what they hold.
    pub capacitors: Vec<Emptying>,
    /// Volts below which hands may go in.
    pub safe_volts: f64,
    /// Volts from which a charge is dangerous.
    pub hazard_volts: f64,
    /// Seconds to the safe volts at the points that were watched, by node.
    #[serde(skip)]
    points: BTreeMap<usize, Option<f64>>,
}

/// What becomes of one capacitor.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Emptying {
    /// Its name.
    pub part: String,
    /// Is it an electrolytic, by make-up, polarity or size?
    pub electrolytic: bool,
    /// The points it lies between, plus first for a polarised one.
    pub between: Vec<String>,
    /// Marked or measured farads.
    pub farads: Option<f64>,
    /// Highest volts it may hold, without sign.
    pub volts: Option<f64>,
    /// In which state that is.
    pub when: String,
    /// What it holds then.
    pub joules: Option<f64>,
    /// Seconds to the safe volts by its own paths; none: see `stays` and `why`.
    pub seconds: Option<f64>,
    /// Seconds to the hazard volts.
    pub hazard_seconds: Option<f64>,
    /// It has no path: it keeps its charge until someone takes it out.
    pub stays: bool,
    /// Why there are no seconds.
    pub why: Option<String>,
    /// The nodes of `between`.
    #[serde(skip)]
    pub nodes: Vec<NodeId>,
}

impl Charges {
    /// The largest capacitor from a node to ground, whose seconds are the node's.
    #[must_use]
    pub fn at(&self, node: NodeId) -> Option<&Emptying> {
        self.capacitors
            .iter()
            .filter(|c| c.nodes.contains(&node) && c.nodes.contains(&wiring::GROUND))
            .max_by(|a, b| {
                let farads = |e: &Emptying| e.farads.unwrap_or(0.0);
                farads(a).total_cmp(&farads(b))
            })
    }

    /// Seconds until a watched point stands at the safe volts for good; none where it never does,
    /// or where it was not watched ([`charges_at`]).
    #[must_use]
    pub fn seconds_at(&self, node: NodeId) -> Option<f64> {
        self.points.get(&node.0).copied().flatten()
    }

    /// One capacitor by its name.
    #[must_use]
    pub fn of(&self, part: &str) -> Option<&Emptying> {
        self.capacitors.iter().find(|c| c.part == part)
    }
}

/// The volts on every capacitor of a solved amplifier: steady, and the peak of what alternates.
#[must_use]
pub fn start(circuit: &Circuit, solved: &Solved, when: impl Into<String>) -> Start {
    let mut volts = BTreeMap::new();
    if solved.point.solved() {
        for part in capacitors(circuit) {
            let Some((a, b)) = ends(part) else { continue };
            let at = |n: NodeId| solved.assembly.node_of.get(n.0).copied().flatten();
            let (Some(a), Some(b)) = (at(a), at(b)) else {
                continue;
            };
            if solved.hanging.contains_key(&a) || solved.hanging.contains_key(&b) {
                continue;
            }
            let steady = solved.point.dc(a) - solved.point.dc(b);
            let peak = SQRT_2 * solved.point.ac_volts(a, b);
            let both = steady + peak.copysign(steady);
            if both.is_finite() {
                volts.insert(part.name.clone(), both);
            }
        }
    }
    Start {
        when: when.into(),
        volts,
    }
}

/// How the capacitors empty with the switches as `conditions` say (`standby_open`, `sets`), each
/// from the worst of the states it may have been in.
///
/// A capacitor whose volts no state tells is taken at its rated volts, and listed without seconds
/// when it has none.
#[must_use]
pub fn charges(
    circuit: &Circuit,
    library: &Library,
    conditions: &Conditions,
    starts: &[Start],
) -> Charges {
    charges_at(circuit, library, conditions, starts, &[])
}

/// The same, and the seconds of the `watched` points besides.
#[must_use]
pub fn charges_at(
    circuit: &Circuit,
    library: &Library,
    conditions: &Conditions,
    starts: &[Start],
    watched: &[NodeId],
) -> Charges {
    let under = Conditions {
        power_off: true,
        signal: None,
        ..conditions.clone()
    };
    let assembly = assemble(circuit, library, &under, &AssembleOptions::default());
    let safe_volts = safe_volts();
    let hazard_volts = figure("hazard threshold", HAZARD_VOLTS);
    let ports = ports::of(circuit, &assembly, watched);
    let mut points: BTreeMap<usize, Option<f64>> = BTreeMap::new();
    let mut found: Vec<Emptying> = capacitors(circuit)
        .map(|part| listed(circuit, part, starts))
        .collect();
    match ports {
        Ok(ports) => {
            let modes = Modes::new(&ports.ohms, &ports.farads);
            for start in beginnings(&ports.parts, &found, starts) {
                let course = modes.from(&start);
                for (port, name) in ports.parts.iter().enumerate() {
                    let Some(one) = found.iter_mut().find(|e| e.part == *name) else {
                        continue;
                    };
                    let seen = course.port(port);
                    one.take(
                        seen.last_above(safe_volts),
                        seen.last_above(hazard_volts),
                        ports.ohms.get(port).and_then(|r| r.get(port)).copied(),
                    );
                }
                for (node, ohms) in watched.iter().zip(&ports.seen) {
                    let seconds = course.point(ohms).last_above(safe_volts);
                    let worst = points.entry(node.0).or_insert(Some(0.0));
                    *worst = worst.zip(seconds).map(|(a, b)| a.max(b));
                }
            }
        }
        Err(why) => {
            for one in &mut found {
                one.why.get_or_insert_with(|| why.clone());
            }
        }
    }
    for one in &mut found {
        one.settle(safe_volts);
    }
    found.sort_by(|a, b| {
        let held = |e: &Emptying| e.joules.unwrap_or(f64::INFINITY);
        b.electrolytic
            .cmp(&a.electrolytic)
            .then(held(b).total_cmp(&held(a)))
            .then_with(|| a.part.cmp(&b.part))
    });
    Charges {
        capacitors: found,
        safe_volts,
        hazard_volts,
        points,
    }
}

/// Hands may go in below these volts, and never above 10 V, whatever the rule's table says.
#[must_use]
pub fn safe_volts() -> f64 {
    figure("work only below", SAFE_VOLTS)
}

/// A figure of the discharge rule, and never more than `most`.
fn figure(name: &str, most: f64) -> f64 {
    let rule = rules().figure("live.discharge", name);
    rule.unwrap_or(most).min(most)
}

/// More than this across a capacitor is no path: insulation, not a part.
const NO_PATH_OHMS: f64 = 1e10;

impl Emptying {
    /// The worse of what was known and this.
    fn take(&mut self, safe: Option<f64>, hazard: Option<f64>, ohms: Option<f64>) {
        if ohms.is_none_or(|r| r.is_nan() || r > NO_PATH_OHMS) {
            self.stays = true;
        }
        match safe {
            Some(t) => self.seconds = Some(self.seconds.unwrap_or(0.0).max(t)),
            None => self.stays = true,
        }
        if let Some(t) = hazard {
            self.hazard_seconds = Some(self.hazard_seconds.unwrap_or(0.0).max(t));
        }
    }

    /// Puts the last word to it, once every start was tried.
    fn settle(&mut self, safe_volts: f64) {
        if self.volts.is_some_and(|v| v <= safe_volts) && self.seconds == Some(0.0) {
            self.stays = false;
        }
        if self.stays {
            self.seconds = None;
            self.hazard_seconds = None;
            self.why = Some(
                "no path for direct current was traced across it: it keeps its charge".to_owned(),
            );
        } else if self.volts.is_none() {
            self.seconds = None;
            self.hazard_seconds = None;
            self.why.get_or_insert_with(|| {
                "its volts are not known, and no rating is written: take it as charged".to_owned()
            });
        }
    }
}

/// Starting volts of the ports in every state; what a state does not tell is at its rated volts.
fn beginnings(parts: &[String], found: &[Emptying], starts: &[Start]) -> Vec<Vec<f64>> {
    let known = |part: &String| {
        found
            .iter()
            .find(|e| e.part == *part)
            .and_then(|e| e.volts)
            .unwrap_or(0.0)
    };
    let told = starts.iter().filter(|s| !s.volts.is_empty());
    let mut all: Vec<Vec<f64>> = told
        .map(|s| {
            parts
                .iter()
                .map(|p| s.volts.get(p).copied().unwrap_or_else(|| known(p)))
                .collect()
        })
        .collect();
    if all.is_empty() {
        all.push(parts.iter().map(known).collect());
    }
    all
}

/// A capacitor before anything is computed of it.
fn listed(circuit: &Circuit, part: &Part, starts: &[Start]) -> Emptying {
    let told = starts
        .iter()
        .filter_map(|s| Some((s.volts.get(&part.name)?.abs(), s.when.as_str())))
        .max_by(|a, b| a.0.total_cmp(&b.0));
    let rated = part.known.volts.filter(|v| v.is_finite() && *v > 0.0);
    let (volts, when) = match (told, rated) {
        (Some((volts, when)), _) => (Some(volts), when.to_owned()),
        (None, Some(rated)) => (
            Some(rated),
            "not computed: taken at its rated volts".to_owned(),
        ),
        (None, None) => (None, "not known".to_owned()),
    };
    let farads = farads(part);
    let mut nodes: Vec<NodeId> = part.terminals.iter().filter_map(|t| t.node).collect();
    if plus_first(part) == Some(false) {
        nodes.reverse();
    }
    let why = if part.terminals.iter().any(|t| t.node.is_none()) {
        Some("not wired at both ends yet: trace it, and take it as charged".to_owned())
    } else if farads.is_none() {
        Some("its farads are not known: type them, and take it as charged".to_owned())
    } else {
        None
    };
    Emptying {
        part: part.name.clone(),
        electrolytic: is_electrolytic(part),
        between: nodes.iter().map(|n| first_name(circuit, *n)).collect(),
        farads,
        volts,
        when,
        joules: farads.zip(volts).map(|(c, v)| 0.5 * c * v * v),
        seconds: None,
        hazard_seconds: None,
        stays: false,
        why,
        nodes,
    }
}

/// Every capacitor that is in the amplifier.
fn capacitors(circuit: &Circuit) -> impl Iterator<Item = &Part> {
    circuit.parts.iter().filter(|p| {
        matches!(p.kind, Kind::Capacitor { .. }) && p.known.history != Some(History::Removed)
    })
}

fn ends(part: &Part) -> Option<(NodeId, NodeId)> {
    Some((part.terminals.first()?.node?, part.terminals.get(1)?.node?))
}

fn plus_first(part: &Part) -> Option<bool> {
    match part.kind {
        Kind::Capacitor { plus_first, .. } => plus_first,
        _ => None,
    }
}

/// Farads that count: read on the lifted part, else marked.
fn farads(part: &Part) -> Option<f64> {
    use wiring::circuit::MeasuredValue;
    let Kind::Capacitor { farads, .. } = part.kind else {
        return None;
    };
    let read = part.known.reading.filter(|r| !r.in_circuit);
    let value = match read.map(|r| r.value) {
        Some(MeasuredValue::Is(v)) => Some(v),
        _ => farads,
    };
    value.filter(|c| c.is_finite() && *c > 0.0)
}

/// Is it an electrolytic: by make-up, by polarity, or by size where neither is written?
#[must_use]
pub fn is_electrolytic(part: &Part) -> bool {
    let Kind::Capacitor { farads, plus_first } = part.kind else {
        return false;
    };
    match part.known.make {
        Some(make) => make == Make::Electrolytic,
        None => plus_first.is_some() || farads.is_none_or(|f| f >= ELECTROLYTIC_FROM),
    }
}
