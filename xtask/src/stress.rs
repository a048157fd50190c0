//! The stress suite: invented ends drawn from seeds (example `stress` of spile),
//! each run, and where it ends broken, each suggestion of its conflicts run too.
//! A second judge (`tests/outside/stress_judge.py`) then looks at every part.
//!
//! `cargo xtask bench --stress` keeps what it has finished and goes on from there;
//! `cargo xtask test stress` runs the first of the seeds, always the same, and holds
//! them to floors.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::summary::Count;
use crate::{Fault, built_example, built_spile, process, python, root, target};

/// Seeds that are drawn unless another number is given.
const ALL: u64 = 2000;

/// Seeds of the sample in the tests: what fits into some minutes of two processors.
const SAMPLE: u64 = 200;
/// Of its ends that are built round a known joint at least this share ends held.
const KNOWN_HELD: f64 = 0.95;
/// Of the others at least this share ends held, or broken with suggestions that hold.
const FREE_ANSWERED: f64 = 0.99;

/// Changed cases that a broken run may try, to say what would hold.
const TRIES: &str = "6";

/// How one seed ended.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Ended {
    Held,
    /// Broken, and each suggestion of its conflicts was run and held.
    Suggested,
    /// Broken, and no suggestion.
    Silent,
    /// Broken, and a suggestion does not hold.
    Untrue,
    /// No answer: an error, or a crash.
    Failed,
}

/// What came of one seed.
struct Seed {
    /// The line that tells how it was drawn.
    drawn: String,
    ended: Ended,
    /// Names of the broken rows, and the keys of suggestions that do not hold.
    broken: String,
    /// Where its parts lie, the suggested ones too.
    made: Vec<PathBuf>,
    time: Duration,
}

/// Two thousand seeds, or as many as `count` says.
pub fn bench(count: Option<&str>) -> Result<(), Fault> {
    let count = count.map_or(Ok(ALL), str::parse).map_err(|e| format!("how many seeds: {e}"))?;
    let seeds = all(&target().join("stress"), count)?;
    tell(&seeds);
    judge(&seeds)
}

/// The fixed sample, held to its floors.
///
/// # Errors
/// A part is wrongly called held, an end has no answer, or a floor is missed.
pub fn sample() -> Result<Count, Fault> {
    let seeds = all(&target().join("stress-sample"), SAMPLE)?;
    tell(&seeds);
    judge(&seeds)?;
    let is_known = |s: &&Seed| s.drawn.contains("half=known ");
    let (known, free): (Vec<&Seed>, Vec<&Seed>) = seeds.iter().partition(is_known);
    let share = |of: &[&Seed], good: &[Ended]| {
        of.iter().filter(|s| good.contains(&s.ended)).count() as f64 / of.len().max(1) as f64
    };
    let held = share(&known, &[Ended::Held]);
    let answered = share(&free, &[Ended::Held, Ended::Suggested]);
    if seeds.iter().any(|s| s.ended == Ended::Failed) {
        return Err("an end has no answer".into());
    }
    if held < KNOWN_HELD || answered < FREE_ANSWERED {
        return Err(format!(
            "held round a known joint: {held:.3}, at least {KNOWN_HELD}; held or told what holds \
             elsewhere: {answered:.3}, at least {FREE_ANSWERED}"
        ));
    }
    Ok(Count::of(seeds.len(), 0))
}

fn name(ended: Ended) -> &'static str {
    match ended {
        Ended::Held => "held",
        Ended::Suggested => "broken, what it suggests holds",
        Ended::Silent => "broken, nothing suggested",
        Ended::Untrue => "broken, a suggestion does not hold",
        Ended::Failed => "no answer",
    }
}

/// Draws and runs the seeds below `count`, one a processor at a time.
fn all(folder: &Path, count: u64) -> Result<Vec<Seed>, Fault> {
    let spile = built_spile()?;
    let draw = built_example("stress")?;
    process::run(Command::new(draw).arg(folder).arg("0").arg(count.to_string()))?;
    let count = usize::try_from(count).map_err(|e| format!("how many seeds: {e}"))?;
    process::side_by_side(count, |k| one(&spile, &folder.join(format!("seed-{k}"))))
}

/// Lets the second judge look at every part.
///
/// # Errors
/// It disagrees with a verdict of the program, or cannot judge.
fn judge(seeds: &[Seed]) -> Result<(), Fault> {
    let mut command = Command::new(python::environment()?);
    command
        .arg(root().join("tests/outside/stress_judge.py"))
        .args(seeds.iter().flat_map(|s| &s.made))
        .env("PYTHONDONTWRITEBYTECODE", "1")
        // It judges one part a processor already.
        .env("OMP_NUM_THREADS", "1");
    println!("the second judge, by dense samples:");
    let said = process::run_and_listen(&mut command)?;
    if said.success { Ok(()) } else { Err("the second judge does not agree".into()) }
}

