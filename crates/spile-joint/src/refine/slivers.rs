//! The last slivers at a rim, taken away.
//!
//! What leaves from the rim has its edges, and a triangle there that is all but a line
//! has no slope of its own: a seam over it cannot be smooth. The remesher leaves one
//! now and then, where cut and scan edges fell together or where old triangles stayed.

use std::collections::{BTreeMap, BTreeSet};

use spile_mesh::{Bvh, DVec3, Mesh, NONE};

/// A rim edge shorter than this share of the wanted edge length is taken away.
const SHORT: f64 = 0.3;

/// A triangle at the rim that is lower than this share of its longest edge is a sliver;
/// a proof asks for a tenth.
const FLAT: f64 = 0.17;

/// An edge shorter than this share of its triangle's longest makes it a needle.
const NEEDLE: f64 = 0.4;

/// A changed triangle may face away from what it replaces by an angle of this cosine at
/// most (60 degrees).
const LEAST_AGREEMENT: f64 = 0.5;

/// How often all are gone over.
const PASSES: usize = 4;

/// The mesh without slivers at the rim, and its rim; none if there was none that could be
/// taken away. The first `shared` points stay, and keep their index; `edge` is the
/// length wanted at the rim.
///
/// Short edges are collapsed and the longest edges of flat triangles turned, each only
/// where the worst triangle round it becomes better and none turns over, and of several
/// ways the one that moves the surface least. How far
/// that moves the surface is for the caller to measure.
pub(super) fn without_slivers(
    mesh: &Mesh,
    rim: &[u32],
    shared: usize,
    edge: f64,
) -> Option<(Mesh, Vec<u32>)> {
    let mut work = Work::new(mesh, rim, shared);
    let mut is_changed = false;
    for _ in 0..PASSES {
        let changes = work.pass(edge);
        is_changed |= changes > 0;
        if changes == 0 {
            break;
        }
    }
    is_changed.then(|| work.finished())?
}

struct Work {
    points: Vec<DVec3>,
    /// `NONE` three times for a triangle that is gone.
    triangles: Vec<[u32; 3]>,
    /// The triangles at each point.
    fans: Vec<Vec<u32>>,
    rim: Vec<u32>,
    shared: usize,
}

const GONE: [u32; 3] = [NONE; 3];

/// A change that makes the worst of its triangles better.
struct Change {
    /// The triangles with the corners that they get.
    now: Vec<(u32, [u32; 3])>,
    /// A point and the place that it gets.
    to: Option<(u32, DVec3)>,
    /// A point that goes.
    gone: Option<u32>,
    /// How far the surface moves by it, in samples.
    moves: f64,
}

impl Work {
    fn new(mesh: &Mesh, rim: &[u32], shared: usize) -> Self {
        let mut fans = vec![Vec::new(); mesh.points().len()];
        for (t, corners) in mesh.triangles().iter().enumerate() {
            corners.iter().for_each(|&v| fans[v as usize].push(t as u32));
        }
        let (points, triangles) = (mesh.points().to_vec(), mesh.triangles().to_vec());
        Self { points, triangles, fans, rim: rim.to_vec(), shared }
    }

    /// Goes over the rim's edges and triangles once; says how many changes it made.
    fn pass(&mut self, edge: f64) -> usize {
        let mut changes = 0;
        let rim = self.rim.clone();
        for (i, &a) in rim.iter().enumerate() {
            let b = rim[(i + 1) % rim.len()];
            let is_there = self.rim.contains(&a) && self.rim.contains(&b);
            if is_there && self.length(a, b) < SHORT * edge {
                let ways = self.collapses(a, b);
                changes += usize::from(self.make_best(ways));
            }
        }
        let at_rim: BTreeSet<u32> =
            self.rim.iter().flat_map(|&v| self.fans[v as usize].iter().copied()).collect();
        for t in at_rim {
            let ways = self.ways_out(t);
            changes += usize::from(self.make_best(ways));
        }
        changes
    }

