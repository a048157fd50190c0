//! Two ends so near each other that their reaches meet: shared out, with different
//! fittings on both; or refused, with the distance that is there and would do.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::collections::HashSet;

use spile_case::{Case, read_case};
use spile_joint::{MakeError, Note, Unwatched, make};
use spile_mesh::{DVec3, Mesh, round_to_f32};
use spile_proof::{Verdict, judge};

/// A closed tube along z from -20 to 20 in 40 rows of 48, bore about 16, outside about
/// 20, oval by 3 % and rough by 0.02; invented.
fn tube() -> Mesh {
    let (rows, round) = (41_u32, 48_u32);
    let wall = |radius: f64, salt: u32| {
        (0..rows * round).map(move |k| {
            let (i, j) = (k / round, k % round);
            let turn = std::f64::consts::TAU * f64::from(j) / f64::from(round);
            let rough =
                0.02 * (f64::from((k + salt).wrapping_mul(2_654_435_761) >> 8) / 8_388_608.0 - 1.0);
            let r = radius + rough + 0.03 * radius * (2.0 * turn).cos();
            round_to_f32(DVec3::new(r * turn.cos(), r * turn.sin(), f64::from(i) - 20.0))
        })
    };
    let points: Vec<DVec3> = wall(8.0, 0).chain(wall(10.0, 77)).collect();
    let number = |side: u32, i: u32, j: u32| side * rows * round + i * round + j % round;
    let mut triangles = Vec::new();
    for j in 0..round {
        for i in 0..rows - 1 {
            for side in 0..2 {
                let [a, b] = [number(side, i, j), number(side, i, j + 1)];
                let [c, d] = [number(side, i + 1, j + 1), number(side, i + 1, j)];
                let faces = [[a, b, c], [a, c, d]];
                triangles
                    .extend(faces.map(|[p, q, r]| if side == 0 { [p, r, q] } else { [p, q, r] }));
            }
        }
        for (i, up) in [(0, false), (rows - 1, true)] {
            let [a, b] = [number(0, i, j), number(0, i, j + 1)];
            let [c, d] = [number(1, i, j + 1), number(1, i, j)];
            let faces = [[a, c, b], [a, d, c]];
            triangles.extend(faces.map(|[p, q, r]| if up { [p, q, r] } else { [p, r, q] }));
        }
    }
    Mesh::new(points, triangles).unwrap()
}

/// Cut at these heights, a tube on the upper end and a standard cone on the lower.
fn case(upper: f64, lower: f64) -> Case {
    let text = format!(
        r#"unit = "mm"
[scan]
file = "tube.stl"
form = "shell"
[[end]]
name = "upper"
cut = {{ through = [0, 0, {upper}], facing = [0, 0, 1] }}
reach = 15
fitting = {{ kind = "tube", bore = 16, outside = 20.5, length = 15 }}
place = {{ gap = 10 }}
[[end]]
name = "lower"
cut = {{ through = [0, 0, {lower}], facing = [0, 0, -1] }}
reach = 10
fitting = {{ kind = "cone", size = "breathing-22", bore = 16, length = 40 }}
place = {{ gap = 14 }}
[limits]
deviation = 0.1
wall_min = 1.5
bore_loss = 0.01
kink = 10
"#
    );
    read_case(&text, "case.toml").unwrap()
}

#[test]
fn reaches_that_meet_are_shared_out_and_the_middle_stays() {
    let scan = tube();
    let scans = std::slice::from_ref(&scan);
    for (upper, lower) in [(5.8, -5.7), (9.3, -8.6), (14.3, -13.6)] {
        let case = case(upper, lower);
        let made = make(&case, scans, &Unwatched).unwrap();
        let part = made.part.unwrap();
        let proof = judge(scans, &part, &made.settled).unwrap();
        let bad = proof.limits.iter().filter(|l| l.verdict != Verdict::Held);
        let bad: Vec<_> = bad.filter(|l| l.verdict != Verdict::NotAsked).collect();
        assert!(bad.is_empty(), "{bad:#?}");
        // What was asked stays in the settled case; what was used is told.
        assert_eq!(
            made.settled.ends.iter().map(|e| e.reach).collect::<Vec<_>>(),
            [Some(15.0), Some(10.0)]
        );
        let said: Vec<String> = made.notes.iter().map(Note::to_string).collect();
        let is_shared = upper - lower < 25.0;
        assert_eq!(
            said.iter().filter(|n| n.contains("reach meets another's")).count(),
            if is_shared { 2 } else { 0 },
            "{said:?}"
        );
        // Between the two at least one closed ring of the scan stays.
        let key = |mesh: &Mesh, t: usize| {
            let mut key = mesh.corners(t).map(|p| (p + DVec3::ZERO).to_array().map(f64::to_bits));
            key.sort_unstable();
            key
        };
        let of_part: HashSet<_> = (0..part.triangles().len()).map(|t| key(&part, t)).collect();
        let whole_rows = (-20..20).filter(|&z| {
            let mut row = (0..scan.triangles().len()).filter(|&t| {
                let within = f64::from(z)..=f64::from(z + 1);
                scan.corners(t).iter().all(|p| within.contains(&p.z))
            });
            row.all(|t| of_part.contains(&key(&scan, t)))
        });
        assert!(whole_rows.count() >= 1);
    }
}

#[test]
fn ends_that_leave_no_room_are_refused_with_the_distance() {
    let scan = tube();
    let made = make(&case(1.3, -1.2), std::slice::from_ref(&scan), &Unwatched);
    let Err(error @ MakeError::End { .. }) = made else { panic!("{made:?}") };
    insta::assert_snapshot!(
        error.to_string(),
        @"end `lower`: its reach meets that of end `upper` near (8.26, 0.00, -2.00), where it is 4.10 from one cut to the other, too little to share out; 13.11 would do"
    );
}
