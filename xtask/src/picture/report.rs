//! `cargo xtask picture --report`: the demo's report as a laptop and a phone show it, and
//! pages of it as PDF, for the guide.

use std::path::Path;
use std::process::Command;

use crate::{Fault, built_spile, process, root, target, tool};

/// Where the guide's pictures of the report go.
const PICTURES: &str = "docs/src/report";

/// A view of the report: its file, the page's width, how far down it begins, the
/// window's width and height.
const VIEWS: [(&str, usize, usize, [usize; 2]); 3] = [
    ("laptop.png", 1100, 0, [1100, 1000]),
    ("ends.png", 1100, 2330, [1100, 1000]),
    ("phone.png", 390, 0, [500, 900]),
];

/// Pages of the PDF that are shown, and their dots per inch.
const PAGES: [(&str, &str); 2] = [("paper-1.png", "1"), ("paper-3.png", "3")];
const PAGE_DPI: &str = "72";

/// Runs the demo, has Chromium draw its report and poppler pages of it as PDF.
pub fn report_pictures() -> Result<(), Fault> {
    let chromium = tool::chromium()?;
    let spile = built_spile()?;
    let folder = target().join("report-pictures");
    if folder.exists() {
        std::fs::remove_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    }
    process::run(Command::new(spile).arg("demo").arg("--out").arg(&folder))?;
    let pictures = root().join(PICTURES);
    std::fs::create_dir_all(&pictures).map_err(|e| format!("{}: {e}", pictures.display()))?;
    for (name, width, from, window) in VIEWS {
        let frame = folder.join("frame.html");
        std::fs::write(&frame, framed(width, from))
            .map_err(|e| format!("{}: {e}", frame.display()))?;
        shoot(&chromium, &frame, &pictures.join(name), window)?;
        println!("{PICTURES}/{name} drawn");
    }
    let paper = folder.join("phantom-out/report.pdf");
    if tool::on_path(&["pdftoppm"]).is_none() {
        tool::apt_install(&["poppler-utils"], "it draws pages of the report")?;
    }
    for (name, page) in PAGES {
        let mut draw = Command::new("pdftoppm");
        draw.args(["-png", "-singlefile", "-r", PAGE_DPI, "-f", page, "-l", page]);
        process::run(draw.arg(&paper).arg(pictures.join(name).with_extension("")))?;
        println!("{PICTURES}/{name} drawn");
    }
    Ok(())
}

/// A page that shows the report as wide as wished: a window is never as narrow as a
/// phone.
fn framed(width: usize, from: usize) -> String {
    format!(
        "<!DOCTYPE html><body style=\"margin:0;background:#e4e6e8;overflow:hidden\">\
         <iframe src=\"phantom-out/report.html\" style=\"display:block;margin:-{from}px auto 0;\
         border:0;width:{width}px;height:9000px;background:#fff\"></iframe></body>"
    )
}

fn shoot(
    chromium: &Path,
    page: &Path,
    picture: &Path,
    [width, height]: [usize; 2],
) -> Result<(), Fault> {
    let mut command = Command::new(chromium);
    // As root it wants no sandbox; a small /dev/shm is not enough for it.
    command.args([
        "--headless=new",
        "--no-sandbox",
        "--disable-dev-shm-usage",
        "--hide-scrollbars",
    ]);
    command.arg("--force-device-scale-factor=0.8");
    command.arg(format!("--window-size={width},{height}"));
    command.arg(format!("--screenshot={}", picture.display()));
    command.arg(format!("file://{}", page.display()));
    let said = process::run_silently(&mut command)?;
    if said.code == Some(0) { Ok(()) } else { Err(said.lines.join("\n")) }
}
