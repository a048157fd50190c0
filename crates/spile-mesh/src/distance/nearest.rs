//! The least distance between two surfaces.

use glam::DVec3;
use rayon::prelude::*;

use super::Bounds;
use super::pair::PairDistance;
use crate::bvh::{Below, Bvh};
use crate::mesh::{Bounds3, Mesh};
use crate::rounding;

/// Places tried for a first bound.
const TRIALS: usize = 64;

/// Pairs of nodes walked at the same time; the same on any number of threads.
const FRONTIER: usize = 256;

/// Bounds of the shortest distance from `from` (of its triangles `some`, if
/// given) to `to`; `None` if either has no triangle.
///
/// Two trees are walked together, pair of boxes by pair of boxes, passing by
/// all pairs that are farther apart than what is known to be near.
/// Shape: none is assumed. Surfaces that meet are at distance 0, by exact
/// test. Where an extent is beyond 1e75 nothing is certified: 0 and infinity.
/// Accuracy: certified, rounding included. The bounds lie within rounding of
/// each other but for pairs of needles and nearly parallel edges; those are
/// halved until their bounds lie within `gap`.
/// Cost: O(n log n) for a tree over `from`, then as the number of pairs that
/// are about as near as the nearest; parallel, the same on any number of
/// threads.
pub fn nearest(from: &Mesh, some: Option<&[u32]>, to: &Bvh, gap: f64) -> Option<Bounds> {
    nearest_from(from, some, to, gap, None)
}

/// As [`nearest`], begun from one of the triangles that is known to be near: the nearer it
/// is, the more pairs are passed by.
pub fn nearest_from(
    from: &Mesh,
    some: Option<&[u32]>,
    to: &Bvh,
    gap: f64,
    near: Option<u32>,
) -> Option<Bounds> {
    let own = match some {
        Some(list) => Bvh::build_of(from, list),
        None => Bvh::build(from),
    };
    if own.is_empty() || to.is_empty() {
        return None;
    }
    let size = own.bounds().union(to.bounds()).diagonal();
    if size > rounding::LONGEST {
        return Some(Bounds { lo: 0.0, hi: f64::INFINITY, at: own.corners(0)[0] });
    }
    let search = Search { own: &own, to, gap };
    let near: Vec<DVec3> = near.map(|t| from.corners(t as usize)).into_iter().flatten().collect();
    let start = search.guess(near, rounding::of_distance(size));
    let each: Vec<Bounds> =
        search.frontier(start.hi).into_par_iter().map(|pair| search.walk(pair, start)).collect();
    // Every bound from below that is missing is above every bound from above.
    let best = each.into_iter().fold(start, |a, b| {
        let at = if b.hi < a.hi { b.at } else { a.at };
        Bounds { lo: a.lo.min(b.lo), hi: a.hi.min(b.hi), at }
    });
    Some(Bounds { lo: best.lo.min(best.hi), ..best })
}

/// The walk through two trees for the nearest pair of triangles.
struct Search<'a> {
    own: &'a Bvh,
    to: &'a Bvh,
    gap: f64,
}

