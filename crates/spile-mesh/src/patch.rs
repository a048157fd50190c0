//! Lifting some triangles out of a mesh, and putting a changed patch back.

use glam::DVec3;

use crate::topology::{NONE, Topology, ends};
use crate::{Mesh, MeshError};

/// Why a changed patch cannot go back where it came from.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PatchError {
    /// The mesh is not the one the patch was lifted from.
    #[error(
        "the patch was lifted from a mesh of {was} triangles, but the one given has {is}: \
         put it back into the mesh it came from"
    )]
    OtherMesh {
        /// Triangles of the mesh at lifting.
        was: usize,
        /// Triangles of the mesh given.
        is: usize,
    },
    /// A border point is missing or is not where it was, to the bit.
    #[error(
        "border point {point} at {at} was moved or removed: points that a patch shares with \
         its surroundings must stay first and in place"
    )]
    BorderMoved {
        /// Its index in the patch.
        point: u32,
        /// Where it was.
        at: DVec3,
    },
    /// An edge to the surroundings is no longer an edge of exactly one triangle
    /// in the old direction.
    #[error(
        "the border edge from {from} to {to} is not an edge of exactly one triangle of the \
         changed patch any more: the surface would not close there"
    )]
    BorderEdge {
        /// Where it starts.
        from: DVec3,
        /// Where it ends.
        to: DVec3,
    },
    /// Together they are more than a mesh can hold.
    #[error(transparent)]
    Mesh(#[from] MeshError),
}

/// Triangles lifted out of a mesh, with the way back.
///
/// Invariants:
/// 1. the first [`Patch::border`] points of [`Patch::mesh`] are those that also
///    triangles outside the patch use, rising by their index in the whole mesh;
///    the others follow, rising too;
/// 2. `points[i]` is the whole mesh's index of patch point `i`, `triangles[i]`
///    that of patch triangle `i`, rising; both have the same coordinates, to
///    the bit;
/// 3. `border_edges` are the patch's boundary half-edges whose edge triangles
///    outside use too, sorted.
#[derive(Debug, Clone)]
pub struct Patch {
    /// The patch by itself, coordinates to the bit as in the whole mesh.
    pub mesh: Mesh,
    /// How many points it shares with its surroundings.
    pub border: usize,
    /// The whole mesh's index of each point.
    pub points: Vec<u32>,
    /// The whole mesh's index of each triangle.
    pub triangles: Vec<u32>,
    /// Patch edges (in the direction of the patch's own half-edge) that
    /// triangles outside use too, sorted.
    pub border_edges: Vec<[u32; 2]>,
    triangles_of_mesh: usize,
}

/// A mesh with a changed patch in it, and where everything went.
#[derive(Debug, Clone)]
pub struct PutBack {
    /// The whole: first the triangles that were not lifted, in their order, then
    /// those of the changed patch in theirs. Points likewise.
    pub mesh: Mesh,
    /// The old index of each triangle that was not lifted.
    pub kept_triangles: Vec<u32>,
    /// The new index of each old point; [`NONE`] for those that only the lifted
    /// triangles had.
    pub point_of_old: Vec<u32>,
    /// The new index of each point of the changed patch.
    pub point_of_patch: Vec<u32>,
}

impl Patch {
    /// The patch of these triangles of `mesh`, in any order; ones that do not
    /// exist or come twice are passed over.
    ///
    /// Cost: O(points + triangles) of the whole mesh in memory touched once,
    /// plus O(n log n) in the patch.
    pub fn lift(mesh: &Mesh, triangles: &[u32]) -> Self {
        let count = mesh.triangles().len();
        let mut lifted = vec![false; count];
        for &t in triangles.iter().filter(|&&t| (t as usize) < count) {
            lifted[t as usize] = true;
        }
        let (mut inside, mut outside) =
            (vec![false; mesh.points().len()], vec![false; mesh.points().len()]);
        for (t, corners) in mesh.triangles().iter().enumerate() {
            for &v in corners {
                let uses = if lifted[t] { &mut inside } else { &mut outside };
                uses[v as usize] = true;
            }
        }
        let all = 0..mesh.points().len() as u32;
        let of = |shared: bool| {
            let (inside, outside) = (&inside, &outside);
            all.clone().filter(move |&v| inside[v as usize] && outside[v as usize] == shared)
        };
        let border = of(true).count();
        let points: Vec<u32> = of(true).chain(of(false)).collect();
        let mut place = vec![NONE; mesh.points().len()];
        for (i, &v) in points.iter().enumerate() {
            place[v as usize] = i as u32;
        }
        let triangles: Vec<u32> = (0..count as u32).filter(|&t| lifted[t as usize]).collect();
        let own =
            triangles.iter().map(|&t| mesh.triangles()[t as usize].map(|v| place[v as usize]));
        let own = own.collect();
        let at = points.iter().map(|&v| mesh.points()[v as usize]).collect();
        let own = Mesh::new(at, own).expect("indices were just made, points are those of a mesh");
        let border_edges = border_edges(mesh, &lifted, &place, &own, border);
        Self { mesh: own, border, points, triangles, border_edges, triangles_of_mesh: count }
    }

