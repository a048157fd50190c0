//! Truths that need no source, and a plain search.

use super::*;

#[test]
fn the_order_of_triangles_and_points_does_not_matter() {
    let good = scene(Recipe { bump: 0.05, ..Recipe::default() });
    let before = proof(&good);
    let shuffled = edited(&good, |points, triangles| {
        points.reverse();
        let last = points.len() as u32 - 1;
        triangles.iter_mut().for_each(|t| *t = [last - t[1], last - t[2], last - t[0]]);
        triangles.reverse();
    });
    let after = proof(&shuffled);
    for (a, b) in before.limits.iter().zip(&after.limits) {
        assert_eq!((&a.name, a.verdict, a.asked), (&b.name, b.verdict, b.asked));
    }
}

/// Height over the origin and distance from the axis in the tube's own frame.
fn own_frame(p: DVec3) -> (f64, f64) {
    let q = p - DVec3::new(3.0, -7.0, 12.0);
    let h = q.dot(scene::turn(DVec3::Z));
    (h, (q - h * scene::turn(DVec3::Z)).length())
}

/// Distance to a triangle by the nearest of its face, edges and corners.
fn plain_distance([a, b, c]: [DVec3; 3], p: DVec3) -> f64 {
    let n = (b - a).cross(c - a).normalize();
    let flat = p - n * (p - a).dot(n);
    let inside =
        [(a, b), (b, c), (c, a)].iter().all(|&(u, v)| (v - u).cross(flat - u).dot(n) >= 0.0);
    let to_edge = |u: DVec3, v: DVec3| {
        let t = ((p - u).dot(v - u) / (v - u).length_squared()).clamp(0.0, 1.0);
        p.distance(u + t * (v - u))
    };
    let edges = to_edge(a, b).min(to_edge(b, c)).min(to_edge(c, a));
    if inside { edges.min((p - a).dot(n).abs()) } else { edges }
}

#[test]
fn the_deviation_equals_a_plain_search() {
    // Every pair of the two surfaces, on a grid of places in each triangle.
    let s = scene(Recipe { bump: 0.06, seam_lift: -0.02, ..Recipe::default() });
    let of = |mesh: &Mesh, low: f64, high: f64, wall: usize| -> Vec<[DVec3; 3]> {
        (0..mesh.triangles().len())
            .map(|t| mesh.corners(t))
            .filter(|c| {
                let own = c.map(own_frame);
                own.iter().all(|&(h, r)| low < h && h < high && (r > 10.0) == (wall == 1))
            })
            .collect()
    };
    let grid = |c: [DVec3; 3]| {
        (0..=12).flat_map(move |i| {
            (0..=12 - i).map(move |j| {
                let (u, v) = (f64::from(i) / 12.0, f64::from(j) / 12.0);
                c[0] + u * (c[1] - c[0]) + v * (c[2] - c[0])
            })
        })
    };
    let farthest = |from: &[[DVec3; 3]], to: &[[DVec3; 3]]| {
        from.iter()
            .flat_map(|&c| grid(c))
            .filter(|&p| own_frame(p).0 < scene::UPPER_CUT)
            .map(|p| to.iter().map(|&t| plain_distance(t, p)).fold(f64::INFINITY, f64::min))
            .fold(0.0, f64::max)
    };
    let mut plain = 0.0_f64;
    for wall in [0, 1] {
        // Below the joint's first row, and the rows of the scan that are gone.
        let (new, old) = (of(&s.part, 24.2, 31.0, wall), of(&s.scan, 24.2, 30.4, wall));
        plain = plain.max(farthest(&new, &old)).max(farthest(&old, &new));
    }
    let p = proof(&s);
    let found = p.limits.iter().find(|l| l.name == "deviation" && l.end.as_deref() == UPPER);
    let [lo, hi] = found.and_then(|l| l.bounds).expect("measured");
    assert!(plain <= hi && plain >= lo - 0.004, "{plain} is not in {lo} to {hi}");
}

#[test]
fn the_proof_is_the_same_on_one_thread_and_on_three() {
    let s = scene(Recipe { bump: 0.03, ..Recipe::default() });
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
        pool.install(|| proof(&s))
    };
    assert_eq!(on(1), on(3));
}
