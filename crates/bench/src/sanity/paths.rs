//! Ways for direct current through the wiring, whatever the switches say.

use std::collections::{BTreeMap, BTreeSet};
use wiring::circuit::{Electrode, History, Kind};
use wiring::{Circuit, NodeId, PartId};

/// What a way leads through.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Through {
    /// Resistor, pot, choke, lamp, cell, loudspeaker, fuse, closed or open switch, jack contact.
    Plain,
    /// A winding of a transformer or a tank coil.
    Winding,
    /// A valve's heater.
    Heater,
    /// A diode, either way, or a rectifier valve.
    Diode,
}

pub(super) struct Paths<'a> {
    pub(super) circuit: &'a Circuit,
    ways: BTreeMap<NodeId, Vec<(PartId, NodeId, Through)>>,
}

impl<'a> Paths<'a> {
    pub(super) fn of(circuit: &'a Circuit) -> Self {
        let mut paths = Self {
            circuit,
            ways: BTreeMap::new(),
        };
        for (i, part) in circuit.parts.iter().enumerate() {
            if part.known.history == Some(History::Removed) {
                continue;
            }
            let id = PartId(i);
            let node = |t: usize| part.terminals.get(t).and_then(|x| x.node);
            let all: Vec<usize> = (0..part.terminals.len()).collect();
            match &part.kind {
                Kind::Resistor { .. }
                | Kind::Choke { .. }
                | Kind::Lamp { .. }
                | Kind::Cell { .. }
                | Kind::Fuse { .. }
                | Kind::Speaker { .. }
                | Kind::Supply { .. }
                | Kind::Generator { .. } => {
                    paths.join(id, node(0), node(1), Through::Plain);
                }
                Kind::Pot { .. } | Kind::Switch { .. } => {
                    paths.star(id, &all, node, Through::Plain)
                }
                Kind::Jack { .. } => {
                    let of = |name: &str| {
                        part.terminals
                            .iter()
                            .find(|t| t.name == name)
                            .and_then(|t| t.node)
                    };
                    paths.join(id, of("tip"), of("break"), Through::Plain);
                    paths.join(id, of("ring"), of("ringbreak"), Through::Plain);
                }
                Kind::Diode { .. } => paths.join(id, node(0), node(1), Through::Diode),
                Kind::Bridge => paths.star(id, &all, node, Through::Diode),
                Kind::PowerTransformer(t) => {
                    let primary: Vec<usize> = t.primary.iter().map(|(i, _)| *i).collect();
                    // An untapped primary has its two ends first.
                    let primary = if primary.len() < 2 {
                        vec![0, 1]
                    } else {
                        primary
                    };
                    paths.star(id, &primary, node, Through::Winding);
                    for w in &t.windings {
                        let taps: Vec<usize> = w.taps.iter().map(|(i, _)| *i).collect();
                        paths.star(id, &taps, node, Through::Winding);
                    }
                }
                Kind::OutputTransformer(_) | Kind::CouplingTransformer(_) => {
                    for head in ["p", "s"] {
                        let ends: Vec<usize> = (0..part.terminals.len())
                            .filter(|t| {
                                part.terminals[*t].name.starts_with(head)
                                    || head == "p" && part.terminals[*t].name.starts_with('u')
                            })
                            .collect();
                        paths.star(id, &ends, node, Through::Winding);
                    }
                }
                Kind::Tank { .. } => {
                    paths.join(id, node(0), node(1), Through::Winding);
                    paths.join(id, node(2), node(3), Through::Winding);
                }
                Kind::Valve(valve) => {
                    let ends: Vec<usize> = valve
                        .electrodes
                        .iter()
                        .filter(|u| {
                            matches!(
                                u.electrode,
                                Electrode::Heater1 | Electrode::Heater2 | Electrode::HeaterTap
                            )
                        })
                        .map(|u| u.terminal)
                        .collect();
                    paths.star(id, &ends, node, Through::Heater);
                    if !valve
                        .electrodes
                        .iter()
                        .any(|u| u.electrode == Electrode::Grid)
                    {
                        let ends: Vec<usize> = valve
                            .electrodes
                            .iter()
                            .filter(|u| {
                                matches!(u.electrode, Electrode::Plate | Electrode::Cathode)
                            })
                            .map(|u| u.terminal)
                            .collect();
                        paths.star(id, &ends, node, Through::Diode);
                    }
                }
                _ => {}
            }
        }
        paths
    }

    fn join(&mut self, part: PartId, a: Option<NodeId>, b: Option<NodeId>, through: Through) {
        if let (Some(a), Some(b)) = (a, b)
            && a != b
        {
            self.ways.entry(a).or_default().push((part, b, through));
            self.ways.entry(b).or_default().push((part, a, through));
        }
    }

    fn star(
        &mut self,
        part: PartId,
        ends: &[usize],
        node: impl Fn(usize) -> Option<NodeId>,
        through: Through,
    ) {
        let nodes: BTreeSet<NodeId> = ends.iter().filter_map(|t| node(*t)).collect();
        let nodes: Vec<NodeId> = nodes.into_iter().collect();
        for pair in nodes.windows(2) {
            if let [a, b] = pair {
                self.join(part, Some(*a), Some(*b), through);
            }
        }
    }

    /// Every node that direct current can reach from here through the ways allowed.
    pub(super) fn reach(
        &self,
        from: NodeId,
        allow: impl Fn(Through) -> bool,
        stop: impl Fn(NodeId) -> bool,
    ) -> BTreeSet<NodeId> {
        let mut seen = BTreeSet::from([from]);
        let mut ahead = vec![from];
        while let Some(n) = ahead.pop() {
            if n != from && stop(n) {
                continue;
            }
            for (_, next, through) in self.ways.get(&n).into_iter().flatten() {
                if allow(*through) && seen.insert(*next) {
                    ahead.push(*next);
                }
            }
        }
        seen
    }

    /// Where the tracing simply ends: a named point or a terminal with nothing else on it, or a
    /// part whose other end no walk has reached.
    pub(super) fn loose(&self, node: NodeId) -> bool {
        let Some(n) = self.circuit.nodes.get(node.0) else {
            return true;
        };
        if n.terminals.len() <= 1 {
            return true;
        }
        // Joined electrodes and nothing else: what they lead to is not traced.
        if n.terminals
            .iter()
            .all(|(p, _)| matches!(self.circuit.parts[p.0].kind, Kind::Valve(_)))
        {
            return true;
        }
        n.terminals.iter().any(|(p, t)| {
            let part = &self.circuit.parts[p.0];
            match part.kind {
                // An end or tap of the same winding that no walk has reached yet.
                Kind::OutputTransformer(_) | Kind::CouplingTransformer(_) => {
                    let side = |i: usize| {
                        let secondary = part.terminals[i].name.starts_with('s');
                        (part.terminals[i].name.starts_with(['p', 'u', 's'])).then_some(secondary)
                    };
                    (0..part.terminals.len())
                        .any(|i| part.terminals[i].node.is_none() && side(i) == side(*t))
                }
                Kind::Resistor { .. }
                | Kind::Choke { .. }
                | Kind::Pot { .. }
                | Kind::Switch { .. }
                | Kind::Fuse { .. } => {
                    part.terminals.iter().filter(|t| t.node.is_some()).count() < 2
                }
                Kind::Box { .. } | Kind::Unknown => true,
                _ => false,
            }
        })
    }
}
