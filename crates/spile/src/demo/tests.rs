use std::collections::HashMap;

use spile_mesh::{DVec3, Mesh};

use super::*;

/// How many directed edges lie on the border, and whether each edge otherwise
/// has exactly one partner that runs the other way.
fn border(mesh: &Mesh) -> usize {
    let mut edges: HashMap<(u32, u32), u32> = HashMap::new();
    for &[a, b, c] in mesh.triangles() {
        for edge in [(a, b), (b, c), (c, a)] {
            *edges.entry(edge).or_default() += 1;
        }
    }
    assert!(edges.values().all(|&n| n == 1), "an edge is used twice the same way round");
    edges.keys().filter(|&&(a, b)| !edges.contains_key(&(b, a))).count()
}

/// Points where the border passes more than once.
fn pinched(mesh: &Mesh) -> usize {
    let mut edges: HashMap<(u32, u32), bool> = HashMap::new();
    for &[a, b, c] in mesh.triangles() {
        edges.extend([((a, b), true), ((b, c), true), ((c, a), true)]);
    }
    let mut passes: HashMap<u32, usize> = HashMap::new();
    for &(a, b) in edges.keys().filter(|&&(a, b)| !edges.contains_key(&(b, a))) {
        *passes.entry(a).or_default() += 1;
        *passes.entry(b).or_default() += 0;
    }
    passes.values().filter(|&&n| n != 1).count()
}

fn number_after(text: &str, key: &str) -> [f64; 3] {
    let after = text.split(key).nth(1).unwrap();
    let list = after.split_once('[').unwrap().1.split_once(']').unwrap().0;
    let numbers: Vec<f64> = list.split(',').map(|n| n.trim().parse().unwrap()).collect();
    numbers.try_into().unwrap()
}

#[test]
fn the_phantom_is_manifold_and_open_at_both_ends_of_both_walls() {
    let mesh = phantom();
    let count = mesh.triangles().len();
    assert!((30_000..=60_000).contains(&count), "{count} triangles");
    assert!(border(&mesh) > 0);
    assert_eq!(pinched(&mesh), 0);
    // Two walls, each a sphere with two holes: points - edges + triangles = 0.
    let edges = (3 * count + border(&mesh)) / 2;
    assert_eq!(mesh.points().len() + count, edges);
}

#[test]
fn every_coordinate_is_an_exact_f32_and_no_two_points_fall_together() {
    let mesh = phantom();
    assert_eq!(mesh, mesh.rounded());
    let mut points: Vec<[u64; 3]> =
        mesh.points().iter().map(|p| p.to_array().map(f64::to_bits)).collect();
    let all = points.len();
    points.sort_unstable();
    points.dedup();
    assert_eq!(points.len(), all);
}

#[test]
fn both_walls_follow_the_formula_and_face_out_of_the_wall() {
    let shape = Shape::new();
    for wall in [Wall::Outside, Wall::Bore] {
        let mesh = trim::to_rims(&shape, wall, &march::surface(&shape, wall, STEP));
        let (mut facing_away, mut far) = (0, 0);
        for t in 0..mesh.triangles().len() {
            let middle = mesh.corners(t).iter().sum::<DVec3>() / 3.0;
            let normal = mesh.area_normal(t).normalize();
            let ahead = shape.field(wall, middle + 0.3 * normal);
            let here = shape.field(wall, middle);
            let outward = if wall == Wall::Outside { ahead > here } else { ahead < here };
            facing_away += usize::from(!outward);
            // Chord of a grid diagonal on the smallest radius, plus noise.
            far += usize::from(here.abs() > 0.25);
        }
        // Only the needles beside the six bumps may be turned or off.
        assert!(facing_away <= 20, "{wall:?}: {facing_away} face the wrong way");
        assert!(far > 0 && far <= 150, "{wall:?}: {far} off the formula");
    }
}

#[test]
fn the_two_walls_stay_apart_at_every_grid_point() {
    // The surfaces are zero sets of two linear functions on the same
    // tetrahedra: if one is greater at all grid points, they cannot meet.
    let shape = Shape::new();
    for i in 0..40_000u32 {
        let at = |n: u32| f64::from(i.wrapping_mul(n) % 997) / 997.0;
        let p = DVec3::new(-20.0, -16.0, 18.0)
            + DVec3::new(37.0, 30.0, 80.0) * DVec3::new(at(7919), at(104_729), at(1_299_709));
        let place = [i64::from(i), 3, 5];
        let gap = shape.noisy(Wall::Bore, p, place) - shape.noisy(Wall::Outside, p, place);
        assert!(gap > 1.5, "{gap} at {p}");
    }
}

#[test]
fn a_larger_phantom_has_the_same_upper_end_and_stays_joined() {
    let (small, large) = (phantom(), phantom_of_size(200_000));
    let count = large.triangles().len();
    assert!((195_000..=215_000).contains(&count), "{count}");
    assert_eq!(pinched(&large), 0);
    let ends = [(Shape::new().upper_end(), NEAR), (Shape::new().lower_end(), NEAR_PLAIN)];
    let is_near = |p: DVec3| ends.iter().any(|(e, d)| (e.at - p).dot(e.facing) < d - 3.0);
    let near = |mesh: &Mesh| {
        (0..mesh.triangles().len())
            .map(|t| mesh.corners(t))
            .filter(|c| c.iter().all(|&p| is_near(p)))
            .map(|c| c.map(|p| p.to_array()))
            .collect::<Vec<_>>()
    };
    // Compared outside assert_eq!, which would print all of both.
    assert!(near(&small) == near(&large));
    assert!(near(&small).len() > 10_000);
    assert!((small.area() / large.area() - 1.0).abs() < 1e-6);
}

#[test]
fn the_case_cuts_square_to_the_formulas_centreline() {
    let shape = Shape::new();
    let upper = case_text().split("name    = \"upper\"").nth(1).unwrap();
    let lower = case_text().split("name = \"lower\"").nth(1).unwrap();
    for (text, end, depth) in [(upper, shape.upper_end(), 4.0), (lower, shape.lower_end(), 3.5)] {
        let through = DVec3::from_array(number_after(text, "through ="));
        let facing = DVec3::from_array(number_after(text, "facing ="));
        assert!(through.distance(end.at - depth * end.facing) < 0.01);
        assert!(facing.distance(end.facing) < 1e-3);
    }
    assert!(case_text().contains(SCAN_NAME));
}

#[test]
fn the_keep_touches_the_outside_wall_within_reach() {
    let at = DVec3::from_array(number_after(case_text(), "ball = { at ="));
    assert!(Shape::new().field(Wall::Outside, at).abs() < 0.1);
}
