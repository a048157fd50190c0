//! Joints between circles on one line, whose shape is known in closed form.
//!
//! A thin plate written as radii over a line, the same all round, bends along the
//! line alone, so that it is a cubic between the two radii and slopes (the
//! least of the integral of `r''^2`, Euler-Lagrange `r'''' = 0`).

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::f64::consts::{PI, TAU};

use spile_case::read_case;
use spile_joint::{Unwatched, make};
use spile_mesh::{DVec3, Mesh, round_to_f32};

/// Where the joint starts and ends on the line.
const FROM: f64 = -3.1;
const TO: f64 = 9.0;

/// Two walls along z from -20 to 0, open at both ends; their radii at a height and
/// an angle.
fn walls(round: u32, rows: u32, radii: [&dyn Fn(f64, f64) -> f64; 2]) -> Mesh {
    let mut points = Vec::new();
    let mut triangles = Vec::new();
    for (side, radius) in radii.iter().enumerate() {
        let base = points.len() as u32;
        for i in 0..=rows {
            let z = -20.0 + 20.0 * f64::from(i) / f64::from(rows);
            for j in 0..round {
                let turn = TAU * (f64::from(j) + 0.5 * f64::from(i % 2)) / f64::from(round);
                let r = radius(z, turn);
                points.push(round_to_f32(DVec3::new(r * turn.cos(), r * turn.sin(), z)));
            }
        }
        for (i, j) in (0..rows).flat_map(|i| (0..round).map(move |j| (i, j))) {
            let at = |i: u32, j: u32| base + i * round + j % round;
            let [a, b, c, d] = [at(i, j), at(i, j + 1), at(i + 1, j), at(i + 1, j + 1)];
            let faces = if i % 2 == 0 { [[a, b, c], [b, d, c]] } else { [[a, d, c], [a, b, d]] };
            triangles.extend(faces.map(|[p, q, r]| if side == 0 { [p, r, q] } else { [p, q, r] }));
        }
    }
    Mesh::new(points, triangles).unwrap()
}

/// The part of these walls joined to a tube of `bore` and `outside`, `off` the line.
fn part(scan: Mesh, [bore, outside]: [f64; 2], [off, tilt]: [f64; 2]) -> Mesh {
    let (sin, cos) = tilt.sin_cos();
    let text = format!(
        r#"unit = "mm"
[scan]
file = "walls.stl"
form = "shell"
[[end]]
name = "upper"
cut = {{ through = [0, 0, {FROM}], facing = [0, 0, 1] }}
reach = 10
fitting = {{ kind = "tube", bore = {bore}, outside = {outside}, length = 12 }}
place = {{ at = [{off}, 0.4, {TO}], along = [{sin}, 0, {cos}] }}
[limits]
deviation = 0.05
wall_min = 1.5
bore_loss = 0.005
kink = 5
"#
    )
    .replace(if off == 0.0 { ", 0.4," } else { " " }, if off == 0.0 { ", 0.0," } else { " " });
    let case = read_case(&text, "case.toml").unwrap();
    make(&case, &[scan], &Unwatched).unwrap().part.unwrap()
}

/// The joint's triangles on one side of a radius.
fn joint(part: &Mesh, is_bore: bool, between: f64) -> Vec<[DVec3; 3]> {
    let all = (0..part.triangles().len()).map(|t| part.corners(t));
    let within = |p: &DVec3| {
        (FROM - 1e-3..TO + 1e-3).contains(&p.z) && (p.truncate().length() < between) == is_bore
    };
    all.filter(|corners| corners.iter().all(within)).collect()
}

fn area_vector([a, b, c]: [DVec3; 3]) -> DVec3 {
    0.5 * (b - a).cross(c - a)
}

/// The room inside a joint: by the divergence of `(x, y, 0) / 2`, to which flat
/// ends square to z add nothing.
fn volume(joint: &[[DVec3; 3]]) -> f64 {
    let flux = |t: &[DVec3; 3]| {
        let middle = t.iter().sum::<DVec3>() / 3.0;
        0.5 * middle.with_z(0.0).dot(area_vector(*t))
    };
    joint.iter().map(flux).sum::<f64>().abs()
}

/// What chords lose at most: `round` sides round a circle lose `(2 pi / n)^2 / 6`
/// of its area, and half of that again where the seam runs over a polygon.
fn chords(round: usize) -> f64 {
    1.5 * (TAU / round as f64).powi(2) / 6.0
}

/// How many points a joint has in each of its rows.
fn columns(joint: &[[DVec3; 3]]) -> usize {
    let at_seam = |p: &DVec3| (p.z - FROM).abs() < 1e-3;
    // Each edge of the seam is one triangle's.
    joint.iter().filter(|t| t.iter().filter(|p| at_seam(p)).count() == 2).count()
}

