//! Finding outside tools, and fetching Debian packages where that is allowed.

use std::path::PathBuf;
use std::process::Command;

use crate::{Fault, process};

/// The tool an environment variable names, if it is set.
///
/// # Errors
/// The variable names a file that is not there: a wish that cannot be met is
/// never passed over in silence.
pub fn named_by(variable: &str) -> Result<Option<PathBuf>, Fault> {
    match std::env::var_os(variable).map(PathBuf::from) {
        None => Ok(None),
        Some(path) if path.is_file() => Ok(Some(path)),
        Some(path) => Err(format!("{variable} names {}, which is no file", path.display())),
    }
}

/// The first program of these names on the PATH.
pub fn on_path(names: &[&str]) -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    let folders: Vec<PathBuf> = std::env::split_paths(&path).collect();
    names
        .iter()
        .flat_map(|name| folders.iter().map(move |folder| folder.join(name)))
        .find(|candidate| candidate.is_file())
}

/// Chromium, installed if there is none.
pub fn chromium() -> Result<PathBuf, Fault> {
    let names = ["chromium", "chromium-browser", "google-chrome"];
    match named_by("SPILE_CHROMIUM")?.or_else(|| on_path(&names)) {
        Some(path) => Ok(path),
        None => {
            apt_install(&["chromium"], "it shows the page and draws the report's pictures")?;
            on_path(&names).ok_or("chromium is not on the PATH after its installation".into())
        }
    }
}

/// Installs Debian packages as root or by sudo without a password.
///
/// # Errors
/// Neither is possible, or apt-get fails: the message holds the exact line for
/// an administrator.
pub fn apt_install(packages: &[&str], why: &str) -> Result<(), Fault> {
    let line = format!("apt-get install -y {}", packages.join(" "));
    let ask = format!("{why}; ask an administrator to run: sudo {line}");
    if on_path(&["apt-get"]).is_none() {
        return Err(format!(
            "{why}, and there is no apt-get here; install {}",
            packages.join(", ")
        ));
    }
    let is_root = said("id", &["-u"]).is_some_and(|out| out == "0");
    let may_sudo = !is_root && said("sudo", &["-n", "id", "-u"]).is_some_and(|out| out == "0");
    if !is_root && !may_sudo {
        return Err(ask);
    }
    let apt = |arguments: &[&str]| {
        let mut command = Command::new(if is_root { "env" } else { "sudo" });
        if may_sudo {
            command.args(["-n", "env"]);
        }
        command.arg("DEBIAN_FRONTEND=noninteractive").arg("apt-get").args(arguments);
        process::run(&mut command)
    };
    println!("{why}: {line}");
    apt(&["update", "-qq"]).map_err(|e| format!("{e}; {ask}"))?;
    apt(&[&["install", "-y", "-qq"], packages].concat()).map_err(|e| format!("{e}; {ask}"))
}

/// The one line that a command printed, if it ended well.
pub fn said(program: &str, arguments: &[&str]) -> Option<String> {
    let output = Command::new(program).args(arguments).output().ok()?;
    let text = String::from_utf8_lossy(&output.stdout).trim().to_owned();
    output.status.success().then_some(text)
}
