use proptest::prelude::*;

use super::*;

/// A sphere about the origin of `rings` times `2 * rings` quads, whose corners
/// lie on it; its facets reach in to `radius * inner_share(rings)` or further.
fn sphere(radius: f64, rings: u32) -> Mesh {
    let around = 2 * rings;
    let mut points = vec![];
    for i in 0..=rings {
        for j in 0..around {
            let (polar, turn) = (
                std::f64::consts::PI * f64::from(i) / f64::from(rings),
                std::f64::consts::TAU * f64::from(j) / f64::from(around),
            );
            let (sin, cos) = (polar.sin(), polar.cos());
            points.push(radius * DVec3::new(sin * turn.cos(), sin * turn.sin(), cos));
        }
    }
    let mut triangles = vec![];
    for i in 0..rings {
        for j in 0..around {
            let (a, b) = (i * around + j, i * around + (j + 1) % around);
            triangles.extend([[a, a + around, b], [b, a + around, b + around]]);
        }
    }
    Mesh::new(points, triangles).unwrap()
}

/// An open n-gon tube along z with corners at `radius`, the first one turned
/// by `turn`, split into `rows` rows.
fn tube(n: u32, radius: f64, turn: f64, length: f64, rows: u32, centre: DVec3) -> Mesh {
    let mut points = vec![];
    for i in 0..=rows {
        for j in 0..n {
            let angle = turn + std::f64::consts::TAU * f64::from(j) / f64::from(n);
            let z = length * f64::from(i) / f64::from(rows);
            points.push(centre + DVec3::new(radius * angle.cos(), radius * angle.sin(), z));
        }
    }
    let mut triangles = vec![];
    for i in 0..rows {
        for j in 0..n {
            let (a, b) = (i * n + j, i * n + (j + 1) % n);
            triangles.extend([[a, b, a + n], [b, b + n, a + n]]);
        }
    }
    Mesh::new(points, triangles).unwrap()
}

/// A flat square from the origin to (size, size).
fn square(size: f64) -> Mesh {
    let points = [(0.0, 0.0), (size, 0.0), (size, size), (0.0, size)];
    let points = points.map(|(x, y)| DVec3::new(x, y, 0.0)).to_vec();
    Mesh::new(points, vec![[0, 1, 2], [0, 2, 3]]).unwrap()
}

/// A wavy sheet of n by n quads over a square of side 10; the diagonal runs
/// one way or the other.
fn sheet(n: u32, is_turned: bool) -> Mesh {
    let mut points = vec![];
    let mut triangles = vec![];
    for i in 0..=n {
        for j in 0..=n {
            let (x, y) = (10.0 * f64::from(i) / f64::from(n), 10.0 * f64::from(j) / f64::from(n));
            points.push(DVec3::new(x, y, (0.7 * x).sin() * (0.9 * y).cos()));
            if i > 0 && j > 0 {
                let k = i * (n + 1) + j;
                let (a, b, c, d) = (k - n - 2, k - 1, k, k - n - 1);
                if is_turned {
                    triangles.extend([[a, b, d], [b, c, d]]);
                } else {
                    triangles.extend([[a, b, c], [a, c, d]]);
                }
            }
        }
    }
    Mesh::new(points, triangles).unwrap()
}

fn assert_holds(bounds: Bounds, truth: f64, gap: f64) {
    assert!(bounds.lo <= truth && truth <= bounds.hi, "{truth} is not in {bounds:?}");
    assert!(bounds.hi - bounds.lo <= gap, "{bounds:?} is wider than {gap}");
}

#[test]
fn squares_with_a_common_corner() {
    // check-values C28: 10 and 20, 0 one way, 14.142136 the other.
    let both = hausdorff(&square(10.0), &square(20.0), 1e-9);
    assert_holds(both.a_to_b, 0.0, 1e-9);
    assert_holds(both.b_to_a, 200.0_f64.sqrt(), 1e-9);
    assert_eq!(both.b_to_a.at, DVec3::new(20.0, 20.0, 0.0));
    assert_holds(both.bounds(), 200.0_f64.sqrt(), 1e-9);
}

