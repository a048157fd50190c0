//! `demo`: the built-in invented case, written out and run.

use std::fs;
use std::path::Path;

use spile_case::Unit;

use crate::answer::Answer;
use crate::args::{DemoArgs, TRIES};
use crate::commands::run::{Wish, beside, run_case};
use crate::demo;
use crate::failure::Failure;
use crate::inputs::{said, shown};
use crate::part_files::stl_bytes;

/// The demo's case file.
const CASE_NAME: &str = "phantom.toml";

/// Writes the demo's scan and case, and runs it.
pub(crate) fn demo(args: &DemoArgs) -> Result<Answer, Failure> {
    fs::create_dir_all(&args.out).map_err(|e| refused(&args.out, &e))?;
    let case = args.out.join(CASE_NAME);
    let scan = stl_bytes(&demo::phantom(), Unit::Millimetre)?;
    write_unless_edited(&args.out.join(demo::SCAN_NAME), &scan, &case)?;
    write_unless_edited(&case, demo::case_text().as_bytes(), &case)?;
    let mut answer =
        run_case(&case, &beside(&case), Wish { tries: TRIES, all_files: false, report: true })?;
    answer.text.push_str(&format!(
        "the scan is invented, no scan of a person; edit {0} and run it again: spile run {0}\n",
        shown(&case)
    ));
    Ok(answer)
}

/// Writes a file of the demo; one that was edited since is never overwritten.
fn write_unless_edited(path: &Path, bytes: &[u8], case: &Path) -> Result<(), Failure> {
    match fs::read(path) {
        Ok(there) if there == bytes => Ok(()),
        Ok(_) => Err(Failure::new(format!("{} is there already, with other content", shown(path)))
            .hint(format!("to run the edited case: spile run {}", shown(case)))
            .hint("to write the demo anew, choose another folder with `--out`")),
        Err(_) => fs::write(path, bytes).map_err(|e| refused(path, &e)),
    }
}

fn refused(path: &Path, error: &std::io::Error) -> Failure {
    Failure::new(format!("cannot write {}: {}", shown(path), said(error)))
        .hint("choose another folder with `--out`")
}
