//! `cargo xtask`: set-up, tests, benches and pictures.
//!
//! Needs nothing but Rust to start; what else a command needs it finds or
//! fetches itself, or it says what an administrator has to do.

mod bench;
mod cases;
mod gltf;
mod guide;
mod licences;
mod page;
mod picture;
mod preflight;
mod process;
mod python;
mod real_table;
mod stress;
mod summary;
mod test;
mod tidy;
mod tool;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Why a task could not go on, fit for the screen.
type Fault = String;

const HELP: &str = "\
cargo xtask COMMAND

  demo [DIR]             build spile and run its built-in demo (DIR: target/demo)
  page                   build the page that `spile open` shows; needs Node
  test [GROUP] [--full]  run all tests, or one group of them:
                           tidy      the house rules
                           licences  what ships is under permissive licences
                           unit      the crates' own tests
                           doc       the examples in doc comments
                           guide     the user's guide builds
                           page      the page in a browser; with --full whole jobs in it
                           real      the cases on open scans
                           outside   checks against reference libraries
                         --full runs the heavy references on everything
  tidy                   the same as `test tidy`
  picture [--real]       draw the picture of the README again; --real: those of the open scans;
                         --report: the report of the demo, by Chromium; --page: the page
  bench [--quick]        time and memory of each step as the scan grows
  bench --joint          what one joint costs on one core, step by step
  bench --stress [N]     two thousand invented ends, or N: how many hold
  bench --report         what the report takes beyond the run, for a million triangles
  bench --page           picks, brush, cuts and the first picture of a million triangles and of four,
                         in a headless browser
  bench --kernel         closest points beside a reference library's, and reading
                         STL beside copying it

Outside tools are looked for in this order: the environment variable named
below, the PATH, and apt-get where root or sudo allows.

  SPILE_PYTHON           Python 3.10 to 3.13 with its venv module
  SPILE_MDBOOK           mdbook 0.5 (else built once under target/tools)
  SPILE_CHROMIUM         Chromium, for `test page`, `picture --report` and `--page`
  SPILE_NODE             Node 20 or later, with npm beside it, for the page
";

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let outcome = match words.as_slice() {
        ["demo"] => demo(None),
        ["demo", dir] => demo(Some(dir)),
        ["test", rest @ ..] => test::test(rest),
        ["page"] => page::build().and_then(|()| built_spile().map(drop)),
        ["tidy"] => test::test(&["tidy"]),
        ["picture"] => picture::picture(),
        ["picture", "--real"] => picture::real_pictures(),
        ["picture", "--report"] => picture::report_pictures(),
        ["picture", "--page"] => picture::page_pictures(),
        ["bench"] => bench::bench(&bench::FULL),
        ["bench", "--quick"] => bench::bench(&bench::QUICK),
        ["bench", "--joint"] => bench::joint(),
        ["bench", "--stress"] => stress::bench(None),
        ["bench", "--stress", count] => stress::bench(Some(count)),
        ["bench", "--report"] => bench::report(),
        ["bench", "--page"] => bench::page(),
        ["bench", "--kernel"] => bench::kernel(),
        [] | ["help" | "--help" | "-h"] => {
            print!("{HELP}");
            Ok(())
        }
        other => Err(format!("no such command: {}\n\n{HELP}", other.join(" "))),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(fault) => {
            eprintln!("error: {fault}");
            ExitCode::FAILURE
        }
    }
}

/// The top of the repository.
fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap_or(Path::new(".")).to_path_buf()
}

/// Where everything that is built goes: cargo's own target folder.
fn target() -> PathBuf {
    std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root().join("target"), PathBuf::from)
}

/// Builds the spile command and gives its path; with the features that the whole workspace
/// asks of its dependencies, or they would all be built twice. What the tests ask of them
/// counts as soon as an example is built too.
fn built_spile() -> Result<PathBuf, Fault> {
    process::cargo(&["build", "--workspace", "--bin", "spile", "--example", "rim"])?;
    Ok(target().join("debug").join(format!("spile{}", std::env::consts::EXE_SUFFIX)))
}

/// Builds an example program and gives its path.
fn built_example(name: &str) -> Result<PathBuf, Fault> {
    process::cargo(&["build", "--workspace", "--example", name])?;
    let file = format!("{name}{}", std::env::consts::EXE_SUFFIX);
    Ok(target().join("debug").join("examples").join(file))
}

fn demo(dir: Option<&str>) -> Result<(), Fault> {
    page::build_if_possible()?;
    let spile = built_spile()?;
    let dir = dir.map_or_else(|| target().join("demo"), PathBuf::from);
    let started = std::time::Instant::now();
    process::run(std::process::Command::new(spile).arg("demo").arg("--out").arg(&dir))?;
    println!(
        "the demo took {:.1} s; its files are in {}",
        started.elapsed().as_secs_f64(),
        dir.display()
    );
    Ok(())
}
