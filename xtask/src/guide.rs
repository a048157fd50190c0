//! Building the user's guide.

use std::path::PathBuf;
use std::process::Command;

use crate::summary::Count;
use crate::{Fault, process, root, target, tool};

/// The mdbook that the guide is written for.
const VERSION: &str = "0.5.4";

/// Builds the guide into `target/guide` and follows its links between pages.
pub fn build() -> Result<Count, Fault> {
    let mdbook = mdbook()?;
    let out = target().join("guide");
    process::run(Command::new(mdbook).args(["build", "docs", "--dest-dir"]).arg(&out))?;
    let pages = ["index.html", "case-file.html", "limits.html", "proof.html"];
    let missing: Vec<&str> = pages.into_iter().filter(|p| !out.join(p).is_file()).collect();
    if missing.is_empty() {
        Ok(Count::of(pages.len(), 0))
    } else {
        Err(format!("the built guide lacks {}", missing.join(", ")))
    }
}

fn mdbook() -> Result<PathBuf, Fault> {
    if let Some(named) = tool::named_by("SPILE_MDBOOK")? {
        return Ok(named);
    }
    let own = target().join("tools/bin").join(format!("mdbook{}", std::env::consts::EXE_SUFFIX));
    let found = tool::on_path(&["mdbook"]).into_iter().chain([own.clone()]);
    let wanted = format!("mdbook v{}", VERSION.rsplit_once('.').map_or(VERSION, |v| v.0));
    let fits = |p: &PathBuf| {
        tool::said(&p.to_string_lossy(), &["--version"]).is_some_and(|v| v.starts_with(&wanted))
    };
    if let Some(found) = found.into_iter().find(fits) {
        return Ok(found);
    }
    println!("building mdbook {VERSION} under target/tools, once; this takes some minutes");
    // Without optimisation: building it is the slow part, not the small guide.
    let mut install = Command::new(process::cargo_path());
    install
        .args(["install", "mdbook", "--version", VERSION, "--locked", "--quiet"])
        .args(["--no-default-features", "--debug", "--root"])
        .arg(target().join("tools"))
        .arg("--target-dir")
        .arg(target().join("tools/build"))
        .env("CARGO_PROFILE_DEV_DEBUG", "false")
        .env("CARGO_PROFILE_DEV_OPT_LEVEL", "0")
        .current_dir(root());
    process::run(&mut install)
        .map_err(|e| format!("{e}; put mdbook {VERSION} on the PATH or name it by SPILE_MDBOOK"))?;
    Ok(own)
}
