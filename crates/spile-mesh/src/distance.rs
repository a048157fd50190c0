//! Certified distances between surfaces.
//!
//! Nothing is sampled. The distance to one triangle is a convex function, so
//! over a triangle it is largest at a corner: for a piece T of one surface,
//! the least over triangles S of the other of (the largest distance from a
//! corner of T to S) bounds the distance from T from above, and the largest
//! distance of a corner to the surface bounds it from below. Pieces whose
//! bounds are too far apart are cut ([`farthest`]). The shortest distance of
//! two triangles has a formula, and a separating plane bounds it from below
//! ([`nearest`]).
//!
//! Every bound is widened by what rounding can do (see [`crate::rounding`]).
//!
//! # Source
//! Bounds: Tang, Lee, Kim 2009, Interactive Hausdorff distance computation for
//! general polygonal models; Kang, Kyung, Yoon, Kim 2018, Fast and robust
//! Hausdorff distance computation from triangle mesh to quad mesh in near-zero
//! cases. Cutting along the other surface's edges, so that surfaces that lie
//! in each other are done after finitely many cuts, and where two of its faces
//! are equally far: ours.

use glam::DVec3;

use crate::bvh::Bvh;
use crate::mesh::Mesh;

mod farthest;
mod nearest;
mod pair;

pub use farthest::{farthest, farthest_each, lies_within};
pub use nearest::{nearest, nearest_each, nearest_from};
pub use pair::triangle_distance;

/// A distance that is known to lie in `lo..=hi`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// The distance is not less than this.
    pub lo: f64,
    /// The distance is not more than this.
    pub hi: f64,
    /// The place, on the surface measured from, where `lo` is attained (for a
    /// least distance, where `hi` is).
    pub at: DVec3,
}

/// The distances of two surfaces from each other, each way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoSided {
    /// The largest distance from a point of the first to the second.
    pub a_to_b: Bounds,
    /// The largest distance from a point of the second to the first.
    pub b_to_a: Bounds,
}

impl TwoSided {
    /// Bounds of the larger of the two, with the place of the larger `lo`.
    pub fn bounds(&self) -> Bounds {
        let at = if self.a_to_b.lo >= self.b_to_a.lo { self.a_to_b.at } else { self.b_to_a.at };
        Bounds {
            lo: self.a_to_b.lo.max(self.b_to_a.lo),
            hi: self.a_to_b.hi.max(self.b_to_a.hi),
            at,
        }
    }
}

/// The Hausdorff distance of two surfaces, each way, to within `gap`.
///
/// Cost and accuracy: as [`farthest`], twice.
pub fn hausdorff(a: &Mesh, b: &Mesh, gap: f64) -> TwoSided {
    let (tree_a, tree_b) = rayon::join(|| Bvh::build(a), || Bvh::build(b));
    TwoSided {
        a_to_b: farthest(a, None, &tree_b, gap, None),
        b_to_a: farthest(b, None, &tree_a, gap, None),
    }
}

/// Whether two surfaces are certainly within `limit` of each other, each way.
///
/// Cost and accuracy: as [`lies_within`], twice.
pub fn are_within(a: &Mesh, b: &Mesh, limit: f64) -> bool {
    lies_within(a, &Bvh::build(b), limit) && lies_within(b, &Bvh::build(a), limit)
}

#[cfg(test)]
mod tests;
