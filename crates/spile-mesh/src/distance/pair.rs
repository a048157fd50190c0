//! The shortest distance of two triangles, with a bound on each side.

use glam::DVec3;

use crate::intersect::triangles_intersect;
use crate::rounding;
use crate::triangle::{offset_to_segment, offset_to_triangle};

/// How often a pair of triangles is halved at most where rounding leaves its
/// bounds too far apart (needles, nearly parallel edges).
const MOST_HALVINGS: u32 = 12;

/// The shortest distance between two triangles; 0 if they have a point in
/// common, by exact test.
///
/// Accuracy: to within [`rounding::of_distance`] of the triangles' extent,
/// but for needles and nearly parallel edges, where it may be too long by
/// about the root of that.
pub fn triangle_distance(a: [DVec3; 3], b: [DVec3; 3]) -> f64 {
    PairDistance::of(a, b).hi
}

/// Bounds of the shortest distance of two triangles. Rounding is included in
/// `lo` and `hi` but for what the caller's own construction of corners adds.
#[derive(Debug, Clone, Copy)]
pub(super) struct PairDistance {
    pub(super) lo: f64,
    pub(super) hi: f64,
    /// The point of the first triangle that `hi` is measured from.
    pub(super) at: DVec3,
}

impl PairDistance {
    /// Bounds by the formulas for the nearest corner and face, or edge and
    /// edge, and by a separating plane.
    fn of(a: [DVec3; 3], b: [DVec3; 3]) -> PairDistance {
        let (offset, at) = shortest_between_borders(a, b);
        let length = offset.length();
        let error = rounding::of_distance(extent(a, b));
        let along = offset / length;
        let lo = if along.is_finite() { apart(a, b, along) } else { 0.0 };
        if lo > error {
            return PairDistance { lo: lo - error, hi: length + error, at };
        }
        match common_point(a, b) {
            Some(at) => PairDistance { lo: 0.0, hi: 0.0, at },
            None => PairDistance { lo: 0.0, hi: length + error, at },
        }
    }

    /// Bounds no further apart than `gap`, as far as `f64` can tell.
    pub(super) fn within(a: [DVec3; 3], b: [DVec3; 3], gap: f64) -> PairDistance {
        Self::halved(a, b, gap.max(4.0 * rounding::of_distance(extent(a, b))), MOST_HALVINGS)
    }

    fn halved(a: [DVec3; 3], b: [DVec3; 3], gap: f64, halvings: u32) -> PairDistance {
        let whole = Self::of(a, b);
        if whole.hi - whole.lo <= gap || halvings == 0 {
            return whole;
        }
        let ((k, a_sq), (j, b_sq)) = (longest_edge(a), longest_edge(b));
        let parts = if a_sq >= b_sq {
            halves(a, k).map(|half| Self::halved(half, b, gap, halvings - 1))
        } else {
            halves(b, j).map(|half| Self::halved(a, half, gap, halvings - 1))
        };
        // Halving rounds the new corner; the exact answer for the whole stays
        // a bound from above.
        let error = f64::from(halvings) * f64::EPSILON * largest_coordinate(a, b);
        let best = if parts[0].hi <= parts[1].hi { parts[0] } else { parts[1] };
        let lo = (parts[0].lo.min(parts[1].lo) - error).max(whole.lo);
        if best.hi + error < whole.hi {
            PairDistance { lo, hi: best.hi + error, at: best.at }
        } else {
            PairDistance { lo: lo.min(whole.hi), ..whole }
        }
    }
}

