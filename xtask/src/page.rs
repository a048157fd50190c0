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
///
/// A test that fails is run once more, alone: browsers and machines have moods. That it
/// failed at first is told in the summary all the same.
pub fn test(is_full: bool) -> Result<Count, Fault> {
    build()?;
    let spile = built_spile()?;
    let mut all = Count::default();
    for name in TESTS.into_iter().chain(is_full.then_some("job")) {
        let file = web().join(format!("tests/{name}.test.mjs"));
        let (mut count, failed) = tested(&spile, &file, None)?;
        for test in failed {
            println!("\n-- once more, alone: {test}");
            let (again, _) = tested(&spile, &file, Some(&test))?;
            if again.passed > 0 && again.failed == 0 {
                count.passed += 1;
                count.failed = count.failed.saturating_sub(1);
                count.doubts.push(format!("passed at the second try only: {name}, {test}"));
            }
        }
        all = all.plus(count);
    }
    Ok(all)
}

/// Runs the tests of a file, or the one of this name; gives the names of those that failed.
fn tested(spile: &Path, file: &Path, only: Option<&str>) -> Result<(Count, Vec<String>), Fault> {
    let mut command = browsing(spile)?;
    command
        .args(["--test", "--test-reporter=tap"])
        .args(only.map(|name| format!("--test-name-pattern=^{}$", as_pattern(name))))
        .arg(file)
        .env("SPILE_PICTURES", target().join("page-pictures"));
    let said = process::run_and_listen(&mut command)?;
    let told = |what: &str| {
        let lines = said.lines.iter().filter_map(|line| line.strip_prefix(what));
        lines.filter_map(|n| n.trim().parse::<usize>().ok()).next_back()
    };
    match (told("# pass "), told("# fail ")) {
        (Some(passed), Some(failed)) if said.success || failed > 0 => {
            let names = said.lines.iter().filter_map(|line| failed_test(line)).collect();
            Ok((Count::of(passed, failed), names))
        }
        _ => Err("the browser tests broke off".into()),
    }
}

/// The name in a line of a test that failed: `not ok 3 - its name`.
fn failed_test(line: &str) -> Option<String> {
    let (number, name) = line.trim_start().strip_prefix("not ok ")?.split_once(" - ")?;
    number.parse::<usize>().is_ok().then(|| name.to_owned())
}

/// A regular expression that only this name fits.
fn as_pattern(name: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || c == ' ' || !c.is_ascii();
    name.chars().map(|c| if plain(c) { c.to_string() } else { format!("\\{c}") }).collect()
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failed_test_is_named_and_found_again() {
        let name = failed_test("not ok 2 - undo and redo, two windows (at once)");
        assert_eq!(name.as_deref(), Some("undo and redo, two windows (at once)"));
        assert_eq!(failed_test("ok 2 - undo and redo"), None);
        assert_eq!(failed_test("# not ok that this - is a remark"), None);
        assert_eq!(as_pattern("a (b), c."), "a \\(b\\)\\, c\\.");
    }
}
