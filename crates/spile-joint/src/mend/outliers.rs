//! Outliers: the point goes, and its neighbours close the place over points that
//! were there.

use spile_case::{Ball, Mend, MendKind};
use spile_mesh::{Bounds3, DVec3};

use super::ball_round;
use super::refill::Spots;
use super::work::{Changes, Spot, Work};
use crate::examine::{FindingKind, outliers};

/// Takes out each outlier whose place its neighbours can close so that it meets
/// nothing; the farthest off first where two are too near each other.
pub(super) fn mend_outliers(work: &mut Work) {
    let (topology, around) = (work.topology(), work.around());
    let mut found = outliers(&work.mesh, &topology, &around);
    if found.is_empty() {
        return;
    }
    found.sort_by(|a, b| b.height.total_cmp(&a.height).then(a.point.cmp(&b.point)));
    let spots = Spots::of(work);
    let mut taken: Vec<Bounds3> = Vec::new();
    let mut changes = Changes::default();
    for outlier in found {
        let star = around.of(outlier.point);
        let Some(refill) = spots.refill(star) else {
            work.refuse(
                FindingKind::Outlier,
                ball_round(star.iter().flat_map(|&t| work.mesh.corners(t as usize))),
                "no few triangles over the points round it take its place; rescan, or repair the \
                 spot by hand",
            );
            continue;
        };
        let bounds = spots.box_of(star);
        // One that is too near another waits for the next round.
        if taken.iter().any(|other| other.touches(bounds)) {
            continue;
        }
        taken.push(bounds);
        let before = star.iter().map(|&t| work.mesh.corners(t as usize)).collect();
        let after = refill.added.iter().map(|t| t.map(|v| work.point(v))).collect();
        let ball = ball_with_earlier(work, star);
        work.list(Mend { kind: MendKind::Outlier, ball }, 0, Spot { before, after });
        changes.removed.extend(refill.removed);
        changes.added.extend(refill.added);
    }
    work.apply(changes);
}

/// A ball round these triangles, and round what earlier mends took away where those
/// put some of them in: there, only the scan's own triangles tell of the point.
fn ball_with_earlier(work: &Work, star: &[u32]) -> Ball {
    let mut corners: Vec<DVec3> = Vec::new();
    for &t in star {
        let of_t = work.mesh.corners(t as usize);
        corners.extend(of_t);
        let made_here = |spot: &&Spot| spot.after.contains(&of_t);
        for spot in work.spots.iter().filter(made_here) {
            corners.extend(spot.before.iter().flatten());
        }
    }
    ball_round(corners.iter().copied())
}
