//! The report as a page: one file, nothing fetched. All that it says it says without a
//! script; where it is given one, the part can be turned, too.

use std::fmt::Write as _;

use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use sha2::{Digest as _, Sha256};
use spile_proof::Verdict;

use crate::chart::escaped;
use crate::document::{
    Align, Banner, Block, Cell, Document, Figure, Image, Key, Span, Table, Text, sign,
};
use crate::number::count;
use crate::turnable::Turnable;

/// How the page looks, on screen and on paper.
const STYLE: &str = include_str!("page.css");

/// How the part to be turned stands in it.
const TURNABLE_STYLE: &str = include_str!("turnable.css");

/// How a script begins and ends that may stand in well-formed XML: comments to itself, to
/// XML the borders of plain text.
const BORDERS: [&str; 2] = ["//<![CDATA[\n", "\n//]]>"];
/// What ends it before its end, or is read otherwise than it is written.
const BREAKS_OFF: [&str; 4] = ["</script", "<!--", "]]>", "\r"];

/// The page. It is well-formed XML, too.
///
/// With the script that turns the part the document's part can be turned; a script that
/// cannot stand in such a page is left out.
pub fn html(document: &Document, script: Option<&str>) -> String {
    let has_part = document.blocks.iter().any(|b| matches!(b, Block::Turnable(_)));
    let script = script.filter(|text| has_part && can_stand(text));
    let style = format!("\n{STYLE}{}", if script.is_some() { TURNABLE_STYLE } else { "" });
    let mut out = String::from("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n");
    out.push_str("<meta charset=\"utf-8\"/>\n");
    let policy = policy(&style, script);
    let _ = writeln!(out, "<meta http-equiv=\"Content-Security-Policy\" content=\"{policy}\"/>");
    out.push_str("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n");
    let _ = write!(out, "<title>{}</title>\n<style>{style}</style>\n", escaped(&document.title));
    out.push_str("</head>\n<body>\n<main>\n<header>\n");
    let _ = writeln!(out, "<h1>{}</h1>", escaped(&document.title));
    let _ = writeln!(out, "<p class=\"subtitle\">{}</p>", escaped(&document.subtitle));
    out.push_str("</header>\n");
    banner(&mut out, &document.banner);
    let mut is_open = false;
    for part in &document.blocks {
        if let Block::Heading { level: 2, .. } = part {
            out.push_str(if is_open { "</section>\n<section>\n" } else { "<section>\n" });
            is_open = true;
        }
        match part {
            Block::Turnable(part) if script.is_some() => to_be_turned(&mut out, part),
            _ => block(&mut out, part),
        }
    }
    if is_open {
        out.push_str("</section>\n");
    }
    out.push_str("</main>\n");
    if let Some(script) = script {
        let _ = writeln!(out, "<script>{script}</script>");
    }
    out.push_str("</body>\n</html>\n");
    out
}

/// Whether a script can stand in the page as it is.
fn can_stand(script: &str) -> bool {
    let [begin, end] = BORDERS;
    let inner = script.strip_prefix(begin).and_then(|rest| rest.strip_suffix(end));
    inner.is_some_and(|text| !BREAKS_OFF.iter().any(|bad| text.contains(bad)))
}

/// What a browser may do with the page: show its own pictures in its own style, and run
/// its own script, each told by its hash. Nothing is fetched, sent or framed.
fn policy(style: &str, script: Option<&str>) -> String {
    let hash = |text: &str| format!("'sha256-{}'", BASE64_STANDARD.encode(Sha256::digest(text)));
    let script = script.map_or_else(|| "'none'".to_owned(), hash);
    format!(
        "default-src 'none'; script-src {script}; style-src {}; img-src data:; base-uri 'none'; \
         form-action 'none'",
        hash(style)
    )
}

/// The place where the script shows the part, hidden until it does, with what it needs.
fn to_be_turned(out: &mut String, part: &Turnable) {
    let own = count(part.whole);
    let told = if part.triangles == part.of {
        format!("All {own} triangles of the part are shown.")
    } else {
        format!(
            "The {own} triangles of joints, replaced scan, fittings and end faces are shown one by one. The other \
             {} are simplified to {} for this picture: there it shows about where things are, and \
             its colours are those of single points.",
            count(part.of - part.whole),
            count(part.triangles - part.whole)
        )
    };
    out.push_str("<div id=\"turnable\" hidden=\"hidden\">\n<h3>To be turned</h3>\n<div class=\"turnable\"></div>\n");
    let _ = writeln!(
        out,
        "<p class=\"note\">{told} The picture is drawn for the eye and judges nothing.</p>"
    );
    // A struct of numbers and texts can always be written.
    let json = serde_json::to_string(part).unwrap_or_default();
    let json = json.replace('&', "\\u0026").replace('<', "\\u003c").replace('>', "\\u003e");
    let _ = writeln!(out, "<script type=\"application/json\">{json}</script>\n</div>");
}

fn banner(out: &mut String, banner: &Banner) {
    let class = class(banner.verdict);
    let _ = writeln!(out, "<section class=\"banner {class}\" aria-label=\"Verdict\">");
    let _ = writeln!(
        out,
        "<p class=\"verdict\"><span class=\"sign\" aria-hidden=\"true\">{}</span> {}</p>",
        sign(banner.verdict),
        escaped(&banner.sentence)
    );
    if !banner.points.is_empty() {
        list(out, &banner.points);
    }
    let _ = writeln!(out, "<p class=\"caution\">{}</p>\n</section>", escaped(&banner.caution));
}

