//! The report of two results of a case: what was asked and measured in each, limit by limit,
//! and what changed at which end.

use spile_case::Case;
use spile_mesh::{Mesh, NEVER_STOP};
use spile_proof::{EndStations, Verdict};

use crate::colour::tone;
use crate::comparison::{Apart, distances, drawn, map};
use crate::contents::{Shot, figures, heading};
use crate::document::{Align, Banner, Block, Cell, Document, Span, Table, Text, plain};
use crate::evidence::FileRecord;
use crate::limits_told::plain_word;
use crate::number::{Sense, asked_text, count, digits, measured_text, place};
use crate::picture::Surface;
use crate::records_told::file_table;
use crate::views::{cut_open, frame, toned};

/// So many changed ends have pictures.
const ENDS_DRAWN: usize = 4;

/// Two results of a case, A and B. Lengths are in one unit; what is told of each stands in
/// the order A, B.
#[derive(Debug, Clone, Copy)]
pub struct Revisions<'a> {
    /// Version of the program.
    pub version: &'a str,
    /// The unit of all lengths.
    pub unit: &'a str,
    /// What the two are called.
    pub names: [&'a str; 2],
    /// Their verdicts, as their proofs say; none where a proof says neither.
    pub verdicts: [Option<Verdict>; 2],
    /// Each limit of one or both.
    pub limits: &'a [LimitPair],
    /// Keys of the case that differ, with their values as they are written.
    pub keys: &'a [(String, [Option<String>; 2])],
    /// The ends that changed, the largest change first.
    pub ends: &'a [EndChanged],
    /// The parts; none where one of them did not close.
    pub parts: Option<Parts<'a>>,
    /// Input and part files of both, each with the side that it is on.
    pub files: &'a [(&'a str, FileRecord)],
    /// What this is not about.
    pub caution: &'a str,
}

/// The two parts and how they are looked at.
#[derive(Debug, Clone, Copy)]
pub struct Parts<'a> {
    /// The part A.
    pub a: &'a Mesh,
    /// How far the part B lies from it.
    pub apart: Apart<'a>,
    /// The case of B.
    pub settled: &'a Case,
    /// The stations of B's ends.
    pub stations: &'a [EndStations],
}

/// One limit in both results; what one of them does not have is none.
#[derive(Debug, Clone, PartialEq)]
pub struct LimitPair {
    /// The limit.
    pub name: String,
    /// Its end.
    pub end: Option<String>,
    /// What was asked.
    pub asked: [Option<f64>; 2],
    /// What was measured.
    pub measured: [Option<f64>; 2],
    /// The verdicts.
    pub verdict: [Option<Verdict>; 2],
}

impl LimitPair {
    /// What columns of a table say above [`LimitPair::asked_texts`] and the rest, in their order.
    pub const COLUMNS: [&str; 8] =
        ["limit", "end", "asked in A", "in B", "measured in A", "in B", "verdict in A", "in B"];

    /// What was asked, as a table has it.
    pub fn asked_texts(&self, unit: &str) -> [String; 2] {
        self.asked.map(|x| x.map_or_else(String::new, |x| asked_text(&self.name, x, unit)))
    }

    /// What was measured, as a table has it.
    pub fn measured_texts(&self, unit: &str) -> [String; 2] {
        self.measured.map(|x| x.map_or_else(String::new, |x| measured_text(&self.name, x, unit)))
    }
}

/// What of the parts is not the same triangle in both, at one end.
#[derive(Debug, Clone, PartialEq)]
pub struct EndChanged {
    /// The end.
    pub name: String,
    /// How many triangles only A has, and only B.
    pub triangles: [usize; 2],
    /// Their area.
    pub area: [f64; 2],
    /// Guaranteed bounds of how far these lie from the other part.
    pub bounds: [f64; 2],
    /// A place that is as far off as the lower bound.
    pub at: [f64; 3],
}

