//! One step: what is expected where, at these mains volts with these valves in.

use super::abort::{self, Abort};
use super::stages::Sockets;
use crate::chart::points::first_name;
use serde::Serialize;
use solve::Solved;
use solve::flows::terminal_currents;
use solve::netlist::{Law, NodeIndex};
use wiring::circuit::{Circuit, Electrode, History, Kind, NodeId, Valve};
use wiring::roles::{Anatomy, Role};
use wiring::sheet::{Library, LimitQuantity};
use wiring::{Conditions, GROUND, Part};

/// Bias is negative by at least this, volts.
const LEAST_BIAS: f64 = 0.5;
/// High tension below this has no limits worth naming, volts.
const LEAST_TENSION: f64 = 10.0;
/// An output plate with less than this is as good as off, amperes.
const LEAST_PLATE: f64 = 1e-4;
/// Windings of no more volts than this feed heaters.
const HEATER_VOLTS: f64 = 15.0;

/// What is expected at one step.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Step {
    /// Per cent of the full mains.
    pub percent: f64,
    /// Mains volts at the transformer's cord, or at the wall before the lamp.
    pub mains_volts: Option<f64>,
    /// Watts of the lamp in series, when there is one.
    pub lamp_watts: Option<f64>,
    /// Volts that the lamp takes.
    pub lamp_volts: Option<f64>,
    /// Amperes from the mains, rms.
    pub mains_amps: Option<f64>,
    /// High-tension nodes, the reservoir first.
    pub rails: Vec<Level>,
    /// Bias at the grid pins of output valves.
    pub bias: Vec<Level>,
    /// Volts rms of heater windings.
    pub heaters: Vec<Level>,
    /// Output valves.
    pub plates: Vec<Plate>,
    /// When to switch off.
    pub aborts: Vec<Abort>,
    /// Why there are no figures.
    pub why: Option<String>,
}

/// Volts at a point.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Level {
    /// The point.
    pub point: String,
    /// Volts against ground, or rms across a winding.
    pub volts: f64,
}

/// An output valve at rest.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plate {
    /// The valve, and its section if it has several.
    pub valve: String,
    /// Milliamperes of the plate.
    pub ma: f64,
    /// Volts from plate to cathode.
    pub volts: f64,
    /// Watts of the plate.
    pub watts: f64,
    /// The lowest dissipation limit of the type.
    pub limit_watts: Option<f64>,
    /// Cathode pin and its volts, where a resistor of its own or shared carries the current.
    pub cathode: Option<Level>,
}

/// An output valve in the wiring.
struct Output {
    name: String,
    part: String,
    limit_watts: Option<f64>,
    cathode_amps: Option<f64>,
    grid: Option<(String, NodeId)>,
    cathode: Option<(String, NodeId)>,
}

/// What a step looks at.
pub(super) struct Look<'a> {
    circuit: &'a Circuit,
    rails: Vec<(String, NodeId, Option<f64>)>,
    outputs: Vec<Output>,
    heaters: Vec<(String, NodeId, NodeId)>,
    fuse: Option<f64>,
}

impl<'a> Look<'a> {
    pub(super) fn new(
        circuit: &'a Circuit,
        library: &Library,
        anatomy: &Anatomy,
        sockets: &Sockets,
    ) -> Self {
        let rails = anatomy
            .rails
            .iter()
            .map(|n| (first_name(circuit, *n), *n, rated(circuit, *n)))
            .collect();
        let fuse = circuit
            .parts
            .iter()
            .enumerate()
            .filter(|(i, _)| anatomy.has(wiring::PartId(*i), Role::MainsFuse))
            .filter_map(|(_, p)| match p.kind {
                Kind::Fuse { amps, .. } => amps.filter(|a| *a > 0.0),
                _ => None,
            })
            .reduce(f64::min);
        Self {
            circuit,
            rails,
            outputs: outputs(circuit, library, sockets),
            heaters: heaters(circuit),
            fuse,
        }
    }

    /// Volts of the first mains transformer's primary.
    pub(super) fn primary_volts(&self) -> Option<f64> {
        self.circuit.parts.iter().find_map(|p| match &p.kind {
            Kind::PowerTransformer(t) => {
                let volts = t.primary.iter().map(|x| x.1);
                let span = volts.clone().fold(f64::MIN, f64::max) - volts.fold(f64::MAX, f64::min);
                (span.is_finite() && span > 0.0).then_some(span)
            }
            _ => None,
        })
    }

