//! What became of the scan, in numbers.

use spile_mesh::DVec3;

use crate::clip::{Half, clipped};
use crate::labels::{Fate, Labelled};
use crate::proof::Changed;

/// Counts and areas of kept, replaced and given-up scan. Crossed triangles are
/// shared out at the plane.
pub(crate) fn changed(l: &Labelled) -> Changed {
    let area = |t: usize| 0.5 * l.scan.area_normal(t).length();
    let mut changed = Changed {
        triangles_kept: 0,
        triangles_replaced: 0,
        area_replaced: 0.0,
        area_given_up: 0.0,
    };
    for (t, fate) in l.fate.iter().enumerate() {
        match *fate {
            Fate::Kept => changed.triangles_kept += 1,
            Fate::Removed(_) => changed.area_given_up += area(t),
            Fate::Replaced(end) => {
                let plane = l.ends[end].plane;
                let below = polygon_area(&clipped(l.scan.corners(t), plane, Half::Below));
                changed.triangles_replaced += 1;
                changed.area_replaced += below;
                changed.area_given_up += (area(t) - below).max(0.0);
            }
            Fate::MendedAway | Fate::Lost => {}
        }
    }
    changed
}

fn polygon_area(points: &[DVec3]) -> f64 {
    let sum: DVec3 = (1..points.len().max(2) - 1)
        .map(|i| (points[i] - points[0]).cross(points[i + 1] - points[0]))
        .sum();
    0.5 * sum.length()
}