/// The shortest way between two triangles that have no point in common, from
/// the first to the second, and where it begins.
fn shortest_between_borders(a: [DVec3; 3], b: [DVec3; 3]) -> (DVec3, DVec3) {
    let mut best = (DVec3::INFINITY, a[0]);
    let mut best_sq = f64::INFINITY;
    let mut consider = |offset: DVec3, at: DVec3| {
        let offset_sq = offset.length_squared();
        if offset_sq < best_sq {
            best_sq = offset_sq;
            best = (offset, at);
        }
    };
    for p in a {
        consider(offset_to_triangle(p, b).0, p);
    }
    for p in b {
        let offset = offset_to_triangle(p, a).0;
        consider(-offset, p + offset);
    }
    for k in 0..3 {
        for j in 0..3 {
            let (offset, at) = between_edges(a[k], a[(k + 1) % 3], b[j], b[(j + 1) % 3]);
            consider(offset, at);
        }
    }
    best
}

/// The shortest way between two segments, unless it ends at an end of one,
/// which the corners have seen to.
fn between_edges(p: DVec3, p_end: DVec3, q: DVec3, q_end: DVec3) -> (DVec3, DVec3) {
    let (u, v, w) = (p_end - p, q_end - q, q - p);
    let across = u.cross(v);
    let across_sq = across.length_squared();
    // The lines' nearest points: w + t v - s u is square to both.
    let share = (w.cross(v).dot(across) / across_sq).clamp(0.0, 1.0);
    if !share.is_finite() {
        return (w, p);
    }
    let at = p + u * share;
    let (offset, _) = offset_to_segment(w - u * share, w - u * share + v);
    (offset, at)
}

/// How far apart the triangles lie along a unit direction from `a` to `b`;
/// never more than their distance.
fn apart(a: [DVec3; 3], b: [DVec3; 3], along: DVec3) -> f64 {
    let from = a[0];
    let most = a.iter().map(|&p| (p - from).dot(along)).fold(f64::NEG_INFINITY, f64::max);
    let least = b.iter().map(|&p| (p - from).dot(along)).fold(f64::INFINITY, f64::min);
    (least - most).max(0.0)
}

/// A point, to rounding, that two triangles have in common, if they do.
fn common_point(a: [DVec3; 3], b: [DVec3; 3]) -> Option<DVec3> {
    if !triangles_intersect(a, b, &[]) {
        return None;
    }
    let mut best = (f64::INFINITY, a[0]);
    for (one, other) in [(a, b), (b, a)] {
        let normal = (other[1] - other[0]).cross(other[2] - other[0]);
        for k in 0..3 {
            let (p, q) = (one[k], one[(k + 1) % 3]);
            let (above, below) = ((p - other[0]).dot(normal), (q - other[0]).dot(normal));
            let share = (above / (above - below)).clamp(0.0, 1.0);
            for at in [p, p + (q - p) * if share.is_finite() { share } else { 0.0 }] {
                let off_sq = offset_to_triangle(at, other).0.length_squared();
                if off_sq < best.0 {
                    best = (off_sq, at);
                }
            }
        }
    }
    Some(best.1)
}

fn halves(t: [DVec3; 3], k: usize) -> [[DVec3; 3]; 2] {
    let middle = t[k] + 0.5 * (t[(k + 1) % 3] - t[k]);
    let (mut first, mut second) = (t, t);
    first[(k + 1) % 3] = middle;
    second[k] = middle;
    [first, second]
}

fn longest_edge(t: [DVec3; 3]) -> (usize, f64) {
    let mut best = (0, t[0].distance_squared(t[1]));
    for k in 1..3 {
        let length_sq = t[k].distance_squared(t[(k + 1) % 3]);
        if length_sq > best.1 {
            best = (k, length_sq);
        }
    }
    best
}

/// The longest coordinate difference in play, or more.
fn extent(a: [DVec3; 3], b: [DVec3; 3]) -> f64 {
    let from = a[0];
    a.iter().chain(&b).map(|&p| (p - from).length()).fold(0.0, f64::max) * 2.0
}

fn largest_coordinate(a: [DVec3; 3], b: [DVec3; 3]) -> f64 {
    a.iter().chain(&b).map(|p| p.abs().max_element()).fold(0.0, f64::max)
}
