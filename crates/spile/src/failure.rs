//! Why a command could not answer: what is wrong with the input, and hints.

use std::fmt::{self, Write as _};
use std::io::IsTerminal as _;

use miette::{
    Diagnostic, GraphicalReportHandler, GraphicalTheme, LabeledSpan, NamedSource, SourceCode,
};
use serde::Serialize;
use spile_case::CaseError;

use crate::exit::Ending;

/// Wrong input, or a fault of this program: nothing was written.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Failure {
    /// Whose fault it is.
    pub ending: Ending,
    /// The whole in one sentence, lower case, without full stop.
    pub message: String,
    /// What to do next.
    pub hints: Vec<String>,
    /// The mistakes in the case file, if it is that.
    pub mistakes: Vec<CaseError>,
    /// The case file's text, to show the mistakes in.
    pub text: String,
}

impl Failure {
    /// A failure without hints.
    pub fn new(message: impl Into<String>) -> Failure {
        Failure {
            ending: Ending::WrongInput,
            message: message.into(),
            hints: Vec::new(),
            mistakes: Vec::new(),
            text: String::new(),
        }
    }

    /// A fault of this program: the input is not to blame.
    pub fn internal(message: impl Into<String>) -> Failure {
        Failure { ending: Ending::InternalFault, ..Failure::new(message) }
            .hint("this is a fault in spile; nothing was written; please report it with the case")
    }

    /// The same with one hint more.
    pub fn hint(mut self, hint: impl Into<String>) -> Failure {
        self.hints.push(hint.into());
        self
    }

    /// Mistakes in a case file whose text is `text`.
    pub fn in_case(mistakes: Vec<CaseError>, text: &str) -> Failure {
        let file = mistakes.first().map_or("the case", |m| m.file.as_str());
        let message = match mistakes.len() {
            1 => format!("the case has a mistake: {file}"),
            n => format!("the case has {n} mistakes: {file}"),
        };
        Failure { mistakes, text: text.to_owned(), ..Failure::new(message) }
    }

    /// For a person: the message, each mistake with its value underlined, hints.
    pub fn rendered(&self, colour: bool) -> String {
        let mut out = String::new();
        for mistake in &self.mistakes {
            render_mistake(&mut out, mistake, &self.text, colour);
        }
        let kind = if self.ending == Ending::InternalFault { "internal fault" } else { "error" };
        let _ = writeln!(out, "{kind}: {}", self.message);
        for hint in &self.hints {
            let _ = writeln!(out, "hint: {hint}");
        }
        out
    }

    /// For a script.
    pub fn record(&self) -> impl Serialize + use<> {
        ErrorDocument {
            error: ErrorRecord {
                message: self.message.clone(),
                hints: self.hints.clone(),
                places: self.mistakes.iter().map(PlaceRecord::of).collect(),
            },
        }
    }
}

impl From<spile_formats::ReadError> for Failure {
    fn from(error: spile_formats::ReadError) -> Failure {
        Failure { hints: error.hints(), ..Failure::new(error.to_string()) }
    }
}

impl From<spile_joint::MakeError> for Failure {
    fn from(error: spile_joint::MakeError) -> Failure {
        Failure { hints: error.hints(), ..Failure::new(error.to_string()) }
    }
}

impl From<spile_proof::ProofError> for Failure {
    fn from(error: spile_proof::ProofError) -> Failure {
        Failure::new(error.to_string())
    }
}

#[derive(Serialize)]
struct ErrorDocument {
    error: ErrorRecord,
}

#[derive(Serialize)]
struct ErrorRecord {
    message: String,
    hints: Vec<String>,
    places: Vec<PlaceRecord>,
}

#[derive(Serialize)]
struct PlaceRecord {
    file: String,
    line: usize,
    column: usize,
    bytes: [usize; 2],
    message: String,
    allowed: Vec<String>,
    nearest: Option<String>,
    hints: Vec<String>,
}

impl PlaceRecord {
    fn of(mistake: &CaseError) -> PlaceRecord {
        PlaceRecord {
            file: mistake.file.clone(),
            line: mistake.line,
            column: mistake.column,
            bytes: [mistake.span.start, mistake.span.end],
            message: mistake.message.clone(),
            allowed: mistake.allowed.clone(),
            nearest: mistake.nearest.clone(),
            hints: mistake.hints(),
        }
    }
}

/// Whether standard error is a screen that may be coloured.
pub(crate) fn colour_on_stderr() -> bool {
    std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty())
}

/// One mistake as the drawing of lines and underlines wants it.
#[derive(Debug)]
struct Drawn<'a> {
    mistake: &'a CaseError,
    source: NamedSource<String>,
}

impl fmt::Display for Drawn<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.mistake.message)
    }
}

impl std::error::Error for Drawn<'_> {}

impl Diagnostic for Drawn<'_> {
    fn source_code(&self) -> Option<&dyn SourceCode> {
        Some(&self.source)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        let label = Some(self.mistake.label.clone()).filter(|l| !l.is_empty());
        Some(Box::new(std::iter::once(LabeledSpan::new_with_span(
            label,
            self.mistake.span.clone(),
        ))))
    }
}

/// Columns of the drawing, whatever the screen: the same everywhere.
const WIDTH: usize = 100;

fn render_mistake(out: &mut String, mistake: &CaseError, text: &str, colour: bool) {
    let theme = if colour { GraphicalTheme::unicode() } else { GraphicalTheme::unicode_nocolor() };
    let drawn = Drawn { mistake, source: NamedSource::new(&mistake.file, text.to_owned()) };
    let mut drawing = String::new();
    let handler = GraphicalReportHandler::new_themed(theme)
        .with_width(WIDTH)
        .with_context_lines(1)
        .with_links(false);
    if handler.render_report(&mut drawing, &drawn).is_err() {
        // The drawing is an extra; the sentence with its place is the message.
        drawing = format!("{mistake}\n");
    }
    out.push_str(drawing.trim_end());
    out.push('\n');
    for hint in mistake.hints() {
        let _ = writeln!(out, "hint: {hint}");
    }
    out.push('\n');
}
