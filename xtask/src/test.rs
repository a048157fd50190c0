//! `cargo xtask test`: the groups of tests, one after the other.

use std::process::Command;
use std::time::Instant;

use crate::summary::{self, Count, Row};
use crate::{
    Fault, built_example, cases, gltf, guide, licences, page, preflight, process, python, root,
    stress, tidy, tool,
};

/// What a run of the tests was asked for.
#[derive(Clone, Copy)]
pub struct Wish {
    /// Heavy references run on everything, not on the fixed subset.
    pub full: bool,
}

type Group = (&'static str, fn(Wish) -> Result<Count, Fault>);

/// Cheap ones first, so that a slip shows soon.
const GROUPS: [Group; 9] = [
    ("tidy", |_| tidy::tidy()),
    ("licences", |_| licences::licences()),
    ("unit", |_| unit()),
    ("doc", |_| doc()),
    ("guide", |_| guide::build()),
    ("page", |wish| page::test(wish.full)),
    ("real", cases::real),
    ("outside", outside),
    ("stress", |_| stress::sample()),
];

/// Runs all groups, or those that are named.
pub fn test(words: &[&str]) -> Result<(), Fault> {
    let full = words.contains(&"--full");
    let named: Vec<&str> = words.iter().copied().filter(|w| *w != "--full").collect();
    let names = GROUPS.map(|(name, _)| name);
    if let Some(unknown) = named.iter().find(|n| !names.contains(n)) {
        return Err(format!("no test group {unknown}; there are: {}", names.join(", ")));
    }
    if named.is_empty() {
        // Before anything is compiled, for the page is built into the binary.
        page::build_if_possible()?;
    }
    let mut rows = Vec::new();
    for (group, run) in GROUPS {
        if !named.is_empty() && !named.contains(&group) {
            continue;
        }
        println!("\n== {group}");
        let started = Instant::now();
        let (count, fault) = match run(Wish { full }) {
            Ok(count) => (count, None),
            Err(fault) => (Count::of(0, 1), Some(fault)),
        };
        rows.push(Row { group, count, time: started.elapsed(), fault });
    }
    let total = summary::print(&rows);
    if total.failed == 0 { Ok(()) } else { Err("some tests failed".into()) }
}

/// The crates' own tests, by nextest where it is installed.
fn unit() -> Result<Count, Fault> {
    let mut command = Command::new(process::cargo_path());
    if tool::on_path(&["cargo-nextest"]).is_some() {
        command.args(["nextest", "run", "--workspace", "--no-fail-fast"]);
        command.args(["--status-level", "slow", "--final-status-level", "fail"]);
        command.args(["--hide-progress-bar"]);
    } else {
        command.args(["test", "--workspace", "--lib", "--bins", "--tests", "--no-fail-fast"]);
    }
    counted(&mut command)
}

fn doc() -> Result<Count, Fault> {
    counted(Command::new(process::cargo_path()).args(["test", "--workspace", "--doc"]))
}

/// The checks against reference libraries, in Python.
fn outside(wish: Wish) -> Result<Count, Fault> {
    let python = python::environment()?;
    // One check asks the page's server.
    page::build_if_possible()?;
    let made = cases::made(wish)?;
    let mut command = Command::new(python);
    command
        .args(["-m", "pytest", "-q", "-p", "no:cacheprovider", "--color=no", "--durations=5"])
        // One worker a processor; a file's checks stay together, for they share what they made.
        .args(["--numprocesses=auto", "--dist=loadfile"])
        .arg(root().join("tests/outside"))
        .env("PYTHONDONTWRITEBYTECODE", "1")
        .env("RAYON_NUM_THREADS", "1")
        .env("OMP_NUM_THREADS", "1")
        .env("SPILE_BIN", &made.spile)
        .env("SPILE_PAIRS", built_example("pairs")?)
        .env("SPILE_REMESHED", built_example("remeshed")?)
        .env("SPILE_STRESS", built_example("stress")?)
        .env("SPILE_REPORT_PDF", built_example("report_pdf")?)
        .env("SPILE_PREFLIGHT", preflight::class_path()?)
        .env("SPILE_MADE", &made.folder);
    if let Some(validator) = gltf::validator()? {
        command.env("GLTF_VALIDATOR", validator);
    }
    if wish.full {
        command.arg("--full");
    }
    counted(&mut command)
}

/// Runs a test runner and reads its closing lines.
fn counted(command: &mut Command) -> Result<Count, Fault> {
    let said = process::run_and_listen(command)?;
    let count = summary::counted(&said.lines);
    match (said.success, count.failed) {
        (false, 0) => Err("the tests did not build, or their runner broke off".into()),
        (true, 1..) => Err("a runner that says it failed ended with exit code 0".into()),
        _ => Ok(count),
    }
}
