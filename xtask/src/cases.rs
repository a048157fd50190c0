//! The cases on open scans, `tests/real/*.toml`: run, judged again, and
//! compared between numbers of threads. What the guide tells of them is held to
//! their proofs.
//!
//! A case must end `held`, unless its first line says otherwise:
//! `# must end broken: kink` names the limit that cannot be held.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use std::time::Instant;

use serde_json::Value;

use crate::summary::Count;
use crate::test::Wish;
use crate::{Fault, built_spile, process, real_table, root, target};

/// These run on one and on two threads in every full run of the tests; with
/// `--full` all do.
const THREADED: [&str; 2] = ["trachea-cut", "airway-cut"];

/// What running the cases made.
pub struct Made {
    /// The spile command that made it.
    pub spile: PathBuf,
    /// One folder a case in here, named as the case.
    pub folder: PathBuf,
    cases: Vec<Case>,
}

struct Case {
    name: String,
    file: PathBuf,
    expected: Expected,
    exit: Option<i32>,
    seconds: f64,
    lines: Vec<String>,
}

enum Expected {
    Held,
    Broken(String),
}

static MADE: OnceLock<Result<Made, Fault>> = OnceLock::new();

/// Runs every case once in the life of this program.
pub fn made(_: Wish) -> Result<&'static Made, Fault> {
    MADE.get_or_init(make).as_ref().map_err(Clone::clone)
}

fn make() -> Result<Made, Fault> {
    let spile = built_spile()?;
    let folder = target().join("real");
    let mut files: Vec<PathBuf> = std::fs::read_dir(root().join("tests/real"))
        .map_err(|e| format!("tests/real: {e}"))?
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    if files.is_empty() {
        return Err("tests/real holds no case".into());
    }
    let cases =
        process::side_by_side(files.len(), |k| run_case(&spile, &folder, files[k].clone()))?;
    Ok(Made { spile, folder, cases })
}

