//! What a page must be: well-formed, whole in itself, with texts for what is drawn,
//! legible, and the same each time.

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};
use spile_report::colour::contrast;
use spile_report::html;

use crate::scene::{broken, held};

/// The three kinds of report.
fn pages() -> [(&'static str, String); 3] {
    [
        ("held", html(&held().document(true), None)),
        ("broken", html(&broken().document(true), None)),
        ("without a part", html(&broken().document(false), None)),
    ]
}

fn attribute(tag: &BytesStart, name: &str) -> Option<String> {
    let found = tag.attributes().map(|a| a.unwrap()).find(|a| a.key.as_ref() == name);
    found.map(|a| a.value.to_string())
}

/// Every tag of a page, by the strict reader.
fn tags(page: &str) -> Vec<BytesStart<'static>> {
    let mut reader = Reader::from_str(page);
    reader.config_mut().check_end_names = true;
    let mut tags = Vec::new();
    loop {
        match reader.read_event().unwrap_or_else(|e| panic!("{e} at {}", reader.buffer_position()))
        {
            Event::Start(tag) | Event::Empty(tag) => tags.push(tag.into_owned()),
            Event::Eof => return tags,
            _ => {}
        }
    }
}

/// What is read of a page: its text line by line, texts of pictures in brackets.
fn text(page: &str) -> String {
    let mut reader = Reader::from_str(page);
    let mut out = String::new();
    let mut is_style = false;
    loop {
        match reader.read_event().unwrap() {
            Event::Start(tag) | Event::Empty(tag) => {
                is_style = tag.name().as_ref() == "style";
                let of_picture = match tag.name().as_ref() {
                    "img" => attribute(&tag, "alt"),
                    "svg" => attribute(&tag, "aria-label"),
                    _ => None,
                };
                if let Some(alt) = of_picture {
                    out.push_str(&format!("[{alt}]\n"));
                }
                if matches!(tag.name().as_ref(), "td" | "dd") {
                    out.push_str(" | ");
                }
            }
            Event::Text(text) if !is_style => out.push_str(&text),
            Event::GeneralRef(entity) => {
                out.push_str(&format!("&{};", &*entity));
            }
            Event::End(_) => is_style = false,
            Event::Eof => break,
            _ => {}
        }
    }
    let lines = out.lines().map(str::trim_end).filter(|l| !l.is_empty());
    lines.collect::<Vec<_>>().join("\n")
}

#[test]
fn the_text_of_each_kind_reads_as_a_whole() {
    for (name, page) in pages() {
        insta::assert_snapshot!(name, text(&page));
    }
}

#[test]
fn a_page_is_well_formed_and_whole_in_itself() {
    for (name, page) in pages() {
        let tags = tags(&page);
        assert!(page.starts_with("<!DOCTYPE html>\n<html lang=\"en\">"), "{name}");
        for forbidden in
            ["http:", "https:", "//", "@import", "url(", "<script", "<link", "<iframe", "/root"]
        {
            let text = without_pictures(&page);
            assert!(!text.contains(forbidden), "{name}: {forbidden}");
        }
        for tag in &tags {
            for source in
                ["src", "href", "action", "srcset"].iter().filter_map(|a| attribute(tag, a))
            {
                assert!(source.starts_with("data:image/png;base64,"), "{name}: {source:.40}");
            }
            assert!(!tag.attributes().any(|a| a.unwrap().key.as_ref().starts_with("on")));
        }
        assert!(page.len() < 5_000_000);
    }
}

/// A page without the bytes of its pictures.
fn without_pictures(page: &str) -> String {
    page.split("data:image/png;base64,")
        .enumerate()
        .map(|(k, piece)| if k == 0 { piece } else { piece.split_once('"').map_or("", |p| p.1) })
        .collect()
}

#[test]
fn what_is_drawn_is_told_and_tables_and_headings_are_in_order() {
    for (name, page) in pages() {
        let tags = tags(&page);
        let mut level = 0;
        for tag in &tags {
            match tag.name().as_ref() {
                "img" => {
                    assert!(attribute(tag, "alt").is_some_and(|a| a.len() > 10), "{name}");
                    assert!(
                        attribute(tag, "width").is_some() && attribute(tag, "height").is_some()
                    );
                }
                "svg" => {
                    let is_told = attribute(tag, "aria-label").is_some_and(|a| a.len() > 10);
                    assert!(is_told || attribute(tag, "aria-hidden").is_some(), "{name}");
                }
                "th" => assert!(attribute(tag, "scope").is_some(), "{name}"),
                "h1" | "h2" | "h3" => {
                    let next = tag.name().as_ref()[1..].parse::<u8>().unwrap();
                    assert!(next <= level + 1, "{name}: from {level} to {next}");
                    level = next;
                }
                _ => {}
            }
        }
        let count = |wanted: &str| tags.iter().filter(|t| t.name().as_ref() == wanted).count();
        assert_eq!((count("h1"), count("main")), (1, 1), "{name}");
        assert_eq!(count("table"), count("caption"), "{name}");
        assert!(page.contains("@page { size: A4"));
    }
}

/// Colours of text in the style, on the grounds that they stand on.
#[test]
fn text_stands_out_as_wcag_aa_asks() {
    let page = html(&held().document(true), None);
    let colour = |name: &str| {
        let rest = page.split_once(&format!("--{name}: #")).unwrap().1;
        [0, 2, 4].map(|k| f64::from(u8::from_str_radix(&rest[k..k + 2], 16).unwrap()) / 255.0)
    };
    // WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for text of common size.
    for ink in ["ink", "soft", "held", "broken"] {
        assert!(contrast(colour(ink), [1.0; 3]) >= 4.5, "{ink}");
    }
    assert!(contrast(colour("ink"), colour("pale")) >= 4.5);
    // Criterion 1.4.11: 3 to 1 for lines of a chart.
    for line in ["#1f4f86", "#a34a00", "#4a6d8c"] {
        let rgb =
            [1, 3, 5].map(|k| f64::from(u8::from_str_radix(&line[k..k + 2], 16).unwrap()) / 255.0);
        assert!(contrast(rgb, [1.0; 3]) >= 3.0, "{line}");
    }
}

#[test]
fn the_same_proof_gives_the_same_bytes_on_any_number_of_threads() {
    let one = html(&held().document(true), None);
    for threads in [1, 2, 8] {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        assert!(one == pool.install(|| html(&held().document(true), None)), "{threads} threads");
    }
}
