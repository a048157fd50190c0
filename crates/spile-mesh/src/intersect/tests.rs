use proptest::prelude::*;

use super::*;
use crate::mesh::Mesh;

mod twin;

fn points(list: &[(i32, i32, i32)]) -> Vec<DVec3> {
    list.iter().map(|&(x, y, z)| DVec3::new(x.into(), y.into(), z.into())).collect()
}

fn mesh(list: &[(i32, i32, i32)], triangles: &[[u32; 3]]) -> Mesh {
    Mesh::new(points(list), triangles.to_vec()).unwrap()
}

#[test]
fn neighbours_over_an_edge() {
    let base = [(0, 0, 0), (4, 0, 0), (1, 3, 0)];
    let with = |apex| {
        let list = [base[0], base[1], base[2], apex];
        self_intersections(&mesh(&list, &[[0, 1, 2], [1, 0, 3]])).len()
    };
    assert_eq!(with((2, -3, 0)), 0, "flat");
    assert_eq!(with((2, 3, 1)), 0, "sharp, but not closed");
    assert_eq!(with((2, 3, 0)), 1, "folded shut");
    assert_eq!(with((2, 1, 0)), 1, "folded shut, one within the other");
    assert_eq!(with((1, 3, 0)), 1, "folded shut, corner on corner");
    assert_eq!(with((2, 0, 0)), 0, "without area, within the edge");
    assert_eq!(with((9, 0, 0)), 0, "without area, beyond the edge");
}

#[test]
fn neighbours_at_a_corner() {
    let with = |b: (i32, i32, i32), c: (i32, i32, i32)| {
        let list = [(0, 0, 0), (4, 0, 0), (0, 4, 0), b, c];
        self_intersections(&mesh(&list, &[[0, 1, 2], [0, 3, 4]])).len()
    };
    assert_eq!(with((-4, 0, 0), (0, -4, 0)), 0, "flat, opposite");
    assert_eq!(with((-4, 1, 0), (1, -4, 0)), 0, "flat, side by side");
    assert_eq!(with((1, 1, 1), (2, 1, 3)), 0, "above");
    assert_eq!(with((1, 1, 1), (1, 1, -1)), 1, "through the inside");
    assert_eq!(with((9, 9, 9), (9, 9, -9)), 1, "through, reaching farther");
    assert_eq!(with((1, 0, 0), (0, 1, 0)), 1, "flat, within");
    assert_eq!(with((8, 0, 0), (3, -3, 0)), 1, "along an edge, longer");
    assert_eq!(with((2, 0, 0), (3, -3, 0)), 1, "along an edge, shorter");
    assert_eq!(with((4, 0, 0), (9, -3, 0)), 1, "two vertices in one place");
    assert_eq!(with((2, 1, 0), (3, 3, 5)), 1, "an edge within the face");
}

#[test]
fn triangles_that_share_nothing() {
    let with = |list: [(i32, i32, i32); 3]| {
        let all = [(0, 0, 0), (4, 0, 0), (0, 4, 0), list[0], list[1], list[2]];
        let found = self_intersections(&mesh(&all, &[[0, 1, 2], [3, 4, 5]])).len();
        let turned = self_intersections(&mesh(&all, &[[5, 3, 4], [2, 0, 1]])).len();
        assert_eq!(found, turned);
        found
    };
    assert_eq!(with([(1, 1, -1), (1, 1, 1), (9, 9, 1)]), 1, "an edge pierces the face");
    assert_eq!(with([(1, 1, 0), (1, 2, 3), (2, 1, 3)]), 1, "a corner touches the face");
    assert_eq!(with([(2, 0, 0), (2, 0, 5), (2, -5, 0)]), 1, "a corner touches an edge");
    assert_eq!(with([(4, 0, 0), (9, 0, 5), (9, -5, 0)]), 1, "a corner touches a corner");
    assert_eq!(with([(-1, 1, 0), (-1, 2, 0), (5, 1, 0)]), 1, "flat, crossing");
    assert_eq!(with([(1, 1, 0), (2, 1, 0), (1, 2, 0)]), 1, "flat, within");
    assert_eq!(with([(0, 0, 0), (4, 0, 0), (0, 4, 0)]), 1, "in the same place");
    assert_eq!(with([(3, 3, 0), (5, 3, 0), (3, 5, 0)]), 0, "flat, beside");
    assert_eq!(with([(1, 1, 1), (2, 1, 1), (1, 2, 1)]), 0, "above");
    assert_eq!(with([(3, 3, -1), (3, 3, 1), (5, 5, 0)]), 0, "past the edge");
}

#[test]
fn the_same_triangle_twice() {
    let list = [(0, 0, 0), (4, 0, 0), (0, 4, 0)];
    assert_eq!(self_intersections(&mesh(&list, &[[0, 1, 2], [1, 2, 0]])), vec![(0, 1)]);
    assert_eq!(self_intersections(&mesh(&list, &[[0, 1, 2], [2, 1, 0]])), vec![(0, 1)]);
}

