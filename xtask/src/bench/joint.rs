//! `cargo xtask bench --joint`: what one joint costs on one core, step by step.
//!
//! Seconds depend on the machine and on what else it does, so beside them stands
//! the share of a reference measured in the same minutes: factoring a dense
//! matrix of 900 unknowns by plain loops.

use std::process::Command;
use std::time::Instant;

use super::{OF_THE_PATCH, PATCH, RUNS, Step, add, least, named, summed, timed};
use crate::{Fault, process, root, target};

/// The joint of a rim of 300 points is to take less than this, in seconds.
const PROMISED_S: f64 = 1.0;

/// Unknowns of the reference's matrix.
const UNKNOWNS: usize = 900;

/// Makes the joints of an invented rim of 300 points, with edges as spile
/// chooses them and with about 300 round the joint, and of the hardest case on an
/// open scan, all limits on, one thread; prints the steps.
///
/// # Errors
/// A case is not held.
pub fn joint() -> Result<(), Fault> {
    let built = ["build", "--release", "-p", "spile", "--bin", "spile", "--example", "rim"];
    process::cargo(&built)?;
    let release = target().join("release");
    let folder = target().join("bench").join("rim");
    process::run(Command::new(release.join("examples/rim")).arg(&folder))?;
    let hard = root().join("tests/real/trachea-tilt-30-off-5.toml");
    let cases = [
        ("300-point rim", folder.join("rim.toml")),
        ("  300 columns", folder.join("rim-fine.toml")),
        ("30 deg, 5 off", hard),
    ];
    let mut columns: Vec<Vec<Step>> = Vec::new();
    let mut reference_s = f64::INFINITY;
    for (_, case) in &cases {
        let mut best: Option<Vec<Step>> = None;
        for _ in 0..RUNS {
            reference_s = reference_s.min(reference());
            let mut run = Command::new(release.join("spile"));
            run.arg("run").arg(case).arg("--out").arg(folder.join("out"));
            let mut steps = Vec::new();
            add(&mut steps, timed(run.env("RAYON_NUM_THREADS", "1"))?);
            best = Some(match best {
                Some(known) => least(known, steps),
                None => steps,
            });
        }
        columns.extend(best.map(summed));
    }
    println!("\nprocessor s on one core / share of the reference ({reference_s:.3} s)");
    print!("{:<14}", "step");
    cases.iter().for_each(|(name, _)| print!(" {name:>18}"));
    println!();
    for step in OF_THE_PATCH.into_iter().chain([PATCH, "prove"]) {
        print!("{step:<14}");
        for column in &columns {
            let seconds = named(column, step).map_or(0.0, |s| s.processor_s);
            print!(" {seconds:>8.2} {:>9.2}", seconds / reference_s);
        }
        println!();
    }
    let Some(took) = columns.first().and_then(|c| named(c, PATCH)) else { return Ok(()) };
    let said = if took.processor_s < PROMISED_S { "held" } else { "NOT held on this machine" };
    println!("\nthe joint of a 300-point rim in under {PROMISED_S} s of one core: {said}");
    Ok(())
}

/// Processor seconds of factoring a dense matrix by Cholesky's method.
fn reference() -> f64 {
    let n = UNKNOWNS;
    let mut rows: Vec<Vec<f64>> =
        (0..n).map(|i| (0..=i).map(|j| 1.0 / (1 + i - j) as f64).collect()).collect();
    (0..n).for_each(|i| rows[i][i] += n as f64);
    let start = processor_s();
    for i in 0..n {
        let (before, rest) = rows.split_at_mut(i);
        let row = &mut rest[0];
        for j in 0..i {
            let known: f64 = row[..j].iter().zip(&before[j][..j]).map(|(a, b)| a * b).sum();
            row[j] = (row[j] - known) / before[j][j];
        }
        let square: f64 = row[..i].iter().map(|a| a * a).sum();
        row[i] = (row[i] - square).sqrt();
    }
    let took = processor_s() - start;
    std::hint::black_box(&rows);
    took.max(1e-6)
}

/// Processor time of this thread so far, in seconds, where the system tells;
/// else the time of day.
fn processor_s() -> f64 {
    let said = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    let nanoseconds = said.split_whitespace().next().and_then(|n| n.parse::<f64>().ok());
    nanoseconds.map_or_else(|| EPOCH.elapsed().as_secs_f64(), |n| n * 1e-9)
}

/// When this was first asked.
static EPOCH: std::sync::LazyLock<Instant> = std::sync::LazyLock::new(Instant::now);
