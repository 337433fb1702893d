//! Likely faults one at a time: what each would push past its rating.
//!
//! A coupling capacitor that shorts before an output grid, a cathode bypass that shorts, fixed bias
//! that fails, a reservoir or filter that shorts, an output valve out of its socket. The circuit is
//! solved with the fault in it, at today's mains, for good parts everywhere else. Where a marked
//! fuse would open, that is said and the figures are left out: they would not last.

use super::{Place, Quantity, Strained, Verdict, Work, passive, valve};
use crate::powered::Powered;
use crate::surge::Surge;
use serde::Serialize;
use wiring::circuit::{Circuit, Kind, Measured, MeasuredValue, PartId};
use wiring::readings::{Conditions, ValvesIn};
use wiring::roles::{BlockKind, Role};

/// One fault and what it does.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Failing {
    /// The fault in words.
    pub fault: String,
    /// The part that fails.
    pub part: String,
    /// What ends it at once: a fuse that opens.
    pub blows: Option<String>,
    /// Parts beyond their rating that were inside it, or a tenth further beyond than before; worst
    /// first.
    pub pushed: Vec<Pushed>,
    /// Why there are no figures.
    pub unsolved: Option<String>,
}

/// A part that a fault pushes past its rating.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pushed {
    /// The part; of a valve with its section.
    pub part: String,
    /// What of it.
    pub kind: Place,
    /// Which figure.
    pub quantity: Quantity,
    /// The figure with the fault.
    pub value: f64,
    /// What the part is rated for.
    pub rating: f64,
    /// `value` over `rating`.
    pub ratio: f64,
}

/// How the circuit is made faulty.
enum Fault {
    Reads(PartId, MeasuredValue),
    Out(String),
}

/// No more faults than this are tried: an amplifier with more output valves shows the first.
const MOST_FAULTS: usize = 24;

pub(super) fn failing(work: &Work<'_>, healthy: &[Strained]) -> Vec<Failing> {
    if work.now.is_none() {
        return Vec::new();
    }
    let mut list = faults(work);
    list.truncate(MOST_FAULTS);
    list.into_iter()
        .map(|(fault, part, how)| tried(work, healthy, fault, part, &how))
        .filter(|f| f.blows.is_some() || f.unsolved.is_some() || !f.pushed.is_empty())
        .collect()
}

fn name(circuit: &Circuit, id: PartId) -> String {
    circuit
        .parts
        .get(id.0)
        .map_or_else(String::new, |p| p.name.clone())
}

fn faults(work: &Work<'_>) -> Vec<(String, String, Fault)> {
    let mut all: Vec<(String, String, Fault)> = Vec::new();
    let mut add = |words: String, id: PartId, reads: MeasuredValue| {
        let part = name(work.circuit, id);
        if !all.iter().any(|(w, ..)| *w == words) {
            all.push((words, part, Fault::Reads(id, reads)));
        }
    };
    let is_capacitor = |id: PartId| {
        matches!(
            work.circuit.parts.get(id.0).map(|p| &p.kind),
            Some(Kind::Capacitor { .. })
        )
    };
    for id in before_output_grids(work) {
        add(
            format!("{} shorts", name(work.circuit, id)),
            id,
            MeasuredValue::Short,
        );
    }
    for block in &work.anatomy.blocks {
        let output = matches!(block.kind, BlockKind::PushPull | BlockKind::SingleEnded);
        for (id, role) in &block.parts {
            let words = name(work.circuit, *id);
            match role {
                Role::CathodeBypass if output && is_capacitor(*id) => {
                    add(format!("{words} shorts"), *id, MeasuredValue::Short);
                }
                Role::Reservoir | Role::Filter | Role::BiasFilter if is_capacitor(*id) => {
                    add(format!("{words} shorts"), *id, MeasuredValue::Short);
                }
                Role::BiasFeed => add(format!("{words} opens"), *id, MeasuredValue::Open),
                _ => {}
            }
        }
    }
    for block in &work.anatomy.blocks {
        if !matches!(block.kind, BlockKind::PushPull | BlockKind::SingleEnded) {
            continue;
        }
        for section in &block.sections {
            let valve = name(work.circuit, section.part);
            let words = format!("{valve} is dead or out");
            if !all.iter().any(|(w, ..)| *w == words) {
                all.push((words, valve.clone(), Fault::Out(valve)));
            }
        }
    }
    all
}

