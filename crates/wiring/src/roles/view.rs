//! The circuit seen as edges between nodes, and the valve sections in it.
//!
//! Two-terminal parts are edges; a pot is one edge or two arms; a switch joins its common to
//! every throw, wherever it stands, because a role does not change when a switch is moved.

use crate::circuit::{Circuit, DiodeSort, Electrode, GROUND, History, Kind, NodeId, PartId};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// One valve section with the nodes of its electrodes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Section {
    /// The valve.
    pub part: PartId,
    /// Its section letter; none for a valve of one section.
    pub section: Option<char>,
    /// Plate, when wired.
    pub plate: Option<NodeId>,
    /// Control grid, when wired.
    pub grid: Option<NodeId>,
    /// Cathode, when wired.
    pub cathode: Option<NodeId>,
    /// Screen, when wired.
    pub screen: Option<NodeId>,
    /// The type has a screen, wired or not.
    pub pentode: bool,
}

/// What an edge is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Sort {
    Resistor,
    Capacitor,
    Choke,
    Diode,
    Zener,
    Lamp,
    Cell,
    Fuse,
    Switch,
    /// A named box with two terminals: something of unknown make between two points.
    Box,
    /// Anticlockwise end to wiper.
    LowerArm,
    /// Wiper to clockwise end.
    UpperArm,
    /// A pot used as a variable resistor, or with no wiper wired.
    WholePot,
}

impl Sort {
    pub(crate) fn is_pot(self) -> bool {
        matches!(self, Self::LowerArm | Self::UpperArm | Self::WholePot)
    }
    /// Passes direct current as a resistance.
    pub(crate) fn resistive(self) -> bool {
        self.is_pot() || matches!(self, Self::Resistor | Self::Cell)
    }
}

/// A way from one node to another through a part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Edge {
    pub(crate) part: PartId,
    pub(crate) sort: Sort,
    pub(crate) a: NodeId,
    pub(crate) b: NodeId,
    /// Marked ohms or farads.
    pub(crate) value: Option<f64>,
    /// The node on which the plus of an electrolytic sits, when it is marked.
    pub(crate) plus: Option<NodeId>,
}

impl Edge {
    pub(crate) fn other(&self, node: NodeId) -> NodeId {
        if self.a == node { self.b } else { self.a }
    }
    pub(crate) fn at_least(&self, value: f64) -> bool {
        self.value.is_some_and(|v| v >= value)
    }
    pub(crate) fn below(&self, value: f64) -> bool {
        self.value.is_some_and(|v| v < value)
    }
}

pub(crate) struct View<'a> {
    pub(crate) circuit: &'a Circuit,
    pub(crate) edges: Vec<Edge>,
    at: BTreeMap<NodeId, Vec<usize>>,
    /// Sections with a grid.
    pub(crate) sections: Vec<Section>,
    /// Rectifier plates: valve, plate node, cathode node.
    pub(crate) rectifier_plates: Vec<(PartId, Option<NodeId>, Option<NodeId>)>,
    /// Cold-cathode regulators: valve, plate node.
    pub(crate) regulators: Vec<(PartId, Option<NodeId>)>,
}

impl<'a> View<'a> {
    pub(crate) fn of(circuit: &'a Circuit) -> Self {
        let mut view = Self {
            circuit,
            edges: Vec::new(),
            at: BTreeMap::new(),
            sections: Vec::new(),
            rectifier_plates: Vec::new(),
            regulators: Vec::new(),
        };
        for (i, part) in circuit.parts.iter().enumerate() {
            if part.known.history == Some(History::Removed) {
                continue;
            }
            view.add_part(PartId(i));
        }
        for (i, edge) in view.edges.iter().enumerate() {
            view.at.entry(edge.a).or_default().push(i);
            if edge.a != edge.b {
                view.at.entry(edge.b).or_default().push(i);
            }
        }
        view
    }

