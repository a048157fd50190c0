//! Closed forms with noise added, shapes that must be found, and shapes that
//! must not.

use std::f64::consts::{PI, TAU};

use glam::{DMat3, DVec3};

use super::*;
use crate::shapes::{flipped, together, torus, tube};
use crate::topology::Topology;

/// Seeded noise: SplitMix64 (Steele, Lea and Flood 2014) and the method of Box
/// and Muller 1958.
struct Noise(u64);

impl Noise {
    fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.share()).ln()).sqrt();
        radius * (TAU * self.share()).cos()
    }

    fn vector(&mut self) -> DVec3 {
        DVec3::new(self.normal(), self.normal(), self.normal())
    }

    fn direction(&mut self) -> DVec3 {
        self.vector().normalize()
    }
}

/// A shape somewhere in space, and points on it with noise of `sigma` in every
/// direction: `arc` of its turn, in radians.
struct Trial {
    truth: Shape,
    samples: Vec<Sample>,
}

const RADIUS: f64 = 10.0;
const HALF_ANGLE: f64 = 0.2;

fn trial(kind: usize, seed: u64, sigma: f64, arc: f64) -> Trial {
    let mut noise = Noise(seed);
    let through = noise.vector() * 50.0;
    let axis = noise.direction();
    let [u, v] = shape::square_to(axis);
    let truth = match kind {
        0 => Shape::Plane { through, normal: axis },
        1 => Shape::Sphere { centre: through, radius: RADIUS },
        2 => Shape::Cylinder { through, axis, radius: RADIUS },
        _ => Shape::Cone { through, axis, radius: RADIUS, half_angle_rad: HALF_ANGLE },
    };
    let samples = (0..300)
        .map(|_| {
            let (a, b) = (noise.share(), noise.share());
            let angle = arc * (a - 0.5);
            let round = u * angle.cos() + v * angle.sin();
            let height = 20.0 * (b - 0.5);
            let at = match truth {
                Shape::Plane { .. } => u * 20.0 * (a - 0.5) + v * height,
                Shape::Sphere { .. } => {
                    // Even over the zone of that height (Archimedes).
                    let z = 0.9 * (2.0 * b - 1.0);
                    (round * (1.0 - z * z).sqrt() + axis * z) * RADIUS
                }
                Shape::Cylinder { .. } => round * RADIUS + axis * height,
                Shape::Cone { .. } => round * (RADIUS + height * HALF_ANGLE.tan()) + axis * height,
            };
            // Weights that are not equal, as areas are not.
            let weight = 0.5 + noise.share();
            Sample { at: through + at + noise.vector() * sigma, weight }
        })
        .collect();
    Trial { truth, samples }
}

/// A start that is off by a few degrees and a tenth of the radius.
fn off(shape: Shape) -> Shape {
    let step = match shape {
        Shape::Plane { .. } => [1.0, 0.1, -0.1, 0.0, 0.0, 0.0],
        Shape::Sphere { .. } => [1.0, -1.0, 0.5, 1.0, 0.0, 0.0],
        _ => [1.0, -1.0, 0.05, -0.05, 1.0, 0.05],
    };
    shape.moved(&step).unwrap()
}

