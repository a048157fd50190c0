//! The document in the typesetter's own language.
//!
//! Every text goes in as a quoted string, so that nothing in it is read as markup.

use std::fmt::Write as _;

use crate::document::{
    Align, Banner, Block, Cell, Document, Figure, Image, Key, Span, Standing, Table, Text,
};

/// How sheets look.
const STYLE: &str = r##"
#set page(paper: "a4", margin: (x: 19mm, top: 18mm, bottom: 21mm), footer: context [
  #set text(8pt, fill: rgb("#4d565f"))
  #document.title #h(1fr) #counter(page).display("1 / 1", both: true)
])
#set text(font: "Libertinus Serif", lang: "en", size: 10pt, fill: rgb("#1c2126"), number-type: "lining")
#set par(leading: 0.58em, spacing: 0.9em)
#set list(marker: [–], indent: 0pt, spacing: 0.65em)
#show raw: set text(font: "DejaVu Sans Mono", size: 0.82em)
#show heading.where(level: 1): set text(21pt, weight: "semibold")
#show heading.where(level: 2): set text(13.5pt, weight: "semibold")
#show heading.where(level: 2): set block(above: 9mm, below: 4mm, stroke: (top: 0.5pt + rgb("#d9dde1")), inset: (top: 3mm), width: 100%)
#show heading.where(level: 3): set text(10.5pt, weight: "semibold")
#show heading.where(level: 3): set block(above: 6mm, below: 3mm)
#show table: set text(8pt, number-width: "tabular")
#show table: set par(justify: false, leading: 0.5em)
#set table(stroke: (x, y) => (bottom: if y == 0 { 0.7pt + rgb("#1c2126") } else { 0.4pt + rgb("#d9dde1") }), inset: (x: 2.2pt, y: 3.2pt))
#set figure(numbering: none, supplement: none, gap: 2mm)
#show figure.caption: set text(8.5pt, fill: rgb("#4d565f"))
#show figure.caption: set align(left)
#show figure: set align(left)
#let soft(body) = text(8.5pt, fill: rgb("#4d565f"), body)
"##;

/// The whole source, and the files that it shows by name.
pub(crate) struct Typeset {
    /// The source.
    pub source: String,
    /// The pictures.
    pub files: Vec<(String, Vec<u8>)>,
}

/// Sets the document; `fixed_date` is year, month and day, `shown` gives what stands for
/// a character that the fonts lack.
pub(crate) fn typeset(
    document: &Document,
    fixed_date: [u16; 3],
    has_bookmarks: bool,
    shown: &dyn Fn(char) -> char,
) -> Typeset {
    let mut sheet = Sheet { out: String::new(), files: Vec::new(), shown };
    let [year, month, day] = fixed_date;
    let title = sheet.quoted(&document.title);
    let _ = writeln!(
        sheet.out,
        "#set document(title: {title}, date: datetime(year: {year}, month: {month}, day: {day}))\n\
         #set heading(bookmarked: {has_bookmarks}, outlined: {has_bookmarks})"
    );
    sheet.out.push_str(STYLE);
    let subtitle = sheet.quoted(&document.subtitle);
    let _ = writeln!(sheet.out, "#heading(level: 1, {title})\n#par(soft({subtitle}))\n#v(3mm)");
    sheet.banner(&document.banner);
    document.blocks.iter().for_each(|block| sheet.block(block));
    Typeset { source: sheet.out, files: sheet.files }
}

struct Sheet<'a> {
    out: String,
    files: Vec<(String, Vec<u8>)>,
    shown: &'a dyn Fn(char) -> char,
}

fn ink(standing: Standing) -> &'static str {
    match standing {
        Standing::Held => "#1f5f3f",
        Standing::Broken | Standing::NotJudged => "#8c2a12",
        Standing::NotAsked => "#4d565f",
    }
}

