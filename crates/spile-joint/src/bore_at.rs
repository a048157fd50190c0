//! The bore where an end is cut: how wide it is and which way it leads on.

use std::f64::consts::PI;

use spile_case::Case;
use spile_mesh::{DVec3, Mesh};

use crate::locate::{locate, tangent};
use crate::make::MakeError;
use crate::mend::{MendOptions, mend};
use crate::station::with_planes;
use crate::surface::Scan;

/// The scan's bore at an end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoreAt {
    /// Diameter of the circle of its area in the end's plane.
    pub across: f64,
    /// Unit tangent of the centreline there, off the scan: where a place by `gap` leads.
    pub direction: DVec3,
}

/// The scan's bore at each end of the case, in their order.
///
/// # Errors
/// An end is not to be found on the scan.
pub fn bores_at(case: &Case, scans: &[Mesh]) -> Result<Vec<BoreAt>, MakeError> {
    let meshes: Vec<Mesh> =
        scans.iter().map(|scan| mend(scan, MendOptions::of(&case.scan)).mesh).collect();
    let scan = Scan::of(&meshes);
    let two_walls = !case.scan.form.makes_wall();
    let ends = with_planes(&scan, case)?.0.ends;
    let bore_at = |end| {
        let loops = locate(&scan, end, two_walls)?.loops;
        let across = 2.0 * (loops.bore.area(loops.plane.normal).abs() / PI).sqrt();
        Ok(BoreAt { across, direction: tangent(&scan, &loops, loops.plane.normal) })
    };
    ends.iter().map(bore_at).collect()
}
