//! `run`: makes the part of a case and its proof, and writes both together.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use spile_case::{Case, FileKind, read_case, write_case};
use spile_formats::threemf::ThreeMfInfo;
use spile_joint::{Made, MakeError, Watch as _, align, make};
use spile_mesh::Mesh;
use spile_proof::measures::Measures;
use spile_proof::{Claim, ProofError, Verdict, residual};

use crate::answer::Answer;
use crate::args::RunArgs;
use crate::commands::fittings::standings;
use crate::commands::prove::ending_of;
use crate::commands::seek::find_auto;
use crate::commands::what_holds::try_changes;
use crate::failure::Failure;
use crate::files::{Finished, more_files};
use crate::inputs::{InputFile, Loaded, load, sha256, shown};
use crate::output::{OutputFile, REPORTS, replace};
use crate::part_files::{part_info, stl_bytes, threemf_bytes};
use crate::progress::Progress;
use crate::proof_file::{
    AlignRecord, AskedRecord, Body, CAUTION, InputRecord, NamedRecord, OutputRecord, ProofFile,
    bending, gave_way, notes, unmade, with_conflicts,
};
use crate::proof_table::proof_text;
use crate::report_file::{ReportKind, Subject, reports, thumbnail};

/// The settled case's file in the output folder.
pub(crate) const CASE_FILE: &str = "case.toml";

/// Makes a part and its proof.
pub(crate) fn run(args: &RunArgs) -> Result<Answer, Failure> {
    let folder = args.out.clone().unwrap_or_else(|| beside(&args.case));
    run_case(
        &args.case,
        &folder,
        Wish { tries: args.tries, all_files: args.all_files, report: !args.without_report },
    )
}

/// The output folder of a case if none is named: the case's name with `-out`.
pub(crate) fn beside(case: &Path) -> PathBuf {
    let stem = case.file_stem().map_or_else(String::new, |s| s.to_string_lossy().into());
    case.with_file_name(format!("{stem}-out"))
}

/// The last part of a path: what may stand in an output.
pub(crate) fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into())
}

/// Steps that are commonly taken, for the bar: it grows where there are more.
const STEPS: usize = 19;

/// What a run is to do beyond the part and its proof.
#[derive(Clone, Copy)]
pub(crate) struct Wish {
    /// Where limits are broken, up to so many changed cases are made and judged, to say
    /// what would hold.
    pub tries: u16,
    /// Whether every kind of file is written.
    pub all_files: bool,
    /// Whether the part is measured beyond its limits and the report written.
    pub report: bool,
}

/// Reads a case and its scans, makes, proves and writes; nothing is written
/// before all of it is there.
pub(crate) fn run_case(case: &Path, folder: &Path, wish: Wish) -> Result<Answer, Failure> {
    let progress = Progress::new(STEPS);
    let ready = run_watched(case, wish, &progress)?;
    let answer = ready.write(folder)?;
    progress.done();
    Ok(answer)
}

/// All that a run has made, before any of it is written.
#[derive(Debug)]
pub(crate) struct Ready {
    files: Vec<OutputFile>,
    answer: Answer,
}

impl Ready {
    /// Replaces the files of an earlier run in `folder` by these, all or none.
    pub fn write(mut self, folder: &Path) -> Result<Answer, Failure> {
        replace(folder, &self.files)?;
        let _ = writeln!(self.answer.text, "written: {}", shown(folder));
        Ok(self.answer)
    }
}