#[test]
fn triangles_without_area_are_what_they_are() {
    let list = [(0, 0, 0), (4, 0, 0), (0, 4, 0), (1, 1, -1), (1, 1, 3), (1, 1, 0), (9, 9, 9)];
    let of = |t: [u32; 3]| self_intersections(&mesh(&list, &[[0, 1, 2], t])).len();
    assert_eq!(of([3, 4, 5]), 1, "a segment through the face");
    assert_eq!(of([5, 5, 5]), 1, "a point in the face");
    assert_eq!(of([6, 6, 6]), 0, "a point elsewhere");
    assert_eq!(of([0, 0, 1]), 0, "the edge itself");
    assert_eq!(of([0, 0, 5]), 1, "from a corner into the face");
    assert_eq!(of([0, 0, 4]), 0, "from a corner away");
}

#[test]
fn rounding_does_not_decide() {
    // A corner one ulp above, on, and below a slanted face.
    let one = [DVec3::new(0.1, 0.1, 0.1), DVec3::new(0.7, 0.1, 0.3), DVec3::new(0.1, 0.9, 0.4)];
    let corner = DVec3::new(0.1, 0.1, 0.1);
    let at = |z: f64| {
        let tip = DVec3::new(corner.x, corner.y, z);
        triangles_intersect(
            one,
            [tip, tip + DVec3::new(0.0, 0.1, 1.0), tip + DVec3::new(0.1, 0.0, 1.0)],
            &[],
        )
    };
    assert!(!at(0.1_f64.next_up()));
    assert!(at(0.1));
    assert!(at(0.1_f64.next_down()));
}

#[test]
fn among_some_triangles() {
    let list = [
        (0, 0, 0),
        (4, 0, 0),
        (0, 4, 0),
        (1, 1, -1),
        (1, 1, 1),
        (9, 9, 1),
        (1, 2, -1),
        (1, 2, 1),
        (9, 9, 2),
    ];
    let mesh = mesh(&list, &[[0, 1, 2], [3, 4, 5], [6, 7, 8]]);
    let all = self_intersections(&mesh);
    assert!(all.contains(&(0, 1)) && all.contains(&(0, 2)));
    for some in [vec![], vec![0], vec![1], vec![2], vec![1, 2], vec![0, 1, 2]] {
        let expected: Vec<_> =
            all.iter().copied().filter(|(a, b)| some.contains(a) || some.contains(b)).collect();
        assert_eq!(self_intersections_among(&mesh, &some), expected);
    }
}

/// A fan round the first point with `n` triangles, and the rim's height.
fn fan(n: u32, centre: DVec3, height: impl Fn(u32) -> f64) -> (Vec<DVec3>, Vec<[u32; 3]>) {
    let mut points = vec![centre];
    points.extend((0..n).map(|i| {
        let angle = std::f64::consts::TAU * f64::from(i) / f64::from(n);
        centre + DVec3::new(angle.cos(), angle.sin(), height(i))
    }));
    (points, (0..n).map(|i| [0, 1 + i, 1 + (i + 1) % n]).collect())
}

/// The pairs by asking about each pair.
fn by_all_pairs(mesh: &Mesh) -> Vec<(u32, u32)> {
    let n = mesh.triangles().len() as u32;
    let all: Vec<u32> = (0..n).collect();
    let mut found = vec![];
    for t in 0..n {
        let with_one = self_intersections_among(mesh, &all[t as usize..=t as usize]);
        found.extend(with_one.into_iter().filter(|&(a, _)| a == t));
    }
    found
}

#[test]
fn round_a_vertex_with_many_triangles() {
    // A fan, one of its rim points pulled through a far triangle; a second fan
    // that crosses the first; a lone triangle through both; and one triangle
    // that is there twice.
    let (mut points, mut triangles) = fan(100, DVec3::ZERO, |i| 0.2 * f64::from(i % 2));
    points[20] = DVec3::new(-0.9, 0.05, -0.3);
    let (second, other) = fan(80, DVec3::new(0.3, 0.1, 0.05), |_| 0.1);
    let first = points.len() as u32;
    points.extend(second);
    triangles.extend(other.iter().map(|t| t.map(|p| p + first)));
    let lone = points.len() as u32;
    points.extend([(0.2, 0.2, -1.0), (0.2, 0.2, 1.0), (0.5, 0.2, 1.0)].map(DVec3::from));
    triangles.extend([[lone, lone + 1, lone + 2], triangles[7], [0, 0, 3], [0, 40, 300]]);
    let points_len = points.len() as u32;
    triangles.iter_mut().flatten().for_each(|p| *p = (*p).min(points_len - 1));
    let mesh = Mesh::new(points, triangles).unwrap();
    let found = self_intersections(&mesh);
    assert_eq!(found, by_all_pairs(&mesh));
    assert!(found.len() > 100 && found.contains(&(7, 181)));
    let plain = |n| {
        let (points, triangles) = fan(n, DVec3::ZERO, |i| 0.1 * (0.3 * f64::from(i)).sin());
        self_intersections(&Mesh::new(points, triangles).unwrap())
    };
    assert_eq!(plain(1000), vec![]);
}

