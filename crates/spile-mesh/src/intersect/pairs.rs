//! Finding the pairs that are worth an exact test.
//!
//! Pairs of triangles whose boxes touch are few on a surface, but for one
//! case: round a vertex where thousands of triangles meet all boxes touch
//! there. Such a vertex is a hub, and its triangles are compared with each
//! other by the edges that lie opposite the hub (see [`Groups`]).

use rayon::prelude::*;

use super::triangles_intersect;
use crate::bvh::Bvh;
use crate::mesh::{Bounds3, Mesh};

/// From this many triangles on a vertex is a hub: then a tree of its own costs
/// less than comparing each triangle with each.
const HUB: u32 = 64;

/// All pairs of triangles of a mesh that intersect, lower number first,
/// sorted.
///
/// Corners are one where their index is one; equal places do not count. Cost:
/// O(n log n) and a few pairs a triangle on a surface, also where many
/// triangles meet in one vertex. Parallel, the same on any number of threads.
pub fn self_intersections(mesh: &Mesh) -> Vec<(u32, u32)> {
    let groups = Groups::of(mesh);
    let tree = Bvh::build(mesh);
    let slots: Vec<u32> = (0..tree.len()).map(|slot| tree.id(slot)).collect();
    let no_hub = |t: u32| groups.hub_of[t as usize].is_none();
    // A pair of two triangles without hub is looked at from the lower one.
    let mut found: Vec<(u32, u32)> = slots
        .par_iter()
        .filter(|&&t| no_hub(t))
        .flat_map_iter(|&t| hits(mesh, &tree, t, box_of(mesh, t), |u| u > t || !no_hub(u)))
        .collect();
    found.extend(groups.pairs(mesh));
    found.par_sort_unstable();
    found.dedup();
    found
}

/// The pairs of [`self_intersections`] of which at least one triangle is in
/// `some`.
///
/// Cost: one look at every triangle's box, then as `some` and what is near it;
/// triangles of `some` round one vertex are compared each with each.
pub fn self_intersections_among(mesh: &Mesh, some: &[u32]) -> Vec<(u32, u32)> {
    let mut is_some = vec![false; mesh.triangles().len()];
    some.iter().for_each(|&t| is_some[t as usize] = true);
    let round_some = some.iter().fold(Bounds3::EMPTY, |b, &t| b.union(box_of(mesh, t)));
    let all = 0..mesh.triangles().len() as u32;
    let near: Vec<u32> =
        all.into_par_iter().filter(|&t| box_of(mesh, t).touches(round_some)).collect();
    let tree = Bvh::build_of(mesh, &near);
    // A pair of two listed triangles is looked at from the lower one only.
    let mut found: Vec<(u32, u32)> = near
        .par_iter()
        .filter(|&&t| is_some[t as usize])
        .flat_map_iter(|&t| {
            hits(mesh, &tree, t, box_of(mesh, t), |u| u > t || !is_some[u as usize])
        })
        .collect();
    found.par_sort_unstable();
    found
}

/// The triangles round hubs, by hub.
///
/// Two triangles with a common hub intersect beyond it only if the edge of one
/// that lies opposite the hub meets the other: a ray from the hub through a
/// common point leaves one of them first, across that edge. So the edges'
/// boxes are asked for, which lie apart round the rim of a fan.
struct Groups {
    /// The hub of each triangle: of its corners that are hubs the one with
    /// most triangles, the lower index first.
    hub_of: Vec<Option<u32>>,
    /// Hubs, rising, each with its triangles, rising.
    members: Vec<(u32, Vec<u32>)>,
}

