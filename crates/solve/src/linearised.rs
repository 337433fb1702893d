//! The circuit as it answers small changes about its operating point.
//!
//! One factorisation gives source resistances, and by the adjoint network (Director and Rohrer,
//! IEEE Trans. CT 16, 1969, from memory, not seen) the sensitivity of one reading to every
//! part at the price of one more solution.

use crate::equations::{BadElement, Equations, Evaluation, Loaded, Point, Ports, Scale};
use crate::flows::currents_of;
use crate::linear::Factors;
use crate::netlist::{Law, Netlist, NodeIndex};
use crate::operating::Solution;

/// A node whose source resistance is above this is undetermined: what a meter shows there is
/// made by the meter and by dirt.
pub const DETERMINED_OHMS: f64 = 1e9;

/// Natural logarithm of the factor by which a parameter is moved, up and down, to find its slope.
const NUDGE: f64 = 1e-4;

/// Why there is no linearised circuit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum LineariseError {
    /// The netlist is no set of equations.
    #[error(transparent)]
    Bad(#[from] BadElement),
    /// The solution belongs to another netlist.
    #[error("the solution has {has} nodes and the netlist {wants}")]
    OtherNetlist {
        /// Nodes of the solution.
        has: usize,
        /// Nodes of the netlist.
        wants: usize,
    },
    /// The slopes at this point leave an unknown free.
    #[error("the slopes leave node {node} free")]
    Free {
        /// The node, or the number of nodes and above for an amplifier's current.
        node: usize,
    },
}

/// A factored Jacobian at an operating point.
#[derive(Debug, Clone)]
pub struct Linearised {
    equations: Equations,
    factors: Factors<f64>,
}

/// How one reading, the volts of one node over another, follows a current drawn from each node.
///
/// Made by [`Linearised::adjoint`].
#[derive(Debug, Clone, PartialEq)]
pub struct Adjoint {
    /// By node, ground first: volts of the reading per ampere fed into that node, ohms.
    pub ohms: Vec<f64>,
}

impl Linearised {
    /// Linearises `netlist` at `solution`.
    ///
    /// # Errors
    /// [`LineariseError`] when the netlist is no set of equations, the solution is not its own,
    /// or the slopes there have no inverse.
    pub fn new(netlist: &Netlist, solution: &Solution) -> Result<Self, LineariseError> {
        let equations = Equations::new(netlist)?;
        let mut loaded = Loaded::default();
        loaded.lit.clone_from(&solution.lit);
        equations.load(netlist, Scale::WHOLE, &mut loaded)?;
        let mut point = Point::new(equations.len());
        let values = solution.volts.iter().chain(&solution.amplifier_amps);
        if values.clone().count() != equations.len() {
            return Err(LineariseError::OtherNetlist {
                has: solution.volts.len(),
                wants: equations.nodes,
            });
        }
        for ((high, low), (value, rest)) in point
            .high
            .iter_mut()
            .zip(&mut point.low)
            .zip(values.zip(&solution.rest))
        {
            (*high, *low) = (*value, *rest);
        }
        let mut here = Evaluation::new(&equations);
        for (slot, cycle) in here.cycles.iter_mut().zip(&solution.cycles) {
            slot.clone_from(cycle);
        }
        equations.evaluate_exactly(&loaded, &point, &mut Ports::default(), &mut here);
        let mut factors = Factors::new(&equations.pattern);
        factors
            .factor(&equations.pattern, &here.matrix)
            .map_err(|singular| LineariseError::Free {
                node: singular.unknown + 1,
            })?;
        Ok(Self { equations, factors })
    }

    /// Volts by which every node moves when each is fed the amperes in `fed` (by node, ground
    /// first; missing ones are 0).
    #[must_use]
    pub fn response(&self, fed: &[f64]) -> Vec<f64> {
        let mut right = vec![0.0; self.equations.size];
        for (right, &amps) in right
            .iter_mut()
            .zip(fed.iter().skip(1))
            .take(self.equations.nodes - 1)
        {
            *right = amps;
        }
        self.factors
            .solve_beside(&self.equations.pattern, &mut right);
        self.by_node(&right)
    }

    /// Resistance that a meter sees from `node` to ground, ohms; 0 for ground itself, infinite
    /// for a node that does not exist. Below 0 where positive feedback wins.
    #[must_use]
    pub fn source_ohms(&self, node: NodeIndex) -> f64 {
        self.source_ohms_between(node, 0)
    }

