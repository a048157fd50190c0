//! The indexed triangle mesh that every other module works on.

use glam::DVec3;

/// Why a list of points and triangles is no mesh.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MeshError {
    /// A triangle names a point that does not exist.
    #[error("triangle {triangle} names point {point}, but there are only {points} points")]
    PointOutOfRange {
        /// Index of the triangle, from 0.
        triangle: usize,
        /// The point it names.
        point: u32,
        /// How many points there are.
        points: usize,
    },
    /// A coordinate is NaN or infinite.
    #[error("point {point} has a coordinate that is no finite number")]
    NotFinite {
        /// Index of the point, from 0.
        point: usize,
    },
    /// More points or corners than 32-bit indices can name.
    #[error("{count} {what} are more than this program can index (4294967294)")]
    TooMany {
        /// What there are too many of.
        what: &'static str,
        /// How many.
        count: usize,
    },
}

/// Triangles over shared points; nothing is assumed of how they meet.
///
/// Invariants:
/// 1. every corner index is below the number of points;
/// 2. every coordinate is finite;
/// 3. there are fewer than 2^32 - 1 points and fewer than 2^32 - 1 half-edges
///    (three a triangle), so that `u32` indexes both and `u32::MAX` is free.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Mesh {
    points: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
}

impl Mesh {
    /// The mesh of these points and triangles.
    ///
    /// # Errors
    /// Any breach of the invariants, with the first place where it is seen.
    pub fn new(points: Vec<DVec3>, triangles: Vec<[u32; 3]>) -> Result<Self, MeshError> {
        let mesh = Self { points, triangles };
        mesh.check()?;
        Ok(mesh)
    }

    /// The mesh of these triangles over those of `points` that they use, in order
    /// of the old indices.
    ///
    /// # Errors
    /// As [`Mesh::new`], of the points in use; a triangle that names a point that
    /// does not exist.
    pub fn of_used(points: &[DVec3], mut triangles: Vec<[u32; 3]>) -> Result<Self, MeshError> {
        let mut used: Vec<u32> = triangles.iter().flatten().copied().collect();
        used.sort_unstable();
        used.dedup();
        if let Some(&most) = used.last()
            && most as usize >= points.len()
        {
            let names = |t: &[u32; 3]| t.contains(&most);
            let triangle = triangles.iter().position(names).unwrap_or_default();
            return Err(MeshError::PointOutOfRange { triangle, point: most, points: points.len() });
        }
        for v in triangles.iter_mut().flatten() {
            *v = used.partition_point(|u| u < v) as u32;
        }
        Self::new(used.iter().map(|&v| points[v as usize]).collect(), triangles)
    }

    /// The meshes one after another in one; points stay apart. None where there are
    /// more points or triangles than a mesh may have.
    pub fn joined<'a>(meshes: impl IntoIterator<Item = &'a Self>) -> Option<Self> {
        let (mut points, mut triangles) = (Vec::new(), Vec::new());
        for mesh in meshes {
            let offset = u32::try_from(points.len()).ok()?;
            points.extend_from_slice(mesh.points());
            for t in mesh.triangles() {
                let [a, b, c] = t.map(|p| p.checked_add(offset));
                triangles.push([a?, b?, c?]);
            }
        }
        Self::new(points, triangles).ok()
    }

    /// Tests the invariants in their order.
    ///
    /// # Errors
    /// The first one that is broken.
    pub fn check(&self) -> Result<(), MeshError> {
        let most = u32::MAX as usize - 1;
        if self.points.len() > most {
            return Err(MeshError::TooMany { what: "points", count: self.points.len() });
        }
        if self.triangles.len() > most / 3 {
            return Err(MeshError::TooMany { what: "triangles", count: self.triangles.len() });
        }
        for (triangle, corners) in self.triangles.iter().enumerate() {
            for &point in corners {
                if point as usize >= self.points.len() {
                    let points = self.points.len();
                    return Err(MeshError::PointOutOfRange { triangle, point, points });
                }
            }
        }
        match self.points.iter().position(|p| !p.is_finite()) {
            Some(point) => Err(MeshError::NotFinite { point }),
            None => Ok(()),
        }
    }

    /// The points, in the order they came in.
    pub fn points(&self) -> &[DVec3] {
        &self.points
    }

    /// The triangles: three point indices each, counter-clockwise from outside
    /// where the mesh is oriented.
    pub fn triangles(&self) -> &[[u32; 3]] {
        &self.triangles
    }

    /// Gives points and triangles back for editing; `Mesh::new` checks again.
    pub fn into_parts(self) -> (Vec<DVec3>, Vec<[u32; 3]>) {
        (self.points, self.triangles)
    }

    /// The three corners of triangle `t`.
    pub fn corners(&self, t: usize) -> [DVec3; 3] {
        self.triangles[t].map(|p| self.points[p as usize])
    }

    /// Normal of triangle `t` times twice its area.
    pub fn area_normal(&self, t: usize) -> DVec3 {
        let [a, b, c] = self.corners(t);
        (b - a).cross(c - a)
    }

    /// Unit normal at each point, from the triangles round it weighted by area; zero
    /// where there is none.
    pub fn point_normals(&self) -> Vec<DVec3> {
        let mut normals = vec![DVec3::ZERO; self.points.len()];
        for (t, corners) in self.triangles.iter().enumerate() {
            let normal = self.area_normal(t);
            for &v in corners {
                normals[v as usize] += normal;
            }
        }
        normals.into_iter().map(DVec3::normalize_or_zero).collect()
    }

    /// The area that each point stands for: a third of each triangle there.
    pub fn point_areas(&self) -> Vec<f64> {
        let mut areas = vec![0.0; self.points.len()];
        for (t, corners) in self.triangles.iter().enumerate() {
            let share = self.area_normal(t).length() / 6.0;
            for &v in corners {
                areas[v as usize] += share;
            }
        }
        areas
    }

    /// The angle of triangle `t` at point `v`, one of its corners, in radians.
    pub fn corner_angle(&self, t: usize, v: u32) -> f64 {
        let places = self.corners(t);
        let k = self.triangles[t].iter().position(|&p| p == v).unwrap_or(0);
        let [a, b] = [1, 2].map(|j| places[(k + j) % 3] - places[k]);
        a.cross(b).length().atan2(a.dot(b))
    }

    /// Sum of the triangles' areas.
    pub fn area(&self) -> f64 {
        (0..self.triangles.len()).map(|t| 0.5 * self.area_normal(t).length()).sum()
    }

    /// Signed volume by the divergence theorem; meaningful for a closed mesh,
    /// positive where the triangles face outward.
    pub fn volume(&self) -> f64 {
        // Taken about the box's middle, so that a part far from the origin
        // does not lose digits.
        let origin = self.bounds().middle();
        (0..self.triangles.len())
            .map(|t| {
                let [a, b, c] = self.corners(t).map(|p| p - origin);
                a.dot(b.cross(c)) / 6.0
            })
            .sum()
    }

    /// The smallest axis-parallel box round all points.
    pub fn bounds(&self) -> Bounds3 {
        Bounds3::of(self.points.iter().copied())
    }

    /// The same mesh with each coordinate rounded to the nearest `f32`, which
    /// is what every written file carries. Points that fall together stay apart
    /// as indices.
    pub fn rounded(&self) -> Self {
        Self {
            points: self.points.iter().map(|&p| round_to_f32(p)).collect(),
            triangles: self.triangles.clone(),
        }
    }
}

