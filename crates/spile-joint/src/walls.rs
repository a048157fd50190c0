//! `walls`: tells bore from outside.
//!
//! The cuts tell: their loops nest, the inner one runs round the bore. From
//! the loops the two sides are walked over the surface, both at the same pace,
//! so that where the walls are joined by a rounded rim they meet half-way.

use std::collections::VecDeque;

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
/// Cost: linear in the scan.
pub fn sides(scan: &Scan, seeds: &[(WallSide, &[u32])]) -> Vec<Option<WallSide>> {
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
        for k in 0..3 {
            let twin = scan.topology.twin(3 * t + k);
            if twin != NONE && sides[(twin / 3) as usize].is_none() {
                sides[(twin / 3) as usize] = sides[t as usize];
                queue.push_back(twin / 3);
            }
        }
    }
    sides
}
