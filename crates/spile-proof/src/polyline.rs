//! Closed polylines in space: distance, best plane, winding.

use spile_mesh::{Bounds3, DVec3, closest_on_segment};

use crate::labels::Plane;

/// A closed polyline made ready for many distance queries: runs of segments
/// with their boxes.
pub(crate) struct Polyline {
    points: Vec<DVec3>,
    runs: Vec<(Bounds3, usize, usize)>,
}

/// Segments in one run.
const RUN: usize = 8;

impl Polyline {
    /// The loop through these points, closed from last to first.
    pub(crate) fn closed(points: &[DVec3]) -> Self {
        let runs = (0..points.len())
            .step_by(RUN)
            .map(|from| {
                let to = (from + RUN).min(points.len());
                let of = (from..=to).map(|i| points[i % points.len()]);
                (Bounds3::of(of), from, to)
            })
            .collect();
        Self { points: points.to_vec(), runs }
    }

    /// Distance from `p` to the nearest place of the loop; infinite if it has no point.
    pub(crate) fn distance(&self, p: DVec3) -> f64 {
        let off_sq = |run: &usize| self.runs[*run].0.distance_sq(p);
        let by_box = |a: &usize, b: &usize| off_sq(a).total_cmp(&off_sq(b));
        let Some(first) = (0..self.runs.len()).min_by(by_box) else { return f64::INFINITY };
        // Begun at the nearest box, most others are passed by.
        let mut best_sq = self.distance_sq_of_run(first, p);
        for run in (0..self.runs.len()).filter(|&run| run != first) {
            if off_sq(&run) < best_sq {
                best_sq = best_sq.min(self.distance_sq_of_run(run, p));
            }
        }
        best_sq.sqrt()
    }

    fn distance_sq_of_run(&self, run: usize, p: DVec3) -> f64 {
        let (_, from, to) = self.runs[run];
        let off_sq = |i: usize| {
            let (a, b) = self.segment(i);
            (p - closest_on_segment(p, a, b)).length_squared()
        };
        (from..to).map(off_sq).fold(f64::INFINITY, f64::min)
    }

    fn segment(&self, i: usize) -> (DVec3, DVec3) {
        (self.points[i], self.points[(i + 1) % self.points.len()])
    }

    /// Certified bounds, no further apart than `gap`, on the largest distance
    /// from a place of this loop to `other`, with a place where the lower one is
    /// attained. Distance changes no faster than the place, so the middle of a
    /// piece of length L bounds it by L / 2.
    pub(crate) fn farthest_from(&self, other: &Self, gap: f64) -> ([f64; 2], DVec3) {
        let mut best = (0.0, self.points.first().copied().unwrap_or_default());
        let mut upper: f64 = 0.0;
        let mut stack: Vec<(DVec3, DVec3)> =
            (0..self.points.len()).map(|i| self.segment(i)).collect();
        for &p in &self.points {
            let d = other.distance(p);
            if d > best.0 {
                best = (d, p);
            }
        }
        while let Some((a, b)) = stack.pop() {
            let (half, middle) = (0.5 * (b - a).length(), 0.5 * (a + b));
            let d = other.distance(middle);
            if d > best.0 {
                best = (d, middle);
            }
            if d + half <= best.0 + gap || half < 0.5 * gap {
                upper = upper.max(d + half);
            } else {
                stack.push((a, middle));
                stack.push((middle, b));
            }
        }
        ([best.0, upper.max(best.0)], best.1)
    }
}

/// The middle of the points.
pub(crate) fn middle(points: &[DVec3]) -> DVec3 {
    points.iter().copied().sum::<DVec3>() / (points.len().max(1) as f64)
}

/// Area of the loop times its mean normal (right-handed round it).
pub(crate) fn area_vector(points: &[DVec3]) -> DVec3 {
    let o = middle(points);
    (0..points.len()).map(|i| 0.5 * (points[i] - o).cross(points[(i + 1) % points.len()] - o)).sum()
}

/// The plane through the loop's middle, square to its area vector, with the
/// normal on the side of `facing`. `None` if the loop encloses no area.
pub(crate) fn best_plane(points: &[DVec3], facing: DVec3) -> Option<Plane> {
    let n = area_vector(points).try_normalize()?;
    Some(Plane { point: middle(points), normal: if n.dot(facing) < 0.0 { -n } else { n } })
}

/// Signed height of `p` over the plane.
pub(crate) fn height(plane: Plane, p: DVec3) -> f64 {
    (p - plane.point).dot(plane.normal)
}

/// Two unit vectors that make a right-handed frame with unit `n`.
pub(crate) fn frame(n: DVec3) -> (DVec3, DVec3) {
    n.any_orthonormal_pair()
}

/// How often the loop winds round `p` when both are seen along unit `n`;
/// rounded to the nearest whole number.
pub(crate) fn winding(points: &[DVec3], p: DVec3, n: DVec3) -> i32 {
    let (u, v) = frame(n);
    let flat = |q: DVec3| ((q - p).dot(u), (q - p).dot(v));
    let turned: f64 = (0..points.len())
        .map(|i| {
            let (a, b) = (flat(points[i]), flat(points[(i + 1) % points.len()]));
            (a.0 * b.1 - a.1 * b.0).atan2(a.0 * b.0 + a.1 * b.1)
        })
        .sum();
    (turned / std::f64::consts::TAU).round() as i32
}

#[cfg(test)]
mod tests {
    use super::*;

    fn circle(r: f64, n: usize, at: DVec3) -> Vec<DVec3> {
        (0..n)
            .map(|i| {
                let a = std::f64::consts::TAU * i as f64 / n as f64;
                at + DVec3::new(r * a.cos(), r * a.sin(), 0.0)
            })
            .collect()
    }

    #[test]
    fn distance_equals_the_plain_search() {
        let round = circle(5.0, 37, DVec3::ZERO);
        let line = Polyline::closed(&round);
        for i in 0..200 {
            let p = DVec3::new(f64::from(i % 17) - 8.0, f64::from(i % 11) - 5.0, f64::from(i % 3));
            let plain = (0..round.len())
                .map(|k| (p - closest_on_segment(p, round[k], round[(k + 1) % 37])).length())
                .fold(f64::INFINITY, f64::min);
            assert_eq!(line.distance(p), plain);
        }
    }

    #[test]
    fn farthest_of_a_shifted_square_is_bracketed() {
        // A unit square lifted by 3 and moved by 4 along x: the corners at the
        // far side are 5 away from the nearest side's line... (3, 4, 5).
        let square = [DVec3::ZERO, DVec3::X, DVec3::X + DVec3::Y, DVec3::Y];
        let moved = square.map(|p| p + DVec3::new(4.0, 0.0, 3.0));
        let ([lo, hi], _) =
            Polyline::closed(&moved).farthest_from(&Polyline::closed(&square), 1e-3);
        assert!(lo <= 5.0 && 5.0 <= hi && hi - lo <= 1.0e-3 + 1e-12, "{lo} {hi}");
    }

    #[test]
    fn nesting_and_planes() {
        let (a, b) = (circle(2.0, 20, DVec3::X), circle(5.0, 20, DVec3::ZERO));
        assert_eq!(winding(&b, a[3], DVec3::Z), 1);
        let plane = best_plane(&a, -DVec3::Z).unwrap();
        assert!((plane.normal + DVec3::Z).length() < 1e-12);
        assert_eq!(winding(&b, DVec3::new(9.0, 0.0, 0.0), DVec3::Z), 0);
    }
}
