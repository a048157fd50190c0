//! Triangles cut by a plane.

use spile_mesh::DVec3;

use crate::labels::Plane;
use crate::polyline::height;

/// Which side of a plane is kept; the plane itself belongs to both.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Half {
    /// Against the normal.
    Below,
    /// With the normal.
    Above,
}

/// What of the triangle lies in the half-space: a convex polygon of up to four
/// points, empty if nothing does.
pub(crate) fn clipped(corners: [DVec3; 3], plane: Plane, half: Half) -> Vec<DVec3> {
    clip_polygon(&corners, plane, half)
}

/// What of a convex polygon lies in the half-space.
pub(crate) fn clip_polygon(polygon: &[DVec3], plane: Plane, half: Half) -> Vec<DVec3> {
    let sign = if half == Half::Below { -1.0 } else { 1.0 };
    let depth = |p: DVec3| sign * height(plane, p);
    let mut left = Vec::with_capacity(polygon.len() + 1);
    for i in 0..polygon.len() {
        let (a, b) = (polygon[i], polygon[(i + 1) % polygon.len()]);
        let (da, db) = (depth(a), depth(b));
        if da >= 0.0 {
            left.push(a);
        }
        if (da > 0.0 && db < 0.0) || (da < 0.0 && db > 0.0) {
            left.push(a + (b - a) * (da / (da - db)));
        }
    }
    if left.len() < 3 { Vec::new() } else { left }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_triangle_is_shared_out_without_loss() {
        let c = [DVec3::ZERO, 2.0 * DVec3::X, 2.0 * DVec3::Z];
        let plane = Plane { point: DVec3::Z, normal: DVec3::Z };
        assert_eq!(clipped(c, plane, Half::Below).len(), 4);
        assert_eq!(clipped(c, plane, Half::Above).len(), 3);
        let high = Plane { point: 3.0 * DVec3::Z, normal: DVec3::Z };
        assert!(clipped(c, high, Half::Above).is_empty());
        assert_eq!(clipped(c, high, Half::Below).len(), 3);
    }
}