    /// Mains frequency; 0 where no mains is computed.
    pub(super) fn hertz(&self, solved: &Solved) -> f64 {
        solved.assembly.netlist.hertz
    }

    /// Volt-amperes from the mains.
    pub(super) fn draw(&self, solved: &Solved, mains: Option<f64>) -> Option<f64> {
        let known = solved.point.solved() && self.hertz(solved) > 0.0;
        let va = solved.point.mains_amps_rms * mains?;
        (known && va > 0.0).then_some(va)
    }

    pub(super) fn step(
        &self,
        percent: f64,
        mains: Option<f64>,
        conditions: &Conditions,
        solved: &Solved,
    ) -> Step {
        let mut step = Step {
            percent,
            mains_volts: mains,
            lamp_watts: conditions.limiter_watts,
            lamp_volts: None,
            mains_amps: None,
            rails: Vec::new(),
            bias: Vec::new(),
            heaters: Vec::new(),
            plates: Vec::new(),
            aborts: Vec::new(),
            why: None,
        };
        if !solved.point.solved() {
            step.why = Some(match solved.point.settled {
                true => "no operating point was found here".to_owned(),
                false => "heaters and lamp do not settle here: they pull each other up and down"
                    .to_owned(),
            });
            return step;
        }
        if self.hertz(solved) <= 0.0 {
            step.why = Some("the mains transformer is not traced yet".to_owned());
            return step;
        }
        self.fill(&mut step, solved);
        self.limit(&mut step);
        step
    }

    fn fill(&self, step: &mut Step, solved: &Solved) {
        let point = &solved.point;
        let at = |node: NodeId| -> Option<NodeIndex> {
            let index = solved.assembly.node_of.get(node.0).copied().flatten()?;
            (!solved.hanging.contains_key(&index)).then_some(index)
        };
        step.mains_amps = Some(point.mains_amps_rms);
        step.lamp_volts = point.lamps.iter().find_map(|l| {
            let element = point.netlist.elements.get(l.element)?;
            (element.name == "limiter").then_some(l.volts_rms)
        });
        for (name, node, _) in &self.rails {
            if let Some(index) = at(*node) {
                step.rails.push(Level {
                    point: name.clone(),
                    volts: point.dc(index),
                });
            }
        }
        for (name, a, b) in &self.heaters {
            if let (Some(a), Some(b)) = (at(*a), at(*b)) {
                step.heaters.push(Level {
                    point: name.clone(),
                    volts: point.ac_volts(a, b),
                });
            }
        }
        for output in &self.outputs {
            if let Some((name, node)) = &output.grid
                && let Some(index) = at(*node)
                && point.dc(index) < -LEAST_BIAS
            {
                step.bias.push(Level {
                    point: name.clone(),
                    volts: point.dc(index),
                });
            }
            step.plates.extend(self.plate(output, solved, &at));
        }
    }

    fn plate(
        &self,
        output: &Output,
        solved: &Solved,
        at: &impl Fn(NodeId) -> Option<NodeIndex>,
    ) -> Option<Plate> {
        let netlist = &solved.point.netlist;
        let elements = solved.assembly.elements_of.get(&output.part)?;
        let (index, plate, cathode) = elements.iter().find_map(|e| {
            let element = netlist.elements.get(*e)?;
            let named = element.name == output.name;
            match element.law {
                Law::Triode { plate, cathode, .. } | Law::Pentode { plate, cathode, .. }
                    if named =>
                {
                    Some((*e, plate, cathode))
                }
                _ => None,
            }
        })?;
        if solved.hanging.contains_key(&plate) || solved.hanging.contains_key(&cathode) {
            return None;
        }
        let amps = *terminal_currents(netlist, &solved.point.solution, index).first()?;
        let volts = solved.point.solution.across(plate, cathode);
        let cathode = output.cathode.as_ref().and_then(|(name, node)| {
            let volts = solved.point.dc(at(*node)?);
            (*node != GROUND && volts > 1e-3).then(|| Level {
                point: name.clone(),
                volts,
            })
        });
        Some(Plate {
            valve: output.name.clone(),
            ma: 1e3 * amps,
            volts,
            watts: volts * amps,
            limit_watts: output.limit_watts,
            cathode,
        })
    }

