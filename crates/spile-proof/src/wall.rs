//! The wall: the shortest straight distance from bore to outside.
//!
//! Every triangle that is judged gets the certified distance of all of it from
//! the other side. Near the scan's seam the limit is lower where the scan itself
//! is thinner; it changes from point to point, so a triangle is held against the
//! *largest* limit on it, and cut in four where that is not enough to tell.

mod replaced;
mod seam_limit;
mod triangles;

pub use replaced::{Replaced, Thinner, thinner_than_scan};
pub use seam_limit::{SeamLimit, SeamWall};
pub use triangles::OtherSide;

use rayon::prelude::*;
use spile_mesh::{Bounds, DVec3, Mesh};
use triangles::quarters;

/// The wall's least, and the place that comes nearest to breaking its limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WallFound {
    /// The least wall where it is judged.
    pub least: Bounds,
    /// The place thinnest against its own limit: the wall there is no less than
    /// `tightest.lo`, and the limit no more than `limit`.
    pub tightest: Bounds,
    /// The largest limit at that place.
    pub limit: f64,
    /// Whether some place held only because the scan's own seam is thinner than
    /// the limit.
    pub has_local_limit: bool,
}

impl WallFound {
    /// How far the wall stays above its limit at the tightest place; negative
    /// where it may be broken.
    pub fn margin(&self) -> f64 {
        self.tightest.lo - self.limit
    }
}

/// Triangles are cut in four at most this many times.
const CUTS_MOST: usize = 7;

/// The wall of some triangles against another side, each point held against
/// `limit` or, near the scan's seam, what the seam allows.
///
/// Certified: `least` and `tightest` bound every point of the triangles. None
/// where there is nothing to measure, or nothing to measure to. Cost: one search
/// of the other side a triangle, more where the wall is under `limit`.
pub fn wall(
    mesh: &Mesh,
    some: &[u32],
    other: &OtherSide,
    limit: f64,
    seam: Option<&SeamLimit>,
) -> Option<WallFound> {
    let least = other.least(mesh, some)?;
    let plain = WallFound { least, tightest: least, limit, has_local_limit: false };
    let Some(seam) = seam else { return Some(plain) };
    if least.lo >= limit {
        return Some(plain);
    }
    let walls = other.each(mesh, some, limit);
    let judged: Vec<WallFound> = (some.par_iter().zip(&walls))
        .filter(|(_, wall)| wall.lo < limit)
        .map(|(&t, &wall)| judge(mesh.corners(t as usize), wall, other, limit, seam))
        .collect();
    let tightest = judged.into_iter().reduce(WallFound::worse);
    Some(WallFound { least, ..tightest.unwrap_or(plain) })
}

impl WallFound {
    /// Both in one; of equals the first.
    pub fn worse(self, other: Self) -> Self {
        let lower = if other.least.hi < self.least.hi { other.least } else { self.least };
        let least = Bounds { lo: self.least.lo.min(other.least.lo), ..lower };
        let has_local_limit = self.has_local_limit || other.has_local_limit;
        let tighter = if other.margin() < self.margin() { other } else { self };
        Self { least, has_local_limit, ..tighter }
    }
}

/// One triangle under the limit, cut as far as the changing limit asks for.
fn judge(
    corners: [DVec3; 3],
    whole: Bounds,
    other: &OtherSide,
    limit: f64,
    seam: &SeamLimit,
) -> WallFound {
    let plain = WallFound { least: whole, tightest: whole, limit, has_local_limit: false };
    if !seam.is_near(corners) {
        return plain;
    }
    let mut tightest = WallFound { has_local_limit: true, ..plain };
    let mut is_first = true;
    let mut open = vec![(corners, whole, 0)];
    while let Some((corners, wall, depth)) = open.pop() {
        let largest = seam.largest(corners).min(limit);
        if wall.lo < largest && depth < CUTS_MOST {
            let pieces = quarters(corners);
            open.extend(pieces.map(|piece| (piece, other.wall(piece, limit), depth + 1)));
            continue;
        }
        if is_first || wall.lo - largest < tightest.margin() {
            (tightest.tightest, tightest.limit, is_first) = (wall, largest, false);
        }
        // One broken place decides the triangle.
        if wall.lo < largest {
            break;
        }
    }
    tightest
}
