//! The commands, one module each.

mod compare;
mod compare_folders;
mod compare_report;
mod completions;
mod demo;
mod examine;
mod examine_mend;
mod examine_shapes;
mod first_article;
mod fitting_rims;
mod fittings;
mod folders_report;
mod new;
mod open;
mod prove;
mod prove_folder;
mod run;
mod seek;
mod settle_for;
mod tried;
mod what_holds;

pub use prove::report_as_pdf;

use crate::answer::Answer;
use crate::args::Command;
use crate::failure::Failure;

/// Does what was typed; `json` is for a command that speaks before its end.
pub(crate) fn dispatch(command: &Command, json: bool) -> Result<Answer, Failure> {
    match command {
        Command::Examine(args) => examine::examine(args),
        Command::New(args) => new::new(args),
        Command::Open(args) => open::open(args, json),
        Command::Run(args) => run::run(args),
        Command::Prove(args) => prove::prove(args),
        Command::Compare(args) => compare::compare(args),
        Command::Fittings(args) => match &args.file {
            Some(file) => fitting_rims::fitting_rims(file),
            None => Ok(fittings::fittings()),
        },
        Command::Demo(args) => demo::demo(args),
        Command::Completions(args) => Ok(completions::completions(args)),
    }
}
