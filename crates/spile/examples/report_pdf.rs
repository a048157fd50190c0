//! Writes the report of a part's proof as PDF/A-2a and, from the same document, as
//! PDF/A-1b, for a checker of that standard:
//!
//! `report_pdf CASE PART OUT_2A OUT_1B`

use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [case, part, tagged, plain] = words.as_slice() else {
        eprintln!("report_pdf CASE PART OUT_2A OUT_1B");
        return ExitCode::from(2);
    };
    let written = spile::report_as_pdf(Path::new(case), Path::new(part)).and_then(|files| {
        let outs = [tagged, plain].into_iter().zip(files);
        outs.into_iter()
            .try_for_each(|(out, file)| std::fs::write(out, file).map_err(|e| e.to_string()))
    });
    match written {
        Ok(()) => ExitCode::SUCCESS,
        Err(said) => {
            eprintln!("{said}");
            ExitCode::FAILURE
        }
    }
}
