//! The rule for seams: at a cut within `deviation` of the asked plane, at a rim
//! within `trim` of it.

use spile_case::Site;
use spile_mesh::DVec3;

use crate::labels::{Labelled, LabelledEnd, Region, Side};
use crate::polyline::{Polyline, height};
use crate::proof::LimitResult;

/// Judges where the scan's seams of one end lie.
pub(crate) fn judge_seam(l: &Labelled, end: &LabelledEnd) -> LimitResult {
    match l.case.ends[end.index].site {
        Site::Cut(_) | Site::Station(_) => at_cut(l, end),
        Site::Rim(rim) => at_rim(l, end, rim.trim.unwrap_or(0.0)),
    }
}

/// Height over the plane is linear, so it is greatest at the loop's points.
/// Replaced scan counts too where it stands above the plane.
fn at_cut(l: &Labelled, end: &LabelledEnd) -> LimitResult {
    let mut worst = (0.0, end.plane.point);
    let made_outside = l.case.scan.form.makes_wall();
    let outside = if made_outside { &[][..] } else { &end.seam_outside[..] };
    for &v in end.seam_bore.iter().chain(outside) {
        let p = l.part.points()[v as usize];
        let h = height(end.plane, p).abs();
        if h > worst.0 {
            worst = (h, p);
        }
    }
    for (t, corners) in l.part.triangles().iter().enumerate() {
        if l.region[t] == Region::Replaced && l.end[t] == Some(end.index) {
            for p in corners.map(|v| l.part.points()[v as usize]) {
                let h = height(end.plane, p);
                if h > worst.0 {
                    worst = (h, p);
                }
            }
        }
    }
    // A plain end's ring is flat, so it too lies in the plane.
    let ring = l.part_where(|t| {
        l.region[t] == Region::EndFace && l.end[t] == Some(end.index) && end.fitting.is_none()
    });
    for p in ring.iter().flat_map(|&t| l.part.corners(t as usize)) {
        let h = height(end.plane, p).abs();
        if h > worst.0 {
            worst = (h, p);
        }
    }
    let error = 8.0 * f64::EPSILON * (worst.1.length() + end.plane.point.length());
    LimitResult::at_most(
        "seam",
        Some(&end.name),
        Some(l.limits(end).deviation),
        [(worst.0 - error).max(0.0), worst.0 + error],
        worst.1,
        "greatest distance from the asked plane: of the scan's seams, of replaced scan beyond it, \
         of a plain end's ring",
    )
}

/// Both ways between seam and rim: no place of the seam is further than `trim`
/// from the rim, and no place of the rim, teeth included, further from the seam.
fn at_rim(l: &Labelled, end: &LabelledEnd, trim: f64) -> LimitResult {
    let place = |points: &[u32]| -> Vec<DVec3> {
        points.iter().map(|&v| l.part.points()[v as usize]).collect()
    };
    let made_outside = l.case.scan.form.makes_wall();
    let mut bounds = [0.0_f64, 0.0];
    let mut at = end.plane.point;
    for (side, seam, rim) in [
        (Side::Bore, place(&end.seam_bore), &end.scan_loop_bore),
        (Side::Outside, place(&end.seam_outside), &end.scan_loop_outside),
    ] {
        if side == Side::Outside && made_outside {
            continue;
        }
        let (seam, rim) = (Polyline::closed(&seam), Polyline::closed(rim));
        let gap = 1e-3 * trim.max(l.limits(end).deviation);
        for ([lo, hi], p) in [seam.farthest_from(&rim, gap), rim.farthest_from(&seam, gap)] {
            if lo > bounds[0] {
                (bounds[0], at) = (lo, p);
            }
            bounds[1] = bounds[1].max(hi);
        }
    }
    LimitResult::at_most(
        "seam",
        Some(&end.name),
        Some(trim),
        bounds,
        at,
        "greatest distance between the scan's seams and its rims, both ways: what was given up",
    )
}
