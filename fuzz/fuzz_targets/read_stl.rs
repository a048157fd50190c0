//! See `spile_fuzz_checks::read_stl`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| spile_fuzz_checks::read_stl(bytes));