    /// Makes the change that moves the surface least.
    fn make_best(&mut self, ways: Vec<Change>) -> bool {
        let best = ways.into_iter().min_by(|a, b| a.moves.total_cmp(&b.moves));
        let Some(Change { now, to, gone, .. }) = best else { return false };
        if let Some((v, at)) = to {
            self.points[v as usize] = at;
        }
        self.set(&now);
        self.rim.retain(|&v| Some(v) != gone);
        true
    }

    /// What would take a triangle away, or turn its longest edge, if it is a sliver.
    fn ways_out(&self, t: u32) -> Vec<Change> {
        let corners = self.triangles[t as usize];
        if corners == GONE || height_share(self.at(corners)) >= FLAT {
            return Vec::new();
        }
        let mut edges = [0, 1, 2].map(|k| [corners[k], corners[(k + 1) % 3]]);
        edges.sort_by(|p, q| self.length(p[0], p[1]).total_cmp(&self.length(q[0], q[1])));
        let [[a, b], _, [c, d]] = edges;
        let is_needle = self.length(a, b) < NEEDLE * self.length(c, d);
        let mut ways = if is_needle { self.collapses(a, b) } else { Vec::new() };
        ways.extend(self.turn(c, d));
        ways
    }

    /// The ways to make one point of two: at either, or, of two at the rim, between them.
    fn collapses(&self, a: u32, b: u32) -> Vec<Change> {
        let middle = self.points[a as usize].midpoint(self.points[b as usize]);
        let both = [a, b].iter().all(|v| self.rim.contains(v));
        let between = if both { self.collapse(b, a, Some(middle)) } else { None };
        let onto = [self.collapse(b, a, None), self.collapse(a, b, None)];
        onto.into_iter().chain([between]).flatten().collect()
    }

    /// Puts `gone` onto `stays`, and that `to` a place of its own if one is given, if the
    /// surface remains one and becomes better.
    fn collapse(&self, gone: u32, stays: u32, to: Option<DVec3>) -> Option<Change> {
        let is_shared = |v: u32| (v as usize) < self.shared;
        if is_shared(gone) || (to.is_some() && is_shared(stays)) {
            return None;
        }
        let place = self.rim.iter().position(|&v| v == gone);
        if let Some(place) = place {
            // Along the rim only, and never into the last few edges of it.
            let n = self.rim.len();
            let beside = [self.rim[(place + 1) % n], self.rim[(place + n - 1) % n]];
            if !beside.contains(&stays) || n < 8 {
                return None;
            }
        }
        let between = self.between(gone, stays).len();
        let of_stays: BTreeSet<u32> = self.neighbours(stays).collect();
        let common: BTreeSet<u32> =
            self.neighbours(gone).filter(|v| of_stays.contains(v)).collect();
        if between != if place.is_some() { 1 } else { 2 } || common.len() != between {
            return None;
        }
        let mut fan: BTreeSet<u32> = self.fans[gone as usize].iter().copied().collect();
        if to.is_some() {
            fan.extend(&self.fans[stays as usize]);
        }
        let put = |c: [u32; 3]| c.map(|v| if v == gone { stays } else { v });
        let now = fan
            .into_iter()
            .map(|t| (t, self.triangles[t as usize]))
            .map(|(t, c)| (t, if c.contains(&gone) && c.contains(&stays) { GONE } else { put(c) }))
            .collect();
        self.change(now, to.map(|at| (stays, at)), Some(gone))
    }

    /// Turns the edge between `a` and `b`, if that makes better triangles.
    fn turn(&self, a: u32, b: u32) -> Option<Change> {
        let [t, u] = self.between(a, b)[..] else { return None };
        let apex = |t: u32| self.triangles[t as usize].into_iter().find(|&v| v != a && v != b);
        let (c, d) = apex(t).zip(apex(u))?;
        if c == d || self.neighbours(c).any(|v| v == d) {
            return None;
        }
        // In `t` the edge's points follow each other one way, in `u` the other.
        let swapped = |t: u32, from: u32, to: u32| {
            self.triangles[t as usize].map(|v| if v == from { to } else { v })
        };
        self.change(vec![(t, swapped(t, a, d)), (u, swapped(u, b, c))], None, None)
    }

