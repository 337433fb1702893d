//! What goes home with the amplifier: a [`Document`] of as many pages as it takes.
//!
//! The same value becomes HTML and words for a terminal here, and PDF in a program of its own. It knows neither circuit nor
//! record, so that the program that sets the pages needs nothing of them. Pure: no files, no clock; dates come in as text.

mod document;
mod html;
mod marks;
mod paper;
mod text;

#[cfg(test)]
mod document_tests;

pub use document::{
    Block, Cell, Column, Content, Document, Fact, Label, Mark, Picture, Run, Table, Warning, plain,
    strong,
};
pub use html::{body, inset, style, whole};
pub use marks::{band, sign, wire};
pub use paper::Paper;
pub use text::text;