    /// Tests the invariants in their order against the mesh that the patch was
    /// lifted from; for tests and debugging.
    ///
    /// # Errors
    /// The number of the first broken one, and where.
    pub fn check(&self, mesh: &Mesh) -> Result<(), String> {
        let count = mesh.triangles().len();
        let known = |list: &[u32], most: usize| list.iter().all(|&i| (i as usize) < most);
        if !known(&self.points, mesh.points().len()) || !known(&self.triangles, count) {
            return Err("invariant 2: a number that the mesh does not have".into());
        }
        let mut lifted = vec![false; count];
        for &t in &self.triangles {
            lifted[t as usize] = true;
        }
        let mut used_outside = vec![false; mesh.points().len()];
        for (_, corners) in mesh.triangles().iter().enumerate().filter(|&(t, _)| !lifted[t]) {
            corners.iter().for_each(|&v| used_outside[v as usize] = true);
        }
        for (i, &v) in self.points.iter().enumerate() {
            if used_outside[v as usize] != (i < self.border) {
                return Err(format!("invariant 1 at point {i}"));
            }
        }
        let rises = |list: &[u32]| list.is_sorted_by(|a, b| a < b);
        if self.border > self.points.len()
            || !rises(&self.points[..self.border])
            || !rises(&self.points[self.border..])
        {
            return Err("invariant 1: the order of the points".into());
        }
        let bits = |p: DVec3| p.to_array().map(f64::to_bits);
        let same = |(i, &v): (usize, &u32)| {
            let own = self.mesh.points().get(i);
            own.is_some_and(|&p| bits(p) == bits(mesh.points()[v as usize]))
        };
        if let Some(i) = self.points.iter().enumerate().position(|pair| !same(pair)) {
            return Err(format!("invariant 2 at point {i}"));
        }
        let own = self.mesh.triangles();
        for (i, (&t, corners)) in self.triangles.iter().zip(own).enumerate() {
            if corners.map(|v| self.points[v as usize]) != mesh.triangles()[t as usize] {
                return Err(format!("invariant 2 at triangle {i}"));
            }
        }
        if own.len() != self.triangles.len() || !rises(&self.triangles) {
            return Err("invariant 2: the order of the triangles".into());
        }
        let mut place = vec![NONE; mesh.points().len()];
        for (i, &v) in self.points.iter().enumerate() {
            place[v as usize] = i as u32;
        }
        let edges = border_edges(mesh, &lifted, &place, &self.mesh, self.border);
        if edges == self.border_edges { Ok(()) } else { Err("invariant 3".into()) }
    }

    /// `mesh`, from which this patch was lifted, with `edited` in its place.
    ///
    /// The rest keeps its coordinates to the bit and its order; border points
    /// are shared by index, so there is nothing to stitch.
    ///
    /// # Errors
    /// Where a border point moved, or a border edge is gone or doubled.
    pub fn put_back(&self, mesh: &Mesh, edited: &Mesh) -> Result<Mesh, PatchError> {
        self.put_back_mapped(mesh, edited).map(|put| put.mesh)
    }