    /// The change, if all triangles would be better than the worst of them was, and none
    /// turned over.
    fn change(
        &self,
        now: Vec<(u32, [u32; 3])>,
        to: Option<(u32, DVec3)>,
        gone: Option<u32>,
    ) -> Option<Change> {
        let old: Vec<[DVec3; 3]> =
            now.iter().map(|&(t, _)| self.at(self.triangles[t as usize])).collect();
        let worst = old.iter().copied().map(height_share).fold(f64::INFINITY, f64::min);
        let facing = old.iter().copied().map(area_normal).sum::<DVec3>().normalize_or_zero();
        let at = |v: u32| match to {
            Some((moved, at)) if moved == v => at,
            _ => self.points[v as usize],
        };
        let new: Vec<[DVec3; 3]> =
            now.iter().filter(|(_, c)| *c != GONE).map(|(_, c)| c.map(at)).collect();
        let is_better = |&at: &[DVec3; 3]| {
            let n = area_normal(at).normalize_or_zero();
            height_share(at) > worst && n.dot(facing) > LEAST_AGREEMENT
        };
        if !new.iter().all(is_better) {
            return None;
        }
        let moves = farthest_sample(&old, &new).max(farthest_sample(&new, &old));
        Some(Change { now, to, gone, moves })
    }

    fn set(&mut self, now: &[(u32, [u32; 3])]) {
        for &(t, corners) in now {
            for v in self.triangles[t as usize] {
                self.fans[v as usize].retain(|&u| u != t);
            }
            self.triangles[t as usize] = corners;
            if corners != GONE {
                corners.iter().for_each(|&v| self.fans[v as usize].push(t));
            }
        }
    }

    /// The triangles that have both points.
    fn between(&self, a: u32, b: u32) -> Vec<u32> {
        let has_b = |t: &u32| self.triangles[*t as usize].contains(&b);
        self.fans[a as usize].iter().copied().filter(has_b).collect()
    }

    fn neighbours(&self, v: u32) -> impl Iterator<Item = u32> + '_ {
        let corners = self.fans[v as usize].iter().flat_map(|&t| self.triangles[t as usize]);
        corners.filter(move |&w| w != v)
    }

    fn length(&self, a: u32, b: u32) -> f64 {
        self.points[a as usize].distance(self.points[b as usize])
    }

    fn at(&self, corners: [u32; 3]) -> [DVec3; 3] {
        corners.map(|v| self.points[v as usize])
    }

    /// What came of it; points that no triangle has are left out.
    fn finished(self) -> Option<(Mesh, Vec<u32>)> {
        let triangles: Vec<[u32; 3]> = self.triangles.into_iter().filter(|c| *c != GONE).collect();
        let used: BTreeSet<u32> =
            (0..self.shared as u32).chain(triangles.iter().flatten().copied()).collect();
        let place: BTreeMap<u32, u32> = used.iter().copied().zip(0..).collect();
        let points = used.iter().map(|&v| self.points[v as usize]).collect();
        let triangles = triangles.into_iter().map(|c| c.map(|v| place[&v])).collect();
        let rim = self.rim.iter().map(|v| place[v]).collect();
        Some((Mesh::new(points, triangles).ok()?, rim))
    }
}

fn area_normal([a, b, c]: [DVec3; 3]) -> DVec3 {
    (b - a).cross(c - a)
}

