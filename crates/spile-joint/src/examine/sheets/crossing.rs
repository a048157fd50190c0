//! Pieces that pass through each other.

use spile_mesh::{Mesh, Topology};

use super::winding::Capped;
use super::{area_of, other_links, parts};

/// A triangle passes through another's plane where corners lie off it on both
/// sides by more than this share of its longest edge. Less than that is a
/// touch: a rim that was meant to lie on the wall.
const THROUGH_SHARE: f64 = 0.01;

/// Two pieces, the lower first, and a triangle of each that intersect.
type Meeting = ((u32, u32), (u32, u32));

/// The overlaps of two pieces, each with the triangles of both that meet the
/// other or lie on its wrong side, by pair; and those pairs, sorted.
///
/// The wrong side of a piece that faces the same way is its inside. Of a bore
/// and its outside it is the one on which the lesser area lies.
pub(super) fn overlaps(
    mesh: &Mesh,
    connectivity: &Topology,
    capped: &Capped,
    meeting: &[(u32, u32)],
) -> (Vec<Vec<u32>>, Vec<(u32, u32)>) {
    let label = |t: u32| capped.label[t as usize];
    let mut by_pair: Vec<Meeting> = meeting
        .iter()
        .filter(|&&(t, u)| label(t) != label(u))
        .map(|&(t, u)| if label(t) < label(u) { (t, u) } else { (u, t) })
        .map(|(t, u)| ((label(t), label(u)), (t, u)))
        .collect();
    by_pair.sort_unstable();
    let crossing: Vec<_> = by_pair
        .chunk_by(|a, b| a.0 == b.0)
        .filter(|group| group.iter().any(|&(_, (t, u))| pass_through(mesh, t, u)))
        .collect();
    if crossing.is_empty() {
        return (Vec::new(), Vec::new());
    }
    let mut is_met = vec![false; mesh.triangles().len()];
    for &(_, (t, u)) in crossing.iter().copied().flatten() {
        is_met[t as usize] = true;
        is_met[u as usize] = true;
    }
    let regions = Regions::of(mesh, connectivity, capped, &crossing, &is_met);
    let overlap = |group: &&[Meeting]| {
        let (a, b) = group[0].0;
        let mut triangles: Vec<u32> = group.iter().flat_map(|&(_, (t, u))| [t, u]).collect();
        let opposite = capped.volume(a as usize) * capped.volume(b as usize) < 0.0;
        triangles.extend(regions.on_wrong_side(mesh, capped, a, b, opposite));
        triangles.extend(regions.on_wrong_side(mesh, capped, b, a, opposite));
        triangles.sort_unstable();
        triangles.dedup();
        triangles
    };
    (crossing.iter().map(overlap).collect(), crossing.iter().map(|group| group[0].0).collect())
}

/// Whether each of two triangles passes through the other's plane.
fn pass_through(mesh: &Mesh, t: u32, u: u32) -> bool {
    let passes = |t: u32, u: u32| {
        let corners = mesh.corners(t as usize);
        let [a, b, c] = corners;
        let least = THROUGH_SHARE * a.distance(b).max(b.distance(c)).max(c.distance(a));
        let up = mesh.area_normal(u as usize).normalize_or_zero();
        let from = mesh.corners(u as usize)[0];
        let heights = corners.map(|p| (p - from).dot(up));
        heights.iter().any(|&h| h > least) && heights.iter().any(|&h| h < -least)
    };
    passes(t, u) && passes(u, t)
}

/// What is left of pieces that cross others between the triangles that do.
struct Regions {
    /// (piece, triangles), by piece.
    all: Vec<(u32, Vec<u32>)>,
}

impl Regions {
    fn of(
        mesh: &Mesh,
        connectivity: &Topology,
        capped: &Capped,
        crossing: &[&[Meeting]],
        is_met: &[bool],
    ) -> Regions {
        let mut is_crossed = vec![false; capped.pieces.len()];
        for group in crossing {
            let (a, b) = group[0].0;
            is_crossed[a as usize] = true;
            is_crossed[b as usize] = true;
        }
        let wanted = |t: u32| !is_met[t as usize] && is_crossed[capped.label[t as usize] as usize];
        let links = other_links(connectivity);
        let found = parts(mesh.triangles().len(), wanted, connectivity, &links);
        let piece = |region: &Vec<u32>| capped.label[region[0] as usize];
        let mut all: Vec<_> = found.into_iter().map(|region| (piece(&region), region)).collect();
        all.sort();
        Regions { all }
    }

    /// The regions of piece `of` that lie on the wrong side of `other`.
    fn on_wrong_side(
        &self,
        mesh: &Mesh,
        capped: &Capped,
        of: u32,
        other: u32,
        opposite: bool,
    ) -> Vec<u32> {
        let from = self.all.partition_point(|(piece, _)| *piece < of);
        let to = self.all.partition_point(|(piece, _)| *piece <= of);
        let is_in = |region: &[u32]| {
            let area = |&t: &u32| mesh.area_normal(t as usize).length();
            let widest = region.iter().copied().max_by(|a, b| area(a).total_cmp(&area(b)));
            widest.is_some_and(|t| {
                let [a, b, c] = mesh.corners(t as usize);
                capped.winding(other as usize, (a + b + c) / 3.0) != 0
            })
        };
        let (inner, outer): (Vec<_>, Vec<_>) =
            self.all[from..to].iter().map(|(_, region)| region).partition(|region| is_in(region));
        let area =
            |regions: &[&Vec<u32>]| -> f64 { regions.iter().map(|r| area_of(mesh, r)).sum() };
        let wrong = if opposite && area(&inner) > area(&outer) { outer } else { inner };
        wrong.into_iter().flatten().copied().collect()
    }
}