impl Search<'_> {
    /// A bound from above: the nearest of `near` and some corners, from which it goes to
    /// and fro between the surfaces a few times. `lo` is still open.
    fn guess(&self, near: Vec<DVec3>, error: f64) -> Bounds {
        let step = self.own.len().div_ceil(TRIALS);
        let tried: Vec<(f64, DVec3)> = (0..self.own.len())
            .step_by(step)
            .map(|slot| self.own.corners(slot)[0])
            .chain(near)
            .collect::<Vec<_>>()
            .into_par_iter()
            .map(|p| (self.to.closest(p).map_or(f64::INFINITY, |c| c.distance), p))
            .collect();
        let mut best = tried[0];
        for trial in tried {
            if trial.0 < best.0 {
                best = trial;
            }
        }
        for _ in 0..4 {
            let back = self.to.closest(best.1).and_then(|c| self.own.closest(c.point));
            if let Some(back) = back.filter(|b| b.distance < best.0) {
                best = (back.distance, back.point);
            }
        }
        // The places gone to and fro between are rounded themselves.
        Bounds { lo: f64::INFINITY, hi: best.0 + 4.0 * error, at: best.1 }
    }

    /// Pairs of nodes, none farther apart than `limit`, that hold all such
    /// pairs of triangles.
    fn frontier(&self, limit: f64) -> Vec<(u32, u32)> {
        let mut pairs = vec![(0, 0)];
        while pairs.len() < FRONTIER {
            let mut next = Vec::new();
            for &pair in &pairs {
                match self.split(pair) {
                    Some(parts) => {
                        next.extend(parts.into_iter().filter(|&p| self.apart(p) <= limit))
                    }
                    None => next.push(pair),
                }
            }
            let is_done = next.len() == pairs.len() && next == pairs;
            pairs = next;
            if is_done || pairs.is_empty() {
                break;
            }
        }
        pairs
    }

    /// The bounds after looking at all pairs of triangles below a pair of
    /// nodes that can be nearer than what is known.
    fn walk(&self, pair: (u32, u32), known: Bounds) -> Bounds {
        let mut best = known;
        let mut stack = vec![(self.apart(pair), pair)];
        while let Some((apart, pair)) = stack.pop() {
            if apart > best.hi {
                continue;
            }
            match self.split(pair) {
                None => self.leaves(pair, &mut best),
                Some(parts) => {
                    let [first, second] = parts.map(|p| (self.apart(p), p));
                    // The nearer one is looked at first.
                    stack.extend(if first.0 <= second.0 {
                        [second, first]
                    } else {
                        [first, second]
                    });
                }
            }
        }
        best
    }

    /// A lower bound of the distance between two nodes' boxes.
    fn apart(&self, (a, b): (u32, u32)) -> f64 {
        boxes_apart(self.own.node_bounds(a), self.to.node_bounds(b))
    }

    /// The pair with its larger node split; `None` for two leaves.
    fn split(&self, (a, b): (u32, u32)) -> Option<[(u32, u32); 2]> {
        let size = |bounds: Bounds3| (bounds.max - bounds.min).length_squared();
        let is_own_larger = size(self.own.node_bounds(a)) >= size(self.to.node_bounds(b));
        match (self.own.below(a), self.to.below(b)) {
            (Below::Nodes(parts), Below::Slots(_)) => Some(parts.map(|a| (a, b))),
            (Below::Slots(_), Below::Nodes(parts)) => Some(parts.map(|b| (a, b))),
            (Below::Nodes(parts), Below::Nodes(_)) if is_own_larger => Some(parts.map(|a| (a, b))),
            (Below::Nodes(_), Below::Nodes(parts)) => Some(parts.map(|b| (a, b))),
            (Below::Slots(_), Below::Slots(_)) => None,
        }
    }

    fn leaves(&self, (a, b): (u32, u32), best: &mut Bounds) {
        let (Below::Slots(ones), Below::Slots(others)) = (self.own.below(a), self.to.below(b))
        else {
            return;
        };
        for one in ones {
            let corners = self.own.corners(one as usize);
            let slab = Slab::of(corners);
            for other in others.clone() {
                let other = self.to.corners(other as usize);
                if slab.distance_from_triangle(other) > best.hi {
                    continue;
                }
                let pair = PairDistance::within(corners, other, self.gap);
                if pair.lo <= best.hi {
                    best.lo = best.lo.min(pair.lo);
                }
                if pair.hi < best.hi {
                    (best.hi, best.at) = (pair.hi, pair.at);
                }
            }
        }
    }
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
            match nearest_of(corners, to, limit) {
                _ if !is_safe => Bounds { lo: 0.0, hi: f64::INFINITY, at: corners[0] },
                Some(found) if found.lo < limit => found,
                _ => Bounds { lo: limit, hi: f64::INFINITY, at: corners[0] },
            }
        })
        .collect()
}

/// Bounds of the shortest distance from one triangle, if it can be `limit` or
/// less.
fn nearest_of(corners: [DVec3; 3], to: &Bvh, limit: f64) -> Option<Bounds> {
    let own = Slab::of(corners);
    let mut best: Option<Bounds> = None;
    let mut bound = limit;
    // Boxes and planes are apart by computed lengths.
    let key = |b: Bounds3| own.distance_at_least(b);
    to.nearest_first(bound, key, |slot, reach| {
        let other = to.corners(slot);
        if own.distance_from_triangle(other) > bound {
            return;
        }
        let pair = PairDistance::within(corners, other, 0.0);
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
    corners: [DVec3; 3],
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
        Slab { corners, bounds: Bounds3::of(corners), on, normal, thickness }
    }

    /// A lower bound of the distance from another triangle, by the boxes and
    /// by either one's plane; much cheaper than the distance, and on smooth
    /// walls nearly as long.
    fn distance_from_triangle(&self, other: [DVec3; 3]) -> f64 {
        let across = Slab::of(other);
        boxes_apart(self.bounds, across.bounds)
            .max(off_plane(other, self))
            .max(off_plane(self.corners, &across))
    }

    /// A lower bound of the distance from the triangle to anything in a box.
    fn distance_at_least(&self, b: Bounds3) -> f64 {
        let (low, high) = (b.min - self.on, b.max - self.on);
        let middle = 0.5 * (low + high);
        let half = 0.5 * (high - low);
        let reach = half.dot(self.normal.abs());
        let off_plane = middle.dot(self.normal).abs() - reach - self.thickness;
        let error = rounding::of_distance(low.abs().max(high.abs()).element_sum());
        boxes_apart(self.bounds, b).max(off_plane - error)
    }
}

/// How far three corners lie off a plane, on one side of it, beyond its
/// thickness; a lower bound of their triangle's distance from what lies in it.
fn off_plane(corners: [DVec3; 3], plane: &Slab) -> f64 {
    let ahead = corners.map(|c| (c - plane.on).dot(plane.normal));
    let least = ahead[0].min(ahead[1]).min(ahead[2]);
    let most = ahead[0].max(ahead[1]).max(ahead[2]);
    let size = corners.iter().map(|&c| (c - plane.on).abs().element_sum()).fold(0.0, f64::max);
    least.max(-most) - plane.thickness - rounding::of_distance(size)
}

/// A lower bound of the distance between what two boxes hold.
fn boxes_apart(a: Bounds3, b: Bounds3) -> f64 {
    let gap = (a.min - b.max).max(b.min - a.max).max(DVec3::ZERO).length();
    // Differences, squares, two sums and a root: right to a few epsilons of
    // itself.
    gap - rounding::of_distance(gap)
}
