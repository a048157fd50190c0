//! The report as a document: what it says, apart from how it is shown. The page
//! (`html`) is made from this alone.

use spile_proof::Verdict;

use crate::turnable::Turnable;

/// A whole report.
#[derive(Debug, Clone, PartialEq)]
pub struct Document {
    /// Its title.
    pub title: String,
    /// One line below it.
    pub subtitle: String,
    /// What stands first: the verdict.
    pub banner: Banner,
    /// The rest, in order.
    pub blocks: Vec<Block>,
}

/// A sign that goes before a verdict's word, told apart by shape and not by colour.
pub fn sign(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Held => "\u{2713}",
        Verdict::Broken => "\u{00d7}",
        Verdict::NotJudged => "?",
        Verdict::NotAsked => "\u{2013}",
    }
}

/// The verdict on the whole.
#[derive(Debug, Clone, PartialEq)]
pub struct Banner {
    /// Held or broken.
    pub verdict: Verdict,
    /// The verdict in a sentence.
    pub sentence: String,
    /// What is behind it; empty if nothing needs saying.
    pub points: Vec<Text>,
    /// What the verdict is not about.
    pub caution: String,
}

/// A run of text in pieces.
pub type Text = Vec<Span>;

/// A piece of text.
#[derive(Debug, Clone, PartialEq)]
pub enum Span {
    /// As it is.
    Plain(String),
    /// A name or key as it stands in a file.
    Code(String),
    /// Weightier.
    Strong(String),
}

/// A paragraph's text without names or weight.
pub fn plain(text: impl Into<String>) -> Text {
    vec![Span::Plain(text.into())]
}

/// A text in which what stands between backticks is a name.
pub fn with_names(text: &str) -> Text {
    let pieces = text.split('`').enumerate();
    let spans = pieces.filter(|(_, piece)| !piece.is_empty()).map(|(k, piece)| match k % 2 {
        0 => Span::Plain(piece.to_owned()),
        _ => Span::Code(piece.to_owned()),
    });
    spans.collect()
}

/// A part of the document.
#[derive(Debug, Clone, PartialEq)]
pub enum Block {
    /// A heading: level 2 a section, level 3 below it.
    Heading {
        /// 2 or 3.
        level: u8,
        /// Its text.
        text: String,
    },
    /// A paragraph.
    Paragraph(Text),
    /// A smaller paragraph that explains what stands above it.
    Note(Text),
    /// Points in a list.
    List(Vec<Text>),
    /// Names and what they are.
    Facts(Vec<(String, Text)>),
    /// A table.
    Table(Table),
    /// Figures that belong side by side where there is room.
    Figures(Vec<Figure>),
    /// The part, to be turned where a page has a script for it; nothing anywhere else.
    Turnable(Box<Turnable>),
    /// A file's text as it is.
    Code {
        /// What it is, for those who cannot see it.
        name: String,
        /// Its lines.
        text: String,
    },
}

/// Which side a column's text stands on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

/// A table with one row of headers, whose first column heads each row.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// What it holds.
    pub caption: String,
    /// Its columns' headers, and where their text stands.
    pub head: Vec<(String, Align)>,
    /// Its rows; each as long as the head.
    pub rows: Vec<Vec<Cell>>,
}

/// One cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Text.
    Text(Text),
    /// A verdict.
    Verdict(Verdict),
    /// A name with a plain word for it below.
    Named(Text, String),
    /// A hash or another long name that may break anywhere.
    Hash(String),
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Self::Text(plain(text))
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Self::Text(plain(text))
    }
}

/// A picture or a drawing with its caption.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// What is drawn.
    pub image: Image,
    /// What is to be seen, for those who cannot see it.
    pub alt: String,
    /// What stands below.
    pub caption: Text,
    /// What colours mean.
    pub key: Option<Key>,
}

/// What is drawn.
#[derive(Debug, Clone, PartialEq)]
pub enum Image {
    /// A PNG file with its width and height.
    Png(Vec<u8>, [usize; 2]),
    /// An SVG element with its width and height; its text is dark on white.
    Svg(String, [usize; 2]),
}

/// What the colours of a picture mean.
#[derive(Debug, Clone, PartialEq)]
pub enum Key {
    /// Some tones with their names; `#rrggbb`.
    Tones(Vec<(String, String)>),
    /// A drawing of the scale.
    Scale(Image, String),
}
