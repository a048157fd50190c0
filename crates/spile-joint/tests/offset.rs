//! The made wall: distances, volumes and shape against closed forms, and the
//! real scans.
#![expect(clippy::unwrap_used, reason = "builders and checks of a test")]

use std::f64::consts::PI;
use std::path::Path;

use spile_joint::{OffsetError, OffsetOptions, Thickness, fill_ring, made_wall};
use spile_mesh::{
    Bvh, DVec3, Mesh, NEVER_STOP, Topology, boundary_loops, farthest, nearest, self_intersections,
    shells,
};

/// A subdivided icosahedron with its corners on the sphere.
fn icosphere(radius: f64, rounds: usize) -> Mesh {
    let golden = 0.5 * (1.0 + 5.0_f64.sqrt());
    let mut points: Vec<DVec3> = Vec::new();
    for (a, b) in [(1.0, golden), (-1.0, golden), (1.0, -golden), (-1.0, -golden)] {
        points.extend([DVec3::new(0.0, a, b), DVec3::new(a, b, 0.0), DVec3::new(b, 0.0, a)]);
    }
    // The faces are the triples of points that are two apart from each other.
    let is_near = |i: usize, j: usize| (points[i].distance(points[j]) - 2.0).abs() < 1e-9;
    let mut triangles = Vec::new();
    for i in 0..12 {
        for j in i + 1..12 {
            for k in j + 1..12 {
                if is_near(i, j) && is_near(j, k) && is_near(k, i) {
                    let faces_out = points[i].dot(points[j].cross(points[k])) > 0.0;
                    triangles.push(if faces_out { [i, j, k] } else { [i, k, j] });
                }
            }
        }
    }
    for _ in 0..rounds {
        let mut middles = std::collections::BTreeMap::new();
        let mut finer = Vec::new();
        for t in &triangles {
            let m: [usize; 3] = std::array::from_fn(|k| {
                let (a, b) = (t[k], t[(k + 1) % 3]);
                *middles.entry((a.min(b), a.max(b))).or_insert_with(|| {
                    points.push(points[a] + points[b]);
                    points.len() - 1
                })
            });
            for k in 0..3 {
                finer.push([t[k], m[k], m[(k + 2) % 3]]);
            }
            finer.push(m);
        }
        triangles = finer;
        for p in &mut points {
            *p = p.normalize();
        }
    }
    let points = points.iter().map(|p| radius * p.normalize()).collect();
    let triangles = triangles.iter().map(|t| t.map(|v| v as u32)).collect();
    Mesh::new(points, triangles).unwrap()
}

/// A closed surface over a grid that closes on itself both ways.
fn ring_surface(n: u32, m: u32, place: impl Fn(f64, f64) -> DVec3) -> Mesh {
    let angle = |k: u32, of: u32| 2.0 * PI * f64::from(k) / f64::from(of);
    let points = (0..n * m).map(|k| place(angle(k / m, n), angle(k % m, m))).collect();
    let at = |i: u32, j: u32| (i % n) * m + j % m;
    let triangles = (0..n * m).flat_map(|k| {
        let (i, j) = (k / m, k % m);
        [[at(i, j), at(i + 1, j), at(i + 1, j + 1)], [at(i, j), at(i + 1, j + 1), at(i, j + 1)]]
    });
    Mesh::new(points, triangles.collect()).unwrap()
}

/// A tube along a line of places, closed at both ends, of `n` sides.
fn closed_tube(line: &[DVec3], radius: f64, n: u32) -> Mesh {
    let rows = line.len() as u32;
    let mut points = Vec::new();
    for (k, &middle) in line.iter().enumerate() {
        let along = (line[(k + 1).min(line.len() - 1)] - line[k.saturating_sub(1)]).normalize();
        let across = along.cross(DVec3::new(0.31, 0.95, 0.05)).normalize();
        let up = along.cross(across);
        points.extend((0..n).map(|s| {
            let (sin, cos) = (2.0 * PI * f64::from(s) / f64::from(n)).sin_cos();
            middle + radius * (cos * across + sin * up)
        }));
    }
    let at = |row: u32, s: u32| row * n + s % n;
    let mut triangles = Vec::new();
    for row in 0..rows - 1 {
        for s in 0..n {
            triangles.push([at(row, s), at(row, s + 1), at(row + 1, s + 1)]);
            triangles.push([at(row, s), at(row + 1, s + 1), at(row + 1, s)]);
        }
    }
    points.extend([line[0], line[line.len() - 1]]);
    for s in 0..n {
        triangles.push([rows * n, at(0, s + 1), at(0, s)]);
        triangles.push([rows * n + 1, at(rows - 1, s), at(rows - 1, s + 1)]);
    }
    Mesh::new(points, triangles).unwrap()
}

