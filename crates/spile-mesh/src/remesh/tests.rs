use glam::DVec3;
use proptest::prelude::*;

use super::*;
use crate::shapes::{torus, tube};
use crate::topology::{NONE, Topology, ends};
use crate::{Bvh, Patch, round_to_f32};

/// Remeshes and tests what must hold whatever the patch.
fn check(patch: &Mesh, options: &RemeshOptions) -> Remeshed {
    let result = remesh(patch, options).unwrap();
    let (old, new) = (Topology::of(patch), Topology::of(&result.mesh));
    assert!(new.nonmanifold_edges().is_empty() && new.misoriented_edges().is_empty());
    for v in 0..options.kept_points {
        assert_eq!(patch.points()[v], result.mesh.points()[v]);
        assert_eq!(result.point_of_old[v], v as u32);
    }
    for &v in options.fixed_points {
        let now = result.point_of_old[v as usize];
        assert_eq!(patch.points()[v as usize], result.mesh.points()[now as usize]);
    }
    let edges = |mesh: &Mesh, topology: &Topology| {
        let mut edges: Vec<_> = topology
            .boundary()
            .iter()
            .map(|&h| ends(mesh, h).map(|v| mesh.points()[v as usize].to_array().map(f64::to_bits)))
            .collect();
        edges.sort_unstable();
        edges
    };
    if options.lines == Lines::Frozen {
        assert_eq!(edges(patch, &old), edges(&result.mesh, &new));
    }
    let sampled = sampled_deviation(patch, &result.mesh);
    let bounds = result.deviation.bounds();
    // The samples themselves are rounded.
    let rounding = crate::rounding::of_distance(patch.bounds().diagonal());
    assert!(sampled <= bounds.hi + rounding && bounds.lo <= bounds.hi);
    assert!(bounds.hi <= options.deviation, "{bounds:?}");
    result
}

/// The two-sided distance in random places: a lower bound, found without the
/// code that gives the upper.
fn sampled_deviation(a: &Mesh, b: &Mesh) -> f64 {
    let mut seed = 1u64;
    let mut random = move || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 11) as f64 / (1u64 << 53) as f64
    };
    let mut worst = 0.0f64;
    for (from, to) in [(a, b), (b, a)] {
        let bvh = Bvh::build(to);
        for t in 0..from.triangles().len() {
            let [p, q, r] = from.corners(t);
            for _ in 0..4 {
                let (u, v) = (random(), random());
                let (u, v) = if u + v > 1.0 { (1.0 - u, 1.0 - v) } else { (u, v) };
                let at = p + (q - p) * u + (r - p) * v;
                worst = worst.max(bvh.closest(at).map_or(f64::INFINITY, |c| c.distance));
            }
        }
    }
    worst
}

/// The share of `values` below `limit`.
fn share_below(values: &[f64], limit: f64) -> f64 {
    values.iter().filter(|&&v| v < limit).count() as f64 / values.len() as f64
}

#[test]
fn a_torus_patch_becomes_even_and_goes_back() {
    let whole = torus(64, 24, 20.0, 6.0);
    let some: Vec<u32> = (0..whole.triangles().len() as u32)
        .filter(|&t| whole.corners(t as usize).iter().all(|p| p.distance(26.0 * DVec3::X) < 14.0))
        .collect();
    let patch = Patch::lift(&whole, &some);
    let size = |p: DVec3| 0.5 + 0.12 * (p.distance(26.0 * DVec3::X) - 3.0).max(0.0);
    let options = RemeshOptions { kept_points: patch.border, ..RemeshOptions::new(&size, 0.02) };
    let result = check(&patch.mesh, &options);
    assert!(result.gave_way.is_none_or(|g| g.kept == 0), "{:?}", result.gave_way);
    let back = patch.put_back(&whole, &result.mesh).unwrap();
    assert!(Topology::of(&back).is_closed());
    let near: Vec<usize> = (0..result.mesh.triangles().len())
        .filter(|&t| result.mesh.corners(t)[0].distance(26.0 * DVec3::X) < 8.0)
        .collect();
    let angles = least_angles_deg(&result.mesh);
    let near: Vec<f64> = near.iter().map(|&t| angles[t]).collect();
    assert!(share_below(&near, 25.0) < 0.01, "{}", share_below(&near, 25.0));
    let shares = edge_shares(&result.mesh, &Topology::of(&result.mesh), &size);
    let outside = share_below(&shares, 0.6) + 1.0 - share_below(&shares, 1.5);
    assert!(outside < 0.03, "{outside}");
}

