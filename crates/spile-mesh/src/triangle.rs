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

/// A triangle lower than its longest edge over this is taken as a needle. On
/// others the weights of the corners lose less than two digits.
const NEEDLE: f64 = 32.0;

/// How high a triangle is if it is a needle, else 0.
pub(crate) fn needle_height([a, b, c]: [DVec3; 3]) -> f64 {
    let longest = a.distance(b).max(b.distance(c)).max(c.distance(a));
    let height = (b - a).cross(c - a).length() / longest;
    // A little more, for it may be told to be one by other rounding.
    if height * NEEDLE < longest * (1.0 + 1e-9) { height } else { 0.0 }
}

/// The point of a triangle that is closest to `p`, as the offset from `p`.
///
/// The offset leads to a convex combination of the corners whatever rounding
/// does, so its length is an upper bound of the distance up to
/// [`crate::rounding::of_distance`], also for needles and triangles without
/// area. It is the least distance up to the same error except on caps seen from
/// afar, whose plane is not known as well: there it may be too long by what the
/// cap is high; [`distance_at_least`] gives the bound on that side.
pub(crate) fn offset_to_triangle(p: DVec3, triangle: [DVec3; 3]) -> (DVec3, Feature) {
    // Taken relative to `p`: then the error scales with what is near, not
    // with how far the model lies from the origin.
    let corners = triangle.map(|corner| corner - p);
    let [a, b, c] = corners;
    let normal = (b - a).cross(c - a);
    let sides_sq = [a.distance_squared(b), b.distance_squared(c), c.distance_squared(a)];
    let longest_sq = sides_sq[0].max(sides_sq[1]).max(sides_sq[2]);
    let is_needle = normal.length_squared() * (NEEDLE * NEEDLE) < longest_sq * longest_sq;
    let mut is_asked = [true; 3];
    if !is_needle {
        let weights = Weights::of(corners, normal);
        if let Some(found) = weights.foot_inside(corners) {
            return found;
        }
        is_asked = weights.may_be_nearest();
    }
    let (edge, offset, on) = nearest_edge(corners, is_asked);
    if is_needle && let Some(up) = up_if_over(corners, edge) {
        // From the edge straight in, as far as that leads nearer and no farther than
        // the needle is high: where that is rounding alone, its way leads anywhere.
        let inward = up.normalize_or_zero();
        let step = (-offset.dot(inward)).max(0.0).min(up.length());
        return (offset + inward * step, Feature::Inside);
    }
    (offset, on)
}

/// An edge is asked for its distance unless the foot lies on its inner side by more
/// than this share of the weights: far more than they are off by rounding, up to a
/// distance of a million million times the triangle.
const CLEARLY_INSIDE: f64 = 1e-3;

/// The weights of the corners at the foot of the origin on the plane, times their
/// sum.
struct Weights([f64; 3]);

impl Weights {
    fn of([a, b, c]: [DVec3; 3], normal: DVec3) -> Self {
        Self([normal.dot(b.cross(c)), normal.dot(c.cross(a)), normal.dot(a.cross(b))])
    }

    /// The foot, if it lies in the triangle.
    fn foot_inside(&self, [a, b, c]: [DVec3; 3]) -> Option<(DVec3, Feature)> {
        let [in_a, in_b, in_c] = self.0;
        let sum = in_a + in_b + in_c;
        if !(in_a >= 0.0 && in_b >= 0.0 && in_c >= 0.0 && sum > 0.0) {
            return None;
        }
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
        offset.is_finite().then_some((offset, on))
    }

    /// The edges that a closest point can lie on where the foot lies outside: those
    /// that it lies beyond, or not clearly within. All of them where that tells
    /// nothing.
    fn may_be_nearest(&self) -> [bool; 3] {
        let [in_a, in_b, in_c] = self.0;
        let clear = CLEARLY_INSIDE * (in_a.abs() + in_b.abs() + in_c.abs());
        // Edge k lies opposite corner k + 2.
        let is_asked = [in_c, in_a, in_b].map(|weight| weight <= clear);
        if is_asked == [false; 3] { [true; 3] } else { is_asked }
    }
}

/// Of the edges asked about the nearest to the origin, the offset to its closest
/// point, and whether that is a corner.
fn nearest_edge(corners: [DVec3; 3], is_asked: [bool; 3]) -> (usize, DVec3, Feature) {
    let mut best = (0, corners[0], Feature::Corner(0));
    let mut best_sq = f64::INFINITY;
    for k in (0..3).filter(|&k| is_asked[k]) {
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
            best = (k, offset, on);
        }
    }
    best
}

