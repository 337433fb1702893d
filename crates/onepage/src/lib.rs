//! A bench sheet as one page: what a technician takes to the chassis.
//!
//! A page of A4 or Letter, in letters as large as it allows: one HTML file with everything in it (style, typeface, marks),
//! that any browser prints. Pure: no files, no clock; dates come in as text.

mod cells;
mod fit;
mod matrix;
mod page;
mod room;

#[cfg(test)]
mod tests;

pub use page::page;
