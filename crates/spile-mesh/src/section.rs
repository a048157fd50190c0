//! Sections: where a plane cuts a surface.
//!
//! Every point is above or below the plane; one exactly on it counts as above.
//! So each triangle is either cut through two of its edges or not at all, and
//! loops close wherever the surface does, however the plane runs through its
//! points and along its edges. A triangle is never left out for its size.

use std::collections::BTreeSet;

use glam::{DVec2, DVec3};
use rayon::prelude::*;
use robust::{Coord, orient2d};

use crate::topology::{NONE, Topology, ends, previous};
use crate::{Bounds3, Bvh, Mesh};

/// A plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plane {
    /// Any point of it.
    pub point: DVec3,
    /// Its direction, of length 1.
    pub normal: DVec3,
}

impl Plane {
    /// The distance of `p` above the plane; negative below.
    pub fn height(&self, p: DVec3) -> f64 {
        (p - self.point).dot(self.normal)
    }
}

/// One curve in which a plane cuts a surface.
///
/// On an outward surface it runs counter-clockwise seen against the plane's
/// normal, so that the area of an outer loop is positive and that of a hollow
/// negative.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SectionLoop {
    /// The corners; the first is not repeated at the end. Neighbours may be
    /// equal where the plane runs through a point of the surface.
    pub points: Vec<DVec3>,
    /// `triangles[i]` holds the segment from `points[i]` to the next point, the
    /// first one following the last of a closed loop. One fewer than the points
    /// on an open chain.
    pub triangles: Vec<u32>,
    /// Whether the last point is followed by the first.
    pub closed: bool,
}

impl SectionLoop {
    /// The segments, in order.
    pub fn segments(&self) -> impl Iterator<Item = [DVec3; 2]> + '_ {
        let count = self.points.len();
        (0..self.triangles.len()).map(move |i| [self.points[i], self.points[(i + 1) % count]])
    }

    /// The enclosed area as a vector: its direction is the side from which the
    /// loop runs counter-clockwise. An open chain is closed by a straight line.
    pub fn area_vector(&self) -> DVec3 {
        let Some(&origin) = self.points.first() else { return DVec3::ZERO };
        self.points
            .windows(2)
            .fold(DVec3::ZERO, |sum, pair| sum + 0.5 * (pair[0] - origin).cross(pair[1] - origin))
    }

    /// The enclosed area seen along the unit vector `n`, positive where the
    /// loop runs counter-clockwise seen against `n`.
    pub fn area(&self, n: DVec3) -> f64 {
        self.area_vector().dot(n)
    }

    /// The length of the curve.
    pub fn perimeter(&self) -> f64 {
        self.segments().map(|[a, b]| a.distance(b)).sum()
    }

    /// The centroid of the enclosed area seen along `n`; that of the curve where
    /// the area is nothing beside the curve's length. Zero without points.
    pub fn centroid(&self, n: DVec3) -> DVec3 {
        let Some(&origin) = self.points.first() else { return DVec3::ZERO };
        let area = self.area(n);
        // Below this the quotient would be rounding alone: the loop is a line.
        let least = f64::EPSILON * self.perimeter().powi(2);
        if area.abs() <= least {
            return self.curve_centroid();
        }
        let weighted = self.points.windows(2).fold(DVec3::ZERO, |sum, pair| {
            let [a, b] = [pair[0] - origin, pair[1] - origin];
            sum + (a + b) * (a.cross(b).dot(n) / 6.0)
        });
        origin + weighted / area
    }

    fn curve_centroid(&self) -> DVec3 {
        let length = self.perimeter();
        let origin = self.points[0];
        if length == 0.0 {
            return origin;
        }
        let weighted = self.segments().fold(DVec3::ZERO, |sum, [a, b]| {
            sum + (0.5 * (a - origin) + 0.5 * (b - origin)) * a.distance(b)
        });
        origin + weighted / length
    }

    /// The smallest distance from `p` to the curve; infinite without points.
    pub fn distance(&self, p: DVec3) -> f64 {
        let corners = self.points.iter().map(|q| q.distance(p));
        let nearest = corners.fold(f64::INFINITY, f64::min);
        self.segments().fold(nearest, |least, [a, b]| {
            let along = b - a;
            let t = ((p - a).dot(along) / along.length_squared()).clamp(0.0, 1.0);
            // Equal ends make t NaN; their distance is in `nearest` already.
            if t.is_nan() { least } else { least.min(p.distance(a + t * along)) }
        })
    }
}