    /// As [`Patch::put_back`], telling also where everything went.
    ///
    /// # Errors
    /// As there.
    pub fn put_back_mapped(&self, mesh: &Mesh, edited: &Mesh) -> Result<PutBack, PatchError> {
        self.check_border(mesh, edited)?;
        let mut lifted = vec![false; mesh.triangles().len()];
        for &t in &self.triangles {
            lifted[t as usize] = true;
        }
        let mut gone = vec![false; mesh.points().len()];
        for &v in &self.points[self.border..] {
            gone[v as usize] = true;
        }
        let mut points = Vec::with_capacity(mesh.points().len());
        let mut point_of_old = vec![NONE; mesh.points().len()];
        for (v, &p) in mesh.points().iter().enumerate().filter(|&(v, _)| !gone[v]) {
            point_of_old[v] = points.len() as u32;
            points.push(p);
        }
        let first_new = points.len();
        let shared = self.points[..self.border].iter().map(|&v| point_of_old[v as usize]);
        let fresh =
            (self.border..edited.points().len()).map(|i| (first_new + i - self.border) as u32);
        let point_of_patch: Vec<u32> = shared.chain(fresh).collect();
        points.extend_from_slice(&edited.points()[self.border..]);
        let kept_triangles: Vec<u32> =
            (0..mesh.triangles().len() as u32).filter(|&t| !lifted[t as usize]).collect();
        let kept = kept_triangles
            .iter()
            .map(|&t| mesh.triangles()[t as usize].map(|v| point_of_old[v as usize]));
        let new = edited.triangles().iter().map(|t| t.map(|v| point_of_patch[v as usize]));
        let triangles = kept.chain(new).collect();
        Ok(PutBack {
            mesh: Mesh::new(points, triangles)?,
            kept_triangles,
            point_of_old,
            point_of_patch,
        })
    }

    fn check_border(&self, mesh: &Mesh, edited: &Mesh) -> Result<(), PatchError> {
        let (was, is) = (self.triangles_of_mesh, mesh.triangles().len());
        if was != is || self.points.iter().any(|&v| v as usize >= mesh.points().len()) {
            return Err(PatchError::OtherMesh { was, is });
        }
        let bits = |p: DVec3| p.to_array().map(f64::to_bits);
        for (i, &at) in self.mesh.points()[..self.border].iter().enumerate() {
            if edited.points().get(i).is_none_or(|&p| bits(p) != bits(at)) {
                return Err(PatchError::BorderMoved { point: i as u32, at });
            }
        }
        let mut edges: Vec<[u32; 2]> = (0..3 * edited.triangles().len() as u32)
            .map(|h| ends(edited, h))
            .filter(|edge| edge.iter().all(|&v| (v as usize) < self.border))
            .collect();
        edges.sort_unstable();
        let times = |edge: [u32; 2]| {
            edges.partition_point(|&e| e <= edge) - edges.partition_point(|&e| e < edge)
        };
        for &[a, b] in &self.border_edges {
            if times([a, b]) != 1 || times([b, a]) != 0 {
                let [from, to] = [a, b].map(|v| self.mesh.points()[v as usize]);
                return Err(PatchError::BorderEdge { from, to });
            }
        }
        Ok(())
    }
}

