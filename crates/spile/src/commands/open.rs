//! `open`: the page in the browser, which does its job by these commands' own code.

use std::cell::OnceCell;
use std::path::Path;
use std::sync::Arc;

use serde::Serialize;
use spile_case::{Case, Unit, read_case_with};
use spile_formats::ReadMesh;
use spile_joint::{ExamineOptions, Finding, MendOptions, Trace, Watch, mend};
use spile_mesh::{Mesh, vertex_triangles};
use spile_page::messages::{
    Examined, FindingShown, FittingShown, FoundEndShown, MendRefused, MendShown, Mistake, Refusal,
};
use spile_page::{
    Folder, Job, Loaded, Looked, MendedScan, Options, Session, Start, Write, is_built, serve,
};

use crate::answer::{Answer, json_text, to_stderr, to_stdout};
use crate::args::{OpenArgs, TRIES};
use crate::commands::examine::{effect_words, kind_name};
use crate::commands::fittings::fittings_shown;
use crate::commands::new::starter;
use crate::commands::run::{Wish, file_name, run_watched};
use crate::exit::{Ending, guarded};
use crate::failure::Failure;
use crate::inputs::{load, painted, said, sha256, shown};
use crate::part_files::stl_bytes;
use crate::progress::Progress;
use crate::starter::guess_unit;

#[derive(Serialize)]
struct Document<'a> {
    address: &'a str,
}

/// Serves the page until it is told to end.
pub(crate) fn open(args: &OpenArgs, json: bool) -> Result<Answer, Failure> {
    if !is_built() {
        return Err(Failure::new("this spile was built without its page")
            .hint("in its repository, with Node 20 or later: cargo xtask page")
            .hint("every other command works without"));
    }
    let (folder, start) = match &args.file {
        None => (Path::new("."), Start::Empty),
        Some(file) => {
            let folder = file.parent().filter(|f| !f.as_os_str().is_empty());
            (folder.unwrap_or(Path::new(".")), Start::File(file_name(file)))
        }
    };
    let folder = Folder::new(folder).map_err(|e| {
        Failure::new(format!("cannot open the folder {}: {}", shown(folder), said(&e)))
    })?;
    let session = Session::new(folder, Arc::new(Commands), &start).map_err(failure)?;
    let options = Options { port: args.port, ..Options::default() };
    let ready = |address: &str| {
        let text = format!("{address}\nend it with Ctrl-C, or on the page\n");
        if json {
            to_stderr(&text);
            to_stdout(&json_text(&Document { address }));
        } else {
            to_stdout(&text);
        }
        if !args.no_browser {
            spile_page::show(address);
        }
    };
    serve(&session, options, ready).map_err(|e| Failure::new(e.to_string()))?;
    Ok(Answer { ending: Ending::Held, text: String::new(), json: String::new() })
}

/// The job as the other commands do it.
struct Commands;

impl Job for Commands {
    fn examine(&self, file: &str, bytes: &[u8], read: &ReadMesh) -> Looked {
        let found = spile_joint::examine(&read.mesh, ExamineOptions::default());
        let size = found.size.to_array();
        let stated = read.unit.map(|unit| unit.symbol().to_owned());
        let guess = guess_unit(found.size.max_element()).name().to_owned();
        let findings = found.findings.iter().map(|finding| FindingShown {
            kind: kind_name(finding.kind).to_owned(),
            effect: effect_words(finding.effect).to_owned(),
            where_: finding.at.to_array(),
            count: finding.count,
            size: finding.size,
        });
        let ends = found.ends.iter().map(|end| FoundEndShown {
            centre: end.centre.to_array(),
            direction: end.direction.to_array(),
            bore: end.bore,
            outside: end.outside,
        });
        let examined = Examined {
            sha256: sha256(bytes),
            triangles: read.mesh.triangles().len(),
            vertices: read.mesh.points().len(),
            unit_guess: stated.clone().unwrap_or(guess),
            unit_stated: stated,
            size,
            shells: found.shells,
            closed: found.closed,
            findings: findings.collect(),
            ends: ends.collect(),
        };
        let outlines = found.findings.iter().map(|f| outline(&read.mesh, f)).collect();
        let starter = starter(file, read.unit, &read.mesh, found.ends);
        Looked { examined, starter, outlines }
    }

