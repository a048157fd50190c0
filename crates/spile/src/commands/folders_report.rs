//! `compare DIR DIR --report`: two results of a case, as a file to hand over.

use std::path::Path;

use spile_proof::{EndStations, Verdict};
use spile_report::{Document, EndChanged, FileRecord, LimitPair, Parts, Revisions, revisions};

use crate::commands::compare_folders::{self, EndChange, Folder, RowPair};
use crate::commands::compare_report::{CAUTION, Read};
use crate::commands::run::file_name;
use crate::signed_distance::SignedDistance;

/// What was told of two folders, as a document.
pub(super) fn folders_report(told: &compare_folders::Document, folders: [&Folder; 2]) -> Document {
    let [a, b] = folders;
    let parts = a.part.as_ref().zip(b.part.as_ref());
    let parts = parts.map(|((_, a), (_, b))| (a, b)).zip(told.distances.as_ref());
    let surface = parts.as_ref().map(|((a, _), _)| SignedDistance::new(a));
    let read = parts.as_ref().zip(surface.as_ref()).map(|(((_, b), _), a)| Read::of(a, b, None));
    let stations: Vec<EndStations> =
        serde_json::from_value(b.proof.json["ends"].clone()).unwrap_or_default();
    let names = names(folders);
    let files: Vec<(&str, FileRecord)> = ["A", "B"]
        .into_iter()
        .zip(folders)
        .flat_map(|(side, folder)| files(folder).into_iter().map(move |file| (side, file)))
        .collect();
    revisions(&Revisions {
        version: env!("CARGO_PKG_VERSION"),
        unit: b.case.unit.name(),
        names: [&names[0], &names[1]],
        verdicts: told.verdict.each_ref().map(|v| verdict(v.as_str())),
        limits: &told.limits.iter().map(limit_pair).collect::<Vec<_>>(),
        keys: &told
            .case
            .iter()
            .map(|change| (change.key.clone(), [change.a.clone(), change.b.clone()]))
            .collect::<Vec<_>>(),
        ends: &told.ends.iter().map(end).collect::<Vec<_>>(),
        parts: parts.zip(read.as_ref()).map(|(((a, _), distances), read)| Parts {
            a,
            apart: read.apart(distances),
            settled: &b.case,
            stations: &stations,
        }),
        files: &files,
        caution: CAUTION,
    })
}

/// The folders' own names, without the place where they lie; A and B where that tells
/// nothing.
fn names(folders: [&Folder; 2]) -> [String; 2] {
    let names = folders.map(|folder| file_name(Path::new(&folder.name)));
    let tells = names.iter().all(|name| !name.is_empty()) && names[0] != names[1];
    if tells { names } else { ["A", "B"].map(str::to_owned) }
}

/// What went in, and the part.
fn files(folder: &Folder) -> Vec<FileRecord> {
    let of_proof = folder.proof.json["inputs"].as_array().into_iter().flatten();
    let mut files: Vec<FileRecord> = of_proof
        .filter_map(|record| {
            Some(FileRecord {
                file: record["file"].as_str()?.to_owned(),
                sha256: record["sha256"].as_str()?.to_owned(),
                triangles: record["triangles"].as_u64().map(|n| n as usize),
            })
        })
        .collect();
    files.extend(folder.part.iter().map(|(file, _)| FileRecord {
        file: file_name(file.name.as_ref()),
        sha256: file.sha256.clone(),
        triangles: Some(file.triangles),
    }));
    files
}

/// A row as the report has it.
pub(super) fn limit_pair(row: &RowPair) -> LimitPair {
    LimitPair {
        name: row.name.clone(),
        end: row.end.clone(),
        asked: row.asked,
        measured: row.measured,
        verdict: row.verdict.each_ref().map(|v| verdict(v.as_deref())),
    }
}

fn end(change: &EndChange) -> EndChanged {
    EndChanged {
        name: change.name.clone(),
        triangles: change.triangles,
        area: change.area,
        bounds: change.bounds,
        at: change.where_,
    }
}

/// The verdict of this word.
fn verdict(word: Option<&str>) -> Option<Verdict> {
    let all = [Verdict::Held, Verdict::Broken, Verdict::NotJudged, Verdict::NotAsked];
    all.into_iter().find(|verdict| Some(verdict.word()) == word)
}
