//! Polygons cut into triangles.

use robust::{Coord, orient2d};
use spile_mesh::DVec3;

/// How many corners may be looked at for all polygons of a file together. A
/// convex polygon takes about n, a bad one up to its cube; this is seconds.
pub(crate) const MOST_EFFORT: u64 = 400_000_000;

/// Cuts the polygon with these corners into n - 2 triangles of corner numbers,
/// facing as the polygon does, with no new point. Appends to `into`.
///
/// Ear clipping with exact orientation, in the coordinate plane that the
/// polygon faces most. The triangles' signed areas add up to the polygon's, so
/// if none is negative they cover it exactly, concave or with a hole that is
/// tied to its rim by a double edge. Where corners lie on a line a triangle
/// without area may remain.
///
/// # Errors
/// A sentence for the message, when no such cut is found.
///
/// # Source
/// Meisters 1975 (two ears theorem).
pub(crate) fn triangulate(
    corners: &[DVec3],
    into: &mut Vec<[u32; 3]>,
    effort: &mut u64,
) -> Result<(), String> {
    let crosses = || format!("a face of {} corners that crosses itself", corners.len());
    let flat = flattened(corners).ok_or_else(crosses)?;
    let mut ring: Vec<u32> = (0..corners.len() as u32).collect();
    let mut start = 0;
    while ring.len() > 3 {
        let n = ring.len();
        // Going on where the last ear was leaves fewer long fans.
        let order = (0..n).map(|i| (start + i) % n);
        let ear = order
            .clone()
            .find(|&k| is_ear(&flat, &ring, k, effort))
            .or_else(|| order.clone().find(|&k| is_empty(&flat, &ring, k)));
        if *effort == 0 {
            return Err(format!(
                "a face of {} corners takes too long to cut into triangles",
                corners.len()
            ));
        }
        let Some(k) = ear else {
            return Err(crosses());
        };
        into.push(around(&ring, k));
        ring.remove(k);
        start = k % ring.len();
    }
    if turn(&flat, [ring[0], ring[1], ring[2]]) < 0.0 {
        return Err(crosses());
    }
    into.push([ring[0], ring[1], ring[2]]);
    Ok(())
}

/// The corners in the coordinate plane that the polygon faces most, turned so
/// that it runs counter-clockwise. Coordinates are copied, never computed. None
/// where its areas cancel, so that it faces nowhere.
fn flattened(corners: &[DVec3]) -> Option<Vec<Coord<f64>>> {
    let origin = corners[0];
    let mut normal = DVec3::ZERO;
    let mut swept = 0.0;
    for (k, &a) in corners.iter().enumerate() {
        let b = corners[(k + 1) % corners.len()];
        let area = (a - origin).cross(b - origin);
        normal += area;
        swept += area.length();
    }
    // Some thousand roundings of a cancelled sum; corners on a line sweep nothing at all.
    if swept > 0.0 && normal.length() <= 1e-12 * swept {
        return None;
    }
    let size = normal.abs();
    let (axes, facing) = if size.x >= size.y && size.x >= size.z {
        ([1, 2], normal.x)
    } else if size.y >= size.z {
        ([2, 0], normal.y)
    } else {
        ([0, 1], normal.z)
    };
    let [u, v] = if facing < 0.0 { [axes[1], axes[0]] } else { axes };
    Some(corners.iter().map(|p| Coord { x: p[u], y: p[v] }).collect())
}

fn around(ring: &[u32], k: usize) -> [u32; 3] {
    let n = ring.len();
    [ring[(k + n - 1) % n], ring[k], ring[(k + 1) % n]]
}

/// Positive where the three corners run counter-clockwise; exact in sign.
fn turn(flat: &[Coord<f64>], [a, b, c]: [u32; 3]) -> f64 {
    orient2d(flat[a as usize], flat[b as usize], flat[c as usize])
}

