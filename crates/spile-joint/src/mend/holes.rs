//! Small open loops.

use std::collections::BTreeSet;

use spile_case::MendKind;
use spile_mesh::{
    Bounds3, DVec3, Mesh, Topology, VertexTriangles, boundary_loops, self_intersections_among,
    shells, topology, vertex_triangles,
};

use super::fill::{MOST_POINTS, fill};
use super::work::{Changes, Work};
use super::{across, ball_round};
use crate::examine::FindingKind;

/// Closes the open loops smaller across than `hole_max`, with no new point.
///
/// Loops of pieces that are themselves no larger are left: to close a crumb
/// makes no solid.
pub(super) fn close_holes(work: &mut Work) {
    let topology = work.topology();
    let loops: Vec<Vec<u32>> = boundary_loops(&work.mesh, &topology)
        .into_iter()
        .filter(|ring| is_small(work, ring))
        .collect();
    if loops.is_empty() {
        return;
    }
    let crumbs = pieces_too_small(work, &topology);
    let surround = Surround { mesh: &work.mesh, around: vertex_triangles(&work.mesh) };
    let mut chords = BTreeSet::new();
    let mut fills = Vec::new();
    let mut unfilled = Vec::new();
    for ring in loops {
        let sides = surround.sides(&ring);
        if sides.iter().any(|&t| crumbs[t as usize]) {
            continue;
        }
        match surround.fill(&ring, &sides, &mut chords) {
            Some(triangles) => fills.push(triangles),
            None => unfilled.push(ring),
        }
    }
    for ring in unfilled {
        let ball = ball_round(ring.iter().map(|&v| work.point(v)));
        let why = if ring.len() > MOST_POINTS {
            format!("the loop has {} points; at most {MOST_POINTS} are filled", ring.len())
        } else {
            "no triangles over its points leave the surface a surface".to_owned()
        };
        work.refuse(FindingKind::Hole, ball, why);
    }
    let sound = sound_fills(work, &fills);
    let mut changes = Changes::default();
    for (triangles, sound) in fills.into_iter().zip(sound) {
        if sound {
            work.note(MendKind::Hole, &[], &triangles);
            changes.added.extend(triangles);
        } else {
            let ball = work.ball(&[], &triangles);
            work.refuse(FindingKind::Hole, ball, "the triangles that would close it meet others");
        }
    }
    work.apply(changes);
}

fn is_small(work: &Work, ring: &[u32]) -> bool {
    let points: Vec<DVec3> = ring.iter().map(|&v| work.point(v)).collect();
    let bounds = Bounds3::of(points.iter().copied());
    // The widest extent is a lower bound, and spares big rims the pairs.
    if (bounds.max - bounds.min).max_element() >= work.hole_max {
        return false;
    }
    bounds.diagonal() < work.hole_max || across(&points) < work.hole_max
}

/// For each triangle whether its piece is smaller across than `hole_max`.
fn pieces_too_small(work: &Work, topology: &Topology) -> Vec<bool> {
    let pieces = shells(&work.mesh, topology);
    let mut boxes = vec![Bounds3::EMPTY; pieces.count];
    for (t, &piece) in pieces.label.iter().enumerate() {
        boxes[piece as usize] = boxes[piece as usize].union(Bounds3::of(work.mesh.corners(t)));
    }
    pieces.label.iter().map(|&piece| boxes[piece as usize].diagonal() < work.hole_max).collect()
}

/// Which fills meet no triangle of the mesh and none of another fill.
fn sound_fills(work: &Work, fills: &[Vec<[u32; 3]>]) -> Vec<bool> {
    let first = work.mesh.triangles().len() as u32;
    let owners: Vec<usize> = fills
        .iter()
        .enumerate()
        .flat_map(|(owner, triangles)| std::iter::repeat_n(owner, triangles.len()))
        .collect();
    let mut sound = vec![true; fills.len()];
    let mut triangles = work.mesh.triangles().to_vec();
    triangles.extend(fills.iter().flatten());
    let Ok(filled) = Mesh::new(work.mesh.points().to_vec(), triangles) else {
        return vec![false; fills.len()];
    };
    let new: Vec<u32> = (first..first + owners.len() as u32).collect();
    for (a, b) in self_intersections_among(&filled, &new) {
        for t in [a, b] {
            if t >= first {
                sound[owners[(t - first) as usize]] = false;
            }
        }
    }
    sound
}

struct Surround<'a> {
    mesh: &'a Mesh,
    around: VertexTriangles,
}

impl Surround<'_> {
    /// For each edge of a boundary loop the triangle that has it.
    fn sides(&self, ring: &[u32]) -> Vec<u32> {
        let edges = ring.iter().zip(ring.iter().cycle().skip(1));
        let side = |(&a, &b): (&u32, &u32)| {
            let has = |t: &&u32| (0..3).any(|k| topology::ends(self.mesh, 3 * **t + k) == [a, b]);
            self.around.of(a).iter().find(has).copied()
        };
        edges.filter_map(side).collect()
    }

    fn is_edge(&self, a: u32, b: u32) -> bool {
        self.around.of(a).iter().any(|&t| self.mesh.triangles()[t as usize].contains(&b))
    }

    /// Triangles over a boundary loop, facing as the surface does.
    fn fill(
        &self,
        ring: &[u32],
        sides: &[u32],
        chords: &mut BTreeSet<[u32; 2]>,
    ) -> Option<Vec<[u32; 3]>> {
        let n = ring.len();
        if sides.len() != n || n > MOST_POINTS {
            return None;
        }
        // The fill runs each edge against the surface.
        let back: Vec<u32> = ring.iter().rev().copied().collect();
        let points: Vec<DVec3> = back.iter().map(|&v| self.mesh.points()[v as usize]).collect();
        // Edge i of `back` runs from ring[n-1-i] to ring[n-2-i]: side n-2-i.
        let normal = |i: usize| {
            let side = sides[(2 * n - 2 - i) % n];
            self.mesh.area_normal(side as usize).normalize_or_zero()
        };
        let beside: Vec<DVec3> = (0..n).map(normal).collect();
        let key = |i: usize, j: usize| [back[i].min(back[j]), back[i].max(back[j])];
        let barred =
            |i: usize, j: usize| self.is_edge(back[i], back[j]) || chords.contains(&key(i, j));
        let triangles = fill(&points, &beside, &barred)?;
        if n == 3 && self.is_triangle(&back) {
            return None;
        }
        for &[i, m, j] in &triangles {
            // Edges of the loop itself come in too, which does no harm: they are
            // edges of the mesh and barred as such.
            chords.extend([key(i, m), key(m, j), key(i, j)]);
        }
        Some(triangles.iter().map(|t| t.map(|i| back[i])).collect())
    }

    fn is_triangle(&self, points: &[u32]) -> bool {
        self.around
            .of(points[0])
            .iter()
            .any(|&t| points.iter().all(|v| self.mesh.triangles()[t as usize].contains(v)))
    }
}
