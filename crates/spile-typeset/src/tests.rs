use spile_proof::Verdict;
use spile_report::Document;
use spile_report::document::{Align, Banner, Block, Cell, Figure, Image, Key, Span, Table, plain};

use super::{Standard, pdf};

/// Text that would be a mistake, or do something, if it were read as markup.
const WILD: &str = "#panic(1) *a $x_ <b> `c` @d \\ //e \u{4e2d} \u{301} \u{ad} [#f] \u{7}";

/// A document with a block of each kind, and text that is none of the typesetter's
/// business in each.
fn document(text: &str) -> Document {
    let words =
        || vec![Span::Plain(text.into()), Span::Code(text.into()), Span::Strong(text.into())];
    let svg = "<svg viewBox=\"0 0 9 9\" width=\"9\" height=\"9\"><path d=\"M1 1h5v5z\"/></svg>";
    let image = || Image::Svg(svg.to_owned(), [9, 9]);
    let figure = |key| Figure { image: image(), alt: text.into(), caption: words(), key };
    let cells = vec![
        Cell::Named(words(), text.into()),
        Cell::Text(words()),
        Cell::Hash(text.into()),
        Cell::Verdict(Verdict::Broken),
    ];
    let table = Table {
        caption: text.into(),
        head: cells.iter().map(|_| (text.into(), Align::Right)).collect(),
        rows: vec![cells.clone(), cells],
    };
    Document {
        title: text.into(),
        subtitle: text.into(),
        banner: Banner {
            verdict: Verdict::NotJudged,
            sentence: text.into(),
            points: vec![words()],
            caution: text.into(),
        },
        blocks: vec![
            Block::Heading { level: 2, text: text.into() },
            Block::Heading { level: 3, text: text.into() },
            Block::Paragraph(words()),
            Block::Note(words()),
            Block::List(vec![words(), plain("")]),
            Block::Facts(vec![(text.into(), words())]),
            Block::Table(table),
            Block::Figures(vec![
                figure(Some(Key::Tones(vec![("#1f4f86".into(), text.into())]))),
                figure(Some(Key::Scale(image(), text.into()))),
            ]),
            Block::Figures(vec![figure(None)]),
            Block::Code { name: text.into(), text: format!("{text}\n\n\t{text}\n") },
        ],
    }
}

#[test]
fn any_text_is_typeset_and_none_is_read_as_markup() {
    for text in [WILD, " ", "\u{feff}\u{202e}\u{e000}\u{1f600}", &"very long ".repeat(300)] {
        for standard in [Standard::PdfA2a, Standard::PdfA1b] {
            let file =
                pdf(&document(text), standard).unwrap_or_else(|said| panic!("{said}: {text}"));
            assert!(file.starts_with(b"%PDF-1."), "{text}");
        }
    }
}

#[test]
fn the_same_document_gives_the_same_bytes_on_any_number_of_threads() {
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| pdf(&document(WILD), Standard::PdfA2a).unwrap())
    };
    let first = on(1);
    assert!(on(1) == first && on(4) == first);
}
