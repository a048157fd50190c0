//! What was changed and mended, the files with their hashes, the case in full.

use spile_proof::MendRecord;

use crate::document::{Align, Block, Cell, Span, Table, Text, plain};
use crate::evidence::{Evidence, FileRecord};
use crate::number::{count, digits, place};

/// Mends that are listed one by one; of more the largest are.
const MENDS_LISTED: usize = 60;

/// Of a case's text no more than this is shown, in bytes: about fifty pages.
const TEXT_SHOWN: usize = 200_000;

/// The part in a few figures.
pub(crate) fn facts(evidence: &Evidence) -> Vec<Block> {
    let unit = evidence.unit;
    let mut facts: Vec<(String, Text)> = Vec::new();
    let mut fact = |name: &str, text: String| facts.push((name.to_owned(), plain(text)));
    if let Some(mesh) = evidence.mesh {
        let bounds = mesh.bounds();
        let [x, y, z] = (bounds.max - bounds.min).to_array().map(digits);
        fact("Size", format!("{x} \u{d7} {y} \u{d7} {z} {unit}"));
    }
    if let Some((part, _)) = &evidence.part {
        fact("Volume of material", format!("{} {unit}\u{b3}", digits(part.volume)));
        fact("Surface", format!("{} {unit}\u{b2}", digits(part.area)));
        fact("Triangles", count(part.triangles));
        let shells = part.shells;
        fact("Shells", count(shells));
        fact("Open edges", count(part.boundary_edges));
        fact("Self-intersections", count(part.self_intersections));
    }
    let ends: Vec<&str> = evidence.settled.ends.iter().map(|e| e.name.as_str()).collect();
    fact("Ends", ends.join(", "));
    fact("Unit of every length", unit.to_owned());
    fact("Made and proved by", format!("spile {}", evidence.version));
    vec![Block::Facts(facts)]
}

/// What became of the scan.
pub(crate) fn changed(evidence: &Evidence) -> Vec<Block> {
    let unit = evidence.unit;
    let mut blocks = vec![Block::Heading { level: 2, text: "What was changed".to_owned() }];
    match &evidence.part {
        None => blocks.push(Block::Paragraph(plain("No part closes, so nothing was changed."))),
        Some((_, changed)) => {
            let area = |x: f64| format!("{} {unit}\u{b2}", digits(x));
            let facts = [
                ("Scan triangles kept bit for bit", count(changed.triangles_kept)),
                ("Scan triangles replaced", count(changed.triangles_replaced)),
                ("Area of the scan replaced", area(changed.area_replaced)),
                ("Area of the scan given up", area(changed.area_given_up)),
            ];
            let facts = facts.map(|(name, text)| (name.to_owned(), plain(text)));
            blocks.push(Block::Facts(facts.to_vec()));
            blocks.push(Block::Note(plain(
                "Given up is what lies beyond the cuts or was trimmed off the rims.",
            )));
        }
    }
    blocks
}

/// What was mended.
pub(crate) fn mends(evidence: &Evidence) -> Vec<Block> {
    let mut blocks = vec![Block::Heading { level: 2, text: "What was mended".to_owned() }];
    if evidence.mends.is_empty() {
        blocks.push(Block::Paragraph(plain("Nothing: the scan needed no mending.")));
        return blocks;
    }
    let mut listed: Vec<&MendRecord> = evidence.mends.iter().collect();
    if listed.len() > MENDS_LISTED {
        listed.sort_by(|a, b| b.size.total_cmp(&a.size));
        listed.truncate(MENDS_LISTED);
        blocks.push(Block::Paragraph(vec![
            Span::Plain(format!(
                "{} mends; the {MENDS_LISTED} largest are listed here, all of them in ",
                count(evidence.mends.len())
            )),
            Span::Code("proof.json".to_owned()),
            Span::Plain(".".to_owned()),
        ]));
    }
    let unit = evidence.unit;
    let row = |mend: &&MendRecord| {
        vec![
            Cell::from(mend.kind.as_str()),
            place(mend.where_).into(),
            format!("{} {unit}", digits(mend.size)).into(),
        ]
    };
    blocks.push(Block::Table(Table {
        caption: "Each mend changed nothing outside the ball that is given".to_owned(),
        head: [("Defect", Align::Left), ("Where", Align::Left), ("Ball's diameter", Align::Right)]
            .map(|(name, align)| (name.to_owned(), align))
            .to_vec(),
        rows: listed.iter().map(row).collect(),
    }));
    blocks
}

