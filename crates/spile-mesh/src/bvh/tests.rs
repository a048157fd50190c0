use proptest::prelude::*;

use super::*;

/// Points of a small integer grid: shared corners, coplanar and degenerate
/// triangles are the rule.
fn grid_mesh() -> impl Strategy<Value = Mesh> {
    let point = (0..5_i32, 0..5_i32, 0..5_i32);
    let points = prop::collection::vec(point, 1..30);
    points.prop_flat_map(|points| {
        let n = points.len() as u32;
        let triangles = prop::collection::vec([0..n, 0..n, 0..n], 0..60);
        triangles.prop_map(move |triangles| {
            let points = points.iter().map(|&(x, y, z)| DVec3::new(x.into(), y.into(), z.into()));
            Mesh::new(points.collect(), triangles).unwrap()
        })
    })
}

fn real_mesh() -> impl Strategy<Value = Mesh> {
    let coordinate = -10.0..10.0_f64;
    let corner = [coordinate.clone(), coordinate.clone(), coordinate];
    let offset = [-2.0..2.0_f64, -2.0..2.0, -2.0..2.0];
    prop::collection::vec((corner, offset.clone(), offset), 0..80).prop_map(|list| {
        let mut points = Vec::new();
        let mut triangles = Vec::new();
        for (a, b, c) in list {
            let first = points.len() as u32;
            let a = DVec3::from(a);
            points.extend([a, a + DVec3::from(b), a + DVec3::from(c)]);
            triangles.push([first, first + 1, first + 2]);
        }
        Mesh::new(points, triangles).unwrap()
    })
}

/// The closest point by a dense walk over the triangle's own parameters
/// followed by golden-section descent: shares nothing with the formula.
fn distance_by_search(p: DVec3, [a, b, c]: [DVec3; 3]) -> f64 {
    let along = |u: f64| {
        let (from, to) = (a + (b - a) * u, a + (c - a) * u);
        least(|v| p.distance(from + (to - from) * v))
    };
    least(along)
}

/// The least value of a convex function over 0 to 1.
fn least(f: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..90 {
        let (m1, m2) = (low + (high - low) * 0.382, low + (high - low) * 0.618);
        if f(m1) <= f(m2) {
            high = m2;
        } else {
            low = m1;
        }
    }
    f(0.5 * (low + high)).min(f(0.0)).min(f(1.0))
}

