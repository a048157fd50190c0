//! Rings that close open rims which no end names.

use std::collections::BTreeMap;

use super::*;
use scene::COLUMNS;

/// Points of the scan's row `j` on a wall.
fn row(wall: usize, j: usize) -> Vec<u32> {
    let rows = 21;
    (0..COLUMNS).map(|i| ((wall * rows + j) * COLUMNS + i) as u32).collect()
}

/// Height along the tube's own axis.
fn up(p: DVec3) -> f64 {
    (p - DVec3::new(3.0, -7.0, 12.0)).dot(scene::turn(DVec3::Z))
}

/// The scene with the upper end only; below, the scan's own rims are closed by
/// what `close` makes of the bore's and the outside's, the former set back by
/// so many rows of 2 mm. `close` adds triangles over the scan's points and may
/// add points.
fn left_open(
    set_back: usize,
    close: impl FnOnce(&[u32], &[u32], &mut Vec<DVec3>) -> Vec<[u32; 3]>,
) -> Scene {
    let good = scene(Recipe::default());
    let (mut points, triangles) = good.scan.clone().into_parts();
    let kept = triangles.into_iter().enumerate().filter(|(t, _)| *t >= 2 * COLUMNS * set_back);
    let scan = Mesh::new(points.clone(), kept.map(|(_, c)| c).collect()).expect("a mesh");
    // The part: what is made above the first kept row, the scan's rows below it.
    let mut corners: Vec<[DVec3; 3]> = (0..good.part.triangles().len())
        .map(|t| good.part.corners(t))
        .filter(|c| c.iter().all(|&p| up(p) > 6.0))
        .collect();
    let below = (0..scan.triangles().len()).map(|t| scan.corners(t));
    corners.extend(below.filter(|c| c.iter().all(|&p| up(p) < 6.6)));
    let new = close(&row(0, set_back), &row(1, 0), &mut points);
    corners.extend(new.iter().map(|t| t.map(|v| points[v as usize])));
    let mut place: BTreeMap<[u64; 3], u32> = BTreeMap::new();
    let mut all = Vec::new();
    let mut index = |p: DVec3| {
        *place.entry(p.to_array().map(f64::to_bits)).or_insert_with(|| {
            all.push(p);
            all.len() as u32 - 1
        })
    };
    let triangles = corners.iter().map(|c| c.map(&mut index)).collect();
    let mut case = good.case.clone();
    case.ends.truncate(1);
    case.limits.wall_min = Some(1.9);
    Scene { scan, part: Mesh::new(all, triangles).expect("a mesh"), case }
}

fn ring(bore: &[u32], outside: &[u32], _: &mut Vec<DVec3>) -> Vec<[u32; 3]> {
    (0..COLUMNS)
        .flat_map(|i| {
            let j = (i + 1) % COLUMNS;
            [[outside[i], bore[j], outside[j]], [outside[i], bore[i], bore[j]]]
        })
        .collect()
}

#[test]
fn a_ring_between_partners_is_held_and_is_no_wall() {
    // Walls of 2: rims set back by 2 are 2.83 apart, less than 4.
    for set_back in [0, 1] {
        let s = left_open(set_back, ring);
        let p = proof(&s);
        assert_eq!(offended(&p), vec![], "{:#?}", p.limits);
        assert_eq!(verdict(&p, "rims", None), Verdict::Held);
        assert_eq!((p.part.boundary_edges, p.part.self_intersections), (0, 0));
        // Rows 0 to 12 of both walls, less what is set back.
        assert_eq!(p.changed.triangles_kept, 2 * COLUMNS * (24 - set_back));
    }
}

#[test]
fn a_ring_between_rims_twice_the_wall_apart_is_not_held() {
    // Set back by 4: 4.47 apart.
    assert_only(&proof(&left_open(2, ring)), &[("rims", None)]);
}

#[test]
fn a_ring_that_leaves_the_gap_is_not_held() {
    for height in [-6.0, 8.0] {
        let s = left_open(0, |bore, outside, points| {
            let mut triangles = ring(bore, outside, points);
            points.push(scene::place(DVec3::new(9.9, 0.6, height)));
            let top = points.len() as u32 - 1;
            let [a, b, c] = triangles.swap_remove(0);
            triangles.extend([[a, b, top], [b, c, top], [c, a, top]]);
            triangles
        });
        let p = proof(&s);
        assert_eq!(verdict(&p, "rims", None), Verdict::Broken, "{height}");
    }
}

#[test]
fn discs_over_both_rims_are_not_held() {
    let s = left_open(1, |bore, outside, points| {
        let mut disc = |rim: &[u32], height: f64, turned: bool| -> Vec<[u32; 3]> {
            points.push(scene::place(DVec3::Z * height));
            let middle = points.len() as u32 - 1;
            let of = |i: usize| [rim[i], middle, rim[(i + 1) % COLUMNS]];
            (0..COLUMNS).map(of).map(|t| if turned { [t[0], t[2], t[1]] } else { t }).collect()
        };
        let mut triangles = disc(outside, 0.3, false);
        triangles.extend(disc(bore, 2.3, true));
        triangles
    });
    let p = proof(&s);
    assert_eq!(p.part.boundary_edges, 0);
    assert_eq!(verdict(&p, "untouched", None), Verdict::Broken, "{:#?}", p.limits);
}
