//! `compare DIR DIR`: two results of `run`: what went in, what was asked, what was
//! measured, and where the parts differ.

use std::fmt::Write as _;
use std::path::Path;

use serde::Serialize;
use serde_json::Value;
use spile_case::{Case, read_case};
use spile_mesh::{Bvh, Mesh, farthest};
use spile_report::LimitPair;
use spile_report::number::{digits, place};

use crate::answer::Answer;
use crate::args::CompareArgs;
use crate::case_changes::{KeyChange, changes};
use crate::commands::compare::{Distances, outward};
use crate::commands::folders_report::{folders_report, limit_pair};
use crate::commands::run::CASE_FILE;
use crate::end_places::EndPlaces;
use crate::failure::Failure;
use crate::inputs::{InputFile, read_bytes, read_mesh, shown};
use crate::output::{PARTS, write_whole};
use crate::progress::Progress;
use crate::report_file::ReportKind;
use crate::table::{Align, Table};
use crate::written::Written;

/// One of the two folders.
pub(super) struct Folder {
    /// As it was given.
    pub name: String,
    /// What its proof says.
    pub proof: Written,
    /// Its settled case.
    pub case: Case,
    /// None where no part closed.
    pub part: Option<(InputFile, Mesh)>,
}

/// What `compare` tells of two folders.
#[derive(Serialize)]
pub(super) struct Document {
    a: String,
    b: String,
    /// The verdicts of the proofs.
    pub verdict: [Value; 2],
    inputs: Vec<InputPair>,
    /// Keys of the cases that differ.
    pub case: Vec<KeyChange>,
    /// Each limit of one or both.
    pub limits: Vec<RowPair>,
    /// How far the parts lie apart; none where one has no part.
    #[serde(flatten)]
    pub distances: Option<Distances>,
    /// What changed at which end, the largest change first.
    pub ends: Vec<EndChange>,
}

/// Inputs that stand in the same place of both lists.
#[derive(Serialize)]
struct InputPair {
    files: [Option<String>; 2],
    sha256: [Option<String>; 2],
    same: bool,
}

/// One limit in both proofs, null where one has no such row.
#[derive(Serialize)]
pub(super) struct RowPair {
    /// The limit.
    pub name: String,
    /// Its end.
    pub end: Option<String>,
    /// What was asked.
    pub asked: [Option<f64>; 2],
    /// What was measured.
    pub measured: [Option<f64>; 2],
    /// The words of the proofs.
    pub verdict: [Option<String>; 2],
}

/// What of the parts is not the same triangle in both, by the end that it is nearest to.
#[derive(Serialize)]
pub(super) struct EndChange {
    /// The end.
    pub name: String,
    /// How many triangles only A has, and only B.
    pub triangles: [usize; 2],
    /// Their area.
    pub area: [f64; 2],
    /// Guaranteed bounds of how far they lie from the other part.
    pub bounds: [f64; 2],
    /// A place that is as far off as the lower bound.
    #[serde(rename = "where")]
    pub where_: [f64; 3],
}

/// Compares two folders that `run` has left.
pub(crate) fn compare_folders(args: &CompareArgs) -> Result<Answer, Failure> {
    let kind = args.report.as_deref().map(ReportKind::of).transpose()?;
    let (a, b) = (read_folder(&args.a)?, read_folder(&args.b)?);
    if a.case.unit != b.case.unit {
        let message = format!(
            "the cases have different units: {} and {}",
            a.case.unit.name(),
            b.case.unit.name()
        );
        return Err(Failure::new(message).hint("nothing is scaled: make both in one unit"));
    }
    let progress = Progress::new(1);
    spile_joint::Watch::step(&progress, "compare", None);
    let parts = a.part.as_ref().zip(b.part.as_ref());
    let parts = parts.map(|((_, a), (_, b))| (a, b));
    let distances = parts.map(|(a, b)| Distances::of(a, b, args.within));
    let ends = match (parts, &distances) {
        (Some(parts), Some(distances)) => {
            end_changes([&a.case, &b.case], parts, distances.within())
        }
        _ => Vec::new(),
    };
    progress.done();
    let document = Document {
        inputs: input_pairs(&a.proof, &b.proof),
        case: changes(&a.case, &b.case),
        limits: row_pairs(&a.proof, &b.proof),
        verdict: [&a, &b].map(|f| f.proof.json["verdict"].clone()),
        a: a.name.clone(),
        b: b.name.clone(),
        distances,
        ends,
    };
    let ending = document.distances.as_ref().map(|d| d.ending(args.within));
    let mut text = document.text(a.case.unit.name());
    if let (Some(report), Some(kind)) = (&args.report, kind) {
        write_whole(report, &kind.write(&folders_report(&document, [&a, &b]))?)?;
        text.push_str(&format!("written: {}\n", shown(report)));
    }
    Ok(Answer::new(ending.unwrap_or(crate::exit::Ending::Held), text, &document))
}

