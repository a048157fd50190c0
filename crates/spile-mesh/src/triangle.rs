//! The closest point of one triangle or segment, degenerate ones included.

use glam::DVec3;

/// The part of a triangle on which a closest point lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Feature {
    /// Inside the triangle, on no edge.
    Inside,
    /// On edge `k`, which runs from corner `k` to corner `(k + 1) % 3`.
    Edge(u8),
    /// At this corner.
    Corner(u8),
}

/// The point of a triangle that is closest to `p`, as the offset from `p`.
///
/// The offset leads to a convex combination of the corners whatever rounding
/// does, so its length is an upper bound of the distance up to
/// [`crate::rounding::of_distance`], also for needles and triangles without
/// area. It is the least distance up to the same error except on needles,
/// where it may be too long by what the needle is high;
/// [`distance_at_least`] gives the bound on that side.
pub(crate) fn offset_to_triangle(p: DVec3, triangle: [DVec3; 3]) -> (DVec3, Feature) {
    // Taken relative to `p`: then the error scales with what is near, not
    // with how far the model lies from the origin.
    let [a, b, c] = triangle.map(|corner| corner - p);
    let normal = (b - a).cross(c - a);
    let in_a = normal.dot(b.cross(c));
    let in_b = normal.dot(c.cross(a));
    let in_c = normal.dot(a.cross(b));
    let sum = in_a + in_b + in_c;
    if in_a >= 0.0 && in_b >= 0.0 && in_c >= 0.0 && sum > 0.0 {
        let offset = (a * in_a + b * in_b + c * in_c) / sum;
        let on = match (in_a > 0.0, in_b > 0.0, in_c > 0.0) {
            (true, true, true) => Feature::Inside,
            (true, true, false) => Feature::Edge(0),
            (false, true, true) => Feature::Edge(1),
            (true, false, true) => Feature::Edge(2),
            (true, false, false) => Feature::Corner(0),
            (false, true, false) => Feature::Corner(1),
            _ => Feature::Corner(2),
        };
        if offset.is_finite() {
            return (offset, on);
        }
    }
    let corners = [a, b, c];
    let mut best = (corners[0], Feature::Corner(0));
    let mut best_sq = f64::INFINITY;
    for k in 0..3 {
        let next = (k + 1) % 3;
        let (offset, share) = offset_to_segment(corners[k], corners[next]);
        let offset_sq = offset.length_squared();
        if offset_sq < best_sq {
            best_sq = offset_sq;
            let on = if share <= 0.0 {
                Feature::Corner(k as u8)
            } else if share >= 1.0 {
                Feature::Corner(next as u8)
            } else {
                Feature::Edge(k as u8)
            };
            best = (offset, on);
        }
    }
    best
}

/// The point of the segment from `a` to `b` that is closest to the origin, and
/// its share of the way from `a`, in 0 to 1.
pub(crate) fn offset_to_segment(a: DVec3, b: DVec3) -> (DVec3, f64) {
    let along = b - a;
    let length_sq = along.length_squared();
    // From the nearer end, so that the difference is between small numbers.
    if a.length_squared() <= b.length_squared() {
        let share = if length_sq > 0.0 { (-a.dot(along) / length_sq).clamp(0.0, 1.0) } else { 0.0 };
        (a + along * share, share)
    } else {
        let share = if length_sq > 0.0 { (b.dot(along) / length_sq).clamp(0.0, 1.0) } else { 0.0 };
        (b - along * share, 1.0 - share)
    }
}

/// A lower bound, up to [`crate::rounding::of_distance`], of the distance from
/// `p` to a triangle, given the offset to a point of it.
///
/// The triangle lies wholly beyond the plane that is square to the offset and
/// touches its foremost corner. The bound is tight where the offset leads to
/// the closest point, and true whatever the offset is.
pub(crate) fn distance_at_least(p: DVec3, triangle: [DVec3; 3], offset: DVec3) -> f64 {
    let along = offset.normalize_or_zero();
    triangle.iter().map(|&c| (c - p).dot(along)).fold(f64::INFINITY, f64::min).max(0.0)
}
