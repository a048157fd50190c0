//! `completions`: the script that completes commands and options in a shell.

use clap::CommandFactory as _;
use serde::Serialize;

use crate::answer::Answer;
use crate::args::{CommandLine, CompletionsArgs};
use crate::exit::Ending;

#[derive(Serialize)]
struct Document {
    shell: String,
    script: String,
}

/// The completion script for a shell.
pub(crate) fn completions(args: &CompletionsArgs) -> Answer {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut CommandLine::command(), "spile", &mut script);
    let script = String::from_utf8_lossy(&script).into_owned();
    let document = Document { shell: args.shell.to_string(), script: script.clone() };
    Answer::new(Ending::Held, script, &document)
}
