//! See `spile_fuzz_checks::read_step`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| spile_fuzz_checks::read_step(bytes));
