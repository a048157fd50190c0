//! `cargo xtask bench`: time and peak memory of each step on generated scans
//! that differ in size but not where they are joined.

use std::path::Path;
use std::process::Command;
use std::time::Instant;

use crate::{Fault, process, target};

mod joint;
mod kernel;
mod page;
mod report;

pub use joint::joint;
pub use kernel::kernel;
pub use page::page;
pub use report::report;

/// Sizes of the scans, in triangles.
pub const FULL: [usize; 3] = [250_000, 1_000_000, 4_000_000];
/// Sizes for a first look.
pub const QUICK: [usize; 2] = [60_000, 250_000];

/// The steps whose cost must follow the patch, not the scan.
const OF_THE_PATCH: [&str; 5] = ["cut", "refine", "fair", "span", "close"];
/// The name of their sum.
const PATCH: &str = "cut to close";
/// The steps that may grow as the scan does, and no faster.
const OF_THE_SCAN: [&str; 8] =
    ["read", "examine", "mend", "walls", "assemble", "write", "prove", "measure"];
/// By how much the patch's sum may grow from the smallest scan to the largest.
const PATCH_GROWTH: f64 = 4.0 / 3.0;
/// Each size is run so often; a step's time is the least of them.
const RUNS: usize = 2;

/// What a step took. One that comes several times is summed.
struct Step {
    name: String,
    seconds: f64,
    processor_s: f64,
    peak_mib: u64,
}

/// Runs the demo's case on phantoms of these sizes, built for release.
///
/// # Errors
/// A case is not held, or the patch's steps grow with the scan.
pub fn bench(sizes: &[usize]) -> Result<(), Fault> {
    let built = ["build", "--release", "-p", "spile", "--bin", "spile", "--example", "phantom"];
    process::cargo(&built)?;
    let release = target().join("release");
    let folder = target().join("bench");
    let mut columns = Vec::new();
    for size in sizes {
        println!("{size} triangles");
        let here = folder.join(size.to_string());
        process::run(
            Command::new(release.join("examples/phantom")).arg(size.to_string()).arg(&here),
        )?;
        let spile = release.join("spile");
        let mut best = measure(&spile, &here)?;
        for _ in 1..RUNS {
            best = least(best, measure(&spile, &here)?);
        }
        columns.push(summed(best));
    }
    table(sizes, &columns);
    judge(sizes, &columns)
}

/// `examine` of the scan, `run` of the case and `prove` of what came of it.
fn measure(spile: &Path, here: &Path) -> Result<Vec<Step>, Fault> {
    let out = here.join("out");
    let mut steps: Vec<Step> = Vec::new();
    let scan = here.join("phantom-invented.stl");
    let looked = timed(Command::new(spile).arg("examine").arg(scan))?;
    let (read, looked): (Vec<Step>, Vec<Step>) = looked.into_iter().partition(|s| s.name == "read");
    add(&mut steps, read);
    let mut run = Command::new(spile);
    let ran = timed(run.arg("run").arg(here.join("phantom.toml")).arg("--out").arg(&out))?;
    add(&mut steps, looked);
    add(&mut steps, ran.into_iter().filter(|s| s.name != "read"));
    let started = Instant::now();
    let mut prove = Command::new(spile);
    prove.arg("prove").arg(out.join("case.toml")).arg("--part").arg(out.join("part.stl"));
    let proved = timed(&mut prove)?;
    steps.push(Step {
        name: "`spile prove`".into(),
        seconds: started.elapsed().as_secs_f64(),
        processor_s: proved.iter().map(|s| s.processor_s).sum(),
        peak_mib: proved.iter().map(|s| s.peak_mib).max().unwrap_or(0),
    });
    Ok(steps)
}

/// Runs a command of spile that must succeed, and takes the times it prints.
fn timed(command: &mut Command) -> Result<Vec<Step>, Fault> {
    let said = process::run_silently(command.env("SPILE_TIMES", "1"))?;
    if said.code != Some(0) {
        return Err(format!("the case is not held:\n    {}", said.lines.join("\n    ")));
    }
    let mut steps = Vec::new();
    add(&mut steps, said.lines.iter().filter_map(|line| read(line)));
    Ok(steps)
}

/// Adds steps to those of the same name.
fn add(steps: &mut Vec<Step>, more: impl IntoIterator<Item = Step>) {
    for step in more {
        match steps.iter_mut().find(|s| s.name == step.name) {
            Some(known) => {
                known.seconds += step.seconds;
                known.processor_s += step.processor_s;
                known.peak_mib = known.peak_mib.max(step.peak_mib);
            }
            None => steps.push(step),
        }
    }
}

