//! The checker of PDF/A-1b: PDFBox Preflight, from Debian's packages.

use std::path::Path;

use crate::{Fault, tool};

/// Where Debian puts Java's archives, and those that the checker needs.
const FOLDER: &str = "/usr/share/java";
const ARCHIVES: [&str; 7] = [
    "preflight.jar",
    "pdfbox2.jar",
    "fontbox2.jar",
    "xmpbox.jar",
    "commons-logging.jar",
    "jaxb-api.jar",
    "javax.activation.jar",
];
/// The packages that bring them.
const PACKAGES: [&str; 4] =
    ["default-jre-headless", "libpdfbox2-java", "libactivation-java", "libjaxb-api-java"];

/// The class path with which Java runs it, installed if it is not there.
pub fn class_path() -> Result<String, Fault> {
    let paths = ARCHIVES.map(|name| format!("{FOLDER}/{name}"));
    let is_here =
        || tool::on_path(&["java"]).is_some() && paths.iter().all(|path| Path::new(path).is_file());
    if !is_here() {
        tool::apt_install(&PACKAGES, "the outside checks judge the report as PDF/A")?;
    }
    match is_here() {
        true => Ok(paths.join(":")),
        false => Err(format!("java, or an archive in {FOLDER}, is missing after installation")),
    }
}
