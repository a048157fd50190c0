use glam::{DQuat, DVec3};
use proptest::prelude::*;

use super::*;
use crate::shapes::{flipped, together, torus, tube};

fn cut(mesh: &Mesh, point: DVec3, normal: DVec3) -> Vec<SectionLoop> {
    let topology = Topology::of(mesh);
    let plane = Plane { point, normal: normal.normalize() };
    let loops = section(mesh, &topology, plane, None);
    // The accelerated way must give the same bits.
    let near = section_near(mesh, &topology, &Bvh::build(mesh), plane, DVec3::ZERO, 1e3);
    assert_eq!(loops, near);
    for curve in &loops {
        let scale = 1e-12 * (1.0 + mesh.bounds().diagonal());
        assert!(curve.points.iter().all(|&p| plane.height(p).abs() < scale));
        assert_eq!(curve.points.len(), curve.triangles.len() + usize::from(!curve.closed));
    }
    loops
}

fn tilted(deg: f64) -> DVec3 {
    let (s, c) = deg.to_radians().sin_cos();
    DVec3::new(s * 0.8, s * 0.6, c)
}

#[test]
fn oblique_cut_of_a_cylinder() {
    // check-values C5: r 9, 30 degrees, 293.835497; inscribed 64-gon factor
    // 0.998394393 (polygon.csv). The walls are two triangles long.
    let mesh = tube(64, &[-20.0, 20.0], |_| 9.0);
    let n = tilted(30.0);
    let loops = cut(&mesh, DVec3::ZERO, n);
    assert_eq!(loops.len(), 1);
    assert!(loops[0].closed);
    let exact = 32.0 * 81.0 * (std::f64::consts::TAU / 64.0).sin() / 30f64.to_radians().cos();
    assert!((loops[0].area(n) / exact - 1.0).abs() < 1e-12);
    assert!((loops[0].area(n) / (293.835_497 * 0.998_394_393) - 1.0).abs() < 1e-8);
    assert!(loops[0].centroid(n).length() < 1e-12);
}

#[test]
fn oblique_cuts_of_cones() {
    // check-values C6 (1:40) and C7 (1:2): D 22 on the axis, 30 degrees.
    for (taper, area) in [(1.0 / 40.0, 438.973_740_5), (0.5, 453.022_404_1)] {
        let mesh = tube(2400, &[-12.0, 12.0], |z| 11.0 + 0.5 * taper * z);
        let n = tilted(30.0);
        let loops = cut(&mesh, DVec3::ZERO, n);
        assert_eq!(loops.len(), 1);
        // An inscribed polygon has less than the round area, by about
        // (2 pi / n)^2 / 6 = 1.1e-6 of it.
        let share = loops[0].area(n) / area;
        assert!(share < 1.0 && share > 1.0 - 4e-6, "{share}");
    }
}

#[test]
fn a_torus_cut_by_planes_square_to_and_along_its_axis() {
    let mesh = torus(96, 48, 30.0, 9.0);
    // Through the axis: two circles, both counter-clockwise, and the plane
    // runs along edges of the mesh.
    let across = cut(&mesh, DVec3::ZERO, DVec3::Y);
    let ngon = 24.0 * 81.0 * (std::f64::consts::TAU / 48.0).sin();
    assert_eq!(across.len(), 2);
    for curve in &across {
        assert!(curve.closed && (curve.area(DVec3::Y) / ngon - 1.0).abs() < 1e-12);
    }
    // Square to it, through the points at z = 0: outer and inner circle.
    let flat = cut(&mesh, DVec3::ZERO, DVec3::Z);
    assert_eq!(flat.len(), 2);
    let mut areas: Vec<f64> = flat.iter().map(|l| l.area(DVec3::Z)).collect();
    areas.sort_by(f64::total_cmp);
    let circle = |r: f64| 48.0 * r * r * (std::f64::consts::TAU / 96.0).sin();
    assert!((areas[0] / -circle(21.0) - 1.0).abs() < 1e-12);
    assert!((areas[1] / circle(39.0) - 1.0).abs() < 1e-12);
    assert_eq!(nesting(&flat, DVec3::Z).iter().flatten().count(), 1);
}

#[test]
fn nested_tubes_know_what_is_round_them() {
    let walls = [1.0, 2.0, 4.0, 7.0].map(|r| tube(24, &[-3.0, 0.0, 3.0], |_| r));
    let mesh = together(&together(&walls[2], &flipped(&walls[0])), &together(&walls[3], &walls[1]));
    let n = tilted(10.0);
    let loops = cut(&mesh, DVec3::ZERO, n);
    // In the mesh's order: radius 4, 1, 7, 2.
    assert_eq!(nesting(&loops, n), vec![Some(2), Some(3), None, Some(0)]);
    assert!(loops[1].area(n) < 0.0);
}

#[test]
fn side_by_side_tubes_are_not_nested() {
    let moved = |x: f64| {
        let (points, triangles) = tube(24, &[-3.0, 3.0], |_| 2.0).into_parts();
        Mesh::new(points.iter().map(|&p| p + x * DVec3::X).collect(), triangles).unwrap()
    };
    let loops = cut(&together(&moved(0.0), &moved(5.0)), DVec3::ZERO, DVec3::Z);
    assert_eq!(nesting(&loops, DVec3::Z), vec![None, None]);
}