/// Writes the two as a document.
pub fn revisions(record: &Revisions) -> Document {
    let unit = record.unit;
    let mut blocks = vec![heading("Limits"), limits(record)];
    blocks.push(Block::Note(plain(
        "As the two proofs say; each can be made anew from its own folder. Measured is the guaranteed \
         bound on the limit's bad side. In bold: what is not the same in both.",
    )));
    blocks.push(heading("What changed at which end"));
    blocks.extend(ends(record));
    if let Some(parts) = &record.parts {
        blocks.push(heading("Distances"));
        blocks.extend(distances(&parts.apart, unit));
        blocks.extend(map(&parts.apart, None, unit));
    }
    blocks.push(heading("What changed in the case"));
    blocks.push(keys(record));
    blocks.push(heading("Files"));
    blocks.push(file_table(
        "The files that this is about; a file with another hash is another file",
        record.files.iter().map(|(side, file)| (*side, file)),
    ));
    blocks.push(heading("Cautions"));
    let cautions = [
        record.caution,
        "Nothing is judged here: which of the two is to be used is for qualified people to say.",
        "STL files carry no unit. Scaling or editing a part voids what is said of it.",
    ];
    blocks.push(Block::List(cautions.map(plain).to_vec()));
    let [a, b] = record.names;
    Document {
        title: format!("{b} held against {a}"),
        subtitle: format!("Two results, A ({a}) and B ({b}); made by spile {}", record.version),
        banner: banner(record),
        blocks,
    }
}

/// What changed, in a sentence; no verdict, for nothing is judged.
fn banner(record: &Revisions) -> Banner {
    let unit = record.unit;
    let sentence = match (&record.parts, record.ends.first()) {
        (None, _) => "No part was made in one of the two, so no distance can be told.".to_owned(),
        (Some(_), None) => "The two parts have the same triangles.".to_owned(),
        (Some(parts), Some(end)) => {
            let ([low, high], _) = parts.apart.bounds[2];
            format!(
                "The parts lie up to {} {unit} apart, for certain no more than {} {unit}; the largest change \
                 is at end {}.",
                Sense::AtLeast.digits(low),
                Sense::AtMost.digits(high),
                end.name
            )
        }
    };
    let word = |verdict: Option<Verdict>| verdict.map_or("none", Verdict::word);
    let [a, b] = record.verdicts.map(word);
    let mut points = vec![vec![
        Span::Plain("Verdict of A: ".to_owned()),
        Span::Strong(a.to_owned()),
        Span::Plain("; of B: ".to_owned()),
        Span::Strong(b.to_owned()),
        Span::Plain(".".to_owned()),
    ]];
    let turned = record.limits.iter().filter(|row| row.verdict[0] != row.verdict[1]);
    points.extend(turned.map(|row| {
        let [a, b] = row.verdict.map(word);
        let end = row.end.as_ref().map_or_else(String::new, |end| format!(" at end {end}"));
        vec![Span::Code(row.name.clone()), Span::Plain(format!("{end}: {a} in A, {b} in B."))]
    }));
    points.push(plain(match record.keys.len() {
        0 => "Both cases ask the same.".to_owned(),
        1 => "One key of the case differs.".to_owned(),
        n => format!("{n} keys of the case differ."),
    }));
    Banner { verdict: Verdict::NotAsked, sentence, points, caution: record.caution.to_owned() }
}

/// The table of limits.
fn limits(record: &Revisions) -> Block {
    let capital = |name: &str| name[..1].to_uppercase() + &name[1..];
    let row = |row: &LimitPair| {
        let [asked_a, asked_b] = told_apart(row.asked_texts(record.unit));
        let [measured_a, measured_b] = told_apart(row.measured_texts(record.unit));
        let [verdict_a, verdict_b] = row.verdict.map(|v| v.map_or("".into(), Cell::Verdict));
        vec![
            Cell::Named(vec![Span::Code(row.name.clone())], plain_word(&row.name).to_owned()),
            row.end.clone().unwrap_or_default().into(),
            asked_a,
            asked_b,
            measured_a,
            measured_b,
            verdict_a,
            verdict_b,
        ]
    };
    Block::Table(Table {
        caption: "Each limit as it was asked and measured in A and in B".to_owned(),
        head: LimitPair::COLUMNS.map(|name| (capital(name), Align::Left)).to_vec(),
        rows: record.limits.iter().map(row).collect(),
    })
}

/// Two texts, the second weightier where it is another.
fn told_apart([a, b]: [String; 2]) -> [Cell; 2] {
    let second = if a == b { Span::Plain(b) } else { Span::Strong(b) };
    [a.into(), Cell::Text(vec![second])]
}