#[test]
fn a_prism_against_itself_turned_by_half_a_step() {
    // check-values C27: R (1 - cos(pi / n)): n = 32: 0.0481527, n = 64:
    // 0.0120454. Flat to flat the edge stands off that far; the ends are open,
    // so that the distance is the same at both.
    for (n, listed) in [(32, 0.048_152_7), (64, 0.012_045_4)] {
        let truth = 10.0 * (1.0 - (std::f64::consts::PI / f64::from(n)).cos());
        assert!((truth - listed).abs() < 1e-7);
        let half = std::f64::consts::PI / f64::from(n);
        let (a, b) =
            (tube(n, 10.0, 0.0, 30.0, 1, DVec3::ZERO), tube(n, 10.0, half, 30.0, 1, DVec3::ZERO));
        let both = hausdorff(&a, &b, 1e-6);
        assert_holds(both.a_to_b, truth, 1e-6);
        assert_holds(both.b_to_a, truth, 1e-6);
    }
}

#[test]
fn a_long_concave_edge_needs_no_pieces_as_small_as_the_gap() {
    // check-values C27 again, 20 times as long as it is wide: the farthest places
    // lie along the whole length of edges 200 long, and pieces of the gap's size
    // would number 20 million an edge.
    let n = 32;
    let truth = 10.0 * (1.0 - (std::f64::consts::PI / f64::from(n)).cos());
    let half = std::f64::consts::PI / f64::from(n);
    let [a, b] = [0.0, half].map(|turn| tube(n, 10.0, turn, 200.0, 1, DVec3::ZERO));
    for gap in [1e-5, 1e-7] {
        let both = hausdorff(&a, &b, gap);
        assert_holds(both.a_to_b, truth, gap);
        assert_holds(both.b_to_a, truth, gap);
    }
}

/// A prism ten thousand times as long as wide, slanting in space. The offset to
/// a facet there is so short that its direction is rounding, and the lower bound
/// along it fell to 0 under a distance of 5e-5: no cutting brought bounds closer.
#[test]
fn bounds_close_on_slanting_needles() {
    // check-values C27: R (1 - cos(pi / n)); a rigid motion changes no distance.
    let n = 100;
    let half = std::f64::consts::PI / f64::from(n);
    let truth = 0.1 * (1.0 - half.cos());
    let turn = |p: DVec3| {
        let (s, c) = 0.7_f64.sin_cos();
        let q = DVec3::new(c * p.x - s * p.z, p.y, s * p.x + c * p.z);
        DVec3::new(q.x, c * q.y - s * q.z, s * q.y + c * q.z)
    };
    let [a, b] = [0.0, half].map(|angle| {
        let upright = tube(n, 0.1, angle, 1000.0, 1, DVec3::ZERO);
        let points = upright.points().iter().map(|&p| turn(p)).collect();
        Mesh::new(points, upright.triangles().to_vec()).unwrap()
    });
    let both = hausdorff(&a, &b, 0.01 * truth);
    assert_holds(both.a_to_b, truth, 0.01 * truth);
    assert_holds(both.b_to_a, truth, 0.01 * truth);
}

#[test]
fn concentric_spheres() {
    // check-values C27: |R - r|, up to the sagitta of the facets: no facet of
    // a sphere of radius r lies deeper than r (1 - cos(step)).
    let (a, b) = (sphere(10.0, 48), sphere(11.0, 48));
    let sagitta = 11.0 * (1.0 - (std::f64::consts::PI / 48.0).cos());
    let both = hausdorff(&a, &b, 1e-4);
    assert!(both.a_to_b.hi - both.a_to_b.lo <= 1e-4);
    assert!(both.a_to_b.lo >= 1.0 - sagitta && both.a_to_b.hi <= 1.0, "{both:?}");
    // Exact the other way: from a convex surface the distance is convex, so it
    // is largest at a corner, and the sphere's plane there parts the two.
    for gap in [1e-2, 1e-4, 1e-6] {
        assert_holds(farthest(&b, None, &Bvh::build(&a), gap, None), 1.0, gap);
    }
    let wall = nearest(&a, None, &Bvh::build(&b), 1e-6).unwrap();
    assert!(wall.hi - wall.lo <= 1e-6);
    assert!(wall.lo >= 1.0 - sagitta && wall.hi <= 1.0, "{wall:?}");
}

