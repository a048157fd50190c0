//! `cargo xtask picture`: draws the demo's finished part off screen, cut open, with
//! what each surface is in tones that the colour-blind can tell apart; with `--real`
//! the parts of the open scans with hard limits, with `--report` the demo's report, with
//! `--page` the page in each of its states, for the guide.

mod page;
mod report;

use std::path::Path;
use std::process::Command;

use crate::{Fault, built_example, built_spile, process, root, target};

pub use page::page_pictures;
pub use report::report_pictures;

/// Where the picture goes; the README and the guide show it.
const PICTURE: &str = "docs/src/demo.png";
/// Width and height in pixels.
const SIZE: [&str; 2] = ["1400", "640"];

/// Where the guide's pictures of parts on open scans go.
const REAL_PICTURES: &str = "docs/src/real";
/// Their width and height in pixels.
const REAL_SIZE: [&str; 2] = ["1000", "480"];

/// Runs the demo and draws its part.
pub fn picture() -> Result<(), Fault> {
    let spile = built_spile()?;
    let folder = target().join("picture");
    if folder.exists() {
        std::fs::remove_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    }
    process::run(Command::new(spile).arg("demo").arg("--out").arg(&folder))?;
    draw(&folder.join("phantom-out"), &root().join(PICTURE), SIZE, &[])
}

/// Runs the cases on open scans whose names end in `-hard` and draws their ends.
pub fn real_pictures() -> Result<(), Fault> {
    let spile = built_spile()?;
    let cases = root().join("tests/real");
    let folder = root().join(REAL_PICTURES);
    std::fs::create_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    let list = std::fs::read_dir(&cases).map_err(|e| format!("{}: {e}", cases.display()))?;
    let mut files: Vec<_> = list.filter_map(|entry| Some(entry.ok()?.path())).collect();
    files.sort();
    for case in files {
        let name = case.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        if !name.ends_with("-hard") {
            continue;
        }
        let out = target().join("picture-real").join(&name);
        process::run(
            Command::new(&spile)
                .arg("run")
                .arg(&case)
                .arg("--out")
                .arg(&out)
                .arg("--without-report"),
        )?;
        draw(&out, &folder.join(format!("{name}.png")), REAL_SIZE, &["near"])?;
    }
    Ok(())
}

/// Draws the part that was made in a folder.
fn draw(made: &Path, path: &Path, size: [&str; 2], more: &[&str]) -> Result<(), Fault> {
    let program = built_example("part_picture")?;
    process::run(Command::new(program).arg(made).arg(path).args(size).args(more))
}
