//! Replaced scan against the scan it replaced: never thinner.

use super::triangles::{OtherSide, middle, quarters, radius};
use rayon::prelude::*;
use spile_mesh::{Bounds, DVec3, Mesh};

/// Where replaced scan comes nearest to being too thin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thinner {
    /// The part's wall there.
    pub wall: Bounds,
    /// What it may not fall below: the smaller of `wall_min` and the scan's
    /// thinnest wall within the deviation, without the allowance.
    pub needed: f64,
}

impl Thinner {
    /// By how much the part may be thinner than it should.
    pub fn by(&self) -> f64 {
        self.needed - self.wall.lo
    }
}

/// One side of replaced scan and what it is compared with.
pub struct Replaced<'a> {
    /// The part.
    pub part: &'a Mesh,
    /// Its replaced triangles on one side.
    pub triangles: &'a [u32],
    /// The part's other side.
    pub part_other: &'a OtherSide,
    /// The scan's same side, as given.
    pub scan_own: &'a OtherSide,
    /// The scan's other side, as given.
    pub scan_other: &'a OtherSide,
}

/// Directions in which the scan's thinnest place near a point is sought.
const DIRECTIONS: usize = 8;
/// Triangles are cut in four at most this many times.
const CUTS_MOST: usize = 8;
/// A triangle smaller than this share of the deviation is not cut.
const SMALL_SHARE: f64 = 1.0 / 32.0;

/// The place where replaced scan is thinnest against what the scan had there.
///
/// At every point the part's wall is held against the smaller of `wall_min` and
/// the scan's thinnest wall within `deviation`. The scan's wall is looked up at
/// some points within `deviation` of the *whole* triangle, which can only ask
/// for too much; a triangle that does not pass is cut in four. Cutting ends where
/// a triangle is held with `allowance`, or is so small that it cannot matter.
/// None: nothing replaced, or no side to measure to.
pub fn thinner_than_scan(
    replaced: &Replaced,
    wall_min: f64,
    deviation: f64,
    allowance: f64,
) -> Option<Thinner> {
    if replaced.part_other.is_empty() || replaced.scan_other.is_empty() {
        return None;
    }
    let walls = replaced.part_other.each(replaced.part, replaced.triangles, wall_min);
    let each: Vec<Thinner> = (replaced.triangles.par_iter().zip(&walls))
        .map(|(&t, &wall)| {
            if wall.lo >= wall_min {
                return Thinner { wall, needed: wall_min };
            }
            let corners = replaced.part.corners(t as usize);
            judge(replaced, corners, wall, [wall_min, deviation, allowance])
        })
        .collect();
    each.into_iter().reduce(|a, b| if b.by() > a.by() { b } else { a })
}

/// One triangle thinner than `wall_min`, cut as far as is needed to tell.
fn judge(
    replaced: &Replaced,
    corners: [DVec3; 3],
    whole: Bounds,
    [wall_min, deviation, allowance]: [f64; 3],
) -> Thinner {
    let mut worst: Option<Thinner> = None;
    let mut open = vec![(corners, Some(whole), 0)];
    while let Some((corners, known, depth)) = open.pop() {
        let radius = radius(corners, middle(corners));
        let may_cut = depth < CUTS_MOST && radius >= SMALL_SHARE * deviation;
        // No point of the scan is within the deviation of all of so big a piece,
        // so there is nothing yet to compare its wall with.
        let is_too_big = radius >= deviation && may_cut;
        if is_too_big && known.is_none_or(|wall| wall.lo + allowance < wall_min) {
            open.extend(quarters(corners).map(|piece| (piece, None, depth + 1)));
            continue;
        }
        let wall = known.unwrap_or_else(|| replaced.part_other.wall(corners, wall_min));
        let enough = wall.lo + allowance;
        let needed = if enough >= wall_min {
            wall_min
        } else {
            needed(replaced, corners, wall.at, enough, [wall_min, deviation])
        };
        let found = Thinner { wall, needed };
        if found.by() > allowance && may_cut {
            open.extend(quarters(corners).map(|piece| (piece, None, depth + 1)));
            continue;
        }
        if worst.is_none_or(|w| found.by() > w.by()) {
            worst = Some(found);
        }
        // One broken place decides the triangle.
        if found.by() > allowance {
            break;
        }
    }
    worst.unwrap_or(Thinner { wall: whole, needed: wall_min })
}

/// The least of `wall_min` and the scan's walls at points within `deviation` of
/// every corner; no more are looked at once one is `enough`.
fn needed(
    replaced: &Replaced,
    corners: [DVec3; 3],
    thinnest: DVec3,
    enough: f64,
    [wall_min, deviation]: [f64; 2],
) -> f64 {
    let middle = middle(corners);
    let normal = (corners[1] - corners[0]).cross(corners[2] - corners[0]);
    let (u, v) = normal.try_normalize().unwrap_or(DVec3::Z).any_orthonormal_pair();
    let room = deviation - radius(corners, middle);
    if room <= 0.0 {
        return wall_min;
    }
    let around = [0.5, 0.9].into_iter().flat_map(|share| {
        (0..DIRECTIONS).map(move |k| {
            let angle = std::f64::consts::TAU * k as f64 / DIRECTIONS as f64;
            middle + share * room * (angle.cos() * u + angle.sin() * v)
        })
    });
    let mut least = wall_min;
    for from in [thinnest, middle].into_iter().chain(around) {
        let Some(on_scan) = replaced.scan_own.nearest(from) else { break };
        if corners.iter().all(|p| p.distance(on_scan) <= deviation) {
            least = least.min(replaced.scan_other.distance(on_scan));
        }
        if least <= enough {
            break;
        }
    }
    least
}