/// Deviations from the truth in standard errors: place, direction, radius and
/// half angle, each where the shape has it.
fn in_errors(truth: &Shape, fit: &Fit) -> [Option<f64>; 4] {
    let ratio = |difference: f64, error: f64| (error > 0.0).then(|| difference / error);
    let (at, true_at) = (fit.shape.place(), truth.place());
    let direction = truth.direction().zip(fit.shape.direction());
    // Beside the middle of the samples, where the fit holds its place.
    let (apart, radius_there) = match *truth {
        Shape::Plane { normal, .. } => ((at - true_at).dot(normal).abs(), 0.0),
        Shape::Sphere { radius, .. } => (at.distance(true_at), radius),
        Shape::Cylinder { axis, radius, .. } => (shape::off_axis(at - true_at, axis).1, radius),
        Shape::Cone { axis, radius, half_angle_rad, .. } => {
            let (_, out, along) = shape::off_axis(at - true_at, axis);
            (out, radius + along * half_angle_rad.tan())
        }
    };
    let radius = match fit.shape {
        Shape::Plane { .. } => 0.0,
        Shape::Sphere { radius, .. }
        | Shape::Cylinder { radius, .. }
        | Shape::Cone { radius, .. } => radius,
    };
    let half = match fit.shape {
        Shape::Cone { half_angle_rad, .. } => (half_angle_rad - HALF_ANGLE).abs(),
        _ => 0.0,
    };
    [
        ratio(apart, fit.errors.place),
        direction.and_then(|(a, b)| ratio(a.cross(b).length(), fit.errors.direction_rad)),
        ratio((radius - radius_there).abs(), fit.errors.radius),
        ratio(half, fit.errors.half_angle_rad),
    ]
}

/// Of 400 seeds, each deviation is within three standard errors as often as a
/// normal distribution says, and not far more often: 99.73 % of numbers; of
/// two components together at least 98.89 %, of three 97.07 % (chi-squared with
/// 2 and 3 degrees of freedom beyond 9), for the error is the largest of any
/// direction.
#[test]
fn deviations_from_the_truth_are_as_large_as_the_standard_errors_say() {
    const SEEDS: u64 = 400;
    for kind in 0..4 {
        for arc_deg in [360.0_f64, 90.0, 30.0] {
            let mut all: [Vec<f64>; 4] = Default::default();
            for seed in 0..SEEDS {
                // A noise that leaves 30 degrees of arc a shape: its sagitta is 0.34.
                let trial = trial(kind, seed * 7 + kind as u64, 0.02, arc_deg.to_radians());
                let fit = fit(off(trial.truth), &trial.samples).unwrap();
                for (list, x) in all.iter_mut().zip(in_errors(&trial.truth, &fit)) {
                    list.extend(x);
                }
            }
            for (what, list) in all.iter().enumerate().filter(|(_, list)| !list.is_empty()) {
                let within = list.iter().filter(|&&x| x <= 3.0).count() as f64 / SEEDS as f64;
                let least = if what < 2 { 0.95 } else { 0.99 };
                assert!(within >= least, "{kind} {arc_deg} {what}: {within}");
                // An error twice too large would put nearly all within one and
                // a half, where at most 95 % belong of any of these.
                let near = list.iter().filter(|&&x| x <= 1.0).count() as f64 / SEEDS as f64;
                assert!(near <= 0.85, "{kind} {arc_deg} {what}: {near} within one");
            }
        }
    }
}

#[test]
fn a_short_arc_is_known_less_well() {
    for kind in [1, 2, 3] {
        let error = |arc: f64| {
            let trial = trial(kind, 5, 0.02, arc.to_radians());
            fit(off(trial.truth), &trial.samples).unwrap().errors.radius
        };
        let [full, quarter, short] = [360.0, 90.0, 30.0].map(error);
        assert!(quarter > 2.0 * full, "{kind}: {full} {quarter}");
        assert!(short > 4.0 * quarter || kind == 1, "{kind}: {quarter} {short}");
        assert!(short > quarter, "{kind}: {quarter} {short}");
    }
}

#[test]
fn points_on_the_shape_give_it_back_exactly() {
    for kind in 0..4 {
        let trial = trial(kind, 11, 0.0, PI);
        let fit = fit(off(trial.truth), &trial.samples).unwrap();
        assert!(fit.largest < 1e-11, "{kind}: {fit:?}");
    }
}

