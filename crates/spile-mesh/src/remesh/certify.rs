//! The distance between old and new patch, and what to do where it is too
//! large.

use glam::DVec3;

use super::guard::{self, Tight};
use super::{DEVIATION_GAP_SHARE, RemeshOptions};
use crate::{Bounds, Bvh, Mesh, TwoSided, farthest, farthest_each};

/// The distance between two patches.
#[derive(Debug, Clone)]
pub(super) struct Found {
    /// From old to new and from new to old, certified.
    pub deviation: TwoSided,
    /// A place on each triangle that may be too far.
    pub failing: Vec<DVec3>,
}

/// The two-sided distance between `old` and `new`, and where it may pass
/// `limit`.
pub(super) fn certify(old: &Mesh, new: &Mesh, limit: f64) -> Found {
    let mut failing = Vec::new();
    let a_to_b = one_way(old, new, limit, &mut failing);
    let b_to_a = one_way(new, old, limit, &mut failing);
    Found { deviation: TwoSided { a_to_b, b_to_a }, failing }
}

fn one_way(from: &Mesh, to: &Mesh, limit: f64, failing: &mut Vec<DVec3>) -> Bounds {
    let bvh = Bvh::build(to);
    let all: Vec<u32> = (0..from.triangles().len() as u32).collect();
    let each = farthest_each(from, &all, &bvh, limit);
    for (t, _) in each.iter().enumerate().filter(|&(_, &hi)| hi > limit) {
        failing.push(farthest_sample(from.corners(t), &bvh));
    }
    let bounds = farthest(from, None, &bvh, DEVIATION_GAP_SHARE * limit, None);
    // Both are certified, so the smaller is.
    let hi = each.into_iter().fold(0.0, f64::max).max(bounds.lo);
    Bounds { hi: bounds.hi.min(hi), ..bounds }
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
