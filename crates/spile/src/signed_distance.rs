//! How far points lie off a surface, and on which side of it.

use rayon::prelude::*;
use spile_mesh::topology::{VertexTriangles, vertex_triangles};
use spile_mesh::{Bvh, DVec3, Mesh};

/// A surface to measure from.
///
/// # Source
/// Signs: Baerentzen and Aanaes 2005, angle-weighted pseudonormals.
pub(crate) struct SignedDistance<'a> {
    mesh: &'a Mesh,
    tree: Bvh,
    around: VertexTriangles,
}

impl<'a> SignedDistance<'a> {
    /// Ready to measure from `mesh`; points at one place are to be one point.
    pub fn new(mesh: &'a Mesh) -> Self {
        Self { mesh, tree: Bvh::build(mesh), around: vertex_triangles(mesh) }
    }

    /// The surface's own tree.
    pub fn tree(&self) -> &Bvh {
        &self.tree
    }

    /// The distance of each point, below zero where it lies behind the surface. Those of
    /// a surface without triangles are left out.
    pub fn of_all(&self, points: &[DVec3]) -> Vec<f64> {
        points.par_iter().filter_map(|&p| self.of(p)).collect()
    }

    fn of(&self, p: DVec3) -> Option<f64> {
        let closest = self.tree.closest(p)?;
        let off = p - closest.point;
        let t = closest.triangle as usize;
        let corners = self.mesh.triangles()[t];
        let places = self.mesh.corners(t);
        // On an edge or at a corner all triangles there have a say.
        let on_corner = (0..3).find(|&k| places[k] == closest.point);
        let normal = match (on_corner, closest.feature) {
            (Some(k), _) => self.normal_at(&[corners[k]], corners[k]),
            (None, spile_mesh::Feature::Edge(k)) => {
                let k = usize::from(k);
                self.normal_at(&[corners[k], corners[(k + 1) % 3]], corners[k])
            }
            (None, spile_mesh::Feature::Corner(k)) => {
                let corner = corners[usize::from(k)];
                self.normal_at(&[corner], corner)
            }
            (None, spile_mesh::Feature::Inside) => self.mesh.area_normal(t),
        };
        Some(if off.dot(normal) < 0.0 { -closest.distance } else { closest.distance })
    }

    /// The sum of the unit normals of the triangles that have all these points, each by
    /// its angle at the first; at an edge all count alike.
    fn normal_at(&self, points: &[u32], first: u32) -> DVec3 {
        let mut sum = DVec3::ZERO;
        for &t in self.around.of(first) {
            let corners = self.mesh.triangles()[t as usize];
            if !points.iter().all(|p| corners.contains(p)) {
                continue;
            }
            let normal = self.mesh.area_normal(t as usize).normalize_or_zero();
            let weight =
                if points.len() > 1 { 1.0 } else { self.mesh.corner_angle(t as usize, first) };
            sum += weight * normal;
        }
        sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A cube of edge 2 about the origin, outward.
    fn cube() -> Mesh {
        let points = (0..8_u32)
            .map(|k| DVec3::from([0, 1, 2].map(|a| if k >> a & 1 == 0 { -1.0 } else { 1.0 })))
            .collect();
        let quads =
            [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
        let triangles = quads.iter().flat_map(|&[a, b, c, d]| [[a, b, c], [a, c, d]]).collect();
        Mesh::new(points, triangles).unwrap()
    }

    #[test]
    fn signs_hold_off_faces_edges_and_corners() {
        // Closed form: the distance to a box.
        let cube = cube();
        assert!((cube.volume() - 8.0).abs() < 1e-12);
        let surface = SignedDistance::new(&cube);
        let cases = [
            (DVec3::new(1.5, 0.2, 0.1), 0.5),
            (DVec3::new(0.75, 0.2, 0.1), -0.25),
            (DVec3::new(2.0, 2.0, 0.3), 2f64.sqrt()),
            (DVec3::new(2.0, 2.0, 2.0), 3f64.sqrt()),
            (DVec3::new(-2.0, 2.0, -2.0), 3f64.sqrt()),
            (DVec3::new(0.9, 0.9, 0.9), -0.1),
        ];
        for (p, expected) in cases {
            let found = surface.of_all(&[p])[0];
            assert!((found - expected).abs() < 1e-12, "{p}: {found} for {expected}");
        }
    }
}