/// What changed at each end, with pictures of those that changed most.
fn ends(record: &Revisions) -> Vec<Block> {
    let Some(parts) = &record.parts else {
        return vec![Block::Paragraph(plain("One of the two has no part."))];
    };
    if record.ends.is_empty() {
        return vec![Block::Paragraph(plain("Nothing: the parts have the same triangles."))];
    }
    let unit = record.unit;
    let row = |end: &EndChanged| -> Vec<Cell> {
        let only = |k: usize| {
            format!("{} ({} {unit}\u{b2})", count(end.triangles[k]), digits(end.area[k]))
        };
        vec![
            end.name.clone().into(),
            only(0).into(),
            only(1).into(),
            Sense::AtLeast.digits(end.bounds[0]).into(),
            Sense::AtMost.digits(end.bounds[1]).into(),
            place(end.at).into(),
        ]
    };
    let columns = [
        ("End".to_owned(), Align::Left),
        ("Triangles of A alone".to_owned(), Align::Right),
        ("Of B alone".to_owned(), Align::Right),
        (format!("Apart at least, {unit}"), Align::Right),
        ("At most".to_owned(), Align::Right),
        ("Where".to_owned(), Align::Left),
    ];
    let mut blocks = vec![
        Block::Table(Table {
            caption: "Triangles that only one part has, by the end that they are nearest to"
                .to_owned(),
            head: columns.to_vec(),
            rows: record.ends.iter().map(row).collect(),
        }),
        Block::Note(plain(
            "Triangles that are the same corner for corner are no change. Bounds are guaranteed, of the \
             distance of these triangles from the other part.",
        )),
    ];
    for end in record.ends.iter().take(ENDS_DRAWN) {
        blocks.extend(end_pictures(parts, &end.name, unit));
    }
    blocks
}

/// One end of both parts from the same side, cut open along the same plane.
fn end_pictures(parts: &Parts, name: &str, unit: &str) -> Vec<Block> {
    let Some(index) = parts.settled.ends.iter().position(|end| end.name == name) else {
        return Vec::new();
    };
    let stations = parts.stations.iter().find(|end| end.name == name);
    let Some(frame) = frame(parts.settled, index, stations) else { return Vec::new() };
    let (camera, cut) = cut_open(&frame);
    let b = drawn(&parts.apart, unit);
    let [of_a, of_b] = [parts.a, parts.apart.mesh].map(Surface::of);
    let tones = vec![tone::FITTING; parts.a.triangles().len()];
    let below =
        |part: &str| -> Text { plain(format!("End {name} of {part}, cut open along its axis.")) };
    let before = Shot {
        picture: Box::new(|| toned(&of_a, &tones, (camera, Some(cut)), b.size)),
        alt: format!("End {name} of A, cut open along its axis."),
        caption: below("A"),
        key: None,
    };
    let told = (
        format!(
            "End {name} of B from the same side, cut open along the same plane and coloured by its deviation \
             from A, on a map from -{m} to {m} {unit}.",
            m = digits(b.range[1])
        ),
        format!("End {name} of B from the same side, cut open along the same plane."),
    );
    let after = b.shot(&of_b, (camera, Some(cut)), None, told);
    let heading = Block::Heading { level: 3, text: format!("End {name}") };
    [Some(heading), figures(vec![before, after], NEVER_STOP)].into_iter().flatten().collect()
}

/// The keys of the case that differ.
fn keys(record: &Revisions) -> Block {
    if record.keys.is_empty() {
        return Block::Paragraph(plain("Nothing but seams, which follow from the rest."));
    }
    let code = |value: &Option<String>| match value {
        Some(value) => Cell::Text(vec![Span::Code(value.clone())]),
        None => "none".into(),
    };
    let row = |(key, [a, b]): &(String, [Option<String>; 2])| {
        vec![Cell::Text(vec![Span::Code(key.clone())]), code(a), code(b)]
    };
    Block::Table(Table {
        caption: "Keys of the settled cases that differ; seams and names are left out".to_owned(),
        head: ["Key", "In A", "In B"].map(|name| (name.to_owned(), Align::Left)).to_vec(),
        rows: record.keys.iter().map(row).collect(),
    })
}