/// How far corners and middles of edges of some triangles lie from others at most.
fn farthest_sample(from: &[[DVec3; 3]], to: &[[DVec3; 3]]) -> f64 {
    let corners = to.iter().flatten().copied().collect();
    let each = (0..to.len() as u32).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect();
    let to = Bvh::build(&Mesh::new(corners, each).unwrap_or_default());
    let middles = |&[a, b, c]: &[DVec3; 3]| [a.midpoint(b), b.midpoint(c), c.midpoint(a)];
    let samples = from.iter().flatten().copied().chain(from.iter().flat_map(middles));
    samples.map(|p| to.closest(p).map_or(0.0, |c| c.distance)).fold(0.0, f64::max)
}

/// The least height of a triangle over its longest edge; 0 where there is no triangle.
fn height_share([a, b, c]: [DVec3; 3]) -> f64 {
    let longest = a.distance_squared(b).max(b.distance_squared(c)).max(c.distance_squared(a));
    if longest > 0.0 { area_normal([a, b, c]).length() / longest } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A strip of two rows of squares over a rim of `n` points, closed round a cylinder
    /// of radius 5, the point `moved` of the rim shifted along it by a share of an edge.
    fn strip(moved: usize, by: f64) -> (Mesh, Vec<u32>) {
        let n = 24usize;
        let point = |row: usize, j: usize| {
            let shift = if row == 2 && j == moved { by } else { 0.0 };
            let a = std::f64::consts::TAU * (j as f64 + shift) / n as f64;
            DVec3::new(5.0 * a.cos(), 5.0 * a.sin(), row as f64)
        };
        let points = (0..3).flat_map(|row| (0..n).map(move |j| point(row, j))).collect();
        let cells = (0..2 * n).map(|c| (c / n * n, c % n));
        let triangles = cells.flat_map(|(row, j)| {
            let [a, b, c, d] =
                [row + j, row + (j + 1) % n, row + n + (j + 1) % n, row + n + j].map(|v| v as u32);
            [[a, b, c], [a, c, d]]
        });
        let rim = (2 * n as u32..3 * n as u32).collect();
        (Mesh::new(points, triangles.collect()).unwrap(), rim)
    }

    fn worst(mesh: &Mesh) -> f64 {
        let shares = (0..mesh.triangles().len()).map(|t| height_share(mesh.corners(t)));
        shares.fold(f64::INFINITY, f64::min)
    }

    #[test]
    fn two_points_of_a_rim_that_all_but_meet_become_one() {
        let (mesh, rim) = strip(7, 0.97);
        assert!(worst(&mesh) < 0.05);
        let (mended, short) = without_slivers(&mesh, &rim, 24, 1.3).unwrap();
        assert_eq!(short.len(), rim.len() - 1);
        assert!(worst(&mended) > FLAT, "{}", worst(&mended));
        assert_eq!(mended.points()[..24], mesh.points()[..24]);
        let topology = spile_mesh::Topology::of(&mended);
        assert!(topology.nonmanifold_edges().is_empty() && topology.misoriented_edges().is_empty());
        assert_eq!(spile_mesh::boundary_loops(&mended, &topology).len(), 2);
    }

    #[test]
    fn what_is_sound_stays() {
        let (mesh, rim) = strip(7, 0.2);
        assert!(without_slivers(&mesh, &rim, 24, 1.3).is_none());
    }

    #[test]
    fn a_flat_triangle_gets_its_longest_edge_turned() {
        // Four points: the lower triangle's apex lies all but on the edge from 0 to 1.
        let points = [(0.0, 0.0), (2.0, 0.0), (1.0, 0.05), (1.0, -1.0)];
        let points: Vec<DVec3> = points.iter().map(|&(x, y)| DVec3::new(x, y, 0.0)).collect();
        let mesh = Mesh::new(points, vec![[0, 1, 2], [1, 0, 3]]).unwrap();
        let (mended, _) = without_slivers(&mesh, &[2], 4, 1.0).unwrap();
        assert!(worst(&mended) > 0.4);
        assert!((0..2).all(|t| mended.area_normal(t).z > 0.0));
    }
}
