//! Listed mends of folds: did the surface meet itself there, as one sheet?

use std::collections::BTreeSet;

use spile_mesh::{Mesh, VertexTriangles, self_intersections, triangles_intersect};

use crate::edges::Edges;

/// The triangles in `inside` that meet another one of it beyond shared places,
/// where both hang together by edges of triangles at the corners of those that
/// meet: of one sheet folded onto itself, not of two that pass through each other.
pub(crate) fn folded(
    mesh: &Mesh,
    edges: &Edges,
    around: &VertexTriangles,
    inside: &[u32],
) -> BTreeSet<u32> {
    let pairs = meeting(mesh, inside);
    let near: BTreeSet<u32> = pairs
        .iter()
        .flatten()
        .flat_map(|&t| mesh.triangles()[t as usize])
        .flat_map(|p| around.of(p).iter().copied())
        .collect();
    let mut sheets: Vec<BTreeSet<u32>> = Vec::new();
    let mut left = near;
    while let Some(first) = left.pop_first() {
        let mut sheet = BTreeSet::from([first]);
        let mut open = vec![first];
        while let Some(t) = open.pop() {
            for (_, next) in edges.neighbours(t) {
                if left.remove(&next) {
                    sheet.insert(next);
                    open.push(next);
                }
            }
        }
        sheets.push(sheet);
    }
    let of_one = |pair: &&[u32; 2]| sheets.iter().any(|s| pair.iter().all(|t| s.contains(t)));
    pairs.iter().filter(of_one).flatten().copied().collect()
}

/// The pairs among `some` that meet where they have no corner's place in common.
fn meeting(mesh: &Mesh, some: &[u32]) -> Vec<[u32; 2]> {
    let mut points: Vec<u32> = some.iter().flat_map(|&t| mesh.triangles()[t as usize]).collect();
    points.sort_unstable();
    points.dedup();
    let triangles = some
        .iter()
        .map(|&t| mesh.triangles()[t as usize].map(|p| points.partition_point(|&q| q < p) as u32))
        .collect();
    let places = points.iter().map(|&p| mesh.points()[p as usize]).collect();
    let Ok(part) = Mesh::new(places, triangles) else { return Vec::new() };
    let beyond_places = |&(s, t): &(u32, u32)| {
        let (s, t) = (part.corners(s as usize), part.corners(t as usize));
        let mut shared = Vec::new();
        for (i, p) in (0..).zip(s) {
            shared.extend((0..).zip(t).filter(|(_, q)| *q == p).map(|(j, _)| (i, j)));
        }
        triangles_intersect(s, t, &shared)
    };
    self_intersections(&part)
        .into_iter()
        .filter(beyond_places)
        .map(|(s, t)| [some[s as usize], some[t as usize]])
        .collect()
}
