//! The amplifier under power, as the bench sheets ask of it.
//!
//! One place decides under which conditions a sheet is worked out, and what of the solution may
//! be shown: nothing where there is no operating point, nothing at a node that floats, nothing
//! that hangs on a part without a value. Sheets ask here and never look into the equations.

use crate::sheet::Sheet as BenchSheet;
use serde::Serialize;
use solve::flows::terminal_currents;
use solve::linearised::Linearised;
use solve::netlist::{Element, Law, NodeIndex};
use solve::operating::Status;
use solve::{AssembleOptions, Solved, solve_circuit};
use std::collections::BTreeMap;
use wiring::assume::Assumed;
use wiring::circuit::{Circuit, Electrode, Kind, Measured, MeasuredValue, NodeId, Part, Setting};
use wiring::readings::{Block, Conditions, Probe, Shown, Unit, ValvesIn};
use wiring::sheet::{Library, Sheet};

/// What may be said over the files when a sheet is asked for.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Asked {
    /// Name of the readings block to use; none: the last that was read with everything on.
    pub block: Option<String>,
    /// Mains volts in place of what block or heading say.
    pub mains_volts: Option<f64>,
    /// Knobs and switches in place of what wiring and block say.
    pub sets: Vec<Setting>,
    /// Valves out of their sockets.
    pub without_valves: Vec<String>,
}

/// A resistance above this leaves a node without volts of its own.
const ADRIFT_OHMS: f64 = 1e9;

/// The block whose readings a sheet shows: the named one, else the last that was read under
/// full power with every valve in.
pub(crate) fn block<'a>(circuit: &'a Circuit, asked: &Asked) -> Option<&'a Block> {
    let blocks = circuit.readings.iter().rev();
    match &asked.block {
        Some(name) => blocks.into_iter().find(|b| b.name.trim() == name.trim()),
        None => blocks.into_iter().find(|b| {
            let c = &b.conditions;
            !c.power_off
                && c.limiter_watts.is_none()
                && c.valves == ValvesIn::All
                && c.standby_open != Some(true)
                && !b.readings.is_empty()
        }),
    }
}

/// Mains volts that were written with the readings which a sheet shows; none where nobody wrote them.
#[must_use]
pub fn read_at(circuit: &Circuit) -> Option<f64> {
    let block = block(circuit, &Asked::default())?;
    block.conditions.mains_volts.filter(|v| v.is_finite())
}

/// The conditions of a block, with what is asked over them.
pub(crate) fn conditions(asked: &Asked, block: Option<&Block>) -> Conditions {
    let mut c = block.map(|b| b.conditions.clone()).unwrap_or_default();
    c.signal = None;
    c.power_off = false;
    if let Some(volts) = asked.mains_volts {
        c.mains_volts = Some(volts);
    }
    c.sets.extend(asked.sets.iter().cloned());
    if !asked.without_valves.is_empty() {
        let mut out = asked.without_valves.clone();
        c.valves = match c.valves {
            ValvesIn::All => ValvesIn::Without(out),
            ValvesIn::Without(mut names) => {
                names.append(&mut out);
                ValvesIn::Without(names)
            }
            ValvesIn::Only(names) => {
                ValvesIn::Only(names.into_iter().filter(|n| !out.contains(n)).collect())
            }
        };
    }
    c
}

/// Mains volts of conditions: theirs, else the heading's, else the primary's.
pub(crate) fn mains_volts(circuit: &Circuit, conditions: &Conditions) -> Option<f64> {
    conditions
        .mains_volts
        .or(circuit.heading.mains.map(|m| m.volts))
        .or_else(|| crate::wall::made_for(circuit))
        .filter(|v| v.is_finite() && *v > 0.0)
}

/// Heads a sheet with its amplifier, and counts what of the wiring is still assumed.
pub fn head(sheet: &mut BenchSheet, circuit: &Circuit) {
    sheet.subject = subject(circuit);
    sheet.assumed = Some(Assumed::of(circuit));
}

/// Under which mains a sheet holds: today's, and what they may become.
pub(crate) fn say_mains(sheet: &mut BenchSheet, volts: Option<f64>, wall: &crate::wall::Wall) {
    if let Some(volts) = volts {
        sheet.conditions.push(format!("mains {volts:.0} V"));
        sheet
            .conditions
            .push(format!("from {:.0} to {:.0} V", wall.lowest, wall.highest));
    }
}