    /// The limits at this step.
    fn limit(&self, step: &mut Step) {
        let mut aborts = Vec::new();
        if let Some(amps) = step.mains_amps {
            aborts.push(abort::mains(amps, self.fuse));
        }
        for level in &step.rails {
            if level.volts >= LEAST_TENSION {
                let rated = self.rails.iter().find(|r| r.0 == level.point);
                let rated = rated.and_then(|r| r.2);
                aborts.push(abort::tension(&level.point, level.volts, rated));
            }
        }
        for level in &step.bias {
            aborts.push(abort::bias(&level.point, level.volts));
        }
        for plate in &step.plates {
            let output = self.outputs.iter().find(|o| o.name == plate.valve);
            let amps = plate.ma / 1e3;
            if amps > LEAST_PLATE {
                let cathode = output.and_then(|o| o.cathode_amps);
                aborts.extend(abort::plate(
                    &plate.valve,
                    amps,
                    plate.volts,
                    plate.limit_watts,
                    cathode,
                ));
            }
        }
        step.aborts = aborts;
    }
}

/// The lowest rating of a capacitor from a node to ground.
fn rated(circuit: &Circuit, node: NodeId) -> Option<f64> {
    let on = |p: &Part| {
        let ends: Vec<NodeId> = p.terminals.iter().filter_map(|t| t.node).collect();
        ends.contains(&node) && ends.contains(&GROUND)
    };
    circuit
        .parts
        .iter()
        .filter(|p| {
            matches!(p.kind, Kind::Capacitor { .. })
                && p.known.history != Some(History::Removed)
                && on(p)
        })
        .filter_map(|p| p.known.volts.filter(|v| v.is_finite() && *v > 0.0))
        .reduce(f64::min)
}

fn outputs(circuit: &Circuit, library: &Library, sockets: &Sockets) -> Vec<Output> {
    let mut found = Vec::new();
    for name in &sockets.output {
        let Some(part) = circuit.part(name).and_then(|id| circuit.parts.get(id.0)) else {
            continue;
        };
        let Kind::Valve(valve) = &part.kind else {
            continue;
        };
        // both types: the one that is there and the one that should be
        let sheets = [Some(valve.type_in_socket()), Some(valve.meant.as_str())];
        let limit = |section: Option<char>, quantity: LimitQuantity| {
            let figures = sheets.into_iter().flatten().filter_map(|t| library.find(t));
            figures
                .filter_map(|s| s.guarding_limit(section, quantity))
                .reduce(f64::min)
        };
        let mut sections: Vec<Option<char>> = valve
            .electrodes
            .iter()
            .filter(|u| u.electrode == Electrode::Plate)
            .map(|u| u.section)
            .collect();
        sections.sort_unstable();
        sections.dedup();
        for section in sections {
            let typed = valve.limits.plate_watts;
            let watts = limit(section, LimitQuantity::PlateWatts);
            found.push(Output {
                name: section.map_or_else(|| name.clone(), |s| format!("{name}{s}")),
                part: name.clone(),
                limit_watts: [typed, watts].into_iter().flatten().reduce(f64::min),
                cathode_amps: limit(section, LimitQuantity::CathodeAmps),
                grid: pin(part, valve, section, Electrode::Grid),
                cathode: pin(part, valve, section, Electrode::Cathode),
            });
        }
    }
    found
}

/// The pin of an electrode as typed, and its node.
fn pin(
    part: &Part,
    valve: &Valve,
    section: Option<char>,
    electrode: Electrode,
) -> Option<(String, NodeId)> {
    let mut uses = valve
        .electrodes
        .iter()
        .filter(|u| u.electrode == electrode && (u.section == section || u.section.is_none()));
    uses.find_map(|u| {
        let terminal = part.terminals.get(u.terminal)?;
        Some((format!("{}.{}", part.name, terminal.name), terminal.node?))
    })
}

/// Heater windings: the outer two wired ends of each.
fn heaters(circuit: &Circuit) -> Vec<(String, NodeId, NodeId)> {
    let mut found = Vec::new();
    for part in &circuit.parts {
        let Kind::PowerTransformer(t) = &part.kind else {
            continue;
        };
        for winding in &t.windings {
            let mut wired: Vec<(f64, NodeId)> = winding
                .taps
                .iter()
                .filter_map(|(i, v)| Some((*v, part.terminals.get(*i)?.node?)))
                .collect();
            wired.sort_by(|a, b| b.0.total_cmp(&a.0));
            if let [first, .., last] = wired.as_slice()
                && first.0 - last.0 <= HEATER_VOLTS
                && first.1 != last.1
            {
                found.push((format!("{} {}", part.name, winding.name), first.1, last.1));
            }
        }
    }
    found
}