#[test]
fn concentric_octahedra() {
    // The coarsest spheres, exact both ways: corners at 1 and 5, 4 apart; faces
    // at 1 / sqrt 3 and 5 / sqrt 3, and from within nothing is farther than that.
    let octahedron = |r: f64| {
        let corners = [DVec3::X, DVec3::Y, DVec3::Z].map(|axis| [r * axis, -r * axis]);
        let sides = (0..8).map(|k: u32| {
            let [x, y, z] = [k & 1, 2 + (k >> 1 & 1), 4 + (k >> 2 & 1)];
            if k.count_ones().is_multiple_of(2) { [x, y, z] } else { [y, x, z] }
        });
        Mesh::new(corners.concat(), sides.collect()).unwrap()
    };
    for gap in [1e-3, 1e-6, 1e-9] {
        let both = hausdorff(&octahedron(1.0), &octahedron(5.0), gap);
        assert_holds(both.a_to_b, 4.0 / 3.0_f64.sqrt(), gap);
        assert_holds(both.b_to_a, 4.0, gap);
    }
}

#[test]
fn a_corner_of_a_facet_mesh_is_nearer_than_the_facets_middle() {
    // Two turned 64-gon tubes, bore with corners at 8, outside with corners at
    // 10: the bore's corner faces the outside's facet middle, at the outside's
    // inscribed radius: 10 cos(pi / 64) - 8 (closed form).
    let half = std::f64::consts::PI / 64.0;
    let bore = tube(64, 8.0, half, 20.0, 3, DVec3::ZERO);
    let outside = tube(64, 10.0, 0.0, 20.0, 2, DVec3::ZERO);
    let wall = nearest(&bore, None, &Bvh::build(&outside), 1e-9).unwrap();
    assert_holds(wall, 10.0 * half.cos() - 8.0, 1e-9);
}

#[test]
fn tubes_that_are_not_concentric() {
    // n-gon tubes with corners at 8 and 10, facing alike, centres 0.7 apart
    // toward a corner; h = pi / n. Closed form: a face's distance from the other
    // tube's face with the same normal, (2h) j + h away from that direction, is
    // (2 - 0.7 cos) cos(h) or more from within, so 1.3 cos(h) at least and
    // 2.7 cos(h) at most. From outside it is largest at a corner (the inner
    // tube is convex): at the one opposite, 2.7.
    for n in [6, 32, 256] {
        let bore = tube(n, 8.0, 0.0, 20.0, 4, DVec3::new(0.7, 0.0, 0.0));
        let outside = tube(n, 10.0, 0.0, 20.0, 4, DVec3::ZERO);
        let flat = (std::f64::consts::PI / f64::from(n)).cos();
        let wall = nearest(&bore, None, &Bvh::build(&outside), 1e-9).unwrap();
        assert_holds(wall, 1.3 * flat, 1e-9);
        assert!(wall.at.x > 0.7 + 8.0 * (2.0 * flat * flat - 1.0) - 1e-9, "{wall:?}");
        for gap in [1e-3, 1e-6, 1e-9] {
            let both = hausdorff(&bore, &outside, gap);
            assert_holds(both.a_to_b, 2.7 * flat, gap);
            assert_holds(both.b_to_a, 2.7, gap);
        }
    }
}

