//! See `bodies/sheet.rs`.
#![no_main]

#[path = "../bodies/sheet.rs"]
mod body;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| body::run(bytes));
