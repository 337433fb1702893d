//! The operating point: the volts at which the currents of every node sum to nothing.
//!
//! Newton steps with the analytic Jacobian of the whole circuit, in which each valve and diode
//! is linearised at volts of its own that follow the nodes at a measured pace. If they do
//! not settle, they start again from other volts; then the emission of the valves, then all
//! sources are raised in steps from next to nothing (homotopy; Melville, Trajkovic, Fang and
//! Watson, IEEE Trans. CAD 12, 1993, from memory, not seen); at last the circuit is let run
//! from no volts with a capacitor on every node (pseudo-transient continuation; Kelley and
//! Keyes, SIAM J. Numer. Anal. 35, 1998, from memory, not seen). A point is accepted when the
//! last correction and the residual of every node are within the limits below; otherwise the
//! answer names the worst node.
//!
//! Where a circuit has several operating points, feedback holding each, it finds one of them.
//!
//! Pure: no files, no clock, no randomness; the same call gives the same bits.

mod abreast;
mod newton;
mod rescue;
mod variants;

pub(crate) use abreast::Four;
use rescue::{Raised, Run};
pub use variants::solve_variants;

use crate::equations::{
    Approach, BadElement, Equations, Evaluation, Loaded, Point, Ports, Scale, two_sum,
};
use crate::linear::Factors;
use crate::netlist::{Netlist, NodeIndex, Rectifiers};
use crate::supply::CycleMemory;

/// Largest last correction of an accepted point, volts.
pub const ACCEPTED_VOLTS: f64 = 1e-6;
/// The same, as part of the volts.
pub const ACCEPTED_RELATIVE: f64 = 1e-9;
/// Largest residual of a node, as part of the sum of absolute currents there.
pub const ACCEPTED_RESIDUAL: f64 = 1e-9;
/// The same, amperes, on top of it.
pub const ACCEPTED_AMPS: f64 = 1e-12;

/// Newton steps after which another start or way is tried.
const MOST_STEPS: u32 = 40;

/// Starts that are tried one after another: how the devices are approached, and where the
/// valves stand first, by plate volts and grid volts times those of a valve at work.
const STARTS: [(Approach, f64, f64); 6] = [
    (Approach::Eager, 1.0, 1.0),
    (Approach::Careful, 0.0, 0.0),
    (Approach::Eager, 0.3, 0.2),
    (Approach::Careful, 3.0, 2.0),
    (Approach::Eager, 1.0, 3.0),
    (Approach::Careful, 0.1, 0.5),
];

/// How a solution ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Status {
    /// Last correction and residuals are within the accepted limits.
    Converged,
    /// No method got within the limits.
    Stalled {
        /// The node whose currents fail most to sum to nothing.
        worst_node: NodeIndex,
        /// By how much they fail, amperes leaving the node.
        amps: f64,
    },
    /// There are no equations: an element names a node that is not there, or holds a number
    /// that its law does not allow (no or negative ohms, not a number).
    BadElement {
        /// Index of the element.
        element: usize,
    },
}

/// Which method reached the solution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// Newton steps from the start.
    Newton,
    /// The emission of the valves, or all sources, raised in steps from next to nothing.
    Raised,
    /// The circuit let run, with a capacitor on every node.
    Transient,
}

/// Volts of all nodes, and how far to trust them.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// Volts of each node against ground; index 0 is ground itself.
    pub volts: Vec<f64>,
    /// Amperes into the output terminal of each ideal amplifier, in the order of the elements.
    pub amplifier_amps: Vec<f64>,
    /// How it ended.
    pub status: Status,
    /// Which method reached it.
    pub method: Method,
    /// Newton steps of all methods together.
    pub iterations: u32,
    /// Factorisations of the Jacobian.
    pub factorisations: u32,
    /// How many of them needed the dense elimination.
    pub dense_factorisations: u32,
    /// Largest residual of a node, amperes.
    pub residual_amps: f64,
    /// Largest correction that is left, volts.
    pub correction_volts: f64,
    /// Elements of the glow lamps that are lit; all start dark.
    pub lit: Vec<usize>,
    /// What `volts` and `amplifier_amps` cannot hold: see [`Solution::across`].
    pub(crate) rest: Vec<f64>,
    /// The mains cycle of each rectifier group.
    pub(crate) cycles: Vec<CycleMemory>,
}

