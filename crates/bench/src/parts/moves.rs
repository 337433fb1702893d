//! What a part's drift moves in this amplifier: volts at a valve or rail, and the signal at the
//! loudspeaker.
//!
//! To first order, from the slopes of the solved circuit: good to a tenth of itself for drifts of
//! ten per cent, a direction and a size for larger ones. A part that was read with an end lifted
//! moves by what was read; another by as much as 95 of 100 of its sort may have strayed (the table of
//! tolerances). The controls stand as the wiring sets them.

use super::Judged;
use crate::powered::{Asked, Powered, block, conditions};
use crate::tolerance::{Tolerances, part_of};
use crate::voicing::{
    Plugged, SILENT, decibels_of, ends, inputs, loudspeaker, plugged, unknown_in_the_way,
};
use serde::Serialize;
use solve::linearised::Linearised;
use solve::netlist::{Parameter, Quantity};
use solve::response::{Held, SmallSignal};
use wiring::circuit::{Circuit, Electrode, Kind, MeasuredValue, NodeId, Part};
use wiring::roles::{BlockKind, anatomy};
use wiring::sheet::Library;

/// Frequencies of the response: low, middle, high.
const HERTZ: [f64; 3] = [100.0, 1000.0, 5000.0];
/// So many inputs are asked.
const MOST_INPUTS: usize = 3;
/// Below these nothing is told: no meter shows the one, no ear hears the other.
const TRIFLE_VOLTS: f64 = 0.01;
const TRIFLE_DB: f64 = 0.01;

/// What drift moves.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Moves {
    /// The drift, per cent of the marked value.
    pub percent: f64,
    /// It was read on the part; else it is what such parts may stray.
    pub by_reading: bool,
    /// The valve electrode or rail that moves most.
    pub point: Option<String>,
    /// By so many volts.
    pub volts: Option<f64>,
    /// The input from which the signal changes most.
    pub from: Option<String>,
    /// Change at the loudspeaker at 1 kHz, decibels.
    pub gain_db: Option<f64>,
    /// Change at 100 Hz against 1 kHz.
    pub low_db: Option<f64>,
    /// Change at 5 kHz against 1 kHz.
    pub high_db: Option<f64>,
}

/// Fills in what each part's drift moves.
pub(super) fn fill(circuit: &Circuit, library: &Library, asked: &Asked, all: &mut [Judged]) {
    let Ok(tolerances) = Tolerances::standard() else {
        return;
    };
    volts(circuit, library, asked, &tolerances, all);
    signal(circuit, library, asked, &tolerances, all);
}

/// The logarithm of a part's drift in a quantity, and whether it was read.
fn strayed(
    circuit: &Circuit,
    tolerances: &Tolerances,
    part: &Part,
    quantity: Quantity,
) -> Option<(f64, bool)> {
    let marked = match (&part.kind, quantity) {
        (Kind::Resistor { ohms } | Kind::Pot { ohms, .. }, Quantity::Ohms) => *ohms,
        (Kind::Capacitor { farads, .. }, Quantity::Farads) => *farads,
        (Kind::Valve(_), Quantity::Emission) => None,
        _ => return None,
    };
    if let (Some(marked), Some(reading)) = (marked, part.known.reading)
        && !reading.in_circuit
    {
        return match reading.value {
            MeasuredValue::Is(v) if v > 0.0 && marked > 0.0 => Some(((v / marked).ln(), true)),
            _ => None,
        };
    }
    let spread = tolerances.of_part(circuit, part, quantity);
    let log = spread.median.ln() + 2.0 * spread.sigma;
    (spread.sigma > 0.0 && log.is_finite()).then_some((log, false))
}

/// The judged part that a parameter belongs to, with its drift.
fn of<'a>(
    circuit: &Circuit,
    tolerances: &Tolerances,
    parameter: &Parameter,
    all: &'a mut [Judged],
) -> Option<(&'a mut Judged, f64, bool)> {
    let part = part_of(circuit, &parameter.part)?;
    let (log, by_reading) = strayed(circuit, tolerances, part, parameter.quantity)?;
    let one = all.iter_mut().find(|j| j.part == part.name)?;
    Some((one, log, by_reading))
}

