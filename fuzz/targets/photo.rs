//! See `bodies/photo.rs`.
#![no_main]

#[path = "../bodies/photo.rs"]
mod body;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| body::run(bytes));