/// Coupling capacitors with one end at an output grid, or behind a stopper at one.
fn before_output_grids(work: &Work<'_>) -> Vec<PartId> {
    let mut grids = Vec::new();
    for block in &work.anatomy.blocks {
        if matches!(block.kind, BlockKind::PushPull | BlockKind::SingleEnded) {
            grids.extend(block.sections.iter().filter_map(|s| s.grid));
        }
    }
    let mut behind = grids.clone();
    for part in &work.circuit.parts {
        if let (Kind::Resistor { ohms: Some(r) }, Some((a, b))) =
            (&part.kind, crate::powered::ends(part))
        {
            if *r <= 47e3 && grids.contains(&a) {
                behind.push(b);
            } else if *r <= 47e3 && grids.contains(&b) {
                behind.push(a);
            }
        }
    }
    behind.retain(|n| *n != wiring::GROUND);
    let joins = |index: &usize| {
        let Some(part) = work.circuit.parts.get(*index) else {
            return false;
        };
        work.anatomy.has(PartId(*index), Role::Coupling)
            && crate::powered::ends(part)
                .is_some_and(|(a, b)| behind.contains(&a) || behind.contains(&b))
    };
    (0..work.circuit.parts.len())
        .filter(joins)
        .map(PartId)
        .collect()
}

fn tried(
    work: &Work<'_>,
    healthy: &[Strained],
    words: String,
    part: String,
    how: &Fault,
) -> Failing {
    let mut circuit = work.circuit.clone();
    let mut under = work.under.clone();
    match how {
        Fault::Reads(id, reads) => {
            if let Some(part) = circuit.parts.get_mut(id.0) {
                part.known.reading = Some(Measured {
                    value: *reads,
                    in_circuit: false,
                });
            }
        }
        Fault::Out(valve) => under.valves = without(&under, valve),
    }
    let mut failing = Failing {
        fault: words,
        part: part.clone(),
        blows: None,
        pushed: Vec::new(),
        unsolved: None,
    };
    let state = match Powered::new(&circuit, work.library, &under) {
        Ok(state) => state,
        Err(why) => {
            failing.unsolved = Some(why);
            return failing;
        }
    };
    if let Some(blown) = state.blown(&circuit) {
        failing.blows = Some(blown);
        return failing;
    }
    let faulty = Work {
        circuit: &circuit,
        library: work.library,
        anatomy: work.anatomy,
        under,
        surge: Surge {
            cold: None,
            warm: None,
            capacitors: Vec::new(),
            ..work.surge.clone()
        },
        now: Some(state),
        drives: &[],
    };
    let mut strained = passive::strained(&faulty);
    strained.extend(valve::strained(&faulty));
    for s in strained {
        if s.part == part || s.quantity == Quantity::GridOhms {
            continue;
        }
        let (Some(rating), Some(ratio)) = (s.rating, s.ratio) else {
            continue;
        };
        let before = healthy
            .iter()
            .find(|h| h.part == s.part && h.kind == s.kind && h.quantity == s.quantity)
            .and_then(|h| h.ratio)
            .unwrap_or(0.0);
        if s.verdict == Verdict::Over && ratio > 1.1 * before.max(1.0 / 1.1) {
            failing.pushed.push(Pushed {
                part: s.part,
                kind: s.kind,
                quantity: s.quantity,
                value: s.value,
                rating,
                ratio,
            });
        }
    }
    failing.pushed.sort_by(|a, b| {
        b.ratio
            .total_cmp(&a.ratio)
            .then_with(|| a.part.cmp(&b.part))
    });
    failing
}

fn without(under: &Conditions, valve: &str) -> ValvesIn {
    match under.valves.clone() {
        ValvesIn::All => ValvesIn::Without(vec![valve.to_owned()]),
        ValvesIn::Without(mut names) => {
            names.push(valve.to_owned());
            ValvesIn::Without(names)
        }
        ValvesIn::Only(names) => ValvesIn::Only(names.into_iter().filter(|n| n != valve).collect()),
    }
}