/// The way in the plane from edge `edge` to the corner across, if the origin lies
/// straight over the inside.
fn up_if_over(corners: [DVec3; 3], edge: usize) -> Option<DVec3> {
    let ups = [0, 1, 2].map(|k| up_from(corners[k], corners[(k + 1) % 3], corners[(k + 2) % 3]));
    let is_over = (0..3).all(|k| -corners[k].dot(ups[k]) > 0.0);
    is_over.then_some(ups[edge])
}

/// The unit vector square to the line from `a` to `b`, toward `c`; zero where
/// they lie on a line.
pub(crate) fn inward(a: DVec3, b: DVec3, c: DVec3) -> DVec3 {
    up_from(a, b, c).normalize_or_zero()
}

/// The way from the line through `a` and `b` to `c`, square to it.
fn up_from(a: DVec3, b: DVec3, c: DVec3) -> DVec3 {
    let along = (b - a).normalize_or_zero();
    // From the nearer end, so that what is taken away is no longer than it must be.
    let from = if c.distance_squared(a) <= c.distance_squared(b) { a } else { b };
    let up = c - from;
    up - along * up.dot(along)
}

/// The place of the segment from `a` to `b` nearest `p`.
pub fn closest_on_segment(p: DVec3, a: DVec3, b: DVec3) -> DVec3 {
    let d = b - a;
    let along = d.length_squared();
    if along > 0.0 { a + d * ((p - a).dot(d) / along).clamp(0.0, 1.0) } else { a }
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
/// The triangle lies wholly beyond the plane that is square to a direction and
/// touches its foremost corner, whatever the direction is. Tried are that of the
/// offset and, as on long triangles a short offset has no sharp direction, what
/// is left of it square to each edge and square to the plane. The bound is tight
/// where the offset leads to the closest point.
pub(crate) fn distance_at_least(p: DVec3, triangle: [DVec3; 3], offset: DVec3) -> f64 {
    let corners = triangle.map(|c| c - p);
    let least = |along: DVec3| {
        let along = along.normalize_or_zero();
        corners.iter().map(|c| c.dot(along)).fold(f64::INFINITY, f64::min)
    };
    let mut best = least(offset).max(0.0);
    let length = offset.length();
    for k in 0..3 {
        let (from, to) = (corners[k], corners[(k + 1) % 3]);
        let edge = (to - from).normalize_or_zero();
        // Twice: the second time takes away what the first left by rounding.
        let square = |v: DVec3, along: DVec3| v - along * v.dot(along);
        let square_to = |v: DVec3, along: DVec3| square(square(v, along), along);
        let off_edge = square_to(offset, edge);
        let inward = inward(from, to, corners[(k + 2) % 3]);
        let off_plane = square_to(square_to(off_edge, inward), edge);
        for along in [off_edge, off_plane] {
            // What is left of rounding alone points anywhere.
            if along.length() > f64::EPSILON * length {
                best = best.max(least(along));
            }
        }
    }
    best
}

#[cfg(test)]
pub(crate) mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Corners anywhere, and on a grid, where they meet and line up.
    pub(crate) fn corner() -> impl Strategy<Value = DVec3> {
        prop_oneof![
            [-2.0..2.0_f64, -2.0..2.0, -2.0..2.0].prop_map(DVec3::from),
            [-2..3_i32, -2..3, -2..3].prop_map(|p| DVec3::from(p.map(f64::from))),
        ]
    }

    /// Three points on a line but for rounding: what was left of the way in led 2
    /// lengths off the triangle. The nearest point is the first corner (by hand).
    #[test]
    fn where_a_needle_is_as_high_as_rounding_its_closest_point_is_still_on_it() {
        let away = 6.109710390954757;
        let line = [(-2.0, 0.0), (2.0, -2.0), (0.0, -1.0)];
        let triangle = line.map(|(x, y)| DVec3::new(x + away, y, -1.0));
        for z in [-1.0, 0.0, -1.4490774333523424] {
            let p = DVec3::new(0.0, 0.0, z);
            let found = offset_to_triangle(p, triangle).0;
            assert!((found - (triangle[0] - p)).length() < 1e-12, "{found}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(3000))]

        /// Against all three edges asked for each, near, far and from the grid.
        #[test]
        fn no_edge_left_out_is_nearer(
            triangle in prop::array::uniform3(corner()),
            p in corner(),
            times in prop_oneof![Just(1.0), Just(30.0), Just(1e4)],
        ) {
            let p = p * times;
            let (found, on) = offset_to_triangle(p, triangle);
            let (_, of_edges, _) = nearest_edge(triangle.map(|c| c - p), [true; 3]);
            let size = triangle.iter().map(|c| c.distance(p)).fold(0.0, f64::max);
            let least = of_edges.length();
            prop_assert!(found.length() <= least + crate::rounding::of_distance(size));
            prop_assert!(on == Feature::Inside || found.length() >= least - crate::rounding::of_distance(size));
        }
    }
}
