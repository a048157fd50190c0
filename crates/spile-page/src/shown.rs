//! From what lies in the folder to what the page shows.

use std::path::Path;

use serde::Deserialize;
use spile_proof::{
    Changed, Claim, Conflict, EndStations, KnownBy, LimitResult, PartFigures, Verdict, WantedValue,
};

use crate::folder::Folder;
use crate::geometry;
use crate::job::{Job, Loaded};
use crate::messages::{
    ConflictShown, EndLine, FileShown, LimitShown, PartShown, ResultShown, StationShown,
    WantedShown,
};
use crate::surface::Surface;

/// The output folder of a case: its name with `-out`, as the command line has it.
pub(crate) fn out_name(case: &str) -> String {
    format!("{}-out", case.rsplit_once('.').map_or(case, |(stem, _)| stem))
}

/// What of `proof.json` is shown.
#[derive(Deserialize)]
struct ProofRead {
    verdict: Verdict,
    unit: String,
    limits: Vec<LimitResult>,
    conflicts: Vec<Conflict>,
    part: Option<PartFigures>,
    changed: Option<Changed>,
    ends: Vec<EndStations>,
    #[serde(default)]
    notes: Vec<String>,
    caution: String,
}

/// The result in an output folder, if there is one.
pub(crate) fn result(folder: &Folder, out: &str) -> Option<ResultShown> {
    let path = folder.inside(out).ok()?;
    let json = std::fs::read(folder.inside(&format!("{out}/proof.json")).ok()?).ok()?;
    let proof: ProofRead = serde_json::from_slice(&json).ok()?;
    let files = files(&path);
    let is_there = |name: &&str| files.iter().any(|file| file.name == **name);
    let file = ["part.stl", "part-broken.stl"].into_iter().find(is_there);
    let part = proof.part.zip(proof.changed).zip(file).map(|((part, changed), file)| PartShown {
        file: file.to_owned(),
        triangles: part.triangles,
        volume: part.volume,
        triangles_kept: changed.triangles_kept,
        triangles_replaced: changed.triangles_replaced,
    });
    Some(ResultShown {
        folder: out.to_owned(),
        number: 0,
        is_of_this_text: None,
        verdict: proof.verdict.word().to_owned(),
        unit: proof.unit,
        limits: proof.limits.into_iter().map(limit).collect(),
        conflicts: proof.conflicts.into_iter().map(conflict).collect(),
        notes: proof.notes,
        ends: proof.ends.into_iter().map(end_line).collect(),
        part,
        has_surface: false,
        has_maps: false,
        files,
        caution: proof.caution,
    })
}

/// A part as far as the picture needs it.
pub(crate) struct PartRead {
    /// The surface with its regions, as bytes.
    pub bytes: Vec<u8>,
    /// Its deviation and its wall, point by point, as bytes.
    pub maps: Option<[Vec<u8>; 2]>,
    /// It, to be cut.
    pub surface: Surface,
}

/// The part of a result for the picture.
pub(crate) fn part(folder: &Folder, job: &dyn Job, result: &ResultShown) -> Option<PartRead> {
    let out = &result.folder;
    let file = &result.part.as_ref()?.file;
    let bytes = std::fs::read(folder.inside(&format!("{out}/{file}")).ok()?).ok()?;
    let mesh = spile_formats::read_bytes(file, &bytes).ok()?.mesh;
    let settled = folder.inside(&format!("{out}/case.toml")).ok()?;
    let loaded = job.load(&settled).ok();
    let maps = |l: Loaded| Claim::new(&l.scans, &mesh, &l.case).ok()?.look().ok()?.maps().ok();
    let found = loaded.and_then(maps);
    let regions = found.as_ref().map(|found| geometry::regions(&found.labels.part));
    Some(PartRead {
        bytes: geometry::bytes(&mesh, regions.as_deref()),
        maps: found.map(|f| [&f.deviation, &f.wall].map(|map| geometry::map(&map.values))),
        surface: Surface::of(mesh),
    })
}

/// The plain files below a folder, links left out, by their names with forward slashes.
fn files(folder: &Path) -> Vec<FileShown> {
    let mut found = Vec::new();
    let mut open = vec![(folder.to_owned(), String::new())];
    while let Some((folder, before)) = open.pop() {
        for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
            let (Ok(kind), Ok(name)) = (entry.file_type(), entry.file_name().into_string()) else {
                continue;
            };
            let name = format!("{before}{name}");
            if kind.is_dir() {
                open.push((entry.path(), format!("{name}/")));
            } else if kind.is_file() {
                let bytes = entry.metadata().map_or(0, |m| m.len());
                found.push(FileShown { name, bytes });
            }
        }
    }
    found.sort_by(|a, b| (a.name.contains('/'), &a.name).cmp(&(b.name.contains('/'), &b.name)));
    found
}

fn limit(row: LimitResult) -> LimitShown {
    let LimitResult { name, end, asked, measured, bounds, where_, verdict, how } = row;
    let verdict = verdict.word().to_owned();
    LimitShown { name, end, asked, measured, bounds, where_, verdict, how }
}

fn conflict(conflict: Conflict) -> ConflictShown {
    let Conflict { limits, end, where_, would_hold, certain } = conflict;
    let wanted = |wanted: spile_proof::Wanted| WantedShown {
        key: wanted.key,
        value: match wanted.value {
            WantedValue::Number(x) => x.into(),
            WantedValue::Point(p) => p.to_vec().into(),
        },
        known_by: match wanted.known_by {
            KnownBy::Computed => "computed",
            KnownBy::JudgedAgain => "judged again",
            KnownBy::MadeAgain => "made again",
        }
        .to_owned(),
    };
    let would_hold = would_hold.into_iter().map(wanted).collect();
    ConflictShown { limits, end, where_, would_hold, certain }
}

fn end_line(end: EndStations) -> EndLine {
    let station = |s: spile_proof::Station| StationShown {
        s: s.s,
        at: s.at,
        normal: s.normal,
        area_scan: s.area_scan,
        area_part: s.area_part,
        inscribed_diameter: s.inscribed_diameter,
    };
    EndLine { name: end.name, stations: end.stations.into_iter().map(station).collect() }
}
