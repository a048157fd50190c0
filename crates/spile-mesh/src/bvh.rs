//! A tree of boxes over triangles: closest point, rays, overlap.
//!
//! Built top down by the surface area heuristic over sixteen bins along the
//! longest axis (Wald 2007, On fast construction of SAH-based bounding volume
//! hierarchies), nodes in depth-first order. The same mesh gives the same tree
//! on any number of threads.

use glam::DVec3;
use rayon::prelude::*;

use crate::mesh::{Bounds3, Mesh};
use crate::rounding;
use crate::triangle::{Feature, needle_height, offset_to_triangle};

mod build;
mod disc;
mod finder;

pub use finder::Finder;

use disc::Disc;

/// A leaf holds at most this many triangles.
const LEAF: usize = 4;

/// The deepest a tree can be (see `build::DEEPEST_BY_COST`), and so the length
/// of the stack that walks it.
const STACK: usize = 96;

/// How much longer than the best so far a box's squared distance must be to be
/// passed by: box and triangle distances are rounded differently.
pub(crate) const SLACK: f64 = 1.0 + 64.0 * f64::EPSILON;

/// The closest point of a surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Closest {
    /// The triangle it lies on, as the mesh counts them.
    pub triangle: u32,
    /// The place.
    pub point: DVec3,
    /// How far it is from the point asked about.
    pub distance: f64,
    /// Which part of the triangle it lies on.
    pub feature: Feature,
}

/// The closest point in terms of the tree.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ClosestSlot {
    pub(crate) slot: u32,
    /// From the point asked about to the closest one.
    pub(crate) offset: DVec3,
    feature: Feature,
}

/// What lies below a node.
pub(crate) enum Below {
    /// The slots of a leaf's triangles.
    Slots(std::ops::Range<u32>),
    /// Two nodes.
    Nodes([u32; 2]),
}

/// A place where a ray meets a triangle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RayHit {
    /// The triangle, as the mesh counts them.
    pub triangle: u32,
    /// How far along, in lengths of the given direction; not negative.
    pub t: f64,
    /// The place.
    pub point: DVec3,
}

/// Bounding volume hierarchy over the triangles of a mesh, or some of them.
///
/// Keeps its own copy of the corners; the mesh may be dropped. Memory: about
/// 150 bytes a triangle.
///
/// Invariants:
/// 1. every node's box holds its children's boxes and its triangles;
/// 2. the leaves' slots cover all triangles once, in order;
/// 3. no path is longer than `STACK - 1`.
#[derive(Debug, Clone)]
pub struct Bvh {
    nodes: Vec<Node>,
    /// Corners by slot, that is, in tree order.
    corners: Vec<[DVec3; 3]>,
    /// The mesh's number of the triangle in each slot.
    ids: Vec<u32>,
    /// By slot, for searches of what is closest.
    discs: Vec<Disc>,
}

#[derive(Debug, Clone, Copy)]
struct Node {
    bounds: Bounds3,
    /// Leaf: its first slot. Inner: how far on its right child is; the left
    /// child is the next node.
    link: u32,
    /// Triangles in the leaf; 0 for an inner node.
    count: u32,
}

impl Bvh {
    /// The tree over all triangles of `mesh`, which may be empty.
    ///
    /// Cost: O(n log n), in parallel.
    pub fn build(mesh: &Mesh) -> Bvh {
        let all: Vec<u32> = (0..mesh.triangles().len() as u32).collect();
        Self::build_of(mesh, &all)
    }

    /// The tree over some triangles of `mesh`; answers keep the mesh's
    /// numbers.
    pub fn build_of(mesh: &Mesh, triangles: &[u32]) -> Bvh {
        build::build(mesh, triangles)
    }

    /// How many triangles the tree holds.
    pub fn len(&self) -> usize {
        self.ids.len()
    }

    /// Whether the tree holds no triangle.
    pub fn is_empty(&self) -> bool {
        self.ids.is_empty()
    }

    /// The triangles that the tree holds, as the mesh counts them, leaf by leaf: one that
    /// follows another mostly lies near it.
    pub fn triangles(&self) -> &[u32] {
        &self.ids
    }

    /// The box round all triangles.
    pub fn bounds(&self) -> Bounds3 {
        self.nodes.first().map_or(Bounds3::EMPTY, |n| n.bounds)
    }