fn tell(seeds: &[Seed]) {
    for s in seeds.iter().filter(|s| s.ended != Ended::Held) {
        println!("{}: {} ({}), {:.1} s", s.drawn, name(s.ended), s.broken, s.time.as_secs_f64());
    }
    for half in ["known", "free"] {
        let mut ends: BTreeMap<Ended, usize> = BTreeMap::new();
        for s in seeds.iter().filter(|s| s.drawn.contains(&format!("half={half} "))) {
            *ends.entry(s.ended).or_default() += 1;
        }
        let told: Vec<String> = ends.iter().map(|(e, n)| format!("{n} {}", name(*e))).collect();
        println!("half {half}: {}", told.join(", "));
    }
    let mut times: Vec<Duration> = seeds.iter().map(|s| s.time).collect();
    times.sort_unstable();
    if let (Some(middle), Some(last)) = (times.get(times.len() / 2), times.last()) {
        println!("median {:.1} s, longest {:.1} s", middle.as_secs_f64(), last.as_secs_f64());
    }
}

/// Runs one seed, and the case that its conflict suggests.
fn one(spile: &Path, folder: &Path) -> Result<Seed, Fault> {
    let drawn = read(&folder.join("drawn.txt"))?.trim().to_owned();
    let started = Instant::now();
    let made = folder.join("out");
    let proof = proof_of(spile, &folder.join("case.toml"), &made)?;
    let time = started.elapsed();
    let rows = proof["limits"].as_array().cloned().unwrap_or_default();
    let mut broken: Vec<String> = rows
        .iter()
        .filter(|row| row["verdict"] == "broken" || row["verdict"] == "not judged")
        .filter_map(|row| Some(row["name"].as_str()?.to_owned()))
        .collect();
    broken.dedup();
    let mut parts = vec![made];
    let ended = match proof["verdict"].as_str() {
        Some("held") => Ended::Held,
        Some("broken") => {
            let ways = suggested(&read(&folder.join("case.toml"))?, &proof)?;
            let mut ended = if ways.is_empty() { Ended::Silent } else { Ended::Suggested };
            for (k, (key, changed)) in ways.iter().enumerate() {
                let case = folder.join(format!("suggested-{k}.toml"));
                let is_written = std::fs::read_to_string(&case).is_ok_and(|old| old == *changed);
                if !is_written {
                    std::fs::write(&case, changed)
                        .map_err(|e| format!("{}: {e}", case.display()))?;
                }
                let out = folder.join(format!("suggested-{k}-out"));
                let again = proof_of(spile, &case, &out)?;
                parts.push(out);
                if again["verdict"] != "held" {
                    ended = Ended::Untrue;
                    broken.push(format!("not by {key}"));
                }
            }
            ended
        }
        _ => Ended::Failed,
    };
    parts.retain(|out| out.join("proof.json").exists());
    Ok(Seed { drawn, ended, broken: broken.join(" "), made: parts, time })
}

/// The proof of a case: the one that is there, if it is newer than command and case;
/// nothing where the command gave no answer.
fn proof_of(spile: &Path, case: &Path, out: &Path) -> Result<Value, Fault> {
    let file: PathBuf = out.join("proof.json");
    let age = |path: &Path| path.metadata().and_then(|m| m.modified()).ok();
    let is_there = age(&file)
        .zip(age(spile).zip(age(case)))
        .is_some_and(|(proof, (command, case))| proof > command && proof > case);
    if !is_there {
        let mut command = Command::new(spile);
        command.arg("run").arg(case).arg("--out").arg(out);
        command.args(["--tries", TRIES, "--without-report"]).env("RAYON_NUM_THREADS", "1");
        let said = process::run_silently(&mut command)?;
        if !matches!(said.code, Some(0 | 1)) {
            println!("{}: exit {:?}\n    {}", case.display(), said.code, said.lines.join("\n    "));
            return Ok(Value::Null);
        }
    }
    serde_json::from_str(&read(&file)?).map_err(|e| format!("{}: {e}", file.display()))
}

/// The keys that the conflicts suggest, each with the case as it would be: every
/// one is a way of its own.
fn suggested(case: &str, proof: &Value) -> Result<Vec<(String, String)>, Fault> {
    let conflicts = proof["conflicts"].as_array().into_iter().flatten();
    let wanted = conflicts.filter_map(|c| c["would_hold"].as_array()).flatten();
    wanted.map(|way| with_value(case, way)).collect()
}

/// The key of one way that would hold, and the case with its value.
fn with_value(case: &str, way: &Value) -> Result<(String, String), Fault> {
    let mut table: toml::Table = case.parse().map_err(|e| format!("an invented case: {e}"))?;
    let key = way["key"].as_str().unwrap_or_default();
    let value = toml::Value::try_from(&way["value"]).map_err(|e| format!("{key}: {e}"))?;
    let (head, path) = key.split_once('.').unwrap_or(("limits", key));
    let mut at = match head {
        "end" => table.get_mut("end").and_then(|ends| ends.get_mut(0)),
        _ => table.get_mut(head),
    };
    let mut steps: Vec<&str> = path.split('.').collect();
    let last = steps.pop().unwrap_or_default();
    for step in steps {
        at = at.and_then(|v| v.get_mut(step));
    }
    let inner = at.and_then(toml::Value::as_table_mut).ok_or(format!("no place for {key}"))?;
    inner.insert(last.to_owned(), value);
    Ok((key.to_owned(), table.to_string()))
}

fn read(path: &Path) -> Result<String, Fault> {
    std::fs::read_to_string(path).map_err(|e| format!("{}: {e}", path.display()))
}