impl Solution {
    /// Did it converge?
    #[must_use]
    pub fn converged(&self) -> bool {
        self.status == Status::Converged
    }

    /// The mains cycle at this solution of the group with the same diodes, as a start for
    /// [`Rectifiers::cycle_from`] and its like; a start from nothing if there is no such group.
    #[must_use]
    pub fn cycle_of(&self, group: &Rectifiers) -> CycleMemory {
        let known = self.cycles.iter().find(|cycle| cycle.is_of(group));
        known.cloned().unwrap_or_default()
    }

    /// Volts of node `a` over node `b`, to more digits than the difference of two `volts`
    /// has: 0.05 ohm between two nodes at 400 V turns their last digit into a picoampere.
    /// 0 for nodes that do not exist.
    #[must_use]
    pub fn across(&self, a: NodeIndex, b: NodeIndex) -> f64 {
        self.across_less(a, b, 0.0)
    }

    /// [`Solution::across`] less an emf, to the same digits.
    pub(crate) fn across_less(&self, a: NodeIndex, b: NodeIndex, emf: f64) -> f64 {
        let Some((&high_a, &high_b)) = self.volts.get(a).zip(self.volts.get(b)) else {
            return -emf;
        };
        let (difference, lost) = two_sum(high_a, -high_b);
        let (driving, more) = two_sum(difference, -emf);
        let low = |node: NodeIndex| self.rest.get(node).copied().unwrap_or(0.0);
        driving + (lost + more + (low(a) - low(b)))
    }
}

/// Finds the operating point of `netlist`, from the volts in `start` (one for each node,
/// ground first) if they are given. For many circuits of one structure, keep a [`Solver`].
#[must_use]
pub fn solve(netlist: &Netlist, start: Option<&[f64]>) -> Solution {
    match Solver::new(netlist) {
        Ok(mut solver) => solver.solve(netlist, start),
        Err(BadElement { element }) => unsolved(netlist, element),
    }
}

/// [`solve`] from the solution of a near circuit, which has the same nodes: its volts, and its
/// rectifiers' cycles.
#[must_use]
pub fn solve_near(netlist: &Netlist, near: &Solution) -> Solution {
    match Solver::new(netlist) {
        Ok(mut solver) => {
            solver.remember(&near.cycles);
            solver.solve(netlist, Some(&near.volts))
        }
        Err(BadElement { element }) => unsolved(netlist, element),
    }
}

/// Equations of one structure with all the room that solving them needs.
#[derive(Debug, Clone)]
pub struct Solver {
    equations: Equations,
    loaded: Loaded,
    factors: Factors<f64>,
    point: Point,
    here: Evaluation,
    step: Vec<f64>,
    next: Vec<f64>,
    shape: Vec<usize>,
    ports: Ports,
    count: Count,
    /// Is `point` accepted already, `here` being its exact evaluation?
    proved: bool,
    /// Did whoever watched want no more?
    stopped: bool,
}

/// Work done for one solution.
#[derive(Debug, Clone, Copy, Default)]
struct Count {
    iterations: u32,
    factorisations: u32,
    correction: f64,
}

impl Solver {
    /// Compiles the structure of `netlist`.
    ///
    /// # Errors
    /// [`BadElement`] when an element names a node that does not exist.
    pub fn new(netlist: &Netlist) -> Result<Self, BadElement> {
        let equations = Equations::new(netlist)?;
        Ok(Self {
            factors: Factors::new(&equations.pattern),
            point: Point::new(equations.len()),
            here: Evaluation::new(&equations),
            step: vec![0.0; equations.size],
            next: vec![0.0; equations.size],
            loaded: Loaded::default(),
            shape: Vec::new(),
            ports: Ports::default(),
            count: Count::default(),
            proved: false,
            stopped: false,
            equations,
        })
    }

