//! Which triangles intersect, decided exactly.
//!
//! Two triangles intersect if they have a point in common that does not lie in
//! what they share by index: the corner or the edge. So triangles that touch
//! without sharing a corner there intersect, and so do neighbours that are
//! folded onto each other. Only signs of determinants decide (crate `robust`);
//! nothing is constructed, nothing is rounded.
//!
//! # Source
//! The signs: Guigue and Devillers 2003, Fast and robust triangle-triangle
//! overlap test using orientation predicates; the predicates: Shewchuk 1997,
//! Adaptive precision floating-point arithmetic and fast robust geometric
//! predicates. The rule for shared corners and triangles without area: ours.

use glam::DVec3;

use crate::mesh::Bounds3;

mod any_size;
mod exact;
mod pairs;

pub use pairs::{self_intersections, self_intersections_among};

use exact::{Shape, is_on_segment, run_together, segments_meet, side_of_line, side_of_plane};

/// Whether two triangles have a point in common beyond what they share.
///
/// `shared` lists the corners that are one and the same vertex, as (corner of
/// `a`, corner of `b`); their coordinates must be equal. Two triangles that
/// share all three corners always intersect.
///
/// Shape: any, also triangles without area, which count as the segment or
/// point that they are. A triangle without area that lies within the edge it
/// shares does not intersect the neighbour there.
/// Accuracy: exact, whatever the size of the coordinates.
pub fn triangles_intersect(a: [DVec3; 3], b: [DVec3; 3], shared: &[(u8, u8)]) -> bool {
    if !Bounds3::of(a).touches(Bounds3::of(b)) {
        return false;
    }
    // Which of a's corners are shared; equal places count once.
    let mut places: [Option<DVec3>; 3] = [None; 3];
    let mut in_a = [false; 3];
    for &(i, _) in shared {
        in_a[i as usize % 3] = true;
        let place = a[i as usize % 3];
        if !places.contains(&Some(place))
            && let Some(free) = places.iter_mut().find(|p| p.is_none())
        {
            *free = Some(place);
        }
    }
    // A vertex that one triangle names twice is in more than one pair.
    let are_one = shared.len() == 3
        && in_a == [true; 3]
        && (0..3).all(|j| shared.iter().any(|&(_, k)| k == j));
    match places {
        _ if are_one => true,
        [None, ..] => meet(a, b),
        [Some(v), None, _] => meet_beyond_corner(a, b, v),
        [Some(u), Some(v), None] => meet_beyond_edge(a, b, u, v),
        _ => true,
    }
}

/// Whether two triangles that share nothing have a point in common.
fn meet(a: [DVec3; 3], b: [DVec3; 3]) -> bool {
    // A point off a triangle's plane shows that the triangle has an area.
    let is_off =
        |t: [DVec3; 3], others: [DVec3; 3]| is_one_side(others.map(|p| side_of_plane(t, p)));
    if is_off(a, b) || is_off(b, a) {
        return false;
    }
    let (shape_a, shape_b) = (Shape::of(a), Shape::of(b));
    let (of_b, of_a) = (shape_a.sides(b), shape_b.sides(a));
    // Two triangles that meet at all do so on an edge of one of them.
    (0..3).any(|k| {
        let next = (k + 1) % 3;
        shape_b.meets(a[k], a[next], [of_a[k], of_a[next]])
            || shape_a.meets(b[k], b[next], [of_b[k], of_b[next]])
    })
}

/// Whether all points lie off the plane on one side of it.
fn is_one_side<const N: usize>(sides: [i8; N]) -> bool {
    sides[0] != 0 && sides.iter().all(|&s| s == sides[0])
}

