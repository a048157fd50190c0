//! From what was typed to the exit code.

use std::process::ExitCode;

use clap::Parser as _;
use clap::error::ErrorKind;

use crate::answer::{json_text, print, to_stderr, to_stdout};
use crate::args::{CommandLine, Everywhere};
use crate::commands::dispatch;
use crate::exit::{Ending, Fault, guarded};
use crate::failure::{Failure, colour_on_stderr};

/// Runs the program with the arguments of this process.
///
/// A panic anywhere ends as an internal fault with a message, never as a trace.
pub fn command_line() -> ExitCode {
    let json = std::env::args_os().any(|a| a == "--json");
    match guarded(typed) {
        Ok(ending) => ending,
        Err(fault) => report(&failure_of(&fault), json),
    }
    .into()
}

fn typed() -> Ending {
    let line = match CommandLine::try_parse() {
        Ok(line) => line,
        Err(error) => return usage(&error),
    };
    let Everywhere { json, threads } = line.everywhere;
    if let Some(threads) = threads {
        // A second pool cannot be asked for: this is the only place that does.
        let _ = rayon::ThreadPoolBuilder::new().num_threads(threads.into()).build_global();
    }
    match dispatch(&line.command) {
        Ok(answer) => {
            print(&answer, json);
            answer.ending
        }
        Err(failure) => report(&failure, json),
    }
}

/// Help and version are answers; all else that cannot be parsed is wrong input.
fn usage(error: &clap::Error) -> Ending {
    let text = error.render();
    match error.kind() {
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion => {
            to_stdout(&text.to_string());
            Ending::Held
        }
        _ => {
            to_stderr(&text.to_string());
            Ending::WrongInput
        }
    }
}

fn report(failure: &Failure, json: bool) -> Ending {
    to_stderr(&failure.rendered(colour_on_stderr()));
    if json {
        to_stdout(&json_text(&failure.record()));
    }
    failure.ending
}

fn failure_of(fault: &Fault) -> Failure {
    Failure::internal(format!("{}, at {}", fault.message, fault.place))
}
