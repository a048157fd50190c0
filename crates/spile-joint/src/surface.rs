//! The scan made ready for the steps: one mesh with what is needed to walk it.

use spile_mesh::{Bvh, Mesh, Topology, VertexTriangles, vertex_triangles};

/// The scan as one mesh, its coordinates rounded as the part's will be.
pub struct Scan {
    /// All files' triangles, one file after the other.
    pub mesh: Mesh,
    /// Its connectivity.
    pub topology: Topology,
    /// The triangles round each point.
    pub fans: VertexTriangles,
    /// Its spatial index.
    pub bvh: Bvh,
}

impl Scan {
    /// Joins `meshes` and rounds their coordinates to `f32`.
    pub fn of(meshes: &[Mesh]) -> Self {
        let mut points = Vec::new();
        let mut triangles = Vec::new();
        for mesh in meshes {
            let first = points.len() as u32;
            points.extend(mesh.points().iter().map(|&p| spile_mesh::round_to_f32(p)));
            triangles.extend(mesh.triangles().iter().map(|t| t.map(|v| v + first)));
        }
        let mesh = Mesh::new(points, triangles).unwrap_or_default();
        let topology = Topology::of(&mesh);
        let fans = vertex_triangles(&mesh);
        let bvh = Bvh::build(&mesh);
        Self { mesh, topology, fans, bvh }
    }

    /// The length that half of the scan's edges are shorter than; of a sample
    /// of triangles spread evenly where there are many.
    pub fn median_edge(&self) -> f64 {
        const MOST: usize = 20_000;
        let count = self.mesh.triangles().len();
        self.median_edge_of((0..count as u32).step_by(count.div_ceil(MOST).max(1)))
    }

    /// The length that half of these triangles' edges are shorter than.
    pub fn median_edge_of(&self, triangles: impl Iterator<Item = u32>) -> f64 {
        let mut lengths: Vec<f64> = triangles
            .map(|t| {
                let [a, b, _] = self.mesh.corners(t as usize);
                a.distance(b)
            })
            .collect();
        lengths.sort_by(f64::total_cmp);
        lengths.get(lengths.len() / 2).copied().unwrap_or(0.0)
    }
}
