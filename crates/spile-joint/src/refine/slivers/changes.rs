//! Single changes of a mesh near a rim, and what each does to its triangles.

use std::collections::BTreeSet;

use spile_mesh::{Bvh, DVec3, Mesh};

use super::{GONE, Work};

/// A changed triangle may face away from what it replaces by an angle of this cosine at
/// most (60 degrees).
const LEAST_AGREEMENT: f64 = 0.5;

/// A rim of no more points than this loses none.
const FEWEST: usize = 8;

/// A change that turns no triangle over and stays near the surface.
pub(super) struct Change {
    /// The triangles with the corners that they get.
    pub now: Vec<(u32, [u32; 3])>,
    /// A point and the place that it gets.
    pub to: Option<(u32, DVec3)>,
    /// A point that goes.
    pub gone: Option<u32>,
    /// A point that comes to the rim, and the one of the rim that it comes after.
    pub to_rim: Option<(u32, u32)>,
    /// How far the surface moves by it, in samples.
    pub moves: f64,
    /// Height share of the worst of its triangles, before and after.
    pub worst_before: f64,
    pub worst_after: f64,
    /// Whether all triangles are better than the worst of them was.
    pub is_better: bool,
}

impl Work<'_> {
    /// Puts `gone` onto `stays`, and that `to` a place of its own if one is given, if the
    /// surface remains one.
    pub(super) fn collapse(&self, gone: u32, stays: u32, to: Option<DVec3>) -> Option<Change> {
        let is_shared = |v: u32| (v as usize) < self.shared;
        if is_shared(gone) || (to.is_some() && is_shared(stays)) {
            return None;
        }
        let is_at_rim = self.is_on_rim[gone as usize];
        if is_at_rim {
            // Along the rim only, and never into the last few edges of it.
            let n = self.rim.len();
            let place = self.rim.iter().position(|&v| v == gone)?;
            let beside = [self.rim[(place + 1) % n], self.rim[(place + n - 1) % n]];
            if !beside.contains(&stays) || n < FEWEST {
                return None;
            }
        }
        let between = self.between(gone, stays).len();
        let of_stays: BTreeSet<u32> = self.neighbours(stays).collect();
        let common: BTreeSet<u32> =
            self.neighbours(gone).filter(|v| of_stays.contains(v)).collect();
        if between != if is_at_rim { 1 } else { 2 } || common.len() != between {
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
        self.change(now, to.map(|at| (stays, at)), Some(gone), None)
    }

    /// Turns the edge between `a` and `b`.
    pub(super) fn turn(&self, a: u32, b: u32) -> Option<Change> {
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
        self.change(vec![(t, swapped(t, a, d)), (u, swapped(u, b, c))], None, None, None)
    }

    /// Leaves triangle `t` out whose edge between `a` and `b` is the rim's, so that the rim
    /// runs through its third corner.
    pub(super) fn leave_out(&self, t: u32, [a, b]: [u32; 2]) -> Option<Change> {
        let apex = self.triangles[t as usize].into_iter().find(|&v| v != a && v != b)?;
        let is_free = apex as usize >= self.shared && !self.is_on_rim[apex as usize];
        if !is_free || self.between(a, b).len() != 1 {
            return None;
        }
        let n = self.rim.len();
        let place = self.rim.iter().position(|&v| v == a)?;
        let after = if self.rim[(place + 1) % n] == b {
            a
        } else if self.rim[(place + n - 1) % n] == b {
            b
        } else {
            return None;
        };
        // What stays beside it tells how far the surface comes to end from where it did.
        let beside = [a, b].into_iter().flat_map(|v| self.between(v, apex)).filter(|&u| u != t);
        let beside = beside.map(|u| (u, self.triangles[u as usize]));
        let now = [(t, GONE)].into_iter().chain(beside).collect();
        self.change(now, None, None, Some((apex, after)))
    }

    /// The change with what it does; none if it turns a triangle over or leads away from
    /// the surface.
    fn change(
        &self,
        now: Vec<(u32, [u32; 3])>,
        to: Option<(u32, DVec3)>,
        gone: Option<u32>,
        to_rim: Option<(u32, u32)>,
    ) -> Option<Change> {
        let old: Vec<[DVec3; 3]> =
            now.iter().map(|&(t, _)| self.at(self.triangles[t as usize])).collect();
        let at = |v: u32| match to {
            Some((moved, at)) if moved == v => at,
            _ => self.points[v as usize],
        };
        let new: Vec<[DVec3; 3]> =
            now.iter().filter(|(_, c)| *c != GONE).map(|(_, c)| c.map(at)).collect();
        let facing = old.iter().copied().map(area_normal).sum::<DVec3>().normalize_or_zero();
        let agrees =
            |&at: &[DVec3; 3]| area_normal(at).normalize_or_zero().dot(facing) > LEAST_AGREEMENT;
        let (scan, most) = self.near;
        let is_near = || new.iter().flat_map(samples).all(|p| scan.is_within(p, most));
        if new.is_empty() || !new.iter().all(agrees) || !is_near() {
            return None;
        }
        let moves = farthest_sample(&old, &new).max(farthest_sample(&new, &old));
        if moves > most {
            return None;
        }
        let worst =
            |of: &[[DVec3; 3]]| of.iter().copied().map(height_share).fold(f64::INFINITY, f64::min);
        let (worst_before, worst_after) = (worst(&old), worst(&new));
        let is_better = worst_after > worst_before;
        Some(Change { now, to, gone, to_rim, moves, worst_before, worst_after, is_better })
    }
}

fn area_normal([a, b, c]: [DVec3; 3]) -> DVec3 {
    (b - a).cross(c - a)
}

/// Corners and middles of edges.
fn samples(&[a, b, c]: &[DVec3; 3]) -> [DVec3; 6] {
    [a, b, c, a.midpoint(b), b.midpoint(c), c.midpoint(a)]
}

/// How far samples of some triangles lie from others at most.
fn farthest_sample(from: &[[DVec3; 3]], to: &[[DVec3; 3]]) -> f64 {
    let corners = to.iter().flatten().copied().collect();
    let each = (0..to.len() as u32).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect();
    let to = Bvh::build(&Mesh::new(corners, each).unwrap_or_default());
    let far = from.iter().flat_map(samples).map(|p| to.closest(p).map_or(0.0, |c| c.distance));
    far.fold(0.0, f64::max)
}

/// The least height of a triangle over its longest edge; 0 where there is no triangle.
pub(super) fn height_share([a, b, c]: [DVec3; 3]) -> f64 {
    let longest = a.distance_squared(b).max(b.distance_squared(c)).max(c.distance_squared(a));
    if longest > 0.0 { area_normal([a, b, c]).length() / longest } else { 0.0 }
}
