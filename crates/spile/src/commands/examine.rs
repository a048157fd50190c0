//! `examine`: what is in a scan, and what its defects do to the job.

use std::fmt::Write as _;

use serde::Serialize;
use spile_joint::{
    Effect, Examination, ExamineOptions, Finding, FindingKind, FoundEnd, Watch as _,
};
use spile_mesh::Mesh;
use spile_report::number::digits;

use super::examine_mend::{self, MendRecord, mend_to};
use super::examine_shapes::{self, CircleRecord, ShapeRecord};
use crate::answer::Answer;
use crate::args::ExamineArgs;
use crate::exit::Ending;
use crate::failure::Failure;
use crate::inputs::{InputFile, read_mesh};
use crate::part_files::file_unit;
use crate::progress::Progress;
use crate::starter::guess_unit;
use crate::table::{Align, Table};

#[derive(Serialize)]
struct Document {
    file: String,
    sha256: String,
    triangles: usize,
    vertices: usize,
    unit_guess: &'static str,
    unit_stated: Option<&'static str>,
    size: [f64; 3],
    shells: usize,
    closed: bool,
    findings: Vec<FindingRecord>,
    ends: Vec<EndRecord>,
    shapes: Vec<ShapeRecord>,
    #[serde(skip_serializing_if = "Option::is_none")]
    mended: Option<MendRecord>,
}

#[derive(Serialize)]
struct FindingRecord {
    kind: &'static str,
    effect: &'static str,
    #[serde(rename = "where")]
    where_: [f64; 3],
    count: usize,
    size: f64,
    /// Of the triangles below.
    #[serde(skip_serializing_if = "Option::is_none")]
    area: Option<f64>,
    /// As the file counts them, from 0.
    #[serde(skip_serializing_if = "Option::is_none")]
    triangles: Option<Vec<u32>>,
    /// What to do with these sheets, for the text.
    #[serde(skip)]
    advice: Option<&'static str>,
}

#[derive(Serialize)]
struct EndRecord {
    centre: [f64; 3],
    direction: [f64; 3],
    bore: f64,
    outside: Option<f64>,
    /// The bore's rim, where it really is a circle.
    circle: Option<CircleRecord>,
    outside_circle: Option<CircleRecord>,
}

/// One document, or a list of them for several files.
#[derive(Serialize)]
#[serde(untagged)]
enum Documents {
    One(Box<Document>),
    Several(Vec<Document>),
}

/// Looks at scans.
pub(crate) fn examine(args: &ExamineArgs) -> Result<Answer, Failure> {
    if args.mend.is_some() && args.files.len() > 1 {
        return Err(Failure::new("`--mend` takes one scan at a time")
            .hint("mend each file by a command of its own"));
    }
    let mut documents = Vec::new();
    for path in &args.files {
        let progress = Progress::new(2);
        progress.step("read", None);
        let (file, mesh) = read_mesh(path)?;
        progress.step("examine", None);
        let found = spile_joint::examine(&mesh, ExamineOptions::default());
        let unit = file.unit.unwrap_or(file_unit(guess_unit(found.size.max_element())));
        let mut document = document(file, &mesh, found);
        if let Some(out) = &args.mend {
            document.mended = Some(mend_to(&mesh, unit, out, args.outliers)?);
        }
        documents.push(document);
    }
    let text = documents.iter().map(told).collect::<Vec<_>>().join("\n");
    let documents = match documents.len() {
        1 => Documents::One(Box::new(documents.remove(0))),
        _ => Documents::Several(documents),
    };
    Ok(Answer::new(Ending::Held, text, &documents))
}

fn document(file: InputFile, mesh: &Mesh, found: Examination) -> Document {
    let size = found.size.to_array();
    let longest = size.into_iter().fold(0.0, f64::max);
    let finding = |f: Finding| FindingRecord {
        kind: kind_name(f.kind),
        effect: effect_words(f.effect),
        where_: f.at.to_array(),
        count: f.count,
        size: f.size,
        area: f.sheets.as_ref().map(|sheets| sheets.area),
        advice: f.sheets.as_ref().and(f.kind.why_left()),
        triangles: f.sheets.map(|sheets| sheets.triangles),
    };
    let end = |e: FoundEnd| EndRecord {
        centre: e.centre.to_array(),
        direction: e.direction.to_array(),
        bore: e.bore,
        outside: e.outside,
        circle: e.circle.map(examine_shapes::circle),
        outside_circle: e.outside_circle.map(examine_shapes::circle),
    };
    let stated = file.unit.map(spile_formats::FileUnit::symbol);
    Document {
        file: file.name,
        sha256: file.sha256,
        triangles: file.triangles,
        vertices: mesh.points().len(),
        unit_guess: stated.unwrap_or(guess_unit(longest).name()),
        unit_stated: stated,
        size,
        shells: found.shells,
        closed: found.closed,
        findings: found.findings.into_iter().map(finding).collect(),
        ends: found.ends.into_iter().map(end).collect(),
        shapes: examine_shapes::shapes(mesh),
        mended: None,
    }
}

