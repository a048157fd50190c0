//! Exact answers about points, segments and triangles.
//!
//! Dropping a coordinate is exact, so whatever lies in one plane is decided in
//! two dimensions, along an axis across which the triangle keeps an area.

use glam::DVec3;
use robust::{Coord, Coord3D, orient2d, orient3d};

use super::any_size;

/// What three corners are.
#[derive(Debug, Clone, Copy)]
pub(super) enum Shape {
    /// A triangle and an axis along which its shadow has an area.
    Triangle([DVec3; 3], usize),
    /// A segment, or a point where both ends are equal.
    Segment(DVec3, DVec3),
}

impl Shape {
    /// What these corners are.
    pub(super) fn of(t: [DVec3; 3]) -> Shape {
        let size = (t[1] - t[0]).cross(t[2] - t[0]).abs();
        let likely = if size.x >= size.y && size.x >= size.z {
            0
        } else if size.y >= size.z {
            1
        } else {
            2
        };
        for axis in [likely, (likely + 1) % 3, (likely + 2) % 3] {
            if side_of_line(t[0], t[1], t[2], axis) != 0 {
                return Shape::Triangle(t, axis);
            }
        }
        // On one line: the ends are the two that have the third between them.
        if is_between(t[2], t[0], t[1]) {
            Shape::Segment(t[0], t[1])
        } else if is_between(t[0], t[1], t[2]) {
            Shape::Segment(t[1], t[2])
        } else {
            Shape::Segment(t[2], t[0])
        }
    }

    /// On which side of the triangle's plane each point lies; 0 for a shape
    /// that has no plane.
    pub(super) fn sides<const N: usize>(self, points: [DVec3; N]) -> [i8; N] {
        match self {
            Shape::Triangle(t, _) => points.map(|p| side_of_plane(t, p)),
            Shape::Segment(..) => [0; N],
        }
    }

    /// Whether the segment from `p` to `q`, or the point that it is, has a
    /// point in common with the shape; `sides` are those of `p` and `q`.
    pub(super) fn meets(self, p: DVec3, q: DVec3, sides: [i8; 2]) -> bool {
        let (t, axis) = match self {
            Shape::Segment(r, s) => return segments_meet(p, q, r, s),
            Shape::Triangle(t, axis) => (t, axis),
        };
        match sides {
            [0, 0] => {
                holds(t, p, axis)
                    || holds(t, q, axis)
                    || (0..3).any(|k| shadows_meet(p, q, t[k], t[(k + 1) % 3], axis))
            }
            [0, _] => holds(t, p, axis),
            [_, 0] => holds(t, q, axis),
            [a, b] if a == b => false,
            _ => {
                let turns = [0, 1, 2].map(|k| side_of_plane([p, q, t[k]], t[(k + 1) % 3]));
                turns.iter().all(|&s| s >= 0) || turns.iter().all(|&s| s <= 0)
            }
        }
    }
}

/// Whether two segments, or the points that they are, have a point in common.
pub(super) fn segments_meet(p: DVec3, q: DVec3, r: DVec3, s: DVec3) -> bool {
    if side_of_plane([p, q, r], s) != 0 {
        return false;
    }
    for triple in [[p, q, r], [p, q, s], [r, s, p], [r, s, q]] {
        if let Shape::Triangle(_, axis) = Shape::of(triple) {
            return shadows_meet(p, q, r, s, axis);
        }
    }
    is_between(p, r, s) || is_between(q, r, s) || is_between(r, p, q) || is_between(s, p, q)
}

/// Whether `x` lies on the segment from `u` to `v`, ends included.
pub(super) fn is_on_segment(x: DVec3, u: DVec3, v: DVec3) -> bool {
    is_between(x, u, v) && matches!(Shape::of([u, v, x]), Shape::Segment(..))
}

/// Whether the segments from `v` to `x` and from `v` to `y` have another point
/// than `v` in common.
pub(super) fn run_together(v: DVec3, x: DVec3, y: DVec3) -> bool {
    x != v && y != v && (is_on_segment(x, v, y) || is_on_segment(y, v, x))
}

/// On which side of the plane of `t` the point lies: -1, 0 (on it) or 1.
pub(super) fn side_of_plane(t: [DVec3; 3], p: DVec3) -> i8 {
    // In a flat cap that is square to an axis the predicate would have to go
    // to its last digits to find this zero.
    let is_flat = |k: usize| t[0][k] == p[k] && t[1][k] == p[k] && t[2][k] == p[k];
    if is_flat(0) || is_flat(1) || is_flat(2) {
        return 0;
    }
    let [a, b, c] = t;
    if !any_size::is_in_range([a, b, c, p]) {
        return any_size::side_of_plane(t, p);
    }
    sign(orient3d(solid(a), solid(b), solid(c), solid(p)))
}

/// On which side of the line from `u` to `v` the point lies, all seen along an
/// axis: -1, 0 (on it) or 1.
pub(super) fn side_of_line(u: DVec3, v: DVec3, p: DVec3, axis: usize) -> i8 {
    let others = [(axis + 1) % 3, (axis + 2) % 3];
    if !any_size::is_in_range([u, v, p]) {
        return any_size::side_of_line(u, v, p, others);
    }
    let [u, v, p] = [u, v, p].map(|p| Coord { x: p[others[0]], y: p[others[1]] });
    sign(orient2d(u, v, p))
}

/// Whether a triangle holds a point of its own plane; seen along an axis.
fn holds(t: [DVec3; 3], p: DVec3, axis: usize) -> bool {
    let sides = [0, 1, 2].map(|k| side_of_line(t[k], t[(k + 1) % 3], p, axis));
    sides.iter().all(|&s| s >= 0) || sides.iter().all(|&s| s <= 0)
}

/// Whether two segments in one plane meet, seen along an axis.
fn shadows_meet(p: DVec3, q: DVec3, r: DVec3, s: DVec3, axis: usize) -> bool {
    let (r_side, s_side) = (side_of_line(p, q, r, axis), side_of_line(p, q, s, axis));
    let (p_side, q_side) = (side_of_line(r, s, p, axis), side_of_line(r, s, q, axis));
    if [p_side, q_side, r_side, s_side] == [0; 4] {
        // In one plane that the axis does not lie in, so in one line.
        return is_between(p, r, s)
            || is_between(q, r, s)
            || is_between(r, p, q)
            || is_between(s, p, q);
    }
    r_side * s_side <= 0 && p_side * q_side <= 0
}

/// Whether a point lies in the box of two others; on their line that means
/// between them.
fn is_between(x: DVec3, u: DVec3, v: DVec3) -> bool {
    u.min(v).cmple(x).all() && x.cmple(u.max(v)).all()
}

fn solid(p: DVec3) -> Coord3D<f64> {
    Coord3D { x: p.x, y: p.y, z: p.z }
}

fn sign(value: f64) -> i8 {
    if value > 0.0 {
        1
    } else if value < 0.0 {
        -1
    } else {
        0
    }
}