/// Which readings it is held against.
pub(crate) fn say_block(sheet: &mut BenchSheet, block: Option<&str>) {
    if let Some(name) = block {
        let name = if name.is_empty() {
            "without a name"
        } else {
            name
        };
        sheet.conditions.push(format!("readings \"{name}\""));
    }
}

/// Name and serial of the amplifier, for the head of a sheet.
fn subject(circuit: &Circuit) -> Option<String> {
    let heading = &circuit.heading;
    let mut words: Vec<String> = heading.amp.iter().cloned().collect();
    words.extend(heading.serial.iter().map(|s| format!("serial {s}")));
    words.extend(heading.state.iter().cloned());
    (!words.is_empty()).then(|| words.join(", "))
}

/// A valve's sheet by the type that is in the socket.
pub(crate) fn sheet_of<'l>(library: &'l Library, part: &Part) -> Option<&'l Sheet> {
    match &part.kind {
        Kind::Valve(valve) => library.find(valve.type_in_socket()),
        _ => None,
    }
}

/// Names of the rectifier valves.
pub(crate) fn rectifiers(circuit: &Circuit, library: &Library) -> Vec<String> {
    let is = |p: &&Part| sheet_of(library, p).is_some_and(|s| s.kind.is_rectifier());
    circuit
        .parts
        .iter()
        .filter(is)
        .map(|p| p.name.clone())
        .collect()
}

/// A solved amplifier.
#[derive(Clone)]
pub(crate) struct Powered {
    pub(crate) solved: Solved,
    linear: Option<Linearised>,
}

impl Powered {
    /// Solves the circuit under conditions.
    ///
    /// # Errors
    /// A sentence, when there is no operating point.
    pub(crate) fn new(
        circuit: &Circuit,
        library: &Library,
        conditions: &Conditions,
    ) -> Result<Self, String> {
        let solved = solve_circuit(circuit, library, conditions, &AssembleOptions::default());
        let point = &solved.point;
        match point.solution.status {
            Status::Converged => {}
            Status::Stalled { worst_node, .. } => {
                let name = point.netlist.nodes.get(worst_node);
                return Err(format!(
                    "no operating point was found; the currents of {} do not sum to nothing",
                    name.map_or("a point", String::as_str)
                ));
            }
            Status::BadElement { element } => {
                let name = point.netlist.elements.get(element);
                return Err(format!(
                    "{} holds a number it cannot have",
                    name.map_or("a part", |e| e.name.as_str())
                ));
            }
        }
        let linear = Linearised::new(&point.netlist, &point.solution).ok();
        Ok(Self { solved, linear })
    }

    /// The netlist's node of a wiring node.
    pub(crate) fn node(&self, node: NodeId) -> Option<NodeIndex> {
        self.solved.assembly.node_of.get(node.0).copied().flatten()
    }

    /// Whether a node has volts of its own that are known.
    fn known(&self, node: NodeIndex) -> bool {
        let held = |l: &Linearised| l.source_ohms(node).abs() <= ADRIFT_OHMS;
        !self.solved.hanging.contains_key(&node)
            && (node == 0 || self.linear.as_ref().is_some_and(held))
    }

    /// Steady volts of a wiring node against ground, where it has any.
    pub(crate) fn volts(&self, node: NodeId) -> Option<f64> {
        let node = self.node(node)?;
        self.known(node).then(|| self.solved.point.dc(node))
    }

    /// Steady volts of one wiring node over another.
    pub(crate) fn across(&self, a: NodeId, b: NodeId) -> Option<f64> {
        let (a, b) = (self.node(a)?, self.node(b)?);
        (self.known(a) && self.known(b)).then(|| self.solved.point.solution.across(a, b))
    }

    /// Steady volts of one node of the netlist over another.
    pub(crate) fn between(&self, a: NodeIndex, b: NodeIndex) -> Option<f64> {
        (self.known(a) && self.known(b)).then(|| self.solved.point.solution.across(a, b))
    }

    /// An element that only stands in for a value nobody knows.
    pub(crate) fn stands_in(&self, element: usize) -> bool {
        self.solved.assembly.stand_ins.contains(&element)
    }

