//! `cargo xtask bench --report`: what the report and the measures that it shows take
//! beyond the run itself.

use std::process::Command;

use super::{RUNS, Step, add, least, named, timed};
use crate::{Fault, page, process, target};

/// Triangles of the scan.
const SIZE: usize = 1_000_000;
/// The steps that `--without-report` leaves out.
const OF_THE_REPORT: [&str; 2] = ["measure", "report"];

/// Runs the demo's case on a large phantom without report, and with it, built for release; with
/// the page's script, where that can be built, so that the part can be turned. What the whole run
/// takes more is told beside the steps, for the part's picture in its 3MF file is drawn with a
/// report alone.
///
/// # Errors
/// The case is not held.
pub fn report() -> Result<(), Fault> {
    page::build_if_possible()?;
    let built = ["build", "--release", "-p", "spile", "--bin", "spile", "--example", "phantom"];
    process::cargo(&built)?;
    let release = target().join("release");
    let here = target().join("bench").join(SIZE.to_string());
    process::run(Command::new(release.join("examples/phantom")).arg(SIZE.to_string()).arg(&here))?;
    let once = |more: &[&str]| -> Result<Vec<Step>, Fault> {
        let mut command = Command::new(release.join("spile"));
        command.arg("run").arg(here.join("phantom.toml")).arg("--out").arg(here.join("out"));
        let mut steps = Vec::new();
        add(&mut steps, timed(command.args(more))?);
        Ok(steps)
    };
    let run = |more: &[&str]| -> Result<Vec<Step>, Fault> {
        (1..RUNS).try_fold(once(more)?, |best, _| Ok(least(best, once(more)?)))
    };
    let (without, with) = (run(&["--without-report"])?, run(&[])?);
    let whole = |steps: &[Step]| -> (f64, f64) {
        (steps.iter().map(|s| s.seconds).sum(), steps.iter().map(|s| s.processor_s).sum())
    };
    let (without, all) = (whole(&without), whole(&with));
    for step in OF_THE_REPORT.iter().filter_map(|name| named(&with, name)) {
        println!(
            "{}: {:.2} s, processor {:.2} s, peak {} MiB",
            step.name, step.seconds, step.processor_s, step.peak_mib
        );
    }
    println!(
        "{SIZE} triangles: {:.2} s without report, processor {:.2} s; {:.2} s more with it, processor {:.2} s",
        without.0,
        without.1,
        all.0 - without.0,
        all.1 - without.1
    );
    for name in ["report.html", "report.pdf"] {
        let bytes = std::fs::metadata(here.join("out").join(name)).map_err(|e| e.to_string())?;
        println!("{name}: {:.2} MB", bytes.len() as f64 * 1e-6);
    }
    Ok(())
}
