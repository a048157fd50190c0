//! `cargo xtask bench --report`: what the report and the measures that it shows take
//! beyond the run itself.

use std::process::Command;

use super::{add, named, timed};
use crate::{Fault, built_example, built_spile, process, target};

/// Triangles of the scan.
const SIZE: usize = 1_000_000;
/// The steps that `--without-report` leaves out.
const OF_THE_REPORT: [&str; 2] = ["measure", "report"];

/// Runs the demo's case on a large phantom, built as the tests are: optimised, with debug
/// assertions.
pub fn report() -> Result<(), Fault> {
    let phantom = built_example("phantom")?;
    let spile = built_spile()?;
    let here = target().join("bench").join(SIZE.to_string());
    process::run(Command::new(phantom).arg(SIZE.to_string()).arg(&here))?;
    let mut run = Command::new(spile);
    run.arg("run").arg(here.join("phantom.toml")).arg("--out").arg(here.join("out"));
    let mut steps = Vec::new();
    add(&mut steps, timed(&mut run)?);
    let whole: f64 = steps.iter().map(|s| s.seconds).sum();
    let mut beyond = 0.0;
    for step in OF_THE_REPORT.iter().filter_map(|name| named(&steps, name)) {
        beyond += step.seconds;
        println!(
            "{}: {:.2} s, processor {:.2} s, peak {} MiB",
            step.name, step.seconds, step.processor_s, step.peak_mib
        );
    }
    println!("{SIZE} triangles: {beyond:.2} s for the report beyond {:.2} s", whole - beyond);
    for name in ["report.html", "report.pdf"] {
        let bytes = std::fs::metadata(here.join("out").join(name)).map_err(|e| e.to_string())?;
        println!("{name}: {:.2} MB", bytes.len() as f64 * 1e-6);
    }
    Ok(())
}
