//! Volumes and areas against closed forms: `tests/check-values/closed-forms.csv`.

use std::f64::consts::{PI, TAU};
use std::path::Path;

use spile_mesh::{DVec3, Mesh};

/// The value of a row of the table.
fn closed_form(id: &str) -> f64 {
    let table =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/check-values/closed-forms.csv");
    let text = std::fs::read_to_string(table).expect("the table is there");
    let row = text.lines().find(|l| l.starts_with(&format!("{id},"))).expect("the row is there");
    // Inputs may hold commas inside quotes; the value is the third field from the end.
    let fields: Vec<&str> = row.rsplit(',').collect();
    fields[2].parse().expect("a number")
}

/// How much of its circle the regular n-gon with corners on it covers: closed
/// form, `polygon.csv`.
fn share(n: usize) -> f64 {
    n as f64 / TAU * (TAU / n as f64).sin()
}

/// A point at `angle` on a circle.
fn on_circle(centre: DVec3, radius: f64, angle: f64) -> DVec3 {
    centre + radius * DVec3::new(angle.cos(), angle.sin(), 0.0)
}

/// A solid between rings of equal size, closed by fans at the first and the last;
/// where `is_round` the last joins the first instead.
fn between(rings: &[Vec<DVec3>], is_round: bool) -> Mesh {
    let n = rings[0].len() as u32;
    let mut points: Vec<DVec3> = rings.iter().flatten().copied().collect();
    let mut triangles = Vec::new();
    let count = rings.len() as u32;
    for k in 0..if is_round { count } else { count - 1 } {
        let (low, high) = (k * n, (k + 1) % count * n);
        for i in 0..n {
            let j = (i + 1) % n;
            triangles.extend([[low + i, low + j, high + j], [low + i, high + j, high + i]]);
        }
    }
    if !is_round {
        for (first, ring, is_top) in
            [(0, &rings[0], false), ((count - 1) * n, &rings[rings.len() - 1], true)]
        {
            let middle = points.len() as u32;
            points.push(ring.iter().sum::<DVec3>() / f64::from(n));
            for i in 0..n {
                let (a, b) = (first + i, first + (i + 1) % n);
                triangles.push(if is_top { [a, b, middle] } else { [b, a, middle] });
            }
        }
    }
    Mesh::new(points, triangles).expect("a solid")
}

/// A frustum along z with its upper end set off sideways.
fn frustum(n: usize, low: f64, high: f64, height: f64, offset: f64) -> Mesh {
    let ring = |radius: f64, centre: DVec3| -> Vec<DVec3> {
        (0..n).map(|i| on_circle(centre, radius, TAU * i as f64 / n as f64)).collect()
    };
    between(&[ring(low, DVec3::ZERO), ring(high, DVec3::new(offset, 0.0, height))], false)
}

/// A tube of radius `r` bent round an axis at distance `big`, through `angle`.
fn bend(n: usize, steps: usize, big: f64, r: f64, angle: f64) -> Mesh {
    let is_round = angle == TAU;
    let ring = |k: usize| -> Vec<DVec3> {
        let (s, c) = (angle * k as f64 / steps as f64).sin_cos();
        (0..n)
            .map(|i| {
                let a = TAU * i as f64 / n as f64;
                let out = big + r * a.cos();
                DVec3::new(out * c, r * a.sin(), out * s)
            })
            .collect()
    };
    let rings: Vec<Vec<DVec3>> = (0..if is_round { steps } else { steps + 1 }).map(ring).collect();
    between(&rings, is_round)
}

fn assert_close(x: f64, truth: f64, relative: f64) {
    assert!((x / truth - 1.0).abs() < relative, "{x} against {truth}");
}

#[test]
fn cylinders_and_frusta() {
    // Plane facets: exact but for the polygon's share of its circle.
    for n in [16, 64, 360] {
        let cone = frustum(n, 21.995 / 2.0, 22.520 / 2.0, 21.0, 0.0);
        assert_close(cone.volume(), share(n) * closed_form("C2"), 1e-9);
        let tube =
            frustum(n, 11.0, 11.0, 25.0, 0.0).volume() - frustum(n, 9.0, 9.0, 25.0, 0.0).volume();
        assert_close(tube, share(n) * closed_form("C4"), 1e-9);
        // Cavalieri: the volume does not depend on the offset.
        for offset in [0.0, 1.5, 40.0] {
            assert_close(
                frustum(n, 9.0, 11.0, 20.0, offset).volume(),
                share(n) * closed_form("C11"),
                1e-9,
            );
        }
    }
    let (n, low, high) = (720, 21.995 / 2.0, 22.520 / 2.0);
    let ends = share(n) * PI * (low * low + high * high);
    let lateral = frustum(n, low, high, 21.0, 0.0).area() - ends;
    // A chord is shorter than its arc by pi^2 / 6 n^2: 3e-6.
    assert!(lateral < closed_form("C3"));
    assert_close(lateral, closed_form("C3"), 1e-5);
}

#[test]
fn tori_and_bends() {
    let ring = bend(256, 512, 30.0, 9.0, TAU);
    assert!(ring.volume() < closed_form("C8") && ring.area() < closed_form("C9"));
    assert_close(ring.volume(), closed_form("C8"), 3e-4);
    assert_close(ring.area(), closed_form("C9"), 3e-4);
    let wall = bend(256, 256, 30.0, 11.0, TAU / 4.0).volume()
        - bend(256, 256, 30.0, 9.0, TAU / 4.0).volume();
    assert_close(wall, closed_form("C10"), 3e-4);
}

#[test]
fn spheres() {
    // 4/3 pi r^3 and 4 pi r^2, from below.
    let r = 10.0;
    let rings: Vec<Vec<DVec3>> = (1..256)
        .map(|k| {
            let (s, c) = (PI * f64::from(k) / 256.0).sin_cos();
            (0..256)
                .map(|i| on_circle(DVec3::new(0.0, 0.0, -r * c), r * s, TAU * f64::from(i) / 256.0))
                .collect()
        })
        .collect();
    let ball = between(&rings, false);
    let (volume, area) = (4.0 / 3.0 * PI * r.powi(3), 4.0 * PI * r * r);
    assert!(ball.volume() < volume && ball.area() < area);
    assert_close(ball.volume(), volume, 1e-3);
    assert_close(ball.area(), area, 1e-3);
}