/// The least time of each step of two runs, and the larger peak.
fn least(mut one: Vec<Step>, other: Vec<Step>) -> Vec<Step> {
    for (a, b) in one.iter_mut().zip(other) {
        a.seconds = a.seconds.min(b.seconds);
        a.processor_s = a.processor_s.min(b.processor_s);
        a.peak_mib = a.peak_mib.max(b.peak_mib);
    }
    one
}

/// With the sum of the patch's steps.
fn summed(mut steps: Vec<Step>) -> Vec<Step> {
    let of_patch = || steps.iter().filter(|s| OF_THE_PATCH.contains(&s.name.as_str()));
    let sum = Step {
        name: PATCH.into(),
        seconds: of_patch().map(|s| s.seconds).sum(),
        processor_s: of_patch().map(|s| s.processor_s).sum(),
        peak_mib: of_patch().map(|s| s.peak_mib).max().unwrap_or(0),
    };
    steps.push(sum);
    steps
}

/// Reads `time: 0.123 s, processor 0.20 s, peak 45 MiB: cut`.
fn read(line: &str) -> Option<Step> {
    let (seconds, rest) = line.strip_prefix("time: ")?.split_once(" s, processor ")?;
    let (processor, rest) = rest.split_once(" s, peak ")?;
    let (peak, name) = rest.split_once(" MiB: ")?;
    Some(Step {
        name: name.to_owned(),
        seconds: seconds.parse().ok()?,
        processor_s: processor.parse().ok()?,
        peak_mib: peak.parse().ok()?,
    })
}

fn table(sizes: &[usize], columns: &[Vec<Step>]) {
    println!("\nelapsed s / processor s / peak MiB; growth of the two times");
    print!("{:<14}", "step");
    sizes.iter().for_each(|size| print!(" {size:>24}"));
    println!(" {:>17}", "growth");
    for first in columns.first().map_or(&[][..], Vec::as_slice) {
        print!("{:<14}", first.name);
        let found: Vec<&Step> = columns.iter().filter_map(|c| named(c, &first.name)).collect();
        for s in &found {
            print!(" {:>8.3} {:>8.2} {:>6}", s.seconds, s.processor_s, s.peak_mib);
        }
        match found.last() {
            Some(last) if first.seconds > 0.0 && first.processor_s > 0.0 => println!(
                " {:>7.2}x {:>7.2}x",
                last.seconds / first.seconds,
                last.processor_s / first.processor_s
            ),
            _ => println!(),
        }
    }
}

fn named<'a>(column: &'a [Step], name: &str) -> Option<&'a Step> {
    column.iter().find(|s| s.name == name)
}

/// What is promised of growth, and whether it is so. Processor time counts, so
/// that what else the machine does spoils nothing.
fn judge(sizes: &[usize], columns: &[Vec<Step>]) -> Result<(), Fault> {
    let (Some(small), Some(large)) = (columns.first(), columns.last()) else { return Ok(()) };
    let scans = match (sizes.first(), sizes.last()) {
        (Some(&a), Some(&b)) => b as f64 / a as f64,
        _ => 1.0,
    };
    // Below a hundredth of a second the system's count says nothing.
    let time = |column, name| Some(named(column, name)?.processor_s.max(0.01));
    let growth = |name| Some(time(large, name)? / time(small, name)?);
    println!("\nthe scan grows {scans:.1}-fold");
    for name in OF_THE_SCAN {
        let Some(growth) = growth(name) else { continue };
        let said = if growth <= scans { "no faster" } else { "FASTER" };
        println!("  {name}: {growth:.1}-fold, {said}");
    }
    let patch = growth(PATCH).unwrap_or(f64::INFINITY);
    println!("  {PATCH}: {patch:.2}-fold; at most {PATCH_GROWTH:.2}-fold is promised");
    if patch > PATCH_GROWTH {
        return Err("the steps that work on the patch grow with the scan".into());
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_line_of_times_is_read() {
        let step = super::read("time: 0.123 s, processor 0.20 s, peak 45 MiB: cut").unwrap();
        assert_eq!((step.name.as_str(), step.peak_mib), ("cut", 45));
        assert_eq!((step.seconds, step.processor_s), (0.123, 0.2));
        assert!(super::read("written: out").is_none());
    }
}