    /// Volts rms at mains frequency of one wiring node over another.
    pub(crate) fn alternating(&self, a: NodeId, b: NodeId) -> Option<f64> {
        let point = &self.solved.point;
        (point.netlist.hertz > 0.0).then_some(())?;
        Some(point.ac_volts(self.node(a)?, self.node(b)?))
    }

    /// Alternating volts rms of a node against ground, all frequencies.
    pub(crate) fn ripple(&self, node: NodeId) -> Option<f64> {
        self.solved.point.ripple_rms.get(self.node(node)?).copied()
    }

    /// Resistance that a meter sees from a node to ground.
    pub(crate) fn source_ohms(&self, node: NodeId) -> Option<f64> {
        let node = self.node(node)?;
        Some(self.linear.as_ref()?.source_ohms(node).abs())
    }

    /// Resistance between two nodes as a meter sees it.
    pub(crate) fn between_ohms(&self, a: NodeId, b: NodeId) -> Option<f64> {
        let (a, b) = (self.node(a)?, self.node(b)?);
        Some(self.linear.as_ref()?.source_ohms_between(a, b).abs())
    }

    /// The elements of a part.
    pub(crate) fn elements(&self, part: &str) -> &[usize] {
        self.solved
            .assembly
            .elements_of
            .get(part)
            .map_or(&[], Vec::as_slice)
    }

    /// An element of the circuit as it was solved.
    pub(crate) fn element(&self, index: usize) -> Option<&Element> {
        self.solved.point.netlist.elements.get(index)
    }

    /// Currents into an element's terminals, amperes.
    pub(crate) fn amps(&self, element: usize) -> Vec<f64> {
        let point = &self.solved.point;
        terminal_currents(&point.netlist, &point.solution, element)
    }

    /// Rms current through an element with two ends.
    pub(crate) fn amps_rms(&self, element: usize) -> f64 {
        self.solved
            .point
            .amps_rms
            .get(element)
            .copied()
            .unwrap_or(0.0)
    }

    /// Steady current through a part with two ends, into its first terminal; none when a value
    /// is not known.
    pub(crate) fn part_amps(&self, part: &str) -> Option<f64> {
        let element = self.own_element(part)?;
        if self.solved.assembly.stand_ins.contains(&element) {
            return None;
        }
        self.amps(element)
            .first()
            .copied()
            .filter(|a| a.is_finite())
    }

    /// The element that bears the part's own name.
    pub(crate) fn own_element(&self, part: &str) -> Option<usize> {
        self.elements(part)
            .iter()
            .copied()
            .find(|e| self.element(*e).is_some_and(|e| e.name == part))
    }

    /// Rms current from the mains.
    pub(crate) fn mains_amps(&self) -> f64 {
        self.solved.point.mains_amps_rms
    }

    /// Plate, screen and cathode currents of a valve section, amperes, positive in normal working.
    pub(crate) fn section(&self, valve: &str, letter: Option<char>) -> Option<SectionAmps> {
        let mut name = valve.to_owned();
        name.extend(letter);
        let index = self.elements(valve).iter().copied().find(|e| {
            self.element(*e).is_some_and(|e| {
                (e.name == name || e.name == valve)
                    && matches!(e.law, Law::Triode { .. } | Law::Pentode { .. })
            })
        })?;
        let law = &self.element(index)?.law;
        let nodes = law.terminals();
        if nodes.iter().any(|n| !self.known(*n)) {
            return None;
        }
        let at = |n: Option<&NodeIndex>| n.map(|n| self.solved.point.dc(*n));
        let amps = self.amps(index);
        let volts = |i: usize| at(nodes.get(i));
        match law {
            Law::Triode { .. } => Some(SectionAmps {
                plate: *amps.first()?,
                screen: 0.0,
                cathode: -*amps.get(2)?,
                plate_volts: volts(0)?,
                screen_volts: None,
                grid_volts: volts(1)?,
                cathode_volts: volts(2)?,
            }),
            _ => Some(SectionAmps {
                plate: *amps.first()?,
                screen: *amps.get(1)?,
                cathode: -*amps.get(3)?,
                plate_volts: volts(0)?,
                screen_volts: volts(1),
                grid_volts: volts(2)?,
                cathode_volts: volts(3)?,
            }),
        }
    }

