//! What a command has to say, and the one place where it is said.

use std::io::Write as _;

use serde::Serialize;

use crate::exit::Ending;

/// What came of a command.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Answer {
    /// How it ended.
    pub ending: Ending,
    /// For a person; ends with a line break or is empty.
    pub text: String,
    /// For a script: one JSON document.
    pub json: String,
}

impl Answer {
    /// An answer whose JSON document is `value`.
    pub fn new(ending: Ending, text: String, value: &impl Serialize) -> Answer {
        Answer { ending, text, json: json_text(value) }
    }
}

/// `value` as an indented JSON document that ends with a line break.
///
/// Fields stand in the order of their declaration; numbers are the shortest
/// that read back the same.
pub(crate) fn json_text(value: &impl Serialize) -> String {
    // Serialising our own plain records to memory has no way to fail.
    let mut text = serde_json::to_string_pretty(value).unwrap_or_default();
    text.push('\n');
    text
}

/// Prints an answer: the JSON document on standard output and the text on
/// standard error, or the text alone on standard output.
pub(crate) fn print(answer: &Answer, json: bool) {
    if json {
        to_stderr(&answer.text);
        to_stdout(&answer.json);
    } else {
        to_stdout(&answer.text);
    }
}

/// Writes to standard output. A reader that has gone away is no fault of ours.
pub(crate) fn to_stdout(text: &str) {
    let mut out = std::io::stdout().lock();
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

/// Writes to standard error.
pub(crate) fn to_stderr(text: &str) {
    let _ = std::io::stderr().lock().write_all(text.as_bytes());
}
