//! Where no probe is sent.

use super::super::scene::Scene;
use super::index_of;
use solve::netlist::NodeIndex;
use std::collections::BTreeSet;
use wiring::circuit::{Circuit, Electrode, Kind, NodeId};
use wiring::roles::{Anatomy, BlockKind};

/// A capacitor that takes longer to fall to [`LOW_VOLTS`] by itself keeps its charge, seconds.
const MOST_SECONDS: f64 = 120.0;
/// Volts below which it is empty (the standard caution's figure).
const LOW_VOLTS: f64 = 10.0;
/// Farads from which a charge is felt.
const LEAST_FARADS: f64 = 0.5e-6;
/// Volts where none are known.
const UNKNOWN_VOLTS: f64 = 450.0;
/// A node whose volts follow a charged one by more than this part is joined to it.
const JOINED: f64 = 1e-3;

/// Nodes that no proposed reading touches.
#[derive(Debug, Clone, Default)]
pub(in super::super) struct Forbidden {
    /// In no state: the mains side.
    always: BTreeSet<NodeId>,
    /// Not under power: driven plates and primaries, windings of the mains transformer.
    live: BTreeSet<NodeId>,
}

impl Forbidden {
    /// Of a circuit.
    pub(in super::super) fn of(circuit: &Circuit, anatomy: &Anatomy) -> Self {
        let mut found = Self::default();
        let node = |part: &wiring::Part, terminal: usize| {
            part.terminals.get(terminal).and_then(|t| t.node)
        };
        for (index, named) in circuit.nodes.iter().enumerate() {
            if named.names.iter().any(|n| n == "live" || n == "neutral") {
                found.always.insert(NodeId(index));
            }
        }
        for part in &circuit.parts {
            match &part.kind {
                Kind::PowerTransformer(_) => {
                    for t in &part.terminals {
                        let Some(n) = t.node else { continue };
                        if t.name.starts_with("pri") {
                            found.always.insert(n);
                        }
                        found.live.insert(n);
                    }
                }
                Kind::OutputTransformer(_) => {
                    let ends = part
                        .terminals
                        .iter()
                        .filter(|t| t.name.starts_with(['p', 'u']));
                    found.live.extend(ends.filter_map(|t| t.node));
                }
                Kind::Bridge => {
                    let ends = part.terminals.iter().filter(|t| t.name.starts_with("ac"));
                    found.live.extend(ends.filter_map(|t| t.node));
                }
                Kind::Valve(valve) => {
                    // a rectifier's plates are on a winding
                    let grid = valve
                        .electrodes
                        .iter()
                        .any(|e| e.electrode == Electrode::Grid);
                    if !grid {
                        let plates = valve
                            .electrodes
                            .iter()
                            .filter(|e| e.electrode == Electrode::Plate);
                        found
                            .live
                            .extend(plates.filter_map(|e| node(part, e.terminal)));
                    }
                }
                _ => {}
            }
        }
        for block in &anatomy.blocks {
            match block.kind {
                BlockKind::Mains => {
                    for (id, _) in &block.parts {
                        let Some(part) = circuit.parts.get(id.0) else {
                            continue;
                        };
                        if !matches!(part.kind, Kind::PowerTransformer(_)) {
                            found
                                .always
                                .extend(part.terminals.iter().filter_map(|t| t.node));
                        }
                    }
                }
                BlockKind::SingleEnded | BlockKind::PushPull => {
                    for section in &block.sections {
                        let Some(part) = circuit.parts.get(section.part.0) else {
                            continue;
                        };
                        if let Kind::Valve(valve) = &part.kind {
                            let plates = valve
                                .electrodes
                                .iter()
                                .filter(|e| e.electrode == Electrode::Plate);
                            found
                                .live
                                .extend(plates.filter_map(|e| node(part, e.terminal)));
                        }
                    }
                }
                _ => {}
            }
        }
        found.spread(circuit);
        // rails are read on every bench; ground is where the black lead is
        for rail in &anatomy.rails {
            if !found.always.contains(rail) {
                found.live.remove(rail);
            }
        }
        found.always.remove(&wiring::GROUND);
        found.live.remove(&wiring::GROUND);
        found
    }

