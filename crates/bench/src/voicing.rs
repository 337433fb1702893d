//! Voicing: what a small signal from a jack becomes at a point or at the loudspeaker.
//!
//! The amplifier is solved at rest with the jack plugged and every other one empty, linearised
//! there, and asked at each frequency. Figures are volts at the point over the open-circuit volts of
//! the source, in dB (0 dB is one volt for one volt). Small signals: nothing clips, no grid draws
//! current because of it. Knows no file and no screen; refuses to answer where a valve in the
//! signal's way has no known operating point.

mod figures;
mod guitar;
mod parts;

pub use figures::{Figures, figures, in_words};
pub use guitar::Guitar;
pub use parts::{Contribution, Contributions, contributions};
pub(crate) use parts::{band_against, decibels_of};

use crate::powered::{Asked, block, conditions};
use serde::Serialize;
use solve::linear::{Complex, Scalar as _};
use solve::netlist::{Law, NodeIndex};
use solve::response::{NoiseModel, SmallSignal};
use solve::{AssembleOptions, Solved, solve_circuit};
use std::collections::BTreeMap;
use wiring::circuit::{Circuit, Kind, Part};
use wiring::roles::{BlockKind, anatomy};
use wiring::sheet::Library;

/// Below this gain at every frequency nothing is said to arrive.
pub(crate) const SILENT: f64 = 1e-7;
/// A valve without a known operating point is in the signal's way when it could carry more than
/// this part of what arrives, with the slope of [`USUAL_SIEMENS`].
const IN_THE_WAY: f64 = 0.01;
/// Mutual conductance of a usual small triode: common practice, no source.
const USUAL_SIEMENS: f64 = 1.5e-3;

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct VoicingRequest {
    /// Conditions, knobs among them.
    pub asked: Asked,
    /// Jack or generator that drives.
    pub from: String,
    /// Point (against ground) or part in passing (first end less second end).
    pub to: String,
    /// Frequencies, hertz, rising.
    pub hertz: Vec<f64>,
    /// Ohms of the source, open-circuit volts behind them; taken where no guitar drives.
    pub source_ohms: f64,
    /// A guitar in place of a plain source.
    pub guitar: Option<Guitar>,
    /// Loudspeakers counted as resistors of their nominal ohms.
    pub resistive_load: bool,
}

/// One response.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Voicing {
    /// What drives.
    pub from: String,
    /// Where it was taken.
    pub to: String,
    /// Frequencies, hertz.
    pub hz: Vec<f64>,
    /// dB re 1 V/V.
    pub db: Vec<f64>,
    /// Degrees, -180 to 180.
    pub deg: Vec<f64>,
    /// Ohms that the source works into, without the source.
    pub input_ohms: Vec<f64>,
    /// Where each knob stood.
    pub knobs: BTreeMap<String, f64>,
    /// Volts rms of noise at `to`, 20 Hz to 20 kHz, the jack shorted; no hum in it.
    pub noise_volts: Option<f64>,
    /// Corners, middle dip and more.
    pub figures: Figures,
    /// What was assumed, and what is worth knowing.
    pub notes: Vec<String>,
}

impl Voicing {
    /// How this response differs from another at the same frequencies, in words, from the numbers only.
    #[must_use]
    pub fn against(&self, other: &Self) -> String {
        let difference: Vec<f64> = self.db.iter().zip(&other.db).map(|(a, b)| a - b).collect();
        in_words(&self.hz, &difference)
    }

    /// This response over that at another point, of the same source: what a network between the two
    /// loses as it stands in the circuit.
    #[must_use]
    pub fn over(mut self, other: &Self) -> Self {
        for (own, theirs) in self.db.iter_mut().zip(&other.db) {
            *own -= theirs;
        }
        for (own, theirs) in self.deg.iter_mut().zip(&other.deg) {
            let turned = *own - theirs;
            *own = turned - 360.0 * ((turned + 180.0) / 360.0).floor();
        }
        self.to = format!("{} over {}", self.to, other.to);
        self.noise_volts = None;
        self.figures = figures(&self.hz, &self.db, &self.input_ohms);
        self
    }
}