fn told(document: &Document) -> String {
    let mut out = String::new();
    let [x, y, z] = document.size.map(digits);
    let unit = match document.unit_stated {
        Some(unit) => format!("{unit}, stated by the file"),
        None => format!("{}, guessed from the size: check it", document.unit_guess),
    };
    let closed = if document.closed { "closed" } else { "open" };
    let _ = writeln!(out, "{}", document.file);
    let _ = writeln!(
        out,
        "{} triangles, {} points, {} shells, {closed}",
        document.triangles, document.vertices, document.shells
    );
    let _ = writeln!(out, "size: {x} x {y} x {z}\nunit: {unit}");
    if document.ends.is_empty() {
        let _ = writeln!(out, "open ends: none; cut the scan where a fitting is to be");
    } else {
        let mut table = Table::new(&[
            ("open end at", Align::Left),
            ("facing", Align::Left),
            ("bore", Align::Right),
            ("outside", Align::Right),
        ]);
        for end in &document.ends {
            table.row([
                place(end.centre),
                place(end.direction),
                digits(end.bore),
                end.outside.map_or_else(String::new, digits),
            ]);
        }
        out.push_str(&table.text());
        for end in &document.ends {
            for (wall, circle) in [("bore's", end.circle), ("outside", end.outside_circle)] {
                if let Some(circle) = circle {
                    examine_shapes::circle_told(wall, &circle, &mut out);
                }
            }
        }
    }
    examine_shapes::told(&document.shapes, &mut out);
    if document.findings.is_empty() {
        let _ = writeln!(out, "defects: none found");
    } else {
        let mut table = Table::new(&[
            ("effect", Align::Left),
            ("defect", Align::Left),
            ("count", Align::Right),
            ("largest", Align::Right),
            ("at", Align::Left),
        ]);
        for finding in &document.findings {
            table.row([
                finding.effect.to_owned(),
                finding.kind.to_owned(),
                finding.count.to_string(),
                digits(finding.size),
                place(finding.where_),
            ]);
        }
        out.push_str(&table.text());
        sheets_told(&document.findings, &mut out);
    }
    if let Some(mended) = &document.mended {
        examine_mend::told(mended, &mut out);
    }
    out
}

/// A sentence for each finding about sheets: how far they extend, what to do.
fn sheets_told(findings: &[FindingRecord], out: &mut String) {
    for finding in findings {
        let (Some(area), Some(triangles), Some(advice)) =
            (finding.area, &finding.triangles, finding.advice)
        else {
            continue;
        };
        let _ = writeln!(
            out,
            "{} ({}): {} triangles of area {}, named with `--json`: {advice}",
            finding.kind,
            finding.effect,
            triangles.len(),
            digits(area)
        );
    }
}

pub(super) fn effect_words(effect: Effect) -> &'static str {
    match effect {
        Effect::StopsClosing => "stops closing",
        Effect::WithinReach => "within reach",
        Effect::Elsewhere => "elsewhere",
    }
}

pub(super) fn kind_name(kind: FindingKind) -> &'static str {
    match kind {
        FindingKind::Hole => "hole",
        FindingKind::OpenRim => "open-rim",
        FindingKind::NonManifoldEdge => "non-manifold-edge",
        FindingKind::NonManifoldVertex => "non-manifold-vertex",
        FindingKind::Flipped => "flipped",
        FindingKind::Duplicate => "duplicate",
        FindingKind::Degenerate => "degenerate",
        FindingKind::Needle => "needle",
        FindingKind::Cap => "cap",
        FindingKind::SelfIntersection => "self-intersection",
        FindingKind::Outlier => "outlier",
        FindingKind::LoosePiece => "loose-piece",
        FindingKind::InternalWall => "internal-wall",
        FindingKind::DoubledSheet => "doubled-sheet",
        FindingKind::OverlappingShells => "overlapping-shells",
        _ => "defect",
    }
}

pub(super) fn place(p: [f64; 3]) -> String {
    let [x, y, z] = p.map(digits);
    format!("{x}, {y}, {z}")
}
