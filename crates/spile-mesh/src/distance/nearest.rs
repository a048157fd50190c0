//! The least distance between two surfaces.

use glam::DVec3;
use rayon::prelude::*;

use super::Bounds;
use super::pair::PairDistance;
use crate::bvh::Bvh;
use crate::mesh::{Bounds3, Mesh};
use crate::rounding;

/// Bounds of the shortest distance from `from` (of its triangles `some`, if
/// given) to `to`; `None` if either has no triangle.
///
/// Shape: none is assumed. Surfaces that meet are at distance 0, by exact
/// test. Where an extent is beyond 1e75 nothing is certified: 0 and infinity.
/// Accuracy: certified, rounding included. The bounds lie within rounding of
/// each other but for pairs of needles and nearly parallel edges; those are
/// halved until their bounds lie within `gap`.
/// Cost: one search of the tree a triangle, parallel, the same on any number
/// of threads.
pub fn nearest(from: &Mesh, some: Option<&[u32]>, to: &Bvh, gap: f64) -> Option<Bounds> {
    if to.is_empty() {
        return None;
    }
    let all: Vec<u32>;
    let triangles = match some {
        Some(list) => list,
        None => {
            all = (0..from.triangles().len() as u32).collect();
            &all
        }
    };
    // The corners alone give a first bound that spares most triangles a
    // search: no point of a triangle is nearer than a corner by more than it
    // lies off that corner.
    let mut corners: Vec<u32> =
        triangles.iter().flat_map(|&t| from.triangles()[t as usize]).collect();
    corners.par_sort_unstable();
    corners.dedup();
    let reached: Vec<f64> = corners
        .par_iter()
        .map(|&v| to.closest(from.points()[v as usize]).map_or(f64::INFINITY, |c| c.distance))
        .collect();
    let first = reached.iter().copied().min_by(f64::total_cmp)?;
    let size = size(from, &corners, to);
    if size > rounding::LONGEST {
        return Some(Bounds { lo: 0.0, hi: f64::INFINITY, at: from.points()[corners[0] as usize] });
    }
    let enough = first + 2.0 * rounding::of_distance(size);
    let is_far = |t: u32| {
        let at = from.corners(t as usize);
        (0..3).any(|k| {
            let v = from.triangles()[t as usize][k];
            let reach = at[k].distance_squared(at[(k + 1) % 3]);
            let reach = reach.max(at[k].distance_squared(at[(k + 2) % 3])).sqrt();
            reached[corners.partition_point(|&known| known < v)] - reach > enough
        })
    };
    let each: Vec<Option<Bounds>> =
        triangles
            .par_iter()
            .map(|&t| {
                if is_far(t) { None } else { nearest_of(from.corners(t as usize), to, gap, enough) }
            })
            .collect();
    each.into_iter().flatten().reduce(|a, b| {
        let at = if b.hi < a.hi { b.at } else { a.at };
        Bounds { lo: a.lo.min(b.lo), hi: a.hi.min(b.hi), at }
    })
}

/// For each triangle of `some` bounds of its shortest distance to `to`, looked
/// for only nearer than the triangle's own limit.
///
/// Where the distance is less than `limit_of(triangle)` (or that is infinite)
/// the bounds are as close as [`nearest`] gives them; where there is nothing
/// nearer than the limit, `lo` is the limit and `hi` infinity. `limit_of` gets
/// the mesh's number of the triangle.
pub fn nearest_each(
    from: &Mesh,
    some: &[u32],
    to: &Bvh,
    limit_of: &(dyn Fn(u32) -> f64 + Sync),
) -> Vec<Bounds> {
    some.par_iter()
        .map(|&t| {
            let corners = from.corners(t as usize);
            let limit = limit_of(t).max(0.0);
            let is_safe = Bounds3::of(corners).union(to.bounds()).diagonal() <= rounding::LONGEST;
            match nearest_of(corners, to, 0.0, limit) {
                _ if !is_safe => Bounds { lo: 0.0, hi: f64::INFINITY, at: corners[0] },
                Some(found) if found.lo < limit => found,
                _ => Bounds { lo: limit, hi: f64::INFINITY, at: corners[0] },
            }
        })
        .collect()
}

/// Bounds of the shortest distance from one triangle, if it can be `limit` or
/// less.
fn nearest_of(corners: [DVec3; 3], to: &Bvh, gap: f64, limit: f64) -> Option<Bounds> {
    let own = Slab::of(corners);
    let mut best: Option<Bounds> = None;
    let mut bound = limit;
    // Boxes and planes are apart by computed lengths.
    let key = |b: Bounds3| own.distance_at_least(b);
    to.nearest_first(bound, key, |slot, reach| {
        let other = to.corners(slot);
        if bound < own.distance_at_least(Bounds3::of(other)) {
            return;
        }
        let pair = PairDistance::within(corners, other, gap);
        if pair.lo > bound {
            return;
        }
        let now = best.get_or_insert(Bounds { lo: pair.lo, hi: pair.hi, at: pair.at });
        now.lo = now.lo.min(pair.lo);
        if pair.hi < now.hi {
            (now.hi, now.at) = (pair.hi, pair.at);
        }
        bound = bound.min(pair.hi);
        *reach = bound;
    });
    best
}

/// A triangle as its box and the plane it lies in.
struct Slab {
    bounds: Bounds3,
    on: DVec3,
    /// Unit normal; zero if the triangle has no area.
    normal: DVec3,
    /// How far the corners lie off the plane through `on`, by rounding.
    thickness: f64,
}

impl Slab {
    fn of(corners: [DVec3; 3]) -> Slab {
        let on = corners[0];
        let normal = (corners[1] - on).cross(corners[2] - on).normalize_or_zero();
        let thickness = corners.iter().map(|&c| (c - on).dot(normal).abs()).fold(0.0, f64::max);
        Slab { bounds: Bounds3::of(corners), on, normal, thickness }
    }

    /// A lower bound of the distance from the triangle to anything in a box.
    fn distance_at_least(&self, b: Bounds3) -> f64 {
        let gap = (self.bounds.min - b.max).max(b.min - self.bounds.max).max(DVec3::ZERO);
        let (low, high) = (b.min - self.on, b.max - self.on);
        let middle = 0.5 * (low + high);
        let half = 0.5 * (high - low);
        let reach = half.dot(self.normal.abs());
        let off_plane = middle.dot(self.normal).abs() - reach - self.thickness;
        let error = rounding::of_distance(low.abs().max(high.abs()).element_sum());
        gap.length().max(off_plane) - error
    }
}

/// The greatest length in play.
fn size(from: &Mesh, corners: &[u32], to: &Bvh) -> f64 {
    let own = Bounds3::of(corners.iter().map(|&v| from.points()[v as usize]));
    own.union(to.bounds()).diagonal()
}
