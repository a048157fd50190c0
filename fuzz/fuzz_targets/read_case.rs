//! Any text as a case gives a case or mistakes; a case that is written reads back
//! the same.
#![no_main]

libfuzzer_sys::fuzz_target!(|text: &str| {
    if let Ok(case) = spile_case::read_case(text, "x.toml") {
        let written = spile_case::write_case(&case);
        let again = spile_case::read_case(&written, "x.toml");
        assert_eq!(again.as_ref(), Ok(&case), "{written}");
    }
});