#[test]
fn the_same_vertices_joined_otherwise_are_not_the_same_surface() {
    // Vertex sampling answers 0. Over one quad (corner heights 0, 0, 1, 0) one
    // diagonal is the ridge (t, t, t). It lies t above the other's flat
    // triangle and (1 - t) / sqrt 3 from the plane z = x + y - 1 of the tilted
    // one: both are equal, and the distance is largest, at t = 1 / (1 + sqrt 3)
    // (closed form).
    let points = [(0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (1.0, 1.0, 1.0), (0.0, 1.0, 0.0)];
    let points: Vec<DVec3> = points.map(DVec3::from).to_vec();
    let one = Mesh::new(points.clone(), vec![[0, 1, 2], [0, 2, 3]]).unwrap();
    let other = Mesh::new(points, vec![[0, 1, 3], [1, 2, 3]]).unwrap();
    let bounds = farthest(&one, None, &Bvh::build(&other), 1e-7, None);
    assert_holds(bounds, 1.0 / (1.0 + 3.0_f64.sqrt()), 1e-7);
    let (a, b) = (sheet(40, false), sheet(40, true));
    let both = hausdorff(&a, &b, 1e-4);
    assert!(both.a_to_b.lo > 1e-3 && both.a_to_b.hi - both.a_to_b.lo <= 1e-4, "{both:?}");
}

#[test]
fn what_lies_in_each_other_is_done_soon() {
    // A square cut otherwise, and a mesh and itself: truth 0.
    let fine = tube(60, 10.0, 0.0, 30.0, 30, DVec3::ZERO);
    let coarse = tube(60, 10.0, 0.0, 30.0, 7, DVec3::ZERO);
    let both = hausdorff(&fine, &coarse, 1e-9);
    assert_holds(both.a_to_b, 0.0, 1e-9);
    assert_holds(both.b_to_a, 0.0, 1e-9);
    let itself = hausdorff(&fine, &fine, 1e-9);
    assert_holds(itself.bounds(), 0.0, 1e-9);
}

#[test]
fn nothing_is_looked_at_below_the_limit() {
    let (a, b) = (sheet(40, false), sheet(40, true));
    let bounds = farthest(&a, None, &Bvh::build(&b), 1e-9, Some(0.2));
    assert!(bounds.hi <= 0.2 && bounds.lo <= bounds.hi);
    // The very limit, rounding included: a triangle 3 above a square.
    let above = Mesh::new(
        square(4.0).points().iter().map(|&p| p + 3.0 * DVec3::Z).collect(),
        vec![[0, 1, 2]],
    )
    .unwrap();
    let under = Bvh::build(&square(9.0));
    let at_limit = farthest(&above, None, &under, 1e-9, Some(3.0 + 1e-9));
    assert!(at_limit.hi <= 3.0 + 1e-9 && at_limit.lo <= 3.0 && at_limit.hi >= 3.0, "{at_limit:?}");
    assert!(farthest_each(&above, &[0], &under, 3.0 + 1e-9)[0] <= 3.0 + 1e-9);
    assert!(farthest_each(&above, &[0], &under, 3.0 - 1e-9)[0] > 3.0 - 1e-9);
    assert!(lies_within(&above, &under, 3.0 + 1e-9) && !lies_within(&above, &under, 3.0 - 1e-9));
    let all: Vec<u32> = (0..a.triangles().len() as u32).collect();
    let tree = Bvh::build(&b);
    let exact = farthest(&a, None, &tree, 1e-6, None);
    for (limit, is_below) in [(exact.hi + 1e-5, true), (exact.lo - 1e-5, false)] {
        let each = farthest_each(&a, &all, &tree, limit);
        assert_eq!(each.iter().all(|&hi| hi <= limit), is_below);
        assert_eq!(lies_within(&a, &tree, limit), is_below);
    }
    assert!(are_within(&a, &b, hausdorff(&a, &b, 1e-6).bounds().hi + 1e-5));
    // Triangle by triangle against the same asked for each alone.
    let each = farthest_each(&a, &all, &tree, 0.5 * exact.lo);
    for &t in all.iter().step_by(7) {
        let alone = farthest(&a, Some(&[t]), &tree, 1e-7, None);
        let is_clear = (alone.lo - 0.5 * exact.lo).abs() > 1e-6;
        assert!(!is_clear || (each[t as usize] <= 0.5 * exact.lo) == (alone.hi <= 0.5 * exact.lo));
        assert!(each[t as usize] >= alone.lo);
    }
}

#[test]
fn empty_surfaces() {
    let (none, some) = (Mesh::default(), square(1.0));
    let (no_tree, tree) = (Bvh::build(&none), Bvh::build(&some));
    assert_eq!(farthest(&none, None, &tree, 0.1, None).hi, 0.0);
    assert_eq!(farthest(&some, None, &no_tree, 0.1, None).lo, f64::INFINITY);
    assert_eq!(nearest(&none, None, &tree, 0.1), None);
    assert_eq!(nearest(&some, None, &no_tree, 0.1), None);
    assert_eq!(farthest_each(&some, &[0, 1], &no_tree, 1.0), vec![f64::INFINITY; 2]);
    assert_eq!(nearest_each(&some, &[1], &no_tree, &|_| 2.0)[0].lo, 2.0);
}

#[test]
fn triangles_that_cross_are_at_no_distance() {
    let flat = [DVec3::ZERO, 4.0 * DVec3::X, 4.0 * DVec3::Y];
    let through =
        [DVec3::new(1.0, 1.0, -1.0), DVec3::new(1.0, 1.0, 1.0), DVec3::new(9.0, 9.0, 0.0)];
    assert_eq!(triangle_distance(flat, through), 0.0);
    let above = flat.map(|p| p + 3.0 * DVec3::Z);
    assert!((triangle_distance(flat, above) - 3.0).abs() < 1e-12);
    // Two crossing edges, 1 apart (closed form).
    let along_x = [-DVec3::X, DVec3::X, -9.0 * DVec3::Z];
    let along_y = [DVec3::Z - DVec3::Y, DVec3::Z + DVec3::Y, 9.0 * DVec3::Z];
    assert!((triangle_distance(along_x, along_y) - 1.0).abs() < 1e-12);
}

#[test]
fn the_same_answer_on_any_number_of_threads() {
    let (a, b) = (sheet(30, false), sheet(23, true));
    let answer = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| (hausdorff(&a, &b, 1e-6), nearest(&a, None, &Bvh::build(&b), 1e-6)))
    };
    let one = answer(1);
    assert_eq!(one, answer(2));
    assert_eq!(one, answer(8));
}