/// Computes a response; the reason in a sentence where there is none.
///
/// # Errors
/// A name that is nowhere, no operating point, a valve in the way whose operating point hangs on
/// what is not traced, nothing that arrives.
pub fn voicing(
    circuit: &Circuit,
    library: &Library,
    request: &VoicingRequest,
) -> Result<Voicing, String> {
    let changed;
    let circuit = if request.resistive_load {
        changed = with_resistors(circuit);
        &changed
    } else {
        circuit
    };
    let Rest {
        at:
            Plugged {
                from,
                is_jack,
                under,
                solved,
                source,
            },
        ends: (a, b),
        small: circuit_at,
    } = rest(circuit, library, request)?;
    let mut found = Voicing {
        from: from.clone(),
        to: request.to.clone(),
        hz: request.hertz.clone(),
        db: Vec::new(),
        deg: Vec::new(),
        input_ohms: Vec::new(),
        knobs: knobs(circuit, &under),
        noise_volts: None,
        figures: Figures::default(),
        notes: Vec::new(),
    };
    let mut gains = Vec::new();
    let (at_each, loads) = (
        circuit_at.per_volt_over(source, &request.hertz),
        circuit_at.input_impedance_over(source, &request.hertz),
    );
    let (at_each, loads) = (
        at_each.map_err(|e| e.to_string())?,
        loads.map_err(|e| e.to_string())?,
    );
    for ((&hertz, moved), load) in request.hertz.iter().zip(at_each.iter()).zip(loads) {
        let volts = |n: NodeIndex| moved.get(n).copied().unwrap_or_default();
        let mut gain = volts(a) - volts(b);
        // The jack was driven stiffly; what stands before it is one divider more, exactly.
        if is_jack {
            gain = gain
                * match &request.guitar {
                    Some(guitar) => guitar.at_the_jack(hertz, load),
                    None => load / (load + Complex::real(request.source_ohms)),
                };
        }
        found.input_ohms.push(load.abs());
        gains.push(gain);
        if !solved.hanging.is_empty() {
            let at = circuit_at.at(hertz).map_err(|e| e.to_string())?;
            if let Some(valve) = unknown_in_the_way(&solved, &at, moved, (a, b), gain) {
                return Err(in_the_way(&valve));
            }
        }
    }
    if gains.iter().all(|g| g.abs() < SILENT) {
        return Err(silent(&from, &request.to));
    }
    found.db = gains.iter().map(|g| decibels(g.abs())).collect();
    found.deg = gains.iter().map(|g| g.angle().to_degrees()).collect();
    found.figures = figures(&found.hz, &found.db, &found.input_ohms);
    let (net, rest) = (&solved.point.netlist, &solved.point.solution);
    let hiss = circuit_at.noise(net, rest, (a, b), (20.0, 20e3), &NoiseModel::default());
    found.noise_volts = hiss.ok().map(|n| n.volts());
    found.notes = notes_of(&solved).collect();
    Ok(found)
}

/// What the solution says of itself: of parts, and of points that are left out.
pub(crate) fn notes_of(solved: &Solved) -> impl Iterator<Item = String> {
    let parts = solved.assembly.notes.iter().map(|n| n.text.clone());
    let point = solved.point.notes.iter().map(|n| n.text.clone());
    let unsolved = solved.assembly.unsolved.iter();
    parts
        .chain(point)
        .chain(unsolved.map(|u| format!("{} is left out: {}", u.point, u.why)))
}

/// An amplifier at rest with one jack plugged, or one generator driving.
pub(crate) struct Plugged {
    pub(crate) from: String,
    pub(crate) is_jack: bool,
    pub(crate) under: wiring::Conditions,
    pub(crate) solved: Solved,
    /// The element that drives.
    pub(crate) source: usize,
}