/// The files with their hashes, the case, the version.
pub(crate) fn records(evidence: &Evidence) -> Vec<Block> {
    let mut blocks = vec![Block::Heading { level: 2, text: "Files".to_owned() }];
    let inputs = evidence.inputs.iter().map(|f| ("in", f));
    let outputs = evidence.outputs.iter().map(|f| ("out", f));
    blocks.push(file_table(
        "The files that this report is about; a file with another hash is another file",
        inputs.chain(outputs),
    ));
    blocks.push(Block::Heading { level: 2, text: "The case".to_owned() });
    blocks.push(Block::Note(plain(
        "As it was settled: what was asked, with every automatic value written out. Points of seams \
         are left out here and stand in the settled case's own file.",
    )));
    blocks.push(Block::Code {
        name: "The settled case without the points of its seams".to_owned(),
        text: shown(&without_points(evidence.settled_text)),
    });
    blocks
}

/// Files with their hashes, each with the side that it is on.
pub(crate) fn file_table<'a>(
    caption: &str,
    files: impl IntoIterator<Item = (&'a str, &'a FileRecord)>,
) -> Block {
    let row = |(side, file): (&str, &FileRecord)| {
        vec![
            Cell::Text(vec![Span::Code(file.file.clone())]),
            side.into(),
            file.triangles.map_or_else(String::new, count).into(),
            Cell::Hash(file.sha256.clone()),
        ]
    };
    Block::Table(Table {
        caption: caption.to_owned(),
        head: [
            ("File", Align::Left),
            ("Side", Align::Left),
            ("Triangles", Align::Right),
            ("SHA-256", Align::Left),
        ]
        .map(|(name, align)| (name.to_owned(), align))
        .to_vec(),
        rows: files.into_iter().map(row).collect(),
    })
}

/// A text, cut after a line or a letter where it is very long, which is said there.
fn shown(text: &str) -> String {
    if text.len() <= TEXT_SHOWN {
        return text.to_owned();
    }
    let most = text.floor_char_boundary(TEXT_SHOWN);
    let end = text[..most].rfind('\n').unwrap_or(most);
    let left_out = text.len() - end;
    format!("{}\n# {} further bytes are left out here\n", &text[..end], count(left_out))
}

/// A settled case's text with each long list of points cut to its first line.
fn without_points(text: &str) -> String {
    let mut out = String::new();
    let mut left_out = 0;
    for line in text.lines() {
        let is_point = line.trim_start().starts_with('[') && line.trim_end().ends_with("],");
        if is_point {
            left_out += 1;
            continue;
        }
        if left_out > 0 {
            out.push_str(&format!("    # {left_out} points\n"));
            left_out = 0;
        }
        out.push_str(line);
        out.push('\n');
    }
    out
}

/// What the report is not about, once more and in full.
pub(crate) fn cautions(evidence: &Evidence) -> Vec<Block> {
    let cautions = [
        evidence.caution,
        "The scan differs from what was scanned, and a made part from its file, each often by more \
         than the deviation that is proved here.",
        "The limits were chosen by whoever wrote the case; that they are the right ones is not proved.",
        "Round fittings are drawn to the dimensions given, standard cones and sockets to provisional \
         basic dimensions. No standard is claimed: check the made part with the standard's gauges.",
        "STL files carry no unit. Scaling or editing the part voids this report.",
    ];
    vec![
        Block::Heading { level: 2, text: "Cautions".to_owned() },
        Block::List(cautions.iter().map(|c| plain(*c)).collect()),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_very_long_case_is_cut_and_says_so() {
        assert_eq!(shown("unit = \"mm\"\n"), "unit = \"mm\"\n");
        let lines = "keep = [1]\n".repeat(50_000);
        let short = shown(&lines);
        assert!(short.len() < TEXT_SHOWN + 100);
        let (kept, said) = short.split_once('#').unwrap();
        assert!(lines.starts_with(kept.trim_end()) && said.contains("further bytes are left out"));
        // One line without an end, of letters of several bytes.
        assert!(shown(&"\u{e9}".repeat(200_000)).len() < TEXT_SHOWN + 100);
    }
}
