//! The standard caution, word for word, and its foot for sheets.

use crate::table;
use bench::rules::STANDARD_CAUTION;

/// The caution as lines of at most 80 columns, with a line before it.
pub(crate) fn foot() -> String {
    format!("\nCAUTION\n{}", table::paragraph(STANDARD_CAUTION, "  "))
}
