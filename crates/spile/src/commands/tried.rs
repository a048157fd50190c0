//! A part made of a changed case and judged, and nothing written.

use spile_case::Case;
use spile_joint::{MakeError, Watch, make};
use spile_mesh::Mesh;
use spile_proof::{Claim, Proof, ProofError};

use crate::part_files::stl_bytes;
use crate::progress::Progress;

/// Stops a try with the run that it is part of; its steps are not told.
struct WithinRun<'a>(&'a Progress);

impl Watch for WithinRun<'_> {
    fn step(&self, _: &'static str, _: Option<&str>) {}

    fn cancelled(&self) -> bool {
        self.0.cancelled()
    }
}

/// Makes a part of `case` and judges it as its STL file reads back; none where no
/// part closes.
///
/// # Errors
/// The case does not fit the scan, or `progress` stopped it; see [`MakeError`].
pub(crate) fn judged(
    case: &Case,
    scans: &[Mesh],
    progress: &Progress,
) -> Result<Option<Proof>, MakeError> {
    let made = make(case, scans, &WithinRun(progress))?;
    let Some(part) = &made.part else { return Ok(None) };
    let Ok(stl) = stl_bytes(part, case.unit) else { return Ok(None) };
    let Ok(written) = spile_formats::read_bytes("part.stl", &stl) else { return Ok(None) };
    let stop = || progress.cancelled();
    let proof = Claim::new(scans, &written.mesh, &made.settled)
        .and_then(|claim| claim.until(&stop).look()?.judge_as_asked(case));
    match proof {
        Err(ProofError::Stopped) => Err(MakeError::Cancelled),
        proof => Ok(proof.ok()),
    }
}