/// Whether corner `k` may be cut off: convex, and no other corner of the ring
/// in or on its triangle, but where it coincides with one of the three.
fn is_ear(flat: &[Coord<f64>], ring: &[u32], k: usize, effort: &mut u64) -> bool {
    let [a, b, c] = around(ring, k);
    if turn(flat, [a, b, c]) <= 0.0 {
        return false;
    }
    let same = |i: u32, j: u32| {
        let (p, q) = (flat[i as usize], flat[j as usize]);
        p.x == q.x && p.y == q.y
    };
    ring.iter().all(|&w| {
        *effort = effort.saturating_sub(1);
        let outside = turn(flat, [a, b, w]) < 0.0
            || turn(flat, [b, c, w]) < 0.0
            || turn(flat, [c, a, w]) < 0.0;
        outside || same(w, a) || same(w, b) || same(w, c)
    })
}

/// Whether corner `k` lies on a line with its neighbours, so that to cut it off
/// changes no area.
fn is_empty(flat: &[Coord<f64>], ring: &[u32], k: usize) -> bool {
    turn(flat, around(ring, k)) == 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Cuts, and checks that areas are positive or zero and add up.
    fn check(corners: &[[f64; 2]], area: f64) {
        for turn in 0..corners.len() {
            let mut points: Vec<DVec3> =
                corners.iter().map(|c| DVec3::new(7.0, c[0], c[1])).collect();
            points.rotate_left(turn);
            let mut cut = Vec::new();
            triangulate(&points, &mut cut, &mut 1000).unwrap();
            assert_eq!(cut.len(), points.len() - 2);
            let areas: Vec<f64> = cut
                .iter()
                .map(|t| {
                    let [a, b, c] = t.map(|i| points[i as usize]);
                    0.5 * (b - a).cross(c - a).x
                })
                .collect();
            assert!(areas.iter().all(|&a| a >= 0.0), "{areas:?}");
            assert!((areas.iter().sum::<f64>() - area).abs() < 1e-12, "{areas:?}");
        }
    }

    #[test]
    fn convex_concave_and_comb_shapes_are_covered_exactly() {
        // Areas by hand.
        check(&[[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]], 4.0);
        check(&[[0.0, 0.0], [4.0, 0.0], [1.0, 1.0], [0.0, 4.0]], 4.0);
        let comb = [[0., 0.], [6., 0.], [6., 4.], [5., 1.], [4., 4.], [3., 1.], [2., 4.], [0., 1.]];
        check(&comb, 15.0);
    }

    #[test]
    fn a_corner_on_a_straight_side_keeps_its_place() {
        check(&[[0.0, 0.0], [1.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]], 4.0);
    }

    #[test]
    fn a_square_with_a_square_hole_tied_by_a_double_edge_is_covered_exactly() {
        let ring = [
            [0.0, 0.0],
            [3.0, 0.0],
            [3.0, 3.0],
            [0.0, 3.0],
            [0.0, 0.0],
            [1.0, 1.0],
            [1.0, 2.0],
            [2.0, 2.0],
            [2.0, 1.0],
            [1.0, 1.0],
        ];
        check(&ring, 8.0);
    }

    #[test]
    fn a_bow_tie_is_refused() {
        let bow = [[0.0, 0.0], [2.0, 2.0], [2.0, 0.0], [0.0, 1.0]];
        let points: Vec<DVec3> = bow.iter().map(|c| DVec3::new(c[0], c[1], 0.0)).collect();
        assert!(
            triangulate(&points, &mut Vec::new(), &mut 1000)
                .unwrap_err()
                .contains("crosses itself")
        );
    }

    #[test]
    fn a_face_on_a_line_gives_triangles_without_area() {
        let points: Vec<DVec3> = (0..5).map(|i| DVec3::splat(f64::from(i))).collect();
        let mut cut = Vec::new();
        triangulate(&points, &mut cut, &mut 1000).unwrap();
        assert_eq!(cut.len(), 3);
    }
}
