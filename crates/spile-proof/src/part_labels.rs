//! What each triangle of a part is, for files that name or colour it.

use spile_case::Case;
use spile_mesh::Mesh;

use crate::identity::weld;
use crate::judge::check_inputs;
use crate::labels::{Region, Side, label};
use crate::proof::ProofError;

/// What one triangle of a part is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct PartLabel {
    /// What it belongs to.
    pub region: Region,
    /// Which side of the wall it is on.
    pub side: Side,
    /// The end whose joint, fitting, end face or reach it belongs to, by its number in the case.
    pub end: Option<usize>,
}

/// What each triangle of a part is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartLabels {
    /// One label a triangle, in the part's order.
    pub of: Vec<PartLabel>,
    /// What could not be told, in sentences; where this is not empty, labels may be wrong.
    pub doubts: Vec<String>,
}

/// The labels by which a part is judged.
///
/// The arguments are those of [`crate::judge`].
///
/// # Errors
/// The inputs do not belong together; see [`ProofError`].
pub fn part_labels(scans: &[Mesh], part: &Mesh, settled: &Case) -> Result<PartLabels, ProofError> {
    check_inputs(scans, part, settled)?;
    let welded = weld(part);
    let l = label(scans, &welded, settled);
    let of = (0..part.triangles().len())
        .map(|t| PartLabel { region: l.region[t], side: l.side[t], end: l.end[t] })
        .collect();
    Ok(PartLabels { of, doubts: l.faults.into_iter().map(|fault| fault.text).collect() })
}
