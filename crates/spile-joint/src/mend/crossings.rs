//! Places where the surface passes through itself.

use std::collections::BTreeMap;

use spile_case::{Mend, MendKind};
use spile_mesh::{Bounds3, DVec3, Mesh, self_intersections, triangles_intersect};

use super::ball_round;
use super::refill::{Refill, Spots};
use super::work::{Changes, Spot, Work};
use crate::examine::FindingKind;

/// More triangles than these that meet in one spot are no small fold.
const MOST_TRIANGLES: usize = 64;
/// All that a fold's mend takes part in is smaller across than so many times the
/// hole limit.
pub(super) const SPOT_OF_HOLE: f64 = 3.0;
/// A mend of a fold changes the surface by less than this share of the hole
/// limit; the median edge, if the limit is left out. Ours: a fold lies on the
/// surface, and what stands off it is somebody's shape.
const CHANGE_OF_HOLE: f64 = 0.5;

/// Takes out folds and refills them, where a few triangles of one sheet meet in a
/// spot smaller than the hole limit; refuses every other crossing.
///
/// Of all sets tried (two neighbours, the triangles round one or two points, all
/// that meet, those and the ring round them) the smallest is taken of which every
/// pair that meets loses one and whose refill meets nothing; among those as small
/// the one that changes least.
pub(super) fn mend_crossings(work: &mut Work) {
    let pairs = crossings(&work.mesh);
    if pairs.is_empty() {
        return;
    }
    let spots = Spots::of(work);
    let mut taken: Vec<Bounds3> = Vec::new();
    let mut changes = Changes::default();
    for crossing in clusters(&pairs) {
        match crossing.refill(&spots, work.hole_max) {
            Ok(refill) => {
                let mut all = crossing.triangles.clone();
                all.extend(&refill.removed);
                let bounds = spots.box_of(&all);
                // One that is too near another waits for the next round.
                if !taken.iter().any(|other| other.touches(bounds)) {
                    taken.push(bounds);
                    note(work, &all, &refill);
                    changes.removed.extend(refill.removed);
                    changes.added.extend(refill.added);
                }
            }
            Err(why) => {
                let corners =
                    crossing.triangles.iter().flat_map(|&t| work.mesh.corners(t as usize));
                work.refuse(FindingKind::SelfIntersection, ball_round(corners), why);
            }
        }
    }
    work.apply(changes);
}

/// The pairs of triangles that meet, where corners at one place count as one.
///
/// Points that were parted, or never joined, keep their place: there is no
/// crossing once a file was written from them and read.
pub(super) fn crossings(mesh: &Mesh) -> Vec<(u32, u32)> {
    let mut pairs = self_intersections(mesh);
    pairs.retain(|&(s, t)| {
        let (s, t) = (mesh.corners(s as usize), mesh.corners(t as usize));
        let shared: Vec<(u8, u8)> = (0..3)
            .flat_map(|i| (0..3).map(move |j| (i, j)))
            .filter(|&(i, j)| s[usize::from(i)] == t[usize::from(j)])
            .collect();
        triangles_intersect(s, t, &shared)
    });
    pairs
}

fn note(work: &mut Work, all: &[u32], refill: &Refill) {
    let before = refill.removed.iter().map(|&t| work.mesh.corners(t as usize)).collect();
    let after = refill.added.iter().map(|t| t.map(|v| work.point(v))).collect();
    let ball = work.ball(all, &refill.added);
    work.list(Mend { kind: MendKind::SelfIntersection, ball }, 0, Spot { before, after });
}

/// Pairs that hang together by their triangles.
struct Crossing {
    pairs: Vec<(u32, u32)>,
    /// The triangles of the pairs, sorted.
    triangles: Vec<u32>,
}

fn clusters(pairs: &[(u32, u32)]) -> Vec<Crossing> {
    let mut partners: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for &(s, t) in pairs {
        partners.entry(s).or_default().push(t);
        partners.entry(t).or_default().push(s);
    }
    let mut owner: BTreeMap<u32, usize> = BTreeMap::new();
    let mut all: Vec<Crossing> = Vec::new();
    for &first in partners.keys() {
        if owner.contains_key(&first) {
            continue;
        }
        let mut open = vec![first];
        let mut triangles = Vec::new();
        while let Some(t) = open.pop() {
            if owner.insert(t, all.len()).is_none() {
                triangles.push(t);
                open.extend(partners.get(&t).into_iter().flatten());
            }
        }
        triangles.sort_unstable();
        all.push(Crossing { pairs: Vec::new(), triangles });
    }
    for &pair in pairs {
        all[owner[&pair.0]].pairs.push(pair);
    }
    all
}

