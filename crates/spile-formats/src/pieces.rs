//! Text handed on in pieces.

use std::fmt::Write as _;
use std::io::Write;

use crate::error::WriteError;

/// Text is handed on in pieces of about this size.
const PIECE: usize = 1 << 16;

/// Gathers text and hands it on in pieces.
pub(crate) struct Pieces<'a, W> {
    text: String,
    to: &'a mut W,
}

impl<'a, W: Write> Pieces<'a, W> {
    pub(crate) fn new(to: &'a mut W) -> Self {
        Self { text: String::with_capacity(2 * PIECE), to }
    }

    pub(crate) fn push(&mut self, piece: std::fmt::Arguments<'_>) -> Result<(), WriteError> {
        // Writing to a string cannot fail.
        let _ = self.text.write_fmt(piece);
        if self.text.len() >= PIECE {
            self.to.write_all(self.text.as_bytes())?;
            self.text.clear();
        }
        Ok(())
    }

    pub(crate) fn finish(self) -> Result<(), WriteError> {
        self.to.write_all(self.text.as_bytes())?;
        self.to.flush()?;
        Ok(())
    }
}
