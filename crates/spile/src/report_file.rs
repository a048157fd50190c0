//! The report of a proof, from what stands in `proof.json` and the surfaces.

use std::path::Path;

use spile_case::Case;
use spile_mesh::Mesh;
use spile_proof::PartLabel;
use spile_report::views::{part_tones, toned, whole};
use spile_report::{Document, Evidence, FileRecord, document_with, html};
use spile_typeset::{Standard, pdf};

use crate::failure::Failure;
use crate::inputs::shown;
use crate::proof_file::{Body, ProofFile};

/// The kinds of files that a report is written as, with the same contents.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum ReportKind {
    /// One page for a browser.
    Page,
    /// PDF/A-2a, for keeping and print.
    Pdf,
    /// PDF/A-1b, without bookmarks: for a checker of that standard.
    Checked,
}

impl ReportKind {
    /// A report is written as the kind of file that its name says.
    pub(crate) fn of(path: &Path) -> Result<Self, Failure> {
        let is = |ending: &str| path.extension().is_some_and(|e| e.eq_ignore_ascii_case(ending));
        match () {
            () if is("html") => Ok(Self::Page),
            () if is("pdf") => Ok(Self::Pdf),
            () => Err(Failure::new(format!("{} is no name for a report", shown(path)))
                .hint("give `--report` a name that ends in .html or .pdf")),
        }
    }

    /// The file's bytes.
    ///
    /// # Errors
    /// The document cannot be typeset.
    pub(crate) fn write(self, document: &Document) -> Result<Vec<u8>, Failure> {
        let standard = match self {
            Self::Page => return Ok(html(document).into_bytes()),
            Self::Pdf => Standard::PdfA2a,
            Self::Checked => Standard::PdfA1b,
        };
        pdf(document, standard).map_err(|said| {
            Failure::new(format!("the report cannot be typeset: {said}"))
                .hint("ask for the report as .html, or for a run `--without-report`")
        })
    }
}

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

/// The report as files of these kinds: one document, in each.
///
/// # Errors
/// It cannot be typeset, or is too large however small its pictures are.
pub(crate) fn reports(
    proof: &ProofFile,
    subject: &Subject,
    kinds: &[ReportKind],
) -> Result<Vec<Vec<u8>>, Failure> {
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
    small_enough(|share| {
        let document = document_with(&evidence, share);
        kinds.iter().map(|kind| kind.write(&document)).collect()
    })
}

/// What `files` writes with the largest pictures with which each file is small enough.
fn small_enough(
    files: impl Fn(f64) -> Result<Vec<Vec<u8>>, Failure>,
) -> Result<Vec<Vec<u8>>, Failure> {
    for share in PICTURE_SHARES {
        let files = files(share)?;
        if files.iter().all(|bytes| bytes.len() <= MOST_BYTES) {
            return Ok(files);
        }
    }
    let most = MOST_BYTES / 1_000_000;
    let message = format!("the report would be larger than {most} MB with the smallest pictures");
    Err(Failure::new(message).hint("the case has very many ends, limits or notes; split it in two"))
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

#[cfg(test)]
mod tests {
    use super::{MOST_BYTES, PICTURE_SHARES, small_enough};

    #[test]
    fn pictures_shrink_until_every_file_goes_through_a_mail() {
        // Two files: words of a tenth of what may be, and pictures that grow with their area.
        let written = |full: usize| {
            small_enough(|share| {
                let pictures = (full as f64 * share * share) as usize;
                Ok(vec![vec![0; MOST_BYTES / 10], vec![0; MOST_BYTES / 10 + pictures]])
            })
        };
        let most_of_pictures = MOST_BYTES - MOST_BYTES / 10;
        let size = |full: usize| written(full).unwrap()[1].len() - MOST_BYTES / 10;
        assert_eq!(size(most_of_pictures), most_of_pictures);
        let larger = 2 * most_of_pictures;
        let share = PICTURE_SHARES[1];
        assert_eq!(size(larger), (larger as f64 * share * share) as usize);
        assert!(written(100 * MOST_BYTES).unwrap_err().message.contains("5 MB"));
    }
}
