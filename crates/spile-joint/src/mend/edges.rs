//! Edges that more than two triangles share.

use spile_case::MendKind;
use spile_mesh::{Topology, topology};

use super::work::{Changes, Work};

/// At each edge of more than two triangles keeps two of them and takes the
/// others away.
///
/// Kept are, of all pairs, first those that run the edge in opposite directions,
/// then those whose pieces of surface (as parted by such edges) are largest,
/// then those that meet flattest. So a fin goes and the wall stays; where two
/// walls touch along an edge, the smaller one opens by a quadrangle there, and
/// that is closed again over its other diagonal.
pub(super) fn part_shared_edges(work: &mut Work) {
    let topology = work.topology();
    if topology.nonmanifold_edges().is_empty() {
        return;
    }
    let areas = piece_areas(work, &topology);
    let mut gone = vec![false; work.mesh.triangles().len()];
    let mut changes = Changes::default();
    for edge in topology.nonmanifold_edges() {
        let left: Vec<u32> =
            edge.half_edges.iter().copied().filter(|&h| !gone[h as usize / 3]).collect();
        if left.len() <= 2 {
            continue;
        }
        let kept = best_pair(work, &areas, &left);
        let removed: Vec<u32> = left.iter().filter(|h| !kept.contains(h)).map(|&h| h / 3).collect();
        for &t in &removed {
            gone[t as usize] = true;
        }
        work.note(MendKind::NonManifoldEdge, &removed, &[]);
        changes.removed.extend(removed);
    }
    work.apply(changes);
}

/// For each triangle the area of the piece that it belongs to, pieces being
/// parted by edges that are not manifold.
fn piece_areas(work: &Work, topology: &Topology) -> Vec<f64> {
    let count = work.mesh.triangles().len();
    let partners = super::flips::partners(&work.mesh, topology);
    let mut areas = vec![-1.0; count];
    for seed in 0..count as u32 {
        if areas[seed as usize] >= 0.0 {
            continue;
        }
        let mut piece = vec![seed];
        areas[seed as usize] = 0.0;
        let mut next = 0;
        let mut area = 0.0;
        while next < piece.len() {
            let t = piece[next];
            next += 1;
            area += 0.5 * work.mesh.area_normal(t as usize).length();
            for h in 3 * t..3 * t + 3 {
                if let Some(partner) = partners.of(h)
                    && areas[partner as usize / 3] < 0.0
                {
                    areas[partner as usize / 3] = 0.0;
                    piece.push(partner / 3);
                }
            }
        }
        for t in piece {
            areas[t as usize] = area;
        }
    }
    areas
}

fn best_pair(work: &Work, areas: &[f64], half_edges: &[u32]) -> [u32; 2] {
    let normal = |h: u32| work.mesh.area_normal(h as usize / 3).normalize_or_zero();
    let mut best = ([half_edges[0], half_edges[1]], (false, f64::NEG_INFINITY, f64::NEG_INFINITY));
    for (i, &g) in half_edges.iter().enumerate() {
        for &h in &half_edges[i + 1..] {
            let opposed = topology::ends(&work.mesh, g)[0] == topology::ends(&work.mesh, h)[1];
            let area = areas[g as usize / 3] + areas[h as usize / 3];
            let turn = normal(g).dot(normal(h));
            let rank = (opposed, area, if opposed { turn } else { -turn });
            if rank > best.1 {
                best = ([g, h], rank);
            }
        }
    }
    best.0
}