#[test]
fn between_equal_circles_the_joint_is_the_tube_itself() {
    let scan = walls(240, 60, [&|_, _| 8.0, &|_, _| 10.0]);
    let part = part(scan, [16.0, 20.0], [0.0, 0.0]);
    for (is_bore, radius) in [(true, 8.0), (false, 10.0)] {
        let joint = joint(&part, is_bore, 9.0);
        let n = columns(&joint);
        assert!(n > 90, "{n}");
        // The fitting's polygon has the circle's area; its corners lie a third of
        // a sagitta outside, the middles of its sides two thirds inside.
        let sagitta = radius * (1.0 - (PI / n as f64).cos());
        for p in joint.iter().flatten() {
            let off = p.truncate().length() - radius;
            assert!(off.abs() < sagitta, "{off} at {p}, sagitta {sagitta}");
        }
        let (length, exact) = (TO - FROM, PI * radius * radius * (TO - FROM));
        assert!((volume(&joint) / exact - 1.0).abs() < chords(n));
        let area: f64 = joint.iter().map(|&t| area_vector(t).length()).sum();
        assert!((area / (TAU * radius * length) - 1.0).abs() < chords(n));
    }
}

#[test]
fn between_circles_of_one_line_the_joint_is_the_cubic() {
    // The scan opens or closes by a slope; the fitting is wider or narrower.
    for (slope, bore) in [(0.0, 18.0), (0.04, 15.6), (-0.03, 15.0)] {
        let start = 8.0 + slope * FROM;
        let scan = walls(240, 60, [&|z, _| 8.0 + slope * z, &|z, _| 10.5 + slope * z]);
        let part = part(scan, [bore, bore + 5.0], [0.0, 0.0]);
        let length = TO - FROM;
        // Cubic Hermite form, slope 0 at the fitting.
        let cubic = |s: f64, r: f64, end: f64| {
            let rise = slope * length * s * (1.0 - s).powi(2);
            r + (end - r) * s * s * (3.0 - 2.0 * s) + rise
        };
        for (is_bore, wall) in [(true, 0.0), (false, 2.5)] {
            let (first, last) = (start + wall, 0.5 * bore + wall);
            let between = |p: DVec3| {
                let s = (p.z - FROM) / length;
                p.truncate().length() - cubic(s, first, last)
            };
            let joint = joint(&part, is_bore, start.midpoint(0.5 * bore) + 1.25);
            let n = columns(&joint);
            let sagitta = last.max(first) * (1.0 - (PI / n as f64).cos());
            for &p in joint.iter().flatten() {
                assert!(between(p).abs() < 1.5 * sagitta, "{} at {p}, {sagitta}", between(p));
            }
            // Simpson over 1000 steps: exact to rounding for the volume.
            let (mut room, mut area) = (0.0, 0.0);
            for k in 0..=1000 {
                let s = f64::from(k) / 1000.0;
                let weight = if k % 1000 == 0 { 1.0 } else { 2.0 * f64::from(1 + k % 2) };
                let r = cubic(s, first, last);
                let h = 1e-5;
                let steep = (cubic(s + h, first, last) - cubic(s - h, first, last)) / (2.0 * h);
                room += weight * PI * r * r * length / 3000.0;
                area +=
                    weight * TAU * r * (1.0 + (steep / length).powi(2)).sqrt() * length / 3000.0;
            }
            assert!((volume(&joint) / room - 1.0).abs() < chords(n), "{} {room}", volume(&joint));
            let made: f64 = joint.iter().map(|&t| area_vector(t).length()).sum();
            assert!((made / area - 1.0).abs() < chords(n), "{made} {area}");
        }
    }
}

#[test]
fn what_is_round_stays_round() {
    // So many sides that the scan itself is round to a millionth of its size.
    let scan = walls(1000, 6, [&|_, _| 8.0, &|_, _| 10.0]);
    let part = part(scan, [16.6, 20.0], [0.0, 0.0]);
    let size = part.bounds().diagonal();
    for is_bore in [true, false] {
        let points = joint(&part, is_bore, 9.1).into_iter().flatten();
        let mut rows = std::collections::BTreeMap::<i64, [f64; 2]>::new();
        for p in points {
            let r = p.truncate().length();
            let row = rows.entry((p.z * 1e3).round() as i64).or_insert([r, r]);
            *row = [row[0].min(r), row[1].max(r)];
        }
        assert!(rows.len() > 12, "{} rows", rows.len());
        let spread = rows.values().map(|[least, most]| most - least).fold(0.0, f64::max);
        assert!(spread < 1e-6 * size, "{spread} of {size}");
    }
}

#[test]
fn the_mirror_image_of_a_scan_gives_the_mirror_image() {
    let lobed = |z: f64, a: f64| 0.5 * (2.0 * a + 0.1 * z).sin() + 0.3 * (3.0 * a + 1.0).cos();
    let (bore, outside) = (|z: f64, a: f64| 8.0 + lobed(z, a), |z: f64, a: f64| 10.0 + lobed(z, a));
    let scan = walls(140, 44, [&bore, &outside]);
    let mirror = |mesh: &Mesh| {
        let points = mesh.points().iter().map(|p| DVec3::new(-p.x, p.y, p.z)).collect();
        let triangles = mesh.triangles().iter().map(|t| [t[0], t[2], t[1]]).collect();
        Mesh::new(points, triangles).unwrap()
    };
    let mirrored = part(mirror(&scan), [16.0, 20.0], [-1.5, -0.2]);
    let straight = part(scan, [16.0, 20.0], [1.5, 0.2]);
    let apart = spile_mesh::hausdorff(&straight, &mirror(&mirrored), 2e-4).bounds();
    // The remesher takes triangles in another order, so that the facets differ; the
    // shape differs by a small share of the deviation.
    assert!(apart.hi < 0.05 * 0.05, "{apart:?}");
}