    /// The point of the surface closest to `p`; `None` only from an empty tree
    /// (or where squared distances are no finite `f64`).
    ///
    /// Of triangles equally far the one with the lowest number answers.
    /// Accuracy: the distance is that of a true point of the surface to within
    /// [`crate::rounding::of_distance`]; only on needles can a nearer point
    /// exist, by less than the needle's height.
    pub fn closest(&self, p: DVec3) -> Option<Closest> {
        self.closest_within(p, f64::INFINITY)
    }

    /// By how much [`Bvh::closest`] can say that the surface is farther than it is, of places
    /// no farther than `size` from all of it. Cost: one look at each triangle.
    pub fn closest_error(&self, size: f64) -> f64 {
        let highest = self.corners.par_iter().map(|&corners| needle_height(corners));
        highest.reduce(|| 0.0, f64::max) + 4.0 * rounding::of_distance(size)
    }

    /// The closest point nearer than `limit`, or `None`.
    pub fn closest_within(&self, p: DVec3, limit: f64) -> Option<Closest> {
        self.closest_slot(p, limit * limit).map(|found| self.answer(p, found))
    }

    /// Whether some triangle is nearer to `p` than `limit`.
    ///
    /// As `closest_within(p, limit).is_some()`, and sooner done: the first
    /// triangle found ends the search.
    pub fn is_within(&self, p: DVec3, limit: f64) -> bool {
        let limit_sq = limit * limit;
        self.search(p, None, limit_sq, limit_sq).is_some()
    }

    /// As [`Bvh::closest_within`], with the slot in place of the triangle's
    /// number and a squared limit.
    pub(crate) fn closest_slot(&self, p: DVec3, limit_sq: f64) -> Option<ClosestSlot> {
        self.search(p, None, limit_sq, -1.0)
    }

    /// The closest of `known`, what is nearer than it, and where there is none what is nearer
    /// than `limit_sq`; or the first found whose square is no more than `enough_sq`.
    fn search(
        &self,
        p: DVec3,
        known: Option<ClosestSlot>,
        limit_sq: f64,
        enough_sq: f64,
    ) -> Option<ClosestSlot> {
        let mut best = known;
        let mut best_sq = known.map_or(limit_sq, |known| known.offset.length_squared());
        let mut bound_sq = if known.is_some() { best_sq * SLACK } else { limit_sq };
        if best_sq <= enough_sq && best.is_some() {
            return best;
        }
        self.nearest_first(
            bound_sq,
            |bounds| bounds.distance_sq(p),
            |slot, reach_sq| {
                if self.discs[slot].is_beyond(p, bound_sq) {
                    return;
                }
                let found = self.ask(p, slot as u32);
                let offset_sq = found.offset.length_squared();
                if offset_sq < best_sq || best.is_some_and(|best| self.is_before(found, best)) {
                    (best_sq, best) = (offset_sq, Some(found));
                    // Nothing lies nearer than a bound below 0: the search ends.
                    bound_sq = if offset_sq <= enough_sq { -1.0 } else { offset_sq * SLACK };
                    *reach_sq = bound_sq;
                }
            },
        );
        best
    }

    /// Where the triangle in a slot is closest.
    fn ask(&self, p: DVec3, slot: u32) -> ClosestSlot {
        let (offset, feature) = offset_to_triangle(p, self.corners[slot as usize]);
        ClosestSlot { slot, offset, feature }
    }

    /// Whether one of two answers is the closer or, as near, the triangle of a lower number.
    fn is_before(&self, one: ClosestSlot, other: ClosestSlot) -> bool {
        let [a, b] = [one, other].map(|found| found.offset.length_squared());
        let number = |found: ClosestSlot| self.ids[found.slot as usize];
        a < b || (a == b && number(one) < number(other))
    }

    /// An answer in the mesh's terms.
    fn answer(&self, p: DVec3, found: ClosestSlot) -> Closest {
        Closest {
            triangle: self.ids[found.slot as usize],
            point: p + found.offset,
            distance: found.offset.length(),
            feature: found.feature,
        }
    }

    /// All places where the ray from `origin` along `direction` (any length
    /// but zero) meets triangles, sorted by `t`, then by triangle.
    ///
    /// No ray slips between two triangles that share an edge or corner: there
    /// both are hit. A triangle seen edge-on is not hit.
    ///
    /// # Source
    /// Woop, Benthin, Wald 2013, Watertight ray/triangle intersection.
    pub fn ray(&self, origin: DVec3, direction: DVec3) -> Vec<RayHit> {
        let mut hits = Vec::new();
        let Some(ray) = Ray::new(origin, direction) else { return hits };
        self.walk(
            |bounds| ray.may_meet(bounds),
            |slot| {
                if let Some(t) = ray.meets(self.corners[slot]) {
                    let point = origin + direction * t;
                    hits.push(RayHit { triangle: self.ids[slot], t, point });
                }
            },
        );
        hits.sort_unstable_by(|a, b| a.t.total_cmp(&b.t).then(a.triangle.cmp(&b.triangle)));
        hits
    }