fn class(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Held => "held",
        Verdict::Broken => "broken",
        Verdict::NotJudged => "not-judged",
        Verdict::NotAsked => "not-asked",
    }
}

fn block(out: &mut String, block: &Block) {
    match block {
        Block::Heading { level, text } => {
            let _ = writeln!(out, "<h{level}>{}</h{level}>", escaped(text));
        }
        Block::Paragraph(words) => {
            let _ = writeln!(out, "<p>{}</p>", spans(words));
        }
        Block::Note(words) => {
            let _ = writeln!(out, "<p class=\"note\">{}</p>", spans(words));
        }
        Block::List(points) => list(out, points),
        Block::Facts(facts) => {
            out.push_str("<dl>\n");
            for (name, words) in facts {
                let name = escaped(name);
                let _ = writeln!(out, "<div><dt>{name}</dt><dd>{}</dd></div>", spans(words));
            }
            out.push_str("</dl>\n");
        }
        Block::Table(contents) => table(out, contents),
        Block::Figures(figures) => {
            let class = if figures.len() == 1 { "figures alone" } else { "figures" };
            let _ = writeln!(out, "<div class=\"{class}\">");
            figures.iter().for_each(|f| figure(out, f));
            out.push_str("</div>\n");
        }
        // Without a script there is nothing to turn it.
        Block::Turnable(_) => {}
        Block::Code { name, text } => {
            let _ = writeln!(
                out,
                "<pre tabindex=\"0\" role=\"region\" aria-label=\"{}\"><code>{}</code></pre>",
                escaped(name),
                escaped(text)
            );
        }
    }
}

fn list(out: &mut String, points: &[Text]) {
    out.push_str("<ul>\n");
    for words in points {
        let _ = writeln!(out, "<li>{}</li>", spans(words));
    }
    out.push_str("</ul>\n");
}

fn spans(words: &[Span]) -> String {
    let piece = |span: &Span| match span {
        Span::Plain(text) => escaped(text),
        Span::Code(text) => format!("<code>{}</code>", escaped(text)),
        Span::Strong(text) => format!("<strong>{}</strong>", escaped(text)),
    };
    words.iter().map(piece).collect()
}

fn table(out: &mut String, table: &Table) {
    let name = escaped(&table.caption);
    let _ = writeln!(
        out,
        "<div class=\"table\" tabindex=\"0\" role=\"region\" aria-label=\"{name}\">\n<table>\n<caption>{name}</caption>"
    );
    out.push_str("<thead>\n<tr>");
    for (name, align) in &table.head {
        let _ = write!(out, "<th scope=\"col\"{}>{}</th>", number(*align), escaped(name));
    }
    out.push_str("</tr>\n</thead>\n<tbody>\n");
    for row in &table.rows {
        out.push_str("<tr>");
        for (k, (cell, (name, align))) in row.iter().zip(&table.head).enumerate() {
            let (open, close) = if k == 0 { ("th scope=\"row\"", "th") } else { ("td", "td") };
            // On a narrow screen each cell says which column it is of.
            let label =
                if k == 0 { String::new() } else { format!(" data-label=\"{}\"", escaped(name)) };
            let _ = write!(out, "<{open}{label}{}>{}</{close}>", number(*align), inside(cell));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody>\n</table>\n</div>\n");
}

fn number(align: Align) -> &'static str {
    match align {
        Align::Left => "",
        Align::Right => " class=\"number\"",
    }
}

fn inside(cell: &Cell) -> String {
    match cell {
        Cell::Text(words) => spans(words),
        Cell::Named(name, plain) => {
            format!("{}<span class=\"plain\">{}</span>", spans(name), escaped(plain))
        }
        Cell::Hash(text) => format!("<code class=\"hash\">{}</code>", escaped(text)),
        Cell::Verdict(verdict) => format!(
            "<span class=\"standing {}\"><span aria-hidden=\"true\">{}</span> {}</span>",
            class(*verdict),
            sign(*verdict),
            verdict.word()
        ),
    }
}

fn figure(out: &mut String, figure: &Figure) {
    out.push_str("<figure>\n");
    image(out, &figure.image, &figure.alt);
    match &figure.key {
        Some(Key::Tones(tones)) => {
            out.push_str("<ul class=\"key\">");
            for (colour, name) in tones {
                let swatch = format!(
                    "<svg viewBox=\"0 0 14 14\" width=\"14\" height=\"14\" aria-hidden=\"true\"><rect width=\"14\" height=\"14\" fill=\"{colour}\"/></svg>"
                );
                let _ = write!(out, "<li>{swatch} {}</li>", escaped(name));
            }
            out.push_str("</ul>\n");
        }
        Some(Key::Scale(scale, alt)) => image(out, scale, alt),
        None => {}
    }
    let _ = writeln!(out, "<figcaption>{}</figcaption>\n</figure>", spans(&figure.caption));
}

fn image(out: &mut String, image: &Image, alt: &str) {
    let alt = escaped(alt);
    match image {
        Image::Png(bytes, [width, height]) => {
            let _ = writeln!(
                out,
                "<img alt=\"{alt}\" width=\"{width}\" height=\"{height}\" src=\"data:image/png;base64,{}\"/>",
                BASE64_STANDARD.encode(bytes)
            );
        }
        Image::Svg(svg, _) => {
            let named =
                svg.replacen("<svg ", &format!("<svg role=\"img\" aria-label=\"{alt}\" "), 1);
            let _ = writeln!(out, "{named}");
        }
    }
}
