//! From a wiring to its operating point in one call.
//!
//! What needs a solution to be decided is decided here: whether the lamp of a photo-resistor is
//! lit, and which volts hang on a part without a value. Knows no meter and no band.

use std::collections::BTreeMap;

use wiring::sheet::Library;
use wiring::{Circuit, Conditions};

use super::reach::{hanging, unsteered, without_current};
use super::{AssembleOptions, Assembly, Note, assemble};
use crate::export::{ExportedEquations, export_equations};
use crate::flows::terminal_currents;
use crate::netlist::{Law, Netlist, NodeIndex};
use crate::supply::{OperatingPoint, Start, operating_point};
use crate::{AMPLIFIER_OHMS, FLOOR_SIEMENS, LEAK_SIEMENS};

/// A neon lamp that carries less than this is out.
const LIT_AMPS: f64 = 1e-5;
/// A filament below this part of its rated volts gives no light to speak of (common practice,
/// no source).
const LIT_PART: f64 = 0.5;
/// Rounds of lamp and photo-resistor after which they are taken as they stand.
const MOST_ROUNDS: usize = 4;

/// A circuit under stated conditions, with its operating point.
#[derive(Debug, Clone)]
pub struct Solved {
    /// The equations, what was assumed, and what could not be had.
    pub assembly: Assembly,
    /// Volts and currents.
    pub point: OperatingPoint,
    /// Nodes whose volts are not known: with the names of the parts they hang on, or none where
    /// nothing that is traced feeds them (`assembly.untold` says it in words).
    pub hanging: BTreeMap<NodeIndex, Vec<String>>,
}

impl Solved {
    /// Steady volts of a point of the wiring against circuit ground, as typed (`V1.3`, `B1`).
    ///
    /// None where nothing that is computed reaches the point, where there was no solution, or
    /// where the volts hang on a part without a value or on what is not traced yet.
    #[must_use]
    pub fn volts(&self, circuit: &Circuit, point: &str) -> Option<f64> {
        let node = self.node(circuit, point)?;
        let known = self.point.solved() && !self.hanging.contains_key(&node);
        known.then(|| self.point.dc(node))
    }

    /// The equations that were solved, as plain numbers with the volts that were found.
    #[must_use]
    pub fn equations(&self) -> ExportedEquations {
        let netlist = &self.point.netlist;
        let constants = [
            ("floor_siemens", FLOOR_SIEMENS),
            ("leak_siemens", LEAK_SIEMENS),
            ("amplifier_ohms", AMPLIFIER_OHMS),
        ];
        let solution = &self.point.solution;
        export_equations(netlist, &solution.volts, &solution.lit, &constants)
    }

    /// The netlist's node of a point of the wiring.
    #[must_use]
    pub fn node(&self, circuit: &Circuit, point: &str) -> Option<NodeIndex> {
        let id = circuit.node(point)?;
        self.assembly.node_of.get(id.0).copied().flatten()
    }
}

/// Assembles a wiring under stated conditions and finds its operating point.
///
/// Always returns; `point` says itself whether it was found, `assembly.unsolved` and `hanging`
/// what is not known though it was.
#[must_use]
pub fn solve_circuit(
    circuit: &Circuit,
    library: &Library,
    conditions: &Conditions,
    options: &AssembleOptions,
) -> Solved {
    let mut assembly = assemble(circuit, library, conditions, options);
    let mut point = operating_point(&assembly.netlist, None);
    for round in 1..=MOST_ROUNDS {
        if !light_cells(&mut assembly, &point) {
            break;
        }
        point = operating_point(&assembly.netlist, Some(&point.start()));
        if round == MOST_ROUNDS {
            assembly.notes.push(Note {
                code: "cell-unsteady",
                text:
                    "a lamp and the photo-resistor it lights don't settle: each puts the other out"
                        .to_owned(),
            });
        }
    }
    let start: Start = point.start();
    let solve = |trial: &Netlist| {
        let trial = operating_point(trial, Some(&start));
        trial.solved().then_some(trial.solution.volts)
    };
    let mut hanging = hanging(&assembly, &point.solution.volts, solve);
    for element in unsteered(&assembly) {
        let volts = &point.solution.volts;
        let (moved, name) = without_current(&assembly.netlist, element, volts, solve);
        for node in moved {
            hanging.entry(node).or_default().push(name.clone());
        }
    }
    for node in assembly.untold.keys() {
        hanging.entry(*node).or_default();
    }
    Solved {
        assembly,
        point,
        hanging,
    }
}

/// Sets each photo-resistor by its lamp; true if one changed.
fn light_cells(assembly: &mut Assembly, point: &OperatingPoint) -> bool {
    let mut changed = false;
    for cell in &assembly.cells {
        let lamp = assembly.elements_of.get(&cell.lamp);
        let lit = lamp
            .into_iter()
            .flatten()
            .any(|e| is_lit(assembly, point, *e));
        let wanted = if lit { cell.lit_ohms } else { cell.dark_ohms };
        if let Some(Law::Resistor { ohms, .. }) = assembly
            .netlist
            .elements
            .get_mut(cell.element)
            .map(|e| &mut e.law)
            && *ohms != wanted
        {
            *ohms = wanted;
            changed = true;
        }
    }
    changed
}

fn is_lit(assembly: &Assembly, point: &OperatingPoint, element: usize) -> bool {
    match assembly.netlist.elements.get(element).map(|e| &e.law) {
        Some(Law::Neon { .. }) => terminal_currents(&point.netlist, &point.solution, element)
            .first()
            .is_some_and(|amps| amps.abs() > LIT_AMPS),
        Some(Law::Filament { a, b, law }) => {
            let steady = point.dc(*a) - point.dc(*b);
            steady.hypot(point.ac_volts(*a, *b)) > LIT_PART * law.volts
        }
        _ => false,
    }
}
