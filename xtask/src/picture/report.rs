//! `cargo xtask picture --report`: the demo's report as a laptop and a phone show it, and
//! pages of it as PDF, for the guide.

use std::path::Path;
use std::process::Command;

use crate::{Fault, built_example, built_spile, page, process, root, target, tool};

/// Where the guide's pictures of the report go.
const PICTURES: &str = "docs/src/report";

/// A view of a page: the picture's file, the page, its width, how far down the view begins,
/// the window's width and height.
type View = (&'static str, &'static str, usize, usize, [usize; 2]);

/// What is shown on a screen.
const VIEWS: [View; 6] = [
    ("laptop.png", REPORT, 1100, 0, [1100, 1000]),
    ("turned.png", REPORT, 1100, 2330, [1100, 1000]),
    ("ends.png", REPORT, 1100, 3300, [1100, 1000]),
    ("phone.png", REPORT, 390, 0, [500, 900]),
    ("revisions.png", "revisions.html", 1100, 0, [1100, 1000]),
    ("first-article.png", "first-article.html", 1100, 0, [1100, 1000]),
];
/// The demo's report.
const REPORT: &str = "phantom-out/report.html";
/// What the second revision of the demo's case asks otherwise.
const SECOND: &str = "\n[joint]\nshape = \"shortest\"\n";

/// Pages of the PDF that are shown, and their dots per inch.
const PAGES: [(&str, &str); 2] = [("paper-1.png", "1"), ("paper-3.png", "3")];
const PAGE_DPI: &str = "72";

/// Runs the demo, has Chromium draw its report and poppler pages of it as PDF.
pub fn report_pictures() -> Result<(), Fault> {
    let chromium = tool::chromium()?;
    // With its script, so that the part can be turned and all lies where the views look.
    page::build()?;
    let spile = built_spile()?;
    let folder = target().join("report-pictures");
    if folder.exists() {
        std::fs::remove_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    }
    process::run(Command::new(&spile).arg("demo").arg("--out").arg(&folder))?;
    compared(&spile, &folder)?;
    let pictures = root().join(PICTURES);
    std::fs::create_dir_all(&pictures).map_err(|e| format!("{}: {e}", pictures.display()))?;
    for (name, page, width, from, window) in VIEWS {
        let frame = folder.join("frame.html");
        std::fs::write(&frame, framed(page, width, from))
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

/// Writes the page of two revisions of the demo, and that of its first article, whose scan is
/// invented.
fn compared(spile: &Path, folder: &Path) -> Result<(), Fault> {
    let case = folder.join("phantom.toml");
    let text = std::fs::read_to_string(&case).map_err(|e| format!("{}: {e}", case.display()))?;
    let second = folder.join("phantom-second.toml");
    std::fs::write(&second, text + SECOND).map_err(|e| format!("{}: {e}", second.display()))?;
    let in_folder = |program: &Path, words: &[&str]| {
        process::run(Command::new(program).current_dir(folder).args(words))
    };
    in_folder(spile, &["run", "phantom-second.toml", "--without-report"])?;
    let print = built_example("invented_print")?;
    in_folder(&print, &["phantom-out/part.stl", "print-invented.stl"])?;
    let revisions = ["compare", "phantom-out", "phantom-second-out", "--within", "0.005"];
    let article = ["compare", "phantom-out/part.3mf", "print-invented.stl", "--within", "0.01"];
    for (words, more) in [
        (revisions, &["--report", "revisions.html"][..]),
        (revisions, &["--report", "revisions.pdf"]),
        (article, &["--align", "--tolerance", "0.2", "--report", "first-article.html"]),
        (article, &["--align", "--tolerance", "0.2", "--report", "first-article.pdf"]),
    ] {
        in_folder(spile, &[&words[..], more].concat())?;
    }
    Ok(())
}

/// A page that shows another as wide as wished: a window is never as narrow as a phone.
fn framed(page: &str, width: usize, from: usize) -> String {
    format!(
        "<!DOCTYPE html><body style=\"margin:0;background:#e4e6e8;overflow:hidden\">\
         <iframe src=\"{page}\" style=\"display:block;margin:-{from}px auto 0;\
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
