//! The schematic of what was traced, as a technician would draw it.
//!
//! A circuit and its anatomy become placed symbols, wires on a grid, tags and labels. Whatever
//! was typed, the drawing is legal: nothing overlaps, and what is joined on the page is what is
//! joined in the wiring, read back from the page alone. Pure: no files, no clock, no chance;
//! the same circuit gives the same picture.

pub mod check;
pub mod drawing;
pub mod geometry;
mod joints;
pub mod label;
mod lettering;
mod memory;
pub mod over;
pub mod physical;
pub mod piece;
pub mod place;
pub mod plan;
pub mod plot;
pub mod route;
pub mod score;
pub mod svg;
pub mod symbol;
pub mod tag;
pub mod trip;
mod words;

pub use drawing::{Drawing, MOST_PARTS, Options, draw, draw_on, draw_unchecked, look};
pub use memory::Memory;
pub use score::{Score, crossings, score};
