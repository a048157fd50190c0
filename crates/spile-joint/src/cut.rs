//! `cut`: trims one branch of the scan at a plane.
//!
//! Only the branch whose section loops are chosen is cut; the plane may cross
//! other branches, which stay whole. What is removed is found by walking the
//! surface from the chosen loops on the plane's far side, so its cost follows
//! what is removed and not the scan.

use spile_mesh::topology::ends;
use spile_mesh::{DVec3, NONE, Plane, SectionLoop};
use std::collections::{BTreeMap, BTreeSet};

use crate::surface::Scan;

/// The chosen loops of one end: where its plane crosses the two sides of the wall.
#[derive(Debug, Clone)]
pub struct EndLoops {
    /// The cutting plane; its normal points off the scan.
    pub plane: Plane,
    /// The bore's loop.
    pub bore: SectionLoop,
    /// The outside's loop; none where the scan is the bore alone.
    pub outside: Option<SectionLoop>,
}

/// One side of the wall at one end after the cut.
#[derive(Debug, Clone, Default)]
pub struct CutSide {
    /// Scan triangles that the plane crosses.
    pub crossed: Vec<u32>,
    /// Scan triangles that go wholly.
    pub removed: Vec<u32>,
    /// New points on the plane; point `k` has index `scan points + first + k`.
    pub new_points: Vec<DVec3>,
    /// Pieces of crossed triangles that stay; indices below the scan's point
    /// count are the scan's, others are `new_points` counted on from there.
    pub pieces: Vec<[u32; 3]>,
    /// The scan triangle that each piece is part of.
    pub piece_of: Vec<u32>,
    /// The rim: directed edges from piece corner to piece corner with the
    /// surface on their left, as one closed loop of point indices.
    pub rim: Vec<u32>,
}

/// Why a branch cannot be cut.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CutError {
    /// Walking the far side led back to the near side.
    #[error(
        "the cut does not part the scan: the surface beyond it joins the kept side near ({0:.2}, {1:.2}, {2:.2})"
    )]
    NotParted(f64, f64, f64),
    /// The loop of the cut touches itself.
    #[error("the cut's loop is not a simple one near ({0:.2}, {1:.2}, {2:.2})")]
    RimNotSimple(f64, f64, f64),
}

