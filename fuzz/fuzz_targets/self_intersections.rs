//! See `spile_fuzz_checks::self_intersections`.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| spile_fuzz_checks::self_intersections(bytes));