/// The least distance to a triangle by nested search in its own parameters:
/// shares nothing with the formula in use.
fn distance_by_search(p: DVec3, [a, b, c]: [DVec3; 3]) -> f64 {
    let least = |f: &dyn Fn(f64) -> f64| {
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..60 {
            let (m1, m2) = (low + (high - low) * 0.382, low + (high - low) * 0.618);
            if f(m1) <= f(m2) { high = m2 } else { low = m1 }
        }
        f(0.5 * (low + high)).min(f(0.0)).min(f(1.0))
    };
    least(&|u| {
        let (from, to) = (a + (b - a) * u, a + (c - a) * u);
        least(&|v| p.distance(from + (to - from) * v))
    })
}

fn corner() -> impl Strategy<Value = DVec3> {
    prop_oneof![
        [-2.0..2.0_f64, -2.0..2.0, -2.0..2.0].prop_map(DVec3::from),
        [-2..3_i32, -2..3, -2..3].prop_map(|p| DVec3::from(p.map(f64::from))),
    ]
}

fn soup(most: usize) -> impl Strategy<Value = Mesh> {
    prop::collection::vec([corner(), corner(), corner()], 1..most).prop_map(|list| {
        let points: Vec<DVec3> = list.concat();
        let triangles = (0..list.len() as u32).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect();
        Mesh::new(points, triangles).unwrap()
    })
}

