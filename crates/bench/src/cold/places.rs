//! Where the probes go with the power off, in the order of the job.
//!
//! Mains side, windings, high tension, heaters, then socket by socket: grid to ground, plate to its
//! high-tension node, screen, cathode. Only what was traced is listed.

use crate::chart::points::{first_name, natural};
use crate::rules::rules;
use wiring::circuit::{
    Circuit, Electrode, History, Kind, NodeId, OutputTransformer, Part, PowerTransformer, Valve,
};
use wiring::roles::{Anatomy, BlockKind};
use wiring::sheet::Library;
use wiring::{GROUND, PartId};

/// Windings of no more volts than this end to end feed heaters.
const HEATER_VOLTS: f64 = 15.0;

/// The primary as the plug sees it, and its insulation.
pub(super) const MAINS: &str = "Mains side, plug out, switch on, fuse in";
/// Windings by themselves.
pub(super) const WINDINGS: &str = "Windings";
/// The rails.
pub(super) const TENSION: &str = "High tension";
/// Heater windings and what ties them.
pub(super) const HEATERS: &str = "Heaters";
/// Grids, plates, cathodes, screens.
pub(super) const SOCKETS: &str = "Sockets, valves in or out";

/// One place of the probe.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Place {
    pub(super) group: &'static str,
    pub(super) what: String,
    pub(super) ends: (NodeId, NodeId),
    /// How the two ends are called; the second empty where one name says it all.
    names: (String, String),
    /// No power below so many ohms.
    pub(super) least: Option<f64>,
    /// Go or no-go hangs on it.
    pub(super) decides: bool,
    /// No path is as it should be.
    pub(super) apart: bool,
}

impl Place {
    /// A place that decides nothing.
    pub(super) fn plain(group: &'static str, name: String, ends: (NodeId, NodeId)) -> Self {
        Self {
            group,
            what: String::new(),
            ends,
            names: (name, String::new()),
            least: None,
            decides: false,
            apart: false,
        }
    }

    /// Are the leads on these two nodes, either way round?
    pub(super) fn is_between(&self, a: NodeId, b: NodeId) -> bool {
        self.ends == (a, b) || self.ends == (b, a)
    }

    /// Red lead, then black.
    pub(super) fn written(&self, (red, _): (NodeId, NodeId), circuit: &Circuit) -> String {
        let (first, second) = &self.names;
        if second.is_empty() {
            let swapped = red != self.ends.0;
            return match swapped {
                true => format!("{first}, red on {}", first_name(circuit, red)),
                false => first.clone(),
            };
        }
        if red == self.ends.0 {
            format!("{first} to {second}")
        } else {
            format!("{second} to {first}")
        }
    }
}

/// Every place, in order.
pub(super) fn places(circuit: &Circuit, library: &Library, anatomy: &Anatomy) -> Vec<Place> {
    let mut list = List {
        circuit,
        library,
        anatomy,
        all: Vec::new(),
    };
    list.mains();
    list.windings();
    list.rails();
    list.heaters();
    list.sockets();
    list.all
}

struct List<'a> {
    circuit: &'a Circuit,
    library: &'a Library,
    anatomy: &'a Anatomy,
    all: Vec<Place>,
}

impl<'a> List<'a> {
    /// Adds a place between two wired points; nothing where both are one point, or it is there.
    fn add(
        &mut self,
        group: &'static str,
        what: impl Into<String>,
        (a, first): (Option<NodeId>, String),
        (b, second): (Option<NodeId>, String),
    ) -> Option<&mut Place> {
        let ends = (a?, b?);
        let there = self.all.iter().any(|p| p.is_between(ends.0, ends.1));
        if ends.0 == ends.1 || there {
            return None;
        }
        self.all.push(Place {
            what: what.into(),
            names: (first, second),
            ..Place::plain(group, String::new(), ends)
        });
        self.all.last_mut()
    }

    fn decides(place: Option<&mut Place>) {
        if let Some(place) = place {
            place.decides = true;
        }
    }

    fn ground(&self) -> (Option<NodeId>, String) {
        (Some(GROUND), "ground".to_owned())
    }

    fn parts(&self) -> impl Iterator<Item = &'a Part> + use<'a> {
        self.circuit
            .parts
            .iter()
            .filter(|p| p.known.history != Some(History::Removed))
    }

    fn named(&self, name: &str) -> Option<NodeId> {
        let at = self
            .circuit
            .nodes
            .iter()
            .position(|n| n.names.iter().any(|x| x == name));
        at.map(NodeId)
    }