    fn mend(&self, scan: &Mesh, unit: &str) -> Result<MendedScan, Refusal> {
        let done = mend(scan, MendOptions::default());
        let all = [Unit::Millimetre, Unit::Centimetre, Unit::Metre, Unit::Inch];
        let unit = all.into_iter().find(|u| u.name() == unit).unwrap_or(Unit::Millimetre);
        let mends = done.mends.iter().map(|made| MendShown {
            kind: made.mend.kind.name().to_owned(),
            where_: made.mend.ball.at,
            size: 2.0 * made.mend.ball.radius,
            change: made.change,
        });
        let refused = done.refused.iter().map(|refused| MendRefused {
            kind: kind_name(refused.kind).to_owned(),
            where_: refused.ball.at,
            why: refused.why.clone(),
        });
        Ok(MendedScan {
            stl: stl_bytes(&done.mesh, unit).map_err(refusal)?,
            mends: mends.collect(),
            refused: refused.collect(),
        })
    }

    fn fittings(&self) -> Vec<FittingShown> {
        fittings_shown()
    }

    fn check(
        &self,
        text: &str,
        case: &Path,
        may_read: &dyn Fn(&str) -> Result<(), String>,
    ) -> Result<Case, Refusal> {
        let folder = case.parent().unwrap_or(Path::new(""));
        let read = read_case_with(text, &file_name(case), &mut |file| {
            may_read(file)?;
            painted(folder, file)
        });
        let case = read.map_err(|mistakes| refusal(Failure::in_case(mistakes, text)))?;
        let solids = case.solids.iter().map(|solid| &solid.file);
        let first = case.scan.align.iter().map(|align| &align.to);
        for file in case.scan.files.iter().chain(solids).chain(first) {
            may_read(file).map_err(Refusal::new)?;
        }
        Ok(case)
    }

    fn load(&self, case: &Path) -> Result<Loaded, Refusal> {
        let loaded = load(case).map_err(refusal)?;
        Ok(Loaded { case: loaded.case, scans: loaded.scans })
    }

    fn run(&self, case: &Path, out: &Path, watch: Arc<dyn Watch + Send>) -> Result<Write, Refusal> {
        let wish = Wish { tries: TRIES, all_files: false, report: true };
        let ready = unbroken(|| run_watched(case, wish, &Progress::telling(watch)))?;
        let out = out.to_owned();
        Ok(Box::new(move || unbroken(|| ready.write(&out)).map(drop)))
    }
}

/// A fault of the program is told as a refusal, too.
fn unbroken<T>(work: impl FnOnce() -> Result<T, Failure>) -> Result<T, Refusal> {
    match guarded(std::panic::AssertUnwindSafe(work)) {
        Ok(answer) => answer.map_err(refusal),
        Err(fault) => {
            let message = format!("{}, at {}", fault.message, fault.place);
            Err(refusal(Failure::internal(message)))
        }
    }
}

/// The most pairs of points of one finding's outlines: more is a grey cloud.
const MOST_PAIRS: usize = 200_000;

/// The outlines of a finding, as pairs of points.
fn outline(scan: &Mesh, finding: &Finding) -> Vec<[f32; 3]> {
    let sheets = finding.sheets.iter().map(|sheets| Trace::Triangles(sheets.triangles.clone()));
    let mut pairs: Vec<[u32; 2]> = Vec::new();
    let around = OnceCell::new();
    for trace in finding.traces.iter().cloned().chain(sheets) {
        match trace {
            Trace::Point(v) => {
                let around = around.get_or_init(|| vertex_triangles(scan));
                pairs.extend(border(scan, around.of(v)));
            }
            Trace::Edge(ends) => pairs.push(ends),
            Trace::Loop(ring) => {
                pairs.extend((0..ring.len()).map(|k| [ring[k], ring[(k + 1) % ring.len()]]));
            }
            Trace::Triangles(all) => pairs.extend(border(scan, &all)),
        }
        if pairs.len() > MOST_PAIRS {
            break;
        }
    }
    let at = |v: u32| scan.points()[v as usize].to_array().map(|x| x as f32);
    pairs.into_iter().flatten().map(at).collect()
}

/// The edges of triangles that no two of them share.
fn border(scan: &Mesh, triangles: &[u32]) -> Vec<[u32; 2]> {
    let mut edges: Vec<[u32; 2]> = triangles
        .iter()
        .flat_map(|&t| {
            let [a, b, c] = scan.triangles()[t as usize];
            [[a, b], [b, c], [c, a]].map(|[a, b]| [a.min(b), a.max(b)])
        })
        .collect();
    edges.sort_unstable();
    edges.chunk_by(|a, b| a == b).filter(|same| same.len() == 1).map(|same| same[0]).collect()
}

fn refusal(failure: Failure) -> Refusal {
    let places = failure.mistakes.iter().map(|mistake| Mistake {
        line: mistake.line,
        column: mistake.column,
        message: mistake.message.clone(),
        hints: mistake.hints(),
    });
    Refusal { places: places.collect(), message: failure.message, hints: failure.hints }
}

fn failure(refusal: Refusal) -> Failure {
    Failure { hints: refusal.hints, ..Failure::new(refusal.message) }
}