#[test]
fn a_plane_along_edges_and_through_points_still_closes() {
    // The octahedron: plane through four points, along four edges.
    let points = [DVec3::X, DVec3::Y, -DVec3::X, -DVec3::Y, DVec3::Z, -DVec3::Z].to_vec();
    let mut triangles = Vec::new();
    for i in 0..4 {
        triangles.push([i, (i + 1) % 4, 4]);
        triangles.push([(i + 1) % 4, i, 5]);
    }
    let mesh = Mesh::new(points, triangles).unwrap();
    for n in [DVec3::Z, -DVec3::Z] {
        let loops = cut(&mesh, DVec3::ZERO, n);
        assert_eq!(loops.len(), 1);
        assert!(loops[0].closed);
        assert!((loops[0].area(n) - 2.0).abs() < 1e-15);
    }
    // Through one point alone: above, so a loop of no length below the top.
    let loops = cut(&mesh, DVec3::Z, DVec3::Z);
    assert_eq!(loops.len(), 1);
    assert_eq!(loops[0].area(DVec3::Z), 0.0);
    assert!(cut(&mesh, -DVec3::Z, DVec3::Z).is_empty());
}

#[test]
fn an_open_surface_gives_open_chains_from_end_to_end() {
    let mesh = tube(16, &[-5.0, 5.0], |_| 2.0);
    let loops = cut(&mesh, DVec3::ZERO, DVec3::X);
    assert_eq!(loops.len(), 2);
    assert!(loops.iter().all(|l| !l.closed));
    assert!(loops.iter().all(|l| (l.perimeter() - 10.0).abs() < 1e-12));
}

#[test]
fn some_triangles_give_their_part_of_the_curve() {
    let mesh = tube(16, &[-5.0, 5.0], |_| 2.0);
    let topology = Topology::of(&mesh);
    let plane = Plane { point: DVec3::ZERO, normal: DVec3::Z };
    let loops = section(&mesh, &topology, plane, Some(&[7, 3, 4, 5, 6, 4, 2]));
    assert_eq!(loops.len(), 1);
    assert!(!loops[0].closed);
    // Round the tube the second triangle of each quad comes first.
    assert_eq!(loops[0].triangles, vec![3, 2, 5, 4, 7, 6]);
}

#[test]
fn near_keeps_to_the_curves_that_come_near() {
    let mesh = torus(96, 48, 30.0, 9.0);
    let topology = Topology::of(&mesh);
    let plane = Plane { point: DVec3::ZERO, normal: DVec3::Y };
    let bvh = Bvh::build(&mesh);
    let loops = section_near(&mesh, &topology, &bvh, plane, 30.0 * DVec3::X, 10.0);
    assert_eq!(loops.len(), 1);
    assert!(loops[0].closed && loops[0].centroid(DVec3::Y).x > 29.0);
    let none = section_near(&mesh, &topology, &bvh, plane, 30.0 * DVec3::X, 8.0);
    assert!(none.is_empty());
}

/// The segment in which a plane cuts one triangle, worked out by itself: the
/// plain twin of what `section` follows.
fn plain_segment(corners: [DVec3; 3], plane: Plane) -> Option<[DVec3; 2]> {
    let mut ends = vec![];
    for k in 0..3 {
        let (p, q) = (corners[k], corners[(k + 1) % 3]);
        let (a, b) = (plane.height(p), plane.height(q));
        if (a >= 0.0) != (b >= 0.0) {
            // Going down is where the segment starts.
            ends.push((b >= 0.0, p.lerp(q, a / (a - b))));
        }
    }
    ends.sort_by_key(|end| end.0);
    (ends.len() == 2).then(|| [ends[0].1, ends[1].1])
}

proptest! {
    #[test]
    fn curves_are_the_plain_segments_joined(
        seed in 0u64..1000, tilt in 0.0..3.1f64, height in -8.0..8.0f64,
    ) {
        let mesh = torus(24, 12, 6.0, 3.0);
        let n = (DQuat::from_rotation_z(seed as f64) * tilted(tilt.to_degrees())).normalize();
        let plane = Plane { point: n * height, normal: n };
        let mut plain: Vec<(u32, [DVec3; 2])> = (0..mesh.triangles().len())
            .filter_map(|t| Some((t as u32, plain_segment(mesh.corners(t), plane)?)))
            .collect();
        plain.sort_by_key(|&(t, _)| t);
        let loops = section(&mesh, &Topology::of(&mesh), plane, None);
        let mut joined: Vec<(u32, [DVec3; 2])> = loops
            .iter()
            .flat_map(|l| l.triangles.iter().copied().zip(l.segments()))
            .collect();
        joined.sort_by_key(|&(t, _)| t);
        prop_assert_eq!(plain.len(), joined.len());
        for (p, j) in plain.iter().zip(&joined) {
            prop_assert_eq!(p.0, j.0);
            prop_assert!(p.1[0].distance(j.1[0]) < 1e-9 && p.1[1].distance(j.1[1]) < 1e-9);
        }
    }


    #[test]
    fn loops_of_a_closed_mesh_close(
        seed in 0u64..1000, tilt in 0.0..3.1f64, height in -8.0..8.0f64,
    ) {
        let mesh = torus(24, 12, 6.0, 3.0);
        // Points on an integer grid, so that planes run through many of them.
        let (points, triangles) = mesh.into_parts();
        let mesh = Mesh::new(points.iter().map(|p| p.round()).collect(), triangles).unwrap();
        let n = DQuat::from_rotation_z(seed as f64) * tilted(tilt.to_degrees());
        let n = if seed % 3 == 0 { DVec3::AXES[(seed % 9 / 3) as usize] } else { n.normalize() };
        for point in [n * height, n * height.round()] {
            for curve in cut(&mesh, point, n) {
                prop_assert!(curve.closed);
            }
        }
    }
}