fn slot(one: &mut Judged, log: f64, by_reading: bool) -> &mut Moves {
    one.moves.get_or_insert(Moves {
        percent: (log.exp() - 1.0) * 100.0,
        by_reading,
        point: None,
        volts: None,
        from: None,
        gain_db: None,
        low_db: None,
        high_db: None,
    })
}

fn volts(
    circuit: &Circuit,
    library: &Library,
    asked: &Asked,
    tolerances: &Tolerances,
    all: &mut [Judged],
) {
    let under = conditions(asked, block(circuit, asked));
    let Ok(state) = Powered::new(circuit, library, &under) else {
        return;
    };
    let (net, rest) = (&state.solved.point.netlist, &state.solved.point.solution);
    let Ok(linear) = Linearised::new(net, rest) else {
        return;
    };
    for node in told(circuit) {
        let (Some(index), Some(_)) = (state.node(node), state.volts(node)) else {
            continue;
        };
        let adjoint = linear.adjoint(index, 0);
        for (at, parameter) in net.parameters.iter().enumerate() {
            let Some((one, log, by_reading)) = of(circuit, tolerances, parameter, all) else {
                continue;
            };
            let moved = adjoint.sensitivity(net, rest, at) * log;
            if !moved.is_finite() {
                continue;
            }
            let moves = slot(one, log, by_reading);
            if moved.abs() > moves.volts.map_or(TRIFLE_VOLTS, f64::abs) {
                moves.volts = Some(moved);
                moves.point = Some(point_name(circuit, node));
            }
        }
    }
}

/// Plates, screens, cathodes and grids, and the rails.
fn told(circuit: &Circuit) -> Vec<NodeId> {
    let mut nodes: Vec<NodeId> = anatomy(circuit).rails;
    for part in &circuit.parts {
        let Kind::Valve(valve) = &part.kind else {
            continue;
        };
        for pin in &valve.electrodes {
            let counts = matches!(
                pin.electrode,
                Electrode::Plate | Electrode::Screen | Electrode::Cathode | Electrode::Grid
            );
            if counts && let Some(node) = part.terminals.get(pin.terminal).and_then(|t| t.node) {
                nodes.push(node);
            }
        }
    }
    nodes.retain(|n| *n != wiring::GROUND);
    nodes.sort_unstable();
    nodes.dedup();
    nodes
}

/// A point as one names it: its own name, else the first pin or lug on it.
pub(super) fn point_name(circuit: &Circuit, node: NodeId) -> String {
    let Some(at) = circuit.nodes.get(node.0) else {
        return String::new();
    };
    if let Some(name) = at.names.first() {
        return name.clone();
    }
    let valve_first = at.terminals.iter().min_by_key(|(id, _)| {
        let part = circuit.parts.get(id.0);
        !part.is_some_and(|p| matches!(p.kind, Kind::Valve(_)))
    });
    valve_first
        .and_then(|(id, terminal)| {
            let part = circuit.parts.get(id.0)?;
            Some(format!(
                "{}.{}",
                part.name,
                part.terminals.get(*terminal)?.name
            ))
        })
        .unwrap_or_default()
}

/// One jack of each input; where no input is recognised, the first jacks.
fn jacks(circuit: &Circuit) -> Vec<String> {
    let is_jack = |id: &wiring::PartId| {
        let part = circuit.parts.get(id.0)?;
        matches!(part.kind, Kind::Jack { .. }).then(|| part.name.clone())
    };
    let mut jacks: Vec<String> = anatomy(circuit)
        .blocks
        .iter()
        .filter(|b| b.kind == BlockKind::Input)
        .filter_map(|b| b.parts.iter().find_map(|(id, _)| is_jack(id)))
        .collect();
    if jacks.is_empty() {
        jacks = inputs(circuit);
    }
    jacks.truncate(MOST_INPUTS);
    jacks
}