/// Makes and proves, with steps told, and stopped, by `progress`; it writes nothing.
pub(crate) fn run_watched(case: &Path, wish: Wish, progress: &Progress) -> Result<Ready, Failure> {
    progress.step("read", None);
    progress.go_on()?;
    let mut loaded = load(case)?;
    progress.go_on()?;
    if wish.all_files {
        loaded.case.output.files = FileKind::ALL.to_vec();
    }
    let loaded = &loaded;
    progress.step("align", None);
    let aligned = match loaded.scans.first() {
        Some(scan) => align(&loaded.case, scan)?,
        None => None,
    };
    let (asked, said) = match &aligned {
        Some(aligned) => (&aligned.case, vec![aligned.note.to_string()]),
        None => (&loaded.case, Vec::new()),
    };
    progress.go_on()?;
    let found = find_auto(asked, &loaded.scans, progress)?;
    let made = make(&found.case, &loaded.scans, progress)?;
    let inputs = name_inputs(&loaded.files, loaded.scans.len(), loaded.case.solids.len());
    let (settled, case_text) = settle(&made, &inputs)?;
    let (mut body, parts, judged) = judge_part(&made, loaded, &settled, wish, progress)?;
    let (mesh, measures) = judged.unzip();
    let measures = measures.flatten();
    try_changes(loaded, &found.case, body.conflicts_mut(), wish.tries, progress);
    progress.go_on()?;
    let (asked_record, asked_files) = asked_files(case, loaded, &inputs);
    let case_file =
        OutputFile { name: CASE_FILE.to_owned(), bytes: case_text.clone().into_bytes() };
    let outputs: Vec<OutputFile> = parts.into_iter().chain([case_file]).collect();
    let mut proof = ProofFile {
        spile: env!("CARGO_PKG_VERSION"),
        case: CASE_FILE.to_owned(),
        unit: settled.unit.name(),
        inputs: inputs
            .iter()
            .zip(&loaded.files)
            .map(|(name, scan)| InputRecord::of(name, scan))
            .collect(),
        outputs: outputs.iter().map(OutputRecord::of).collect(),
        asked: Some(asked_record),
        body,
        notes: [said, found.notes, notes(&made), standings(&settled)].concat(),
        gave_way: Some(gave_way(&made)),
        align: align_record(loaded, &settled, &inputs),
        bending: Some(bending(&made)),
        measures,
        recomputed: None,
        caution: CAUTION,
    };
    let mut files = outputs;
    if wish.report {
        progress.step("report", None);
        let subject =
            Subject { settled: (&settled, &case_text), scans: &loaded.scans, part: mesh.as_ref() };
        // The report tells the proof without itself; then the proof lists it, too.
        let kinds = [ReportKind::Page, ReportKind::Pdf];
        let written = reports(&proof, &subject, &kinds, &|| progress.cancelled())?;
        for (name, bytes) in REPORTS.into_iter().zip(written) {
            let report = OutputFile { name: name.to_owned(), bytes };
            proof.outputs.push(OutputRecord::of(&report));
            files.push(report);
        }
    }
    let json = proof.text();
    files.push(OutputFile { name: "proof.json".to_owned(), bytes: json.clone().into_bytes() });
    for (name, scan) in inputs.into_iter().zip(&loaded.files) {
        files.push(OutputFile { name, bytes: scan.bytes.clone() });
    }
    files.extend(asked_files);
    progress.go_on()?;
    let text = proof_text(&proof);
    Ok(Ready { files, answer: Answer { ending: ending_of(proof.body.verdict()), text, json } })
}

/// Where each input lies in the output folder. Where two have the same name, scans
/// are told apart by the side that they are, fittings by their number.
fn name_inputs(files: &[InputFile], scans: usize, fittings: usize) -> Vec<String> {
    let names: Vec<String> = files.iter().map(|f| file_name(Path::new(&f.name))).collect();
    let same = names
        .iter()
        .enumerate()
        .any(|(k, name)| names[..k].iter().any(|other| other.eq_ignore_ascii_case(name)));
    let sides = ["inner", "outer"];
    let apart = |k: usize| match k.checked_sub(scans) {
        None => sides[k.min(1)].to_owned(),
        Some(fitting) if fitting >= fittings => "first".to_owned(),
        Some(fitting) => format!("fitting-{}", fitting + 1),
    };
    names
        .iter()
        .enumerate()
        .map(|(k, name)| match same {
            true => format!("inputs/{}-{name}", apart(k)),
            false => format!("inputs/{name}"),
        })
        .collect()
}

/// The case as it was asked and the painted files that it names, byte for byte, beside the
/// inputs; and what its names stand for there.
fn asked_files(case: &Path, loaded: &Loaded, inputs: &[String]) -> (AskedRecord, Vec<OutputFile>) {
    let mut taken: BTreeSet<String> = inputs.iter().map(|name| name.to_lowercase()).collect();
    let mut beside = |path: &Path, bytes: &[u8]| {
        let own = file_name(path);
        // Of files with one name each gets the first number that makes it its own.
        let numbered = (2..).map(|k| format!("inputs/{k}-{own}"));
        let mut names = std::iter::once(format!("inputs/{own}")).chain(numbered);
        let name = names.find(|name| taken.insert(name.to_lowercase())).unwrap_or(own);
        OutputFile { name, bytes: bytes.to_owned() }
    };
    let asked = beside(case, loaded.text.as_bytes());
    let painted: Vec<OutputFile> =
        loaded.painted.iter().map(|(name, bytes)| beside(Path::new(name), bytes)).collect();
    let named = |(name, file): (&String, &String)| NamedRecord {
        name: name.replace('\\', "/"),
        file: file.clone(),
    };
    let of_painted =
        loaded.painted.iter().zip(&painted).map(|((name, _), file)| (name, &file.name));
    let of_inputs = loaded.files.iter().map(|file| &file.name).zip(inputs);
    let record = AskedRecord {
        file: asked.name.clone(),
        sha256: sha256(&asked.bytes),
        names: of_inputs.chain(of_painted).map(named).collect(),
        painted: painted.iter().map(OutputRecord::of).collect(),
    };
    (record, std::iter::once(asked).chain(painted).collect())
}

/// How the scan that the case was written for lies on this one.
fn align_record(loaded: &Loaded, settled: &Case, inputs: &[String]) -> Option<AlignRecord> {
    let (first, motion) = (loaded.case.scan.align.as_ref()?, settled.scan.moved?);
    let residual = residual(first, loaded.scans.first()?, &motion)?;
    Some(AlignRecord::of(inputs.last()?, &motion, &residual))
}

