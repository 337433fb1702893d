//! Quantities with their unit in the type, and the trade's way of writing them.