/// Points of a triangle on a regular grid of barycentric coordinates.
fn samples(t: [DVec3; 3], n: u32) -> Vec<DVec3> {
    let mut all = vec![];
    for i in 0..=n {
        for j in 0..=n - i {
            let (u, v) = (f64::from(i) / f64::from(n), f64::from(j) / f64::from(n));
            all.push(t[0] + (t[1] - t[0]) * u + (t[2] - t[0]) * v);
        }
    }
    all
}

/// Triangles a millionth to a tenth as high as long, far from the origin.
fn needles() -> impl Strategy<Value = Mesh> {
    let needle = ([corner(), corner(), corner()], 0.0..1.0_f64, 1e-6..0.1_f64);
    (prop::collection::vec(needle, 1..5), 0..3_i32).prop_map(|(list, far)| {
        let away = DVec3::new(300.0, -700.0, 1000.0) * f64::from(far);
        let points: Vec<DVec3> = list
            .iter()
            .flat_map(|&([a, b, off], share, height)| [a, b, a + (b - a) * share + off * height])
            .map(|p| p + away)
            .collect();
        let triangles = (0..list.len() as u32).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect();
        Mesh::new(points, triangles).unwrap()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn needles_are_bounded_as_closely(list in needles()) {
        // The mesh's first triangle against the others: same frame.
        let others: Vec<u32> = (1..list.triangles().len() as u32).collect();
        let tree = Bvh::build_of(&list, &others);
        let most = farthest(&list, Some(&[0]), &tree, 1e-6, None);
        let wall = nearest(&list, Some(&[0]), &tree, 1e-9);
        prop_assert_eq!(wall.is_some(), !others.is_empty());
        if let Some(wall) = wall {
            prop_assert!(most.hi - most.lo <= 1e-6 && wall.hi - wall.lo <= 1e-9, "{:?} {:?}", most, wall);
            let places = samples(list.corners(0), 9);
            let far = |p: &DVec3| {
                let each = others.iter().map(|&t| distance_by_search(*p, list.corners(t as usize)));
                each.fold(f64::INFINITY, f64::min)
            };
            prop_assert!(places.iter().all(|p| far(p) <= most.hi + 1e-9));
            prop_assert!(places.iter().all(|p| far(p) >= wall.lo - 1e-9));
            prop_assert!(far(&most.at) >= most.lo - 1e-9 && far(&wall.at) <= wall.hi + 1e-9);
        }
    }

    #[test]
    fn nearest_agrees_with_all_pairs(a in soup(40), b in soup(40), away in 0.0..8.0_f64) {
        let points = b.points().iter().map(|&p| p + away * DVec3::X).collect();
        let b = Mesh::new(points, b.triangles().to_vec()).unwrap();
        let all: Vec<u32> = (0..a.triangles().len() as u32).collect();
        let tree = Bvh::build(&b);
        let each = nearest_each(&a, &all, &tree, &|_| f64::INFINITY);
        let below = nearest_each(&a, &all, &tree, &|_| 2.0);
        let mut least = f64::INFINITY;
        for &t in &all {
            let brute = (0..b.triangles().len())
                .map(|u| triangle_distance(a.corners(t as usize), b.corners(u)))
                .fold(f64::INFINITY, f64::min);
            let (found, near) = (each[t as usize], below[t as usize]);
            prop_assert!((found.hi - brute).abs() < 1e-9 && found.hi - found.lo < 1e-9);
            let is_told = if brute < 2.0 { near == found } else { near.lo >= 2.0 - 1e-9 };
            prop_assert!(is_told, "{:?} {:?}", near, found);
            least = least.min(brute);
        }
        let found = nearest(&a, None, &tree, 1e-9).unwrap();
        prop_assert!((found.hi - least).abs() < 1e-9 && found.hi - found.lo < 1e-9, "{:?} {}", found, least);
        prop_assert!((tree.closest(found.at).unwrap().distance - least).abs() < 1e-9);
        // From wherever it begins.
        for &t in &all {
            prop_assert_eq!(nearest_from(&a, None, &tree, 1e-9, Some(t)), Some(found));
        }
    }

    #[test]
    fn wild_numbers_are_answered_or_refused(
        list in prop::collection::vec(prop::array::uniform9(prop::num::f64::NORMAL), 2..6),
    ) {
        let points: Vec<DVec3> =
            list.iter().flat_map(|c| [0, 3, 6].map(|k| DVec3::new(c[k], c[k + 1], c[k + 2]))).collect();
        let triangles = (0..list.len() as u32).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect();
        let mesh = Mesh::new(points, triangles).unwrap();
        let others: Vec<u32> = (1..list.len() as u32).collect();
        let tree = Bvh::build_of(&mesh, &others);
        let most = farthest(&mesh, Some(&[0]), &tree, 1e-6, None);
        let wall = nearest(&mesh, Some(&[0]), &tree, 1e-6).unwrap();
        prop_assert!(most.lo <= most.hi && wall.lo <= wall.hi, "{:?} {:?}", most, wall);
        prop_assert!(farthest_each(&mesh, &[0], &tree, 1.0)[0] >= most.lo);
        let _ = tree.ray(mesh.points()[0], mesh.points()[1]);
        let _ = crate::self_intersections(&mesh);
    }

    #[test]
    fn no_sample_is_outside_the_bounds(a in soup(4), b in soup(6)) {
        let tree = Bvh::build(&b);
        let most = farthest(&a, None, &tree, 1e-3, None);
        let wall = nearest(&a, None, &tree, 1e-6).unwrap();
        prop_assert!(most.hi - most.lo <= 1e-3 && wall.hi - wall.lo <= 1e-6, "{:?} {:?}", most, wall);
        let (mut sampled_most, mut sampled_least) = (0.0_f64, f64::INFINITY);
        for t in 0..a.triangles().len() {
            for p in samples(a.corners(t), 24) {
                let brute = (0..b.triangles().len())
                    .map(|u| crate::triangle::offset_to_triangle(p, b.corners(u)).0.length())
                    .fold(f64::INFINITY, f64::min);
                sampled_most = sampled_most.max(brute);
                sampled_least = sampled_least.min(brute);
            }
        }
        // Samples lie at most 1/24 of two edges (each under 7) apart.
        prop_assert!(sampled_most <= most.hi && most.lo <= sampled_most + 7.0 / 12.0);
        prop_assert!(wall.lo <= sampled_least && sampled_least <= wall.hi + 7.0 / 12.0);
    }

    #[test]
    fn the_distance_of_two_triangles_is_least(
        a in [corner(), corner(), corner()],
        b in [corner(), corner(), corner()],
    ) {
        let found = triangle_distance(a, b);
        prop_assert!((found - triangle_distance(b, a)).abs() < 1e-9);
        // Alternating projections go to the distance of two convex sets
        // (Cheney and Goldstein 1959), from above. They may be slow, so the
        // other side is held by the widest slab found that parts the two.
        let mut p = (a[0] + a[1] + a[2]) / 3.0;
        let (mut least, mut slab) = (f64::INFINITY, 0.0_f64);
        for _ in 0..3000 {
            let q = p + crate::triangle::offset_to_triangle(p, b).0;
            p = q + crate::triangle::offset_to_triangle(q, a).0;
            least = least.min(p.distance(q));
            let across = (p - q).normalize_or_zero();
            let low = a.iter().map(|x| x.dot(across)).fold(f64::INFINITY, f64::min);
            let high = b.iter().map(|x| x.dot(across)).fold(f64::NEG_INFINITY, f64::max);
            slab = slab.max(low - high);
        }
        prop_assert!(found <= least + 1e-12, "{} {}", found, least);
        prop_assert!(found >= slab - 1e-12, "{} {}", found, slab);
    }
}
