//! A Python environment of our own under `target/`, with pinned wheels.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::{Fault, process, root, target, tool};

/// The Python versions for which every pinned wheel exists.
const VERSIONS: std::ops::RangeInclusive<u32> = 10..=13;

/// The environment's Python with all that `tests/outside/requirements.txt`
/// pins, made or renewed if it is not there or the pins have changed.
pub fn environment() -> Result<PathBuf, Fault> {
    let folder = target().join("outside-python");
    let python = folder.join(if cfg!(windows) { "Scripts/python.exe" } else { "bin/python" });
    let list = root().join("tests/outside/requirements.txt");
    let pins = std::fs::read_to_string(&list).map_err(|e| format!("{}: {e}", list.display()))?;
    let stamp = folder.join("pins.txt");
    if python.is_file() && std::fs::read_to_string(&stamp).is_ok_and(|old| old == pins) {
        return Ok(python);
    }
    let base = base()?;
    println!("making a Python environment with {} in {}", base.display(), folder.display());
    process::run(Command::new(&base).args(["-m", "venv", "--clear"]).arg(&folder))?;
    let pip = ["-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-input"];
    process::run(Command::new(&python).args(pip).args(["--only-binary", ":all:", "-r"]).arg(&list))
        .map_err(|e| {
            format!("{e}; the pinned wheels need network access to the Python package index")
        })?;
    std::fs::write(&stamp, pins).map_err(|e| format!("{}: {e}", stamp.display()))?;
    Ok(python)
}

/// A Python of the right version whose venv module works.
fn base() -> Result<PathBuf, Fault> {
    if let Some(named) = tool::named_by("SPILE_PYTHON")? {
        return match fitness(&named) {
            Fitness::Fit => Ok(named),
            _ => Err(format!(
                "SPILE_PYTHON names {}, which is not Python 3.10 to 3.13 with venv and ensurepip",
                named.display()
            )),
        };
    }
    let names = ["python3", "python3.13", "python3.12", "python3.11", "python3.10"];
    let found: Vec<PathBuf> = names.iter().filter_map(|n| tool::on_path(&[n])).collect();
    if let Some(fit) = found.iter().find(|p| fitness(p) == Fitness::Fit) {
        return Ok(fit.clone());
    }
    // Debian's own Python comes without venv until its package is there.
    let why = if found.iter().any(|p| fitness(p) == Fitness::WithoutVenv) {
        "the outside checks need Python's venv module"
    } else {
        "the outside checks need Python 3.10 to 3.13 with its venv module"
    };
    tool::apt_install(&["python3", "python3-venv"], why)?;
    let system = PathBuf::from("/usr/bin/python3");
    let candidates = found.iter().chain([&system]);
    candidates
        .into_iter()
        .find(|p| fitness(p) == Fitness::Fit)
        .cloned()
        .ok_or_else(|| format!("{why}; none was found after installing. Set SPILE_PYTHON to one"))
}

#[derive(PartialEq)]
enum Fitness {
    Fit,
    WithoutVenv,
    WrongVersion,
}

fn fitness(python: &Path) -> Fitness {
    let program = python.to_string_lossy();
    let version = tool::said(&program, &["-c", "import sys; print(*sys.version_info[:2])"]);
    let fits = version.is_some_and(|v| {
        let mut parts = v.split(' ').map(|n| n.parse::<u32>().unwrap_or(0));
        parts.next() == Some(3) && parts.next().is_some_and(|minor| VERSIONS.contains(&minor))
    });
    if !fits {
        Fitness::WrongVersion
    } else if tool::said(&program, &["-c", "import venv, ensurepip"]).is_some() {
        Fitness::Fit
    } else {
        Fitness::WithoutVenv
    }
}
