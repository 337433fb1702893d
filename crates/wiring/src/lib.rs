//! How an amplifier is wired: the notation a technician types, and the circuit it means.
//!
//! Reading a text gives a [`Circuit`] *and* every problem found in it, so one slip
//! hides nothing else. The crate knows parts, pins, points, values, readings and
//! data sheets. It knows no equations, no trade rules, no files, no clock.
//!
//! Units are SI inside (volts, ohms, farads, henries, watts, hertz, seconds); trade
//! notation (`4k7`, `22n`, `.022`) lives at the edges, in [`units`].

pub mod assume;
mod attach;
pub mod circuit;
pub mod codes;
mod collect;
pub mod csv;
mod describe;
pub mod diagnostic;
mod entries;
pub mod format;
mod heading;
mod index;
pub mod lexer;
mod names;
mod net;
mod parts;
mod problems;
mod read;
pub mod readings;
mod render;
mod resolve;
pub mod roles;
pub mod sheet;
pub mod snippet;
mod statement;
pub mod units;
mod walk;
mod words;

pub use circuit::{Circuit, GROUND, Kind, NodeId, Part, PartId};
pub use diagnostic::{Diagnostic, Place, Severity};
pub use index::Index;
pub use read::{Read, Text, read, read_one, read_readings};
pub use readings::{Block, Conditions, Probe, Reading};
