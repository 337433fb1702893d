//! See `bodies/circuit.rs`.
#![no_main]

#[path = "../bodies/circuit.rs"]
mod body;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| body::run(bytes));
