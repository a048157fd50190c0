//! The last slivers at a rim, taken away.
//!
//! What leaves from the rim has its edges, and a triangle there that is all but a line
//! has no slope of its own: a seam over it cannot be smooth. The remesher leaves one
//! now and then, where cut and scan edges fell together or where old triangles stayed.

mod changes;

use std::collections::{BTreeMap, BTreeSet};

use spile_mesh::{Bvh, DVec3, Mesh, NONE};

use changes::{Change, height_share};

/// A rim edge shorter than this share of the wanted edge length is taken away.
const SHORT: f64 = 0.3;

/// A triangle at the rim that is lower than this share of its longest edge is a sliver;
/// a proof asks for a tenth.
const FLAT: f64 = 0.17;

/// An edge shorter than this share of its triangle's longest makes it a needle.
const NEEDLE: f64 = 0.4;

/// How often all are gone over.
const PASSES: usize = 4;

/// How many edges at most are turned to make room for one change.
const TURNS: usize = 6;

/// The mesh without slivers at the rim, and its rim; none if there was none that could be
/// taken away. The first `shared` points stay, and keep their index; `edge` is the
/// length wanted at the rim.
///
/// Short edges are collapsed, the longest edges of flat triangles turned, and flat
/// triangles on the rim left out, each only
/// where the worst triangle round it becomes better and none turns over, and of several
/// ways the one that moves the surface least. Where one change alone does not do that,
/// it may with edges round it turned as well. No change leads further than `most` from
/// `scan`, or moves the surface by more, in samples; the whole is for the caller to measure.
pub(super) fn without_slivers(
    mesh: &Mesh,
    rim: &[u32],
    shared: usize,
    edge: f64,
    (scan, most): (&Bvh, f64),
) -> Option<(Mesh, Vec<u32>)> {
    let mut work = Work::new(mesh, rim, shared, (scan, most));
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

struct Work<'a> {
    points: Vec<DVec3>,
    /// `NONE` three times for a triangle that is gone.
    triangles: Vec<[u32; 3]>,
    /// The triangles at each point.
    fans: Vec<Vec<u32>>,
    rim: Vec<u32>,
    is_on_rim: Vec<bool>,
    shared: usize,
    /// Where the surface was, and how far from there it may come.
    near: (&'a Bvh, f64),
}

const GONE: [u32; 3] = [NONE; 3];

impl<'a> Work<'a> {
    fn new(mesh: &Mesh, rim: &[u32], shared: usize, near: (&'a Bvh, f64)) -> Self {
        let mut fans = vec![Vec::new(); mesh.points().len()];
        for (t, corners) in mesh.triangles().iter().enumerate() {
            corners.iter().for_each(|&v| fans[v as usize].push(t as u32));
        }
        let (points, triangles) = (mesh.points().to_vec(), mesh.triangles().to_vec());
        let mut is_on_rim = vec![false; points.len()];
        rim.iter().for_each(|&v| is_on_rim[v as usize] = true);
        Self { points, triangles, fans, rim: rim.to_vec(), is_on_rim, shared, near }
    }

    /// Goes over the rim's edges and triangles once; says how many changes it made.
    fn pass(&mut self, edge: f64) -> usize {
        let mut changes = 0;
        let rim = self.rim.clone();
        for (i, &a) in rim.iter().enumerate() {
            let b = rim[(i + 1) % rim.len()];
            let is_there = self.is_on_rim[a as usize] && self.is_on_rim[b as usize];
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

    /// Makes the change that moves the surface least of those that make all triangles
    /// better than the worst of them was; if none does alone, the first that does with
    /// edges turned round it.
    fn make_best(&mut self, ways: Vec<Change>) -> bool {
        let better = ways.iter().enumerate().filter(|(_, c)| c.is_better);
        if let Some((k, _)) = better.min_by(|(_, a), (_, b)| a.moves.total_cmp(&b.moves)) {
            self.make(&ways[k]);
            return true;
        }
        ways.iter().any(|change| self.make_with_turns(change))
    }

    fn make(&mut self, change: &Change) {
        if let Some((v, at)) = change.to {
            self.points[v as usize] = at;
        }
        self.set(&change.now);
        if let Some(gone) = change.gone {
            self.rim.retain(|&v| v != gone);
            self.is_on_rim[gone as usize] = false;
        }
        if let Some((v, after)) = change.to_rim {
            let place = self.rim.iter().position(|&w| w == after).unwrap_or(0);
            self.rim.insert(place + 1, v);
            self.is_on_rim[v as usize] = true;
        }
    }

    /// Makes the change and then turns edges of the worst triangle near it, as long as
    /// any is as bad as what there was; if that does not help, nothing is changed.
    fn make_with_turns(&mut self, change: &Change) -> bool {
        let before = (self.rim.clone(), self.is_on_rim.clone());
        let at_before = change.to.map(|(v, _)| (v, self.points[v as usize]));
        let as_now = |w: &Self, of: &Change| -> Vec<(u32, [u32; 3])> {
            of.now.iter().map(|&(t, _)| (t, w.triangles[t as usize])).collect()
        };
        let mut was = vec![as_now(self, change)];
        let mut near: BTreeSet<u32> = change.now.iter().map(|(t, _)| *t).collect();
        self.make(change);
        for _ in 0..TURNS {
            let share = |w: &Self, t: u32| height_share(w.at(w.triangles[t as usize]));
            let there = near.iter().copied().filter(|&t| self.triangles[t as usize] != GONE);
            let Some(worst) = there.min_by(|&t, &u| share(self, t).total_cmp(&share(self, u)))
            else {
                break;
            };
            if share(self, worst) > change.worst_before {
                return true;
            }
            let [a, b, c] = self.triangles[worst as usize];
            let turns = [[a, b], [b, c], [c, a]].into_iter().filter_map(|[a, b]| self.turn(a, b));
            let best = turns
                .filter(|turn| turn.is_better)
                .max_by(|p, q| p.worst_after.total_cmp(&q.worst_after));
            let Some(turn) = best else { break };
            near.extend(turn.now.iter().map(|(t, _)| *t));
            was.push(as_now(self, &turn));
            self.make(&turn);
        }
        was.iter().rev().for_each(|triangles| self.set(triangles));
        if let Some((v, at)) = at_before {
            self.points[v as usize] = at;
        }
        (self.rim, self.is_on_rim) = before;
        false
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
        ways.extend(self.leave_out(t, [c, d]));
        ways
    }

    /// The ways to make one point of two: at either, or, of two at the rim, between them.
    fn collapses(&self, a: u32, b: u32) -> Vec<Change> {
        let middle = self.points[a as usize].midpoint(self.points[b as usize]);
        let both = [a, b].iter().all(|&v| self.is_on_rim[v as usize]);
        let between = if both { self.collapse(b, a, Some(middle)) } else { None };
        let onto = [self.collapse(b, a, None), self.collapse(a, b, None)];
        onto.into_iter().chain([between]).flatten().collect()
    }

    fn set(&mut self, now: &[(u32, [u32; 3])]) {
        for &(t, corners) in now {
            for v in self.triangles[t as usize] {
                if v != NONE {
                    self.fans[v as usize].retain(|&u| u != t);
                }
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

#[cfg(test)]
mod tests;
