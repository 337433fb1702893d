//! See `bodies/archive.rs`.
#![no_main]

#[path = "../bodies/archive.rs"]
mod body;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| body::run(bytes));