/// The curves in which `plane` cuts `mesh`, or only the triangles `some`.
///
/// Shape: any mesh. Where the surface is closed all loops are; a chain ends at
/// the surface's boundary, at an edge that is not manifold or turns orientation,
/// and at the border of `some`. Each starts at its smallest triangle (an open
/// one at its beginning); they are sorted by their smallest triangle.
/// Accuracy: points lie on their edges within f64 rounding; both triangles at an
/// edge see the very same point. Cost: O(triangles looked at + n log n in those
/// cut).
pub fn section(
    mesh: &Mesh,
    topology: &Topology,
    plane: Plane,
    some: Option<&[u32]>,
) -> Vec<SectionLoop> {
    let cut = Cut { mesh, topology, plane };
    let mut crossed: Vec<u32> = match some {
        Some(some) => some.par_iter().copied().filter(|&t| cut.crosses(t)).collect(),
        None => {
            let all = 0..mesh.triangles().len() as u32;
            all.into_par_iter().filter(|&t| cut.crosses(t)).collect()
        }
    };
    crossed.sort_unstable();
    crossed.dedup();
    let allowed = |t: u32| some.is_none() || crossed.binary_search(&t).is_ok();
    cut.curves(&crossed, &allowed)
}

/// The curves in which `plane` cuts `mesh` that come within `radius` of
/// `centre`, each followed as far as it goes.
///
/// As [`section`], at a cost that follows the triangles near `centre` and on
/// those curves, not the mesh. `bvh` is that of `mesh`.
pub fn section_near(
    mesh: &Mesh,
    topology: &Topology,
    bvh: &Bvh,
    plane: Plane,
    centre: DVec3,
    radius: f64,
) -> Vec<SectionLoop> {
    let cut = Cut { mesh, topology, plane };
    let near = Bounds3 { min: centre - radius, max: centre + radius };
    let mut crossed = Vec::new();
    bvh.walk(
        |bounds| bounds.touches(near) && cut.may_cross(bounds),
        |slot| {
            let t = bvh.id(slot);
            if Bounds3::of(bvh.corners(slot)).touches(near) && cut.crosses(t) {
                crossed.push(t);
            }
        },
    );
    crossed.sort_unstable();
    let mut curves = cut.curves(&crossed, &|_| true);
    curves.retain(|curve| curve.distance(centre) <= radius);
    curves
}

/// More than the operations that a height over the plane and one of a box go through.
const ROUNDED_STEPS: f64 = 32.0;

struct Cut<'a> {
    mesh: &'a Mesh,
    topology: &'a Topology,
    plane: Plane,
}

impl Cut<'_> {
    fn is_above(&self, v: u32) -> bool {
        self.plane.height(self.mesh.points()[v as usize]) >= 0.0
    }

    fn crosses(&self, t: u32) -> bool {
        let above = self.mesh.triangles()[t as usize].map(|v| self.is_above(v));
        above.contains(&true) && above.contains(&false)
    }

    /// Whether the plane can cross what lies in a box: rather yes where rounding could
    /// decide.
    fn may_cross(&self, bounds: Bounds3) -> bool {
        let Plane { point, normal } = self.plane;
        let middle = 0.5 * bounds.min + 0.5 * bounds.max;
        let half = (bounds.max - middle).max(middle - bounds.min);
        let reach = bounds.min.abs().max(bounds.max.abs()) + point.abs();
        let rounding = ROUNDED_STEPS * f64::EPSILON * reach.dot(normal.abs());
        let beyond = (middle - point).dot(normal).abs() - (half.dot(normal.abs()) + rounding);
        // Not a number: no reason to pass by.
        beyond <= 0.0 || beyond.is_nan()
    }

    /// The half-edges of a cut triangle that run down and up through the plane.
    fn down_up(&self, t: u32) -> [u32; 2] {
        let above = self.mesh.triangles()[t as usize].map(|v| self.is_above(v));
        // The corner that is alone on its side.
        let alone =
            (0..3).find(|&k| above[k] != above[(k + 1) % 3] && above[k] != above[(k + 2) % 3]);
        let k = alone.unwrap_or(0);
        let (leaving, arriving) = (3 * t + k as u32, previous(3 * t + k as u32));
        if above[k] { [leaving, arriving] } else { [arriving, leaving] }
    }

    /// Where half-edge `h` meets the plane; its twin gives the same bits.
    fn point(&self, h: u32) -> DVec3 {
        let [a, b] = ends(self.mesh, h);
        let [a, b] = [a.min(b), a.max(b)].map(|v| self.mesh.points()[v as usize]);
        let (from, to) = (self.plane.height(a), self.plane.height(b));
        a + (b - a) * (from / (from - to))
    }

    /// The triangle across half-edge `h`, if the curve may go on there.
    fn over(&self, h: u32, allowed: &dyn Fn(u32) -> bool) -> Option<u32> {
        let twin = self.topology.twin(h);
        (twin != NONE && allowed(twin / 3)).then_some(twin / 3)
    }

    fn curves(&self, crossed: &[u32], allowed: &dyn Fn(u32) -> bool) -> Vec<SectionLoop> {
        let mut seen = BTreeSet::new();
        let mut curves = Vec::new();
        for &seed in crossed {
            if !seen.contains(&seed) {
                let curve = self.follow(seed, allowed);
                seen.extend(curve.triangles.iter().copied());
                curves.push(curve);
            }
        }
        curves.sort_by_key(|curve| curve.triangles.iter().copied().min());
        curves
    }

    /// The whole curve through triangle `seed`.
    fn follow(&self, seed: u32, allowed: &dyn Fn(u32) -> bool) -> SectionLoop {
        let mut triangles = vec![seed];
        let mut at = seed;
        let mut closed = false;
        while let Some(t) = self.over(self.down_up(at)[1], allowed) {
            if t == seed {
                closed = true;
                break;
            }
            triangles.push(t);
            at = t;
        }
        if closed {
            let least = (0..triangles.len()).min_by_key(|&i| triangles[i]).unwrap_or(0);
            triangles.rotate_left(least);
        } else {
            let mut before = Vec::new();
            at = seed;
            while let Some(t) = self.over(self.down_up(at)[0], allowed) {
                before.push(t);
                at = t;
            }
            before.reverse();
            before.append(&mut triangles);
            triangles = before;
        }
        let mut points: Vec<DVec3> =
            triangles.iter().map(|&t| self.point(self.down_up(t)[0])).collect();
        if !closed && let Some(&last) = triangles.last() {
            points.push(self.point(self.down_up(last)[1]));
        }
        SectionLoop { points, triangles, closed }
    }
}

