//! See `bodies/readings.rs`.
#![no_main]

#[path = "../bodies/readings.rs"]
mod body;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| body::run(bytes));
