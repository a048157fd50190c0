//! Strips of triangles between two loops.

use spile_mesh::DVec3;

type Loop = [(u32, DVec3)];

/// More pairs of points than this are not matched.
const MOST_PAIRS: usize = 20_000_000;

/// The strips between two loops that run oppositely, by sum of squared lengths
/// of the edges across, first with as few triangles as can be that face against
/// `facing`, then without that, then by sum of areas. Each triangle runs along
/// its loop's edge against the loop's direction.
///
/// The strip starts at the nearest pair of points; the rest is a shortest
/// monotone path in the product of both loops. Cost: O(n m).
///
/// # Source
/// Fuchs, Kedem and Uselton 1977, the path; the costs are ours.
pub(super) fn strips(outer: &Loop, inner: &Loop, facing: DVec3) -> Vec<Vec<[u32; 3]>> {
    if outer.len() < 3 || inner.len() < 3 || outer.len() * inner.len() > MOST_PAIRS {
        return Vec::new();
    }
    // Both in the direction of the inner one.
    let outer: Vec<(u32, DVec3)> = outer.iter().rev().copied().collect();
    let mut first = (f64::INFINITY, 0, 0);
    for (i, a) in outer.iter().enumerate() {
        for (j, b) in inner.iter().enumerate() {
            let d = a.1.distance_squared(b.1);
            if d < first.0 {
                first = (d, i, j);
            }
        }
    }
    let (mut a, mut b) = (outer, inner.to_vec());
    a.rotate_left(first.1);
    b.rotate_left(first.2);
    a.push(a[0]);
    b.push(b[0]);
    let across = |[p, q, _]: [DVec3; 3]| p.distance_squared(q);
    let area = |[p, q, r]: [DVec3; 3]| (q - p).cross(r - p).length();
    // Dearer than any strip without a fold.
    let reach = a.iter().chain(&b).map(|p| p.1.distance_squared(a[0].1)).fold(0.0, f64::max);
    let fold = 4.0 * reach * (a.len() + b.len()) as f64;
    let unfolded = |[p, q, r]: [DVec3; 3]| {
        let is_folded = (q - p).cross(r - p).dot(facing) <= 0.0;
        across([p, q, r]) + if is_folded { fold } else { 0.0 }
    };
    vec![path(&a, &b, &unfolded), path(&a, &b, &across), path(&a, &b, &area)]
}

/// The cheapest strip from the first pair to the last. `cost([p, q, r])` is that
/// of a triangle whose edge from `p` to `q` leads across.
fn path(a: &Loop, b: &Loop, cost: &dyn Fn([DVec3; 3]) -> f64) -> Vec<[u32; 3]> {
    let width = b.len();
    let mut best = vec![f64::INFINITY; a.len() * width];
    let mut along_a = vec![false; best.len()];
    best[0] = 0.0;
    for i in 0..a.len() {
        for j in 0..width {
            let here = i * width + j;
            if i > 0 {
                let by_a = best[here - width] + cost([a[i].1, b[j].1, a[i - 1].1]);
                if by_a < best[here] {
                    (best[here], along_a[here]) = (by_a, true);
                }
            }
            if j > 0 {
                let by_b = best[here - 1] + cost([a[i].1, b[j].1, b[j - 1].1]);
                if by_b < best[here] {
                    (best[here], along_a[here]) = (by_b, false);
                }
            }
        }
    }
    let (mut i, mut j) = (a.len() - 1, width - 1);
    let mut triangles = Vec::with_capacity(i + j);
    while i + j > 0 {
        // `a` runs with the ring's direction, `b` against it.
        if along_a[i * width + j] {
            triangles.push([a[i - 1].0, a[i].0, b[j].0]);
            i -= 1;
        } else {
            triangles.push([a[i].0, b[j].0, b[j - 1].0]);
            j -= 1;
        }
    }
    triangles.reverse();
    triangles
}
