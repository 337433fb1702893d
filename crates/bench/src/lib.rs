//! The trade: what a bench expects of an amplifier, and what it makes of readings.
//!
//! [`chart`] holds readings against the solved circuit, each with a band from part
//! tolerances ([`tolerance`]); [`kirchhoff`] and [`slips`] doubt the readings before any part
//! is blamed; [`fitting`] turns rows of an unlisted valve into its block. Pure: no files, no
//! clock, no randomness without a seed. Knows the trade, and no circuit equation's innards.

pub mod answers;
pub mod beside;
pub mod bias;
pub mod bleeder;
pub mod charge;
pub mod chart;
pub mod cold;
pub mod datecodes;
pub mod digits;
pub mod discharge;
mod driven;
pub mod faults;
pub mod fitting;
pub mod fuse;
pub mod heaters;
pub mod heating;
pub mod idle;
pub mod inspect;
pub mod instead;
pub mod kin;
pub mod kirchhoff;
pub mod lamp;
pub mod leakage;
pub mod part;
pub mod parts;
pub mod plate_curves;
pub mod play;
pub mod power;
mod powered;
pub mod powerup;
pub mod proof;
pub mod rules;
pub mod safety;
pub mod sanity;
pub mod sheet;
pub mod slips;
pub mod speaker;
pub mod stress;
pub mod supply;
pub mod surge;
pub mod suspects;
pub mod tolerance;
pub mod tremolo;
pub mod typed;
pub mod valves;
pub mod voicing;
pub mod wall;

#[cfg(test)]
mod testing;

pub use chart::{Chart, ChartRequest};
pub use powered::{Asked, head, read_at};
