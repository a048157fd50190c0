//! The page: built by Vite from `crates/spile-page/web`, and tested in a browser.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::SystemTime;

use crate::summary::Count;
use crate::{Fault, built_spile, process, root, target, tool};

/// What Vite needs.
const LEAST_NODE: u32 = 20;

/// What the page, and the script that turns the part in a report, are built from.
const SOURCES: [&str; 8] = [
    "src",
    "index.html",
    "package.json",
    "package-lock.json",
    "tsconfig.json",
    "licences.ts",
    "vite.config.ts",
    "vite.report.config.ts",
];
/// The scripts that come of it.
const BUILT: [&str; 2] = ["page.js", "report.js"];

/// The tests in a browser that make small parts at most.
const TESTS: [&str; 5] = ["browser", "steer", "look", "access", "report"];

/// Where the page's sources are.
fn web() -> PathBuf {
    root().join("crates/spile-page/web")
}

/// Builds the page unless that is done already; `spile` then holds it once built anew.
///
/// # Errors
/// There is no fit Node, or the page does not build.
pub fn build() -> Result<(), Fault> {
    let npm = npm()?;
    let web = web();
    let [lock, installed] =
        ["package-lock.json", "node_modules/.package-lock.json"].map(|name| web.join(name));
    if changed(&installed).is_none_or(|then| changed(&lock).is_none_or(|lock| lock > then)) {
        process::run(in_web(&npm).args(["ci", "--no-audit", "--no-fund"]).env("CI", "1"))
            .map_err(|e| format!("{e}; the page's packages need network access once"))?;
    }
    let newest = SOURCES.iter().filter_map(|name| newest(&web.join(name))).max();
    let is_fresh = |name: &&str| {
        changed(&web.join("dist").join(name)).is_some_and(|b| newest.is_none_or(|n| n < b))
    };
    if BUILT.iter().all(is_fresh) {
        return Ok(());
    }
    process::run(in_web(&npm).args(["run", "--silent", "build"]))
}

/// Builds the page where there is Node for it, and says so where there is none.
pub fn build_if_possible() -> Result<(), Fault> {
    if let Err(why) = npm() {
        println!("the page is not built: {why}");
        return Ok(());
    }
    build()
}

/// The page in a browser, by its own buttons; with `is_full` whole jobs on the demo and on a
/// real scan, too.
pub fn test(is_full: bool) -> Result<Count, Fault> {
    build()?;
    let mut command = browsing(&built_spile()?)?;
    command
        .args(["--test", "--test-concurrency=1", "--test-reporter=tap"])
        .args(TESTS.map(|name| web().join(format!("tests/{name}.test.mjs"))))
        .args(is_full.then(|| web().join("tests/job.test.mjs")))
        .env("SPILE_PICTURES", target().join("page-pictures"));
    let said = process::run_and_listen(&mut command)?;
    let told = |what: &str| {
        let lines = said.lines.iter().filter_map(|line| line.strip_prefix(what));
        lines.filter_map(|n| n.trim().parse::<usize>().ok()).next_back()
    };
    let (Some(passed), Some(failed)) = (told("# pass "), told("# fail ")) else {
        return Err("the browser tests broke off".into());
    };
    if said.success || failed > 0 {
        Ok(Count { passed, failed })
    } else {
        Err("the browser tests broke off".into())
    }
}

/// A script of the page's tests, to be run by Node with a browser and this spile at hand.
///
/// # Errors
/// There is no fit Node, or no browser.
pub fn in_browser(script: &str, spile: &Path) -> Result<Command, Fault> {
    let mut command = browsing(spile)?;
    command.arg(web().join("tests").join(script));
    Ok(command)
}

/// Node with a browser and this spile at hand.
fn browsing(spile: &Path) -> Result<Command, Fault> {
    let mut command = Command::new(node()?);
    command.env("SPILE_BIN", spile).env("SPILE_CHROMIUM", tool::chromium()?);
    Ok(command)
}

fn in_web(program: &Path) -> Command {
    let mut command = Command::new(program);
    command.arg("--prefix").arg(web());
    command
}

fn node() -> Result<PathBuf, Fault> {
    let why = "the page needs Node 20 or later with npm";
    let found = match tool::named_by("SPILE_NODE")? {
        Some(named) => named,
        None => tool::on_path(&["node"]).ok_or_else(|| format!("{why}; there is none here"))?,
    };
    let version = tool::said(&found.to_string_lossy(), &["--version"]).unwrap_or_default();
    let major = version.trim_start_matches('v').split('.').next().and_then(|n| n.parse().ok());
    if major.is_some_and(|n: u32| n >= LEAST_NODE) {
        Ok(found)
    } else {
        Err(format!("{why}; {} is {version}", found.display()))
    }
}

/// The npm beside Node, or on the path.
///
/// # Errors
/// There is no fit Node, or no npm.
pub fn npm() -> Result<PathBuf, Fault> {
    let node = node()?;
    let name = if cfg!(windows) { "npm.cmd" } else { "npm" };
    let beside = node.with_file_name(name);
    if beside.is_file() {
        return Ok(beside);
    }
    tool::on_path(&[name]).ok_or_else(|| format!("there is no npm beside {}", node.display()))
}

fn changed(file: &Path) -> Option<SystemTime> {
    file.metadata().ok()?.modified().ok()
}

/// When the newest file at or below a path was changed.
fn newest(path: &Path) -> Option<SystemTime> {
    if !path.is_dir() {
        return changed(path);
    }
    let entries = std::fs::read_dir(path).ok()?.flatten();
    entries.filter_map(|entry| newest(&entry.path())).max()
}
