//! A vertex pulled through its neighbours on a clean closed surface: the fold is
//! mended, or refused with a reason; either way nothing else moves. Two sheets
//! that pass through each other stay.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::collections::BTreeSet;

use proptest::prelude::*;
use spile_case::MendKind;
use spile_joint::{FindingKind, MendOptions, Mended, mend};
use spile_mesh::{
    DVec3, Mesh, Topology, round_to_f32, self_intersections, shells, vertex_triangles,
};

/// A closed ring of 1600 triangles, median edge about 1.6.
fn ring() -> Mesh {
    let turn = |i: u32, of: u32| (std::f64::consts::TAU * f64::from(i) / f64::from(of)).sin_cos();
    let place = |k: u32| {
        let ((s, c), (v, u)) = (turn(k / 20, 40), turn(k % 20, 20));
        let out = 10.0 + 4.0 * u;
        round_to_f32(DVec3::new(out * c, out * s, 4.0 * v))
    };
    let at = |i: u32, j: u32| i % 40 * 20 + j % 20;
    let faces = |k: u32| {
        let (i, j) = (k / 20, k % 20);
        let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
        [[a, b, c], [a, c, d]]
    };
    Mesh::new((0..800).map(place).collect(), (0..800).flat_map(faces).collect()).unwrap()
}

/// The ring with point `v` pulled `by` times the edge to its neighbour number
/// `which` along that edge, and `lift` along the normal.
fn folded(v: u32, which: usize, by: f64, lift: f64) -> Mesh {
    let (mut points, triangles) = ring().into_parts();
    let mesh = Mesh::new(points.clone(), triangles.clone()).unwrap();
    let around = vertex_triangles(&mesh);
    let of_v = around.of(v);
    let neighbours: BTreeSet<u32> =
        of_v.iter().flat_map(|&t| triangles[t as usize]).filter(|&p| p != v).collect();
    let q = *neighbours.iter().nth(which % neighbours.len()).unwrap();
    let normal: DVec3 = of_v.iter().map(|&t| mesh.area_normal(t as usize)).sum();
    let at = points[v as usize];
    points[v as usize] =
        round_to_f32(at + by * (points[q as usize] - at) + lift * normal.normalize());
    Mesh::new(points, triangles).unwrap()
}

/// What holds of every answer, mended or not; a checker of its own.
fn check(scan: &Mesh, answer: &Mended) {
    let topology = Topology::of(&answer.mesh);
    assert!(topology.is_closed(), "opened");
    assert_eq!(shells(&answer.mesh, &topology).count, 1, "fell apart");
    let (was, is) = (self_intersections(scan).len(), self_intersections(&answer.mesh).len());
    assert!(is <= was, "{was} pairs met, now {is}");
    let in_a_ball = |corners: [DVec3; 3]| {
        answer.mends.iter().any(|made| {
            let ball = made.mend.ball;
            corners.iter().all(|p| p.distance(DVec3::from(ball.at)) <= ball.radius)
        })
    };
    let mut stays = vec![false; scan.triangles().len()];
    for (t, origin) in answer.origin.iter().enumerate() {
        match origin {
            Some(old) => {
                stays[*old as usize] = true;
                assert_eq!(answer.mesh.corners(t), scan.corners(*old as usize));
            }
            None => assert!(in_a_ball(answer.mesh.corners(t))),
        }
    }
    for t in (0..stays.len()).filter(|&t| !stays[t]) {
        assert!(in_a_ball(scan.corners(t)), "triangle {t} went outside every ball");
    }
    for made in &answer.mends {
        assert_eq!(made.mend.kind, MendKind::SelfIntersection);
        assert!(made.change <= 0.5 * answer.hole_max, "{made:?}");
        assert!(made.mend.ball.radius <= 1.5 * answer.hole_max, "{made:?}");
    }
    assert!(answer.refused.iter().all(|r| r.kind == FindingKind::SelfIntersection));
    // All pairs gone, or told.
    assert_eq!(is == 0, answer.refused.is_empty(), "{:?}", answer.refused);
    let again = mend(
        &answer.mesh,
        MendOptions { hole_max: Some(answer.hole_max), ..MendOptions::default() },
    );
    assert!(again.mends.is_empty(), "mending twice: {:?}", again.mends);
    assert_eq!(again.mesh, answer.mesh);
    assert_eq!(again.refused, answer.refused);
}

#[test]
fn folds_planted_all_over_are_mended_and_clean_passes_bit_for_bit() {
    let clean = ring();
    let answer = mend(&clean, MendOptions::default());
    assert_eq!(answer.mesh, clean);
    assert!(answer.mends.is_empty() && answer.refused.is_empty());
    let (mut planted, mut mended) = (0, 0);
    for v in (0..800).step_by(8) {
        let mesh = folded(v, v as usize / 8, 1.3, 0.0);
        if self_intersections(&mesh).is_empty() {
            continue;
        }
        planted += 1;
        let answer = mend(&mesh, MendOptions::default());
        check(&mesh, &answer);
        mended += usize::from(answer.refused.is_empty());
        // What is left reaches further than the hole limit, and only that is why.
        assert!(answer.refused.iter().all(|r| r.why.contains("no less than the hole limit")));
        let answer = mend(&mesh, MendOptions { hole_max: Some(5.0), ..MendOptions::default() });
        check(&mesh, &answer);
        assert_eq!(answer.refused, [], "point {v}");
    }
    // Pulled by 1.3 edges, a diagonal's fold reaches over two median edges and more.
    assert!(planted >= 50 && mended >= planted / 2, "{mended} of {planted}");
}

#[test]
fn two_sheets_that_pass_through_each_other_stay() {
    // Two rings, the second moved into the first: long crossings; and one that
    // only just dips in, a spot as small as a fold's.
    for (shift, small) in [(4.0, false), (27.99, true)] {
        let (mut points, mut triangles) = ring().into_parts();
        let moved: Vec<DVec3> =
            points.iter().map(|&p| round_to_f32(p + shift * DVec3::X)).collect();
        points.extend(moved);
        triangles.extend_from_within(..);
        triangles[1600..].iter_mut().flatten().for_each(|v| *v += 800);
        let both = Mesh::new(points, triangles).unwrap();
        assert!(!self_intersections(&both).is_empty());
        let answer = mend(&both, MendOptions::default());
        assert_eq!(answer.mesh, both);
        assert!(answer.mends.is_empty());
        let says = |word: &str| answer.refused.iter().all(|r| r.why.contains(word));
        assert!(!answer.refused.is_empty());
        assert!(
            says(if small { "two sheets" } else { "passes through itself over" }),
            "{:?}",
            answer.refused
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn a_fold_anywhere_is_mended_or_refused_and_the_rest_stays(
        v in 0..800_u32, which in 0..8_usize, by in 1.05..2.5, lift in -0.5..0.5,
    ) {
        let mesh = folded(v, which, by, lift);
        let answer = mend(&mesh, MendOptions::default());
        check(&mesh, &answer);
        if self_intersections(&mesh).is_empty() {
            prop_assert_eq!(answer.mesh, mesh);
        }
    }
}