fn joined(parts: &[Mesh]) -> Mesh {
    Mesh::joined(parts).expect("few points")
}

/// The straight line from `a` to `b` in steps of about one.
fn steps(a: DVec3, b: DVec3) -> Vec<DVec3> {
    let n = a.distance(b).ceil().max(1.0) as usize;
    (0..=n).map(|k| a.lerp(b, k as f64 / n as f64)).collect()
}

/// A scan of the repository with each open end closed flat.
fn closed_scan(name: &str) -> Mesh {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/scans").join(name);
    let scan = spile_formats::read(&path).unwrap().mesh;
    let mut triangles = scan.triangles().to_vec();
    for ring in boundary_loops(&scan, &Topology::of(&scan)) {
        let ring: Vec<(u32, DVec3)> =
            ring.iter().map(|&v| (v, scan.points()[v as usize])).collect();
        let turn: DVec3 = (0..ring.len())
            .map(|k| (ring[k].1 - ring[0].1).cross(ring[(k + 1) % ring.len()].1 - ring[0].1))
            .sum();
        // The loop runs with the surface on its left: the cap faces the other way.
        triangles.extend(fill_ring(&[ring], -turn).unwrap());
    }
    Mesh::new(scan.points().to_vec(), triangles).unwrap()
}

/// Checks all that `made_wall` promises and gives the wall.
fn check(bore: &Mesh, thickness: f64, options: &OffsetOptions) -> Mesh {
    let wall = made_wall(bore, &Thickness::Constant(thickness), options, NEVER_STOP).unwrap();
    assert!(wall == wall.rounded(), "not rounded to f32");
    let topology = Topology::of(&wall);
    assert!(topology.is_closed(), "not closed");
    assert_eq!(shells(&wall, &topology).count, 1);
    assert!(wall.volume() > bore.volume().abs(), "faces inward");
    assert_eq!(self_intersections(&wall), []);
    let distance = nearest(&wall, None, &Bvh::build(bore), 1e-6).unwrap();
    assert!(distance.lo >= thickness - 2e-6, "{distance:?}");
    wall
}

/// Share of triangles lower than a quarter of their longest edge.
fn poor_share(wall: &Mesh) -> f64 {
    let is_poor = |t: &usize| {
        let [a, b, c] = wall.corners(*t);
        let longest = a.distance(b).max(b.distance(c)).max(c.distance(a));
        wall.area_normal(*t).length() < 0.25 * longest * longest
    };
    let all = wall.triangles().len();
    (0..all).filter(is_poor).count() as f64 / all as f64
}

#[test]
fn round_a_sphere() {
    let bore = icosphere(5.0, 4);
    let wall = check(&bore, 2.0, &OffsetOptions::default());
    // Closed form: a sphere of radius 7.
    for p in wall.points() {
        assert!((6.95..7.1).contains(&p.length()), "{}", p.length());
    }
    let ratio = wall.volume() / (4.0 / 3.0 * PI * 343.0);
    assert!((0.995..1.01).contains(&ratio), "volume is {ratio} of the sphere's");
    assert_eq!(poor_share(&wall), 0.0);
}

#[test]
fn orientation_of_the_bore_does_not_matter() {
    let bore = icosphere(5.0, 3);
    let turned = bore.triangles().iter().map(|&[a, b, c]| [a, c, b]).collect();
    let turned = Mesh::new(bore.points().to_vec(), turned).unwrap();
    let wall = check(&bore, 1.5, &OffsetOptions::default());
    let other =
        made_wall(&turned, &Thickness::Constant(1.5), &OffsetOptions::default(), NEVER_STOP)
            .unwrap();
    // Not bit for bit: where two triangles are equally near, either may answer.
    assert!((other.volume() / wall.volume() - 1.0).abs() < 1e-4);
}

