//! The shortest distance between two triangles.

use spile_mesh::DVec3;

/// Shortest distance between triangles `s` and `t`; zero where they meet.
///
/// It is reached between two edges, or at a corner of one over the other's
/// face, unless an edge of one passes through the other.
/// Accuracy: f64 rounding, relative to the triangles' distance from each other's corners.
pub(super) fn triangle_gap(s: [DVec3; 3], t: [DVec3; 3]) -> f64 {
    let mut least_sq = f64::INFINITY;
    for i in 0..3 {
        for j in 0..3 {
            let gap = segment_gap_sq(s[i], s[(i + 1) % 3], t[j], t[(j + 1) % 3]);
            least_sq = least_sq.min(gap);
        }
    }
    for (from, to) in [(s, t), (t, s)] {
        least_sq = least_sq.min(over_face_sq(from, to));
    }
    least_sq.sqrt()
}

/// Least squared distance of a corner of `from` that stands over the face `to`;
/// zero if an edge of `from` passes through it.
fn over_face_sq(from: [DVec3; 3], to: [DVec3; 3]) -> f64 {
    let normal = (to[1] - to[0]).cross(to[2] - to[0]);
    let length_sq = normal.length_squared();
    if length_sq == 0.0 {
        return f64::INFINITY;
    }
    let is_over =
        |p: DVec3| (0..3).all(|k| (to[(k + 1) % 3] - to[k]).cross(p - to[k]).dot(normal) >= 0.0);
    let height = from.map(|p| (p - to[0]).dot(normal));
    let mut least_sq = f64::INFINITY;
    for k in 0..3 {
        if is_over(from[k]) {
            least_sq = least_sq.min(height[k] * height[k] / length_sq);
        }
        let next = (k + 1) % 3;
        if (height[k] > 0.0) != (height[next] > 0.0) {
            let share = height[k] / (height[k] - height[next]);
            if is_over(from[k].lerp(from[next], share)) {
                return 0.0;
            }
        }
    }
    least_sq
}

/// Squared distance of segments `a`-`b` and `c`-`d`.
fn segment_gap_sq(a: DVec3, b: DVec3, c: DVec3, d: DVec3) -> f64 {
    let (u, v, w) = (b - a, d - c, a - c);
    let (uu, vv, uv) = (u.length_squared(), v.length_squared(), u.dot(v));
    let (uw, vw) = (u.dot(w), v.dot(w));
    let across = uu * vv - uv * uv;
    let mut s = if across > 0.0 { ((uv * vw - vv * uw) / across).clamp(0.0, 1.0) } else { 0.0 };
    let mut t = if vv > 0.0 { (uv * s + vw) / vv } else { 0.0 };
    if !(0.0..=1.0).contains(&t) {
        t = t.clamp(0.0, 1.0);
        s = if uu > 0.0 { ((uv * t - uw) / uu).clamp(0.0, 1.0) } else { 0.0 };
    }
    (w + u * s - v * t).length_squared()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_gaps() {
        let floor = [DVec3::ZERO, 4.0 * DVec3::X, 4.0 * DVec3::Y];
        let above = floor.map(|p| 0.2 * p + DVec3::new(0.5, 0.5, 3.0));
        assert!((triangle_gap(floor, above) - 3.0).abs() < 1e-12);
        assert!((triangle_gap(above, floor) - 3.0).abs() < 1e-12);
        let through =
            [DVec3::new(1.0, 1.0, -1.0), DVec3::new(1.0, 1.0, 1.0), DVec3::new(1.2, 1.0, 5.0)];
        assert_eq!(triangle_gap(floor, through), 0.0);
        // Two crossing edges, 2 apart.
        let roof =
            [DVec3::new(1.0, -3.0, 2.0), DVec3::new(1.0, 3.0, 2.0), DVec3::new(1.0, 0.0, 9.0)];
        let ridge =
            [DVec3::new(-3.0, 0.0, 0.0), DVec3::new(3.0, 0.0, 0.0), DVec3::new(0.0, 0.0, -9.0)];
        assert!((triangle_gap(roof, ridge) - 2.0).abs() < 1e-12);
    }

    #[test]
    fn agrees_with_dense_sampling() {
        // Seed of the generator: 5.
        let mut state = 5_u64;
        let mut next = || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as f64 / (1_u64 << 31) as f64
        };
        for _ in 0..300 {
            let mut triangle =
                |shift: f64| [0; 3].map(|_| DVec3::new(next() + shift, next(), next()));
            let (s, t) = (triangle(0.0), triangle(0.9));
            let gap = triangle_gap(s, t);
            const N: usize = 24;
            let samples = |c: [DVec3; 3]| {
                (0..=N)
                    .flat_map(move |i| {
                        (0..=N - i).map(move |j| {
                            let (i, j) = (i as f64 / N as f64, j as f64 / N as f64);
                            c[0] * (1.0 - i - j) + c[1] * i + c[2] * j
                        })
                    })
                    .collect::<Vec<_>>()
            };
            let (many, others) = (samples(s), samples(t));
            let sampled = many
                .iter()
                .flat_map(|p| others.iter().map(move |q| p.distance(*q)))
                .fold(f64::INFINITY, f64::min);
            assert!(gap <= sampled + 1e-12 && sampled <= gap + 0.1, "{gap} against {sampled}");
        }
    }
}