    /// Plug pins, or the primary where the mains side is not traced; each side to the chassis.
    fn mains(&mut self) {
        const GROUP: &str = MAINS;
        let end = |list: &Self, name: &str| list.named(name).map(|n| (Some(n), name.to_owned()));
        let (live, neutral) = (end(self, "live"), end(self, "neutral"));
        let sides: Vec<(Option<NodeId>, String)> = match (live, neutral) {
            (Some(live), Some(neutral)) => {
                let place = self.add(
                    GROUP,
                    "plug pin to plug pin: fuse, switch, primary",
                    live.clone(),
                    neutral.clone(),
                );
                Self::decides(place);
                vec![live, neutral]
            }
            _ => self
                .parts()
                .filter_map(|p| match &p.kind {
                    Kind::PowerTransformer(t) => Some((p, t)),
                    _ => None,
                })
                .flat_map(|(p, t)| primary_leads(p, t).into_iter().map(|i| at(p, i)))
                .collect(),
        };
        let least = insulation_least(self.circuit);
        for side in sides {
            let ground = self.ground();
            if let Some(place) = self.add(GROUP, "insulation to the chassis", side, ground) {
                place.decides = true;
                place.apart = true;
                place.least = least;
            }
        }
    }

    fn windings(&mut self) {
        const GROUP: &str = WINDINGS;
        for part in self.parts() {
            match &part.kind {
                Kind::PowerTransformer(t) => self.power_windings(part, t),
                Kind::OutputTransformer(t) => self.output_windings(part, t),
                Kind::CouplingTransformer(_) => {
                    for (a, b, what) in [
                        ("p1", "p2", "driver primary"),
                        ("s1", "s0", "driver secondary, half"),
                        ("s0", "s2", "driver secondary, half"),
                        ("s1", "s2", "driver secondary"),
                    ] {
                        self.add(GROUP, what, pin(part, a), pin(part, b));
                    }
                }
                Kind::Tank { .. } => {
                    self.add(
                        GROUP,
                        "tank, driven coil",
                        pin(part, "in1"),
                        pin(part, "in2"),
                    );
                    self.add(
                        GROUP,
                        "tank, return coil",
                        pin(part, "out1"),
                        pin(part, "out2"),
                    );
                }
                Kind::Choke { .. } => {
                    let place = self.add(
                        GROUP,
                        format!("choke {}", part.name),
                        end_of(part, 0, self.circuit),
                        end_of(part, 1, self.circuit),
                    );
                    Self::decides(place);
                }
                _ => {}
            }
        }
    }

    fn power_windings(&mut self, part: &'a Part, t: &PowerTransformer) {
        if let [first, .., last] = primary_leads(part, t).as_slice() {
            let place = self.add(WINDINGS, "mains primary", at(part, *first), at(part, *last));
            Self::decides(place);
        }
        for winding in &t.windings {
            let volts = winding.taps.iter().map(|x| x.1);
            let span = volts.clone().fold(f64::MIN, f64::max) - volts.fold(f64::MAX, f64::min);
            if span <= HEATER_VOLTS {
                continue;
            }
            for pair in wired_pairs(part, &winding.taps) {
                let what = format!("{} winding", winding.name);
                let place = self.add(WINDINGS, what, at(part, pair.0), at(part, pair.1));
                Self::decides(place);
            }
        }
    }

    fn output_windings(&mut self, part: &'a Part, t: &OutputTransformer) {
        const GROUP: &str = WINDINGS;
        let primary: &[(&str, &str, &str)] = if t.single {
            &[("p2", "p1", "output primary")]
        } else {
            &[
                ("p0", "p1", "output primary, one half"),
                ("p0", "p2", "output primary, other half"),
                ("p1", "p2", "output primary, end to end"),
            ]
        };
        for (a, b, what) in primary {
            let (a, b) = (pin(part, a), pin(part, b));
            // end to end only where the middle is not traced
            if what.ends_with("end to end") && pin(part, "p0").0.is_some() {
                continue;
            }
            let place = self.add(GROUP, *what, a, b);
            Self::decides(place);
        }
        for (tap, ohms) in &t.taps {
            let place = self.add(
                GROUP,
                format!("output secondary, {ohms} ohm tap, with what hangs on it"),
                at(part, *tap),
                at(part, t.common),
            );
            Self::decides(place);
        }
    }