    /// Notes of assembly and solution.
    pub(crate) fn notes(&self) -> Vec<String> {
        let assembled = self.solved.assembly.notes.iter().map(|n| n.text.clone());
        let point = self.solved.point.notes.iter();
        assembled
            .chain(point.map(|n| format!("{}: {}", n.part, n.text)))
            .collect()
    }

    /// A fuse that would blow under these conditions, in a sentence: the figures would not last.
    pub(crate) fn blown(&self, circuit: &Circuit) -> Option<String> {
        circuit.parts.iter().find_map(|part| {
            let Kind::Fuse {
                amps: Some(rated), ..
            } = part.kind
            else {
                return None;
            };
            let rms = self
                .elements(&part.name)
                .iter()
                .map(|e| self.amps_rms(*e))
                .fold(0.0, f64::max);
            (rated > 0.0 && rms > 2.1 * rated).then(|| {
                format!(
                    "{} would blow: {rms:.2} A rms go through it, marked {rated} A; these figures would not last",
                    part.name
                )
            })
        })
    }
}

/// Currents and volts of one valve section at rest; amperes, and volts against ground.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub(crate) struct SectionAmps {
    pub(crate) plate: f64,
    pub(crate) screen: f64,
    pub(crate) cathode: f64,
    pub(crate) plate_volts: f64,
    pub(crate) screen_volts: Option<f64>,
    pub(crate) grid_volts: f64,
    pub(crate) cathode_volts: f64,
}

impl SectionAmps {
    /// Plate dissipation, watts, by plate-to-cathode volts.
    pub(crate) fn plate_watts(&self) -> f64 {
        (self.plate_volts - self.cathode_volts) * self.plate
    }

    /// Screen dissipation, watts.
    pub(crate) fn screen_watts(&self) -> Option<f64> {
        Some((self.screen_volts? - self.cathode_volts) * self.screen)
    }
}

/// What a block's meter showed, steady volts and ohms, by what the leads were on.
#[derive(Debug, Clone, Default)]
pub(crate) struct Read {
    at: BTreeMap<NodeId, f64>,
    between: Vec<(NodeId, NodeId, f64)>,
    across: BTreeMap<usize, f64>,
    alternating_between: Vec<(NodeId, NodeId, f64)>,
    alternating_at: BTreeMap<NodeId, f64>,
    alternating_across: BTreeMap<usize, f64>,
    /// The meter's error of reading, a fraction.
    pub(crate) error: f64,
    /// Size of the last digit of each reading at a node, volts.
    digit: BTreeMap<NodeId, f64>,
}

impl Read {
    /// The readings of a block; nothing without one.
    pub(crate) fn of(block: Option<&Block>) -> Self {
        let mut read = Self {
            error: block
                .and_then(|b| b.conditions.meter)
                .map_or(0.005, |m| m.error),
            ..Self::default()
        };
        for reading in block.into_iter().flat_map(|b| &b.readings) {
            let Shown::Number(value) = reading.value else {
                continue;
            };
            match (reading.unit, reading.probe) {
                (Unit::VoltsDc, Probe::At(n)) => {
                    read.at.insert(n, value);
                    read.digit.insert(n, reading.digit);
                }
                (Unit::VoltsDc, Probe::Between(a, b)) => read.between.push((a, b, value)),
                (Unit::VoltsDc, Probe::Across(p)) => {
                    read.across.insert(p.0, value);
                }
                (Unit::VoltsAc, Probe::At(n)) => {
                    read.alternating_at.insert(n, value);
                }
                (Unit::VoltsAc, Probe::Between(a, b)) => {
                    read.alternating_between.push((a, b, value));
                }
                (Unit::VoltsAc, Probe::Across(p)) => {
                    read.alternating_across.insert(p.0, value);
                }
                _ => {}
            }
        }
        read
    }

    /// Steady volts of a node against ground, as read there.
    pub(crate) fn at(&self, node: NodeId) -> Option<f64> {
        if node == wiring::GROUND {
            return Some(0.0);
        }
        self.at.get(&node).copied()
    }

    /// Whether the node itself was read.
    pub(crate) fn has(&self, node: NodeId) -> bool {
        self.at.contains_key(&node)
    }

