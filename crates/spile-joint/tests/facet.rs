//! Exact faces cut into triangles: closed, of the right volume, and within what
//! was allowed. The samples are written by an open CAD kernel.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::f64::consts::PI;
use std::path::Path;

use spile_formats::step::{StepBody, StepSolid, read_step};
use spile_joint::{facet, round_rims};
use spile_mesh::Mesh;

fn solid(name: &str) -> StepSolid {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/scans/step").join(name);
    match read_step(name, &std::fs::read(path).unwrap()).unwrap().body {
        StepBody::Exact(solid) => solid,
        StepBody::Triangles(_) => panic!("exact faces"),
    }
}

/// Closed, in one piece, free of self-intersections, with two round rims.
fn facetted(name: &str, within: f64) -> Mesh {
    let mesh = facet(&solid(name), within).unwrap().mesh;
    assert_eq!(round_rims(&mesh).unwrap().round.len(), 2, "{name}");
    mesh
}

/// Tube of radii 8 and 10, 25 long, with a flange of radius 15, 2 thick.
fn flanged_volume() -> f64 {
    PI * (10.0_f64.powi(2) - 8.0_f64.powi(2)) * 25.0
        + PI * (15.0_f64.powi(2) - 10.0_f64.powi(2)) * 2.0
}

/// Polygons of the circle's area: the volume is the closed form's, whether the
/// faces go all round or are halves.
#[test]
fn straight_tubes_have_the_exact_volume() {
    for name in ["flanged.step", "halved.step"] {
        for within in [0.1, 0.01] {
            let volume = facetted(name, within).volume();
            assert!((volume / flanged_volume() - 1.0).abs() < 1e-9, "{name} {within}: {volume}");
        }
    }
}

/// Fillets of radius 1 in both corners between tube and flange: each adds the
/// square less the quarter disc, turned about the axis (Pappus).
#[test]
fn fillets_have_the_volume_of_pappus_within_what_is_allowed() {
    let area = 1.0 - PI / 4.0;
    let from_corner = (0.5 - PI / 4.0 * (1.0 - 4.0 / (3.0 * PI))) / area;
    let exact = flanged_volume() + 2.0 * area * 2.0 * PI * (10.0 + from_corner);
    for within in [0.05, 0.01] {
        let volume = facetted("filleted.step", within).volume();
        // The fillets' own area times what they may be off by.
        let room = within * 2.0 * (PI / 2.0) * 2.0 * PI * 11.0;
        assert!((volume - exact).abs() < room, "{within}: {volume} {exact}");
    }
}

/// A cone of 6 % and a sphere: every corner, and the middle of every triangle,
/// is within what is allowed of the sphere, the cone, a cylinder or a plane.
#[test]
fn cones_and_spheres_are_within_what_is_allowed() {
    let within = 0.02;
    let mesh = facetted("socket.step", within);
    let (sin, cos) = (0.45_f64 / 15.0).atan().sin_cos();
    for t in 0..mesh.triangles().len() {
        let [a, b, c] = mesh.corners(t);
        for p in [a, b, c, (a + b + c) / 3.0] {
            let (r, z) = (p.x.hypot(p.y), p.z);
            let sphere = (r.hypot(z - 12.0) - 12.0).abs();
            let cone = ((r - 8.0) * cos - (z - 10.0) * sin).abs();
            let plain = [(r - 8.0).abs(), (r - 10.0).abs(), z.abs(), (z - 25.0).abs()];
            let off = plain.into_iter().fold(sphere.min(cone), f64::min);
            assert!(off <= within, "{p}: {off}");
        }
    }
}

/// Volume and area of each sample in mm3 and mm2, as Open CASCADE 8.0 (cadquery-ocp 8.0.1.1.0)
/// computes them from the same file; the bend's is also Pappus' pi^2 / 2 30 (10^2 - 8^2).
#[test]
fn volumes_and_areas_are_those_of_an_open_cad_kernel() {
    let kernel = [
        ("bend.step", 1.0, 5329.586377, 5555.781048),
        ("elbow.step", 1.0, 7026.046410, 7252.241081),
        ("filleted.step", 1.0, 3640.401585, 3848.812404),
        ("flanged.step", 1.0, 3612.831552, 3901.858076),
        ("flanged-inch.step", 25.4, 3612.831552, 3901.858076),
        ("halved.step", 1.0, 3612.831552, 3901.858076),
        ("socket.step", 1.0, 3877.159321, 3218.638671),
        ("trachea-nozzle-inch.step", 25.4, 3640.401585, 3848.812404),
    ];
    for (name, unit, volume, area) in kernel {
        for within in [0.05, 0.01] {
            let mesh = facetted(name, within / unit);
            let (own, own_area) = (mesh.volume() * f64::powi(unit, 3), mesh.area() * unit * unit);
            // Sides of circles are half out and half in; only doubly curved faces are all in.
            let off = (own - volume).abs() / (within * area);
            assert!(off < 0.5, "{name} {within}: {own} and {volume}");
            assert!((own_area / area - 1.0).abs() < 0.1 * within, "{name} {within}: {own_area}");
        }
    }
}

/// Fewer than three times the triangles of a regular net with the same sagitta: on a tube of
/// radius r its sides are sqrt(8 r within).
#[test]
fn no_face_takes_many_more_triangles_than_its_sagitta_asks() {
    let within = 0.01;
    let count = facetted("bend.step", within).triangles().len() as f64;
    let net = |tube: f64| {
        let area = std::f64::consts::PI.powi(2) * tube * 30.0;
        let side = (8.0 * tube * 0.55 * within).sqrt();
        area / (0.25 * 3f64.sqrt() * side * side)
    };
    let fewest = net(8.0) + net(10.0);
    assert!(count < 3.0 * fewest, "{count} and {fewest}");
}