/// Meshes on so small a grid that touching, lying flat on each other and
/// having no area are the rule.
fn crowded() -> impl Strategy<Value = (Vec<[i64; 3]>, Vec<[u32; 3]>)> {
    (2..5_i64, 3..10_usize).prop_flat_map(|(size, count)| {
        let points = prop::collection::vec([0..size, 0..size, 0..size], count);
        let n = count as u32;
        (points, prop::collection::vec([0..n, 0..n, 0..n], 2..8))
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn agrees_with_the_rational_twin((points, triangles) in crowded()) {
        let mesh = Mesh::new(
            points.iter().map(|p| DVec3::from(p.map(|c| c as f64))).collect(),
            triangles.clone(),
        ).unwrap();
        let mut expected = vec![];
        for t in 0..triangles.len() {
            for u in t + 1..triangles.len() {
                if twin::intersect(&points, triangles[t], triangles[u]) {
                    expected.push((t as u32, u as u32));
                }
            }
        }
        prop_assert_eq!(self_intersections(&mesh), expected);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]

    #[test]
    fn round_a_hub_on_a_grid(
        rim in prop::collection::vec([-3..4_i32, -3..4, -3..4], 60),
        ends in prop::collection::vec([0..60_u32, 0..60], 70..90),
    ) {
        let mut points = vec![DVec3::ZERO];
        points.extend(rim.iter().map(|p| DVec3::from(p.map(f64::from))));
        let triangles = ends.iter().map(|e| [0, e[0], e[1]]).collect();
        let mesh = Mesh::new(points, triangles).unwrap();
        prop_assert_eq!(self_intersections(&mesh), by_all_pairs(&mesh));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn whole_numbers_agree_with_the_fast_predicates(
        grid in prop::array::uniform4(prop::array::uniform3(-3..4_i32)),
        off in prop::array::uniform4(prop::array::uniform3(-2..3_i32)),
        step in prop_oneof![Just(0.0), Just(f64::EPSILON), Just(1e-25)],
    ) {
        let [a, b, c, p] = std::array::from_fn(|k| {
            let nudge = DVec3::from(off[k].map(f64::from)) * step;
            DVec3::from(grid[k].map(|g| f64::from(g) * 0.1)) + nudge
        });
        prop_assert!(any_size::is_in_range([a, b, c, p]));
        prop_assert_eq!(any_size::side_of_plane([a, b, c], p), exact::side_of_plane([a, b, c], p));
        for axis in 0..3 {
            let others = [(axis + 1) % 3, (axis + 2) % 3];
            let fast = exact::side_of_line(a, b, p, axis);
            prop_assert_eq!(any_size::side_of_line(a, b, p, others), fast);
        }
    }

    #[test]
    fn size_does_not_decide((points, triangles) in crowded()) {
        // Powers of two take no digit away, so the pairs stay the same.
        let of = |size: f64| {
            let points = points.iter().map(|p| DVec3::from(p.map(|c| c as f64 * size))).collect();
            self_intersections(&Mesh::new(points, triangles.clone()).unwrap())
        };
        let found = of(1.0);
        for size in [f64::from_bits(1), 2.0_f64.powi(-700), 2.0_f64.powi(1020)] {
            prop_assert_eq!(of(size), found.clone(), "{}", size);
        }
    }
}

#[test]
fn sizes_that_plain_arithmetic_loses_decide() {
    // Corners 1e-300 above, on and below a face that is 1e300 wide: the
    // determinant of the plain differences is 0 or overflows.
    let face = [(0.0, 0.0), (1e300, 0.0), (0.0, 1e300)].map(|(x, y)| DVec3::new(x, y, 0.0));
    let meets = |z: f64| {
        let tip = DVec3::new(1.0, 1.0, z);
        triangles_intersect(face, [tip, tip + DVec3::Z, tip + DVec3::new(1e200, 0.0, 1.0)], &[])
    };
    assert!(!meets(1e-300) && meets(0.0) && meets(-1e-300));
    // Slanted, so that no coordinate is common: the tip stands off by 5e-324.
    let slope = [(0.0, 0.0, 0.0), (1e300, 0.0, 1e300), (0.0, 1e300, 0.0)].map(DVec3::from);
    let meets = |off: f64| {
        let tip = DVec3::new(1e-10, 1e-10, 1e-10_f64) + DVec3::new(0.0, 0.0, off);
        triangles_intersect(
            slope,
            [tip, DVec3::new(1e-10, 1.0, 2.0), DVec3::new(1e-10, 2.0, 2.0)],
            &[],
        )
    };
    assert!(meets(0.0) && !meets(1e-26) && meets(-1e-26));
}
