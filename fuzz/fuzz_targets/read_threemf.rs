//! See `spile_fuzz_checks::read_threemf`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| spile_fuzz_checks::read_threemf(bytes));