    /// Starts the rectifiers' cycles from these, one for each group, or from nothing.
    pub(crate) fn remember(&mut self, cycles: &[CycleMemory]) {
        for (at, slot) in self.here.cycles.iter_mut().enumerate() {
            *slot = cycles.get(at).cloned().unwrap_or_default();
        }
    }

    /// Finds the operating point of `netlist`, from the volts in `start` (one for each node,
    /// ground first) if they are given. A netlist of another structure is compiled anew.
    /// The cycles of rectifier groups start where the last solution left them, which changes
    /// the answer by less than its tolerance.
    pub fn solve(&mut self, netlist: &Netlist, start: Option<&[f64]>) -> Solution {
        self.run(netlist, start, &mut || true)
    }

    /// As [`Solver::solve`], as long as `watch` says so: it is asked before each Newton step. None when it stopped the work.
    pub fn solve_while(
        &mut self,
        netlist: &Netlist,
        start: Option<&[f64]>,
        watch: &mut dyn FnMut() -> bool,
    ) -> Option<Solution> {
        let solution = self.run(netlist, start, watch);
        (!self.stopped).then_some(solution)
    }

    /// [`Solver::solve_while`]; what was found so far when it is stopped, as a solution that stalled.
    pub(crate) fn run(
        &mut self,
        netlist: &Netlist,
        start: Option<&[f64]>,
        watch: &mut dyn FnMut() -> bool,
    ) -> Solution {
        self.stopped = false;
        if !self.equations.fits(netlist, &mut self.shape) {
            match Self::new(netlist) {
                Ok(solver) => *self = solver,
                Err(BadElement { element }) => return unsolved(netlist, element),
            }
        }
        self.loaded.lit.clear();
        if let Err(BadElement { element }) =
            self.equations.load(netlist, Scale::WHOLE, &mut self.loaded)
        {
            return unsolved(netlist, element);
        }
        self.count = Count::default();
        let dense_before = self.factors.dense_count();
        let (mut done, mut method) = self.find(netlist, start, watch);
        // Glow lamps start dark. Each round strikes those that reached their striking volts and
        // puts out those below their holding volts, and solves again from there.
        for _ in 0..2 * self.equations.lamps() {
            if !done || !self.equations.strike(&mut self.loaded, &self.point) {
                break;
            }
            let from = self.point.high.clone();
            (done, method) = self.find(netlist, Some(&from), watch);
        }
        self.solution(method, done, dense_before)
    }

    /// Takes the slopes at the point that [`Solver::solve`] found, for [`Solver::adjoint`]; false
    /// when they leave an unknown free.
    pub fn linearise(&mut self) -> bool {
        self.evaluate_exactly(Approach::AtOnce);
        self.factor_here()
    }

    /// By node, ground first: volts by which `a` over `b` moves per ampere fed into that node, at
    /// the slopes that [`Solver::linearise`] took; all 0 for nodes that do not exist.
    #[must_use]
    pub fn adjoint(&self, a: NodeIndex, b: NodeIndex) -> Vec<f64> {
        let nodes = self.equations.nodes;
        let mut right = vec![0.0; self.equations.size];
        if a.max(b) < nodes {
            for (node, share) in [(a, 1.0), (b, -1.0)] {
                if let Some(slot) = node.checked_sub(1).and_then(|at| right.get_mut(at)) {
                    *slot += share;
                }
            }
            self.factors
                .solve_transposed_beside(&self.equations.pattern, &mut right);
        }
        let mut by_node = vec![0.0];
        by_node.extend(right.into_iter().take(nodes.saturating_sub(1)));
        by_node
    }

