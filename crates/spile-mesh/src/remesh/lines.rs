//! What of a patch must stay a line: its border, its open rims, the edges the
//! caller names, and its creases.

use glam::DVec3;

use super::guard::{Tight, shares};
use super::quality::{least_height, normal};
use super::sizing;
use super::working::{FROZEN, Kind, LINE, Working};
use super::{Lines, RemeshError, RemeshOptions};
use crate::boundary::pinched_points;
use crate::topology::{NONE, Topology, ends, vertex_triangles};
use crate::{Bvh, Mesh};

/// A crease that could cost this many times the deviation at worst becomes a
/// line. Below that the guard finds places that cost less, and lines would only
/// stand in the way of even triangles: on the open scans 1 leaves several times
/// as many angles under 25 degrees, 4 needs a second round now and then.
const CREASE_SHARE: f64 = 3.0;

/// A crease that could cost less than this share is noise, however sharp.
const NOISE_SHARE: f64 = 0.1;

/// The patch as it stands, with everything marked, and its lines for
/// projection.
pub(super) fn begin(
    patch: &Mesh,
    options: &RemeshOptions,
    size: &dyn Fn(DVec3) -> f64,
    (tight, kept): (&[Tight], &[bool]),
) -> Result<(Working, Bvh), RemeshError> {
    let topology = Topology::of(patch);
    if let Some(&h) = topology.collapsed().first() {
        return Err(RemeshError::Collapsed { triangle: h / 3 });
    }
    let sizes = sizing::at_points(patch, options, size)?;
    let mut w = Working::default();
    for (&p, size) in patch.points().iter().zip(sizes) {
        w.add_point(p, Kind::Free, size, NONE);
    }
    for (t, &corners) in patch.triangles().iter().enumerate() {
        w.add_triangle(corners, [0; 3]);
        for v in corners {
            w.homes[v as usize] = t as u32;
        }
    }
    mark_edges(&mut w, patch, &topology, options, tight)?;
    for (t, _) in kept.iter().enumerate().filter(|&(_, &is_kept)| is_kept) {
        let [a, b, c] = patch.triangles()[t];
        for (a, b) in [(a, b), (b, c), (c, a)] {
            w.add_mark(a, b, FROZEN);
        }
    }
    for v in pinched_points(patch, &topology, &vertex_triangles(patch)) {
        w.kinds[v as usize] = Kind::Locked;
    }
    lock_points(&mut w, patch, options)?;
    for v in 0..patch.points().len() as u32 {
        if let Some(&t) = w.around[v as usize].first() {
            w.witnesses[t as usize].push(v);
        }
    }
    let lines = line_tree(&w, patch);
    Ok((w, lines))
}

fn mark_edges(
    w: &mut Working,
    patch: &Mesh,
    topology: &Topology,
    options: &RemeshOptions,
    tight: &[Tight],
) -> Result<(), RemeshError> {
    let of_lines = match options.lines {
        Lines::Frozen => FROZEN,
        Lines::Resampled => LINE,
    };
    for &h in topology.boundary() {
        let [a, b] = ends(patch, h);
        let is_shared = (a.max(b) as usize) < options.kept_points;
        w.add_mark(a, b, if is_shared { FROZEN } else { of_lines });
    }
    let tangled = topology.nonmanifold_edges().iter().flat_map(|e| e.half_edges.iter());
    for &h in tangled.chain(topology.misoriented_edges().iter().flatten()) {
        let [a, b] = ends(patch, h);
        w.add_mark(a, b, FROZEN);
    }
    for &[a, b] in options.fixed_edges {
        let exists = (a.max(b) as usize) < patch.points().len()
            && w.around[a as usize].iter().any(|&t| w.edge_of(t, a, b).is_some());
        if !exists {
            return Err(RemeshError::NoSuchEdge { from: a, to: b });
        }
        w.add_mark(a, b, of_lines);
    }
    for h in 0..3 * patch.triangles().len() as u32 {
        let twin = topology.twin(h);
        if twin != NONE && h < twin {
            let [a, b] = ends(patch, h);
            if is_crease(w, patch, [h, twin], options, tight) {
                w.add_mark(a, b, LINE);
            }
        }
    }
    Ok(())
}

/// Whether a mesh that pays no heed to this edge could lie too far from it.
///
/// A chord that crosses a crease of turn `angle` and reaches `span` to both
/// sides lies `span * sin(angle / 2)` from it; it reaches no further than half
/// the wanted length nor than the facets beside the crease.
fn is_crease(
    w: &Working,
    patch: &Mesh,
    sides: [u32; 2],
    options: &RemeshOptions,
    tight: &[Tight],
) -> bool {
    let [a, b] = ends(patch, sides[0]);
    let middle = patch.points()[a as usize].midpoint(patch.points()[b as usize]);
    let deviation = options.deviation * shares(tight, middle).1;
    let facets = sides.map(|h| patch.corners((h / 3) as usize));
    let [m, n] = facets.map(normal);
    if m == DVec3::ZERO || n == DVec3::ZERO {
        return false;
    }
    let angle = m.cross(n).length().atan2(m.dot(n));
    let length = w.length(a, b);
    let reach = facets.map(|at| {
        // Twice the area over the shared edge: how far the facet reaches.
        (at[1] - at[0]).cross(at[2] - at[0]).length() / length
    });
    let span = (0.5 * w.size(a, b)).min(reach[0]).min(reach[1]).min(length);
    let cost = span * (0.5 * angle).sin();
    let is_sharp = angle.to_degrees() > options.feature_deg;
    let too_low = facets.iter().any(|&at| least_height(at) < NOISE_SHARE * deviation);
    !too_low && (cost > CREASE_SHARE * deviation || (is_sharp && cost > NOISE_SHARE * deviation))
}

/// Locks what is named, kept, frozen, at the end of a line, where lines meet or
/// where a line turns.
fn lock_points(w: &mut Working, patch: &Mesh, options: &RemeshOptions) -> Result<(), RemeshError> {
    let count = patch.points().len();
    if options.kept_points > count {
        return Err(RemeshError::NoSuchPoint { point: options.kept_points as u32 - 1 });
    }
    for v in 0..options.kept_points {
        w.kinds[v] = Kind::Locked;
    }
    for &v in options.fixed_points {
        *w.kinds.get_mut(v as usize).ok_or(RemeshError::NoSuchPoint { point: v })? = Kind::Locked;
    }
    let turn = options.feature_deg.to_radians().cos();
    for v in 0..count as u32 {
        if w.kinds[v as usize] != Kind::Locked {
            let is_frozen = w.along_line(v).iter().any(|&n| w.mark(v, n) & FROZEN != 0);
            w.kinds[v as usize] = if is_frozen { Kind::Locked } else { w.kind_by_lines(v, turn) };
        }
    }
    Ok(())
}

/// All marked edges as triangles without area, for closest points.
fn line_tree(w: &Working, patch: &Mesh) -> Bvh {
    let marked = w.edges().into_iter().filter(|&[a, b]| w.mark(a, b) != 0);
    let segments = marked.map(|[a, b]| [a, b, b]).collect();
    let lines = Mesh::new(patch.points().to_vec(), segments).unwrap_or_default();
    Bvh::build(&lines)
}
