use spile_mesh::{Mesh, boundary_loops, section};

use super::*;

fn scan(points: &[[f64; 3]], triangles: &[[u32; 3]]) -> Scan {
    let points = points.iter().map(|&p| DVec3::from_array(p)).collect();
    Scan::of(&[Mesh::new(points, triangles.to_vec()).unwrap()])
}

/// An octahedron of radius 1, points +x +y -x -y +z -z.
fn octahedron() -> Scan {
    let points = [
        [1.0, 0.0, 0.0],
        [0.0, 1.0, 0.0],
        [-1.0, 0.0, 0.0],
        [0.0, -1.0, 0.0],
        [0.0, 0.0, 1.0],
        [0.0, 0.0, -1.0],
    ];
    let triangles: Vec<[u32; 3]> =
        (0..4).flat_map(|i| [[i, (i + 1) % 4, 4], [(i + 1) % 4, i, 5]]).collect();
    scan(&points, &triangles)
}

/// Cuts at the one loop that the plane has; tells the side and what stays.
fn cut(scan: &Scan, point: DVec3, normal: DVec3) -> Result<(CutSide, Mesh), CutError> {
    let plane = Plane { point, normal: normal.normalize() };
    let mut found = section(&scan.mesh, &scan.topology, plane, None);
    assert_eq!(found.len(), 1);
    let loops = EndLoops { plane, bore: found.remove(0), outside: None };
    let lengths = CutLengths { close: 1e-3, lift: 0.02 };
    let first = scan.mesh.points().len() as u32;
    let side = cut_side(scan, &loops, WallSide::Bore, lengths, first)?;
    let mut points = scan.mesh.points().to_vec();
    points.extend(&side.new_points);
    let mut triangles = side.pieces.clone();
    triangles.extend(
        scan.mesh
            .triangles()
            .iter()
            .enumerate()
            .filter(|(t, _)| {
                let t = *t as u32;
                side.crossed.binary_search(&t).is_err() && side.removed.binary_search(&t).is_err()
            })
            .map(|(_, &c)| c),
    );
    Ok((side, Mesh::new(points, triangles).unwrap()))
}

/// What must hold of any cut: one rim, the boundary of what stays, and no
/// triangle without height.
fn check(scan: &Scan, point: DVec3, normal: DVec3) -> (CutSide, Mesh) {
    let (side, stays) = cut(scan, point, normal).unwrap();
    let topology = spile_mesh::Topology::of(&stays);
    let mut loops = boundary_loops(&stays, &topology);
    assert_eq!(loops.len(), 1);
    let least = (0..loops[0].len()).min_by_key(|&i| loops[0][i]).unwrap();
    loops[0].rotate_left(least);
    assert_eq!(loops[0], side.rim);
    for t in 0..stays.triangles().len() {
        assert!(stays.area_normal(t).length() > 1e-5, "{:?}", stays.triangles()[t]);
    }
    (side, stays)
}

#[test]
fn a_plane_through_four_points_keeps_the_triangles_below_whole() {
    let scan = octahedron();
    for normal in [DVec3::Z, -DVec3::Z, DVec3::X, -DVec3::Y] {
        let (side, stays) = check(&scan, DVec3::ZERO, normal);
        assert!(side.new_points.is_empty());
        assert_eq!((side.crossed.len(), side.removed.len(), stays.triangles().len()), (4, 4, 4));
    }
}

#[test]
fn a_plane_through_two_points_runs_through_them() {
    // Through +z and -z and across the square between: two corners on the
    // plane, two edges crossed in their middles.
    let (side, stays) = check(&octahedron(), DVec3::ZERO, DVec3::new(1.0, 1.0, 0.0));
    assert_eq!((side.new_points.len(), side.rim.len()), (2, 4));
    // Two faces whole, four halved.
    assert_eq!(stays.triangles().len(), 6);
}

#[test]
fn points_a_hair_off_the_plane_leave_no_slivers() {
    for hair in [1e-15, 1e-9, 5e-4] {
        for normal in [DVec3::Z, DVec3::new(1.0, 1.0, 0.0), DVec3::new(1e-9, 0.0, 1.0)] {
            let scan = octahedron();
            check(&scan, -hair * normal.normalize(), normal);
            let (side, _) = check(&scan, hair * normal.normalize(), normal);
            let off = side.new_points.iter().map(|p| p.dot(normal.normalize()));
            assert!(off.into_iter().all(|h| (-1e-3..=0.0201).contains(&(h - hair))));
        }
    }
}

#[test]
fn a_plane_through_a_saddle_is_raised_until_its_rim_is_simple() {
    // A sheet over a grid, z = x y: the plane through the saddle has a rim
    // that passes the middle twice, and it is open; closed into a dome by a
    // skirt that hangs far below, it is one loop that touches itself.
    let n = 6i32;
    let (mut points, mut triangles) = (Vec::new(), Vec::new());
    let id = |i: i32, j: i32| ((i + n) * (2 * n + 1) + j + n) as u32;
    for i in -n..=n {
        for j in -n..=n {
            let edge = i.abs() == n || j.abs() == n;
            let z = if edge { -3.0 } else { 0.1 * f64::from(i * j) };
            points.push([f64::from(i), f64::from(j), z]);
        }
    }
    for i in -n..n {
        for j in -n..n {
            let (a, b, c, d) = (id(i, j), id(i + 1, j), id(i + 1, j + 1), id(i, j + 1));
            triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    let scan = scan(&points, &triangles);
    let plane = Plane { point: DVec3::ZERO, normal: DVec3::Z };
    let found = section(&scan.mesh, &scan.topology, plane, None);
    for bore in found {
        let loops = EndLoops { plane, bore, outside: None };
        let lengths = CutLengths { close: 1e-3, lift: 0.02 };
        let first = scan.mesh.points().len() as u32;
        let side = cut_side(&scan, &loops, WallSide::Bore, lengths, first).unwrap();
        assert_eq!(repeated(&side.rim), None);
        let top = side.new_points.iter().map(|p| p.z).fold(0.0, f64::max);
        assert!(top <= 0.04, "{top}");
    }
}
