//! Commands.

fn main() {}