/// The derivatives against differences of the distance itself.
#[test]
fn slopes_are_the_derivatives() {
    for kind in 0..4 {
        let trial = trial(kind, 3, 1.0, TAU);
        let shape = trial.truth;
        for s in &trial.samples[..20] {
            let slopes = shape.slopes(s.at);
            for k in 0..shape.parameters() {
                let mut step = [0.0; shape::MOST];
                step[k] = 1e-6;
                let up = shape.moved(&step).unwrap().signed_distance(s.at);
                step[k] = -1e-6;
                let down = shape.moved(&step).unwrap().signed_distance(s.at);
                let slope = (up - down) / 2e-6;
                assert!((slope - slopes[k]).abs() < 1e-5, "{kind} {k}: {slope} {slopes:?}");
            }
        }
    }
}

fn found(mesh: &Mesh) -> Vec<Recognised> {
    recognise(mesh, &Topology::of(mesh))
}

fn moved(mesh: &Mesh, mut change: impl FnMut(DVec3) -> DVec3) -> Mesh {
    let points = mesh.points().iter().map(|&p| change(p)).collect();
    Mesh::new(points, mesh.triangles().to_vec()).unwrap()
}

fn kinds(found: &[Recognised]) -> Vec<&'static str> {
    let kind = |r: &Recognised| match r.fit.shape {
        Shape::Plane { .. } => "plane",
        Shape::Sphere { .. } => "sphere",
        Shape::Cylinder { .. } => "cylinder",
        Shape::Cone { .. } => "cone",
    };
    found.iter().map(kind).collect()
}

/// Corners on the circle, two rows of points alone: they lie on a sphere too.
#[test]
fn a_tube_of_long_facets_is_a_cylinder() {
    let mesh = tube(64, &[0.0, 25.0], |_| 8.0).rounded();
    let shapes = found(&mesh);
    assert_eq!(kinds(&shapes), ["cylinder"]);
    let Shape::Cylinder { axis, radius, .. } = shapes[0].fit.shape else { unreachable!() };
    assert!((radius - 8.0).abs() < 1e-6 && axis.z.abs() > 1.0 - 1e-12);
    assert!((shapes[0].extent.swept_rad - TAU).abs() < 1e-9);
    assert!((shapes[0].extent.length - 25.0).abs() < 1e-9);
    assert!(shapes[0].is_exact && !shapes[0].is_hollow);
    assert_eq!(shapes[0].triangles.len(), mesh.triangles().len());
    assert!(found(&flipped(&mesh))[0].is_hollow);
}

#[test]
fn a_taper_is_a_cone_and_its_angle_is_told() {
    // check-values C1: 1 : 40 on the diameter is 0.71616 degrees to the axis.
    let mesh = tube(48, &[0.0, 10.0, 20.0], |z| 10.0 + z / 80.0);
    let shapes = found(&mesh);
    assert_eq!(kinds(&shapes), ["cone"]);
    let Shape::Cone { half_angle_rad, .. } = shapes[0].fit.shape else { unreachable!() };
    assert!((half_angle_rad.to_degrees() - 0.716_16).abs() < 1e-4);
    let apex = shapes[0].fit.shape.apex().unwrap();
    assert!((apex.z + 800.0).abs() < 1e-3, "{apex}");
}

/// A hexagon's corners lie on a circle too.
#[test]
fn a_prism_is_planes_and_no_cylinder() {
    let shapes = found(&tube(6, &[0.0, 10.0], |_| 8.0));
    assert_eq!(kinds(&shapes), ["plane"; 6]);
}

#[test]
fn a_torus_and_an_egg_are_none_of_these() {
    for (n, m) in [(96, 48), (40, 20)] {
        for (ring, radius) in [(20.0, 5.0), (60.0, 2.0), (8.0, 5.0)] {
            let shapes = found(&torus(n, m, ring, radius));
            assert!(shapes.is_empty(), "{n} {m} {ring} {radius}: {:?}", shapes[0].fit);
        }
    }
    let heights: Vec<f64> = (-4..=4).map(|k| 3.0 * f64::from(k)).collect();
    assert_eq!(kinds(&found(&tube(64, &heights, |z| 10.0 - z * z / 40.0))), [""; 0]);
    let egg = moved(&ball(48, 10.0), |p| DVec3::new(p.x, 1.1 * p.y, 1.3 * p.z));
    assert_eq!(kinds(&found(&egg)), [""; 0]);
}

