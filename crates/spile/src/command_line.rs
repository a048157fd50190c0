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
    // Asked of the raw words too, for when they cannot be parsed.
    let json = std::env::args_os().any(|a| a == "--json");
    match guarded(|| typed(json)) {
        Ok(ending) => ending,
        Err(fault) => report(&failure_of(&fault), json),
    }
    .into()
}

fn typed(wants_json: bool) -> Ending {
    let line = match CommandLine::try_parse() {
        Ok(line) => line,
        Err(error) => return usage(&error, wants_json),
    };
    let Everywhere { json, threads } = line.everywhere;
    if let Some(threads) = threads {
        // A second pool cannot be asked for: this is the only place that does.
        let _ = rayon::ThreadPoolBuilder::new().num_threads(threads.into()).build_global();
    }
    match dispatch(&line.command, json) {
        Ok(answer) => {
            print(&answer, json);
            answer.ending
        }
        Err(failure) => report(&failure, json),
    }
}

/// Help and version are answers; all else that cannot be parsed is wrong input.
fn usage(error: &clap::Error, json: bool) -> Ending {
    let text = error.render().to_string();
    if matches!(error.kind(), ErrorKind::DisplayHelp | ErrorKind::DisplayVersion) {
        to_stdout(&text);
        return Ending::Held;
    }
    to_stderr(&text);
    if json {
        // The sentence and its list, up to the first empty line.
        let lines = text.lines().map(str::trim).take_while(|l| !l.is_empty());
        let sentence = lines.collect::<Vec<_>>().join(" ");
        let sentence = sentence.strip_prefix("error: ").unwrap_or(&sentence);
        let failure = Failure::new(sentence).hint("see `spile --help`");
        to_stdout(&json_text(&failure.record()));
    }
    Ending::WrongInput
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
