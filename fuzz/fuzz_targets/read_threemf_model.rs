//! See `spile_fuzz_checks::read_threemf_model`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| spile_fuzz_checks::read_threemf_model(bytes));
