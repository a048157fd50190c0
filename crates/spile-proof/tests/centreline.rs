//! Centrelines against closed forms, and on an open scan.

mod shapes;

use shapes::{all, joined, ring, steps, tube};
use spile_mesh::{DVec3, Mesh};
use spile_proof::centreline::{LineEnd, March, centreline};
use spile_proof::flow_section::BoreSurface;
use std::f64::consts::{FRAC_PI_2, TAU};

const N: usize = 96;

fn march(from: DVec3, facing: DVec3, length: f64) -> March {
    March { from, facing, length, spacing: 0.75, radius: 9.0 }
}

#[test]
fn a_bend_has_its_circle() {
    // Torus of check-values C8: R = 30, r = 9; a half of it, given from a start
    // that is off the middle and not quite along it.
    let radial = |a: f64| DVec3::new(a.cos(), 0.0, a.sin());
    let rings: Vec<Vec<DVec3>> = steps(0.0, 2.0 * FRAC_PI_2, 160)
        .map(|a| {
            (0..N)
                .map(|i| TAU * i as f64 / N as f64)
                .map(|b| 30.0 * radial(a) + 9.0 * (b.cos() * radial(a) + b.sin() * DVec3::Y))
                .collect()
        })
        .collect();
    let bore = tube(&rings, false);
    let start = 30.3 * radial(0.05);
    let facing = DVec3::new(0.1, 0.05, -1.0).normalize();
    let line = centreline(&BoreSurface::of(&bore, &all(&bore)), &march(start, facing, 30.0));
    assert_eq!(line.end, LineEnd::LongEnough);
    // A section of a torus square to its circle is a disc about the circle; the
    // ends of the line rest on one-sided neighbours.
    for point in &line.points[4..line.points.len() - 4] {
        assert!((point.at.length() - 30.0).abs() < 0.05, "{point:?}");
        let along = DVec3::new(-point.at.z, 0.0, point.at.x).normalize();
        assert!(point.tangent.dot(-along) > 0.9995, "{point:?}");
    }
    assert!(line.points.windows(2).all(|p| p[1].s < p[0].s));
}

#[test]
fn a_blind_bore_ends_at_its_farthest_point() {
    let mut rings: Vec<_> =
        steps(0.0, 20.0, 40).map(|z| ring(-z * DVec3::Z, DVec3::Z, 9.0, N)).collect();
    for a in steps(0.0, FRAC_PI_2, 20).skip(1).take(19) {
        rings.push(ring(-(20.0 + 9.0 * a.sin()) * DVec3::Z, DVec3::Z, 9.0 * a.cos(), N));
    }
    let pole = vec![-29.0 * DVec3::Z; N];
    let (bore, _) =
        joined(&[tube(&rings, false), tube(&[rings[rings.len() - 1].clone(), pole], false)]);
    let from = -0.5 * DVec3::Z;
    let line = centreline(&BoreSurface::of(&bore, &all(&bore)), &march(from, DVec3::Z, 100.0));
    let LineEnd::Blind(tip) = line.end else { panic!("{:?}", line.end) };
    // Closed form: the half-sphere's pole.
    assert!((tip.z + 29.0).abs() < 1e-6);
    assert!(line.points.last().unwrap().at.z < -26.0);
}

#[test]
fn an_open_bore_says_where_it_opens() {
    let rings: Vec<_> =
        steps(0.0, 20.0, 40).map(|z| ring(-z * DVec3::Z, DVec3::Z, 9.0, N)).collect();
    let bore = tube(&rings, false);
    let line =
        centreline(&BoreSurface::of(&bore, &all(&bore)), &march(-0.1 * DVec3::Z, DVec3::Z, 100.0));
    let (LineEnd::Open(p) | LineEnd::Blind(p)) = line.end else { panic!("{:?}", line.end) };
    assert!((p.z + 20.0).abs() < 1.0, "{p:?}");
}

#[test]
fn a_rim_with_teeth_starts_where_a_section_closes() {
    let mut rings: Vec<_> =
        steps(0.0, 20.0, 40).map(|z| ring(-z * DVec3::Z, DVec3::Z, 9.0, N)).collect();
    for (i, p) in rings[0].iter_mut().enumerate() {
        p.z += if i % 4 == 0 { 1.5 } else { -0.3 };
    }
    let bore = tube(&rings, false);
    let line =
        centreline(&BoreSurface::of(&bore, &all(&bore)), &march(DVec3::ZERO, DVec3::Z, 15.0));
    assert_eq!(line.end, LineEnd::LongEnough);
    let first = line.points[0];
    assert!(first.at.z < -0.2 && first.at.z > -1.6, "{first:?}");
    assert!((first.s - first.at.z).abs() < 1e-6);
}

#[test]
fn the_airway_is_followed_to_its_fork() {
    // tests/scans: airway-ct-lumen-derived.stl, a windpipe from CT that forks.
    let file = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../../tests/scans/anatomy/airway-ct-lumen-derived.stl"
    );
    let scan = spile_formats::read(std::path::Path::new(file)).unwrap();
    let mesh: &Mesh = &scan.mesh;
    let bore = BoreSurface::of(mesh, &all(mesh));
    let facing = DVec3::new(-0.08, 0.24, 0.97).normalize();
    let from = DVec3::new(3.3, 166.1, 774.9);
    let march = March { from, facing, length: 300.0, spacing: 0.75, radius: 9.0 };
    let line = centreline(&bore, &march);
    let LineEnd::Branch(fork) = line.end else { panic!("{:?}", line.end) };
    // The windpipe's straight part is about five bores long.
    assert!(line.points.last().unwrap().s < -40.0 && fork.distance(from) > 40.0, "{fork:?}");
    // Each point lies in the bore: its section goes round it.
    for pair in line.points.windows(2) {
        let step = pair[0].at.distance(pair[1].at);
        assert!(step < 2.3 && pair[1].s < pair[0].s, "{pair:?}");
        assert!(pair[0].tangent.dot(pair[1].tangent) > 0.97, "{pair:?}");
    }
}

#[test]
fn an_endless_length_is_no_endless_march() {
    let rings: Vec<_> =
        steps(0.0, 20.0, 10).map(|z| ring(-z * DVec3::Z, DVec3::Z, 9.0, 24)).collect();
    let bore = tube(&rings, false);
    let bore = BoreSurface::of(&bore, &all(&bore));
    for length in [1e300, f64::INFINITY, f64::NAN] {
        let line = centreline(&bore, &march(-0.5 * DVec3::Z, DVec3::Z, length));
        assert!(line.points.len() < 40, "{length}");
    }
}
