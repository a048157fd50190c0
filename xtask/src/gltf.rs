//! The validator of glTF by the format's own makers, from npm, where there is Node for it.

use std::path::PathBuf;
use std::process::Command;

use crate::{Fault, page, process, target};

/// The release that is used.
const VERSION: &str = "2.0.0-dev.3.10";

/// Its folder, installed once; none, with a line that says so, where there is no Node.
///
/// # Errors
/// It cannot be installed.
pub fn validator() -> Result<Option<PathBuf>, Fault> {
    let folder = target().join("tools/gltf-validator");
    let module = folder.join("node_modules/gltf-validator");
    if module.is_dir() {
        return Ok(Some(module));
    }
    let npm = match page::npm() {
        Ok(npm) => npm,
        Err(why) => {
            println!("GLB files are not put through the format's own validator: {why}");
            return Ok(None);
        }
    };
    std::fs::create_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    let mut install = Command::new(npm);
    install.args(["install", "--no-audit", "--no-fund", "--no-save", "--prefix"]).arg(&folder);
    process::run(install.arg(format!("gltf-validator@{VERSION}")))
        .map_err(|e| format!("{e}; the validator of GLB files needs network access once"))?;
    Ok(Some(module))
}
