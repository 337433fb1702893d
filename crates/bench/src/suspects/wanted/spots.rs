//! Where the leads may go: the points of an amplifier that are worth a reading and safe to touch.

use super::Forbidden;
use crate::chart::points::{first_name, two_ends};
use crate::tolerance::Tolerances;
use std::collections::BTreeSet;
use wiring::circuit::{Circuit, Electrode, Kind, NodeId, Position};
use wiring::readings::{Block, Conditions, Probe, Unit, ValvesIn};
use wiring::roles::{Anatomy, BlockKind};
use wiring::sheet::Library;

/// Effort of a grid, over that of another point: high resistance, and the stage moves while the probe is on.
const GRID: f64 = 1.3;

/// What is needed to set scenes up.
pub(super) struct Bench<'a> {
    pub(super) circuit: &'a Circuit,
    pub(super) library: &'a Library,
    pub(super) anatomy: &'a Anatomy,
    pub(super) tolerances: &'a Tolerances,
    pub(super) forbidden: Forbidden,
}

/// A place to put the leads.
pub(super) struct Spot {
    pub(super) name: String,
    pub(super) ends: (NodeId, Option<NodeId>),
    pub(super) effort: f64,
}

impl Bench<'_> {
    /// The last block that was read under power with everything in it.
    pub(super) fn last_live(&self) -> Option<(usize, &Block)> {
        let blocks = || self.circuit.readings.iter().enumerate().rev();
        let live = |b: &Block| {
            !b.conditions.power_off && b.readings.iter().any(|r| r.unit == Unit::VoltsDc)
        };
        blocks()
            .find(|(_, b)| {
                live(b)
                    && b.conditions.valves == ValvesIn::All
                    && b.conditions.standby_open != Some(true)
            })
            .or_else(|| blocks().find(|(_, b)| live(b)))
    }

    /// Points that were read in such blocks, in this unit.
    fn read_in(&self, unit: Unit, such: impl Fn(&Conditions) -> bool) -> BTreeSet<NodeId> {
        let blocks = self.circuit.readings.iter();
        let blocks = blocks.filter(|b| !b.conditions.power_off && such(&b.conditions));
        let of = |r: &wiring::readings::Reading| match r.probe {
            Probe::At(node) if r.unit == unit => Some(node),
            _ => None,
        };
        blocks.flat_map(|b| &b.readings).filter_map(of).collect()
    }

    fn spot(&self, node: NodeId, effort: f64) -> Spot {
        Spot {
            name: first_name(self.circuit, node),
            ends: (node, None),
            effort,
        }
    }

    /// Electrodes and rails that may be probed under power and were not read yet.
    pub(super) fn live_spots(&self, block: Option<&Conditions>) -> Vec<Spot> {
        let read = match block {
            Some(block) => self.read_in(Unit::VoltsDc, |b| alike(b, block)),
            None => BTreeSet::new(),
        };
        let mut grids = BTreeSet::new();
        let mut nodes = BTreeSet::new();
        for part in &self.circuit.parts {
            let Kind::Valve(valve) = &part.kind else {
                continue;
            };
            for at in &valve.electrodes {
                let Some(node) = part.terminals.get(at.terminal).and_then(|t| t.node) else {
                    continue;
                };
                match at.electrode {
                    Electrode::Grid => {
                        grids.insert(node);
                    }
                    Electrode::Plate | Electrode::Screen | Electrode::Cathode => {
                        nodes.insert(node);
                    }
                    _ => {}
                }
            }
        }
        nodes.extend(self.anatomy.rails.iter().chain(&self.anatomy.bias_rails));
        let may = |n: &NodeId| self.forbidden.may_live(*n) && !read.contains(n);
        let mut all: Vec<Spot> = nodes
            .iter()
            .filter(|n| may(n))
            .map(|n| self.spot(*n, 1.0))
            .collect();
        let only_grid = grids.iter().filter(|n| may(n) && !nodes.contains(n));
        all.extend(only_grid.map(|n| self.spot(*n, GRID)));
        all
    }

    /// Rails for their ripple and the heaters' line, for volts AC with no signal.
    pub(super) fn mains_spots(&self) -> Vec<Spot> {
        let parts = &self.circuit.parts;
        let mut all = Vec::new();
        // a steady source stands for what makes ripple
        if !parts.iter().any(|p| matches!(p.kind, Kind::Supply { .. })) {
            let read = self.read_in(Unit::VoltsAc, |c| c.signal.is_none());
            let rails = self.anatomy.rails.iter().chain(&self.anatomy.bias_rails);
            let may = |n: &&NodeId| self.forbidden.may_live(**n) && !read.contains(n);
            all.extend(rails.filter(may).map(|n| self.spot(*n, 1.0)));
        }
        all.extend(self.heater_line());
        all
    }

    /// The plate of the tremolo's oscillator, unless its swings were counted.
    pub(super) fn pace_spots(&self) -> Vec<Spot> {
        let mut read = self.circuit.readings.iter().flat_map(|b| &b.readings);
        let blocks = self.anatomy.blocks.iter();
        let mut of = blocks.filter(|b| b.kind == BlockKind::TremoloOscillator);
        let section = of.next().and_then(|b| b.sections.first());
        let plate = section
            .and_then(|s| s.plate)
            .filter(|n| self.forbidden.may_live(*n));
        match plate {
            Some(plate) if !read.any(|r| r.unit == Unit::Hertz) => vec![self.spot(plate, 1.0)],
            _ => Vec::new(),
        }
    }

    /// Across the heater of the first valve with a grid, unless some heater was read.
    fn heater_line(&self) -> Option<Spot> {
        let heater = |part: &wiring::Part| -> Option<(NodeId, NodeId)> {
            let Kind::Valve(valve) = &part.kind else {
                return None;
            };
            let has = |e: Electrode| valve.electrodes.iter().any(|x| x.electrode == e);
            if !has(Electrode::Grid) {
                return None;
            }
            let is_heater = |e: Electrode| {
                matches!(
                    e,
                    Electrode::Heater1 | Electrode::Heater2 | Electrode::HeaterTap
                )
            };
            let mut ends: Vec<NodeId> = valve
                .electrodes
                .iter()
                .filter(|e| is_heater(e.electrode))
                .filter_map(|e| part.terminals.get(e.terminal)?.node)
                .filter(|n| self.forbidden.may_cold(*n))
                .collect();
            ends.sort_unstable();
            ends.dedup();
            Some((*ends.first()?, *ends.get(1)?))
        };
        let heaters: Vec<(NodeId, NodeId)> = self.circuit.parts.iter().filter_map(heater).collect();
        let both = |x: NodeId, y: NodeId| heaters.contains(&(x.min(y), x.max(y)));
        let mut blocks = self.circuit.readings.iter().flat_map(|b| &b.readings);
        let was_read = blocks.any(|r| match r.probe {
            Probe::Between(x, y) if r.unit == Unit::VoltsAc => both(x, y),
            Probe::At(x) if r.unit == Unit::VoltsAc => both(x, wiring::GROUND),
            _ => false,
        });
        let (a, b) = *heaters.first().filter(|_| !was_read)?;
        if a == wiring::GROUND {
            return Some(self.spot(b, 1.0));
        }
        Some(Spot {
            name: format!(
                "{} to {}",
                first_name(self.circuit, a),
                first_name(self.circuit, b)
            ),
            ends: (a, Some(b)),
            effort: 1.0,
        })
    }

    pub(super) fn output_valves(&self) -> Vec<String> {
        let mut names: Vec<String> = self
            .anatomy
            .output_sections()
            .filter_map(|s| self.circuit.parts.get(s.part.0).map(|p| p.name.clone()))
            .collect();
        names.dedup();
        names
    }

    /// The grids of valves that are out: what stays on them comes from elsewhere.
    pub(super) fn grids_without(&self, out: &[String]) -> Vec<Spot> {
        let of = self.circuit.parts.iter().filter(|p| out.contains(&p.name));
        let grids = of.flat_map(|part| {
            let electrodes = match &part.kind {
                Kind::Valve(valve) => valve.electrodes.as_slice(),
                _ => &[],
            };
            let grids = electrodes.iter().filter(|e| e.electrode == Electrode::Grid);
            grids.filter_map(|e| part.terminals.get(e.terminal)?.node)
        });
        let read = self.read_in(
            Unit::VoltsDc,
            |c| matches!(&c.valves, ValvesIn::Without(w) if out.iter().all(|v| w.contains(v))),
        );
        let may = |n: &NodeId| self.forbidden.may_live(*n) && !read.contains(n);
        let mut nodes: Vec<NodeId> = grids.filter(may).collect();
        nodes.dedup();
        nodes.into_iter().map(|n| self.spot(n, 1.0)).collect()
    }

    /// Resistors, capacitors, windings and electrodes, to be read with the power off.
    pub(super) fn cold_spots(&self) -> Vec<Spot> {
        let mut all = Vec::new();
        let mut done: BTreeSet<(NodeId, Option<NodeId>)> = BTreeSet::new();
        let was_read = |name: &str| {
            self.circuit
                .readings
                .iter()
                .filter(|b| b.conditions.power_off)
                .flat_map(|b| &b.readings)
                .any(|r| r.point == name)
        };
        for part in &self.circuit.parts {
            let two_ended = matches!(
                part.kind,
                Kind::Resistor { .. } | Kind::Capacitor { .. } | Kind::Choke { .. }
            );
            if !two_ended || was_read(&part.name) {
                continue;
            }
            let Some((a, b)) = two_ends(part) else {
                continue;
            };
            if self.forbidden.may_cold(a) && self.forbidden.may_cold(b) {
                done.insert((a, Some(b)));
                all.push(Spot {
                    name: part.name.clone(),
                    ends: (a, Some(b)),
                    effort: 1.0,
                });
            }
        }
        for part in &self.circuit.parts {
            let Kind::Valve(valve) = &part.kind else {
                continue;
            };
            for at in &valve.electrodes {
                let wanted = matches!(
                    at.electrode,
                    Electrode::Plate | Electrode::Screen | Electrode::Cathode | Electrode::Grid
                );
                let node = part.terminals.get(at.terminal).and_then(|t| t.node);
                let Some(node) = node.filter(|n| wanted && self.forbidden.may_cold(*n)) else {
                    continue;
                };
                let spot = self.spot(node, 1.0);
                if node != wiring::GROUND && done.insert((node, None)) && !was_read(&spot.name) {
                    all.push(spot);
                }
            }
        }
        all
    }

    /// The first jack of an input.
    pub(super) fn input_jack(&self) -> Option<String> {
        let inputs = self
            .anatomy
            .blocks
            .iter()
            .filter(|b| b.kind == BlockKind::Input);
        inputs
            .flat_map(|b| &b.parts)
            .filter_map(|(id, _)| self.circuit.parts.get(id.0))
            .find(|p| matches!(p.kind, Kind::Jack { .. }))
            .map(|p| p.name.clone())
    }

    pub(super) fn volumes(&self) -> Vec<String> {
        let blocks = self
            .anatomy
            .blocks
            .iter()
            .filter(|b| b.kind == BlockKind::Volume);
        let mut names: Vec<String> = blocks
            .flat_map(|b| &b.parts)
            .filter_map(|(id, _)| self.circuit.parts.get(id.0))
            .filter(|p| matches!(p.kind, Kind::Pot { .. }))
            .map(|p| p.parent.clone().unwrap_or_else(|| p.name.clone()))
            .collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    /// Plates of stages, grids, and the loudspeaker.
    pub(super) fn signal_spots(&self) -> Vec<Spot> {
        let mut nodes = BTreeSet::new();
        for part in &self.circuit.parts {
            match &part.kind {
                Kind::Valve(valve) => {
                    for at in &valve.electrodes {
                        if matches!(at.electrode, Electrode::Plate | Electrode::Grid)
                            && let Some(node) = part.terminals.get(at.terminal).and_then(|t| t.node)
                        {
                            nodes.insert(node);
                        }
                    }
                }
                Kind::Speaker { .. } => {
                    nodes.extend(part.terminals.iter().filter_map(|t| t.node));
                }
                _ => {}
            }
        }
        let read = self.read_in(Unit::VoltsAc, |c| c.signal.is_some());
        let may = |n: &NodeId| *n != wiring::GROUND && self.forbidden.may_live(*n);
        nodes
            .into_iter()
            .filter(|n| may(n) && !read.contains(n))
            .map(|n| self.spot(n, 1.0))
            .collect()
    }
}

/// Would the same point read the same under both?
fn alike(a: &Conditions, b: &Conditions) -> bool {
    let sets = |c: &Conditions| -> Vec<(String, Position)> {
        c.sets.iter().map(|s| (s.name.clone(), s.to)).collect()
    };
    a.valves == b.valves
        && sets(a) == sets(b)
        && a.standby_open == b.standby_open
        && a.speaker_on == b.speaker_on
        && a.limiter_watts == b.limiter_watts
}
