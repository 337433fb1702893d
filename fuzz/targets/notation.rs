//! See `bodies/notation.rs`.
#![no_main]

#[path = "../bodies/notation.rs"]
mod body;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| body::run(bytes));
