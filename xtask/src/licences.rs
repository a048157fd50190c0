//! Checks that all that ships is under permissive licences.

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

use serde_json::Value;

use crate::summary::Count;
use crate::{Fault, process, root};

/// What may ship. A licence not named here needs a look before it is added.
const ALLOWED: [&str; 11] = [
    "MIT",
    "MIT-0",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-1-Clause",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "ISC",
    "Zlib",
    "Unicode-3.0",
    "0BSD",
];

/// Every crate that the spile command is built from, its licence judged.
pub fn licences() -> Result<Count, Fault> {
    let output = Command::new(process::cargo_path())
        .args(["metadata", "--format-version", "1", "--locked"])
        .current_dir(root())
        .output()
        .map_err(|e| format!("cannot start cargo metadata: {e}"))?;
    if !output.status.success() {
        return Err(String::from_utf8_lossy(&output.stderr).into_owned());
    }
    let metadata: Value = serde_json::from_slice(&output.stdout).map_err(|e| e.to_string())?;
    let mut count = Count::default();
    for (name, licence) in shipped(&metadata) {
        if is_allowed(&licence) {
            count.passed += 1;
        } else {
            count.failed += 1;
            println!("{name} is under {licence}, which is not on the list of what may ship");
        }
    }
    println!("{} crates ship", count.passed + count.failed);
    Ok(count.plus(of_the_page()?))
}

/// Every package that the page is built from, as its lock file has them.
fn of_the_page() -> Result<Count, Fault> {
    let path = root().join("crates/spile-page/web/package-lock.json");
    let text = std::fs::read_to_string(&path).map_err(|e| format!("{}: {e}", path.display()))?;
    let lock: Value = serde_json::from_str(&text).map_err(|e| e.to_string())?;
    let mut count = Count::default();
    for (place, package) in lock["packages"].as_object().into_iter().flatten() {
        if place.is_empty() || package["dev"] == true {
            continue;
        }
        let licence = package["license"].as_str().unwrap_or_default();
        if is_allowed(licence) {
            count.passed += 1;
        } else {
            count.failed += 1;
            println!("{place} is under `{licence}`, which is not on the list of what may ship");
        }
        // An address would tie the lock file to one registry.
        if package.get("resolved").is_some() {
            return Err(format!("{place} has a download address in {}", path.display()));
        }
    }
    println!("{} packages of the page ship", count.passed + count.failed);
    Ok(count)
}

/// Name and licence of each crate reached from `spile` without dev-dependencies.
fn shipped(metadata: &Value) -> BTreeMap<String, String> {
    let list = |value: &Value| value.as_array().cloned().unwrap_or_default();
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let packages: BTreeMap<String, Value> =
        list(&metadata["packages"]).into_iter().map(|p| (text(&p["id"]), p)).collect();
    let nodes: BTreeMap<String, Value> =
        list(&metadata["resolve"]["nodes"]).into_iter().map(|n| (text(&n["id"]), n)).collect();
    let mut open: Vec<String> = packages
        .iter()
        .filter(|(_, p)| p["name"] == "spile" && p["source"].is_null())
        .map(|(id, _)| id.clone())
        .collect();
    let mut seen = BTreeSet::new();
    while let Some(id) = open.pop() {
        if !seen.insert(id.clone()) {
            continue;
        }
        for dependency in nodes.get(&id).map(|n| list(&n["deps"])).unwrap_or_default() {
            if list(&dependency["dep_kinds"]).iter().any(|k| k["kind"] != "dev") {
                open.push(text(&dependency["pkg"]));
            }
        }
    }
    let named = seen.iter().filter_map(|id| packages.get(id));
    named
        .map(|p| (format!("{} {}", text(&p["name"]), text(&p["version"])), text(&p["license"])))
        .collect()
}

/// Whether a licence expression leaves a choice that is allowed.
///
/// Reads `A OR B`, the old `A/B`, `A AND B` and one level of brackets.
fn is_allowed(expression: &str) -> bool {
    let expression = expression.replace('/', " OR ");
    let mut alternatives = vec![String::new()];
    let mut depth = 0;
    for word in expression.replace('(', " ( ").replace(')', " ) ").split_whitespace() {
        match word {
            "(" => depth += 1,
            ")" => depth -= 1,
            "OR" if depth == 0 => {
                alternatives.push(String::new());
                continue;
            }
            _ => {}
        }
        if let Some(last) = alternatives.last_mut() {
            last.push_str(word);
            last.push(' ');
        }
    }
    alternatives.iter().any(|a| a.split(" AND ").all(one_is_allowed))
}

fn one_is_allowed(part: &str) -> bool {
    let part = part.trim();
    match part.strip_prefix('(').and_then(|p| p.strip_suffix(')')) {
        Some(inner) => is_allowed(inner.trim()),
        None => ALLOWED.contains(&part),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_choice_counts_and_a_demand_counts() {
        for good in ["MIT OR Apache-2.0", "MIT/Apache-2.0", "GPL-3.0 OR MIT", "MIT AND ISC"] {
            assert!(is_allowed(good), "{good}");
        }
        assert!(is_allowed("(MIT OR Apache-2.0) AND Unicode-3.0"));
        assert!(is_allowed("Apache-2.0 WITH LLVM-exception OR GPL-2.0"));
        for bad in ["", "MPL-2.0", "MIT AND GPL-3.0", "(MIT OR ISC) AND LGPL-2.1"] {
            assert!(!is_allowed(bad), "{bad}");
        }
    }
}
