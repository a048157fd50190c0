//! `cargo xtask bench --kernel`: the kernel's closest points beside a reference
//! library's, and reading beside copying, in the same minutes.

use std::process::Command;

use crate::{Fault, process, python, root, target};

/// Triangles of the invented scan that is asked.
const TRIANGLES: &str = "250000";

/// Times both over the same scan and places, on one thread; prints the ratios.
///
/// # Errors
/// The distances do not agree, or one of the two cannot be run.
pub fn kernel() -> Result<(), Fault> {
    let examples = ["--example", "phantom", "--example", "queries"];
    process::cargo(&[&["build", "--release", "-p", "spile"], &examples[..]].concat())?;
    let examples = target().join("release/examples");
    let folder = target().join("bench").join("kernel");
    process::run(Command::new(examples.join("phantom")).arg(TRIANGLES).arg(&folder))?;
    let mut ratios = Command::new(python::environment()?);
    ratios.arg(root().join("tests/outside/kernel_ratios.py")).arg(examples.join("queries"));
    process::run(ratios.arg(folder.join("phantom-invented.stl")).arg(&folder))
}
