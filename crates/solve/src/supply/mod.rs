//! The mains supply: transformer, rectifiers, reservoir, as they stand once warm.
//!
//! [`reduce`] finds the diodes that the mains drive, and what they see; [`rectify`] solves a
//! group of them over one mains cycle, given the steady volts across them. Knows equations,
//! and no trade.

mod matrix;
mod network;
pub mod rectify;
pub mod reduce;

#[cfg(test)]
#[expect(dead_code, reason = "ripple is looked at by some tests only")]
mod brute;

pub use rectify::{Cycle, CycleMemory};
pub use reduce::{Reduced, reduce};

/// Something that a reader of the figures must know: approximate, left out, doubtful.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Note {
    /// The part or element it is about.
    pub part: String,
    /// One sentence without the part's name at its head.
    pub text: String,
}

impl Note {
    pub(crate) fn new(part: &str, text: &str) -> Self {
        Note {
            part: part.to_owned(),
            text: text.to_owned(),
        }
    }
}