/// A sphere about the origin, without its poles.
fn ball(n: u32, radius: f64) -> Mesh {
    let heights: Vec<f64> =
        (1..n).map(|k| -radius * (PI * f64::from(k) / f64::from(n)).cos()).collect();
    tube(2 * n, &heights, |z| (radius * radius - z * z).sqrt())
}

#[test]
fn a_ball_is_a_sphere_with_and_without_noise() {
    let mesh = ball(24, 5.0);
    for sigma in [0.0, 0.03] {
        let mut noise = Noise(9);
        let shapes = found(&moved(&mesh, |p| p + noise.vector() * sigma));
        assert_eq!(kinds(&shapes), ["sphere"], "{sigma}");
        let fit = shapes[0].fit;
        let Shape::Sphere { centre, radius } = fit.shape else { unreachable!() };
        assert!(centre.length() <= 3.0 * fit.errors.place + 1e-9, "{fit:?}");
        assert!((radius - 5.0).abs() <= 3.0 * fit.errors.radius + 1e-9, "{fit:?}");
    }
}

/// A lumpy vessel, like anatomy: smooth, not round anywhere; with noise on it
/// or not.
fn lumpy() -> Mesh {
    let heights: Vec<f64> = (0..=120).map(|k| 0.5 * f64::from(k)).collect();
    let straight = tube(120, &heights, |_| 9.0);
    moved(&straight, |p| {
        let angle = p.y.atan2(p.x);
        let lump = 0.06 * (0.21 * p.z + angle).sin() + 0.05 * (2.0 * angle - 0.33 * p.z).sin();
        let bend = DVec3::new(4.0 * (p.z / 25.0).sin(), 2.0 * (p.z / 31.0).cos(), 0.0);
        DVec3::new(p.x * (1.0 + lump), p.y * (1.0 + lump), p.z) + bend
    })
}

#[test]
fn a_lumpy_vessel_is_none_of_these() {
    for (sigma, seed) in [(0.0, 1), (0.02, 2), (0.1, 3)] {
        let mut noise = Noise(seed);
        let mesh = moved(&lumpy(), |p| p + noise.vector() * sigma);
        let shapes = found(&mesh);
        assert_eq!(kinds(&shapes), [""; 0], "{sigma}: {shapes:?}");
    }
}

/// A scanned cylinder with noise that is joined, without a crease, to a lumpy
/// vessel.
#[test]
fn a_noisy_tube_on_a_lumpy_vessel_is_found() {
    let heights: Vec<f64> = (0..=100).map(|k| 0.5 * f64::from(k)).collect();
    let straight = tube(100, &heights, |_| 8.0);
    let mut noise = Noise(21);
    let mesh = moved(&straight, |p| {
        let angle = p.y.atan2(p.x);
        let fade = ((25.0 - p.z) / 10.0).clamp(0.0, 1.0);
        let lump = fade * (0.07 * (0.3 * p.z + angle).sin() + 0.06 * (2.0 * angle).cos());
        DVec3::new(p.x * (1.0 + lump), p.y * (1.0 + lump), p.z) + noise.vector() * 0.03
    });
    let shapes = found(&mesh);
    assert_eq!(kinds(&shapes), ["cylinder"], "{shapes:?}");
    let fit = shapes[0].fit;
    let Shape::Cylinder { axis, radius, .. } = fit.shape else { unreachable!() };
    // What fades in at its end adds a little of its own.
    assert!((radius - 8.0).abs() < 0.01, "{fit:?}");
    assert!(axis.cross(DVec3::Z).length() < 0.002, "{fit:?}");
    assert!((fit.sigma - 0.03).abs() < 0.006, "{fit:?}");
    let length = shapes[0].extent.length;
    assert!((22.0..29.0).contains(&length), "{length}");
}