impl Groups {
    fn of(mesh: &Mesh) -> Groups {
        let mut degree = vec![0_u32; mesh.points().len()];
        mesh.triangles().iter().flatten().for_each(|&p| degree[p as usize] += 1);
        let hub = |corners: &[u32; 3]| {
            let hubs = corners.iter().copied().filter(|&p| degree[p as usize] >= HUB);
            hubs.max_by_key(|&p| (degree[p as usize], std::cmp::Reverse(p)))
        };
        let hub_of: Vec<Option<u32>> = mesh.triangles().par_iter().map(hub).collect();
        let mut listed: Vec<(u32, u32)> =
            hub_of.iter().zip(0..).filter_map(|(hub, t)| hub.map(|hub| (hub, t))).collect();
        listed.sort_unstable();
        let members = listed
            .chunk_by(|a, b| a.0 == b.0)
            .map(|group| (group[0].0, group.iter().map(|&(_, t)| t).collect()))
            .collect();
        Groups { hub_of, members }
    }

    /// The pairs of two triangles with hubs that intersect; some twice.
    fn pairs(&self, mesh: &Mesh) -> Vec<(u32, u32)> {
        let trees: Vec<Bvh> =
            self.members.par_iter().map(|(_, group)| Bvh::build_of(mesh, group)).collect();
        let boxes = tree_of_boxes(&trees);
        let in_group = |k: usize| {
            let (hub, group) = &self.members[k];
            let mut later = Vec::new();
            boxes.for_each_touching(trees[k].bounds(), &mut |j| later.push(j as usize));
            later.retain(|&j| j > k);
            let trees = &trees;
            group.par_iter().flat_map_iter(move |&t| {
                let mut found = hits(mesh, &trees[k], t, opposite_box(mesh, t, *hub), |u| u != t);
                for &j in &later {
                    found.extend(hits(mesh, &trees[j], t, box_of(mesh, t), |_| true));
                }
                found
            })
        };
        (0..self.members.len()).into_par_iter().flat_map(in_group).collect()
    }
}

/// The triangles of `tree` whose boxes touch `bounds`, that are wanted and
/// that intersect `t`; as pairs.
fn hits(
    mesh: &Mesh,
    tree: &Bvh,
    t: u32,
    bounds: Bounds3,
    is_wanted: impl Fn(u32) -> bool,
) -> Vec<(u32, u32)> {
    let mut found = Vec::new();
    tree.for_each_touching(bounds, &mut |u| {
        if is_wanted(u) && intersect(mesh, t, u) {
            found.push((t.min(u), t.max(u)));
        }
    });
    found
}

/// A tree in which number `k` is the box of tree `k`.
fn tree_of_boxes(trees: &[Bvh]) -> Bvh {
    let points = trees.iter().flat_map(|tree| [tree.bounds().min, tree.bounds().max]).collect();
    let diagonals = (0..trees.len() as u32).map(|k| [2 * k, 2 * k + 1, 2 * k + 1]).collect();
    let mesh = Mesh::new(points, diagonals);
    Bvh::build(&mesh.expect("two points a tree that holds triangles of a mesh"))
}

fn box_of(mesh: &Mesh, t: u32) -> Bounds3 {
    Bounds3::of(mesh.corners(t as usize))
}

/// The box of the edge of `t` that lies opposite the corner `hub`.
fn opposite_box(mesh: &Mesh, t: u32, hub: u32) -> Bounds3 {
    let k = mesh.triangles()[t as usize].iter().position(|&p| p == hub).unwrap_or(0);
    let corners = mesh.corners(t as usize);
    Bounds3::of([corners[(k + 1) % 3], corners[(k + 2) % 3]])
}

/// Whether triangles `t` and `u` of a mesh intersect.
fn intersect(mesh: &Mesh, t: u32, u: u32) -> bool {
    let (of_t, of_u) = (mesh.triangles()[t as usize], mesh.triangles()[u as usize]);
    let mut shared = [(0_u8, 0_u8); 9];
    let mut count = 0;
    for (i, p) in of_t.iter().enumerate() {
        for (j, q) in of_u.iter().enumerate() {
            if p == q {
                shared[count] = (i as u8, j as u8);
                count += 1;
            }
        }
    }
    triangles_intersect(mesh.corners(t as usize), mesh.corners(u as usize), &shared[..count])
}