    /// The first of [`Bvh::ray`]'s hits, and much sooner done.
    pub fn first_hit(&self, origin: DVec3, direction: DVec3) -> Option<RayHit> {
        let ray = Ray::new(origin, direction)?;
        let mut first: Option<RayHit> = None;
        self.nearest_first(
            f64::MAX,
            |bounds| ray.enters(bounds).unwrap_or(f64::INFINITY),
            |slot, bound| {
                let Some(t) = ray.meets(self.corners[slot]) else { return };
                let triangle = self.ids[slot];
                let is_sooner = |hit: RayHit| t < hit.t || (t == hit.t && triangle < hit.triangle);
                if first.is_none_or(is_sooner) {
                    first = Some(RayHit { triangle, t, point: origin + direction * t });
                    *bound = t * SLACK;
                }
            },
        );
        first
    }

    /// Calls `f` with every triangle whose own box touches `b`, in tree order.
    pub fn for_each_touching(&self, b: Bounds3, f: &mut dyn FnMut(u32)) {
        self.walk(
            |bounds| bounds.touches(b),
            |slot| {
                if Bounds3::of(self.corners[slot]).touches(b) {
                    f(self.ids[slot]);
                }
            },
        );
    }

    /// The corners of the triangle in `slot`.
    pub(crate) fn corners(&self, slot: usize) -> [DVec3; 3] {
        self.corners[slot]
    }

    /// The mesh's number of the triangle in `slot`.
    pub(crate) fn id(&self, slot: usize) -> u32 {
        self.ids[slot]
    }

    /// The box of a node; the root is node 0.
    pub(crate) fn node_bounds(&self, node: u32) -> Bounds3 {
        self.nodes[node as usize].bounds
    }

    /// The slots of a leaf, or the children of an inner node.
    pub(crate) fn below(&self, node: u32) -> Below {
        let Node { link, count, .. } = self.nodes[node as usize];
        if count > 0 {
            Below::Slots(link..link + count)
        } else {
            Below::Nodes([node + 1, node + link])
        }
    }

    /// Visits leaves' slots, nearer boxes first, passing by every box whose
    /// `key` is above the bound; `visit` may lower the bound.
    pub(crate) fn nearest_first(
        &self,
        bound: f64,
        key: impl Fn(Bounds3) -> f64,
        mut visit: impl FnMut(usize, &mut f64),
    ) {
        let Some(root) = self.nodes.first() else { return };
        let mut bound = bound;
        let mut stack = [(0_u32, 0.0_f64); STACK];
        stack[0] = (0, key(root.bounds));
        let mut height = 1;
        while height > 0 {
            height -= 1;
            let (mut at, at_key) = stack[height];
            if at_key > bound {
                continue;
            }
            loop {
                let node = &self.nodes[at as usize];
                if node.count > 0 {
                    for slot in node.link..node.link + node.count {
                        visit(slot as usize, &mut bound);
                    }
                    break;
                }
                let (left, right) = (at + 1, at + node.link);
                let left_key = key(self.nodes[left as usize].bounds);
                let right_key = key(self.nodes[right as usize].bounds);
                let (near, near_key, far, far_key) = if left_key <= right_key {
                    (left, left_key, right, right_key)
                } else {
                    (right, right_key, left, left_key)
                };
                if far_key <= bound {
                    stack[height] = (far, far_key);
                    height += 1;
                }
                if near_key <= bound {
                    at = near;
                } else {
                    break;
                }
            }
        }
    }

    /// Visits, in tree order, the slots of all leaves that are reached through
    /// boxes that `enter` lets pass.
    pub(crate) fn walk(&self, enter: impl Fn(Bounds3) -> bool, mut visit: impl FnMut(usize)) {
        let mut stack = [0_u32; STACK];
        let mut height = usize::from(!self.nodes.is_empty());
        while height > 0 {
            height -= 1;
            let at = stack[height];
            let node = &self.nodes[at as usize];
            if !enter(node.bounds) {
                continue;
            }
            if node.count > 0 {
                (node.link..node.link + node.count).for_each(|slot| visit(slot as usize));
            } else {
                stack[height] = at + node.link;
                stack[height + 1] = at + 1;
                height += 2;
            }
        }
    }

