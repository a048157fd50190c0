//! What each triangle of part and scan is, for those who draw them.

use spile_case::Case;
use spile_mesh::Mesh;

use crate::identity::weld;
use crate::judge::check_inputs;
use crate::labels::{Fate, Region, Side, label};
use crate::proof::ProofError;

/// What each triangle is, in the order of the meshes given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Regions {
    /// What each triangle of the part belongs to.
    pub part: Vec<Region>,
    /// Which side of the wall each triangle of the part is on.
    pub side: Vec<Side>,
    /// What became of each triangle of the scan; of two files the first's come first.
    pub scan: Vec<Fate>,
}

/// Tells scan and part apart as [`crate::judge`] does, without judging.
///
/// # Errors
/// The inputs do not belong together; see [`ProofError`].
pub fn regions(scans: &[Mesh], part: &Mesh, settled: &Case) -> Result<Regions, ProofError> {
    check_inputs(scans, part, settled)?;
    let welded = weld(part);
    let labelled = label(scans, &welded, settled);
    Ok(Regions { part: labelled.region, side: labelled.side, scan: labelled.fate })
}
