//! What drive does to every part: watts averaged over the cycle of a tone, peaks of volts.
//!
//! Read from the state that repeats itself under the tone, with the supply's sag; ripple of the mains is not in it.

use super::When;
use crate::driven::{Bench, Driven};
use serde::Serialize;
use solve::netlist::{Law, NodeIndex};
use wiring::circuit::{Circuit, Kind};

/// Every part under one drive.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct UnderDrive {
    /// At the clean limit or driven hard.
    pub when: When,
    /// Frequency, hertz.
    pub hertz: f64,
    /// Watts at the loudspeaker.
    pub watts: f64,
    /// The parts, in the order of the wiring; a valve section by section.
    pub parts: Vec<DrivenPart>,
}

/// One part under drive; what was not computed of it is none.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct DrivenPart {
    /// The part; of a valve with its section.
    pub part: String,
    /// Mean dissipation of a resistor or control, watts.
    pub watts: Option<f64>,
    /// Highest volts across a resistor or capacitor in the cycle, without sign.
    pub peak_volts: Option<f64>,
    /// Mean dissipation of a plate, watts.
    pub plate_watts: Option<f64>,
    /// Mean dissipation of a screen, watts.
    pub screen_watts: Option<f64>,
    /// Mean cathode current, milliamperes.
    pub cathode_ma: Option<f64>,
}

impl UnderDrive {
    /// One part.
    pub(super) fn part(&self, name: &str) -> Option<&DrivenPart> {
        self.parts.iter().find(|p| p.part == name)
    }
}

/// Reads a driven state.
pub(crate) fn under_drive(
    bench: &Bench,
    circuit: &Circuit,
    driven: &Driven,
    when: When,
    hertz: f64,
) -> UnderDrive {
    let mut parts = Vec::new();
    for part in &circuit.parts {
        let elements = bench.solved.assembly.elements_of.get(&part.name);
        let elements: Vec<usize> = elements.into_iter().flatten().copied().collect();
        if elements.iter().any(|e| !known(bench, *e)) {
            continue;
        }
        let laws = |e: &usize| Some((*e, &bench.netlist.elements.get(*e)?.law));
        match &part.kind {
            Kind::Resistor { .. } | Kind::Pot { .. } => {
                let mut one = DrivenPart {
                    part: part.name.clone(),
                    ..DrivenPart::default()
                };
                for (element, law) in elements.iter().filter_map(laws) {
                    let Law::Resistor { a, b, .. } = law else {
                        continue;
                    };
                    *one.watts.get_or_insert(0.0) += driven.cycle.power(element).dissipated;
                    if matches!(part.kind, Kind::Resistor { .. }) {
                        one.peak_volts = Some(peak(driven, *a, *b));
                    }
                }
                parts.push(one);
            }
            Kind::Capacitor { .. } => {
                let across = elements
                    .iter()
                    .filter_map(laws)
                    .find_map(|(_, law)| match law {
                        Law::Capacitor { a, b, .. } => Some((*a, *b)),
                        _ => None,
                    });
                parts.push(DrivenPart {
                    part: part.name.clone(),
                    peak_volts: across.map(|(a, b)| peak(driven, a, b)),
                    ..DrivenPart::default()
                });
            }
            Kind::Valve(_) => {
                for (element, law) in elements.iter().filter_map(laws) {
                    let pentode = matches!(law, Law::Pentode { .. });
                    if !pentode && !matches!(law, Law::Triode { .. }) {
                        continue;
                    }
                    let Some(of) = bench.netlist.elements.get(element) else {
                        continue;
                    };
                    let cycle = &driven.cycle;
                    parts.push(DrivenPart {
                        part: of.name.clone(),
                        plate_watts: Some(cycle.terminal_watts(element, 0)),
                        screen_watts: pentode.then(|| cycle.terminal_watts(element, 1)),
                        cathode_ma: cycle.currents(element).last().map(|c| -c.mean * 1e3),
                        ..DrivenPart::default()
                    });
                }
            }
            _ => {}
        }
    }
    UnderDrive {
        when,
        hertz,
        watts: bench.watts(driven),
        parts,
    }
}

/// No stand-in for a value that nobody knows, and no end that floats.
fn known(bench: &Bench, element: usize) -> bool {
    let law = bench.netlist.elements.get(element).map(|e| &e.law);
    !bench.solved.assembly.stand_ins.contains(&element)
        && law.is_some_and(|law| {
            let ends = law.terminals();
            ends.iter().all(|n| !bench.solved.hanging.contains_key(n))
        })
}

fn peak(driven: &Driven, a: NodeIndex, b: NodeIndex) -> f64 {
    let wave = driven.cycle.wave(a, b);
    wave.iter().map(|w| w.1.abs()).fold(0.0, f64::max)
}
