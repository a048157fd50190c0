//! The limit near the scan's seam: no more than the scan itself holds there.

use super::triangles::OtherSide;
use spile_mesh::DVec3;

/// The scan's wall at one place of its seam.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeamWall {
    /// The place on the part's seam.
    pub at: DVec3,
    /// The scan's wall there, what was given up included.
    pub wall: f64,
}

/// The limit at points near the seam: the smaller of the plain limit and the
/// thinnest wall of the scan on its seam within twice the plain limit.
#[derive(Debug, Clone, PartialEq)]
pub struct SeamLimit {
    limit: f64,
    walls: Vec<SeamWall>,
}

/// Places on the seam lie no further apart than this share of the limit. A place
/// left out between two can only make the limit too high, which is the safe side.
const SPACING_SHARE: f64 = 0.125;
/// Places on one side of a seam at most.
const PLACES_MOST: f64 = 64.0;

impl SeamLimit {
    /// From the seam loops, each with the scan's side that it lies on and the
    /// side opposite.
    pub fn new(limit: f64, seams: &[(&[DVec3], &OtherSide, &OtherSide)]) -> Self {
        let mut walls = Vec::new();
        for (points, own, opposite) in seams {
            for (i, &from) in points.iter().enumerate() {
                let to = points[(i + 1) % points.len()];
                let count = (from.distance(to) / (SPACING_SHARE * limit)).ceil();
                let count = if count.is_finite() { count.clamp(1.0, PLACES_MOST) } else { 1.0 };
                for k in 0..count as usize {
                    let at = from.lerp(to, k as f64 / count);
                    // The seam may lie off the scan by the deviation: the scan's
                    // wall is that of the scan's own nearest point.
                    let Some(on_scan) = own.nearest(at) else { continue };
                    let wall = opposite.distance(on_scan);
                    // What is no thinner than the limit never lowers it.
                    if wall < limit {
                        walls.push(SeamWall { at, wall });
                    }
                }
            }
        }
        walls.sort_by(|a, b| a.wall.total_cmp(&b.wall));
        Self { limit, walls }
    }

    /// The thinnest wall of the scan on its seam, where it is under the limit.
    pub fn thinnest(&self) -> Option<SeamWall> {
        self.walls.first().copied()
    }

    /// Whether any place of the seam may lower the limit of a point of the
    /// triangle.
    pub fn is_near(&self, triangle: [DVec3; 3]) -> bool {
        let reach = 2.0 * self.limit;
        let longest = triangle[0].distance(triangle[1]).max(triangle[0].distance(triangle[2]));
        self.walls.iter().any(|seam| seam.at.distance(triangle[0]) <= reach + longest)
    }

    /// The largest limit at any point of the triangle, from above.
    ///
    /// A place of the seam lowers the limit on the whole triangle if all of it,
    /// that is, its farthest corner, lies within reach of that place.
    pub fn largest(&self, triangle: [DVec3; 3]) -> f64 {
        let reach = 2.0 * self.limit;
        let holds = |seam: &&SeamWall| triangle.iter().all(|p| p.distance(seam.at) <= reach);
        self.walls.iter().find(holds).map_or(self.limit, |seam| seam.wall)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limit() -> SeamLimit {
        let at = |x: f64, wall: f64| SeamWall { at: x * DVec3::X, wall };
        SeamLimit { limit: 1.2, walls: vec![at(0.0, 1.0), at(3.0, 1.1)] }
    }

    fn speck(x: f64, size: f64) -> [DVec3; 3] {
        [DVec3::new(x, 0.0, 0.0), DVec3::new(x + size, 0.0, 0.0), DVec3::new(x, size, 0.0)]
    }

    #[test]
    fn the_thinnest_within_twice_the_limit_counts() {
        // CONTRACT wall_min: within 2 x 1.2 = 2.4 of the point.
        assert_eq!(limit().largest(speck(2.3, 0.01)), 1.0);
        assert_eq!(limit().largest(speck(2.5, 0.01)), 1.1);
        assert_eq!(limit().largest(speck(5.5, 0.01)), 1.2);
    }

    #[test]
    fn a_triangle_has_the_largest_limit_of_its_points() {
        // It reaches from where 1.0 counts to where only 1.1 does.
        assert_eq!(limit().largest(speck(2.2, 0.5)), 1.1);
        assert_eq!(limit().largest(speck(2.2, 4.0)), 1.2);
        assert!(limit().is_near(speck(5.3, 0.1)));
        assert!(!limit().is_near(speck(8.0, 0.1)));
    }
}
