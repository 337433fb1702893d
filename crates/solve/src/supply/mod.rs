//! The mains supply: transformer, rectifiers, reservoir, as they stand once warm.
//!
//! [`operating_point`] settles a whole circuit on the mains. On the way [`reduce()`] finds the
//! diodes that the mains drive, and what they see, and [`rectify`] solves a group of them over
//! one mains cycle, given the steady volts across them. Knows equations, and no trade.

mod emission;
pub mod mains;
mod matrix;
mod network;
pub mod rectify;
pub mod reduce;

#[cfg(test)]
mod brute;

pub use emission::emission;
pub use mains::{
    Lamp, OperatingPoint, PlateFigures, Start, operating_point, operating_point_while,
};
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
