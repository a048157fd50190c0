//! A few triangles taken out and the place closed again over the same points.

use std::sync::Arc;

use spile_mesh::{
    Bounds3, Bvh, DVec3, Mesh, NONE, Topology, VertexTriangles, farthest, self_intersections_among,
    topology,
};

use super::fill::{MOST_POINTS, fill};
use super::work::Work;

/// Triangles to take out and those to put in their place.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Refill {
    pub(super) removed: Vec<u32>,
    pub(super) added: Vec<[u32; 3]>,
    /// How far the two lie apart at most, certified.
    pub(super) change: f64,
}

/// The mesh as it is, with what is needed to try a refill on it.
pub(super) struct Spots {
    pub(super) mesh: Arc<Mesh>,
    topology: Arc<Topology>,
    pub(super) around: Arc<VertexTriangles>,
    tree: Bvh,
}

impl Spots {
    pub(super) fn of(work: &mut Work) -> Self {
        let (topology, around) = (work.topology(), work.around());
        let mesh = Arc::new(work.mesh.clone());
        let tree = Bvh::build(&mesh);
        Self { mesh, topology, around, tree }
    }

    /// A box round these triangles.
    pub(super) fn box_of(&self, triangles: &[u32]) -> Bounds3 {
        Bounds3::of(triangles.iter().flat_map(|&t| self.mesh.corners(t as usize)))
    }

    /// The triangles across the three edges of `t`, where just one is there and
    /// agrees which side is out.
    pub(super) fn beside(&self, t: u32) -> impl Iterator<Item = u32> + '_ {
        (3 * t..3 * t + 3).filter_map(|h| self.topology.across(h))
    }

    /// Takes out `removed` (sorted) and closes the place with no new point.
    ///
    /// None unless the triangles are a disc whose loop is the edge of other
    /// triangles all round, and its fill meets nothing (exact test). So the
    /// surface stays as open, as manifold and in as many pieces as it was, and
    /// its intersections become no more.
    pub(super) fn refill(&self, removed: &[u32]) -> Option<Refill> {
        let ring = self.ring(removed)?;
        if ring.len() > MOST_POINTS {
            return None;
        }
        let points: Vec<DVec3> = ring.iter().map(|s| self.mesh.points()[s.0 as usize]).collect();
        let beside: Vec<DVec3> =
            ring.iter().map(|s| self.mesh.area_normal(s.1 as usize).normalize_or_zero()).collect();
        let is_edge = |i: usize, j: usize| {
            let (a, b) = (ring[i].0, ring[j].0);
            self.around.of(a).iter().any(|t| {
                removed.binary_search(t).is_err() && self.mesh.triangles()[*t as usize].contains(&b)
            })
        };
        let added = fill(&points, &beside, &is_edge)?;
        let added: Vec<[u32; 3]> = added.iter().map(|t| t.map(|i| ring[i].0)).collect();
        let change = self.try_out(removed, &added)?;
        Some(Refill { removed: removed.to_vec(), added, change })
    }

    /// The loop round a disc of triangles, as each point with the triangle beyond
    /// the edge that runs on from it.
    fn ring(&self, disc: &[u32]) -> Option<Vec<(u32, u32)>> {
        let mut border = Vec::new();
        for &t in disc {
            for h in 3 * t..3 * t + 3 {
                let twin = self.topology.twin(h);
                if twin == NONE {
                    return None;
                }
                if disc.binary_search(&(twin / 3)).is_err() {
                    let [from, to] = topology::ends(&self.mesh, h);
                    border.push((from, to, twin / 3));
                }
            }
        }
        border.sort_unstable();
        let is_simple = border.windows(2).all(|pair| pair[0].0 != pair[1].0);
        if border.len() < 3 || !is_simple || !self.hang_together(disc, disc) {
            return None;
        }
        let mut points: Vec<u32> =
            disc.iter().flat_map(|&t| self.mesh.triangles()[t as usize]).collect();
        points.sort_unstable();
        points.dedup();
        // Euler: points - edges + triangles is 1 for a disc.
        if 2 * points.len() + 2 * disc.len() != 3 * disc.len() + border.len() + 2 {
            return None;
        }
        let mut ring = Vec::with_capacity(border.len());
        let mut at = border[0].0;
        for _ in 0..border.len() {
            let place = border.binary_search_by_key(&at, |side| side.0).ok()?;
            ring.push((at, border[place].2));
            at = border[place].1;
            if at == border[0].0 {
                break;
            }
        }
        (ring.len() == border.len()).then_some(ring)
    }

    /// Whether all of `some` hang together by edges of the triangles `among`
    /// (sorted), of which they are part.
    pub(super) fn hang_together(&self, some: &[u32], among: &[u32]) -> bool {
        let Some(&first) = some.first() else { return true };
        let mut seen = vec![false; among.len()];
        let mut open = vec![first];
        while let Some(t) = open.pop() {
            let Ok(place) = among.binary_search(&t) else { continue };
            if !std::mem::replace(&mut seen[place], true) {
                open.extend(self.beside(t));
            }
        }
        some.iter().all(|t| among.binary_search(t).is_ok_and(|place| seen[place]))
    }

    /// The size of the change, if the new triangles meet no other.
    fn try_out(&self, removed: &[u32], added: &[[u32; 3]]) -> Option<f64> {
        let bounds = self.box_of(removed);
        let mut kept = Vec::new();
        self.tree.for_each_touching(bounds, &mut |t| {
            if removed.binary_search(&t).is_err() {
                kept.push(self.mesh.triangles()[t as usize]);
            }
        });
        let gone: Vec<[u32; 3]> =
            removed.iter().map(|&t| self.mesh.triangles()[t as usize]).collect();
        let after = self.part([kept.as_slice(), added])?;
        let new: Vec<u32> = (kept.len() as u32..).take(added.len()).collect();
        if !self_intersections_among(&after, &new).is_empty() {
            return None;
        }
        // Distances to a part of the surface are bounds of those to the whole.
        let before = self.part([kept.as_slice(), &gone])?;
        let gap = 1e-3 * bounds.diagonal();
        let (of_old, of_new) = (self.part([&gone, &[]])?, self.part([added, &[]])?);
        let old = farthest(&of_old, None, &Bvh::build(&after), gap, None).hi;
        let new = farthest(&of_new, None, &Bvh::build(&before), gap, None).hi;
        Some(old.max(new))
    }

    /// These triangles of the mesh's points as a mesh of their own.
    fn part(&self, triangles: [&[[u32; 3]]; 2]) -> Option<Mesh> {
        let mut points: Vec<u32> = triangles.iter().copied().flatten().flatten().copied().collect();
        points.sort_unstable();
        points.dedup();
        let new = |v: u32| points.binary_search(&v).unwrap_or_default() as u32;
        let triangles = triangles.iter().copied().flatten().map(|t| t.map(new)).collect();
        let places = points.iter().map(|&v| self.mesh.points()[v as usize]).collect();
        Mesh::new(places, triangles).ok()
    }
}