proptest! {
    #[test]
    fn closest_agrees_with_brute_force(
        mesh in prop_oneof![grid_mesh(), real_mesh()],
        p in [-12.0..12.0_f64, -12.0..12.0, -12.0..12.0],
    ) {
        let p = DVec3::from(p);
        let bvh = Bvh::build(&mesh);
        prop_assert_eq!(bvh.check(), Ok(()));
        let brute = (0..mesh.triangles().len())
            .map(|t| (offset_to_triangle(p, mesh.corners(t)).0.length_squared().sqrt(), t as u32))
            .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let found = bvh.closest(p);
        prop_assert_eq!(found.map(|c| (c.distance, c.triangle)), brute);
        if let Some(c) = found {
            prop_assert!((c.point.distance(p) - c.distance).abs() < 1e-13);
            let corners = mesh.corners(c.triangle as usize);
            let here = match c.feature {
                Feature::Corner(k) => c.point.distance(corners[k as usize]),
                Feature::Edge(k) => {
                    let (a, b) = (corners[k as usize], corners[(k as usize + 1) % 3]);
                    c.point.distance(a) + c.point.distance(b) - a.distance(b)
                }
                Feature::Inside => 0.0,
            };
            prop_assert!(here < 1e-12, "{:?} is off its feature by {}", c, here);
            prop_assert_eq!(bvh.closest_within(p, c.distance * 1.000_001), Some(c).filter(|c| c.distance > 0.0));
            prop_assert_eq!(bvh.closest_within(p, c.distance * 0.999_999), None);
            prop_assert_eq!(bvh.is_within(p, c.distance * 1.000_001), c.distance > 0.0);
            prop_assert!(!bvh.is_within(p, c.distance * 0.999_999));
        }
    }

    #[test]
    fn the_closest_point_of_a_triangle_is_closest(
        corners in prop_oneof![
            [[-3..4_i32, -3..4, -3..4], [-3..4, -3..4, -3..4], [-3..4, -3..4, -3..4]]
                .prop_map(|c| c.map(|p| DVec3::from(p.map(f64::from)))),
            [[-3.0..3.0_f64, -3.0..3.0, -3.0..3.0], [-3.0..3.0, -3.0..3.0, -3.0..3.0],
             [-3.0..3.0, -3.0..3.0, -3.0..3.0]].prop_map(|c| c.map(DVec3::from)),
        ],
        p in [-4.0..4.0_f64, -4.0..4.0, -4.0..4.0],
    ) {
        let p = DVec3::from(p);
        let (offset, _) = offset_to_triangle(p, corners);
        let searched = distance_by_search(p, corners);
        prop_assert!((offset.length() - searched).abs() < 1e-7, "{} {}", offset.length(), searched);
        let at_least = crate::triangle::distance_at_least(p, corners, offset);
        prop_assert!(at_least <= searched + 1e-12 && at_least >= offset.length() - 1e-9);
    }

    #[test]
    fn rays_and_boxes_agree_with_brute_force(
        mesh in prop_oneof![grid_mesh(), real_mesh()],
        origin in [-6.0..6.0_f64, -6.0..6.0, -6.0..6.0],
        direction in [-1.0..1.0_f64, -1.0..1.0, -1.0..1.0],
    ) {
        let (origin, direction) = (DVec3::from(origin), DVec3::from(direction));
        let bvh = Bvh::build(&mesh);
        let hits = bvh.ray(origin, direction);
        // Moeller and Trumbore 1997: another formula than the one in use.
        let mut brute: Vec<u32> = vec![];
        for t in 0..mesh.triangles().len() {
            let [a, b, c] = mesh.corners(t);
            let across = direction.cross(c - a);
            let det = (b - a).dot(across);
            let s = origin - a;
            let u = s.dot(across) / det;
            let q = s.cross(b - a);
            let v = direction.dot(q) / det;
            let along = (c - a).dot(q) / det;
            if det != 0.0 && u >= 0.0 && v >= 0.0 && u + v <= 1.0 && along >= 0.0 {
                brute.push(t as u32);
            }
        }
        prop_assert!(hits.is_sorted_by(|a, b| a.t <= b.t));
        let mut found: Vec<u32> = hits.iter().map(|h| h.triangle).collect();
        found.sort_unstable();
        prop_assert_eq!(found, brute);
        prop_assert_eq!(bvh.first_hit(origin, direction), hits.first().copied());

        let b = Bounds3::of([origin, origin + direction * 4.0]);
        let mut touching = vec![];
        bvh.for_each_touching(b, &mut |t| touching.push(t));
        touching.sort_unstable();
        let brute: Vec<u32> = (0..mesh.triangles().len())
            .filter(|&t| Bounds3::of(mesh.corners(t)).touches(b))
            .map(|t| t as u32)
            .collect();
        prop_assert_eq!(touching, brute);
    }
}

proptest! {
    /// On a walk of short steps and far jumps, through the answers of the plain search.
    #[test]
    fn a_finder_answers_as_the_tree_does_whatever_it_was_asked_before(
        mesh in prop_oneof![grid_mesh(), real_mesh()],
        steps in prop::collection::vec(([-9.0..9.0_f64, -9.0..9.0, -9.0..9.0], any::<bool>()), 1..40),
    ) {
        let bvh = Bvh::build(&mesh);
        let mut finder = Finder::new(&bvh);
        let mut p = DVec3::ZERO;
        for (step, is_far) in steps {
            p = if is_far { DVec3::from(step) } else { p + 0.01 * DVec3::from(step) };
            let distance = bvh.closest(p).map(|c| c.distance);
            for share in [0.0, 0.5, 1.0, 1.5] {
                let than = share * distance.unwrap_or(1.0);
                prop_assert_eq!(finder.farther(p, than), distance.filter(|&d| d > than));
            }
            prop_assert_eq!(finder.closest(p), bvh.closest(p));
        }
    }
}

