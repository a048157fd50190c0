//! A part made of a changed case and judged, and nothing written.

use spile_case::Case;
use spile_joint::{MakeError, Unwatched, make};
use spile_mesh::Mesh;
use spile_proof::{Proof, judge_as_asked};

use crate::part_files::stl_bytes;

/// Makes a part of `case` and judges it as its STL file reads back; none where no
/// part closes.
///
/// # Errors
/// The case does not fit the scan; see [`MakeError`].
pub(crate) fn judged(case: &Case, scans: &[Mesh]) -> Result<Option<Proof>, MakeError> {
    let made = make(case, scans, &Unwatched)?;
    let Some(part) = &made.part else { return Ok(None) };
    let Ok(stl) = stl_bytes(part, case.unit) else { return Ok(None) };
    let Ok(written) = spile_formats::read_bytes("part.stl", &stl) else { return Ok(None) };
    Ok(judge_as_asked(scans, &written.mesh, &made.settled, case).ok())
}