#[test]
fn sharp_edges_stay() {
    // A tube of six sides: edges turn by 60 degrees.
    let patch = tube(6, &[0.0, 4.0, 8.0, 12.0], |_| 10.0);
    let size = |_: DVec3| 1.5;
    let options = RemeshOptions { lines: Lines::Resampled, ..RemeshOptions::new(&size, 0.01) };
    let result = check(&patch, &options);
    // The flat sides are followed exactly, the edges too; the upper bound is
    // only sought to a share of the limit.
    let bounds = result.deviation.bounds();
    assert!(bounds.lo < 1e-12 && bounds.hi < 0.03 * 0.01, "{bounds:?}");
    assert!((result.mesh.area() / patch.area() - 1.0).abs() < 1e-12);
    assert!(result.mesh.triangles().len() > 400);
}

#[test]
fn fixed_points_and_edges_stay() {
    let patch = tube(24, &[0.0, 1.0, 2.0, 3.0, 4.0], |_| 4.0);
    let size = |_: DVec3| 0.4;
    let ring: Vec<[u32; 2]> = (0..24).map(|i| [48 + i, 48 + (i + 1) % 24]).collect();
    let options = RemeshOptions {
        fixed_points: &[30, 31],
        fixed_edges: &ring,
        ..RemeshOptions::new(&size, 0.01)
    };
    let result = check(&patch, &options);
    let there = Topology::of(&result.mesh);
    for [a, b] in ring {
        let pair = [a, b].map(|v| result.point_of_old[v as usize]);
        assert!(pair.iter().all(|&v| v != NONE));
        let found = (0..3 * result.mesh.triangles().len() as u32)
            .any(|h| ends(&result.mesh, h) == pair && there.twin(h) != NONE);
        assert!(found);
    }
}

#[test]
fn a_rim_is_resampled_on_its_own_polyline() {
    let patch = tube(48, &[0.0, 2.0, 4.0], |_| 6.0);
    let size = |_: DVec3| 0.3;
    let options = RemeshOptions { lines: Lines::Resampled, ..RemeshOptions::new(&size, 0.01) };
    let result = check(&patch, &options);
    assert!(result.gave_way.is_none_or(|g| g.kept == 0), "{:?}", result.gave_way);
    let topology = Topology::of(&result.mesh);
    let loops = crate::boundary_loops(&result.mesh, &topology);
    assert_eq!(loops.len(), 2);
    assert!(loops.iter().all(|l| l.len() > 90));
    for &v in loops.iter().flatten() {
        let p = result.mesh.points()[v as usize];
        assert!(p.z.abs() < 1e-12 || (p.z - 4.0).abs() < 1e-12);
    }
}

#[test]
fn what_makes_no_sense_is_named() {
    let patch = tube(8, &[0.0, 1.0], |_| 1.0);
    let size = |_: DVec3| 0.3;
    let options = RemeshOptions::new(&size, 0.01);
    let wrong = |options: RemeshOptions| remesh(&patch, &options).unwrap_err();
    let error = wrong(RemeshOptions { deviation: 0.0, ..options });
    assert_eq!(error, RemeshError::Deviation { deviation: 0.0 });
    let error = wrong(RemeshOptions { fixed_points: &[99], ..options });
    assert_eq!(error, RemeshError::NoSuchPoint { point: 99 });
    let error = wrong(RemeshOptions { fixed_edges: &[[0, 3]], ..options });
    assert_eq!(error, RemeshError::NoSuchEdge { from: 0, to: 3 });
    let nothing = |_: DVec3| 0.0;
    let error = wrong(RemeshOptions { size: &nothing, ..options });
    assert!(matches!(error, RemeshError::Size { .. }));
    let fine = |_: DVec3| 1e-5;
    let error = wrong(RemeshOptions { size: &fine, lines: Lines::Resampled, ..options });
    assert!(matches!(error, RemeshError::TooFine { .. }), "{error}");
    let doubled = Mesh::new(vec![DVec3::ZERO, DVec3::X], vec![[0, 1, 1]]).unwrap();
    let error = remesh(&doubled, &options).unwrap_err();
    assert_eq!(error, RemeshError::Collapsed { triangle: 0 });
}

/// A tetrahedron with one face turned over: its edges stay, however long, and
/// triangles beside them are no smaller than they can be well shaped.
#[test]
fn triangles_beside_edges_that_disagree_are_as_long_as_those() {
    let corners = [DVec3::ZERO, 10.0 * DVec3::X, 10.0 * DVec3::Y, 10.0 * DVec3::Z];
    let faces = vec![[0, 1, 2], [0, 1, 3], [1, 2, 3], [2, 0, 3]];
    let patch = Mesh::new(corners.to_vec(), faces).unwrap();
    let size = |_: DVec3| 0.3;
    let result = remesh(&patch, &RemeshOptions::new(&size, 0.01)).unwrap();
    assert!(result.deviation.bounds().hi <= 0.01, "{:?}", result.deviation);
    let count = result.mesh.triangles().len();
    assert!((4..4000).contains(&count), "{count}");
}

