//! Documents typeset as PDF/A, from the same contents as the page.
//!
//! The template is fixed; all that a document says reaches it as values and is never read
//! as markup. No clock, host or place comes in, so the same document gives the same bytes.

#[cfg(test)]
mod tests;
mod values;
mod world;

use spile_report::Document;
use typst::foundations::Smart;
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards};

use crate::values::{Letters, values};
use crate::world::OneSource;

/// The kind of PDF that is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standard {
    /// ISO 19005-2, level A: tagged, with alternatives for pictures. What is handed over.
    PdfA2a,
    /// ISO 19005-1, level B, without bookmarks: what a checker of that part can read.
    PdfA1b,
}

/// The document as a PDF file.
///
/// Letters that no font at hand has are written as their code in brackets.
///
/// # Errors
/// The typesetter's words, if it refuses.
pub fn pdf(document: &Document, standard: Standard) -> Result<Vec<u8>, String> {
    // Letters that combine may be refused though each has a glyph; plain ones never are.
    typeset(document, standard, Letters::WithGlyphs)
        .or_else(|_| typeset(document, standard, Letters::Ascii))
}

fn typeset(document: &Document, standard: Standard, letters: Letters) -> Result<Vec<u8>, String> {
    let (kind, is_bookmarked) = match standard {
        Standard::PdfA2a => (PdfStandard::A_2a, true),
        Standard::PdfA1b => (PdfStandard::A_1b, false),
    };
    let world = OneSource::new(values(document, letters, is_bookmarked));
    let laid_out = typst::compile::<PagedDocument>(&world).output;
    let said = |faults: &[typst::diag::SourceDiagnostic]| {
        faults.first().map_or_else(String::new, |f| f.message.to_string())
    };
    let written = laid_out.map_err(|faults| said(&faults)).and_then(|pages| {
        let standards = PdfStandards::new(&[kind]).map_err(|e| e.message().to_string())?;
        let options = PdfOptions {
            // Without a place or an account, title and contents tell documents apart.
            ident: Smart::Auto,
            creator: Smart::Custom(Some("spile".to_owned())),
            standards,
            ..PdfOptions::default()
        };
        typst_pdf::pdf(&pages, &options).map_err(|faults| said(&faults))
    });
    // What was laid out is kept for a next time that does not come.
    typst::comemo::evict(0);
    written
}
