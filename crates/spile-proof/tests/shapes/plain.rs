//! The plain twin of the certified distance: every pair of triangles, by corner
//! and face, edge and edge.

use spile_mesh::DVec3;

/// Distance of two triangles, and the place on the first.
///
/// Triangles that do not cross are nearest at two edges or at a corner and a
/// face; where an edge of one pierces the other the distance is zero.
///
/// # Source
/// Ericson 2005, Real-Time Collision Detection, section 5.1.10.
pub fn triangle_distance(a: [DVec3; 3], b: [DVec3; 3]) -> (f64, DVec3) {
    let mut best = (f64::INFINITY, a[0]);
    let mut keep = |from: DVec3, to: DVec3| {
        let distance_sq = from.distance_squared(to);
        if distance_sq < best.0 {
            best = (distance_sq, from);
        }
    };
    for i in 0..3 {
        let edge = [a[i], a[(i + 1) % 3]];
        for j in 0..3 {
            let (p, q) = nearest_on_segments(edge, [b[j], b[(j + 1) % 3]]);
            keep(p, q);
        }
        if let Some(p) = piercing(edge, b) {
            keep(p, p);
        }
        if let Some(p) = piercing([b[i], b[(i + 1) % 3]], a) {
            keep(p, p);
        }
        if let Some(q) = foot_inside(a[i], b) {
            keep(a[i], q);
        }
        if let Some(p) = foot_inside(b[i], a) {
            keep(p, b[i]);
        }
    }
    (best.0.sqrt(), best.1)
}

/// The foot of the perpendicular from `p`, if it lies inside the triangle. Feet
/// on the border are left to the edges.
fn foot_inside(p: DVec3, triangle: [DVec3; 3]) -> Option<DVec3> {
    let [a, b, c] = triangle.map(|q| q - p);
    let normal = (b - a).cross(c - a);
    let weights = [normal.dot(b.cross(c)), normal.dot(c.cross(a)), normal.dot(a.cross(b))];
    let sum: f64 = weights.iter().sum();
    (weights.iter().all(|w| *w > 0.0) && sum > 0.0)
        .then(|| p + (a * weights[0] + b * weights[1] + c * weights[2]) / sum)
}

/// Where the segment goes through the triangle.
fn piercing([p, q]: [DVec3; 2], triangle: [DVec3; 3]) -> Option<DVec3> {
    let [a, b, c] = triangle;
    let normal = (b - a).cross(c - a);
    let (from, to) = ((p - a).dot(normal), (q - a).dot(normal));
    if (from > 0.0) == (to > 0.0) || from == to {
        return None;
    }
    let at = p.lerp(q, from / (from - to));
    let is_left = |u: DVec3, v: DVec3| (v - u).cross(at - u).dot(normal) >= 0.0;
    (is_left(a, b) && is_left(b, c) && is_left(c, a)).then_some(at)
}

/// The nearest points of two segments.
fn nearest_on_segments([p, p2]: [DVec3; 2], [q, q2]: [DVec3; 2]) -> (DVec3, DVec3) {
    let (d, e, r) = (p2 - p, q2 - q, p - q);
    let (dd, ee, de) = (d.length_squared(), e.length_squared(), d.dot(e));
    let (dr, er) = (d.dot(r), e.dot(r));
    let clamp = |x: f64| if x.is_finite() { x.clamp(0.0, 1.0) } else { 0.0 };
    let s = clamp((de * er - dr * ee) / (dd * ee - de * de));
    let t = clamp((de * s + er) / ee);
    let s = clamp((de * t - dr) / dd);
    (p + s * d, q + t * e)
}