#[test]
fn an_empty_patch_stays_empty() {
    let size = |_: DVec3| 1.0;
    let result = remesh(&Mesh::default(), &RemeshOptions::new(&size, 0.01)).unwrap();
    assert!(result.gave_way.is_none() && result.mesh.triangles().is_empty());
}

#[test]
fn flat_triangles_on_a_rim_are_opened() {
    // A strip whose second row lies just below the middles of the rim's edges:
    // each rim edge carries a triangle 0.05 high, which no flip can mend.
    let n = 12u32;
    let row = |shift: f64, y: f64| (0..n).map(move |i| DVec3::new(f64::from(i) + shift, y, 0.0));
    let points: Vec<DVec3> =
        row(0.0, 0.0).chain(row(0.5, -0.05)).chain(row(0.0, -1.0)).chain(row(0.5, -2.0)).collect();
    let mut triangles = Vec::new();
    for (upper, lower, leads) in [(0, n, true), (n, 2 * n, false), (2 * n, 3 * n, true)] {
        for i in 0..n - 1 {
            let [a, b, c, d] = [upper + i, upper + i + 1, lower + i, lower + i + 1];
            let quad = if leads { [[a, c, b], [b, c, d]] } else { [[a, d, b], [a, c, d]] };
            triangles.extend(quad);
        }
    }
    let patch = Mesh::new(points, triangles).unwrap();
    let size = |_: DVec3| 0.8;
    let options = RemeshOptions { lines: Lines::Resampled, ..RemeshOptions::new(&size, 0.06) };
    assert!(least_angles_deg(&patch).into_iter().fold(90.0, f64::min) < 6.0);
    let result = check(&patch, &options);
    assert!(result.gave_way.is_none_or(|g| g.kept == 0), "{:?}", result.gave_way);
    // At the strip's own ends the second row is a corner of the outline.
    let inside = |t: usize| result.mesh.corners(t).iter().all(|p| (1.2..9.8).contains(&p.x));
    let angles = least_angles_deg(&result.mesh).into_iter().enumerate();
    let least = angles.filter(|&(t, _)| inside(t)).map(|(_, a)| a).fold(90.0, f64::min);
    assert!(least > 20.0, "{least}");
}

#[test]
fn under_a_limit_below_rounding_all_stays_and_says_so() {
    let patch = torus(24, 12, 6.0, 2.0);
    let size = |_: DVec3| 0.7;
    let options = RemeshOptions { rounds: 2, ..RemeshOptions::new(&size, 1e-18) };
    let result = check(&patch, &options);
    let gave_way = result.gave_way.unwrap();
    assert_eq!(gave_way.kept, patch.triangles().len());
    assert_eq!(result.mesh, patch);
    assert_eq!(result.deviation.bounds().hi, 0.0);
}

#[test]
fn an_edge_too_long_for_the_deviation_gives_way_and_says_so() {
    let patch = torus(96, 48, 6.0, 2.0);
    let size = |_: DVec3| 3.0;
    let result = check(&patch, &RemeshOptions::new(&size, 0.01));
    let gave_way = result.gave_way.unwrap();
    // A chord of 3 over a radius of 2 lies 0.68 off: no such edge can stay.
    assert!(gave_way.wanted == 3.0 && gave_way.made < 1.5, "{gave_way:?}");
    let area = patch.area();
    assert!(gave_way.area > 0.9 * area && gave_way.area < 1.01 * area, "{gave_way:?}");
}

#[test]
fn a_point_far_off_stays_within_the_deviation_of_the_surface() {
    let (mut points, triangles) = torus(48, 24, 8.0, 3.0).into_parts();
    let spike = 100;
    let away = DVec3::new(points[spike].x, points[spike].y, 0.0).normalize();
    points[spike] += away * 0.5;
    let patch = Mesh::new(points, triangles).unwrap();
    let size = |_: DVec3| 1.0;
    let result = check(&patch, &RemeshOptions::new(&size, 0.02));
    let nearest = Bvh::build(&result.mesh).closest(patch.points()[spike]).unwrap();
    assert!(nearest.distance <= 0.02, "{nearest:?}");
}

