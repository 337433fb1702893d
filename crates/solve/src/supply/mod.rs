//! The mains supply: transformer, rectifiers, reservoir, as they stand once warm.
//!
//! [`rectify`] solves a group of rectifying plates over one mains cycle, given the steady
//! volts across them. Knows the equations of [`crate::netlist::Rectifiers`], and no trade.

mod matrix;
pub mod rectify;

pub use rectify::Cycle;
