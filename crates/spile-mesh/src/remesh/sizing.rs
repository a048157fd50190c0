//! Making the wanted edge length possible beside edges that must stay.

use glam::DVec3;

use super::{Lines, RemeshError, RemeshOptions};
use crate::topology::{Topology, ends};
use crate::{Bvh, Mesh};

/// Beside an edge that stays, triangles are no smaller than this share of it:
/// smaller ones would only be slivers.
const BESIDE: f64 = 0.75;

/// How fast the size may fall away from such an edge, a length.
const FALL: f64 = 0.4;

/// A limit so much further than computed is beyond what rounding can do to it.
const BEYOND_ROUNDING: f64 = 1.0 + 1e-9;

/// The edges that stay as they are.
pub(super) struct Frozen {
    edges: Bvh,
    lengths: Vec<f64>,
    longest: f64,
}

impl Frozen {
    /// The boundary edges, and named edges, that these options freeze, those that are
    /// not manifold or whose triangles disagree in orientation, and those of the
    /// triangles that are `kept`.
    pub fn of(patch: &Mesh, options: &RemeshOptions, kept: &[bool]) -> Self {
        let topology = Topology::of(patch);
        let is_frozen = |&[a, b]: &[u32; 2]| {
            options.lines == Lines::Frozen || (a.max(b) as usize) < options.kept_points
        };
        let boundary = topology.boundary().iter().map(|&h| ends(patch, h)).filter(is_frozen);
        let named = options.fixed_edges.iter().copied();
        let named = named.filter(|_| options.lines == Lines::Frozen);
        let tangled = topology.nonmanifold_edges().iter().flat_map(|e| &e.half_edges);
        let turned = topology.misoriented_edges().iter().flatten();
        let tangled = tangled.chain(turned).map(|&h| ends(patch, h));
        let of_kept = (0..kept.len() as u32).filter(|&t| kept[t as usize]);
        let of_kept = of_kept.flat_map(|t| 3 * t..3 * t + 3).map(|h| ends(patch, h));
        let segments: Vec<[u32; 3]> =
            boundary.chain(named).chain(tangled).chain(of_kept).map(|[a, b]| [a, b, b]).collect();
        let length =
            |&[a, b, _]: &[u32; 3]| patch.points()[a as usize].distance(patch.points()[b as usize]);
        let lengths: Vec<f64> = segments.iter().map(length).collect();
        let longest = lengths.iter().copied().fold(0.0, f64::max);
        let edges = Mesh::new(patch.points().to_vec(), segments).unwrap_or_default();
        Self { edges: Bvh::build(&edges), lengths, longest }
    }

    /// `size` at `p`, raised where the nearest edge that stays is longer.
    pub fn heeded(&self, p: DVec3, size: f64) -> f64 {
        // Beyond this even the longest would raise nothing.
        let limit = (BESIDE * self.longest - size) / FALL * BEYOND_ROUNDING;
        if limit < 0.0 {
            return size;
        }
        self.edges.closest_within(p, limit).map_or(size, |nearest| {
            let length = self.lengths[nearest.triangle as usize];
            size.max(BESIDE * length - FALL * nearest.distance)
        })
    }
}

/// More triangles than this are not made; a patch of a joint has some
/// ten thousands.
const MOST_TRIANGLES: f64 = 2e7;

/// The size with everything heeded, `wanted`, at each point of the patch, after
/// testing that it can be followed and that the caller's is a length everywhere.
pub(super) fn at_points(
    patch: &Mesh,
    options: &RemeshOptions,
    wanted: &dyn Fn(DVec3) -> f64,
) -> Result<Vec<f64>, RemeshError> {
    let mut smallest = (f64::INFINITY, DVec3::ZERO);
    for &at in patch.points() {
        let size = (options.size)(at);
        if !(size > 0.0 && size.is_finite()) {
            return Err(RemeshError::Size { at, size });
        }
        if size < smallest.0 {
            smallest = (size, at);
        }
    }
    let sizes: Vec<f64> = patch.points().iter().map(|&p| wanted(p)).collect();
    let mut triangles = 0.0;
    for t in 0..patch.triangles().len() {
        let [a, b, c] = patch.corners(t);
        let at_corners = patch.triangles()[t].map(|v| sizes[v as usize]);
        let size = at_corners.into_iter().fold(wanted((a + b + c) / 3.0), f64::min);
        // An equilateral triangle of that edge length.
        let one = 0.25 * 3f64.sqrt() * size * size;
        triangles += (0.5 * patch.area_normal(t).length() / one).max(1.0);
    }
    let (size, at) = smallest;
    if triangles > MOST_TRIANGLES {
        return Err(RemeshError::TooFine { triangles, most: MOST_TRIANGLES, size, at });
    }
    Ok(sizes)
}