    /// Steady volts of one node over another: read so, or from both against ground.
    pub(crate) fn between(&self, a: NodeId, b: NodeId) -> Option<f64> {
        let direct = self.between.iter().rev().find_map(|(x, y, v)| {
            if (*x, *y) == (a, b) {
                Some(*v)
            } else if (*x, *y) == (b, a) {
                Some(-*v)
            } else {
                None
            }
        });
        direct.or_else(|| Some(self.at(a)? - self.at(b)?))
    }

    /// Whether the volts between two nodes were read with both leads there, so that they are no
    /// difference of two large readings.
    pub(crate) fn direct(&self, a: NodeId, b: NodeId) -> bool {
        a == wiring::GROUND
            || b == wiring::GROUND
            || self
                .between
                .iter()
                .any(|(x, y, _)| (*x, *y) == (a, b) || (*x, *y) == (b, a))
    }

    /// Half-width of what the meter may be off for volts between two nodes: its error and two
    /// digits, of each reading that goes in.
    pub(crate) fn half_width(&self, a: NodeId, b: NodeId) -> f64 {
        let one = |n: NodeId| {
            let volts = self.at(n).unwrap_or(0.0);
            let digit = self.digit.get(&n).copied().unwrap_or(0.0);
            self.error * volts.abs() + 2.0 * digit
        };
        if self.direct(a, b)
            && self.between(a, b).is_some()
            && a != wiring::GROUND
            && b != wiring::GROUND
        {
            return self.error * self.between(a, b).unwrap_or(0.0).abs();
        }
        one(a).hypot(one(b))
    }

    /// Steady volts across a part, its first terminal over its second.
    pub(crate) fn part(&self, circuit: &Circuit, index: usize) -> Option<f64> {
        if let Some(volts) = self.across.get(&index) {
            return Some(*volts);
        }
        let (a, b) = ends(circuit.parts.get(index)?)?;
        self.between(a, b)
    }

    /// Volts rms between two nodes.
    pub(crate) fn alternating(&self, a: NodeId, b: NodeId) -> Option<f64> {
        let between = self.alternating_between.iter().rev();
        let direct = between
            .into_iter()
            .find(|(x, y, _)| (*x, *y) == (a, b) || (*x, *y) == (b, a))
            .map(|x| x.2);
        direct.or_else(|| {
            if b == wiring::GROUND {
                self.alternating_at.get(&a).copied()
            } else if a == wiring::GROUND {
                self.alternating_at.get(&b).copied()
            } else {
                None
            }
        })
    }
}

/// Both nodes of a part with two ends.
pub(crate) fn ends(part: &Part) -> Option<(NodeId, NodeId)> {
    Some((part.terminals.first()?.node?, part.terminals.get(1)?.node?))
}

/// The node of an electrode of a valve's section; what all sections share counts for each.
pub(crate) fn electrode(part: &Part, section: Option<char>, which: Electrode) -> Option<NodeId> {
    let Kind::Valve(valve) = &part.kind else {
        return None;
    };
    valve
        .electrodes
        .iter()
        .filter(|u| u.electrode == which && (u.section == section || u.section.is_none()))
        .find_map(|u| part.terminals.get(u.terminal)?.node)
}

/// The value of a part: as read while lifted, else as marked.
pub(crate) fn value(part: &Part, marked: Option<f64>) -> Option<f64> {
    match part.known.reading {
        Some(Measured {
            value: MeasuredValue::Is(v),
            in_circuit: false,
        }) if v.is_finite() => Some(v),
        Some(Measured {
            in_circuit: false, ..
        }) => None,
        _ => marked.filter(|v| v.is_finite()),
    }
}

/// A node as a technician names it: its bare name, else its first terminal.
pub(crate) fn node_name(circuit: &Circuit, node: NodeId) -> String {
    if node == wiring::GROUND {
        return "ground".to_owned();
    }
    let Some(n) = circuit.nodes.get(node.0) else {
        return "?".to_owned();
    };
    if let Some(name) = n.names.first() {
        return name.clone();
    }
    let terminal = n.terminals.first().and_then(|(p, t)| {
        let part = circuit.parts.get(p.0)?;
        Some(format!("{}.{}", part.name, part.terminals.get(*t)?.name))
    });
    terminal.unwrap_or_else(|| "?".to_owned())
}