#[test]
fn round_a_torus() {
    let bore = ring_surface(160, 60, |u, v| {
        let ring = 12.0 + 4.0 * v.cos();
        DVec3::new(ring * u.cos(), ring * u.sin(), 4.0 * v.sin())
    });
    let wall = check(&bore, 2.0, &OffsetOptions::default());
    // Euler's formula: one hole, V - E + F = 0.
    assert_eq!(2 * wall.points().len(), wall.triangles().len());
    // Closed form: 2 pi^2 R r^2.
    let ratio = wall.volume() / (2.0 * PI * PI * 12.0 * 36.0);
    assert!((0.99..1.02).contains(&ratio), "volume is {ratio} of the torus's");
    assert!(poor_share(&wall) < 1e-3);
}

#[test]
fn walls_of_neighbouring_tubes_merge_and_their_gap_is_filled_or_kept() {
    let line = |x: f64| steps(DVec3::new(x, 0.0, -15.0), DVec3::new(x, 0.0, 15.0));
    // Bores of radius 4, walls of 2: outsides of radius 6, axes 11 apart.
    let bore = joined(&[closed_tube(&line(0.0), 4.0, 40), closed_tube(&line(11.0), 4.0, 40)]);
    let wall = check(&bore, 2.0, &OffsetOptions::default());
    // Closed form: two cylinders less their lens, and each with two rounded
    // ends (a quarter torus round a disc of radius 4).
    let (r, e) = (6.0_f64, 11.0_f64);
    let lens = 2.0 * r * r * (e / (2.0 * r)).acos() - 0.5 * e * (4.0 * r * r - e * e).sqrt();
    let cap = PI * 16.0 * 2.0 + PI * (PI * 4.0 / 4.0) * 2.0 * (4.0 + 4.0 * 2.0 / (3.0 * PI));
    let volume = 30.0 * (2.0 * PI * r * r - lens) + 4.0 * cap;
    let ratio = wall.volume() / volume;
    assert!((0.99..1.03).contains(&ratio), "volume is {ratio} of the closed form");
}

#[test]
fn a_hollow_between_branches_is_filled() {
    // A ring of tube whose hole is narrower than two walls.
    let bore = ring_surface(96, 40, |u, v| {
        let ring = 5.5 + 4.0 * v.cos();
        DVec3::new(ring * u.cos(), ring * u.sin(), 4.0 * v.sin())
    });
    let wall = check(&bore, 2.0, &OffsetOptions::default());
    // Euler's formula: no hole, V - E + F = 2.
    assert_eq!(2 * wall.points().len(), wall.triangles().len() + 4);
}

#[test]
fn a_tight_corner() {
    // Two legs of a tube that meet at 35 degrees, and bores that cross there.
    let (sin, cos) = 35.0_f64.to_radians().sin_cos();
    let one = closed_tube(&steps(DVec3::ZERO, 25.0 * DVec3::X), 3.0, 36);
    let two = closed_tube(&steps(DVec3::ZERO, 25.0 * DVec3::new(cos, sin, 0.0)), 3.0, 36);
    let wall = check(&joined(&[one, two]), 1.5, &OffsetOptions::default());
    assert!(poor_share(&wall) < 5e-3, "{}", poor_share(&wall));
}

#[test]
fn edges_longer_than_the_wall_is_thick() {
    let bore = closed_tube(&steps(DVec3::ZERO, 20.0 * DVec3::Z), 8.0, 48);
    for edge in [1.5, 1e6] {
        check(&bore, 1.0, &OffsetOptions { edge: Some(edge) });
    }
}

