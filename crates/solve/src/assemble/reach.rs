//! How far a part without a value reaches: which volts hang on it.
//!
//! The place of such a part is held open in the assembly. Here it is closed by
//! [`TRIAL_OHMS`] and the circuit solved again: what moves by no more than the band of a sound
//! amplifier is solved all the same; what moves by more is not, and says which part to measure.

use std::collections::BTreeMap;

use super::Assembly;
use crate::netlist::{Law, Netlist, NodeIndex, Slot};

/// Ohms that stand for an unknown part while it is asked what hangs on it. Low enough to show
/// nearly all it can do, high enough not to be a fault.
pub const TRIAL_OHMS: f64 = 100.0;
/// A node that moves by less than this part of its volts does not hang on the unknown part.
pub const MOVED_PART: f64 = 0.03;
/// The same, volts, on top.
pub const MOVED_VOLTS: f64 = 0.05;

/// Whether a node hangs on what was tried: it moved by more than [`MOVED_VOLTS`] and [`MOVED_PART`].
#[must_use]
pub fn moves(before: f64, after: f64) -> bool {
    (after - before).abs() > MOVED_VOLTS + MOVED_PART * before.abs().min(after.abs())
}

/// Nodes whose volts hang on a part without a value, each with the names of those parts.
///
/// `volts` is the solution of the assembly's netlist as it stands. `solve` gives the volts of a
/// netlist, none if it found none; then everything the part touches counts as hanging on it.
pub fn hanging(
    assembly: &Assembly,
    volts: &[f64],
    mut solve: impl FnMut(&Netlist) -> Option<Vec<f64>>,
) -> BTreeMap<NodeIndex, Vec<String>> {
    let mut parts: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for e in &assembly.stand_ins {
        if let Some(element) = assembly.netlist.elements.get(*e) {
            parts.entry(element.name.as_str()).or_default().push(*e);
        }
    }
    let mut all: BTreeMap<NodeIndex, Vec<String>> = BTreeMap::new();
    for (part, elements) in parts {
        let mut trial = assembly.netlist.clone();
        let mut touched = Vec::new();
        for e in elements {
            if let Some(Law::Resistor { a, b, ohms }) =
                trial.elements.get_mut(e).map(|e| &mut e.law)
            {
                *ohms = TRIAL_OHMS;
                touched.extend([*a, *b]);
            }
        }
        let found = solve(&trial);
        for (node, before) in volts.iter().enumerate().skip(1) {
            let moved = match found.as_ref().and_then(|v| v.get(node)) {
                Some(after) => moves(*before, *after),
                None => touched.contains(&node),
            };
            if moved {
                all.entry(node).or_default().push(part.to_owned());
            }
        }
    }
    all
}

/// A section's current in a trial without it, as a part of its own; far below what any meter shows.
const NO_CURRENT: f64 = 1e-9;

/// Valve sections whose grid is at volts that are not told: nobody knows their currents.
#[must_use]
pub fn unsteered(assembly: &Assembly) -> Vec<usize> {
    let elements = assembly.netlist.elements.iter().enumerate();
    elements
        .filter(|(_, e)| match e.law {
            Law::Triode { grid, .. } | Law::Pentode { grid, .. } => {
                assembly.untold.contains_key(&grid)
            }
            _ => false,
        })
        .map(|(index, _)| index)
        .collect()
}

/// Nodes that move when a section carries no current, as it may with its grid anywhere; and its name.
///
/// `volts` and `solve` as for [`hanging`]; without a solution everything hangs on the section.
pub fn without_current(
    netlist: &Netlist,
    element: usize,
    volts: &[f64],
    mut solve: impl FnMut(&Netlist) -> Option<Vec<f64>>,
) -> (Vec<NodeIndex>, String) {
    let mut trial = netlist.clone();
    let mut name = String::new();
    if let Some(section) = trial.elements.get_mut(element) {
        section.scale(Slot::Scale, NO_CURRENT);
        name.clone_from(&section.name);
    }
    let Some(after) = solve(&trial) else {
        return ((1..volts.len()).collect(), name);
    };
    let moved = volts.iter().zip(&after).enumerate();
    let moved = moved.filter(|(_, (v, w))| moves(**v, **w));
    (moved.map(|(node, _)| node).collect(), name)
}
