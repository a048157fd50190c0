//! Listed mends of outliers: did a point stand out there?

use spile_mesh::{DVec3, Mesh, VertexTriangles};

use crate::edges::Edges;

/// A mended point must be off the surface round it by more than so many times the
/// roughness of the place, and by more than this share of the edges round it.
///
/// Half of what a point needs to be called an outlier (the guide, "What examine
/// finds"): where earlier mends changed the place, or rounding did, it still was one.
const OF_ROUGHNESS: f64 = 2.0;
const OF_EDGE: f64 = 0.125;
/// It must be off the points round it by more than this share of the least it must
/// be off the surface: the middle of a raised flat is none.
const OF_LEAST: f64 = 0.25;

/// The scan as earlier mends have left it.
pub(crate) struct Surroundings<'a> {
    pub(crate) mesh: &'a Mesh,
    pub(crate) edges: &'a Edges,
    pub(crate) around: &'a VertexTriangles,
    /// Triangles that are not there, or were taken away by an earlier mend: they say
    /// nothing of the surface.
    pub(crate) gone: &'a [bool],
}

impl Surroundings<'_> {
    /// The points round `p`, in order, if it is off the planes of three quarters of the
    /// triangles just outside those at it, all to one side, by far more than the points
    /// round it are, were it not there.
    pub(crate) fn ring_of_outlier(&self, p: u32) -> Option<Vec<u32>> {
        let (mesh, around) = (self.mesh, self.around);
        let place = |q: u32| mesh.points()[q as usize];
        let ring = ring(mesh, around, p)?;
        let lengths = (0..ring.len())
            .map(|k| place(ring[k]).distance(place(ring[(k + 1) % ring.len()])))
            .collect();
        let rough: Vec<f64> = ring
            .iter()
            .flat_map(|&r| around.of(r))
            .flat_map(|&t| mesh.triangles()[t as usize])
            .filter(|&q| q != p)
            .collect::<std::collections::BTreeSet<u32>>()
            .into_iter()
            .filter_map(|q| {
                let off = self.offsets(q, Some(p));
                (off.len() >= 3).then(|| at_rank(off.into_iter().map(f64::abs).collect(), 0.5))
            })
            .collect();
        if rough.is_empty() {
            return None;
        }
        let least = f64::max(OF_EDGE * at_rank(lengths, 0.5), OF_ROUGHNESS * at_rank(rough, 0.75));
        let off = self.offsets(p, None);
        let most = off.len() - off.len() / 4;
        let beyond = |sign: f64| off.iter().filter(|d| **d * sign > least).count();
        let corner = |k: usize| place(ring[k % ring.len()]);
        let middle = (0..ring.len()).map(corner).sum::<DVec3>() / ring.len() as f64;
        let across: DVec3 =
            (0..ring.len()).map(|k| (corner(k) - middle).cross(corner(k + 1) - middle)).sum();
        let stands_out = across.normalize_or_zero().dot(place(p) - middle).abs() > OF_LEAST * least
            && off.len() >= 3
            && 2 * off.len() >= ring.len()
            && (beyond(1.0) >= most || beyond(-1.0) >= most);
        stands_out.then_some(ring)
    }

    /// The signed distances of `p` from the planes of the triangles that share with one
    /// at `p` the edge across from it; those with the corner `but` left out.
    fn offsets(&self, p: u32, but: Option<u32>) -> Vec<f64> {
        let Self { mesh, edges, around, gone } = self;
        let mut all = Vec::new();
        for &t in around.of(p) {
            for (e, outer) in edges.neighbours(t) {
                let corners = mesh.triangles()[outer as usize];
                if gone[outer as usize]
                    || edges.points(e).contains(&p)
                    || corners.contains(&p)
                    || but.is_some_and(|b| corners.contains(&b))
                    || edges.triangles(e).len() != 2
                {
                    continue;
                }
                let [a, b, c] = mesh.corners(outer as usize);
                let normal: DVec3 = (b - a).cross(c - a).normalize_or_zero();
                if normal != DVec3::ZERO {
                    all.push(normal.dot(mesh.points()[p as usize] - a));
                }
            }
        }
        all
    }
}

/// The value that this share of the values lie below; there is at least one.
fn at_rank(mut values: Vec<f64>, share: f64) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    values[(share * (values.len() - 1) as f64).round() as usize]
}

/// The points round `p` in order, if its triangles run once round it.
fn ring(mesh: &Mesh, around: &VertexTriangles, p: u32) -> Option<Vec<u32>> {
    let sides: Vec<[u32; 2]> = around
        .of(p)
        .iter()
        .map(|&t| {
            let c = mesh.triangles()[t as usize];
            let k = (0..3).find(|&k| c[k] == p).unwrap_or(0);
            [c[(k + 1) % 3], c[(k + 2) % 3]]
        })
        .collect();
    let first = sides.first()?[0];
    let mut ring = vec![first];
    while ring.len() <= sides.len() {
        let from = *ring.last()?;
        let mut on = sides.iter().filter(|side| side[0] == from);
        let (next, None) = (on.next()?[1], on.next()) else { return None };
        if next == first {
            break;
        }
        ring.push(next);
    }
    (ring.len() == sides.len()).then_some(ring)
}
