//! The loops where a surface ends.

use rayon::prelude::*;

use crate::Mesh;
use crate::topology::{NONE, Topology, VertexTriangles, ends, next, previous};

/// The boundary of a mesh, taken apart into loops.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct BoundaryChains {
    /// Closed loops of points, each point once a loop, in the direction of the
    /// boundary half-edges (the surface lies on their left).
    pub loops: Vec<Vec<u32>>,
    /// Chains that do not close. There are none where all edges are manifold
    /// and agree in orientation.
    pub open: Vec<Vec<u32>>,
}

/// The closed boundary loops of `mesh`, as point indices in the direction of
/// the boundary half-edges: seen from outside, the surface lies on their left.
///
/// A loop never names a point twice: where loops touch at a point, each is
/// followed round its own fan of triangles, and a loop that comes by a point
/// again is parted there. Loops are ordered by their first half-edge and start
/// at it, so the answer depends on the mesh alone.
pub fn boundary_loops(mesh: &Mesh, topology: &Topology) -> Vec<Vec<u32>> {
    boundary_chains(mesh, topology).loops
}

/// As [`boundary_loops`], with the chains that do not close.
pub fn boundary_chains(mesh: &Mesh, topology: &Topology) -> BoundaryChains {
    let boundary = topology.boundary();
    let mut leaving: Vec<(u32, u32)> = boundary.iter().map(|&h| (ends(mesh, h)[0], h)).collect();
    leaving.sort_unstable();
    let mut arriving: Vec<u32> = boundary.iter().map(|&h| ends(mesh, h)[1]).collect();
    arriving.sort_unstable();
    let mut walk = Walk { mesh, topology, leaving, used: vec![false; boundary.len()] };
    let mut chains = BoundaryChains::default();
    // Chains that start where more half-edges leave than arrive come first,
    // else they would be entered in their middle.
    let starts = boundary.iter().copied().filter(|&h| walk.is_loose_start(h, &arriving));
    for h in starts.collect::<Vec<_>>().into_iter().chain(boundary.iter().copied()) {
        if let Some(points) = walk.follow(h) {
            part(points, &mut chains);
        }
    }
    chains
}

struct Walk<'a> {
    mesh: &'a Mesh,
    topology: &'a Topology,
    /// (point, boundary half-edge that leaves it), sorted.
    leaving: Vec<(u32, u32)>,
    /// By place in `topology.boundary()`.
    used: Vec<bool>,
}

impl Walk<'_> {
    fn place(&self, h: u32) -> Option<usize> {
        self.topology.boundary().binary_search(&h).ok()
    }

    fn is_loose_start(&self, h: u32, arriving: &[u32]) -> bool {
        let v = ends(self.mesh, h)[0];
        let count = arriving.partition_point(|&p| p <= v) - arriving.partition_point(|&p| p < v);
        self.leaving_from(v).len() > count
    }

    fn leaving_from(&self, v: u32) -> &[(u32, u32)] {
        let first = self.leaving.partition_point(|&(p, _)| p < v);
        let last = self.leaving.partition_point(|&(p, _)| p <= v);
        &self.leaving[first..last]
    }

    fn is_free(&self, h: u32) -> bool {
        self.place(h).is_some_and(|place| !self.used[place])
    }

    /// The points along the boundary from `h` on, until it comes back (first
    /// point repeated at the end) or cannot go on; nothing if `h` is used.
    fn follow(&mut self, h: u32) -> Option<Vec<u32>> {
        if !self.is_free(h) {
            return None;
        }
        let mut points = vec![ends(self.mesh, h)[0]];
        let mut at = Some(h);
        while let Some(h) = at {
            if let Some(place) = self.place(h) {
                self.used[place] = true;
            }
            points.push(ends(self.mesh, h)[1]);
            at = self.after(h);
        }
        Some(points)
    }

    /// The unused boundary half-edge that goes on from `h`: round the fan of
    /// triangles at its end, else (the fan is broken by an edge that is not
    /// manifold) the first that leaves that point.
    fn after(&self, h: u32) -> Option<u32> {
        let mut out = next(h);
        // A fan that closes on itself cannot hold a boundary half-edge, so
        // this ends; the bound guards against inconsistent input.
        for _ in 0..self.topology_size() {
            let twin = self.topology.twin(out);
            if twin == NONE {
                break;
            }
            out = next(twin);
        }
        if self.topology.is_boundary(out) {
            return self.is_free(out).then_some(out);
        }
        let v = ends(self.mesh, h)[1];
        self.leaving_from(v).iter().map(|&(_, h)| h).find(|&h| self.is_free(h))
    }

    fn topology_size(&self) -> usize {
        3 * self.mesh.triangles().len()
    }
}

