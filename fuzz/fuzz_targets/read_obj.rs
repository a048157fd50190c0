//! See `spile_fuzz_checks::read_obj`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| spile_fuzz_checks::read_obj(bytes));
