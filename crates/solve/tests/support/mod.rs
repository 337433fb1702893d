//! Circuits for tests and timings: two whole amplifiers from data files, and random ones; and
//! a second solver that shares no code with the first.

#![allow(dead_code, reason = "each test file uses its part")]
#![allow(unreachable_pub, reason = "a module of tests")]
#![allow(clippy::unwrap_used, reason = "test data is known to be whole")]

pub mod amplifiers;
pub mod dense;
pub mod elements;
pub mod phasors;
pub mod random;
pub mod rectifiers;

use solve::{Element, Netlist};

/// A netlist of these elements on nodes without names of their own.
pub fn netlist(nodes: usize, elements: Vec<Element>) -> Netlist {
    Netlist {
        nodes: (0..nodes).map(|n| format!("n{n}")).collect(),
        elements,
        ..Netlist::default()
    }
}
