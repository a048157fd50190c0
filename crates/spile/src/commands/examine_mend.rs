//! `examine --mend`: the scan written again, mended.

use std::fmt::Write as _;
use std::path::Path;

use serde::Serialize;
use spile_case::Outliers;
use spile_formats::threemf::{self, ThreeMfInfo};
use spile_formats::{FileUnit, PartInfo};
use spile_joint::{ExamineOptions, MendOptions, mend};
use spile_mesh::Mesh;
use spile_report::number::digits;

use super::examine::kind_name;
use crate::failure::Failure;
use crate::inputs::{sha256, shown};
use crate::output::write_whole;
use crate::table::{Align, Table};

/// What was mended, and where it was written.
#[derive(Serialize)]
pub(super) struct MendRecord {
    file: String,
    sha256: String,
    triangles: usize,
    hole_max: f64,
    mends: Vec<Mended>,
    not_mended: Vec<NotMended>,
    left: Vec<Left>,
}

/// Findings of one kind that mending leaves alone.
#[derive(Serialize)]
struct Left {
    kind: &'static str,
    count: usize,
    /// The place of the largest.
    #[serde(rename = "where")]
    where_: [f64; 3],
    why: &'static str,
}

#[derive(Serialize)]
struct Mended {
    kind: &'static str,
    #[serde(rename = "where")]
    where_: [f64; 3],
    /// The diameter of the ball outside which nothing moved.
    size: f64,
    /// How far the surface changed there at most, certified.
    change: f64,
    removed_triangles: usize,
    added_triangles: usize,
    turned_triangles: usize,
}

#[derive(Serialize)]
struct NotMended {
    kind: &'static str,
    #[serde(rename = "where")]
    where_: [f64; 3],
    size: f64,
    why: String,
}

/// Mends `mesh`, its outliers too if asked, and writes it to `out` as its ending says.
pub(super) fn mend_to(
    mesh: &Mesh,
    unit: FileUnit,
    out: &Path,
    with_outliers: bool,
) -> Result<MendRecord, Failure> {
    let outliers = if with_outliers { Outliers::Mend } else { Outliers::Keep };
    let done = mend(mesh, MendOptions { outliers, ..MendOptions::default() });
    let bytes = file_bytes(&done.mesh, unit, out)?;
    write_whole(out, &bytes)?;
    let mends = done.mends.iter().map(|made| Mended {
        kind: made.mend.kind.name(),
        where_: made.mend.ball.at,
        size: 2.0 * made.mend.ball.radius,
        change: made.change,
        removed_triangles: made.removed_triangles,
        added_triangles: made.added_triangles,
        turned_triangles: made.turned_triangles,
    });
    let not_mended = done.refused.iter().map(|refused| NotMended {
        kind: kind_name(refused.kind),
        where_: refused.ball.at,
        size: 2.0 * refused.ball.radius,
        why: refused.why.clone(),
    });
    Ok(MendRecord {
        file: shown(out),
        sha256: sha256(&bytes),
        triangles: done.mesh.triangles().len(),
        hole_max: done.hole_max,
        mends: mends.collect(),
        not_mended: not_mended.collect(),
        left: left(&done.mesh, done.hole_max),
    })
}

/// What a mended mesh still shows and mending leaves alone, kind by kind.
fn left(mesh: &Mesh, hole_max: f64) -> Vec<Left> {
    let options = ExamineOptions { hole_max: Some(hole_max) };
    let mut left: Vec<(Left, f64)> = Vec::new();
    for finding in spile_joint::examine(mesh, options).findings {
        let Some(why) = finding.kind.why_left() else { continue };
        let (kind, at) = (kind_name(finding.kind), finding.at.to_array());
        match left.iter_mut().find(|(known, _)| known.kind == kind) {
            None => left.push((Left { kind, count: finding.count, where_: at, why }, finding.size)),
            Some((known, size)) => {
                known.count += finding.count;
                if finding.size > *size {
                    (known.where_, *size) = (at, finding.size);
                }
            }
        }
    }
    left.into_iter().map(|(left, _)| left).collect()
}

fn file_bytes(mesh: &Mesh, unit: FileUnit, out: &Path) -> Result<Vec<u8>, Failure> {
    let fail = |error: spile_formats::WriteError| {
        Failure::new(format!("cannot write {}: {error}", shown(out)))
    };
    let ending = out.extension().map(|e| e.to_string_lossy().to_ascii_lowercase());
    match ending.as_deref() {
        Some("stl") => {
            let mut bytes = Vec::new();
            spile_formats::stl::write(mesh, unit, &mut bytes).map_err(fail)?;
            Ok(bytes)
        }
        Some("3mf") => {
            let part = PartInfo {
                unit,
                title: "Mended scan".to_owned(),
                description: "A scan with defects of its triangles mended; no proved part."
                    .to_owned(),
                application: concat!("spile ", env!("CARGO_PKG_VERSION")).to_owned(),
            };
            let info = ThreeMfInfo { part, more: Vec::new(), thumbnail: None };
            let mut bytes = std::io::Cursor::new(Vec::new());
            threemf::write(mesh, &info, &mut bytes).map_err(fail)?;
            Ok(bytes.into_inner())
        }
        _ => Err(Failure::new(format!("cannot write {}: its ending names no format", shown(out)))
            .hint("end the name in .stl or .3mf")),
    }
}

/// The same for a reader.
pub(super) fn told(record: &MendRecord, out: &mut String) {
    let _ = writeln!(
        out,
        "mended: {}, {} triangles, {} mends; loops smaller across than {} were closed",
        record.file,
        record.triangles,
        record.mends.len(),
        digits(record.hole_max)
    );
    let at = |p: [f64; 3]| p.map(digits).join(", ");
    if !record.mends.is_empty() {
        let mut table = Table::new(&[
            ("mend", Align::Left),
            ("size", Align::Right),
            ("change at most", Align::Right),
            ("triangles", Align::Left),
            ("at", Align::Left),
        ]);
        for mended in &record.mends {
            table.row([
                mended.kind.to_owned(),
                digits(mended.size),
                digits(mended.change),
                touched(mended),
                at(mended.where_),
            ]);
        }
        out.push_str(&table.text());
    }
    for left in &record.not_mended {
        let _ = writeln!(out, "not mended: {} at {}: {}", left.kind, at(left.where_), left.why);
    }
    for left in &record.left {
        let Left { kind, count, where_, why } = left;
        let _ = writeln!(out, "left: {count} {kind}, the largest at {}: {why}", at(*where_));
    }
}

/// The triangles that a mend touched, in words.
fn touched(mended: &Mended) -> String {
    let parts = [
        (mended.removed_triangles, "out"),
        (mended.added_triangles, "in"),
        (mended.turned_triangles, "turned"),
    ];
    let words: Vec<String> =
        parts.iter().filter(|(n, _)| *n > 0).map(|(n, word)| format!("{n} {word}")).collect();
    if words.is_empty() { "none".to_owned() } else { words.join(", ") }
}