/// Parts a chain of points into simple loops at the points it passes again;
/// what is left over is an open chain.
fn part(points: Vec<u32>, chains: &mut BoundaryChains) {
    let mut order: Vec<u32> = points.clone();
    order.sort_unstable();
    order.dedup();
    let mut seen = vec![usize::MAX; order.len()];
    let place = |v: u32| order.binary_search(&v).unwrap_or(0);
    let mut stack: Vec<u32> = Vec::new();
    for v in points {
        let before = seen[place(v)];
        if before == usize::MAX {
            seen[place(v)] = stack.len();
            stack.push(v);
            continue;
        }
        for &w in &stack[before + 1..] {
            seen[place(w)] = usize::MAX;
        }
        chains.loops.push(stack[before..].to_vec());
        stack.truncate(before + 1);
    }
    if stack.len() > 1 {
        chains.open.push(stack);
    }
}

/// Points whose triangles form more than one fan, rising: surfaces that touch
/// there without sharing an edge. Points on edges that are not manifold count
/// where the pieces round them do not all hang together by twinned edges.
pub fn pinched_points(mesh: &Mesh, topology: &Topology, around: &VertexTriangles) -> Vec<u32> {
    // Where a triangle names a point twice, walking round it proves nothing.
    let plain = topology.collapsed().is_empty();
    (0..mesh.points().len() as u32)
        .into_par_iter()
        .filter(|&v| {
            let sound = plain && is_one_fan(mesh, topology, around.of(v), v);
            !sound && fans(mesh, topology, around, v) > 1
        })
        .collect()
}

/// Whether a walk round `v` from the first of its triangles, both ways, passes
/// all of them.
fn is_one_fan(mesh: &Mesh, topology: &Topology, triangles: &[u32], v: u32) -> bool {
    let Some(&first) = triangles.first() else { return true };
    let corner = mesh.triangles()[first as usize].iter().position(|&p| p == v);
    let Some(corner) = corner else { return false };
    let start = 3 * first + corner as u32;
    let mut passed = 1;
    let mut from = start;
    loop {
        from = topology.twin(previous(from));
        if from == start {
            return passed == triangles.len();
        }
        if from == NONE {
            break;
        }
        passed += 1;
    }
    let mut from = start;
    loop {
        let twin = topology.twin(from);
        if twin == NONE {
            return passed == triangles.len();
        }
        from = next(twin);
        passed += 1;
    }
}

