//! `walls`: tells bore from outside.
//!
//! The cuts tell: their loops nest, the inner one runs round the bore. From
//! the loops the two sides are walked over the surface, both at the same pace
//! in length, so that where the walls are joined by a rounded rim they meet
//! half-way, on whichever side the triangles are larger.

use std::cmp::Reverse;
use std::collections::{BinaryHeap, VecDeque};

use spile_mesh::{NONE, Plane, SectionLoop, nesting};

use crate::surface::Scan;

/// A side of the wall.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum WallSide {
    /// The flow side.
    Bore,
    /// The other side.
    Outside,
}

impl WallSide {
    /// The word for it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Bore => "bore",
            Self::Outside => "outside",
        }
    }
}

/// Which of the loops of a section are the bore's and the outside's.
///
/// The branch is the one whose loops are nearest `plane.point`: the smallest
/// loop round that point, or failing that the nearest loop. With `two_walls`
/// the loop round the bore's loop is the outside's.
pub fn choose_loops(
    loops: &[SectionLoop],
    plane: Plane,
    two_walls: bool,
) -> Result<(usize, Option<usize>), String> {
    let parents = nesting(loops, plane.normal);
    let nearest = (0..loops.len())
        .min_by(|&a, &b| loops[a].distance(plane.point).total_cmp(&loops[b].distance(plane.point)))
        .ok_or("the plane meets no part of the scan")?;
    if !loops[nearest].closed {
        return Err(
            "the plane runs across an open rim of the scan, so its outline is not closed".into()
        );
    }
    let round_point = |l: &SectionLoop| winds_round(l, plane);
    let innermost =
        (0..loops.len()).filter(|&k| loops[k].closed && round_point(&loops[k])).min_by(|&a, &b| {
            let area = |k: usize| loops[k].area(plane.normal).abs();
            area(a).total_cmp(&area(b))
        });
    let inner = match innermost {
        // A loop that winds round the point is meant only if no other branch
        // is much nearer.
        Some(k) => k,
        None => nearest,
    };
    if !two_walls {
        return Ok((inner, None));
    }
    let parents = &parents;
    let children = |k: usize| (0..loops.len()).filter(move |&c| parents[c] == Some(k));
    let (bore, outside) = match parents[inner] {
        Some(parent) => (inner, parent),
        None => match children(inner).next() {
            Some(child) => (child, inner),
            None => return Err("the plane meets one wall only, where the form has two".into()),
        },
    };
    if let Some(other) = children(outside).find(|&c| c != bore) {
        let at = loops[other].centroid(plane.normal);
        return Err(format!(
            "the plane crosses two bores inside one outside, at a branch point near ({:.2}, {:.2}, {:.2})",
            at.x, at.y, at.z
        ));
    }
    Ok((bore, Some(outside)))
}

/// Whether the loop winds round the plane's point.
fn winds_round(l: &SectionLoop, plane: Plane) -> bool {
    let u = plane.normal.any_orthonormal_vector();
    let v = plane.normal.cross(u);
    let flat: Vec<(f64, f64)> =
        l.points.iter().map(|p| ((*p - plane.point).dot(u), (*p - plane.point).dot(v))).collect();
    let mut inside = false;
    for i in 0..flat.len() {
        let ((ax, ay), (bx, by)) = (flat[i], flat[(i + 1) % flat.len()]);
        if (ay > 0.0) != (by > 0.0) && ax + (bx - ax) * (ay / (ay - by)) > 0.0 {
            inside = !inside;
        }
    }
    inside
}

/// The side of each triangle of the scan; none where no loop leads there.
///
/// A piece that loops of one side alone lead to is of that side; elsewhere each
/// triangle is of the loop that is nearest along edges.
/// Cost: linear in the scan; O(n log n) in pieces that have both sides.
pub fn sides(scan: &Scan, seeds: &[(WallSide, &[u32])]) -> Vec<Option<WallSide>> {
    let flooded = flood(scan, seeds);
    let mut sides = flooded.clone();
    let is_met = (0..sides.len() as u32)
        .any(|t| neighbours(scan, t).any(|n| flooded[t as usize] != flooded[n as usize]));
    if is_met {
        by_distance(scan, seeds, &mut sides);
    }
    sides
}

/// The triangles across the edges of `t`.
fn neighbours(scan: &Scan, t: u32) -> impl Iterator<Item = u32> + '_ {
    (0..3).map(move |k| scan.topology.twin(3 * t + k)).filter(|&h| h != NONE).map(|h| h / 3)
}

/// All that hangs together with the loops, each triangle of the side that comes
/// first.
fn flood(scan: &Scan, seeds: &[(WallSide, &[u32])]) -> Vec<Option<WallSide>> {
    let mut sides = vec![None; scan.mesh.triangles().len()];
    let mut queue = VecDeque::new();
    for &(side, triangles) in seeds {
        for &t in triangles {
            if sides[t as usize].is_none() {
                sides[t as usize] = Some(side);
                queue.push_back(t);
            }
        }
    }
    while let Some(t) = queue.pop_front() {
        for n in neighbours(scan, t) {
            if sides[n as usize].is_none() {
                sides[n as usize] = sides[t as usize];
                queue.push_back(n);
            }
        }
    }
    sides
}

/// Tells the sides again by the way along edges.
fn by_distance(scan: &Scan, seeds: &[(WallSide, &[u32])], sides: &mut [Option<WallSide>]) {
    let (points, triangles) = (scan.mesh.points(), scan.mesh.triangles());
    // Lengths are not negative, so they sort as their bits do.
    let mut queue: BinaryHeap<Reverse<(u64, WallSide, u32)>> = seeds
        .iter()
        .flat_map(|&(side, seeds)| seeds.iter().map(move |&t| (side, t)))
        .flat_map(|(side, t)| triangles[t as usize].map(|v| Reverse((0, side, v))))
        .collect();
    let mut first: Vec<Option<(u64, WallSide)>> = vec![None; points.len()];
    while let Some(Reverse((bits, side, v))) = queue.pop() {
        if first[v as usize].is_some() {
            continue;
        }
        first[v as usize] = Some((bits, side));
        for &t in scan.fans.of(v) {
            for w in triangles[t as usize] {
                if first[w as usize].is_none() {
                    let step = points[v as usize].distance(points[w as usize]);
                    let length = f64::from_bits(bits) + step;
                    queue.push(Reverse((length.to_bits(), side, w)));
                }
            }
        }
    }
    for (side, corners) in sides.iter_mut().zip(triangles) {
        let nearest = corners.iter().filter_map(|&v| first[v as usize]).min();
        *side = nearest.map(|(_, side)| side).or(*side);
    }
}

#[cfg(test)]
mod tests;