fn read_folder(folder: &Path) -> Result<Folder, Failure> {
    let name = shown(folder);
    let is_no_folder = |what: &str| {
        Failure::new(format!("{name} is no folder that `run` has left: {what}"))
            .hint("compare two such folders, or two files")
    };
    let bytes = read_bytes(&folder.join("proof.json")).map_err(|f| is_no_folder(&f.message))?;
    let json = serde_json::from_slice(&bytes)
        .map_err(|error| is_no_folder(&format!("proof.json does not read: {error}")))?;
    let proof = Written::of(json).ok_or_else(|| is_no_folder("proof.json lists no files"))?;
    let text = read_bytes(&folder.join(CASE_FILE)).map_err(|f| is_no_folder(&f.message))?;
    let text = String::from_utf8_lossy(&text).into_owned();
    let case = read_case(&text, CASE_FILE).map_err(|mistakes| Failure::in_case(mistakes, &text))?;
    let mut names = PARTS.iter().map(|stem| format!("{stem}.stl"));
    let part = names.find(|name| proof.lists(name));
    let part = part.map(|name| read_mesh(&folder.join(name))).transpose()?;
    Ok(Folder { name, proof, case, part })
}

fn input_pairs(a: &Written, b: &Written) -> Vec<InputPair> {
    let [a, b] = [a, b].map(|proof| proof.json["inputs"].as_array().cloned().unwrap_or_default());
    let text = |list: &[Value], k: usize, key: &str| {
        list.get(k).and_then(|record| record[key].as_str()).map(str::to_owned)
    };
    (0..a.len().max(b.len()))
        .map(|k| {
            let of = |key: &str| [text(&a, k, key), text(&b, k, key)];
            let sha256 = of("sha256");
            InputPair { files: of("file"), same: sha256[0] == sha256[1], sha256 }
        })
        .collect()
}

fn row_pairs(a: &Written, b: &Written) -> Vec<RowPair> {
    let [a, b] = [a, b].map(|proof| proof.json["limits"].as_array().cloned().unwrap_or_default());
    let is_same = |x: &Value, y: &Value| x["name"] == y["name"] && x["end"] == y["end"];
    let mut all: Vec<&Value> = a.iter().collect();
    all.extend(b.iter().filter(|row| !a.iter().any(|other| is_same(row, other))));
    let pair = |row: &Value| {
        let both = [&a, &b].map(|rows| rows.iter().find(|other| is_same(row, other)));
        let number = |key: &str| both.map(|row| row.and_then(|row| row[key].as_f64()));
        let text = |value: &Value| value.as_str().map(str::to_owned);
        RowPair {
            name: text(&row["name"]).unwrap_or_default(),
            end: text(&row["end"]),
            asked: number("asked"),
            measured: number("measured"),
            verdict: both.map(|row| row.and_then(|row| text(&row["verdict"]))),
        }
    };
    all.into_iter().map(pair).collect()
}