    /// Ohms that each pair of nodes sees between them, at the slopes that [`Solver::linearise`] took: volts by which the
    /// first rises over the second for an ampere fed into it and taken out there. 0 for nodes that do not exist.
    #[must_use]
    pub fn seen(&self, pairs: &[(NodeIndex, NodeIndex)]) -> Vec<f64> {
        /// Pairs that go side by side.
        const LANES: usize = 8;
        let mut columns = vec![[0.0; LANES]; self.equations.size];
        let (mut room, mut seen) = (Vec::new(), Vec::with_capacity(pairs.len()));
        let place = |node: NodeIndex| node.checked_sub(1).filter(|_| node < self.equations.nodes);
        for these in pairs.chunks(LANES) {
            columns.fill([0.0; LANES]);
            let each = || these.iter().enumerate();
            for (lane, (a, b)) in each() {
                for (node, share) in [(a, 1.0), (b, -1.0)] {
                    if let Some(row) = place(*node).and_then(|at| columns.get_mut(at)) {
                        row[lane] += share;
                    }
                }
            }
            let pattern = &self.equations.pattern;
            self.factors.solve_lanes(pattern, &mut columns, &mut room);
            seen.extend(each().map(|(lane, (a, b))| {
                let at = |node: NodeIndex| {
                    let row = place(node).and_then(|at| columns.get(at));
                    row.map_or(0.0, |row| row[lane])
                };
                at(*a) - at(*b)
            }));
        }
        seen
    }

    /// Tries one way after another.
    fn find(
        &mut self,
        netlist: &Netlist,
        start: Option<&[f64]>,
        watch: &mut dyn FnMut() -> bool,
    ) -> (bool, Method) {
        if start.is_some_and(|start| self.start_from(start))
            && self.newton(Approach::Eager, MOST_STEPS, 1.0, watch)
            && self.accept()
        {
            return (true, Method::Newton);
        }
        for (approach, plate, grid) in STARTS {
            if self.stopped {
                return (false, Method::Newton);
            }
            self.start_at(plate, grid);
            if self.newton(approach, MOST_STEPS, 1.0, watch) && self.accept() {
                return (true, Method::Newton);
            }
        }
        if self.raise(netlist, Raised::Emission, watch)
            || self.raise(netlist, Raised::Sources, watch)
        {
            return (true, Method::Raised);
        }
        (
            self.transient(Run::Bold, watch) || self.transient(Run::Careful, watch),
            Method::Transient,
        )
    }

    fn solution(&mut self, method: Method, done: bool, dense_before: u64) -> Solution {
        let nodes = self.equations.nodes;
        if !done {
            self.evaluate_exactly(Approach::AtOnce);
        }
        let (mut worst_node, mut amps) = (0, 0.0_f64);
        let residuals = self.here.residual.iter().zip(&self.here.flow);
        let (mut worst_excess, mut largest) = (-1.0, 0.0_f64);
        for (node, (&residual, &flow)) in residuals.enumerate().take(nodes).skip(1) {
            let excess = residual.abs() / (ACCEPTED_RESIDUAL * flow + ACCEPTED_AMPS);
            largest = largest.max(residual.abs());
            if excess > worst_excess {
                (worst_excess, worst_node, amps) = (excess, node, residual);
            }
        }
        let (volts, amplifier_amps) = self.point.high.split_at(nodes);
        Solution {
            volts: volts.to_vec(),
            amplifier_amps: amplifier_amps.to_vec(),
            status: if done {
                Status::Converged
            } else {
                Status::Stalled { worst_node, amps }
            },
            method,
            iterations: self.count.iterations,
            factorisations: self.count.factorisations,
            dense_factorisations: u32::try_from(self.factors.dense_count() - dense_before)
                .unwrap_or(u32::MAX),
            residual_amps: largest,
            correction_volts: self.count.correction,
            lit: self.loaded.lit.clone(),
            rest: self.point.low.clone(),
            cycles: self.here.cycles.clone(),
        }
    }
}

fn unsolved(netlist: &Netlist, element: usize) -> Solution {
    let nodes = netlist.nodes.len().max(1);
    Solution {
        volts: vec![0.0; nodes],
        amplifier_amps: Vec::new(),
        status: Status::BadElement { element },
        method: Method::Newton,
        iterations: 0,
        factorisations: 0,
        dense_factorisations: 0,
        residual_amps: 0.0,
        correction_volts: 0.0,
        lit: Vec::new(),
        rest: vec![0.0; nodes],
        cycles: Vec::new(),
    }
}
