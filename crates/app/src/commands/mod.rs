//! One file a command.

pub(crate) mod check;
pub(crate) mod format;
