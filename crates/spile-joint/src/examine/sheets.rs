//! Sheets that are not the wall that matters: internal walls, doubled sheets
//! and overlapping shells.
//!
//! What is told is decided piece by piece: a piece hangs together by edges, and
//! edges of more than two triangles part it into patches. Open rims are closed
//! by a cap (a fan from the rim's middle) for counting only, so that inside and
//! outside of an open scan have a meaning too.

mod crossing;
mod doubled;
mod joined;
mod nested;
mod winding;

use spile_mesh::{Bounds3, Mesh, Topology, shells};

use super::FindingKind;
use crate::mend::CRUMB_AREA_SHARE;
use winding::Capped;

/// One sheet: what it is, and its triangles, rising.
pub(super) struct Sheet {
    pub(super) kind: FindingKind,
    pub(super) triangles: Vec<u32>,
}

/// All sheets of `mesh` that are not the wall that matters.
///
/// `meeting` are its intersecting pairs. Crumbs (small both against
/// `hole_max` and by area, as in mending) are not told here.
/// Cost: O(n log n) where boxes of pieces do not overlap en masse.
pub(super) fn all(
    mesh: &Mesh,
    connectivity: &Topology,
    meeting: &[(u32, u32)],
    hole_max: f64,
) -> Vec<Sheet> {
    let pieces = shells(mesh, connectivity);
    let doubled = doubled::sheets(mesh, connectivity);
    let mut is_doubled = vec![false; mesh.triangles().len()];
    doubled.iter().flatten().for_each(|&t| is_doubled[t as usize] = true);
    let mut told = told_as(FindingKind::DoubledSheet, doubled);

    let mut capped = Capped::of(mesh, connectivity, &pieces, hole_max);
    let least_area = CRUMB_AREA_SHARE * mesh.area();
    let is_asked = |triangles: &[u32]| {
        let is_crumb =
            box_of(mesh, triangles).diagonal() < hole_max && area_of(mesh, triangles) < least_area;
        !is_crumb && 2 * count_of(&is_doubled, triangles) <= triangles.len()
    };
    let joined: Vec<Vec<u32>> = joined::walls(mesh, connectivity, &capped)
        .into_iter()
        .filter(|wall| is_asked(wall))
        .collect();
    capped.leave_out(&joined);

    let (overlaps, crossed) = crossing::overlaps(mesh, connectivity, &capped, meeting);
    let mut walls = nested::walls(mesh, &capped, &crossed, is_asked);
    walls.extend(joined);
    walls.sort_unstable();
    told.extend(told_as(FindingKind::InternalWall, walls));
    told.extend(told_as(FindingKind::OverlappingShells, overlaps));
    told
}

fn told_as(kind: FindingKind, all: Vec<Vec<u32>>) -> Vec<Sheet> {
    all.into_iter().map(|triangles| Sheet { kind, triangles }).collect()
}

fn count_of(marked: &[bool], triangles: &[u32]) -> usize {
    triangles.iter().filter(|&&t| marked[t as usize]).count()
}

pub(super) fn box_of(mesh: &Mesh, triangles: &[u32]) -> Bounds3 {
    triangles
        .iter()
        .fold(Bounds3::EMPTY, |all, &t| all.union(Bounds3::of(mesh.corners(t as usize))))
}

pub(super) fn area_of(mesh: &Mesh, triangles: &[u32]) -> f64 {
    triangles.iter().map(|&t| 0.5 * mesh.area_normal(t as usize).length()).sum()
}

/// Parts `wanted` triangles into those that hang together: over edges that
/// `joins` lets pass, and over the further `links`.
fn parts(
    count: usize,
    wanted: impl Fn(u32) -> bool,
    connectivity: &Topology,
    links: &[(u32, u32)],
) -> Vec<Vec<u32>> {
    let mut sets = Sets::of(count);
    for t in (0..count as u32).filter(|&t| wanted(t)) {
        for other in (0..3).filter_map(|k| connectivity.across(3 * t + k)) {
            if wanted(other) {
                sets.unite(t, other);
            }
        }
    }
    for &(a, b) in links {
        if wanted(a) && wanted(b) {
            sets.unite(a, b);
        }
    }
    sets.rows(wanted)
}

/// The links between triangles at edges that have no one partner.
fn other_links(connectivity: &Topology) -> Vec<(u32, u32)> {
    let turned = connectivity.misoriented_edges().iter().map(|&[g, h]| (g / 3, h / 3));
    let shared = connectivity.nonmanifold_edges().iter();
    let shared =
        shared.flat_map(|edge| edge.half_edges.windows(2).map(|pair| (pair[0] / 3, pair[1] / 3)));
    turned.chain(shared).collect()
}

/// Disjoint sets; the lowest number of a set stands for it.
struct Sets(Vec<u32>);

impl Sets {
    fn of(count: usize) -> Self {
        Self((0..count as u32).collect())
    }

    fn root(&mut self, mut k: u32) -> u32 {
        while self.0[k as usize] != k {
            self.0[k as usize] = self.0[self.0[k as usize] as usize];
            k = self.0[k as usize];
        }
        k
    }

    fn unite(&mut self, a: u32, b: u32) {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a.max(b) as usize] = a.min(b);
    }

    /// The sets of what is wanted, by their lowest number, each rising.
    fn rows(&mut self, wanted: impl Fn(u32) -> bool) -> Vec<Vec<u32>> {
        let mut row_of = vec![u32::MAX; self.0.len()];
        let mut rows: Vec<Vec<u32>> = Vec::new();
        for k in (0..self.0.len() as u32).filter(|&k| wanted(k)) {
            let root = self.root(k) as usize;
            if row_of[root] == u32::MAX {
                row_of[root] = rows.len() as u32;
                rows.push(Vec::new());
            }
            rows[row_of[root] as usize].push(k);
        }
        rows
    }
}
