//! How an amplifier is wired: the notation a technician types, and the circuit it means.
//!
//! Reading a text gives a [`Circuit`] *and* every problem found in it, so one slip
//! hides nothing else. The crate knows parts, pins, points, values, readings and
//! data sheets. It knows no equations, no trade rules, no files, no clock.
//!
//! Units are SI inside (volts, ohms, farads, henries, watts, hertz, seconds); trade
//! notation (`4k7`, `22n`, `.022`) lives at the edges, in [`units`].

pub mod circuit;
pub mod csv;
pub mod diagnostic;
pub mod format;
pub mod lexer;
pub mod readings;
pub mod sheet;
pub mod units;

pub use circuit::{Circuit, GROUND, Kind, NodeId, Part, PartId};
pub use diagnostic::{Diagnostic, Place, Severity};
pub use readings::{Block, Conditions, Probe, Reading};
