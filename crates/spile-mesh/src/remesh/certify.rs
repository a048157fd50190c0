//! The distance between old and new patch, and what to do where it is too
//! large.

use std::collections::HashSet;

use glam::DVec3;

use super::RemeshOptions;
use super::guard::{self, Tight};
use crate::mesh::Bounds3;
use crate::{Bounds, Bvh, Mesh, TwoSided, farthest, farthest_each};

/// The distance between two patches.
#[derive(Debug, Clone)]
pub(super) struct Found {
    /// From old to new and from new to old, certified.
    pub deviation: TwoSided,
    /// The old triangles that may be too far from the new surface.
    pub old: Vec<u32>,
    /// The new triangles that may be too far from the old surface.
    pub new: Vec<u32>,
    /// A place on each of them.
    pub places: Vec<DVec3>,
}

impl Found {
    /// Whether both surfaces are within the limit of each other.
    pub fn is_met(&self) -> bool {
        self.places.is_empty()
    }
}

/// The two-sided distance between `old` and `new`, and where it may pass the
/// deviation allowed.
///
/// Triangles that both have corner for corner lie at no distance, exactly, and
/// are not measured: so a patch that is kept as it is meets any limit.
pub(super) fn certify(old: &Mesh, new: &Mesh, options: &RemeshOptions) -> Found {
    let (limit, gap) = (options.deviation, options.gap);
    let mut places = Vec::new();
    let (a_to_b, of_old) = one_way(old, new, limit, gap, &mut places);
    let (b_to_a, of_new) = one_way(new, old, limit, gap, &mut places);
    Found { deviation: TwoSided { a_to_b, b_to_a }, old: of_old, new: of_new, places }
}

fn one_way(
    from: &Mesh,
    to: &Mesh,
    limit: f64,
    gap: f64,
    places: &mut Vec<DVec3>,
) -> (Bounds, Vec<u32>) {
    let there = those_of(to, &vec![true; to.triangles().len()]);
    let count = from.triangles().len();
    let other: Vec<u32> =
        (0..count).filter(|&t| !there.contains(&key(from, t))).map(|t| t as u32).collect();
    if other.is_empty() {
        let at = from.points().first().copied().unwrap_or(DVec3::ZERO);
        return (Bounds { lo: 0.0, hi: 0.0, at }, Vec::new());
    }
    let bvh = Bvh::build(to);
    let each = farthest_each(from, &other, &bvh, limit);
    // What is no number holds nothing.
    let is_over = |hi: f64| hi.is_nan() || hi > limit;
    let failing: Vec<u32> =
        other.iter().zip(&each).filter(|&(_, &hi)| is_over(hi)).map(|(&t, _)| t).collect();
    places.extend(failing.iter().map(|&t| farthest_sample(from.corners(t as usize), &bvh)));
    let hi = each.into_iter().fold(0.0, f64::max);
    if gap == f64::INFINITY {
        return (Bounds { lo: 0.0, hi, at: from.corners(other[0] as usize)[0] }, failing);
    }
    let bounds = farthest(from, Some(&other), &bvh, gap, None);
    // Both are certified, so the smaller is.
    (Bounds { hi: bounds.hi.min(hi.max(bounds.lo)), ..bounds }, failing)
}

/// The corners of those triangles of `mesh` that are `chosen`.
pub(super) fn those_of(mesh: &Mesh, chosen: &[bool]) -> HashSet<[[u64; 3]; 3]> {
    chosen.iter().enumerate().filter(|&(_, &is)| is).map(|(t, _)| key(mesh, t)).collect()
}

/// The corners of a triangle to the bit, in an order of their own.
pub(super) fn key(mesh: &Mesh, t: usize) -> [[u64; 3]; 3] {
    let mut key = mesh.corners(t).map(|p| p.to_array().map(f64::to_bits));
    key.sort_unstable();
    key
}

/// The place farthest from `to` among corners, middles of edges and the middle.
fn farthest_sample([a, b, c]: [DVec3; 3], to: &Bvh) -> DVec3 {
    let middle = (a + b + c) / 3.0;
    let distance = |p: DVec3| to.closest(p).map_or(0.0, |c| c.distance);
    let places = [middle, a, b, c, a.midpoint(b), b.midpoint(c), c.midpoint(a)];
    let far = places.into_iter().map(|p| (distance(p), p)).max_by(|p, q| p.0.total_cmp(&q.0));
    far.map_or(middle, |(_, p)| p)
}

/// How much smaller size and envelope become at a place, a round.
const SIZE_STEP: f64 = 0.75;
const ENVELOPE_STEP: f64 = 0.6;

/// Adds tight places round those that fail.
pub(super) fn tighten(tight: &mut Vec<Tight>, failing: &[DVec3], options: &RemeshOptions) {
    let before = tight.clone();
    let first = tight.len();
    for &at in failing {
        let is_covered = tight[first..].iter().any(|t| t.at.distance(at) < 0.5 * t.radius);
        if is_covered {
            continue;
        }
        let size = (options.size)(at);
        let (size_share, envelope_share) = guard::shares(&before, at);
        tight.push(Tight {
            at,
            radius: 1.5 * size,
            size: size * size_share * SIZE_STEP,
            envelope_share: envelope_share * ENVELOPE_STEP,
            size_share: size_share * SIZE_STEP,
        });
    }
}

/// Marks in `kept` the old triangles near those that fail: each failing one,
/// and all whose boxes come within `reach` wanted lengths of a failing one's.
pub(super) fn give_back(
    kept: &mut [bool],
    (old, index): (&Mesh, &Bvh),
    new: &Mesh,
    found: &Found,
    (reach, options): (f64, &RemeshOptions),
) {
    let of_old = found.old.iter().map(|&t| old.corners(t as usize));
    let of_new = found.new.iter().map(|&t| new.corners(t as usize));
    for corners in of_old.chain(of_new) {
        let room = reach * (options.size)((corners[0] + corners[1] + corners[2]) / 3.0);
        let own = Bounds3::of(corners);
        let about = Bounds3 { min: own.min - room, max: own.max + room };
        index.for_each_touching(about, &mut |t| kept[t as usize] = true);
    }
    for &t in &found.old {
        kept[t as usize] = true;
    }
}
