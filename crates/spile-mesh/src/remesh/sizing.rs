//! Making the wanted edge length possible beside edges that must stay.

use glam::DVec3;

use super::{Lines, RemeshOptions};
use crate::topology::{Topology, ends};
use crate::{Bvh, Mesh};

/// Beside an edge that stays, triangles are no smaller than this share of it:
/// smaller ones would only be slivers.
const BESIDE: f64 = 0.75;

/// How fast the size may fall away from such an edge, a length.
const FALL: f64 = 0.4;

/// The edges that stay as they are.
pub(super) struct Frozen {
    edges: Bvh,
    lengths: Vec<f64>,
}

impl Frozen {
    /// The boundary edges, and named edges, that these options freeze.
    pub fn of(patch: &Mesh, options: &RemeshOptions) -> Self {
        let topology = Topology::of(patch);
        let is_frozen = |&[a, b]: &[u32; 2]| {
            options.lines == Lines::Frozen || (a.max(b) as usize) < options.kept_points
        };
        let boundary = topology.boundary().iter().map(|&h| ends(patch, h)).filter(is_frozen);
        let named = options.fixed_edges.iter().copied();
        let named = named.filter(|_| options.lines == Lines::Frozen);
        let segments: Vec<[u32; 3]> = boundary.chain(named).map(|[a, b]| [a, b, b]).collect();
        let length =
            |&[a, b, _]: &[u32; 3]| patch.points()[a as usize].distance(patch.points()[b as usize]);
        let lengths = segments.iter().map(length).collect();
        let edges = Mesh::new(patch.points().to_vec(), segments).unwrap_or_default();
        Self { edges: Bvh::build(&edges), lengths }
    }

    /// `size` at `p`, raised where the nearest edge that stays is longer.
    pub fn heeded(&self, p: DVec3, size: f64) -> f64 {
        self.edges.closest(p).map_or(size, |nearest| {
            let length = self.lengths[nearest.triangle as usize];
            size.max(BESIDE * length - FALL * nearest.distance)
        })
    }
}