    fn rails(&mut self) {
        let least = rules().figure("cold.least_ohms", "HT node to chassis");
        for rail in self.anatomy.rails.clone() {
            // What stands in for a supply that is not traced says nothing about its ohms.
            let stand_in = self.parts().any(|p| {
                matches!(p.kind, Kind::Supply { .. })
                    && p.terminals.iter().any(|t| t.node == Some(rail))
            });
            if stand_in {
                continue;
            }
            let ground = self.ground();
            let name = first_name(self.circuit, rail);
            let place = self.add(TENSION, "to the chassis", (Some(rail), name), ground);
            if let Some(place) = place {
                place.decides = true;
                place.least = least;
            }
        }
        for rail in self.anatomy.bias_rails.clone() {
            if !self.holds_charge(rail) {
                continue;
            }
            let ground = self.ground();
            let name = first_name(self.circuit, rail);
            let place = self.add("Bias", "to the chassis", (Some(rail), name), ground);
            Self::decides(place);
        }
    }

    /// A capacitor to ground hangs on it.
    fn holds_charge(&self, node: NodeId) -> bool {
        self.parts().any(|p| {
            let on = |n: NodeId| p.terminals.iter().any(|t| t.node == Some(n));
            matches!(p.kind, Kind::Capacitor { .. }) && on(node) && on(GROUND)
        })
    }

    fn heaters(&mut self) {
        const GROUP: &str = HEATERS;
        for part in self.parts() {
            let Kind::PowerTransformer(t) = &part.kind else {
                continue;
            };
            for winding in &t.windings {
                let volts: Vec<f64> = winding.taps.iter().map(|x| x.1).collect();
                let span = volts.iter().copied().fold(f64::MIN, f64::max)
                    - volts.iter().copied().fold(f64::MAX, f64::min);
                if span > HEATER_VOLTS {
                    continue;
                }
                for (a, b) in wired_pairs(part, &winding.taps) {
                    let what = format!("{} winding with what it lights, cold", winding.name);
                    self.add(GROUP, what, at(part, a), at(part, b));
                }
                if let Some((first, _)) = winding
                    .taps
                    .iter()
                    .find(|(i, _)| part.terminals.get(*i).is_some_and(|t| t.node.is_some()))
                {
                    // a rectifier's heater may sit on the high tension, which is listed already
                    let on_rail = part
                        .terminals
                        .get(*first)
                        .and_then(|t| t.node)
                        .is_some_and(|n| self.joins_rail(part, &winding.taps, n));
                    if !on_rail {
                        let what =
                            format!("{} winding to the chassis: its reference", winding.name);
                        let ground = self.ground();
                        self.add(GROUP, what, at(part, *first), ground);
                    }
                }
            }
        }
    }

    /// Is one end of the winding a high-tension node?
    fn joins_rail(&self, part: &Part, taps: &[(usize, f64)], node: NodeId) -> bool {
        let ends = taps
            .iter()
            .filter_map(|(i, _)| part.terminals.get(*i)?.node);
        ends.chain([node]).any(|n| self.anatomy.rails.contains(&n))
    }

    /// Socket by socket, V2 before V10.
    fn sockets(&mut self) {
        let mut valves: Vec<(PartId, &'a Part, &'a Valve)> = self
            .circuit
            .parts
            .iter()
            .enumerate()
            .filter(|(_, p)| p.known.history != Some(History::Removed))
            .filter_map(|(i, p)| match &p.kind {
                Kind::Valve(v) => Some((PartId(i), p, v)),
                _ => None,
            })
            .collect();
        valves.sort_by_key(|(_, p, _)| natural(&p.name));
        for (id, part, valve) in valves {
            let sheet = self.library.find(valve.type_in_socket());
            if sheet.is_some_and(|s| s.kind.is_rectifier()) {
                continue;
            }
            let mut sections: Vec<Option<char>> = valve
                .electrodes
                .iter()
                .filter(|u| u.electrode == Electrode::Plate)
                .map(|u| u.section)
                .collect();
            sections.sort_unstable();
            sections.dedup();
            for section in sections {
                self.section(id, part, valve, section);
            }
        }
    }