/// How many fans the triangles at `v` form.
fn fans(mesh: &Mesh, topology: &Topology, around: &VertexTriangles, v: u32) -> usize {
    let triangles = around.of(v);
    let mut seen = vec![false; triangles.len()];
    let mut count = 0;
    for seed in 0..triangles.len() {
        if seen[seed] {
            continue;
        }
        count += 1;
        let mut waiting = vec![triangles[seed]];
        seen[seed] = true;
        while let Some(t) = waiting.pop() {
            for k in (0..3).filter(|&k| mesh.triangles()[t as usize][k as usize] == v) {
                for h in [3 * t + k, previous(3 * t + k)] {
                    let Some(n) = topology.across(h) else { continue };
                    if let Ok(place) = triangles.binary_search(&n)
                        && !seen[place]
                    {
                        seen[place] = true;
                        waiting.push(n);
                    }
                }
            }
        }
    }
    count
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::topology::vertex_triangles;
    use glam::DVec3;

    fn check(points: usize, triangles: &[[u32; 3]], loops: &[&[u32]]) {
        let points = (0..points).map(|i| DVec3::splat(i as f64)).collect();
        let mesh = Mesh::new(points, triangles.to_vec()).unwrap();
        let topology = Topology::of(&mesh);
        let chains = boundary_chains(&mesh, &topology);
        assert_eq!(chains.loops, loops);
        assert!(chains.open.is_empty());
    }

    #[test]
    fn one_triangle_is_one_loop() {
        check(3, &[[0, 1, 2]], &[&[0, 1, 2]]);
    }

    #[test]
    fn triangles_that_touch_at_a_point_keep_a_loop_each() {
        check(5, &[[0, 1, 2], [0, 3, 4]], &[&[0, 1, 2], &[0, 3, 4]]);
    }

    #[test]
    fn three_triangles_round_a_hole_make_an_inner_loop_and_an_outer_one() {
        // Corner triangles of a big triangle 0 2 4 with mid points 1 3 5: they
        // touch at the mid points, so the outline passes each of them twice.
        let triangles = [[0, 1, 5], [1, 2, 3], [5, 3, 4]];
        let points = (0..6).map(|i| DVec3::splat(f64::from(i))).collect();
        let mesh = Mesh::new(points, triangles.to_vec()).unwrap();
        let topology = Topology::of(&mesh);
        let loops = boundary_loops(&mesh, &topology);
        assert_eq!(loops.iter().map(Vec::len).sum::<usize>(), 9);
        assert_eq!(pinched_points(&mesh, &topology, &vertex_triangles(&mesh)), vec![1, 3, 5]);
    }

    #[test]
    fn two_holes_that_touch_are_two_loops() {
        // A fan of two quads' outlines pinched at point 0: the sheet hangs
        // together round both holes.
        //  ring of triangles round hole A (0 1 2) and hole B (0 3 4).
        let triangles = [
            [1, 0, 5],
            [2, 1, 5],
            [2, 5, 6],
            [0, 2, 6],
            [3, 0, 6],
            [4, 3, 6],
            [4, 6, 5],
            [0, 4, 5],
        ];
        let points = (0..7).map(|i| DVec3::splat(f64::from(i))).collect();
        let mesh = Mesh::new(points, triangles.to_vec()).unwrap();
        let topology = Topology::of(&mesh);
        topology.check(&mesh).unwrap();
        let mut loops = boundary_loops(&mesh, &topology);
        for points in &mut loops {
            points.sort_unstable();
        }
        loops.sort();
        assert_eq!(loops, vec![vec![0, 1, 2], vec![0, 3, 4]]);
    }

    #[test]
    fn an_edge_of_three_triangles_leaves_no_endless_walk() {
        let triangles = [[0, 1, 2], [1, 0, 3], [0, 1, 4]];
        let points = (0..5).map(|i| DVec3::splat(f64::from(i))).collect();
        let mesh = Mesh::new(points, triangles.to_vec()).unwrap();
        let chains = boundary_chains(&mesh, &Topology::of(&mesh));
        let total: usize = chains.loops.iter().map(Vec::len).sum::<usize>()
            + chains.open.iter().map(|chain| chain.len() - 1).sum::<usize>();
        assert_eq!(total, 6);
    }

    #[test]
    fn the_quick_walk_agrees_with_the_plain_count_of_fans() {
        let mut state = 3_u64;
        let mut random = |below: u64| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            ((state >> 33) % below) as u32
        };
        let (mut one, mut more) = (0, 0);
        for _ in 0..400 {
            let triangles: Vec<[u32; 3]> = (0..1 + random(14))
                .map(|_| [random(7), random(7), random(7)])
                .filter(|[a, b, c]| a != b && b != c && c != a)
                .collect();
            let points = (0..7).map(|i| DVec3::splat(f64::from(i))).collect();
            let mesh = Mesh::new(points, triangles).unwrap();
            let topology = Topology::of(&mesh);
            let around = vertex_triangles(&mesh);
            let pinched = pinched_points(&mesh, &topology, &around);
            for v in 0..7 {
                let fans = fans(&mesh, &topology, &around, v);
                assert_eq!(pinched.contains(&v), fans > 1, "{v} of {:?}", mesh.triangles());
                if is_one_fan(&mesh, &topology, around.of(v), v) {
                    assert!(fans <= 1);
                    one += 1;
                } else {
                    more += 1;
                }
            }
        }
        assert!(one > 200 && more > 200, "{one} {more}");
    }
}