    /// Resistance that a meter sees from `a` to `b`, ohms; infinite if one does not exist.
    #[must_use]
    pub fn source_ohms_between(&self, a: NodeIndex, b: NodeIndex) -> f64 {
        if a.max(b) >= self.equations.nodes {
            return f64::INFINITY;
        }
        if a == b {
            return 0.0;
        }
        let moved = self.response(&self.pair(a, b));
        moved[a] - moved[b]
    }

    /// Has this node volts of its own? Not if its source resistance exceeds
    /// [`DETERMINED_OHMS`].
    #[must_use]
    pub fn determined(&self, node: NodeIndex) -> bool {
        self.source_ohms(node).abs() <= DETERMINED_OHMS
    }

    /// How the volts of `a` over `b` follow every node's current; all 0 if one does not exist.
    #[must_use]
    pub fn adjoint(&self, a: NodeIndex, b: NodeIndex) -> Adjoint {
        if a.max(b) < self.equations.nodes {
            self.adjoint_of(&self.pair(a, b))
        } else {
            self.adjoint_of(&[])
        }
    }

    /// How a sum of node volts, each times its number in `shares` (by node, ground first;
    /// missing ones are 0), follows every node's current.
    #[must_use]
    pub fn adjoint_of(&self, shares: &[f64]) -> Adjoint {
        let mut right = vec![0.0; self.equations.size];
        let nodes = right.iter_mut().take(self.equations.nodes - 1);
        for (right, &share) in nodes.zip(shares.iter().skip(1)) {
            *right = share;
        }
        self.factors
            .solve_transposed_beside(&self.equations.pattern, &mut right);
        Adjoint {
            ohms: self.by_node(&right),
        }
    }

    fn pair(&self, a: NodeIndex, b: NodeIndex) -> Vec<f64> {
        let mut fed = vec![0.0; self.equations.nodes];
        fed[a] += 1.0;
        fed[b] -= 1.0;
        fed
    }

    fn by_node(&self, unknowns: &[f64]) -> Vec<f64> {
        let mut by_node = vec![0.0];
        by_node.extend_from_slice(&unknowns[..self.equations.nodes - 1]);
        by_node
    }
}

impl Adjoint {
    /// Volts by which the reading moves per natural logarithm of the factor on parameter number
    /// `parameter`: about a hundredth of it for each per cent. 0 if there is no such parameter.
    ///
    /// The elements of the parameter alone are worked out again, nudged up and down; what a
    /// reduced netlist does not show at direct current (turns, the mains) counts as no change:
    /// for that see [`Adjoint::change`].
    #[must_use]
    pub fn sensitivity(&self, netlist: &Netlist, solution: &Solution, parameter: usize) -> f64 {
        let Some(parameter) = netlist.parameters.get(parameter) else {
            return 0.0;
        };
        let mut moved = 0.0;
        for (at, &(element, _)) in parameter.slots.iter().enumerate() {
            let seen = parameter.slots.iter().take(at);
            if seen.into_iter().any(|&(other, _)| other == element) {
                continue;
            }
            let Some(part) = netlist.elements.get(element) else {
                continue;
            };
            let lit = solution.lit.contains(&element);
            let at = |factor: f64| {
                let mut part = part.clone();
                for &(_, slot) in parameter.slots.iter().filter(|(to, _)| *to == element) {
                    part.scale(slot, factor);
                }
                self.drawn(&part.law, solution, lit)
            };
            moved -= at(NUDGE.exp()) - at((-NUDGE).exp());
        }
        moved / (2.0 * NUDGE)
    }

    /// Volts by which the reading moves, to first order, when the netlist `from`, whose operating
    /// point is `solution`, becomes the netlist `to` with the same nodes and the same amplifier
    /// gains.
    #[must_use]
    pub fn change(&self, from: &Netlist, to: &Netlist, solution: &Solution) -> f64 {
        let drawn = |netlist: &Netlist| -> f64 {
            let parts = netlist.elements.iter().enumerate();
            parts
                .map(|(at, part)| self.drawn(&part.law, solution, solution.lit.contains(&at)))
                .sum()
        };
        drawn(from) - drawn(to)
    }

    /// What an element's currents take from the reading.
    fn drawn(&self, law: &Law, solution: &Solution, lit: bool) -> f64 {
        // An amplifier's own current is an unknown: it does not change at given unknowns.
        let amps = currents_of(law, solution, lit, 0.0);
        let ohms = |node: &NodeIndex| self.ohms.get(*node).copied().unwrap_or(0.0);
        law.terminals()
            .iter()
            .zip(amps)
            .map(|(node, amps)| ohms(node) * amps)
            .sum()
    }
}