#[test]
fn an_empty_tree_answers_nothing() {
    let bvh = Bvh::build(&Mesh::default());
    assert_eq!(bvh.closest(DVec3::ZERO), None);
    assert_eq!(Finder::new(&bvh).farther(DVec3::ZERO, 0.0), None);
    assert!(bvh.ray(DVec3::ZERO, DVec3::X).is_empty());
    assert_eq!(bvh.first_hit(DVec3::ZERO, DVec3::X), None);
    bvh.for_each_touching(Bounds3::of([DVec3::ZERO]), &mut |_| unreachable!());
    assert_eq!(bvh.check(), Ok(()));
}

#[test]
fn a_ray_through_a_shared_edge_or_corner_hits() {
    let points = [(-1, -1), (1, -1), (1, 1), (-1, 1), (0, 0)];
    let points = points.map(|(x, y)| DVec3::new(x.into(), y.into(), 0.0)).to_vec();
    let mesh = Mesh::new(points, vec![[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]]).unwrap();
    let bvh = Bvh::build(&mesh);
    let down = |x: f64, y: f64| bvh.ray(DVec3::new(x, y, 3.0), -DVec3::Z).len();
    assert_eq!(down(0.0, 0.0), 4);
    assert_eq!(down(0.5, 0.5), 2);
    assert_eq!(down(0.5, 0.0), 1);
    assert_eq!(bvh.ray(DVec3::new(-3.0, 0.1, 0.0), DVec3::X), vec![]);
}

#[test]
fn triangles_all_in_one_place_do_not_deepen_the_tree() {
    let points = vec![DVec3::ZERO, DVec3::X, DVec3::Y];
    let mesh = Mesh::new(points, vec![[0, 1, 2]; 10_000]).unwrap();
    let bvh = Bvh::build(&mesh);
    assert_eq!(bvh.check(), Ok(()));
    assert_eq!(bvh.closest(DVec3::Z).map(|c| c.triangle), Some(0));
    // Ever closer triangles, each a thousandth of the one before: splitting by
    // cost peels off a few at a time.
    let mut points = vec![];
    for k in 0..95 {
        let s = 1e-3_f64.powi(k);
        points.extend([s * DVec3::X, s * DVec3::new(1.0, 0.1, 0.0), s * DVec3::new(1.0, 0.0, 0.1)]);
    }
    let triangles = (0..95).map(|k| [3 * k, 3 * k + 1, 3 * k + 2]).collect();
    assert_eq!(Bvh::build(&Mesh::new(points, triangles).unwrap()).check(), Ok(()));
}

#[test]
fn the_tree_is_the_same_on_any_number_of_threads() {
    let mut points = vec![];
    let mut triangles = vec![];
    for i in 0..200_u32 {
        for j in 0..200_u32 {
            let (x, y) = (f64::from(i), f64::from(j));
            points.push(DVec3::new(x, y, (0.1 * x).sin() * (0.2 * y).cos()));
            if i > 0 && j > 0 {
                let k = i * 200 + j;
                triangles.extend([[k, k - 1, k - 200], [k - 201, k - 200, k - 1]]);
            }
        }
    }
    let mesh = Mesh::new(points, triangles).unwrap();
    let ids = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        let bvh = pool.install(|| Bvh::build(&mesh));
        (bvh.ids.clone(), bvh.nodes.iter().map(|n| (n.link, n.count)).collect::<Vec<_>>())
    };
    let one = ids(1);
    assert!(one == ids(2) && one == ids(8));
}