/// The triangles that only one part has, by the nearest end, and how far off the other
/// part they lie.
fn end_changes(cases: [&Case; 2], parts: (&Mesh, &Mesh), gap: f64) -> Vec<EndChange> {
    let places = EndPlaces::of(cases);
    let own = [own_triangles(parts.0, parts.1), own_triangles(parts.1, parts.0)];
    let meshes = [parts.0, parts.1];
    let trees = [Bvh::build(parts.1), Bvh::build(parts.0)];
    let by_end = [0, 1].map(|k| places.by_end(meshes[k], &own[k]));
    let names = places.names().iter().enumerate();
    let mut found: Vec<EndChange> = names
        .filter_map(|(end, name)| {
            let lists = [&by_end[0][end], &by_end[1][end]];
            if lists.iter().all(|list| list.is_empty()) {
                return None;
            }
            let far = [0, 1].map(|k| {
                (!lists[k].is_empty())
                    .then(|| farthest(meshes[k], Some(lists[k]), &trees[k], gap, None))
            });
            let far = far.into_iter().flatten().reduce(|a, b| if b.hi > a.hi { b } else { a })?;
            let area = |k: usize| {
                let of = |&t: &u32| 0.5 * meshes[k].area_normal(t as usize).length();
                lists[k].iter().map(of).sum()
            };
            Some(EndChange {
                name: name.clone(),
                triangles: lists.map(Vec::len),
                area: [area(0), area(1)],
                bounds: [far.lo, far.hi],
                where_: far.at.to_array(),
            })
        })
        .collect();
    found.sort_by(|a, b| b.bounds[1].total_cmp(&a.bounds[1]));
    found
}

/// The triangles of `mesh` that are not, corner for corner, triangles of `other`.
fn own_triangles(mesh: &Mesh, other: &Mesh) -> Vec<u32> {
    let key = |mesh: &Mesh, t: usize| {
        let mut corners =
            mesh.corners(t).map(|p| (p + spile_mesh::DVec3::ZERO).to_array().map(f64::to_bits));
        corners.sort_unstable();
        corners
    };
    let mut there: Vec<_> = (0..other.triangles().len()).map(|t| key(other, t)).collect();
    there.sort_unstable();
    let is_own = |t: &u32| there.binary_search(&key(mesh, *t as usize)).is_err();
    (0..mesh.triangles().len() as u32).filter(is_own).collect()
}

impl Document {
    fn text(&self, unit: &str) -> String {
        let mut out = format!("A: {}\nB: {}\n", self.a, self.b);
        for pair in &self.inputs {
            let [a, b] = pair.files.each_ref().map(|f| f.as_deref().unwrap_or("none"));
            let said = if pair.same { "the same file" } else { "another file" };
            let _ = writeln!(out, "input: {a} and {b}: {said}");
        }
        if self.case.is_empty() {
            out.push_str("case: the same, seams apart\n");
        }
        for KeyChange { key, a, b } in &self.case {
            let [a, b] = [a, b].map(|v| v.as_deref().unwrap_or("none"));
            let _ = writeln!(out, "case: {key}: {a} -> {b}");
        }
        out.push('\n');
        out.push_str(&self.limits_table(unit));
        let [a, b] = self.verdict.each_ref().map(|v| v.as_str().unwrap_or("none"));
        let _ = writeln!(
            out,
            "verdict: {a} -> {b}, as the proofs say; `spile prove DIR` makes one anew\n"
        );
        let Some(distances) = &self.distances else {
            out.push_str("no part was made in one of them, so no distance can be told\n");
            return out;
        };
        if self.ends.is_empty() {
            out.push_str("the parts have the same triangles\n");
        }
        for (k, end) in self.ends.iter().enumerate() {
            let [lo, hi] = outward(end.bounds, distances.within());
            let most = if k == 0 { "the largest change, " } else { "" };
            let _ = writeln!(
                out,
                "changed at end `{}`: {} triangles ({} {unit}^2) of A, {} ({} {unit}^2) of B; {most}{lo} to {hi} \
                 {unit}, near {}",
                end.name,
                end.triangles[0],
                digits(end.area[0]),
                end.triangles[1],
                digits(end.area[1]),
                place(end.where_),
            );
        }
        out.push_str(&distances.text());
        out
    }

    fn limits_table(&self, unit: &str) -> String {
        let mut table = Table::new(&LimitPair::COLUMNS.map(|name| (name, Align::Left)));
        for row in &self.limits {
            let pair = limit_pair(row);
            let [asked_a, asked_b] = pair.asked_texts(unit);
            let [measured_a, measured_b] = pair.measured_texts(unit);
            let [verdict_a, verdict_b] = row.verdict.clone().map(Option::unwrap_or_default);
            table.row([
                row.name.clone(),
                row.end.clone().unwrap_or_default(),
                asked_a,
                asked_b,
                measured_a,
                measured_b,
                verdict_a,
                verdict_b,
            ]);
        }
        table.text()
    }
}
