//! Second copies of triangles, and triangles without area.

use robust::{Coord, orient2d};
use spile_case::MendKind;
use spile_mesh::{DVec3, Mesh, NONE, VertexTriangles, topology};

use super::work::{Changes, Work};
use crate::examine::FindingKind;

/// Keeps the first of all triangles on the same three points.
pub(super) fn remove_duplicates(work: &mut Work) {
    let around = work.around();
    let mut removed = second_copies(&work.mesh, &around);
    if removed.is_empty() {
        return;
    }
    removed.sort_unstable();
    for &t in &removed {
        work.note(MendKind::Duplicate, &[t], &[]);
    }
    work.apply(Changes { removed, ..Changes::default() });
}

/// The triangles on the same three points as one before them, by their points.
///
/// Cost: O(n) where no point has very many triangles.
pub(crate) fn second_copies(mesh: &Mesh, around: &VertexTriangles) -> Vec<u32> {
    let (mut found, mut row) = (Vec::new(), Vec::new());
    for point in 0..mesh.points().len() as u32 {
        row.clear();
        row.extend(around.of(point).iter().filter_map(|&t| {
            let mut points = mesh.triangles()[t as usize];
            points.sort_unstable();
            (points[0] == point).then_some((points, t))
        }));
        row.sort_unstable();
        found.extend(row.windows(2).filter(|pair| pair[0].0 == pair[1].0).map(|pair| pair[1].1));
    }
    found
}

/// Whether three points lie on a line, or two of them fall together; exact.
///
/// They do exactly if their projections along all three axes do.
pub(crate) fn on_a_line([a, b, c]: [DVec3; 3]) -> bool {
    [(0, 1), (1, 2), (2, 0)].into_iter().all(|(u, v)| {
        let flat = |p: DVec3| Coord { x: p[u], y: p[v] };
        orient2d(flat(a), flat(b), flat(c)) == 0.0
    })
}

/// Passes over chains of triangles without area: each pass can only take one of
/// two that share their long edge.
const MOST_PASSES: usize = 16;

/// Takes out triangles whose corners lie on a line.
///
/// Where the middle corner lies on the edge of a neighbour, that neighbour is
/// parted there, so that no crack opens: the surface stays the same set of points.
pub(super) fn remove_degenerate(work: &mut Work) {
    for pass in 0..MOST_PASSES {
        let flat: Vec<u32> = (0..work.mesh.triangles().len() as u32)
            .filter(|&t| on_a_line(work.mesh.corners(t as usize)))
            .collect();
        if flat.is_empty() {
            return;
        }
        let mut changes = Changes::default();
        let mut stuck = Vec::new();
        take_out(work, &flat, &mut changes, &mut stuck);
        let done = changes.removed.is_empty();
        work.apply(changes);
        if done || pass + 1 == MOST_PASSES {
            for (ball, why) in stuck {
                work.refuse(FindingKind::Degenerate, ball, why);
            }
            return;
        }
    }
}

fn take_out(
    work: &mut Work,
    flat: &[u32],
    changes: &mut Changes,
    stuck: &mut Vec<(spile_case::Ball, &'static str)>,
) {
    let topology = work.topology();
    let around = work.around();
    let mut touched = vec![false; work.mesh.triangles().len()];
    for &t in flat {
        if touched[t as usize] {
            continue;
        }
        let [a, b, c] = work.triangle(t);
        if a == b || b == c || c == a {
            // Its two other edges are one edge run both ways: nothing opens.
            work.note(MendKind::Degenerate, &[t], &[]);
            changes.removed.push(t);
            continue;
        }
        let long = longest(work.mesh.corners(t as usize));
        let h = 3 * t + long;
        let middle = work.triangle(t)[(long as usize + 2) % 3];
        let twin = topology.twin(h);
        if twin == NONE {
            if topology.is_boundary(h) {
                work.note(MendKind::Degenerate, &[t], &[]);
                changes.removed.push(t);
                touched[t as usize] = true;
            } else {
                stuck.push((work.ball(&[t], &[]), "its long edge has more than two triangles"));
            }
            continue;
        }
        let neighbour = twin / 3;
        let [from, to] = topology::ends(&work.mesh, twin);
        let far = work.triangle(neighbour)[(twin as usize % 3 + 2) % 3];
        if touched[neighbour as usize] {
            continue;
        }
        let joined = around.of(middle).iter().any(|&s| work.triangle(s).contains(&far));
        if far == middle || joined {
            stuck.push((work.ball(&[t], &[]), "to part its neighbour would fold the surface"));
            continue;
        }
        let added = [[from, middle, far], [middle, to, far]];
        // Fewer triangles without area each time, so that this comes to an end.
        let flat = |corners: [u32; 3]| usize::from(on_a_line(corners.map(|v| work.point(v))));
        if flat(added[0]) + flat(added[1]) > flat(work.triangle(neighbour)) {
            let why = "its corners, or its neighbour's, fall together under different numbers";
            stuck.push((work.ball(&[t], &[]), why));
            continue;
        }
        // Neighbours of the two may not change in the same pass.
        for v in [from, to, middle, far] {
            for &s in around.of(v) {
                touched[s as usize] = true;
            }
        }
        work.note(MendKind::Degenerate, &[t, neighbour], &added);
        changes.removed.extend([t, neighbour]);
        changes.added.extend(added);
    }
}

/// The corner from which the longest edge runs.
fn longest(corners: [DVec3; 3]) -> u32 {
    let length = |k: usize| corners[k].distance_squared(corners[(k + 1) % 3]);
    let mut best = 0;
    for k in 1..3 {
        if length(k) > length(best) {
            best = k;
        }
    }
    best as u32
}
