//! One closed solid.

use super::*;

#[test]
fn a_missing_triangle_is_seen() {
    let good = scene(Recipe::default());
    let holed = edited(&good, |_, triangles| {
        triangles.remove(100);
    });
    let p = proof(&holed);
    assert_eq!(verdict(&p, "closed", None), Verdict::Broken);
    assert_eq!(verdict(&p, "untouched", None), Verdict::Broken);
    assert_eq!(p.part.boundary_edges, 3);
}

#[test]
fn a_flipped_triangle_is_seen() {
    let good = scene(Recipe::default());
    let flipped = edited(&good, |_, triangles| triangles[100].swap(0, 1));
    assert_only(&proof(&flipped), &[("closed", None)]);
}

#[test]
fn a_part_turned_inside_out_is_seen() {
    let good = scene(Recipe::default());
    let turned = edited(&good, |_, triangles| triangles.iter_mut().for_each(|t| t.swap(0, 1)));
    assert_only(&proof(&turned), &[("closed", None), ("end_face", LOWER)]);
}

#[test]
fn a_second_shell_is_seen() {
    let good = scene(Recipe::default());
    for flip in [false, true] {
        let more = edited(&good, |points, triangles| {
            let first = points.len() as u32;
            let corner = DVec3::new(100.0, 0.0, 0.0);
            points.extend([corner, corner + DVec3::X, corner + DVec3::Y, corner + DVec3::Z]);
            for t in [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]] {
                let [a, b, c] = t.map(|p| p + first);
                triangles.push(if flip { [a, c, b] } else { [a, b, c] });
            }
        });
        assert_eq!(verdict(&proof(&more), "closed", None), Verdict::Broken);
    }
}

#[test]
fn a_joint_that_pierces_its_own_wall_is_seen() {
    let p = proof(&scene(Recipe { joint_bulge: 2.5, ..Recipe::default() }));
    assert_eq!(verdict(&p, "closed", None), Verdict::Broken);
    assert!(p.part.self_intersections > 0);
}

/// Moves every point of scan and part at this place.
fn move_both(s: &Scene, from: DVec3, to: DVec3) -> Scene {
    let moved = |mesh: &Mesh| {
        let (mut points, triangles) = mesh.clone().into_parts();
        points.iter_mut().filter(|p| **p == from).for_each(|p| *p = to);
        Mesh::new(points, triangles).expect("a mesh")
    };
    Scene { scan: moved(&s.scan), part: moved(&s.part), case: s.case.clone() }
}

#[test]
fn what_the_scan_intersects_itself_stays_only_if_the_case_says_so() {
    let good = scene(Recipe::default());
    // A bore point of row 7 (14.3) pushed through the outer wall, in scan and part.
    let from = good.part.points()[4 * scene::COLUMNS];
    let to = scene::place(DVec3::new(11.5, 0.0, 14.3));
    let mut s = move_both(&good, from, to);
    let p = proof(&s);
    assert_only(&p, &[("closed", None)]);
    assert!(p.part.self_intersections > 0);
    s.case.scan.inherit.push(spile_case::Inherit::SelfIntersection);
    assert_eq!(proof(&s).verdict, Verdict::Held);
    // Leave for the scan's own faults is no leave for new ones.
    let mut bad = scene(Recipe { joint_bulge: 2.5, ..Recipe::default() });
    bad.case.scan.inherit.push(spile_case::Inherit::SelfIntersection);
    assert_eq!(verdict(&proof(&bad), "closed", None), Verdict::Broken);
}

#[test]
fn a_void_of_the_scan_may_stay_and_no_other_may_be_there() {
    // A small tetrahedron in the wall, facing inward: in the scan and the part.
    let with_void = |mesh: &Mesh, size: f64, at: DVec3| {
        let (mut points, mut triangles) = mesh.clone().into_parts();
        let first = points.len() as u32;
        let corners = [DVec3::ZERO, DVec3::X, DVec3::Y, DVec3::Z];
        points.extend(corners.map(|c| scene::place(at + size * c)));
        for t in [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]] {
            let [a, b, c] = t.map(|p: u32| p + first);
            triangles.push([a, c, b]);
        }
        Mesh::new(points, triangles).expect("a mesh")
    };
    let good = scene(Recipe::default());
    let in_wall = DVec3::new(9.8, 0.0, 15.0);
    let both = Scene {
        scan: with_void(&good.scan, 0.3, in_wall),
        part: with_void(&good.part, 0.3, in_wall),
        case: good.case.clone(),
    };
    let p = proof(&both);
    assert_eq!(offended(&p), vec![], "{:#?}", p.limits);
    assert_eq!(p.part.shells, 2);
    let only_part = Scene { part: with_void(&good.part, 0.3, in_wall), ..good.clone() };
    assert_eq!(verdict(&proof(&only_part), "closed", None), Verdict::Broken);
    let only_scan = Scene { scan: with_void(&good.scan, 0.3, in_wall), ..good.clone() };
    assert_eq!(verdict(&proof(&only_scan), "untouched", None), Verdict::Broken);
    let outside = DVec3::new(30.0, 0.0, 15.0);
    let astray = Scene {
        scan: with_void(&good.scan, 0.3, outside),
        part: with_void(&good.part, 0.3, outside),
        case: good.case.clone(),
    };
    assert_eq!(verdict(&proof(&astray), "closed", None), Verdict::Broken);
}
