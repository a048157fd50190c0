//! A document as values that the template shows.

use spile_proof::Verdict;
use spile_report::document::{
    Align, Block, Cell, Document, Figure, Image, Key, Span, Table, Text, sign,
};
use typst::foundations::{Array, Bytes, Dict, IntoValue, Value, dict};

use crate::world::FONTS;

/// Which letters are written as they are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Letters {
    /// All that a font has a glyph for.
    WithGlyphs,
    /// Those of ASCII.
    Ascii,
}

/// The whole document.
pub(crate) fn values(document: &Document, letters: Letters, is_bookmarked: bool) -> Dict {
    let write = Writer { letters };
    let banner = &document.banner;
    dict! {
        "title" => write.string(&document.title),
        "subtitle" => write.string(&document.subtitle),
        "bookmarked" => is_bookmarked,
        "banner" => dict! {
            "standing" => write.standing(banner.verdict),
            "sentence" => write.string(&banner.sentence),
            "points" => write.texts(&banner.points),
            "caution" => write.string(&banner.caution),
        },
        "blocks" => document.blocks.iter().filter_map(|b| write.block(b)).collect::<Array>(),
    }
}

struct Writer {
    letters: Letters,
}

impl Writer {
    /// Text in which each letter has a glyph: a file for keeping may not show a box instead.
    fn string(&self, text: &str) -> String {
        let mut out = String::with_capacity(text.len());
        for letter in text.chars() {
            match letter {
                '\n' | ' '..='~' => out.push(letter),
                '\t' => out.push_str("    "),
                '\r' => {}
                _ if self.letters == Letters::WithGlyphs && has_glyph(letter) => out.push(letter),
                _ => out.push_str(&format!("[U+{:04X}]", letter as u32)),
            }
        }
        out
    }

    /// None of what paper cannot show.
    fn block(&self, block: &Block) -> Option<Value> {
        let (kind, holds) = match block {
            Block::Turnable(_) => return None,
            Block::Heading { level, text } => (
                "heading",
                dict! { "level" => i64::from(*level), "text" => self.string(text) }.into_value(),
            ),
            Block::Paragraph(words) => ("paragraph", self.text(words)),
            Block::Note(words) => ("note", self.text(words)),
            Block::List(points) => ("list", self.texts(points)),
            Block::Facts(facts) => {
                let fact = |(name, words): &(String, Text)| {
                    dict! { "name" => self.string(name), "text" => self.text(words) }.into_value()
                };
                ("facts", facts.iter().map(fact).collect::<Array>().into_value())
            }
            Block::Table(table) => ("table", self.table(table)),
            Block::Figures(figures) => {
                let figures = figures.iter().map(|f| self.figure(f));
                ("figures", figures.collect::<Array>().into_value())
            }
            Block::Code { name, text } => {
                let text = self.string(text.trim_end());
                ("code", dict! { "name" => self.string(name), "text" => text }.into_value())
            }
        };
        Some(dict! { "kind" => kind, "holds" => holds }.into_value())
    }

    fn texts(&self, texts: &[Text]) -> Value {
        texts.iter().map(|t| self.text(t)).collect::<Array>().into_value()
    }

    fn text(&self, words: &[Span]) -> Value {
        let piece = |span: &Span| {
            let (kind, text) = match span {
                Span::Plain(text) => ("plain", text),
                Span::Code(text) => ("code", text),
                Span::Strong(text) => ("strong", text),
            };
            dict! { "kind" => kind, "text" => self.string(text) }.into_value()
        };
        words.iter().map(piece).collect::<Array>().into_value()
    }

    fn standing(&self, verdict: Verdict) -> Value {
        let kind = match verdict {
            Verdict::Held => "held",
            Verdict::Broken => "broken",
            Verdict::NotJudged => "not-judged",
            Verdict::NotAsked => "not-asked",
        };
        dict! { "kind" => kind, "sign" => sign(verdict), "word" => verdict.word() }.into_value()
    }

    fn table(&self, table: &Table) -> Value {
        let head = |(name, align): &(String, Align)| {
            let side = match align {
                Align::Left => "left",
                Align::Right => "right",
            };
            dict! { "text" => self.string(name), "side" => side }.into_value()
        };
        let cells = table.rows.iter().flatten().map(|c| self.cell(c));
        dict! {
            "caption" => self.string(&table.caption),
            "head" => table.head.iter().map(head).collect::<Array>(),
            "cells" => cells.collect::<Array>(),
        }
        .into_value()
    }

    fn cell(&self, cell: &Cell) -> Value {
        let (kind, holds) = match cell {
            Cell::Text(words) => ("text", self.text(words)),
            Cell::Verdict(verdict) => ("verdict", self.standing(*verdict)),
            Cell::Named(name, plain) => (
                "named",
                dict! { "name" => self.text(name), "plain" => self.string(plain) }.into_value(),
            ),
            Cell::Hash(text) => ("hash", self.string(text).into_value()),
        };
        dict! { "kind" => kind, "holds" => holds }.into_value()
    }

    fn figure(&self, figure: &Figure) -> Value {
        let key = match &figure.key {
            None => Value::None,
            Some(Key::Tones(tones)) => {
                let tone = |(colour, name): &(String, String)| {
                    dict! { "colour" => colour.as_str(), "name" => self.string(name) }.into_value()
                };
                dict! { "tones" => tones.iter().map(tone).collect::<Array>() }.into_value()
            }
            Some(Key::Scale(image, alt)) => {
                dict! { "scale" => self.image(image, alt) }.into_value()
            }
        };
        dict! {
            "image" => self.image(&figure.image, &figure.alt),
            "caption" => self.text(&figure.caption),
            "key" => key,
        }
        .into_value()
    }

    fn image(&self, image: &Image, alt: &str) -> Value {
        let (format, bytes) = match image {
            Image::Png(bytes, _) => ("png", Bytes::new(bytes.clone())),
            Image::Svg(svg, _) => {
                // In a page the element needs no name space, as a file it does.
                let opening = "<svg xmlns=\"http://www.w3.org/2000/svg\" ";
                let file = self.string(svg).replacen("<svg ", opening, 1);
                ("svg", Bytes::from_string(file))
            }
        };
        dict! { "bytes" => bytes, "format" => format, "alt" => self.string(alt) }.into_value()
    }
}

fn has_glyph(letter: char) -> bool {
    !letter.is_control() && FONTS.iter().any(|font| font.info().coverage.contains(letter as u32))
}
