//! From a wiring, under stated conditions, to equations.
//!
//! [`assemble`] takes a [`wiring::Circuit`] and what held while it was read (mains, valves in
//! or out, knobs, standby, limiter) and gives a [`Netlist`]: one or more elements for each part
//! that is wired. It decides what a part's value is (a reading on the lifted part replaces the
//! marking), where each control stands, which valve is lit by which heater, and what the
//! documented default of an unwritten figure is; every default that matters is in `notes`.
//!
//! It solves nothing. A part that cannot be computed is in `unsolved` with its reason, and
//! everything else is still there. Pure and total: any circuit gives an assembly.
//!
//! One family of parts stands in each file; [`defaults`] holds the figures that nobody wrote down.

mod builder;
mod checks;
mod controls;
mod coupling;
pub mod defaults;
mod diodes;
mod heaters;
mod mains;
mod output;
mod passive;
mod positions;
mod power;
pub mod reach;
mod sockets;
mod solved;
mod speaker;
pub mod taper;
#[cfg(test)]
mod tests;
mod untold;
mod valves;
mod windings;

use std::collections::BTreeMap;

use serde::Serialize;
use wiring::sheet::Library;
use wiring::{Circuit, Conditions, Kind};

use crate::netlist::{Netlist, NodeIndex};
use builder::Builder;
pub use solved::{Solved, solve_circuit};

/// How to assemble, beyond what the conditions say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AssembleOptions {
    /// Source resistance, in ohms, of the signal that a `signal` condition brings to a jack.
    /// 0 is a stiff source (kept at 0.1 milliohm so that the equations stay solvable).
    pub signal_ohms: f64,
}

impl Default for AssembleOptions {
    fn default() -> Self {
        Self { signal_ohms: 0.0 }
    }
}

/// A circuit as equations, with what had to be assumed and what could not be had.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Assembly {
    /// The equations.
    pub netlist: Netlist,
    /// For each node of the wiring, its node in the netlist; none where no computed part is joined.
    pub node_of: Vec<Option<NodeIndex>>,
    /// Parts (and points) that cannot be computed, each with its reason and what to do.
    pub unsolved: Vec<Unsolved>,
    /// What was assumed.
    pub notes: Vec<Note>,
    /// For each part by name, its elements in the netlist.
    pub elements_of: BTreeMap<String, Vec<usize>>,
    /// Elements that only hold the place of a part whose value is not known: an open of
    /// [`defaults::OPEN_OHMS`]. What they could move is not known either.
    pub stand_ins: Vec<usize>,
    /// Nodes whose volts in the equations mean nothing, because what feeds them or what draws there
    /// is not traced; each with a sentence.
    pub untold: BTreeMap<NodeIndex, String>,
    /// Photo-resistors, assembled as dark.
    pub cells: Vec<LitCell>,
}

/// A photo-resistor and the lamp that lights it.
#[derive(Debug, Clone, PartialEq)]
pub struct LitCell {
    /// Its element in the netlist.
    pub element: usize,
    /// Name of the lamp.
    pub lamp: String,
    /// Ohms in the dark.
    pub dark_ohms: f64,
    /// Ohms fully lit.
    pub lit_ohms: f64,
}

/// Something that cannot be computed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Unsolved {
    /// The part or point, as typed.
    pub point: String,
    /// Why, and what to type.
    pub why: String,
}

/// Something that was assumed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Note {
    /// Stable kebab-case code.
    pub code: &'static str,
    /// One sentence.
    pub text: String,
}

/// Turns a wiring under stated conditions into equations.
///
/// Total: never fails and never panics. Elements stand in the order of the wiring's parts,
/// so the same wiring always gives the same netlist.
#[must_use]
pub fn assemble(
    circuit: &Circuit,
    library: &Library,
    conditions: &Conditions,
    options: &AssembleOptions,
) -> Assembly {
    let mut b = Builder::new(circuit, library, conditions, options);
    let mains = mains::find(&mut b);
    let fed = heaters::fed(&b);
    let mut untraced = valves::Untraced::default();
    for part in &circuit.parts {
        if b.is_removed(part) {
            continue;
        }
        if part.terminals.len() > 2 {
            b.unclear_reading(part);
        }
        match &part.kind {
            Kind::Resistor { ohms } => passive::resistor(&mut b, part, *ohms),
            Kind::Capacitor { farads, plus_first } => {
                passive::capacitor(&mut b, part, *farads, plus_first.is_some());
            }
            Kind::Choke { henries, ohms } => passive::choke(&mut b, part, *henries, *ohms),
            Kind::Diode { sort } => diodes::diode(&mut b, part, *sort),
            Kind::Bridge => diodes::bridge(&mut b, part),
            Kind::Lamp { sort } => diodes::lamp(&mut b, part, *sort),
            Kind::Cell {
                dark_ohms,
                lit_ohms,
                lamp,
            } => diodes::cell(&mut b, part, lamp, *dark_ohms, *lit_ohms),
            Kind::Fuse { amps, .. } => controls::fuse(&mut b, part, *amps),
            Kind::Switch { throws, start } => controls::switch(&mut b, part, *throws, *start),
            Kind::Jack { phono, .. } => controls::jack(&mut b, part, *phono),
            Kind::Pot {
                ohms,
                taper,
                switch,
            } => controls::pot(&mut b, part, *ohms, taper, switch.as_deref()),
            Kind::Valve(v) => valves::valve(&mut b, part, v, &fed, &mut untraced),
            Kind::PowerTransformer(t) => power::transformer(&mut b, part, t, &mains),
            Kind::OutputTransformer(t) => output::transformer(&mut b, part, t),
            Kind::CouplingTransformer(t) => coupling::transformer(&mut b, part, t),
            Kind::Tank {
                in_ohms, out_ohms, ..
            } => coupling::tank(&mut b, part, *in_ohms, *out_ohms),
            Kind::Speaker { ohms } => speaker::speaker(&mut b, part, *ohms),
            Kind::Supply { volts, ohms } => checks::supply(&mut b, part, *volts, *ohms),
            Kind::Generator { volts, hertz, ohms } => {
                checks::generator(&mut b, part, *volts, *hertz, *ohms);
            }
            Kind::Gain { gain } => checks::gain(&mut b, part, *gain),
            Kind::Box { label } => b.unsolved(
                &part.name,
                format!("`{label}` is a box: drawn, not computed"),
            ),
            Kind::Unknown => {
                let example = if part.name.starts_with('T') {
                    "output 8k:8 ohm"
                } else {
                    "pot 1M audio"
                };
                b.unsolved(
                    &part.name,
                    format!(
                        "nothing says what it is; state its kind, as in `{} {example}`",
                        part.name
                    ),
                );
            }
        }
    }
    untraced.say(&mut b);
    mains::source(&mut b, &mains);
    positions::unused(&mut b);
    untold::mark(&mut b);
    b.finish()
}