#[test]
fn needles_in_the_bore_leave_no_trace() {
    // The same sphere, each triangle cut in three from a point very near a corner.
    let plain = icosphere(5.0, 3);
    let (mut points, mut triangles) = (plain.points().to_vec(), Vec::new());
    for (t, &[a, b, c]) in plain.triangles().iter().enumerate() {
        let [p, q, r] = plain.corners(t);
        points.push(p * (1.0 - 2e-7) + (q + r) * 1e-7);
        let m = points.len() as u32 - 1;
        triangles.extend([[a, b, m], [b, c, m], [c, a, m]]);
    }
    let wall = check(&Mesh::new(points, triangles).unwrap(), 2.0, &OffsetOptions::default());
    for p in wall.points() {
        assert!((6.93..7.1).contains(&p.length()), "{}", p.length());
    }
}

#[test]
fn a_thickness_that_varies() {
    let bore = closed_tube(&steps(DVec3::ZERO, 40.0 * DVec3::Z), 5.0, 48);
    let thickness = |p: DVec3| 1.5 + 0.05 * p.z.clamp(0.0, 40.0);
    let wall =
        made_wall(&bore, &Thickness::Varying(&thickness), &OffsetOptions::default(), NEVER_STOP)
            .unwrap();
    assert!(Topology::of(&wall).is_closed());
    assert_eq!(self_intersections(&wall), []);
    for p in wall.points().iter().filter(|p| (5.0..35.0).contains(&p.z)) {
        let over = p.truncate().length() - 5.0 - thickness(*p);
        assert!((-0.02..0.15).contains(&over), "{over} at {p}");
    }
}

#[test]
fn the_same_on_any_number_of_threads() {
    let line = steps(DVec3::new(300.0, -20.0, 700.0), DVec3::new(320.0, -20.0, 710.0));
    let bore = closed_tube(&line, 4.0, 40);
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| {
            made_wall(&bore, &Thickness::Constant(2.0), &OffsetOptions::default(), NEVER_STOP)
                .unwrap()
        })
    };
    let one = on(1);
    assert!(one == on(2) && one == on(8));
}

#[test]
fn what_cannot_be_is_said() {
    let asked = |bore: &Mesh, thickness: f64, edge: Option<f64>| {
        made_wall(bore, &Thickness::Constant(thickness), &OffsetOptions { edge }, NEVER_STOP)
            .unwrap_err()
    };
    let bore = icosphere(5.0, 2);
    assert_eq!(asked(&Mesh::default(), 1.0, None), OffsetError::NoBore);
    let open = Mesh::new(bore.points().to_vec(), bore.triangles()[1..].to_vec()).unwrap();
    assert!(matches!(asked(&open, 1.0, None), OffsetError::Open { .. }));
    for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert!(matches!(asked(&bore, bad, None), OffsetError::NotPositive { .. }));
        assert!(matches!(asked(&bore, 1.0, Some(bad)), OffsetError::NotPositive { .. }));
    }
    assert!(matches!(asked(&bore, 1.0, Some(1e-9)), OffsetError::TooFine { .. }));
    let moved = bore.points().iter().map(|&p| p + 30.0 * DVec3::X).collect();
    let apart = joined(&[bore.clone(), Mesh::new(moved, bore.triangles().to_vec()).unwrap()]);
    assert!(matches!(asked(&apart, 1.0, None), OffsetError::Apart { .. }));
}

#[test]
fn real_aortic_arch() {
    // tests/scans/README.md: aorta-arch-cut-derived.
    let bore = closed_scan("anatomy/aorta-arch-cut-derived.stl");
    let wall = check(&bore, 2.0, &OffsetOptions::default());
    assert!(poor_share(&wall) < 5e-3, "{}", poor_share(&wall));
    // A valley's floor lies 0.6 edges higher at most, and by default an edge is
    // at most 0.75 thicknesses long: 0.9. For the flatness of triangles 0.1.
    let bounds = farthest(&wall, None, &Bvh::build(&bore), 0.01, None);
    assert!(bounds.hi < 3.0, "somewhere the wall is {bounds:?} thick");
}

#[test]
fn real_airway() {
    // tests/scans/README.md: airway-ct-lumen-derived.
    let bore = closed_scan("anatomy/airway-ct-lumen-derived.stl");
    let wall = check(&bore, 2.0, &OffsetOptions::default());
    assert!(poor_share(&wall) < 5e-3, "{}", poor_share(&wall));
    assert!(wall.triangles().len() < 150_000, "{}", wall.triangles().len());
}