    fn section(&mut self, id: PartId, part: &Part, valve: &Valve, section: Option<char>) {
        const GROUP: &str = SOCKETS;
        let block = self.anatomy.block_of(id, section);
        let output =
            block.is_some_and(|b| matches!(b.kind, BlockKind::PushPull | BlockKind::SingleEnded));
        let supply = block
            .and_then(|b| b.supply)
            .filter(|n| self.anatomy.rails.contains(n))
            .or_else(|| self.fed_from(electrode_node(part, valve, section, Electrode::Plate)?))
            .map(|n| (Some(n), first_name(self.circuit, n)));
        let letter = section.map_or_else(String::new, |s| format!(" {s}"));
        let screen_rail = electrode_node(part, valve, section, Electrode::Screen)
            .and_then(|n| self.fed_from(n))
            .map(|n| (Some(n), first_name(self.circuit, n)));
        for electrode in [
            Electrode::Grid,
            Electrode::Plate,
            Electrode::Screen,
            Electrode::Cathode,
        ] {
            let on = valve.electrodes.iter().find(|u| {
                u.electrode == electrode && (u.section == section || u.section.is_none())
            });
            let Some(on) = on else { continue };
            let from = at(part, on.terminal);
            let to = match electrode {
                Electrode::Plate => supply.clone(),
                Electrode::Screen => screen_rail.clone().or_else(|| supply.clone()),
                _ => None,
            };
            let to = to.unwrap_or_else(|| self.ground());
            let what = format!("{}{letter}", electrode.word());
            let place = self.add(GROUP, what, from, to);
            // an output valve without its grid circuit, or its cathode on the chassis, runs away
            if output && matches!(electrode, Electrode::Grid | Electrode::Cathode) {
                Self::decides(place);
            }
        }
    }

    /// The rail at the other end of a resistor, choke or transformer winding on this node.
    fn fed_from(&self, node: NodeId) -> Option<NodeId> {
        self.parts()
            .filter(|p| {
                matches!(
                    p.kind,
                    Kind::Resistor { .. }
                        | Kind::Choke { .. }
                        | Kind::CouplingTransformer(_)
                        | Kind::OutputTransformer(_)
                )
            })
            .filter(|p| p.terminals.iter().any(|t| t.node == Some(node)))
            .flat_map(|p| p.terminals.iter().filter_map(|t| t.node))
            .find(|n| *n != node && self.anatomy.rails.contains(n))
    }
}

/// The node of an electrode of a section, when its pin is wired.
fn electrode_node(
    part: &Part,
    valve: &Valve,
    section: Option<char>,
    electrode: Electrode,
) -> Option<NodeId> {
    let uses = valve.electrodes.iter();
    uses.filter(|u| u.electrode == electrode && (u.section == section || u.section.is_none()))
        .find_map(|u| part.terminals.get(u.terminal)?.node)
}

/// Least ohms from the mains side to the chassis: the higher figure where the cord has no earth.
fn insulation_least(circuit: &Circuit) -> Option<f64> {
    let of = |name: &str| rules().figure("safety.insulation", name).map(|m| m * 1e6);
    let earthed = circuit
        .nodes
        .iter()
        .any(|n| n.names.iter().any(|x| x == "earth"));
    if circuit.heading.two_wire_cord || !earthed {
        of("safe isolation, and class II")
    } else {
        of("class I")
    }
}

/// Terminals of the wired primary leads from the lowest to the highest, or the outer two.
fn primary_leads(part: &Part, t: &PowerTransformer) -> Vec<usize> {
    let mut leads: Vec<(usize, f64)> = t
        .primary
        .iter()
        .copied()
        .filter(|(i, _)| part.terminals.get(*i).is_some_and(|t| t.node.is_some()))
        .collect();
    leads.sort_by(|a, b| b.1.total_cmp(&a.1));
    leads.into_iter().map(|x| x.0).collect()
}

/// Neighbouring taps that are both wired.
fn wired_pairs(part: &Part, taps: &[(usize, f64)]) -> Vec<(usize, usize)> {
    let mut wired: Vec<(usize, f64)> = taps
        .iter()
        .copied()
        .filter(|(i, _)| part.terminals.get(*i).is_some_and(|t| t.node.is_some()))
        .collect();
    wired.sort_by(|a, b| b.1.total_cmp(&a.1));
    wired
        .windows(2)
        .filter_map(|w| match w {
            [a, b] => Some((a.0, b.0)),
            _ => None,
        })
        .collect()
}

fn at(part: &Part, terminal: usize) -> (Option<NodeId>, String) {
    let Some(t) = part.terminals.get(terminal) else {
        return (None, String::new());
    };
    (t.node, format!("{}.{}", part.name, t.name))
}

fn pin(part: &Part, name: &str) -> (Option<NodeId>, String) {
    match part.terminals.iter().position(|t| t.name == name) {
        Some(i) => at(part, i),
        None => (None, String::new()),
    }
}

/// The end of a part that is passed: the point it lies on.
fn end_of(part: &Part, terminal: usize, circuit: &Circuit) -> (Option<NodeId>, String) {
    let node = part.terminals.get(terminal).and_then(|t| t.node);
    (
        node,
        node.map_or_else(String::new, |n| first_name(circuit, n)),
    )
}