impl Crossing {
    /// The least refill after which none of the pairs meets; or why there is none.
    fn refill(&self, spots: &Spots, hole_max: f64) -> Result<Refill, String> {
        let extent = self.extent(&spots.mesh);
        if extent.is_nan() || extent >= hole_max {
            return Err(format!(
                "the surface passes through itself over {extent:.3}, no less than the hole limit \
                 {hole_max:.3}; {BY_HAND}"
            ));
        }
        let count = self.triangles.len();
        if count > MOST_TRIANGLES {
            return Err(format!(
                "{count} triangles meet there, more than a small fold has; {BY_HAND}"
            ));
        }
        let near = ring_of_triangles(spots, &self.triangles);
        if !spots.hang_together(&self.triangles, &near) {
            return Err(format!("two sheets pass through each other; {BY_HAND}"));
        }
        let sets = self.sets(spots, near, hole_max);
        for same_size in sets.chunk_by(|a, b| a.len() == b.len()) {
            let best = same_size
                .iter()
                .filter_map(|set| spots.refill(set))
                .filter(|refill| refill.change < CHANGE_OF_HOLE * hole_max)
                .min_by(|a, b| a.change.total_cmp(&b.change));
            if let Some(best) = best {
                return Ok(best);
            }
        }
        Err(format!("no few triangles over the same points take its place; {BY_HAND}"))
    }

    /// How large the spot is where the triangles meet: across a box that holds it.
    fn extent(&self, mesh: &Mesh) -> f64 {
        let meet =
            |&(s, t): &(u32, u32)| meeting(mesh.corners(s as usize), mesh.corners(t as usize));
        self.pairs.iter().map(meet).fold(Bounds3::EMPTY, Bounds3::union).diagonal()
    }

    /// Sets of triangles to take out, the smallest first: of each pair one is in.
    fn sets(&self, spots: &Spots, near: Vec<u32>, hole_max: f64) -> Vec<Vec<u32>> {
        let mut sets = vec![self.triangles.clone(), near];
        let mut edges = Vec::new();
        for &t in &self.triangles {
            sets.extend(spots.beside(t).map(|other| vec![t, other]));
            let [a, b, c] = spots.mesh.triangles()[t as usize];
            edges.extend([[a, a], [b, b], [c, c], [a, b], [b, c], [c, a]]);
        }
        for [a, b] in edges {
            sets.push([spots.around.of(a), spots.around.of(b)].concat());
        }
        for set in &mut sets {
            set.sort_unstable();
            set.dedup();
        }
        sets.retain(|set| {
            let has = |t: u32| set.binary_search(&t).is_ok();
            let all = [self.triangles.as_slice(), set].concat();
            self.pairs.iter().all(|&(s, t)| has(s) || has(t))
                && spots.box_of(&all).diagonal() < SPOT_OF_HOLE * hole_max
        });
        sets.sort_unstable_by(|a, b| a.len().cmp(&b.len()).then_with(|| a.cmp(b)));
        sets.dedup();
        sets
    }
}

/// A box round where two triangles meet: what of either lies in the other's box
/// and, up to rounding, on both sides of its plane.
fn meeting(s: [DVec3; 3], t: [DVec3; 3]) -> Bounds3 {
    let (of_s, of_t) = (Bounds3::of(s), Bounds3::of(t));
    let common = Bounds3 { min: of_s.min.max(of_t.min), max: of_s.max.min(of_t.max) };
    let cuts: Vec<DVec3> = [(s, t), (t, s)].iter().flat_map(|&(s, t)| pierced(s, t)).collect();
    if cuts.len() < 4 {
        // In one plane, or by a corner only.
        return common;
    }
    let within = cuts.iter().map(|p| p.clamp(common.min, common.max));
    Bounds3::of(within)
}

/// Where edges of `s` cross the plane of `t`.
fn pierced(s: [DVec3; 3], t: [DVec3; 3]) -> Vec<DVec3> {
    let normal = (t[1] - t[0]).cross(t[2] - t[0]);
    let side = s.map(|p| normal.dot(p - t[0]));
    (0..3)
        .map(|k| (k, (k + 1) % 3))
        .filter(|&(a, b)| (side[a] < 0.0) != (side[b] < 0.0))
        .map(|(a, b)| s[a].lerp(s[b], side[a] / (side[a] - side[b])))
        .collect()
}

/// What is left to do about a crossing that stays.
const BY_HAND: &str = "rescan, repair the spot by hand, or name it under `inherit`";

/// These triangles and all that share a point with them, sorted.
fn ring_of_triangles(spots: &Spots, triangles: &[u32]) -> Vec<u32> {
    let mut all: Vec<u32> = triangles
        .iter()
        .flat_map(|&t| spots.mesh.triangles()[t as usize])
        .flat_map(|v| spots.around.of(v).iter().copied())
        .collect();
    all.sort_unstable();
    all.dedup();
    all
}
