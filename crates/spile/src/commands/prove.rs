//! `prove`: judges a part, wherever it was made, against a settled case.

use spile_proof::{Verdict, judge};

use crate::answer::Answer;
use crate::args::ProveArgs;
use crate::commands::run::file_name;
use crate::exit::Ending;
use crate::failure::Failure;
use crate::inputs::{load, read_mesh};
use crate::progress::Progress;
use crate::proof_file::{Body, CAUTION, InputRecord, OutputRecord, ProofFile};
use crate::proof_table::proof_text;

/// Judges a part against a case.
pub(crate) fn prove(args: &ProveArgs) -> Result<Answer, Failure> {
    let loaded = load(&args.case)?;
    let (part, mesh) = read_mesh(&args.part)?;
    let rounded = mesh.rounded();
    let mut notes = Vec::new();
    if rounded != mesh {
        notes.push(
            "the part's coordinates were rounded to 32-bit numbers, as files of parts carry them, \
             before it was judged"
                .to_owned(),
        );
    }
    let progress = Progress::new(1);
    spile_joint::Watch::step(&progress, "prove", None);
    let proof = judge(&loaded.scans, &rounded, &loaded.case).map_err(|error| {
        Failure::from(error).hint("`run` leaves the settled case as case.toml beside the part")
    })?;
    progress.done();
    let ending = ending_of(proof.verdict);
    let file = ProofFile {
        spile: env!("CARGO_PKG_VERSION"),
        case: file_name(&args.case),
        unit: loaded.case.unit.name(),
        inputs: loaded.files.iter().map(|s| InputRecord::of(&s.name, s)).collect(),
        outputs: vec![OutputRecord::named(&file_name(&args.part), &part.sha256)],
        body: Body::Judged(Box::new(proof)),
        notes,
        caution: CAUTION,
    };
    Ok(Answer::new(ending, proof_text(&file), &file))
}

/// How a command ends whose proof has this verdict.
pub(crate) fn ending_of(verdict: Verdict) -> Ending {
    match verdict {
        Verdict::Held => Ending::Held,
        Verdict::Broken | Verdict::NotJudged | Verdict::NotAsked => Ending::Broken,
    }
}