/// Cuts the side of the wall that `chosen` runs round.
///
/// `snap` is the distance within which a point counts as lying on the plane;
/// such a point stays where it is and the rim runs through it, so that no
/// slivers arise. New points are indexed from `first_new` on.
///
/// # Errors
/// See [`CutError`].
pub fn cut_side(
    scan: &Scan,
    plane: Plane,
    chosen: &SectionLoop,
    snap: f64,
    first_new: u32,
) -> Result<CutSide, CutError> {
    let points = scan.mesh.points();
    let triangles = scan.mesh.triangles();
    let height = |v: u32| (points[v as usize] - plane.point).dot(plane.normal);
    let on_loop: BTreeSet<u32> = chosen.triangles.iter().copied().collect();
    let barrier: BTreeSet<u32> = on_loop
        .iter()
        .flat_map(|&t| triangles[t as usize])
        .filter(|&v| height(v).abs() <= snap)
        .collect();
    let above = |v: u32| height(v) > snap;

    // Walk the removed points from the loop's far side.
    let mut removed_points: BTreeSet<u32> = BTreeSet::new();
    let mut todo: Vec<u32> = Vec::new();
    for &t in &on_loop {
        for v in triangles[t as usize] {
            if above(v) && removed_points.insert(v) {
                todo.push(v);
            }
        }
    }
    let mut touched: BTreeSet<u32> = BTreeSet::new();
    while let Some(v) = todo.pop() {
        for &t in scan.fans.of(v) {
            touched.insert(t);
            let crosses = on_loop.contains(&t);
            for w in triangles[t as usize] {
                if removed_points.contains(&w) || barrier.contains(&w) || (crosses && !above(w)) {
                    continue;
                }
                removed_points.insert(w);
                todo.push(w);
            }
        }
    }
    for &t in &on_loop {
        for v in triangles[t as usize] {
            if height(v) < -snap && removed_points.contains(&v) {
                let p = points[v as usize];
                return Err(CutError::NotParted(p.x, p.y, p.z));
            }
        }
    }

    let mut side = CutSide::default();
    let mut rim_edges: Vec<(u32, u32)> = Vec::new();
    let mut new_on_edge: BTreeMap<(u32, u32), u32> = BTreeMap::new();
    for &t in &touched {
        let corners = triangles[t as usize];
        let stays = corners.map(|v| !removed_points.contains(&v) && !barrier.contains(&v));
        if !stays.contains(&true) {
            side.removed.push(t);
            continue;
        }
        side.crossed.push(t);
        let mut polygon: Vec<u32> = Vec::with_capacity(4);
        // Where the outline leaves what stays and where it comes back.
        let (mut leaves, mut returns) = (None, None);
        for k in 0..3 {
            let (a, b) = (corners[k], corners[(k + 1) % 3]);
            let (a_gone, b_gone) = (removed_points.contains(&a), removed_points.contains(&b));
            if !a_gone {
                polygon.push(a);
            }
            if a_gone == b_gone {
                continue;
            }
            let far = if a_gone { b } else { a };
            let meets = if barrier.contains(&far) {
                far
            } else {
                let key = (a.min(b), a.max(b));
                let id = *new_on_edge.entry(key).or_insert_with(|| {
                    // Computed from the edge's own order, so that both
                    // triangles at the edge get the very same point.
                    let (p, q) = (points[key.0 as usize], points[key.1 as usize]);
                    let (hp, hq) = (height(key.0), height(key.1));
                    side.new_points.push(p + (q - p) * (hp / (hp - hq)));
                    first_new + side.new_points.len() as u32 - 1
                });
                polygon.push(id);
                id
            };
            if b_gone { leaves = Some(meets) } else { returns = Some(meets) }
        }
        if let (Some(a), Some(b)) = (leaves, returns) {
            rim_edges.push((a, b));
        }
        for piece in fan(&polygon) {
            side.pieces.push(piece);
            side.piece_of.push(t);
        }
    }
    // Scan edges whose far side went wholly are part of the rim, too.
    for &t in &side.removed {
        for k in 0..3 {
            let twin = scan.topology.twin(3 * t + k);
            let other = twin / 3;
            if twin != NONE
                && side.removed.binary_search(&other).is_err()
                && side.crossed.binary_search(&other).is_err()
            {
                let [a, b] = ends(&scan.mesh, twin);
                rim_edges.push((a, b));
            }
        }
    }
    side.rim = one_loop(&rim_edges).map_err(|v| {
        let p = match v {
            Some(v) if v >= first_new => side.new_points[(v - first_new) as usize],
            Some(v) => points[v as usize],
            None => plane.point,
        };
        CutError::RimNotSimple(p.x, p.y, p.z)
    })?;
    Ok(side)
}

/// Triangles of a convex polygon of three or four corners.
fn fan(polygon: &[u32]) -> Vec<[u32; 3]> {
    (2..polygon.len()).map(|k| [polygon[0], polygon[k - 1], polygon[k]]).collect()
}

/// Strings directed edges into the one closed loop they form; the error names
/// a point where they do not.
fn one_loop(edges: &[(u32, u32)]) -> Result<Vec<u32>, Option<u32>> {
    let mut next: BTreeMap<u32, u32> = BTreeMap::new();
    for &(a, b) in edges {
        if next.insert(a, b).is_some() {
            return Err(Some(a));
        }
    }
    let start = *next.keys().next().ok_or(None)?;
    let mut rim = vec![start];
    let mut at = next[&start];
    while at != start {
        rim.push(at);
        at = match next.get(&at) {
            Some(&n) if rim.len() <= next.len() => n,
            _ => return Err(Some(at)),
        };
    }
    if rim.len() == next.len() {
        return Ok(rim);
    }
    let seen: BTreeSet<u32> = rim.into_iter().collect();
    Err(next.keys().find(|v| !seen.contains(v)).copied())
}
