//! The house rules that a program can check.

use std::path::{Path, PathBuf};

use crate::summary::Count;
use crate::{Fault, root};

/// The crates in import order: each may use those before it, and the prover
/// never what makes the joint, not even in its tests.
const ORDER: [(&str, &[&str]); 10] = [
    ("spile-mesh", &[]),
    ("spile-formats", &["spile-mesh"]),
    ("spile-case", &["spile-mesh", "spile-formats"]),
    ("spile-joint", &["spile-mesh", "spile-formats", "spile-case"]),
    ("spile-proof", &["spile-mesh", "spile-formats", "spile-case"]),
    ("spile-report", &["spile-mesh", "spile-formats", "spile-case", "spile-proof"]),
    ("spile-typeset", &["spile-proof", "spile-report"]),
    ("spile-page", &["spile-mesh", "spile-formats", "spile-case", "spile-joint", "spile-proof"]),
    (
        "spile",
        &[
            "spile-mesh",
            "spile-formats",
            "spile-case",
            "spile-joint",
            "spile-proof",
            "spile-report",
            "spile-typeset",
            "spile-page",
        ],
    ),
    ("xtask", &[]),
];

/// No source file is longer; a test file may be.
const MOST_LINES: usize = 500;

/// Words that say where something was written instead of what it is. Each is
/// spelt in two halves so that this file does not hold it.
const FORBIDDEN: [(&str, &str); 9] = [
    ("/wo", "rk/"),
    ("/tm", "p/"),
    (".lib", "rary"),
    ("sha", "red/"),
    ("crates", ".io"),
    ("TO", "DO"),
    ("FIX", "ME"),
    ("github", ".com"),
    ("py", "pi.org"),
];

/// Module names that say nothing.
const EMPTY_NAMES: [&str; 5] = ["utils.rs", "util.rs", "helpers.rs", "common.rs", "manager.rs"];

/// Gives the breaches of a rule, each with its place.
type Rule = fn() -> Result<Vec<String>, Fault>;

/// Runs every rule and prints each breach with its place.
pub fn tidy() -> Result<Count, Fault> {
    let mut count = Count::default();
    let rules: [(&str, Rule); 6] = [
        ("crates are imported in order", imports),
        ("no source file is over 500 lines", lengths),
        ("texts speak of the project alone", words),
        ("modules have telling names", names),
        ("links between pages lead somewhere", links),
        ("every scan has its row", rows),
    ];
    for (rule, check) in rules {
        let breaches = check()?;
        println!("{} {rule}", if breaches.is_empty() { "ok    " } else { "FAILED" });
        for breach in &breaches {
            println!("       {breach}");
        }
        if breaches.is_empty() {
            count.passed += 1;
        } else {
            count.failed += 1;
        }
    }
    Ok(count)
}

fn imports() -> Result<Vec<String>, Fault> {
    let mut breaches = Vec::new();
    for (name, allowed) in ORDER {
        let folder =
            if name == "xtask" { root().join(name) } else { root().join("crates").join(name) };
        let manifest = read(&folder.join("Cargo.toml"))?;
        let manifest: toml::Table = manifest.parse().map_err(|e| format!("{name}: {e}"))?;
        for table in ["dependencies", "dev-dependencies", "build-dependencies"] {
            let Some(dependencies) = manifest.get(table).and_then(toml::Value::as_table) else {
                continue;
            };
            for other in dependencies.keys().filter(|k| ORDER.iter().any(|(n, _)| n == k)) {
                if !allowed.contains(&other.as_str()) {
                    breaches.push(format!("{name} must not name {other} in [{table}]"));
                }
            }
        }
    }
    let known = std::fs::read_dir(root().join("crates")).map_err(|e| format!("crates: {e}"))?;
    for entry in known.flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        if !ORDER.iter().any(|(n, _)| *n == name) {
            breaches.push(format!("crate {name} has no place in the import order"));
        }
    }
    Ok(breaches)
}

fn lengths() -> Result<Vec<String>, Fault> {
    let mut breaches = Vec::new();
    for file in sources()?.into_iter().filter(|f| !is_test(f)) {
        let lines = read(&file)?.lines().count();
        if lines > MOST_LINES {
            breaches.push(format!("{} has {lines} lines", shown(&file)));
        }
    }
    Ok(breaches)
}

