//! A surface as the server holds it, to be cut again and again.

use std::sync::OnceLock;

use spile_mesh::{Bvh, DVec3, Mesh, Plane, SectionLoop, Topology, section, section_near};

/// A surface with what is needed to cut it.
pub(crate) struct Surface {
    pub mesh: Mesh,
    pub topology: Topology,
    tree: OnceLock<Bvh>,
}

impl Surface {
    /// Of a mesh; it can be cut from now on, and quickly once it is prepared.
    pub fn of(mesh: Mesh) -> Self {
        let topology = Topology::of(&mesh);
        Self { mesh, topology, tree: OnceLock::new() }
    }

    /// Has cuts look only where the plane is. Whoever cuts meanwhile need not wait for it.
    pub fn prepare(&self) {
        self.tree.get_or_init(|| Bvh::build(&self.mesh));
    }

    /// The curves in which a plane cuts it, the same prepared or not.
    pub fn loops(&self, plane: Plane) -> Vec<SectionLoop> {
        let Self { mesh, topology, tree } = self;
        match tree.get() {
            Some(tree) => section_near(mesh, topology, tree, plane, DVec3::ZERO, f64::INFINITY),
            None => section(mesh, topology, plane, None),
        }
    }
}

#[cfg(test)]
mod tests {
    use spile_mesh::{DVec3, Mesh, Plane};

    use super::Surface;

    #[test]
    fn a_prepared_surface_is_cut_as_it_was_before() {
        // Two tetrahedra, apart.
        let corners = [DVec3::ZERO, DVec3::X, DVec3::Y, DVec3::Z];
        let points = [0.0, 3.0].iter().flat_map(|x| corners.map(|p| p + DVec3::X * *x)).collect();
        let faces = [[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]];
        let triangles = [0, 4].iter().flat_map(|k| faces.map(|face| face.map(|v| v + k))).collect();
        let surface = Surface::of(Mesh::new(points, triangles).unwrap());
        let cut = |z: f64| {
            let loops = surface.loops(Plane { point: DVec3::Z * z, normal: DVec3::Z });
            loops.into_iter().map(|found| (found.points, found.triangles)).collect::<Vec<_>>()
        };
        // A point on the plane counts as above it.
        let heights = [0.0, 0.25, 0.999, 1.5];
        let before = heights.map(cut);
        surface.prepare();
        assert_eq!(heights.map(cut), before);
        assert_eq!(before.map(|loops| loops.len()), [0, 2, 2, 0]);
    }
}
