//! One file a command.

pub(crate) mod format;
pub(crate) mod valves;