fn words() -> Result<Vec<String>, Fault> {
    let forbidden = FORBIDDEN.map(|(a, b)| format!("{a}{b}"));
    let mut breaches = Vec::new();
    let own = ["rs", "toml", "md", "py", "txt", "yml", "sh"];
    for file in files_with(&own)? {
        // Licence texts and the scans' credits are quoted as they are.
        if shown(&file).starts_with("tests/scans/") || shown(&file).starts_with("LICENSE") {
            continue;
        }
        for (number, line) in read(&file)?.lines().enumerate() {
            if let Some(word) = forbidden.iter().find(|w| line.contains(w.as_str())) {
                breaches.push(format!("{}:{}: {word}", shown(&file), number + 1));
            }
        }
    }
    Ok(breaches)
}

fn names() -> Result<Vec<String>, Fault> {
    let is_empty = |f: &PathBuf| {
        let name = f.file_name().unwrap_or_default().to_string_lossy().into_owned();
        EMPTY_NAMES.contains(&name.as_str())
    };
    Ok(sources()?.iter().filter(|f| is_empty(f)).map(|f| shown(f)).collect())
}

/// Links in Markdown that name a file of the repository.
fn links() -> Result<Vec<String>, Fault> {
    let mut breaches = Vec::new();
    for file in files_with(&["md"])? {
        let folder = file.parent().unwrap_or(Path::new(".")).to_path_buf();
        for (number, line) in read(&file)?.lines().enumerate() {
            for target in line.split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
                let path = target.split('#').next().unwrap_or_default();
                let outside = target.contains("://") || path.is_empty();
                if !outside && !folder.join(path).exists() {
                    breaches.push(format!("{}:{}: {target}", shown(&file), number + 1));
                }
            }
        }
    }
    Ok(breaches)
}

/// Each scan in the tests is named in the table of origins and licences.
fn rows() -> Result<Vec<String>, Fault> {
    let scans = root().join("tests/scans");
    let table = read(&scans.join("README.md"))?;
    let mut breaches = Vec::new();
    for folder in ["anatomy", "general", "defects", "formats"] {
        let entries =
            std::fs::read_dir(scans.join(folder)).map_err(|e| format!("{folder}: {e}"))?;
        for entry in entries.flatten() {
            let name = entry.file_name().to_string_lossy().into_owned();
            if !table.contains(&format!("\n| `{name}`")) {
                breaches.push(format!("tests/scans/{folder}/{name}"));
            }
        }
    }
    breaches.sort();
    Ok(breaches)
}

fn is_test(file: &Path) -> bool {
    let shown = shown(file);
    shown.contains("/tests/") || shown.ends_with("/tests.rs") || shown.contains("/benches/")
}

/// Every Rust source of the workspace.
fn sources() -> Result<Vec<PathBuf>, Fault> {
    files_with(&["rs"])
}

/// Every file of the repository with one of these endings, in order.
fn files_with(endings: &[&str]) -> Result<Vec<PathBuf>, Fault> {
    let mut found = Vec::new();
    let mut open = vec![root()];
    while let Some(folder) = open.pop() {
        let entries = std::fs::read_dir(&folder).map_err(|e| format!("{}: {e}", shown(&folder)))?;
        for path in entries.flatten().map(|e| e.path()) {
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            if path.is_dir() {
                let skipped =
                    ["target", ".git", "book", "node_modules", "dist"].contains(&name.as_str());
                if !skipped && !name.ends_with("-out") {
                    open.push(path);
                }
            } else if path.extension().is_some_and(|e| endings.iter().any(|x| e == *x)) {
                found.push(path);
            }
        }
    }
    found.sort();
    Ok(found)
}

fn read(file: &Path) -> Result<String, Fault> {
    std::fs::read_to_string(file).map_err(|e| format!("{}: {e}", shown(file)))
}

fn shown(file: &Path) -> String {
    let relative = file.strip_prefix(root()).unwrap_or(file);
    relative.to_string_lossy().replace('\\', "/")
}