/// The patch's boundary half-edges whose edge triangles outside the patch share.
fn border_edges(
    mesh: &Mesh,
    lifted: &[bool],
    place: &[u32],
    own: &Mesh,
    border: usize,
) -> Vec<[u32; 2]> {
    let is_border = |edge: [u32; 2]| edge.iter().all(|&v| (v as usize) < border);
    let mut outside: Vec<[u32; 2]> = Vec::new();
    for (_, &[a, b, c]) in mesh.triangles().iter().enumerate().filter(|&(t, _)| !lifted[t]) {
        for edge in [[a, b], [b, c], [c, a]] {
            let edge = edge.map(|v| place[v as usize]);
            if is_border(edge) {
                outside.push([edge[0].min(edge[1]), edge[0].max(edge[1])]);
            }
        }
    }
    outside.sort_unstable();
    let mut edges: Vec<[u32; 2]> = Topology::of(own)
        .boundary()
        .iter()
        .map(|&h| ends(own, h))
        .filter(|&[a, b]| outside.binary_search(&[a.min(b), a.max(b)]).is_ok())
        .collect();
    edges.sort_unstable();
    edges
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shapes::torus;

    fn half_torus() -> (Mesh, Patch) {
        let mesh = torus(12, 8, 6.0, 2.0);
        let some: Vec<u32> = (0..mesh.triangles().len() as u32)
            .filter(|&t| mesh.corners(t as usize).iter().all(|p| p.x > 0.0))
            .collect();
        let patch = Patch::lift(&mesh, &some);
        patch.check(&mesh).unwrap();
        (mesh, patch)
    }

    #[test]
    fn each_broken_invariant_is_told_by_its_number() {
        let (mesh, sound) = half_torus();
        let broken = |change: &dyn Fn(&mut Patch)| {
            let mut patch = sound.clone();
            change(&mut patch);
            patch.check(&mesh).unwrap_err()
        };
        let last = sound.border - 1;
        assert_eq!(broken(&|p| p.border -= 1), format!("invariant 1 at point {last}"));
        assert_eq!(broken(&|p| p.points.swap(0, 1)), "invariant 1: the order of the points");
        assert_eq!(broken(&|p| p.triangles.swap(0, 1)), "invariant 2 at triangle 0");
        assert_eq!(broken(&|p| p.triangles[0] = 9999), {
            "invariant 2: a number that the mesh does not have"
        });
        let moved = |p: &mut Patch| {
            let (mut points, triangles) = p.mesh.clone().into_parts();
            points[2].y += 1e-12;
            p.mesh = Mesh::new(points, triangles).unwrap();
        };
        assert_eq!(broken(&moved), "invariant 2 at point 2");
        assert_eq!(broken(&|p| p.border_edges.reverse()), "invariant 3");
    }

    #[test]
    fn unchanged_it_goes_back_as_the_same_surface() {
        let (mesh, patch) = half_torus();
        let back = patch.put_back_mapped(&mesh, &patch.mesh).unwrap();
        assert!(Topology::of(&back.mesh).is_closed());
        assert_eq!(back.mesh.points().len(), mesh.points().len());
        assert!((back.mesh.volume() - mesh.volume()).abs() < 1e-9);
        for (new, &old) in back.kept_triangles.iter().enumerate() {
            assert_eq!(back.mesh.corners(new), mesh.corners(old as usize));
        }
    }

    #[test]
    fn new_points_inside_leave_the_rest_as_it_was() {
        let (mesh, patch) = half_torus();
        let (mut points, mut triangles) = patch.mesh.clone().into_parts();
        let [a, b, c] = triangles.swap_remove(5);
        let m = points.len() as u32;
        points.push(patch.mesh.corners(5).iter().sum::<DVec3>() / 3.0);
        triangles.extend([[a, b, m], [b, c, m], [c, a, m]]);
        let back = patch.put_back(&mesh, &Mesh::new(points, triangles).unwrap()).unwrap();
        assert!(Topology::of(&back).is_closed());
        assert_eq!(back.triangles().len(), mesh.triangles().len() + 2);
    }

    #[test]
    fn a_moved_border_point_is_named() {
        let (mesh, patch) = half_torus();
        let (mut points, triangles) = patch.mesh.clone().into_parts();
        points[3].x += 1e-12;
        let error = patch.put_back(&mesh, &Mesh::new(points, triangles).unwrap()).unwrap_err();
        assert!(matches!(error, PatchError::BorderMoved { point: 3, .. }), "{error}");
    }

    #[test]
    fn a_lost_border_edge_is_named() {
        let (mesh, patch) = half_torus();
        let edge = patch.border_edges[0];
        let (points, mut triangles) = patch.mesh.clone().into_parts();
        triangles.retain(|t| !edge.iter().all(|v| t.contains(v)));
        let error = patch.put_back(&mesh, &Mesh::new(points, triangles).unwrap()).unwrap_err();
        assert!(matches!(error, PatchError::BorderEdge { .. }), "{error}");
    }

    #[test]
    fn nothing_lifted_is_an_empty_patch() {
        let (mesh, _) = half_torus();
        let patch = Patch::lift(&mesh, &[9_999_999]);
        assert_eq!(patch.mesh, Mesh::default());
        assert_eq!(patch.put_back(&mesh, &Mesh::default()).unwrap(), mesh);
    }
}