fn signal(
    circuit: &Circuit,
    library: &Library,
    asked: &Asked,
    tolerances: &Tolerances,
    all: &mut [Judged],
) {
    let Some(speaker) = loudspeaker(circuit) else {
        return;
    };
    for jack in jacks(circuit) {
        from_jack(circuit, library, asked, tolerances, (&jack, &speaker), all);
    }
}

fn from_jack(
    circuit: &Circuit,
    library: &Library,
    asked: &Asked,
    tolerances: &Tolerances,
    (jack, speaker): (&str, &str),
    all: &mut [Judged],
) -> Option<()> {
    let Plugged { solved, source, .. } = plugged(circuit, library, asked, jack).ok()?;
    let (net, rest) = (&solved.point.netlist, &solved.point.solution);
    let (a, b) = ends(circuit, &solved, speaker).ok()?;
    let small = SmallSignal::new(net, rest).ok()?;
    let linear = Linearised::new(net, rest).ok()?;
    let mut decibels: [Vec<f64>; 3] = Default::default();
    for (slopes, hertz) in decibels.iter_mut().zip(HERTZ) {
        let at = small.at(hertz).ok()?;
        let moved = at.per_volt(source);
        let volts = |n: usize| moved.get(n).copied().unwrap_or_default();
        let gain = volts(a) - volts(b);
        if gain.abs() < SILENT || unknown_in_the_way(&solved, &at, &moved, (a, b), gain).is_some() {
            return None;
        }
        *slopes = at
            .sensitivities(net, rest, source, (a, b), Held::Nothing(&linear))
            .into_iter()
            .map(|slope| decibels_of(slope, gain))
            .collect();
    }
    let [low, middle, high] = &decibels;
    for (at, parameter) in net.parameters.iter().enumerate() {
        let (Some(low), Some(middle), Some(high)) = (low.get(at), middle.get(at), high.get(at))
        else {
            continue;
        };
        let Some((one, log, by_reading)) = of(circuit, tolerances, parameter, all) else {
            continue;
        };
        let (gain, low, high) = (middle * log, (low - middle) * log, (high - middle) * log);
        let size = |g: f64, l: f64, h: f64| g.abs().max(l.abs()).max(h.abs());
        if ![gain, low, high].iter().all(|v| v.is_finite()) || size(gain, low, high) < TRIFLE_DB {
            continue;
        }
        let moves = slot(one, log, by_reading);
        let before = match (moves.gain_db, moves.low_db, moves.high_db) {
            (Some(g), Some(l), Some(h)) => size(g, l, h),
            _ => 0.0,
        };
        if size(gain, low, high) > before {
            moves.from = Some(jack.to_owned());
            moves.gain_db = Some(gain);
            moves.low_db = Some(low);
            moves.high_db = Some(high);
        }
    }
    Some(())
}

impl Moves {
    /// In words; none where nothing worth telling moves.
    #[must_use]
    pub fn words(&self) -> Option<String> {
        let mut said = Vec::new();
        if let (Some(point), Some(volts)) = (&self.point, self.volts.filter(|v| v.abs() >= 0.05)) {
            said.push(format!("{point} by {volts:+.1} V"));
        }
        if let (Some(from), Some(gain)) = (&self.from, self.gain_db) {
            let mut parts = Vec::new();
            if gain.abs() >= 0.05 {
                parts.push(format!("{gain:+.1} dB at 1 kHz"));
            }
            if let Some(low) = self.low_db.filter(|v| v.abs() >= 0.05) {
                parts.push(format!("{low:+.1} dB more at 100 Hz"));
            }
            if let Some(high) = self.high_db.filter(|v| v.abs() >= 0.05) {
                parts.push(format!("{high:+.1} dB more at 5 kHz"));
            }
            if !parts.is_empty() {
                said.push(format!("the sound from {from} by {}", parts.join(", ")));
            }
        }
        if said.is_empty() {
            return None;
        }
        let what = if self.by_reading {
            format!("Its drift of {:+.0} % changes", self.percent)
        } else {
            format!("Not read; a drift of {:+.0} % would change", self.percent)
        };
        Some(format!("{what} {}", said.join("; ")))
    }
}
