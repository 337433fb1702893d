//! Devices and circuit equations.
//!
//! Turns a [`wiring::Circuit`] under stated conditions into equations ([`netlist`]),
//! and finds voltages and currents. Pure: no files, no clock, no randomness; the same
//! call gives the same bits. Knows parts and equations, and no trade.
//!
//! Unknowns are volts against circuit ground (node 0); residuals are amperes leaving a node.

pub mod assemble;
pub mod builds;
pub mod device;
mod equations;
pub mod export;
pub mod flows;
mod lanes;
pub mod linear;
pub mod linearised;
pub mod netlist;
pub mod operating;
pub mod response;
mod scale;
pub mod supply;
pub mod time;
pub mod transient;

pub use assemble::{AssembleOptions, Assembly, Solved, assemble, solve_circuit};
pub use equations::{AMPLIFIER_OHMS, BadElement, FLOOR_SIEMENS, LEAK_SIEMENS};
pub use netlist::{Element, Law, Netlist};
