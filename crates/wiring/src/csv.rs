//! Readings as a spreadsheet and as text: what a sheet is made of, and both ways between.
//!
//! One row per reading and one per condition, in the columns block, point, to, value,
//! unit, note. Reading a sheet turns each row into the line of notation it stands for, so
//! that a value means the same in both forms; what is wrong is told with the row it stands
//! in. Knows no circuit: the names in a sheet are looked up by whoever reads the text.
//! No sheet makes it panic.

mod import;
mod print;

pub use import::{Imported, import};
pub use print::{blocks_to_csv, blocks_to_text};

/// The columns, in the order they are written.
pub const COLUMNS: [&str; 6] = ["block", "point", "to", "value", "unit", "note"];

/// Words that state a condition where another row names a point.
pub const CONDITION_WORDS: [&str; 13] = [
    "mains", "meter", "valves", "set", "standby", "speaker", "limiter", "minutes", "signal",
    "power", "answer", "heard", "seen",
];

/// Codes of the diagnostics that [`import`] gives.
pub const CODES: [&str; 7] = [
    "sheet-header",
    "sheet-column",
    "sheet-quote",
    "sheet-no-point",
    "sheet-no-value",
    "sheet-cell-lost",
    "sheet-bad-row",
];

#[cfg(test)]
mod tests;
