//! Quick look-up of parts and nodes by name in a finished circuit.

use crate::circuit::{Circuit, GROUND, NodeId, PartId};
use crate::names;
use std::collections::HashMap;

/// Names of a circuit, hashed; for whoever looks up many. Reads the same as
/// [`Circuit::part`] and [`Circuit::node`].
#[derive(Debug)]
pub struct Index<'c> {
    circuit: &'c Circuit,
    parts: HashMap<&'c str, PartId>,
    bare: HashMap<&'c str, NodeId>,
}

impl<'c> Index<'c> {
    /// Goes through the circuit once.
    #[must_use]
    pub fn new(circuit: &'c Circuit) -> Self {
        let mut parts = HashMap::new();
        for (at, part) in circuit.parts.iter().enumerate() {
            parts.entry(part.name.as_str()).or_insert(PartId(at));
        }
        let mut bare = HashMap::new();
        for (at, node) in circuit.nodes.iter().enumerate() {
            for name in &node.names {
                bare.entry(name.as_str()).or_insert(NodeId(at));
            }
        }
        Self {
            circuit,
            parts,
            bare,
        }
    }

    /// The part of this name, exactly as typed.
    #[must_use]
    pub fn part(&self, name: &str) -> Option<PartId> {
        self.parts.get(name).copied()
    }

    /// The node of a point as typed; see [`Circuit::node`].
    #[must_use]
    pub fn node(&self, point: &str) -> Option<NodeId> {
        if let Some(node) = self.bare.get(point) {
            return Some(*node);
        }
        if names::is_ground(point) || point == "chassis" {
            return Some(GROUND);
        }
        let (name, word) = point.split_once('.')?;
        let (id, section) = match self.part(name) {
            Some(id) => (id, None),
            None => {
                let (base, section) = names::without_section(name)?;
                (self.part(base)?, Some(section))
            }
        };
        let part = self.circuit.parts.get(id.0)?;
        let terminal = part.terminal(section, word)?;
        part.terminals.get(terminal)?.node
    }

    /// The point or part name that is nearest to what was typed.
    pub(crate) fn nearest(&self, point: &str, circuit: &'c Circuit) -> Option<String> {
        let (name, tail) = match point.split_once('.') {
            Some((name, tail)) => (name, Some(tail)),
            None => (point, None),
        };
        if circuit.parts.len() + circuit.nodes.len() > 20_000 {
            return None;
        }
        match tail {
            Some(tail) => names::nearest(name, circuit.parts.iter().map(|p| p.name.as_str()))
                .filter(|near| circuit.terminal(&format!("{near}.{tail}")).is_some())
                .map(|near| format!("{near}.{tail}")),
            None => {
                let bare = circuit
                    .nodes
                    .iter()
                    .flat_map(|n| n.names.iter().map(String::as_str));
                names::nearest(
                    name,
                    bare.chain(circuit.parts.iter().map(|p| p.name.as_str())),
                )
                .map(str::to_owned)
            }
        }
    }
}
