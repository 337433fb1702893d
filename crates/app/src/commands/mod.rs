//! One file a command.

pub(crate) mod chart;
pub(crate) mod check;
pub(crate) mod demo;
pub(crate) mod format;
pub(crate) mod snippet;
pub(crate) mod valves;
