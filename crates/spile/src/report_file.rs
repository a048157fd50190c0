//! The report of a proof, from what stands in `proof.json` and the surfaces.

use std::path::Path;

use rayon::prelude::*;
use spile_case::Case;
use spile_joint::MakeError;
use spile_mesh::{Mesh, StopAsked};
use spile_proof::PartLabel;
use spile_report::picture::Surface;
use spile_report::views::{part_tones, toned, whole};
use spile_report::{Detail, Document, Evidence, FileRecord, Turned, document, html};
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
            Self::Page => {
                return Ok(html(document, spile_page::turning_script().as_deref()).into_bytes());
            }
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
/// Pictures are drawn this large, as shares of their usual size, and the part to be turned
/// has about so many triangles of what did not change, until the report fits.
const DETAILS: [(f64, usize); 4] = [(1.0, 60_000), (0.7, 40_000), (0.5, 20_000), (0.25, 10_000)];

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
/// It cannot be typeset, is too large however small its pictures are, or `stop` said so.
pub(crate) fn reports(
    proof: &ProofFile,
    subject: &Subject,
    kinds: &[ReportKind],
    stop: StopAsked<'_>,
) -> Result<Vec<Vec<u8>>, Failure> {
    let meshes = proof.inputs.iter().map(|i| record(&i.file, &i.sha256, Some(i.triangles)));
    let asked = proof.asked.iter().map(|a| record(&a.file, &a.sha256, None));
    let painted = proof.asked.iter().flat_map(|a| &a.painted);
    let painted = painted.map(|p| record(&p.file, &p.sha256, None));
    let inputs: Vec<FileRecord> = meshes.chain(asked).chain(painted).collect();
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
        stop,
    };
    let go_on = || if stop() { Err(MakeError::Cancelled) } else { Ok(()) };
    let is_turned = kinds.contains(&ReportKind::Page) && spile_page::turning_script().is_some();
    small_enough(&details(is_turned), |detail| {
        go_on()?;
        let document = document(&evidence, detail);
        let write = |kind: &ReportKind| {
            go_on()?;
            kind.write(&document)
        };
        let files = kinds.par_iter().map(write).collect();
        go_on()?;
        files
    })
}

/// What is tried, the most first. Where even the least is too large with the part to be
/// turned, that is left out, which the report says, before the rest is given up.
fn details(is_turned: bool) -> Vec<Detail> {
    let with =
        DETAILS.map(|(picture_share, most)| Detail { picture_share, turned: Turned::With(most) });
    let turned = if is_turned { Turned::TooMuch } else { Turned::No };
    let without = DETAILS.map(|(picture_share, _)| Detail { picture_share, turned });
    with.into_iter().filter(|_| is_turned).chain(without).collect()
}

/// What `files` writes with the first of `details` with which each file is small enough.
fn small_enough(
    details: &[Detail],
    files: impl Fn(Detail) -> Result<Vec<Vec<u8>>, Failure>,
) -> Result<Vec<Vec<u8>>, Failure> {
    for detail in details {
        let files = files(*detail)?;
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
    toned(&Surface::of(part), &part_tones(labels), (whole(part), None), THUMBNAIL).png().ok()
}

fn record(file: &str, sha256: &str, triangles: Option<usize>) -> FileRecord {
    FileRecord { file: file.to_owned(), sha256: sha256.to_owned(), triangles }
}

#[cfg(test)]
mod tests {
    use spile_report::Turned;

    use super::{DETAILS, MOST_BYTES, details, small_enough};

    #[test]
    fn pictures_shrink_until_every_file_goes_through_a_mail() {
        // Two files: words of a tenth of what may be, and pictures that grow with their area.
        let shrunk = |full: usize, share: f64| (full as f64 * share * share) as usize;
        let written = |full: usize| {
            small_enough(&details(false), |detail| {
                let pictures = shrunk(full, detail.picture_share);
                Ok(vec![vec![0; MOST_BYTES / 10], vec![0; MOST_BYTES / 10 + pictures]])
            })
        };
        let most_of_pictures = MOST_BYTES - MOST_BYTES / 10;
        let size = |full: usize| written(full).unwrap()[1].len() - MOST_BYTES / 10;
        assert_eq!(size(most_of_pictures), most_of_pictures);
        let larger = 2 * most_of_pictures;
        assert_eq!(size(larger), shrunk(larger, DETAILS[1].0));
        assert!(written(100 * MOST_BYTES).unwrap_err().message.contains("5 MB"));
    }

    #[test]
    fn the_part_to_be_turned_shrinks_too_and_goes_before_the_report_does() {
        let written = |changed: usize| {
            let files = small_enough(&details(true), |detail| {
                let turned = match detail.turned {
                    Turned::With(most) => 40 * (changed + most),
                    Turned::TooMuch => 1,
                    Turned::No => 0,
                };
                Ok(vec![vec![0; 1_000_000 + turned]])
            });
            files.unwrap()[0].len()
        };
        assert_eq!(written(30_000), 1_000_000 + 40 * (30_000 + DETAILS[0].1));
        assert_eq!(written(70_000), 1_000_000 + 40 * (70_000 + DETAILS[2].1));
        assert_eq!(written(200_000), 1_000_001);
    }
}
