//! See `bodies/recording.rs`.
#![no_main]

#[path = "../bodies/recording.rs"]
mod body;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| body::run(bytes));