/// `p` with each coordinate rounded to the nearest `f32`; -0.0 becomes 0.0.
pub fn round_to_f32(p: DVec3) -> DVec3 {
    // Adding 0.0 turns -0.0 into 0.0 and leaves all else.
    p.as_vec3().as_dvec3() + DVec3::ZERO
}

/// An axis-parallel box; empty (`min > max`) when it bounds nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds3 {
    /// Least coordinates.
    pub min: DVec3,
    /// Greatest coordinates.
    pub max: DVec3,
}

impl Bounds3 {
    /// The box round nothing.
    pub const EMPTY: Self = Self { min: DVec3::INFINITY, max: DVec3::NEG_INFINITY };

    /// The box round these points.
    pub fn of(points: impl IntoIterator<Item = DVec3>) -> Self {
        points.into_iter().fold(Self::EMPTY, |b, p| Self { min: b.min.min(p), max: b.max.max(p) })
    }

    /// The smallest box round both.
    pub fn union(self, other: Self) -> Self {
        Self { min: self.min.min(other.min), max: self.max.max(other.max) }
    }

    /// The middle of the box; zero where it is empty.
    pub fn middle(self) -> DVec3 {
        if self.min.x > self.max.x { DVec3::ZERO } else { 0.5 * (self.min + self.max) }
    }

    /// The length of the diagonal; zero where it is empty.
    pub fn diagonal(self) -> f64 {
        if self.min.x > self.max.x { 0.0 } else { (self.max - self.min).length() }
    }

    /// Squared distance from `p` to the box; zero inside.
    pub fn distance_sq(self, p: DVec3) -> f64 {
        (self.min - p).max(p - self.max).max(DVec3::ZERO).length_squared()
    }

    /// Whether the boxes share a point, touching included.
    pub fn touches(self, other: Self) -> bool {
        self.min.cmple(other.max).all() && other.min.cmple(self.max).all()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tetrahedron() -> Mesh {
        let points = vec![DVec3::ZERO, 10.0 * DVec3::X, 10.0 * DVec3::Y, 10.0 * DVec3::Z];
        Mesh::new(points, vec![[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]).unwrap()
    }

    #[test]
    fn only_points_in_use_are_kept_in_their_order() {
        let points = [DVec3::ZERO, DVec3::X, DVec3::Y, DVec3::Z, DVec3::ONE];
        let mesh = Mesh::of_used(&points, vec![[4, 1, 3], [1, 4, 3]]).unwrap();
        assert_eq!(mesh.points(), [DVec3::X, DVec3::Z, DVec3::ONE]);
        assert_eq!(mesh.triangles(), [[2, 0, 1], [0, 2, 1]]);
        let wrong = Mesh::of_used(&points, vec![[0, 1, 2], [0, 1, 5]]).unwrap_err();
        assert_eq!(wrong, MeshError::PointOutOfRange { triangle: 1, point: 5, points: 5 });
    }

    #[test]
    fn volume_and_area_of_the_corner_tetrahedron() {
        // check-values C31, C32: legs 10.
        assert!((tetrahedron().volume() - 166.666_666_7).abs() < 1e-6);
        assert!((tetrahedron().area() - 236.602_540_4).abs() < 1e-6);
    }

    #[test]
    fn a_corner_out_of_range_is_named() {
        let error = Mesh::new(vec![DVec3::ZERO], vec![[0, 0, 7]]).unwrap_err();
        assert_eq!(error, MeshError::PointOutOfRange { triangle: 0, point: 7, points: 1 });
    }

    #[test]
    fn rounding_removes_the_sign_of_zero() {
        assert!(round_to_f32(DVec3::new(-0.0, 0.1, 1.0)).x.is_sign_positive());
    }
}
