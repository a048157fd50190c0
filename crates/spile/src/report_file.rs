//! The report of a proof, from what stands in `proof.json` and the surfaces.

use std::path::Path;

use spile_case::Case;
use spile_mesh::Mesh;
use spile_proof::PartLabel;
use spile_report::views::{part_tones, toned, whole};
use spile_report::{Evidence, FileRecord, document_with, html};

use crate::failure::Failure;
use crate::inputs::shown;
use crate::output::OutputFile;
use crate::proof_file::{Body, ProofFile};

/// The page's name in the output folder.
pub(crate) const PAGE: &str = "report.html";

/// No file of the report is larger: it must go through any mail.
const MOST_BYTES: usize = 5_000_000;
/// Pictures are drawn this large, as shares of their usual size, until the report fits.
const PICTURE_SHARES: [f64; 4] = [1.0, 0.7, 0.5, 0.25];

/// What the report is about, beside the proof.
pub(crate) struct Subject<'a> {
    /// The settled case and its file's text.
    pub settled: (&'a Case, &'a str),
    /// The scan files' meshes.
    pub scans: &'a [Mesh],
    /// The part as its file reads; none where no part closes.
    pub part: Option<&'a Mesh>,
}

/// The report's file.
///
/// # Errors
/// It is too large however small its pictures are.
pub(crate) fn report_file(proof: &ProofFile, subject: &Subject) -> Result<OutputFile, Failure> {
    let inputs: Vec<FileRecord> =
        proof.inputs.iter().map(|i| record(&i.file, &i.sha256, Some(i.triangles))).collect();
    let outputs: Vec<FileRecord> =
        proof.outputs.iter().map(|o| record(&o.file, &o.sha256, None)).collect();
    let (part, ends) = match &proof.body {
        Body::Judged(judged) => (Some((judged.part, judged.changed)), judged.ends.as_slice()),
        Body::Unmade(_) => (None, [].as_slice()),
    };
    let (settled, settled_text) = subject.settled;
    let evidence = Evidence {
        name: settled.name.as_deref().unwrap_or("case"),
        version: proof.spile,
        unit: proof.unit,
        settled,
        settled_text,
        inputs: &inputs,
        outputs: &outputs,
        verdict: proof.body.verdict(),
        limits: proof.body.limits(),
        conflicts: proof.body.conflicts(),
        mends: proof.body.mends(),
        part,
        measures: proof.measures.as_ref(),
        labels: proof.measures.as_ref().map(|measures| &measures.labels),
        ends,
        notes: &proof.notes,
        caution: proof.caution,
        scans: subject.scans,
        mesh: subject.part,
    };
    for share in PICTURE_SHARES {
        let page = html(&document_with(&evidence, share)).into_bytes();
        if page.len() <= MOST_BYTES {
            return Ok(OutputFile { name: PAGE.to_owned(), bytes: page });
        }
    }
    let most = MOST_BYTES / 1_000_000;
    let message = format!("the report would be larger than {most} MB with the smallest pictures");
    Err(Failure::new(message).hint("the case has very many ends, limits or notes; split it in two"))
}

/// A report is written as the kind of file that its name says.
pub(crate) fn check_is_report(path: &Path) -> Result<(), Failure> {
    match path.extension() {
        Some(extension) if extension.eq_ignore_ascii_case("html") => Ok(()),
        _ => Err(Failure::new(format!("{} is no name for a report", shown(path)))
            .hint("give `--report` a name that ends in .html")),
    }
}

/// The thumbnail's width and height in pixels.
const THUMBNAIL: [usize; 2] = [256, 256];

/// The whole part as a small PNG picture, in the report's colours; none where that cannot
/// be written.
pub(crate) fn thumbnail(part: &Mesh, labels: &[PartLabel]) -> Option<Vec<u8>> {
    toned(part, &part_tones(labels), (whole(part), None), THUMBNAIL).png().ok()
}

fn record(file: &str, sha256: &str, triangles: Option<usize>) -> FileRecord {
    FileRecord { file: file.to_owned(), sha256: sha256.to_owned(), triangles }
}