impl Sheet<'_> {
    /// A text as a string of the language.
    fn quoted(&self, text: &str) -> String {
        let mut out = String::from("\"");
        for c in text.chars() {
            match c {
                '\\' => out.push_str("\\\\"),
                '"' => out.push_str("\\\""),
                '\n' => out.push_str("\\n"),
                '\t' => out.push_str("    "),
                '\r' => {}
                c => out.push((self.shown)(c)),
            }
        }
        out.push('"');
        out
    }

    /// A text as content.
    fn spans(&self, words: &[Span]) -> String {
        let mut out = String::from("[");
        for span in words {
            let _ = match span {
                Span::Plain(text) => write!(out, "#{};", self.quoted(text)),
                Span::Code(text) => write!(out, "#raw({});", self.quoted(text)),
                Span::Strong(text) => write!(out, "#strong({});", self.quoted(text)),
            };
        }
        out.push(']');
        out
    }

    fn banner(&mut self, banner: &Banner) {
        let colour = ink(banner.standing);
        let sentence = self.quoted(&format!("{} {}", banner.standing.sign(), banner.sentence));
        let points = self.points(&banner.points);
        let caution = self.quoted(&banner.caution);
        let _ = writeln!(
            self.out,
            "#block(width: 100%, inset: (left: 5mm, right: 4mm, y: 4mm), stroke: (left: 2.5pt + rgb(\"{colour}\"), rest: 0.4pt + rgb(\"#d9dde1\")))[\
             #par(text(14pt, weight: \"semibold\", fill: rgb(\"{colour}\"), {sentence}))\n{points}\n#par(soft({caution}))]"
        );
    }

    fn points(&self, points: &[Text]) -> String {
        if points.is_empty() {
            return String::new();
        }
        let items: Vec<String> = points.iter().map(|p| self.spans(p)).collect();
        format!("#list({})", items.join(", "))
    }

    fn block(&mut self, block: &Block) {
        match block {
            Block::Heading { level, text } => {
                let text = self.quoted(text);
                let _ = writeln!(self.out, "#heading(level: {level}, {text})");
            }
            Block::Paragraph(words) => {
                let words = self.spans(words);
                let _ = writeln!(self.out, "#par{words}");
            }
            Block::Note(words) => {
                let words = self.spans(words);
                let _ = writeln!(self.out, "#par(soft{words})");
            }
            Block::List(points) => {
                let points = self.points(points);
                let _ = writeln!(self.out, "{points}");
            }
            Block::Facts(facts) => self.facts(facts),
            Block::Table(table) => self.table(table),
            Block::Figures(figures) => self.figures(figures),
            Block::Code { text, .. } => {
                let text = self.quoted(text.trim_end());
                let _ = writeln!(
                    self.out,
                    "#block(width: 100%, inset: 3mm, fill: rgb(\"#f5f6f7\"))[#set text(8pt)\n#raw(block: true, {text})]"
                );
            }
        }
    }

    fn facts(&mut self, facts: &[(String, Text)]) {
        let items: Vec<String> = facts
            .iter()
            .map(|(name, words)| {
                format!("terms.item({}, {})", self.quoted(name), self.spans(words))
            })
            .collect();
        let _ = writeln!(self.out, "#terms(tight: true, separator: h(0.8em, weak: true), {})", items.join(", "));
    }

    fn table(&mut self, table: &Table) {
        let caption = self.quoted(&table.caption);
        let columns = widths(table);
        let aligns: Vec<&str> = table
            .head
            .iter()
            .map(|(_, align)| if *align == Align::Left { "left" } else { "right" })
            .collect();
        let head: Vec<String> = table
            .head
            .iter()
            .map(|(name, _)| format!("[#strong({})]", self.quoted(name)))
            .collect();
        let _ = writeln!(self.out, "#par(soft({caption}))");
        let _ = writeln!(
            self.out,
            "#table(columns: ({},), align: ({},), table.header({}),",
            columns.join(", "),
            aligns.join(", "),
            head.join(", ")
        );
        for row in &table.rows {
            let cells: Vec<String> = row.iter().map(|cell| self.cell(cell)).collect();
            let _ = writeln!(self.out, "  {},", cells.join(", "));
        }
        self.out.push_str(")\n");
    }

    fn cell(&self, cell: &Cell) -> String {
        match cell {
            Cell::Text(words) => self.spans(words),
            Cell::Named(name, plain) => format!(
                "[{}\\ #text(7pt, fill: rgb(\"#4d565f\"), {})]",
                self.spans(name).trim_start_matches('[').trim_end_matches(']'),
                self.quoted(plain)
            ),
            // Room to break anywhere.
            Cell::Hash(text) => {
                let pieces: Vec<String> =
                    text.as_bytes().chunks(8).map(|c| String::from_utf8_lossy(c).into()).collect();
                format!("[#raw({})]", self.quoted(&pieces.join("\u{200b}")))
            }
            Cell::Standing(standing) => format!(
                "[#text(fill: rgb(\"{}\"), weight: \"semibold\", {})]",
                ink(*standing),
                self.quoted(&format!("{} {}", standing.sign(), standing.word()))
            ),
        }
    }

    fn figures(&mut self, figures: &[Figure]) {
        let drawn: Vec<String> = figures.iter().map(|f| self.figure(f)).collect();
        let columns = if figures.len() == 1 { "(72%,)" } else { "(1fr, 1fr)" };
        let _ = writeln!(
            self.out,
            "#grid(columns: {columns}, column-gutter: 6mm, row-gutter: 6mm, {})",
            drawn.join(", ")
        );
    }

    fn figure(&mut self, figure: &Figure) -> String {
        let image = self.image(&figure.image, &figure.alt, "100%");
        let below = match &figure.key {
            None => String::new(),
            Some(Key::Tones(tones)) => {
                let items: Vec<String> = tones
                    .iter()
                    .map(|(colour, name)| {
                        format!(
                            "box[#box(width: 7pt, height: 7pt, fill: rgb(\"{colour}\")) #soft({})]",
                            self.quoted(name)
                        )
                    })
                    .collect();
                format!("#par({})", items.join(" + h(1em, weak: true) + "))
            }
            Some(Key::Scale(scale, alt)) => {
                format!("#{}", self.image(scale, alt, "80%"))
            }
        };
        let caption = self.spans(&figure.caption);
        format!("figure(kind: image, caption: figure.caption(position: bottom, {caption}), [#{image}\n{below}])")
    }

    fn image(&mut self, image: &Image, alt: &str, width: &str) -> String {
        let number = self.files.len() + 1;
        let (name, bytes) = match image {
            Image::Png(bytes, _) => (format!("picture-{number}.png"), bytes.clone()),
            Image::Svg(svg, _) => {
                let named = svg.replacen("<svg ", "<svg xmlns=\"http://www.w3.org/2000/svg\" ", 1);
                let shown: String = named.chars().map(self.shown).collect();
                (format!("drawing-{number}.svg"), shown.into_bytes())
            }
        };
        let call = format!("image(\"{name}\", width: {width}, alt: {})", self.quoted(alt));
        self.files.push((name, bytes));
        call
    }
}

/// Columns as wide as their longest word wants, within reason.
fn widths(table: &Table) -> Vec<String> {
    let length = |cell: &Cell| match cell {
        Cell::Text(words) => words.iter().map(span_length).sum(),
        Cell::Named(name, plain) => {
            name.iter().map(span_length).sum::<usize>().max(plain.chars().count() * 2 / 3)
        }
        Cell::Hash(_) => 40,
        Cell::Standing(standing) => standing.word().len() + 2,
    };
    let column = |k: usize| {
        let head = table.head[k].0.chars().count();
        let most = table.rows.iter().filter_map(|r| r.get(k)).map(length).max().unwrap_or(0);
        format!("{}fr", most.max(head).clamp(7, 34))
    };
    (0..table.head.len()).map(column).collect()
}

fn span_length(span: &Span) -> usize {
    match span {
        Span::Plain(text) | Span::Strong(text) => text.chars().count(),
        Span::Code(text) => text.chars().count() * 5 / 4,
    }
}