/// Same shapes, turned, moved and scaled; and any order of threads.
#[test]
fn motion_scale_and_threads_change_nothing() {
    let mesh = together(
        &tube(48, &[0.0, 10.0, 20.0], |z| 6.0 + 0.1 * z),
        &moved(&ball(20, 5.0), |p| p + DVec3::new(30.0, 0.0, 0.0)),
    );
    let here = found(&mesh);
    assert_eq!(kinds(&here).len(), 2);
    let turn = DMat3::from_axis_angle(DVec3::new(1.0, 2.0, 3.0).normalize(), 0.7);
    for (scale, seed) in [(1.0, 1), (0.01, 2), (25.4, 3)] {
        let shift = Noise(seed).vector() * 20.0 * scale;
        let there = found(&moved(&mesh, |p| turn * p * scale + shift));
        assert_eq!(kinds(&there), kinds(&here));
        for (a, b) in here.iter().zip(&there) {
            assert_eq!(a.triangles, b.triangles);
            let place = turn * a.fit.shape.place() * scale + shift;
            assert!(place.distance(b.fit.shape.place()) < 1e-6 * scale);
        }
    }
    let mut noise = Noise(4);
    let noisy = moved(&mesh, |p| p + noise.vector() * 0.02);
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| found(&noisy))
    };
    let one = on(1);
    assert_eq!(one, on(2));
    assert_eq!(one, on(8));
}

#[test]
fn rims_are_circles_or_not() {
    let ring = |n: u32, out: &dyn Fn(f64) -> f64| -> Vec<DVec3> {
        let turn = DMat3::from_axis_angle(DVec3::new(1.0, 1.0, 0.3).normalize(), 0.9);
        (0..n)
            .map(|k| TAU * f64::from(k) / f64::from(n))
            .map(|a| turn * (DVec3::new(a.cos(), a.sin(), 0.0) * out(a)) + DVec3::splat(40.0))
            .collect()
    };
    let round = fit_circle(&ring(64, &|_| 9.0)).unwrap();
    assert!(round.is_round && (round.radius - 9.0).abs() < 1e-12);
    assert!(round.centre.distance(DVec3::splat(40.0)) < 1e-12);
    assert!(!fit_circle(&ring(6, &|_| 9.0)).unwrap().is_round);
    // An ellipse by 1 %, and a noisy circle.
    assert!(!fit_circle(&ring(64, &|a| 9.0 + 0.09 * (2.0 * a).cos())).unwrap().is_round);
    assert!(fit_circle(&[DVec3::ZERO; 9]).is_none());
    let (mut near, mut rounds) = (0, 0);
    for seed in 0..400 {
        let mut noise = Noise(seed);
        let points: Vec<DVec3> =
            ring(64, &|_| 9.0).into_iter().map(|p| p + noise.vector() * 0.03).collect();
        let circle = fit_circle(&points).unwrap();
        near += u32::from((circle.radius - 9.0).abs() <= 3.0 * circle.radius_error);
        rounds += u32::from(circle.is_round);
    }
    // 99.73 % of 400 are 398.9; six standard deviations of that count are 6.
    assert!(near >= 393 && rounds >= 393, "{near} {rounds}");
}

#[test]
fn no_mesh_makes_it_fail() {
    assert!(found(&Mesh::default()).is_empty());
    let flat = Mesh::new(vec![DVec3::ZERO; 3], vec![[0, 1, 2], [0, 0, 1]]).unwrap();
    assert!(found(&flat).is_empty());
    let huge = Mesh::new(
        vec![DVec3::ZERO, DVec3::X * 1e300, DVec3::Y * 1e300, DVec3::splat(1e300)],
        vec![[0, 1, 2], [1, 3, 2]],
    );
    let _ = found(&huge.unwrap());
}
