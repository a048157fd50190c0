//! A mistake in a case file: what, where, and what would be right.

use std::fmt;
use std::ops::Range;

/// One mistake in a case file.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct CaseError {
    /// The file, as it was named to the reader.
    pub file: String,
    /// Line in the file, from 1.
    pub line: usize,
    /// Column in the line, in characters, from 1.
    pub column: usize,
    /// The bytes of the text that are meant.
    pub span: Range<usize>,
    /// What is wrong, in lower case and without a full stop.
    pub message: String,
    /// What stands there now or should, in a few words, to be put at the place itself.
    pub label: String,
    /// The values, or keys, that are allowed there; empty if there is no short list.
    pub allowed: Vec<String>,
    /// The allowed value or key that is nearest to what stands there.
    pub nearest: Option<String>,
    /// What to do, one sentence each.
    pub advice: Vec<String>,
}

impl CaseError {
    pub(crate) fn new(text: &str, file: &str, span: Range<usize>, message: String) -> CaseError {
        let span = on_characters(text, span);
        let before = &text[..span.start];
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().map_or(0, |l| l.chars().count()) + 1;
        CaseError {
            file: file.to_owned(),
            line,
            column,
            span,
            message,
            label: String::new(),
            allowed: Vec::new(),
            nearest: None,
            advice: Vec::new(),
        }
    }

    pub(crate) fn label(mut self, label: impl Into<String>) -> CaseError {
        self.label = label.into();
        self
    }

    pub(crate) fn advice(mut self, advice: impl Into<String>) -> CaseError {
        self.advice.push(advice.into());
        self
    }

    /// Names what is allowed, and which of it is nearest to `found`.
    pub(crate) fn allowed(mut self, found: &str, allowed: &[&str]) -> CaseError {
        self.nearest = nearest(found, allowed).map(str::to_owned);
        self.allowed = allowed.iter().map(|&a| a.to_owned()).collect();
        self
    }

    /// What to do about it, each to be shown as a `hint:` line.
    pub fn hints(&self) -> Vec<String> {
        let mut hints = Vec::new();
        if let Some(nearest) = &self.nearest {
            hints.push(format!("did you mean `{nearest}`?"));
        }
        if !self.allowed.is_empty() {
            let list: Vec<String> = self.allowed.iter().map(|a| format!("`{a}`")).collect();
            hints.push(format!("allowed here: {}", list.join(", ")));
        }
        hints.extend(self.advice.iter().cloned());
        hints
    }
}

impl fmt::Display for CaseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}: {}", self.file, self.line, self.column, self.message)
    }
}

impl std::error::Error for CaseError {}

/// The span, moved outward to whole characters inside the text.
fn on_characters(text: &str, span: Range<usize>) -> Range<usize> {
    let mut start = span.start.min(text.len());
    let mut end = span.end.clamp(start, text.len());
    while !text.is_char_boundary(start) {
        start -= 1;
    }
    while !text.is_char_boundary(end) {
        end += 1;
    }
    start..end
}

/// Less alike than this and a suggestion would only confuse.
const ALIKE_ENOUGH: f64 = 0.75;

/// Of a word shorter than this nothing can be guessed.
const LEAST_TO_GUESS: usize = 3;

/// The candidate most like `found`, if any is like it.
fn nearest<'a>(found: &str, candidates: &[&'a str]) -> Option<&'a str> {
    let found: String = found.to_lowercase().chars().take(64).collect();
    if found.len() < LEAST_TO_GUESS {
        return None;
    }
    candidates
        .iter()
        .map(|&c| (strsim::jaro_winkler(&found, c), c))
        .filter(|&(alike, _)| alike >= ALIKE_ENOUGH)
        .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(a.1)))
        .map(|(_, c)| c)
}

#[cfg(test)]
mod tests {
    use super::{CaseError, nearest};

    #[test]
    fn suggests_the_key_that_was_meant() {
        let keys = ["bore", "outside", "length", "kind"];
        assert_eq!(nearest("bor", &keys), Some("bore"));
        assert_eq!(nearest("Outsied", &keys), Some("outside"));
        assert_eq!(nearest("lenght", &keys), Some("length"));
        assert_eq!(nearest("qqq", &keys), None);
        assert_eq!(nearest("mn", &["mm", "m"]), None);
    }

    #[test]
    fn counts_lines_and_characters() {
        let error = CaseError::new("aß\n üx = 1", "a.toml", 7..8, "wrong".to_owned());
        assert_eq!((error.line, error.column), (2, 3));
        assert_eq!(error.to_string(), "a.toml:2:3: wrong");
        // In the middle of a character and past the end: still a place.
        let error = CaseError::new("ß", "a.toml", 1..99, "wrong".to_owned());
        assert_eq!(error.span, 0..2);
    }
}