    fn add_part(&mut self, id: PartId) {
        let part = &self.circuit.parts[id.0];
        let node = |i: usize| part.terminals.get(i).and_then(|t| t.node);
        let plus = match part.kind {
            Kind::Capacitor {
                plus_first: Some(first),
                ..
            } => node(usize::from(!first)),
            _ => None,
        };
        let mut push = |sort, a: Option<NodeId>, b: Option<NodeId>, value| {
            if let (Some(a), Some(b)) = (a, b)
                && a != b
            {
                self.edges.push(Edge {
                    part: id,
                    sort,
                    a,
                    b,
                    value,
                    plus,
                });
            }
        };
        match &part.kind {
            Kind::Resistor { ohms } => push(Sort::Resistor, node(0), node(1), *ohms),
            Kind::Capacitor { farads, .. } => push(Sort::Capacitor, node(0), node(1), *farads),
            Kind::Choke { ohms, .. } => push(Sort::Choke, node(0), node(1), *ohms),
            Kind::Diode {
                sort: DiodeSort::Zener(_),
            } => push(Sort::Zener, node(0), node(1), None),
            Kind::Diode { .. } => push(Sort::Diode, node(0), node(1), None),
            Kind::Lamp { .. } => push(Sort::Lamp, node(0), node(1), None),
            Kind::Cell { .. } => push(Sort::Cell, node(0), node(1), None),
            Kind::Fuse { .. } => push(Sort::Fuse, node(0), node(1), None),
            Kind::Box { .. } if part.terminals.len() == 2 => {
                push(Sort::Box, node(0), node(1), None);
            }
            Kind::Switch { throws, .. } => {
                if *throws <= 1 {
                    push(Sort::Switch, node(0), node(1), None);
                } else {
                    for throw in 1..part.terminals.len() {
                        push(Sort::Switch, node(0), node(throw), None);
                    }
                }
            }
            Kind::Pot { ohms, .. } => match (node(0), node(1), node(2)) {
                (Some(a), Some(w), Some(c)) if w != a && w != c => {
                    push(Sort::LowerArm, Some(a), Some(w), *ohms);
                    push(Sort::UpperArm, Some(w), Some(c), *ohms);
                }
                (Some(a), _, Some(c)) => push(Sort::WholePot, Some(a), Some(c), *ohms),
                (a, w, c) => push(Sort::WholePot, a.or(c), w, *ohms),
            },
            Kind::Valve(valve) => {
                let of = |section: Option<char>, electrode: Electrode| {
                    valve
                        .electrodes
                        .iter()
                        .filter(|u| {
                            u.electrode == electrode
                                && (u.section == section || u.section.is_none())
                        })
                        .find_map(|u| node(u.terminal))
                };
                let has = |section: Option<char>, electrode: Electrode| {
                    valve.electrodes.iter().any(|u| {
                        u.electrode == electrode && (u.section == section || u.section.is_none())
                    })
                };
                let letters: BTreeSet<Option<char>> = valve
                    .electrodes
                    .iter()
                    .filter(|u| u.electrode == Electrode::Plate)
                    .map(|u| u.section)
                    .collect();
                for section in letters {
                    if has(section, Electrode::Grid) {
                        self.sections.push(Section {
                            part: id,
                            section,
                            plate: of(section, Electrode::Plate),
                            grid: of(section, Electrode::Grid),
                            cathode: of(section, Electrode::Cathode),
                            screen: of(section, Electrode::Screen),
                            pentode: has(section, Electrode::Screen),
                        });
                    } else if !has(None, Electrode::Heater1) && !has(section, Electrode::Heater1) {
                        self.regulators.push((id, of(section, Electrode::Plate)));
                    } else {
                        for plate in valve
                            .electrodes
                            .iter()
                            .filter(|u| u.electrode == Electrode::Plate && u.section == section)
                        {
                            let cathode = of(section, Electrode::Cathode);
                            self.rectifier_plates
                                .push((id, node(plate.terminal), cathode));
                        }
                    }
                }
            }
            _ => {}
        }
    }

    /// Edges that touch a node.
    pub(crate) fn at(&self, node: NodeId) -> impl Iterator<Item = &Edge> {
        self.at
            .get(&node)
            .into_iter()
            .flatten()
            .filter_map(|i| self.edges.get(*i))
    }

    /// Edges of one part.
    pub(crate) fn of_part(&self, part: PartId) -> impl Iterator<Item = &Edge> {
        self.edges.iter().filter(move |e| e.part == part)
    }

    /// Edges between two nodes.
    pub(crate) fn between(&self, a: NodeId, b: NodeId) -> impl Iterator<Item = &Edge> {
        self.at(a).filter(move |e| e.other(a) == b)
    }

    /// Whether a wire has reached the part at all.
    pub(crate) fn is_wired(&self, part: PartId) -> bool {
        let part = &self.circuit.parts[part.0];
        part.known.history != Some(History::Removed)
            && part.terminals.iter().any(|t| t.node.is_some())
    }

    /// The node of a part's terminal by name.
    pub(crate) fn terminal(&self, part: PartId, name: &str) -> Option<NodeId> {
        self.circuit.parts[part.0]
            .terminals
            .iter()
            .find(|t| t.name == name)
            .and_then(|t| t.node)
    }

    /// Parts of a kind that are in the circuit.
    pub(crate) fn parts(&self, is: impl Fn(&Kind) -> bool) -> Vec<PartId> {
        (0..self.circuit.parts.len())
            .map(PartId)
            .filter(|p| is(&self.circuit.parts[p.0].kind) && self.is_wired(*p))
            .collect()
    }

    pub(crate) fn kind(&self, part: PartId) -> &Kind {
        &self.circuit.parts[part.0].kind
    }

    /// Terminals of other-than-two-terminal parts at a node: valves, transformers, jacks, tanks.
    pub(crate) fn terminals_at(&self, node: NodeId) -> &[(PartId, usize)] {
        self.circuit
            .nodes
            .get(node.0)
            .map_or(&[], |n| n.terminals.as_slice())
    }

    /// Sections whose grid is on this node.
    pub(crate) fn grids_at(&self, node: NodeId) -> impl Iterator<Item = usize> {
        self.sections
            .iter()
            .enumerate()
            .filter(move |(_, s)| s.grid == Some(node))
            .map(|(i, _)| i)
    }

    /// A bare name that says the node is a high-voltage rail: `B1`, `B+`, `HT2`.
    pub(crate) fn named_rail(&self, node: NodeId) -> bool {
        self.circuit.nodes.get(node.0).is_some_and(|n| {
            n.names.iter().any(|name| {
                ["B", "HT"].iter().any(|head| {
                    name.strip_prefix(head).is_some_and(|rest| {
                        rest == "+"
                            || rest.is_empty() && *head == "HT"
                            || !rest.is_empty() && rest.chars().all(|c| c.is_ascii_digit())
                    })
                })
            })
        })
    }

    /// Every node from which `node` can be reached through series resistances, chokes, fuses and
    /// switches, without crossing a node in `stop`.
    pub(crate) fn through(
        &self,
        node: NodeId,
        stop: &BTreeSet<NodeId>,
        pass: impl Fn(&Edge) -> bool,
    ) -> BTreeSet<NodeId> {
        let mut seen = BTreeSet::from([node]);
        let mut ahead = vec![node];
        while let Some(n) = ahead.pop() {
            if n != node && (stop.contains(&n) || n == GROUND) {
                continue;
            }
            for e in self.at(n) {
                if pass(e) && seen.insert(e.other(n)) {
                    ahead.push(e.other(n));
                }
            }
        }
        seen
    }
}
