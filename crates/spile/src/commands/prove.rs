//! `prove`: judges a part, wherever it was made, against a case.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use spile_case::{Case, write_case};
use spile_joint::Watch as _;
use spile_mesh::{Mesh, NEVER_STOP};
use spile_proof::{Claim, Verdict, add_unit};

use crate::answer::Answer;
use crate::args::ProveArgs;
use crate::commands::fittings::standings;
use crate::commands::prove_folder::prove_folder;
use crate::commands::run::{CASE_FILE, file_name};
use crate::commands::settle_for::settled_for;
use crate::exit::Ending;
use crate::failure::Failure;
use crate::inputs::{Loaded, load, load_placed, read_mesh, shown};
use crate::output::write_whole;
use crate::progress::Progress;
use crate::proof_file::{Body, CAUTION, InputRecord, OutputRecord, ProofFile};
use crate::proof_table::proof_text;
use crate::report_file::{ReportKind, Subject, reports};

/// Judges a part against a case, or a whole folder anew.
pub(crate) fn prove(args: &ProveArgs) -> Result<Answer, Failure> {
    let is_folder = args.case.is_dir();
    let Some(part) = &args.part else {
        if is_folder {
            return prove_folder(&args.case, args.asked.as_deref());
        }
        return Err(Failure::new("no part is named")
            .hint("name it with `--part`, or name the folder that `run` has left instead"));
    };
    let case = if is_folder { args.case.join(CASE_FILE) } else { args.case.clone() };
    let kind = args.report.as_deref().map(ReportKind::of).transpose()?;
    let asked = args.asked.as_deref().map(Asked::File);
    let proved = proved(&case, part, asked.as_ref(), args.without_seams)?;
    let mut text = proof_text(&proved.file);
    if let (Some(report), Some(kind)) = (&args.report, kind) {
        write_whole(report, &proved.report(&[kind])?.concat())?;
        let _ = writeln!(text, "written: {}", shown(report));
    }
    Ok(Answer::new(ending_of(proved.file.body.verdict()), text, &proved.file))
}

/// A part that was judged, with all that its report is made from.
pub(crate) struct Proved {
    /// The proof.
    pub file: ProofFile,
    scans: Vec<Mesh>,
    settled: Case,
    part: Mesh,
}

impl Proved {
    fn report(&self, kinds: &[ReportKind]) -> Result<Vec<Vec<u8>>, Failure> {
        let text = write_case(&self.settled);
        let subject =
            Subject { settled: (&self.settled, &text), scans: &self.scans, part: Some(&self.part) };
        reports(&self.file, &subject, kinds, NEVER_STOP)
    }
}

/// The report of the proof of a part by a settled case, as PDF/A-2a and as PDF/A-1b.
///
/// # Errors
/// What cannot be read, judged or written, in a sentence.
pub fn report_as_pdf(case: &Path, part: &Path) -> Result<Vec<Vec<u8>>, String> {
    let proved = proved(case, part, None, false).map_err(|failure| failure.message)?;
    proved.report(&[ReportKind::Pdf, ReportKind::Checked]).map_err(|failure| failure.message)
}

/// The case as it was asked.
pub(crate) enum Asked<'a> {
    /// Its file, with what it names from that file's folder on.
    File(&'a Path),
    /// Its file in an output folder, and where there what it names is.
    Kept(PathBuf, &'a dyn Fn(&str) -> PathBuf),
}

impl Asked<'_> {
    fn path(&self) -> &Path {
        match self {
            Self::File(path) => path,
            Self::Kept(path, _) => path,
        }
    }

    fn load(&self) -> Result<Loaded, Failure> {
        match self {
            Self::File(path) => load(path),
            Self::Kept(path, place) => load_placed(path, place),
        }
    }
}

/// The proof of a part by a case and, where it is given, by the case as it was asked.
///
/// `without_seams`: where seams are missing and cannot be told from the part, what rests
/// on them is told as not judged; else they are an error.
pub(crate) fn proved(
    case: &Path,
    part_path: &Path,
    asked: Option<&Asked>,
    without_seams: bool,
) -> Result<Proved, Failure> {
    let progress = Progress::new(3);
    progress.step("read", None);
    let loaded = load(case)?;
    let asked_name = asked.map(|asked| shown(asked.path()));
    let asked = asked.map(Asked::load).transpose()?;
    if let (Some(name), Some(asked)) = (&asked_name, &asked) {
        check_same_scans(&loaded, asked, name)?;
    }
    let (part, mesh) = read_mesh(part_path)?;
    let rounded = mesh.rounded();
    let mut notes = Vec::new();
    if rounded != mesh {
        notes.push(
            "the part's coordinates were rounded to 32-bit numbers, as files of parts carry them, \
             before it was judged"
                .to_owned(),
        );
    }
    progress.step("prove", None);
    let (settled, settled_here) =
        settled_for(&loaded.case, &loaded.scans, &rounded, without_seams)?;
    notes.extend(settled_here);
    notes.extend(standings(&settled));
    let claim = Claim::new(&loaded.scans, &rounded, &settled).map_err(|error| {
        Failure::from(error).hint("`run` leaves the settled case as case.toml beside the part")
    })?;
    let look = claim.look()?;
    let mut proof = match &asked {
        Some(asked) => look.judge_as_asked(&asked.case)?,
        None => look.judge()?,
    };
    if let Some(unit) = part.unit {
        add_unit(&mut proof, &settled, unit.symbol());
    }
    progress.step("measure", None);
    let measures = look.measure(&proof)?;
    drop(look);
    drop(claim);
    progress.done();
    let file = ProofFile {
        spile: env!("CARGO_PKG_VERSION"),
        case: file_name(case),
        unit: loaded.case.unit.name(),
        inputs: loaded.files.iter().map(|s| InputRecord::of(&s.name, s)).collect(),
        outputs: vec![OutputRecord::named(&file_name(part_path), &part.sha256)],
        asked: None,
        body: Body::Judged(Box::new(proof)),
        notes,
        gave_way: None,
        align: None,
        bending: None,
        measures: Some(measures),
        recomputed: None,
        caution: CAUTION,
    };
    Ok(Proved { file, scans: loaded.scans, settled, part: rounded })
}

/// A settled case belongs to the scan that was asked about, and to its fittings'
/// files, byte for byte.
fn check_same_scans(settled: &Loaded, asked: &Loaded, asked_name: &str) -> Result<(), Failure> {
    for (own, theirs) in settled.files.iter().zip(&asked.files) {
        if own.sha256 != theirs.sha256 {
            return Err(Failure::new(format!(
                "{} is not the scan that {asked_name} names: its SHA-256 is {}, that of {} is {}",
                own.name, own.sha256, theirs.name, theirs.sha256
            ))
            .hint("run the asked case again on its own scan, or name the case that was run"));
        }
    }
    Ok(())
}

/// How a command ends whose proof has this verdict.
pub(crate) fn ending_of(verdict: Verdict) -> Ending {
    match verdict {
        Verdict::Held => Ending::Held,
        Verdict::Broken | Verdict::NotJudged | Verdict::NotAsked => Ending::Broken,
    }
}
