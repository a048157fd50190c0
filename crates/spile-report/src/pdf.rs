//! The report as a PDF for the archive: PDF/A-2a, tagged, fonts embedded.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt as _, World};
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards, pdf as exported};

use crate::document::Document;
use crate::typesetting::typeset;

/// The one date that every file of ours carries where a format demands one.
const DATE: [u16; 3] = [1980, 1, 1];
/// What stands for a character that no font here has.
const MISSING: char = '\u{fffd}';

/// Which rules of ISO 19005 the file is to follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Archive {
    /// ISO 19005-2, conformance level A: with structure and alternative texts.
    TwoA,
    /// ISO 19005-1, conformance level B: for checks by programs that know no newer one.
    OneB,
}

/// Why no PDF came out: a fault of the program.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PdfError(pub String);

impl std::fmt::Display for PdfError {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        write!(f, "the report cannot be set as PDF: {}", self.0)
    }
}

impl std::error::Error for PdfError {}

/// The report as a PDF file.
///
/// A character that the fonts lack is shown as U+FFFD: a PDF for the archive may not name
/// a glyph that it does not carry.
///
/// # Errors
/// A fault of the program; no document makes it fail.
pub fn pdf(document: &Document, archive: Archive) -> Result<Vec<u8>, PdfError> {
    let shown = |c: char| if FONTS.has(c) { c } else { MISSING };
    let set = typeset(document, DATE, archive == Archive::TwoA, &shown);
    let desk = Desk::of(set.source, set.files)?;
    let document: PagedDocument = typst::compile(&desk).output.map_err(|e| told(&e))?;
    let standard = match archive {
        Archive::TwoA => PdfStandard::A_2a,
        Archive::OneB => PdfStandard::A_1b,
    };
    let standards = PdfStandards::new(&[standard]).map_err(|e| PdfError(e.message().to_string()))?;
    let options = PdfOptions {
        creator: Smart::Custom(Some("spile".to_owned())),
        standards,
        tagged: archive == Archive::TwoA,
        ..PdfOptions::default()
    };
    exported(&document, &options).map_err(|e| told(&e))
}

fn told(faults: &[SourceDiagnostic]) -> PdfError {
    let first = faults.first().map_or_else(String::new, |f| f.message.to_string());
    PdfError(first)
}

/// The fonts that the program carries.
struct Fonts {
    book: LazyHash<FontBook>,
    fonts: Vec<Font>,
}

static FONTS: LazyLock<Fonts> = LazyLock::new(|| {
    let fonts: Vec<Font> =
        typst_assets::fonts().flat_map(|data| Font::iter(Bytes::new(data))).collect();
    Fonts { book: LazyHash::new(FontBook::from_fonts(&fonts)), fonts }
});

static LIBRARY: LazyLock<LazyHash<Library>> =
    LazyLock::new(|| LazyHash::new(<Library as typst::LibraryExt>::default()));

impl Fonts {
    fn has(&self, c: char) -> bool {
        c == '\u{200b}' || self.fonts.iter().any(|f| f.info().coverage.contains(u32::from(c)))
    }
}

/// The source and its pictures, as the typesetter asks for them.
struct Desk {
    main: Source,
    files: BTreeMap<String, Bytes>,
}

impl Desk {
    fn of(source: String, files: Vec<(String, Vec<u8>)>) -> Result<Self, PdfError> {
        let path = VirtualPath::new("report.typ").map_err(|_| PdfError("its own name".to_owned()))?;
        let id = RootedPath::new(VirtualRoot::Project, path).intern();
        let files = files.into_iter().map(|(name, bytes)| (name, Bytes::new(bytes))).collect();
        Ok(Self { main: Source::new(id, source), files })
    }
}

impl World for Desk {
    fn library(&self) -> &LazyHash<Library> {
        &LIBRARY
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &FONTS.book
    }

    fn main(&self) -> FileId {
        self.main.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.main.id() { Ok(self.main.clone()) } else { Err(FileError::AccessDenied) }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        let name = id.vpath().get_without_slash();
        self.files.get(name).cloned().ok_or(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        FONTS.fonts.get(index).cloned()
    }

    fn today(&self, _offset: Option<Duration>) -> Option<Datetime> {
        let [year, month, day] = DATE;
        Datetime::from_ymd(i32::from(year), month as u8, day as u8)
    }
}
