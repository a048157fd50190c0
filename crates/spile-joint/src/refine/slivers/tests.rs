use super::changes::height_share;
use super::*;

/// A strip of two rows of squares over a rim of `n` points, closed round a cylinder
/// of radius 5, the point `moved` of the rim shifted along it by a share of an edge.
fn strip(moved: usize, by: f64) -> (Mesh, Vec<u32>) {
    let n = 24usize;
    let point = |row: usize, j: usize| {
        let shift = if row == 2 && j == moved { by } else { 0.0 };
        let a = std::f64::consts::TAU * (j as f64 + shift) / n as f64;
        DVec3::new(5.0 * a.cos(), 5.0 * a.sin(), row as f64)
    };
    let points = (0..3).flat_map(|row| (0..n).map(move |j| point(row, j))).collect();
    let cells = (0..2 * n).map(|c| (c / n * n, c % n));
    let triangles = cells.flat_map(|(row, j)| {
        let [a, b, c, d] =
            [row + j, row + (j + 1) % n, row + n + (j + 1) % n, row + n + j].map(|v| v as u32);
        [[a, b, c], [a, c, d]]
    });
    let rim = (2 * n as u32..3 * n as u32).collect();
    (Mesh::new(points, triangles.collect()).unwrap(), rim)
}

fn worst(mesh: &Mesh) -> f64 {
    let shares = (0..mesh.triangles().len()).map(|t| height_share(mesh.corners(t)));
    shares.fold(f64::INFINITY, f64::min)
}

#[test]
fn two_points_of_a_rim_that_all_but_meet_become_one() {
    let (mesh, rim) = strip(7, 0.97);
    assert!(worst(&mesh) < 0.05);
    let (mended, short) =
        without_slivers(&mesh, &rim, 24, 1.3, (&Bvh::build(&mesh), f64::INFINITY)).unwrap();
    assert_eq!(short.len(), rim.len() - 1);
    assert!(worst(&mended) > FLAT, "{}", worst(&mended));
    assert_eq!(mended.points()[..24], mesh.points()[..24]);
    let topology = spile_mesh::Topology::of(&mended);
    assert!(topology.nonmanifold_edges().is_empty() && topology.misoriented_edges().is_empty());
    assert_eq!(spile_mesh::boundary_loops(&mended, &topology).len(), 2);
}

#[test]
fn what_is_sound_stays() {
    let (mesh, rim) = strip(7, 0.2);
    assert!(without_slivers(&mesh, &rim, 24, 1.3, (&Bvh::build(&mesh), f64::INFINITY)).is_none());
}

#[test]
fn a_flat_triangle_gets_its_longest_edge_turned() {
    // Four points: the lower triangle's apex lies all but on the edge from 0 to 1.
    let points = [(0.0, 0.0), (2.0, 0.0), (1.0, 0.05), (1.0, -1.0)];
    let points: Vec<DVec3> = points.iter().map(|&(x, y)| DVec3::new(x, y, 0.0)).collect();
    let mesh = Mesh::new(points, vec![[0, 1, 2], [1, 0, 3]]).unwrap();
    let (mended, _) =
        without_slivers(&mesh, &[2], 4, 1.0, (&Bvh::build(&mesh), f64::INFINITY)).unwrap();
    assert!(worst(&mended) > 0.4);
    assert!((0..2).all(|t| mended.area_normal(t).z > 0.0));
}

#[test]
fn a_flat_triangle_on_the_rim_is_left_out() {
    // One rim point of the strip lies lower than its neighbours, all but on the row below.
    let (mesh, rim) = strip(7, 0.0);
    let n = rim.len();
    let mut points = mesh.points().to_vec();
    // The inner corner of the triangle on the rim's edge from 7 to 8 comes to that edge.
    let [a, b] = [rim[7], rim[8]];
    let on_edge = |c: &[u32; 3]| c.contains(&a) && c.contains(&b);
    let corners = *mesh.triangles().iter().find(|c| on_edge(c)).unwrap();
    let apex = corners.into_iter().find(|&v| v != a && v != b).unwrap();
    let middle = points[a as usize].midpoint(points[b as usize]);
    points[apex as usize] = middle - DVec3::Z * 0.03;
    let mesh = Mesh::new(points, mesh.triangles().to_vec()).unwrap();
    let (mended, longer) =
        without_slivers(&mesh, &rim, 24, 1.3, (&Bvh::build(&mesh), f64::INFINITY)).unwrap();
    assert_eq!(longer.len(), n + 1);
    assert!(worst(&mended) > FLAT, "{}", worst(&mended));
    let topology = spile_mesh::Topology::of(&mended);
    assert_eq!(spile_mesh::boundary_loops(&mended, &topology).len(), 2);
}

#[test]
fn a_change_that_leads_too_far_is_not_made_and_the_others_are() {
    let (mesh, rim) = strip(7, 0.97);
    let mut points = mesh.points().to_vec();
    let turn = std::f64::consts::TAU / 24.0;
    let at = |j: f64| DVec3::new(5.0 * (j * turn).cos(), 5.0 * (j * turn).sin(), 2.0);
    points[rim[15] as usize] = at(15.97) + 0.3 * DVec3::Z;
    let mesh = Mesh::new(points, mesh.triangles().to_vec()).unwrap();
    let (_, both) =
        without_slivers(&mesh, &rim, 24, 1.3, (&Bvh::build(&mesh), f64::INFINITY)).unwrap();
    assert_eq!(both.len(), rim.len() - 2);
    let (_, one) = without_slivers(&mesh, &rim, 24, 1.3, (&Bvh::build(&mesh), 0.08)).unwrap();
    assert_eq!(one.len(), rim.len() - 1);
}