/// Solves it; every other jack is empty.
pub(crate) fn plugged(
    circuit: &Circuit,
    library: &Library,
    asked: &Asked,
    from: &str,
) -> Result<Plugged, String> {
    let mut under = conditions(asked, block(circuit, asked));
    let from = circuit
        .part(from)
        .and_then(|id| circuit.parts.get(id.0))
        .ok_or_else(|| format!("there is no jack or generator `{from}`"))?;
    match from.kind {
        Kind::Jack { .. } => under.signal = Some((from.name.clone(), 1.0, 1000.0)),
        Kind::Generator { .. } => {}
        _ => return Err(format!("`{}` is no jack and no generator", from.name)),
    }
    let solved = solve_circuit(circuit, library, &under, &AssembleOptions::default());
    if !solved.point.solved() {
        return Err("the operating point was not found; `tubewright chart` says why".to_owned());
    }
    let source = driver(&solved, &from.name)
        .ok_or_else(|| format!("{} is not traced to anything that is computed", from.name))?;
    Ok(Plugged {
        from: from.name.clone(),
        is_jack: matches!(from.kind, Kind::Jack { .. }),
        under,
        solved,
        source,
    })
}

/// The same, ready to be asked at a frequency.
struct Rest {
    at: Plugged,
    ends: (NodeIndex, NodeIndex),
    small: SmallSignal,
}

fn rest(circuit: &Circuit, library: &Library, request: &VoicingRequest) -> Result<Rest, String> {
    let at = plugged(circuit, library, &request.asked, &request.from)?;
    let ends = ends(circuit, &at.solved, &request.to)?;
    let small = SmallSignal::new(&at.solved.point.netlist, &at.solved.point.solution)
        .map_err(|e| e.to_string())?;
    Ok(Rest { at, ends, small })
}

/// Why nothing is said through a valve whose volts hang on what is not traced.
pub(crate) fn in_the_way(valve: &str) -> String {
    format!(
        "{valve} is in the signal's way, and its volts are not known yet: `tubewright check` lists what is not traced; ask up to a point before it with `--to`"
    )
}

/// Why nothing is said of a signal that does not arrive.
pub(crate) fn silent(from: &str, to: &str) -> String {
    format!("nothing from {from} arrives at {to} with the knobs and switches as they stand")
}

/// Jacks that a signal may be brought to: those before a first grid; where no such is found, every one
/// whose tip is traced and has no output transformer's secondary on it.
#[must_use]
pub fn inputs(circuit: &Circuit) -> Vec<String> {
    let anatomy = anatomy(circuit);
    let before_grids: Vec<String> = anatomy
        .blocks
        .iter()
        .filter(|b| b.kind == BlockKind::Input)
        .flat_map(|b| &b.parts)
        .filter_map(|(id, _)| circuit.parts.get(id.0))
        .filter(|p| matches!(p.kind, Kind::Jack { .. }))
        .map(|p| p.name.clone())
        .collect();
    if !before_grids.is_empty() {
        return before_grids;
    }
    let at_output = |part: &Part| {
        let tip = part.terminals.iter().find(|t| t.name == "tip")?.node?;
        let node = circuit.nodes.get(tip.0)?;
        let on_secondary = node.terminals.iter().any(|(id, terminal)| {
            circuit.parts.get(id.0).is_some_and(|p| {
                matches!(p.kind, Kind::Speaker { .. })
                    || matches!(p.kind, Kind::OutputTransformer(_))
                        && p.terminals
                            .get(*terminal)
                            .is_some_and(|t| t.name.starts_with('s'))
            })
        });
        Some(on_secondary)
    };
    circuit
        .parts
        .iter()
        .filter(|p| matches!(p.kind, Kind::Jack { .. }) && at_output(p) == Some(false))
        .map(|p| p.name.clone())
        .collect()
}

/// Where each knob stands: as asked, else as set in the wiring, else in the middle.
#[must_use]
pub fn knobs_of(circuit: &Circuit, asked: &Asked) -> BTreeMap<String, f64> {
    knobs(circuit, &conditions(asked, block(circuit, asked)))
}

