//! What can be typed: commands, options and their help.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};
use clap_complete::Shell;

/// Said under every command's help.
const EXIT_CODES: &str = "Exit codes:
  0  all limits held
  1  a limit is broken, cannot be held, or cannot be judged
  2  the input or the case is wrong; nothing was written
  3  an internal fault; nothing was written";

/// `examine` and `compare` judge nothing: they only answer.
const EXIT_CODES_OF_ANSWERS: &str = "Exit codes:
  0  answered
  2  the input is wrong
  3  an internal fault";

/// Joins the open ends of a scanned surface to exact round fittings and proves the result.
#[derive(Debug, Parser)]
#[command(name = "spile", version, max_term_width = 100, arg_required_else_help = true)]
#[command(after_help = "Worked example:
  spile demo --out phantom         writes an invented case and runs it
  spile run phantom/phantom.toml   runs it again, after a change of yours

A proof covers geometry only: material, cleaning, sterilisation, fit, pressure and use are for
qualified people under the codes and approvals that apply where the part is used.")]
pub(crate) struct CommandLine {
    #[command(subcommand)]
    pub command: Command,
    #[command(flatten)]
    pub everywhere: Everywhere,
}

/// Options that every command takes.
#[derive(Debug, Clone, Copy, Args)]
pub(crate) struct Everywhere {
    /// One JSON document on standard output, all else on standard error
    #[arg(long, global = true)]
    pub json: bool,
    /// Number of threads; the result does not depend on it [default: one a core]
    #[arg(long, global = true, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Say what is in a scan: size, ends, defects and what they do to the job
    #[command(after_help = after("spile examine left-duct.stl
  spile examine left-duct.stl --mend left-duct-mended.stl", EXIT_CODES_OF_ANSWERS))]
    Examine(ExamineArgs),
    /// Print a starter case for a scan
    #[command(after_help = after("spile new left-duct.stl > left-duct.toml", EXIT_CODES_OF_ANSWERS))]
    New(NewArgs),
    /// Show and steer the job in the browser, on this machine alone
    #[command(after_help = after("spile open left-duct.stl", EXIT_CODES_OF_ANSWERS))]
    Open(OpenArgs),
    /// Make the part of a case, and its proof
    #[command(after_help = after("spile run left-duct.toml
  spile run left-duct.toml --out build/left-duct --json > result.json", EXIT_CODES))]
    Run(RunArgs),
    /// Judge any part against a case, also one made elsewhere; or a whole folder anew
    #[command(after_help = after("spile prove left-duct-out
  spile prove left-duct-out/case.toml --part their-part.stl", EXIT_CODES))]
    Prove(ProveArgs),
    /// Give the certified two-sided distance of two surfaces, or tell two results apart
    #[command(after_help = after("spile compare before.stl after.stl --within 0.001
  spile compare duct-out duct-second-out
  spile compare duct-out/part.stl print.stl --align --tolerance 0.2", EXIT_CODES_OF_ANSWERS))]
    Compare(CompareArgs),
    /// List the known fittings, their dimensions, sources and standing; or the round rims of a file
    #[command(after_help = after("spile fittings
  spile fittings socket.stl", EXIT_CODES_OF_ANSWERS))]
    Fittings(FittingsArgs),
    /// Write the built-in invented case and run it
    #[command(after_help = after("spile demo --out phantom", EXIT_CODES))]
    Demo(DemoArgs),
    /// Print a completion script for a shell
    #[command(after_help = after("spile completions bash > ~/.local/share/bash-completion/completions/spile", EXIT_CODES_OF_ANSWERS))]
    Completions(CompletionsArgs),
}

fn after(example: &str, exit_codes: &str) -> String {
    format!("Worked example:\n  {example}\n\n{exit_codes}")
}

#[derive(Debug, Args)]
pub(crate) struct ExamineArgs {
    /// The scan: STL, PLY, OBJ or 3MF; two files for inner and outer wall
    #[arg(required = true, value_name = "FILE", num_args = 1..)]
    pub files: Vec<PathBuf>,
    /// Write the scan mended, with every change listed (one FILE only; .stl or .3mf)
    #[arg(long, value_name = "OUT")]
    pub mend: Option<PathBuf>,
    /// Mend outliers too: single points far off the surface round them
    #[arg(long, requires = "mend")]
    pub outliers: bool,
}

