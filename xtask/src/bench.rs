//! `cargo xtask bench`: time and peak memory of each step on generated scans
//! that differ in size but not where they are joined.

use std::path::Path;
use std::process::Command;
use std::time::Instant;

use crate::{Fault, process, target};

/// Sizes of the scans, in triangles.
pub const FULL: [usize; 3] = [250_000, 1_000_000, 4_000_000];
/// Sizes for a first look.
pub const QUICK: [usize; 2] = [60_000, 250_000];

/// The steps whose cost must follow the patch, not the scan.
const OF_THE_PATCH: [&str; 5] = ["cut", "refine", "fair", "span", "close"];

/// Step, seconds and peak memory, as spile printed them; a step that comes
/// once an end is summed.
type Steps = Vec<(String, f64, u64)>;

/// Runs the demo's case on phantoms of these sizes, built for release.
pub fn bench(sizes: &[usize]) -> Result<(), Fault> {
    process::cargo(&[
        "build",
        "--release",
        "-p",
        "spile",
        "--bin",
        "spile",
        "--example",
        "phantom",
    ])?;
    let release = target().join("release");
    let folder = target().join("bench");
    let mut columns = Vec::new();
    for size in sizes {
        println!("{size} triangles");
        let here = folder.join(size.to_string());
        process::run(
            Command::new(release.join("examples/phantom")).arg(size.to_string()).arg(&here),
        )?;
        columns.push(measure(&release.join("spile"), &here)?);
    }
    table(sizes, &columns);
    Ok(())
}

fn measure(spile: &Path, here: &Path) -> Result<Steps, Fault> {
    let mut command = Command::new(spile);
    command.arg("run").arg(here.join("phantom.toml")).arg("--out").arg(here.join("out"));
    let started = Instant::now();
    let said = process::run_silently(command.env("SPILE_TIMES", "1"))?;
    let total = started.elapsed().as_secs_f64();
    if said.code != Some(0) {
        return Err(format!("the case is not held:\n    {}", said.lines.join("\n    ")));
    }
    let mut steps: Steps = Vec::new();
    for (name, seconds, peak) in said.lines.iter().filter_map(|line| read(line)) {
        match steps.iter_mut().find(|(n, ..)| *n == name) {
            Some(step) => *step = (name, step.1 + seconds, step.2.max(peak)),
            None => steps.push((name, seconds, peak)),
        }
    }
    let known: f64 = steps.iter().map(|s| s.1).sum();
    steps.insert(0, ("read and start".into(), total - known, 0));
    let patch = |s: &&(String, f64, u64)| OF_THE_PATCH.contains(&s.0.as_str());
    let of_patch: f64 = steps.iter().filter(patch).map(|s| s.1).sum();
    steps.push(("cut to close".into(), of_patch, 0));
    steps.push(("all".into(), total, steps.iter().map(|s| s.2).max().unwrap_or(0)));
    Ok(steps)
}

/// Reads `time: 0.123 s, peak 45 MiB: cut`.
fn read(line: &str) -> Option<(String, f64, u64)> {
    let (seconds, rest) = line.strip_prefix("time: ")?.split_once(" s, peak ")?;
    let (peak, name) = rest.split_once(" MiB: ")?;
    Some((name.to_owned(), seconds.parse().ok()?, peak.parse().ok()?))
}

fn table(sizes: &[usize], columns: &[Steps]) {
    print!("{:<16}", "step");
    sizes.iter().for_each(|size| print!(" {size:>12} {:>9}", "peak MiB"));
    println!(" {:>8}", "growth");
    let first = columns.first().map_or(&[][..], Vec::as_slice);
    for (name, ..) in first {
        print!("{name:<16}");
        let found: Vec<_> =
            columns.iter().filter_map(|c| c.iter().find(|(n, ..)| n == name)).collect();
        for (_, seconds, peak) in &found {
            print!(" {seconds:>10.3} s {peak:>9}");
        }
        match (found.first(), found.last()) {
            (Some(a), Some(b)) if a.1 > 0.0 => println!(" {:>7.2}x", b.1 / a.1),
            _ => println!(),
        }
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_line_of_times_is_read() {
        let line = "time: 0.123 s, peak 45 MiB: cut";
        assert_eq!(super::read(line), Some(("cut".to_owned(), 0.123, 45)));
        assert_eq!(super::read("written: out"), None);
    }
}