    /// Fuses, switches and lamps carry the mains on.
    fn spread(&mut self, circuit: &Circuit) {
        loop {
            let before = self.always.len();
            for part in &circuit.parts {
                let carries = matches!(
                    part.kind,
                    Kind::Fuse { .. } | Kind::Switch { .. } | Kind::Lamp { .. }
                );
                let ends = || part.terminals.iter().filter_map(|t| t.node);
                if carries && ends().any(|n| n != wiring::GROUND && self.always.contains(&n)) {
                    self.always.extend(ends().filter(|n| *n != wiring::GROUND));
                }
            }
            if self.always.len() == before {
                return;
            }
        }
    }

    /// May a probe go here under power?
    pub(in super::super) fn may_live(&self, node: NodeId) -> bool {
        node != wiring::GROUND && self.may_cold(node) && !self.live.contains(&node)
    }

    /// May an ohmmeter's lead go here, power off?
    pub(in super::super) fn may_cold(&self, node: NodeId) -> bool {
        !self.always.contains(&node)
    }
}

/// What discharges nothing for sure: leaks that nobody has read, since a good capacitor keeps its
/// charge, and what stands for an untraced supply, behind whose rectifiers there is no way back.
fn unsure(circuit: &Circuit, cold: &Scene) -> Vec<usize> {
    let of = circuit.parts.iter().filter(|p| match p.kind {
        Kind::Capacitor { .. } => p.known.leak_ohms.is_none(),
        Kind::Supply { .. } => true,
        _ => false,
    });
    let elements = |p: &wiring::Part| cold.assembly.elements_of.get(&p.name).cloned();
    of.filter_map(elements).flatten().collect()
}

/// Nodes of a cold scene that hang on a capacitor which keeps its charge.
pub(super) fn charged(circuit: &Circuit, cold: &Scene, live: &[&Scene]) -> BTreeSet<NodeIndex> {
    let mut found = BTreeSet::new();
    let unsure = unsure(circuit, cold);
    for part in &circuit.parts {
        let Kind::Capacitor { farads, .. } = part.kind else {
            continue;
        };
        let farads = farads.unwrap_or(1e-5);
        let ends: Vec<NodeId> = part.terminals.iter().filter_map(|t| t.node).collect();
        let [a, b] = ends.as_slice() else { continue };
        if farads < LEAST_FARADS {
            continue;
        }
        let (Some(x), Some(y)) = (index_of(cold, *a), index_of(cold, *b)) else {
            continue;
        };
        // the most that any condition read so far leaves on it; as much as may be where the
        // tracing does not say
        let volts = live
            .iter()
            .map(|l| {
                let at = |n: NodeId| {
                    let node = index_of(l, n).filter(|n| !l.assembly.untold.contains_key(n))?;
                    l.volts.get(node).copied()
                };
                let told = at(*a).zip(at(*b)).map(|(a, b)| (a - b).abs());
                told.unwrap_or(UNKNOWN_VOLTS)
            })
            .reduce(f64::max)
            .unwrap_or(UNKNOWN_VOLTS);
        if volts <= LOW_VOLTS || x == y {
            continue;
        }
        let Some(moves) = cold.transfer(x, y, &unsure) else {
            // where it cannot be said it is taken as charged
            found.extend([x, y]);
            continue;
        };
        let at = |n: NodeIndex| moves.get(n).copied().unwrap_or(0.0);
        let ohms = (at(x) - at(y)).abs();
        if ohms * farads * (volts / LOW_VOLTS).ln() <= MOST_SECONDS {
            continue;
        }
        for node in 1..moves.len() {
            if (at(node) - at(0)).abs() > JOINED * ohms {
                found.insert(node);
            }
        }
    }
    found
}
