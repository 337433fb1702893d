//! Paper: what a technician takes to the chassis, and what goes home with the amplifier.
//!
//! A bench sheet becomes one page of A4 or Letter: one HTML file with everything in it (style, typeface, marks), that any
//! browser prints. Pure: no files, no clock; the date is a blank to fill in by hand.

mod cells;
mod fit;
mod matrix;
mod page;
mod paper;

#[cfg(test)]
mod tests;

pub use page::page;
pub use paper::Paper;