/// Whether two triangles that share the corner `v` have another point in
/// common.
///
/// A point in common lies on a ray from `v`; followed outward it leaves one of
/// them first, across the edge opposite `v`. So one of those edges meets the
/// other triangle.
fn meet_beyond_corner(a: [DVec3; 3], b: [DVec3; 3], v: DVec3) -> bool {
    let others = |t: [DVec3; 3]| {
        let k = t.iter().position(|&p| p == v).unwrap_or(0);
        [t[(k + 1) % 3], t[(k + 2) % 3]]
    };
    let ([a1, a2], [b1, b2]) = (others(a), others(b));
    if any_size::is_in_range([v, a1, a2, b1, b2]) && are_parted([a1 - v, a2 - v], [b1 - v, b2 - v])
    {
        return false;
    }
    match (Shape::of(a), Shape::of(b)) {
        (shape_a @ Shape::Triangle(..), shape_b @ Shape::Triangle(..)) => {
            let (of_b, of_a) = (shape_a.sides([b1, b2]), shape_b.sides([a1, a2]));
            !is_one_side(of_b)
                && !is_one_side(of_a)
                && (shape_b.meets(a1, a2, of_a) || shape_a.meets(b1, b2, of_b))
        }
        // Without area a triangle is one or two segments that begin at `v`.
        (Shape::Segment(..), Shape::Segment(..)) => {
            [a1, a2].iter().any(|&x| [b1, b2].iter().any(|&y| run_together(v, x, y)))
        }
        (shape_a, Shape::Segment(..)) => {
            [b1, b2].iter().any(|&x| spoke_meets(v, x, [a1, a2], shape_a))
        }
        (Shape::Segment(..), shape_b) => {
            [a1, a2].iter().any(|&x| spoke_meets(v, x, [b1, b2], shape_b))
        }
    }
}

/// Whether a plane through the common corner, from which all vectors are
/// taken, surely parts two triangles.
///
/// Most pairs round a vertex are settled here; in a flat fan of thousands of
/// triangles the exact test of every pair would go to its last digits. The
/// plane is a guess (square to the difference of the middles' directions), but
/// the signs are certain: a dot product is off by less than `ROUNDING` of the
/// product of the lengths.
fn are_parted(a: [DVec3; 2], b: [DVec3; 2]) -> bool {
    // Rounded differences, products and sums: 5 half-epsilons on a sum of
    // three terms, each no longer than the product of the lengths.
    const ROUNDING: f64 = 8.0 * f64::EPSILON;
    let (towards_a, towards_b) =
        ((a[0] + a[1]).normalize_or_zero(), (b[0] + b[1]).normalize_or_zero());
    let across = towards_a - towards_b;
    let margin_sq = ROUNDING * ROUNDING * across.length_squared();
    let is_ahead = |x: DVec3, sign: f64| {
        let ahead = sign * across.dot(x);
        ahead > 0.0 && ahead * ahead > margin_sq * x.length_squared()
    };
    a.iter().all(|&x| is_ahead(x, 1.0)) && b.iter().all(|&x| is_ahead(x, -1.0))
}

/// Whether the segment from `v` to `x` meets the triangle, a corner of which is
/// `v` and whose other corners are `rim`, in another point than `v`.
fn spoke_meets(v: DVec3, x: DVec3, rim: [DVec3; 2], triangle: Shape) -> bool {
    let [side] = triangle.sides([x]);
    // Where it leaves the triangle, it does so across the rim.
    x != v && (triangle.meets(x, x, [side; 2]) || segments_meet(v, x, rim[0], rim[1]))
}

/// Whether two triangles that share the edge from `u` to `v` have a point in
/// common that does not lie on it.
fn meet_beyond_edge(a: [DVec3; 3], b: [DVec3; 3], u: DVec3, v: DVec3) -> bool {
    let apex = |t: [DVec3; 3]| t.into_iter().find(|&p| p != u && p != v);
    let (Some(p), Some(q)) = (apex(a), apex(b)) else {
        return false;
    };
    if side_of_plane([u, v, p], q) != 0 {
        return false;
    }
    match (Shape::of([u, v, p]), Shape::of([u, v, q])) {
        (Shape::Triangle(_, axis), Shape::Triangle(..)) => {
            side_of_line(u, v, p, axis) == side_of_line(u, v, q, axis)
        }
        // The triangle meets the line of the edge in the edge only, and the
        // other, which has no area, lies on that line.
        (Shape::Triangle(..), _) | (_, Shape::Triangle(..)) => false,
        // Both lie on the line: they meet if they stick out at the same end.
        _ => {
            let is_beyond = |x, near, far| !is_on_segment(x, u, v) && is_on_segment(near, far, x);
            (is_beyond(p, v, u) && is_beyond(q, v, u)) || (is_beyond(p, u, v) && is_beyond(q, u, v))
        }
    }
}

#[cfg(test)]
mod tests;