fn run_case(spile: &Path, folder: &Path, file: PathBuf) -> Result<Case, Fault> {
    let name = file.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let expected = expectation(&file)?;
    let out = folder.join(&name);
    if out.exists() {
        std::fs::remove_dir_all(&out).map_err(|e| format!("{}: {e}", out.display()))?;
    }
    std::fs::create_dir_all(folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    let started = Instant::now();
    let mut command = Command::new(spile);
    command.arg("run").arg(&file).arg("--all-files").arg("--out").arg(&out);
    let said = process::run_silently(command.env("RAYON_NUM_THREADS", "1"))?;
    let seconds = started.elapsed().as_secs_f64();
    println!("{name:<28} exit {:<4} {seconds:>7.1} s", said.code.unwrap_or(-1));
    Ok(Case { name, file, expected, exit: said.code, seconds, lines: said.lines })
}

fn expectation(file: &Path) -> Result<Expected, Fault> {
    let text = std::fs::read_to_string(file).map_err(|e| format!("{}: {e}", file.display()))?;
    let first = text.lines().next().unwrap_or_default();
    Ok(match first.strip_prefix("# must end broken: ") {
        Some(limit) => Expected::Broken(limit.trim().to_owned()),
        None => Expected::Held,
    })
}

/// The group `real`: each case ends as it must, its proof says so, a second
/// judging from the files alone agrees, and threads do not matter.
pub fn real(wish: Wish) -> Result<Count, Fault> {
    let made = made(wish)?;
    let checked = process::side_by_side(made.cases.len(), |k| {
        let case = &made.cases[k];
        let threaded = wish.full || THREADED.contains(&case.name.as_str());
        let mut checks = vec![("ends as it must", ends_as_it_must(made, case))];
        if checks[0].1.is_ok() {
            checks.push(("is judged the same from its files", is_judged_the_same(made, case)));
            if threaded {
                checks.push(("is the same on 1 and 2 threads", ignores_threads(made, case)));
            }
        }
        Ok(checks)
    })?;
    let mut count = Count::default();
    for (case, checks) in made.cases.iter().zip(checked) {
        for (claim, outcome) in checks {
            match outcome {
                Ok(()) => count.passed += 1,
                Err(fault) => {
                    count.failed += 1;
                    println!("FAILED {}: {claim}: {fault}", case.name);
                }
            }
        }
    }
    match guide_is_true(made) {
        Ok(()) => count.passed += 1,
        Err(fault) => {
            count.failed += 1;
            println!("FAILED the guide's table of real scans is true: {fault}");
        }
    }
    let total: f64 = made.cases.iter().map(|c| c.seconds).sum();
    println!("{} cases, {total:.1} s in all", made.cases.len());
    Ok(count)
}

fn guide_is_true(made: &Made) -> Result<(), Fault> {
    let hard = made.cases.iter().filter(|case| case.name.ends_with("-hard"));
    let proofs: Result<Vec<(String, Value)>, Fault> =
        hard.map(|case| Ok((case.name.clone(), proof_of(made, case)?))).collect();
    real_table::is_true(&proofs?)
}

fn ends_as_it_must(made: &Made, case: &Case) -> Result<(), Fault> {
    let wanted = match case.expected {
        Expected::Held => 0,
        Expected::Broken(_) => 1,
    };
    if case.exit != Some(wanted) {
        let said = case.lines.join("\n    ");
        return Err(format!("exit code {:?} instead of {wanted}; it said\n    {said}", case.exit));
    }
    let proof = proof_of(made, case)?;
    let limits = proof["limits"].as_array().cloned().unwrap_or_default();
    let verdict = |limit: &Value| limit["verdict"].as_str().unwrap_or_default().to_owned();
    match &case.expected {
        Expected::Held => {
            let bad = limits.iter().find(|l| !["held", "not asked"].contains(&verdict(l).as_str()));
            match bad {
                Some(limit) => Err(format!("limit is not held: {limit}")),
                None if proof["verdict"] != "held" || limits.is_empty() => {
                    Err(format!("verdict {} with {} limits", proof["verdict"], limits.len()))
                }
                None => Ok(()),
            }
        }
        Expected::Broken(name) => {
            let named = limits.iter().any(|l| l["name"] == **name && verdict(l) == "broken");
            let conflicts = proof["conflicts"].as_array().map_or(0, Vec::len);
            if !named {
                Err(format!("limit {name} is not among the broken ones"))
            } else if conflicts == 0 {
                Err("no conflict is named".into())
            } else {
                Ok(())
            }
        }
    }
}

fn is_judged_the_same(made: &Made, case: &Case) -> Result<(), Fault> {
    let folder = made.folder.join(&case.name);
    let part = ["part.stl", "part-broken.stl"].map(|p| folder.join(p));
    let Some(part) = part.iter().find(|p| p.is_file()) else {
        // A part that did not close is not written: nothing to judge again.
        return match case.expected {
            Expected::Broken(_) => Ok(()),
            Expected::Held => Err("there is no part".into()),
        };
    };
    let mut command = Command::new(&made.spile);
    command.arg("prove").arg(folder.join("case.toml")).arg("--part").arg(part);
    command.arg("--asked").arg(&case.file).env("RAYON_NUM_THREADS", "1");
    let said = process::run_silently(&mut command)?;
    if said.code == case.exit {
        Ok(())
    } else {
        let told = said.lines.join("\n    ");
        Err(format!("exit code {:?}, the run had {:?}\n    {told}", said.code, case.exit))
    }
}

/// The run that is there had one thread.
fn ignores_threads(made: &Made, case: &Case) -> Result<(), Fault> {
    let out = made.folder.join(format!("{}-on-two-threads", case.name));
    let mut command = Command::new(&made.spile);
    command.arg("run").arg(&case.file).arg("--all-files").arg("--out").arg(&out);
    process::run_silently(command.env("RAYON_NUM_THREADS", "2"))?;
    let on_one = contents(&made.folder.join(&case.name))?;
    let on_two = contents(&out)?;
    std::fs::remove_dir_all(&out).map_err(|e| format!("{}: {e}", out.display()))?;
    match on_one.iter().zip(&on_two).find(|(a, b)| a != b) {
        Some(((name, _), _)) => Err(format!("{name} differs")),
        None if on_one.len() != on_two.len() => Err("the files are not the same ones".into()),
        None => Ok(()),
    }
}

/// Names and bytes of a folder's own files, in order of name.
fn contents(folder: &Path) -> Result<Vec<(String, Vec<u8>)>, Fault> {
    let entries = std::fs::read_dir(folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    let mut files = Vec::new();
    for path in entries.filter_map(|entry| Some(entry.ok()?.path())).filter(|p| p.is_file()) {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        files.push((name, std::fs::read(&path).map_err(|e| format!("{}: {e}", path.display()))?));
    }
    files.sort();
    Ok(files)
}

fn proof_of(made: &Made, case: &Case) -> Result<Value, Fault> {
    let file = made.folder.join(&case.name).join("proof.json");
    let text = std::fs::read_to_string(&file).map_err(|e| format!("{}: {e}", file.display()))?;
    serde_json::from_str(&text).map_err(|e| format!("{}: {e}", file.display()))
}