#[test]
fn any_number_of_threads_gives_the_same_bytes() {
    let patch = torus(32, 16, 6.0, 2.0);
    let size = |p: DVec3| 0.3 + 0.05 * p.x.abs();
    let once = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| remesh(&patch, &RemeshOptions::new(&size, 0.02)).unwrap())
    };
    let one = once(1);
    for threads in [2, 8] {
        let many = once(threads);
        assert_eq!(one.mesh, many.mesh);
        assert_eq!(one.deviation, many.deviation);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]
    #[test]
    fn noisy_patches_hold_their_limit(
        seed in 0u64..u64::MAX, noise in 0.0..0.1f64, edge in 0.25..1.2f64, far in prop::bool::ANY,
    ) {
        let mut state = seed;
        let mut random = move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (state >> 11) as f64 / (1u64 << 53) as f64 - 0.5
        };
        let (points, triangles) = torus(28, 14, 8.0, 3.0).into_parts();
        let shift = if far { DVec3::new(3.0, 165.0, 700.0) } else { DVec3::ZERO };
        let points = points
            .iter()
            .map(|&p| p + 2.0 * noise * DVec3::new(random(), random(), random()))
            .map(|p| round_to_f32(p + shift))
            .collect();
        let whole = Mesh::new(points, triangles).unwrap();
        let some: Vec<u32> = (0..whole.triangles().len() as u32)
            .filter(|&t| whole.corners(t as usize).iter().all(|p| p.x - shift.x > 2.0))
            .collect();
        let patch = Patch::lift(&whole, &some);
        let size = |_: DVec3| edge;
        let options =
            RemeshOptions { kept_points: patch.border, ..RemeshOptions::new(&size, 0.03) };
        let result = check(&patch.mesh, &options);
        let back = patch.put_back(&whole, &result.mesh).unwrap();
        prop_assert!(Topology::of(&back).is_closed());
    }

    /// Needles, spikes, creases and open borders, wanted lengths and limits of
    /// very different size.
    #[test]
    fn any_patch_holds_any_limit(
        seed in 0u64..u64::MAX,
        squeeze in 0.001..1.0f64,
        spikes in 0usize..6,
        limit in prop_oneof![Just(1e-13), Just(1e-4), 0.002..0.5f64],
        edge in 0.25..6.0f64,
    ) {
        let mut state = seed;
        let mut random = move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (state >> 11) as f64 / (1u64 << 53) as f64
        };
        let (points, triangles) = torus(20, 12, 8.0, 3.0).into_parts();
        // Squeezed along one axis there are needles and sharp creases.
        let mut points: Vec<DVec3> = points
            .iter()
            .map(|&p| DVec3::new(p.x, p.y, p.z * squeeze))
            .map(|p| p + 0.05 * DVec3::new(random(), random(), random()))
            .collect();
        for _ in 0..spikes {
            let v = (random() * points.len() as f64) as usize;
            points[v] *= 1.0 + 0.5 * random();
        }
        let whole = Mesh::new(points, triangles).unwrap();
        let some: Vec<u32> = (0..whole.triangles().len() as u32)
            .filter(|&t| whole.corners(t as usize).iter().all(|p| p.x > 1.0))
            .collect();
        let patch = Patch::lift(&whole, &some);
        let size = move |_: DVec3| edge;
        let options =
            RemeshOptions { kept_points: patch.border, rounds: 2, ..RemeshOptions::new(&size, limit) };
        let result = check(&patch.mesh, &options);
        patch.put_back(&whole, &result.mesh).unwrap();
    }
}

#[test]
fn what_is_not_tried_again_in_vain_would_not_have_come_about() {
    let waves = |mesh: Mesh| {
        let wave = |p: &DVec3| *p * (1.0 + 0.01 * (3.0 * p.x).sin() * (5.0 * p.y + p.z).cos());
        let points = mesh.points().iter().map(wave).collect();
        Mesh::new(points, mesh.triangles().to_vec()).unwrap()
    };
    let heights: Vec<f64> = (0..16).map(f64::from).collect();
    let pipe = tube(48, &heights, |z| 8.0 + 0.1 * z);
    for (patch, edge) in [(waves(torus(64, 24, 20.0, 6.0)), 2.5), (waves(pipe), 1.1)] {
        let size = |p: DVec3| edge * (1.0 + 0.03 * p.x.abs());
        let mut options = RemeshOptions::new(&size, 0.1);
        options.lines = Lines::Resampled;
        let made = |forgets: bool| {
            let (mut w, lines) = lines::begin(&patch, &options, &size, (&[], &[])).unwrap();
            let guard = Guard::new(&patch, lines, &options, &[]);
            let (mut idle, mut in_vain) = (Vec::new(), operations::InVain::new());
            for _ in 0..CYCLES {
                if forgets {
                    (idle, in_vain) = Default::default();
                }
                operations::split_long(&mut w, &guard, &size);
                operations::collapse_short(&mut w, &guard, &mut in_vain);
                operations::flip_all(&mut w, &guard);
                relax::relax(&mut w, &guard, &size, &mut idle);
            }
            (assemble::assemble(&w, &patch, &options), in_vain.len())
        };
        let (kept, in_vain) = made(false);
        assert_eq!(kept, made(true).0);
        assert!(in_vain > 20, "{in_vain}");
    }
}