/// The settled case as it reads back from the text that is written, so that
/// the proof is about the very file beside it.
pub(crate) fn settle(made: &Made, inputs: &[String]) -> Result<(Case, String), Failure> {
    let mut settled = made.settled.clone();
    let scans = settled.scan.files.len();
    settled.scan.files = inputs.iter().take(scans).cloned().collect();
    for (solid, file) in settled.solids.iter_mut().zip(inputs.iter().skip(scans)) {
        solid.file.clone_from(file);
    }
    let text = write_case(&settled);
    match read_case(&text, CASE_FILE) {
        // What the files hold is no part of the text.
        Ok(case) => Ok((Case { solids: settled.solids, ..case }, text)),
        Err(mistakes) => {
            let first = mistakes.first().map_or_else(String::new, ToString::to_string);
            Err(Failure::internal(format!("the settled case does not read back: {first}")))
        }
    }
}

/// The part as it was judged, and what it is like where that is wished.
type Measured = (Mesh, Option<Measures>);

/// Judges the part as its STL file reads back, and the settled case against the
/// one that was asked, and measures it; the part's files are named by the verdict, and
/// the mesh is the one that was judged.
fn judge_part(
    made: &Made,
    loaded: &Loaded,
    settled: &Case,
    wish: Wish,
    progress: &Progress,
) -> Result<(Body, Vec<OutputFile>, Option<Measured>), Failure> {
    let Some(part) = &made.part else {
        return Ok((with_conflicts(unmade(settled), made), Vec::new(), None));
    };
    progress.step("write", None);
    let stl = stl_bytes(part, settled.unit)?;
    let written = spile_formats::read_bytes("part.stl", &stl)
        .map_err(|error| Failure::internal(format!("the part does not read back: {error}")))?;
    progress.go_on()?;
    progress.step("prove", None);
    let cannot = |error| match error {
        ProofError::Stopped => MakeError::Cancelled.into(),
        other => Failure::internal(format!("the part cannot be judged: {other}")),
    };
    let stop = || progress.cancelled();
    let claim = Claim::new(&loaded.scans, &written.mesh, settled).map_err(cannot)?.until(&stop);
    let look = claim.look().map_err(cannot)?;
    let proof = look.judge_as_asked(&loaded.case).map_err(cannot)?;
    // Other kinds of files say what the part is like, too.
    let measured = if wish.report || !settled.output.files.is_empty() {
        progress.go_on()?;
        progress.step("measure", None);
        Some(look.measure(&proof).map_err(cannot)?)
    } else {
        None
    };
    drop(look);
    drop(claim);
    progress.step("write", None);
    let (stem, said) = match proof.verdict {
        Verdict::Held => ("part", "held"),
        _ => ("part-broken", "broken"),
    };
    let what = format!("Scan joined to its fittings; limits: {said}. {CAUTION}");
    let more = vec![("Verdict".to_owned(), said.to_owned())];
    let info = part_info(settled.unit, stem, &what);
    let told = ThreeMfInfo {
        part: info.clone(),
        more,
        thumbnail: measured.as_ref().and_then(|m| thumbnail(&written.mesh, &m.labels.part)),
    };
    progress.go_on()?;
    let threemf = threemf_bytes(part, &told)?;
    progress.go_on()?;
    let mut files: Vec<OutputFile> = [("stl", stl), ("3mf", threemf)]
        .map(|(extension, bytes)| OutputFile { name: format!("{stem}.{extension}"), bytes })
        .into();
    if let Some(measures) = &measured {
        let part = &written.mesh;
        files.extend(more_files(&Finished { part, settled, proof: &proof, measures, stem, info })?);
    }
    let body = with_conflicts(Body::Judged(Box::new(proof)), made);
    Ok((body, files, Some((written.mesh, measured))))
}

#[cfg(test)]
mod stopped;

#[cfg(test)]
mod tests {
    use super::{beside, name_inputs};
    use crate::inputs::InputFile;

    fn scan(name: &str) -> InputFile {
        InputFile {
            name: name.to_owned(),
            bytes: Vec::new(),
            sha256: String::new(),
            triangles: 0,
            unit: None,
        }
    }

    #[test]
    fn the_folder_is_the_cases_name_with_out() {
        assert_eq!(
            beside("jobs/left-duct.toml".as_ref()),
            std::path::Path::new("jobs/left-duct-out")
        );
    }

    #[test]
    fn inputs_keep_their_names_unless_two_are_the_same() {
        assert_eq!(name_inputs(&[scan("../a/x.stl")], 1, 0), ["inputs/x.stl"]);
        assert_eq!(
            name_inputs(&[scan("a/x.stl"), scan("y.stl")], 2, 0),
            ["inputs/x.stl", "inputs/y.stl"]
        );
        assert_eq!(
            name_inputs(&[scan("a/x.stl"), scan("b/X.stl")], 2, 0),
            ["inputs/inner-x.stl", "inputs/outer-X.stl"]
        );
        assert_eq!(
            name_inputs(&[scan("x.stl"), scan("y.stl"), scan("x.stl")], 1, 2),
            ["inputs/inner-x.stl", "inputs/fitting-1-y.stl", "inputs/fitting-2-x.stl"]
        );
    }
}