/// The first loudspeaker that is traced at both ends.
#[must_use]
pub fn loudspeaker(circuit: &Circuit) -> Option<String> {
    let whole = |p: &&Part| p.terminals.iter().all(|t| t.node.is_some());
    circuit
        .parts
        .iter()
        .filter(|p| matches!(p.kind, Kind::Speaker { .. }))
        .find(whole)
        .map(|p| p.name.clone())
}

/// `20 log10`, with a floor far below anything heard.
fn decibels(ratio: f64) -> f64 {
    20.0 * ratio.max(1e-15).log10()
}

pub(crate) fn with_resistors(circuit: &Circuit) -> Circuit {
    let mut changed = circuit.clone();
    for part in &mut changed.parts {
        if let Kind::Speaker { ohms } = part.kind {
            part.kind = Kind::Resistor { ohms };
        }
    }
    changed
}

pub(crate) fn ends(
    circuit: &Circuit,
    solved: &Solved,
    to: &str,
) -> Result<(NodeIndex, NodeIndex), String> {
    let node = |id: wiring::NodeId| solved.assembly.node_of.get(id.0).copied().flatten();
    let untraced = || format!("nothing that is computed is joined to `{to}` yet");
    if let Some(id) = circuit.node(to) {
        return Ok((node(id).ok_or_else(untraced)?, 0));
    }
    let part = circuit
        .part(to)
        .and_then(|id| circuit.parts.get(id.0))
        .ok_or_else(|| format!("there is no point and no part `{to}`"))?;
    let [first, second] = part.terminals.as_slice() else {
        return Err(format!(
            "`{to}` has more than two ends: name one of its points"
        ));
    };
    let end = |t: &wiring::circuit::Terminal| t.node.and_then(node).ok_or_else(untraced);
    Ok((end(first)?, end(second)?))
}

fn driver(solved: &Solved, name: &str) -> Option<usize> {
    let elements = solved.assembly.elements_of.get(name)?;
    let drives = |e: &&usize| {
        let element = solved.point.netlist.elements.get(**e);
        element.is_some_and(|e| matches!(e.law, Law::Alternating { mains: false, .. }))
    };
    elements.iter().find(drives).copied()
}

fn knobs(circuit: &Circuit, under: &wiring::Conditions) -> BTreeMap<String, f64> {
    let mut at: BTreeMap<String, f64> = circuit
        .parts
        .iter()
        .filter(|p| matches!(p.kind, Kind::Pot { .. }))
        .map(|p| (p.parent.clone().unwrap_or_else(|| p.name.clone()), 5.0))
        .collect();
    for set in circuit.sets.iter().chain(&under.sets) {
        if let (Some(slot), wiring::circuit::Position::Number(to)) = (at.get_mut(&set.name), set.to)
        {
            *slot = to;
        }
    }
    at
}

/// A valve section with an electrode whose volts are not known, and through which the signal goes.
pub(crate) fn unknown_in_the_way(
    solved: &Solved,
    at: &solve::response::Response<'_>,
    moved: &[Complex],
    (a, b): (NodeIndex, NodeIndex),
    gain: Complex,
) -> Option<String> {
    let toward = at.toward(a, b);
    let volts = |n: NodeIndex| moved.get(n).copied().unwrap_or_default();
    solved.point.netlist.elements.iter().find_map(|element| {
        let (plate, grid, cathode) = match element.law {
            Law::Triode {
                plate,
                grid,
                cathode,
                ..
            }
            | Law::Pentode {
                plate,
                grid,
                cathode,
                ..
            } => (plate, grid, cathode),
            _ => return None,
        };
        let known = [plate, grid, cathode]
            .iter()
            .all(|n| !solved.hanging.contains_key(n));
        let could = (volts(grid) - volts(cathode)).abs()
            * USUAL_SIEMENS
            * toward.through(plate, cathode).abs();
        (!known && could > IN_THE_WAY * gain.abs().max(SILENT)).then(|| element.name.clone())
    })
}