    /// Tests the invariants in their order; the first that is broken, by
    /// number.
    ///
    /// # Errors
    /// The number of the broken invariant and the node.
    pub fn check(&self) -> Result<(), String> {
        let mut slots = 0;
        let mut stack = if self.nodes.is_empty() { vec![] } else { vec![(0_usize, 1_usize)] };
        while let Some((at, depth)) = stack.pop() {
            let node = &self.nodes[at];
            let holds = |b: Bounds3| node.bounds.union(b) == node.bounds;
            let is_tight = if node.count > 0 {
                let range = node.link as usize..(node.link + node.count) as usize;
                if range.start != slots {
                    return Err(format!("invariant 2: leaf {at} begins at slot {}", range.start));
                }
                slots = range.end;
                range.into_iter().all(|s| holds(Bounds3::of(self.corners[s])))
            } else {
                let right = at + node.link as usize;
                stack.extend([(right, depth + 1), (at + 1, depth + 1)]);
                holds(self.nodes[at + 1].bounds) && holds(self.nodes[right].bounds)
            };
            if !is_tight {
                return Err(format!("invariant 1: the box of node {at}"));
            }
            if depth >= STACK {
                return Err(format!("invariant 3: node {at} lies {depth} deep"));
            }
        }
        if slots == self.ids.len() { Ok(()) } else { Err("invariant 2: slots left over".into()) }
    }
}

/// A ray turned so that its longest direction is the third axis, and sheared
/// so that it runs along it.
struct Ray {
    origin: DVec3,
    direction: DVec3,
    axes: [usize; 3],
    shear: [f64; 3],
}

impl Ray {
    fn new(origin: DVec3, direction: DVec3) -> Option<Ray> {
        let size = direction.abs();
        let z = if size.x >= size.y && size.x >= size.z {
            0
        } else if size.y >= size.z {
            1
        } else {
            2
        };
        let (mut x, mut y) = ((z + 1) % 3, (z + 2) % 3);
        if direction[z] < 0.0 {
            std::mem::swap(&mut x, &mut y);
        }
        let shear = [direction[x] / direction[z], direction[y] / direction[z], 1.0 / direction[z]];
        let is_usable = shear.iter().all(|s| s.is_finite()) && origin.is_finite();
        is_usable.then_some(Ray { origin, direction, axes: [x, y, z], shear })
    }

    /// Whether the ray can meet the box; true rather than false where rounding
    /// could decide.
    fn may_meet(&self, bounds: Bounds3) -> bool {
        self.enters(bounds).is_some()
    }

    /// How far along the ray meets the box, rather sooner than later where rounding
    /// could decide; none if it does not.
    fn enters(&self, bounds: Bounds3) -> Option<f64> {
        let (low, high) = (bounds.min - self.origin, bounds.max - self.origin);
        // The shear moves a corner by less than this.
        let pad = 8.0 * f64::EPSILON * low.abs().max(high.abs()).max_element();
        let (low, high) = (low - pad, high + pad);
        let (mut enter, mut leave) = (0.0_f64, f64::INFINITY);
        for axis in 0..3 {
            if self.direction[axis] == 0.0 {
                if low[axis] > 0.0 || high[axis] < 0.0 {
                    return None;
                }
                continue;
            }
            let a = low[axis] / self.direction[axis];
            let b = high[axis] / self.direction[axis];
            enter = enter.max(a.min(b));
            leave = leave.min(a.max(b));
        }
        (enter <= leave * (1.0 + 8.0 * f64::EPSILON)).then_some(enter)
    }

    fn meets(&self, corners: [DVec3; 3]) -> Option<f64> {
        let [x, y, z] = self.axes;
        let [a, b, c] = corners.map(|corner| {
            let d = corner - self.origin;
            (d[x] - self.shear[0] * d[z], d[y] - self.shear[1] * d[z], self.shear[2] * d[z])
        });
        let u = c.0 * b.1 - c.1 * b.0;
        let v = a.0 * c.1 - a.1 * c.0;
        let w = b.0 * a.1 - b.1 * a.0;
        let is_split = (u < 0.0 || v < 0.0 || w < 0.0) && (u > 0.0 || v > 0.0 || w > 0.0);
        let sum = u + v + w;
        if is_split || sum == 0.0 {
            return None;
        }
        let t = (u * a.2 + v * b.2 + w * c.2) / sum;
        (t >= 0.0 && t.is_finite()).then_some(t)
    }
}

#[cfg(test)]
mod tests;
