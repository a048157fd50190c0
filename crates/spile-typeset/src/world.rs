//! What the typesetter may see: one template, the values it shows, and fonts from the binary.

use std::sync::LazyLock;

use typst::diag::{FileError, FileResult};
use typst::foundations::{Bytes, Datetime, Dict, Duration};
use typst::syntax::{FileId, Source};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Feature, Library, LibraryExt, World};

/// How a document looks; it holds none of the words.
const TEMPLATE: &str = include_str!("document.typ");

/// The fonts, regular faces of text and code first.
pub(crate) static FONTS: LazyLock<Vec<Font>> = LazyLock::new(|| {
    let all = typst_assets::fonts().flat_map(|data| Font::iter(Bytes::new(data)));
    all.filter(|font| {
        ["Libertinus Serif", "DejaVu Sans Mono"].contains(&font.info().family.as_str())
    })
    .collect()
});

/// A world of one source: nothing is read from a disk, and no day is told.
pub(crate) struct OneSource {
    provided: LazyHash<Library>,
    book: LazyHash<FontBook>,
    source: Source,
}

impl OneSource {
    /// The template with what it is to show.
    pub(crate) fn new(values: Dict) -> Self {
        // Marks cells at the head of a row, for those who hear a table.
        let features = [Feature::A11yExtras].into_iter().collect();
        let library = Library::builder().with_inputs(values).with_features(features).build();
        Self {
            provided: LazyHash::new(library),
            book: LazyHash::new(FontBook::from_fonts(FONTS.iter())),
            source: Source::detached(TEMPLATE),
        }
    }
}

impl World for OneSource {
    fn library(&self) -> &LazyHash<Library> {
        &self.provided
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &self.book
    }

    fn main(&self) -> FileId {
        self.source.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.source.id() { Ok(self.source.clone()) } else { Err(FileError::AccessDenied) }
    }

    fn file(&self, _: FileId) -> FileResult<Bytes> {
        Err(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        FONTS.get(index).cloned()
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}
