//! Outliers: single points far off the surface round them.
//!
//! The surface round a point is taken from the triangles just outside its star:
//! each of them, extended as a plane, says where the point should be. A point
//! that is off three quarters of these planes to the same side stands out. The
//! apex of a cone, the corner of a box and a point of an edge do not: they lie in
//! the planes beside them. Nor does the middle of a raised flat, which is not off
//! the points round it. How rough the place is anyway is measured the same
//! way at the points round it, as if this one were not there.

use spile_mesh::{DVec3, Mesh, NONE, Topology, VertexTriangles};

/// An outlier stands out by more than so many times what the points round it do.
const OF_ROUGHNESS: f64 = 4.0;
/// An outlier stands out by more than this share of the edges round its star:
/// where the surface is exact, less is shape as likely as fault.
const OF_EDGE: f64 = 0.25;
/// An outlier is off the points round it by more than this share of what it is off
/// the planes round them.
const OF_HEIGHT: f64 = 0.5;

/// A point that stands out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Outlier {
    /// The point's number.
    pub(crate) point: u32,
    /// How far it is off at least three quarters of the planes round it.
    pub(crate) height: f64,
}

/// Every outlier of the mesh, by its number.
///
/// Only points whose triangles make one closed fan are judged.
pub(crate) fn outliers(mesh: &Mesh, topology: &Topology, around: &VertexTriangles) -> Vec<Outlier> {
    let look = Look { mesh, topology, around };
    (0..mesh.points().len() as u32).filter_map(|v| look.outlier(v)).collect()
}

struct Look<'a> {
    mesh: &'a Mesh,
    topology: &'a Topology,
    around: &'a VertexTriangles,
}

impl Look<'_> {
    fn outlier(&self, point: u32) -> Option<Outlier> {
        let ring = self.ring(point)?;
        let mut off = self.off_planes(point, None);
        // Slim triangles without a plane may be among those round it.
        if off.len() < 3 || 4 * off.len() < 3 * ring.len() {
            return None;
        }
        off.sort_unstable_by(f64::total_cmp);
        let quarter = off.len() / 4;
        let (low, high) = (off[quarter], off[off.len() - 1 - quarter]);
        let height = low.max(-high);
        let place = |k: usize| self.mesh.points()[ring[k % ring.len()] as usize];
        let mut sides: Vec<f64> =
            (0..ring.len()).map(|k| place(k).distance(place(k + 1))).collect();
        if height <= OF_EDGE * middle(&mut sides)
            || self.off_ring(point, &ring) <= OF_HEIGHT * height
        {
            return None;
        }
        let mut rough: Vec<f64> = self
            .two_rings(point, &ring)
            .into_iter()
            .filter_map(|near| {
                let mut off = self.off_planes(near, Some(point));
                off.iter_mut().for_each(|d| *d = d.abs());
                (off.len() >= 3).then(|| middle(&mut off))
            })
            .collect();
        if rough.is_empty() {
            return None;
        }
        rough.sort_unstable_by(f64::total_cmp);
        let roughness = rough[rough.len() - 1 - rough.len() / 4];
        (height > OF_ROUGHNESS * roughness).then_some(Outlier { point, height })
    }

    /// The points round `v` in order, if its triangles make one closed fan.
    fn ring(&self, v: u32) -> Option<Vec<u32>> {
        let first = *self.around.of(v).first()?;
        let mut ring = Vec::new();
        let mut t = first;
        for _ in 0..self.around.of(v).len() {
            let h = self.half_edge_from(t, v)?;
            ring.push(spile_mesh::topology::ends(self.mesh, h)[1]);
            // On over the edge that leads back to `v`.
            let twin = self.topology.twin(spile_mesh::topology::previous(h));
            if twin == NONE {
                return None;
            }
            t = twin / 3;
            if t == first {
                break;
            }
        }
        (t == first && ring.len() == self.around.of(v).len()).then_some(ring)
    }

    fn half_edge_from(&self, t: u32, v: u32) -> Option<u32> {
        (3 * t..3 * t + 3).find(|&h| spile_mesh::topology::ends(self.mesh, h)[0] == v)
    }

    /// How far `v` is off the planes of the triangles just outside its star,
    /// those that have the point `but` left out.
    fn off_planes(&self, v: u32, but: Option<u32>) -> Vec<f64> {
        let at = self.mesh.points()[v as usize];
        self.around
            .of(v)
            .iter()
            .filter_map(|&t| {
                let opposite = spile_mesh::topology::next(self.half_edge_from(t, v)?);
                let outside = self.topology.across(opposite)?;
                let corners = self.mesh.triangles()[outside as usize];
                if corners.contains(&v) || but.is_some_and(|b| corners.contains(&b)) {
                    return None;
                }
                let normal = self.mesh.area_normal(outside as usize).try_normalize()?;
                Some(normal.dot(at - self.mesh.points()[corners[0] as usize]))
            })
            .collect()
    }

    /// How far `v` is off the plane through the middle of the points round it,
    /// square to the area they enclose.
    fn off_ring(&self, v: u32, ring: &[u32]) -> f64 {
        let place = |k: usize| self.mesh.points()[ring[k % ring.len()] as usize];
        let middle = (0..ring.len()).map(place).sum::<DVec3>() / ring.len() as f64;
        let area: DVec3 =
            (0..ring.len()).map(|k| (place(k) - middle).cross(place(k + 1) - middle)).sum();
        area.normalize_or_zero().dot(self.mesh.points()[v as usize] - middle).abs()
    }

    /// The points of the ring and those next to it, without `v`.
    fn two_rings(&self, v: u32, ring: &[u32]) -> Vec<u32> {
        let mut all: Vec<u32> = ring
            .iter()
            .flat_map(|&r| self.around.of(r))
            .flat_map(|&t| self.mesh.triangles()[t as usize])
            .filter(|&p| p != v)
            .collect();
        all.sort_unstable();
        all.dedup();
        all
    }
}

/// The value in the middle by size; `values` is not empty.
fn middle(values: &mut [f64]) -> f64 {
    let half = values.len() / 2;
    *values.select_nth_unstable_by(half, f64::total_cmp).1
}