#[derive(Debug, Args)]
pub(crate) struct NewArgs {
    /// The scan: STL, PLY, OBJ or 3MF
    pub scan: PathBuf,
}

#[derive(Debug, Args)]
pub(crate) struct OpenArgs {
    /// The case or scan to begin with; only files in its folder are read and written
    /// [default: none, and the current folder]
    #[arg(value_name = "CASE or SCAN")]
    pub file: Option<PathBuf>,
    /// Print the address and open no browser
    #[arg(long)]
    pub no_browser: bool,
    /// The port on this machine [default: a free one]
    #[arg(long, value_name = "N", default_value_t = 0, hide_default_value = true)]
    pub port: u16,
}

/// Changed cases that are tried unless something else is asked.
pub(crate) const TRIES: u16 = 6;

#[derive(Debug, Args)]
pub(crate) struct RunArgs {
    /// The case file
    pub case: PathBuf,
    /// Folder to write to [default: the case's name with `-out`, beside the case]
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Where limits are broken: how many changed cases to make and judge, to say what would hold
    #[arg(long, value_name = "N", default_value_t = TRIES, value_parser = clap::value_parser!(u16).range(0..=16))]
    pub tries: u16,
    /// Write every kind of file beside STL and 3MF: OBJ, PLY, GLB, STEP, sections, tables
    #[arg(long)]
    pub all_files: bool,
    /// Leave out the report and the measures beyond limits: they take longer than the rest
    #[arg(long)]
    pub without_report: bool,
}

#[derive(Debug, Args)]
pub(crate) struct ProveArgs {
    /// The settled case, as `run` leaves it beside the part; or a folder that `run` has
    /// left, to make its proof anew and compare
    #[arg(value_name = "CASE or DIR")]
    pub case: PathBuf,
    /// The part: STL, 3MF, PLY or OBJ [default: the part in DIR]
    #[arg(long, value_name = "FILE")]
    pub part: Option<PathBuf>,
    /// The case as it was asked: the settled one must ask no less
    #[arg(long, value_name = "CASE")]
    pub asked: Option<PathBuf>,
    /// Write the report of the proof of `--part` to FILE (.html or .pdf)
    #[arg(long, value_name = "FILE", requires = "part")]
    pub report: Option<PathBuf>,
    /// Where seams are not settled and not to be told from the part: judge what needs none
    #[arg(long)]
    pub without_seams: bool,
}

#[derive(Debug, Args)]
pub(crate) struct CompareArgs {
    /// One surface, or a folder that `run` has left
    pub a: PathBuf,
    /// The other, of the same kind
    pub b: PathBuf,
    /// How far apart lower and upper bound may be, in the files' unit [default: a ten-thousandth of the size]
    #[arg(long, value_name = "W", allow_negative_numbers = true, value_parser = above_zero)]
    pub within: Option<f64>,
    /// Lay B on A first, turned and shifted as fits best: B a scan of the print, A the part
    #[arg(long)]
    pub align: bool,
    /// How far B may lie from A: the share of B that does is given too
    #[arg(long, value_name = "T", allow_negative_numbers = true, value_parser = above_zero, requires = "align")]
    pub tolerance: Option<f64>,
    /// Write a report to FILE (.html or .pdf): distances, map of the deviation, of folders each limit and end
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(crate) struct FittingsArgs {
    /// A fitting as a mesh: STL, PLY, OBJ or 3MF; its round rims are listed
    pub file: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(crate) struct DemoArgs {
    /// Folder to write scan, case and result to
    #[arg(long, value_name = "DIR", default_value = "spile-demo")]
    pub out: PathBuf,
}

#[derive(Debug, Args)]
pub(crate) struct CompletionsArgs {
    /// The shell
    pub shell: Shell,
}

fn above_zero(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(x) if x.is_finite() && x > 0.0 => Ok(x),
        _ => Err("expected a number above 0".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory as _;

    #[test]
    fn the_command_line_is_consistent() {
        super::CommandLine::command().debug_assert();
    }
}
