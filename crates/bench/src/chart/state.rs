//! One solved circuit: volts, slopes, phasors of the mains. All that the chart asks of the solver.

use solve::linearised::Linearised;
use solve::netlist::{Law, Netlist, NodeIndex};
use solve::operating::{self, Solution, Status};
use solve::supply::{Reduced, reduce};
use std::f64::consts::SQRT_2;

/// Why there is no chart of volts, in one sentence for the technician.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{sentence}")]
pub(super) struct Trouble {
    sentence: String,
}

impl Trouble {
    /// A reason in words.
    pub(super) fn new(sentence: String) -> Self {
        Self { sentence }
    }
}

/// A solved circuit.
pub(super) struct State {
    /// With the diodes that the mains drive as cycle means.
    reduced: Reduced,
    solution: Solution,
    linear: Option<Linearised>,
}

impl State {
    /// Finds the operating point.
    ///
    /// # Errors
    /// When there is none; names the worst point.
    pub(super) fn new(netlist: &Netlist, start: Option<&Self>) -> Result<Self, Trouble> {
        let mut state = Self::only_volts(netlist, start)?;
        let linear = Linearised::new(&state.reduced.netlist, &state.solution)
            .map_err(|e| Trouble::new(format!("no slopes at the operating point: {e}")))?;
        state.linear = Some(linear);
        Ok(state)
    }

    /// The same without slopes, for circuits of which only the volts are asked.
    pub(super) fn only_volts(netlist: &Netlist, start: Option<&Self>) -> Result<Self, Trouble> {
        let reduced = reduce(netlist, &[]);
        let solution =
            operating::solve(&reduced.netlist, start.map(|s| s.solution.volts.as_slice()));
        match solution.status {
            Status::Converged => {}
            Status::Stalled { worst_node, amps } => {
                let name = netlist.nodes.get(worst_node).map_or("?", String::as_str);
                return Err(Trouble::new(format!(
                    "no operating point was found: at {name} {:.2e} A are left over",
                    amps.abs()
                )));
            }
            Status::BadElement { element } => {
                let name = netlist
                    .elements
                    .get(element)
                    .map_or("?", |e| e.name.as_str());
                return Err(Trouble::new(format!(
                    "{name} holds a number it cannot have"
                )));
            }
        }
        Ok(Self {
            reduced,
            solution,
            linear: None,
        })
    }

    /// Volts of one node over another.
    pub(super) fn across(&self, a: NodeIndex, b: NodeIndex) -> f64 {
        self.solution.across(a, b)
    }

    /// Resistance that a meter between two nodes sees; infinite without slopes.
    pub(super) fn source_ohms(&self, a: NodeIndex, b: NodeIndex) -> f64 {
        self.linear
            .as_ref()
            .map_or(f64::INFINITY, |l| l.source_ohms_between(a, b).abs())
    }

    /// Change of the volts between two nodes per natural logarithm of each parameter.
    pub(super) fn slopes(&self, a: NodeIndex, b: NodeIndex) -> Vec<f64> {
        let Some(linear) = &self.linear else {
            return Vec::new();
        };
        let adjoint = linear.adjoint(a, b);
        (0..self.reduced.netlist.parameters.len())
            .map(|p| adjoint.sensitivity(&self.reduced.netlist, &self.solution, p))
            .collect()
    }

    /// Volts of every node.
    pub(super) fn volts(&self) -> &[f64] {
        &self.solution.volts
    }

    /// Alternating volts between two nodes, rms, with no diode conducting; none without mains.
    ///
    /// True of heaters; of a high-voltage winding that charges a reservoir it is what the
    /// winding gives between the charging pulses, some per cent above what a meter shows.
    pub(super) fn alternating(&self, a: NodeIndex, b: NodeIndex) -> Option<f64> {
        if self.reduced.netlist.hertz <= 0.0 {
            return None;
        }
        let (a, b) = (self.reduced.open.get(a)?, self.reduced.open.get(b)?);
        Some((*a - *b).abs() / SQRT_2)
    }

    /// Mean current of a diode, whether the mains drive it or not.
    pub(super) fn rectified_amps(&self, element: usize) -> Option<f64> {
        for group in &self.reduced.groups {
            let Some(Law::Rectifiers(plates)) =
                self.reduced.netlist.elements.get(*group).map(|e| &e.law)
            else {
                continue;
            };
            if let Some(plate) = plates.plates.iter().position(|p| p.element == element) {
                return self.amps(*group).get(2 * plate).copied();
            }
        }
        self.amps(element).first().copied()
    }

    /// What is approximate in this solution.
    pub(super) fn notes(&self) -> Vec<String> {
        self.reduced
            .notes
            .iter()
            .map(|n| format!("{}: {}", n.part, n.text))
            .collect()
    }

    /// Currents into the terminals of an element, amperes.
    pub(super) fn amps(&self, element: usize) -> Vec<f64> {
        solve::flows::terminal_currents(&self.reduced.netlist, &self.solution, element)
    }
}
