//! Paper: what a technician takes to the chassis, and what goes home with the amplifier.
//!
//! A bench sheet becomes one page of A4 or Letter: one HTML file with everything in it (style, typeface, marks), that any
//! browser prints. What goes home is a [`Document`] of as many pages as it takes: the same value becomes HTML here, words
//! for a terminal, and PDF in a program of its own. Pure: no files, no clock; dates come in as text.

mod cells;
mod document;
mod fit;
mod html;
mod marks;
mod matrix;
mod page;
mod paper;

mod text;

#[cfg(test)]
mod document_tests;
#[cfg(test)]
mod tests;

pub use document::{
    Block, Cell, Column, Content, Document, Fact, Label, Mark, Picture, Run, Table, Warning, plain,
    strong,
};
pub use html::{body, inset, style, whole};
pub use marks::{band, sign, wire};
pub use page::page;
pub use paper::Paper;
pub use text::text;