/// For each loop of one section the smallest loop round it; none for an open
/// chain or an outermost loop.
///
/// A loop is inside another when most of its corners are, by winding number
/// with exact orientation. Loops must be of one plane square to `normal` and
/// must not cross. Cost: O(loops^2 * corners), less by a box test.
pub fn nesting(loops: &[SectionLoop], normal: DVec3) -> Vec<Option<usize>> {
    let (x, y) = normal.any_orthonormal_pair();
    let flat: Vec<Vec<DVec2>> = loops
        .iter()
        .map(|l| l.points.iter().map(|p| DVec2::new(p.dot(x), p.dot(y))).collect())
        .collect();
    let areas: Vec<f64> = loops.iter().map(|l| l.area(normal).abs()).collect();
    let is_larger = |a: usize, b: usize| areas[a].total_cmp(&areas[b]).then(a.cmp(&b)).is_gt();
    (0..loops.len())
        .map(|inner| {
            (0..loops.len())
                .filter(|&outer| outer != inner && loops[outer].closed && loops[inner].closed)
                .filter(|&outer| is_larger(outer, inner) && is_inside(&flat[inner], &flat[outer]))
                .min_by(|&a, &b| areas[a].total_cmp(&areas[b]).then(a.cmp(&b)))
        })
        .collect()
}

/// Whether most corners of `inner` lie inside `outer`.
fn is_inside(inner: &[DVec2], outer: &[DVec2]) -> bool {
    let bounds = |l: &[DVec2]| {
        l.iter().fold((DVec2::INFINITY, DVec2::NEG_INFINITY), |b, &p| (b.0.min(p), b.1.max(p)))
    };
    let (a, b) = (bounds(inner), bounds(outer));
    if a.0.cmplt(b.0).any() || a.1.cmpgt(b.1).any() {
        return false;
    }
    // Loops that do not cross can touch, and few corners at that: an odd
    // handful spread over the loop decides as well as all of them.
    let step = (inner.len() / 15).max(1);
    let tested: Vec<bool> = inner.iter().step_by(step).map(|&p| winding(p, outer) != 0).collect();
    2 * tested.iter().filter(|&&inside| inside).count() > tested.len()
}

/// How often `outline` runs round `p`.
fn winding(p: DVec2, outline: &[DVec2]) -> i32 {
    let coord = |q: DVec2| Coord { x: q.x, y: q.y };
    let mut turns = 0;
    for (i, &a) in outline.iter().enumerate() {
        let b = outline[(i + 1) % outline.len()];
        if (a.y <= p.y) == (b.y <= p.y) {
            continue;
        }
        let side = orient2d(coord(a), coord(b), coord(p));
        if b.y > p.y && side > 0.0 {
            turns += 1;
        } else if b.y <= p.y && side < 0.0 {
            turns -= 1;
        }
    }
    turns
}

#[cfg(test)]
mod tests;
