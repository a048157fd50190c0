//! The passing ball against closed forms.

mod shapes;

use shapes::{ring, steps, tube};
use spile_mesh::{Bvh, DVec3, Mesh};
use spile_proof::ball::{Gate, passing_ball};

const N: usize = 256;

/// Gates along z, from high to low, as a ball comes from a fitting.
fn gates_along_z(from: f64, to: f64, at: impl Fn(f64) -> DVec3) -> Vec<Gate> {
    steps(from, to, 40).map(|z| Gate { at: at(z), along: -DVec3::Z }).collect()
}

fn ball(mesh: &Mesh, gates: &[Gate]) -> (f64, DVec3) {
    let found = passing_ball(&Bvh::build(mesh), gates).expect("gates and a surface");
    (found.lo, found.at)
}

#[test]
fn a_tube_passes_its_inscribed_ball() {
    let rings: Vec<_> =
        steps(0.0, 30.0, 10).map(|z| ring(z * DVec3::Z, DVec3::Z, 9.0, N)).collect();
    // Started off the axis: the centres find it.
    let off = |z: f64| DVec3::new(1.5, -1.0, z);
    let (lo, _) = ball(&tube(&rings, false), &gates_along_z(28.0, 2.0, off));
    // Closed form: the polygon's apothem, r cos(pi / n), is a true upper bound.
    let most = 18.0 * (std::f64::consts::PI / N as f64).cos();
    assert!(lo <= most && lo > most * (1.0 - 1e-3), "{lo} {most}");
}

#[test]
fn a_step_between_shifted_tubes_takes_its_size_from_the_ball() {
    // check-values C17: tubes of r = 9 shifted by e leave a ball of 18 - e.
    for shift in [0.5, 1.0, 2.0, 4.0] {
        let side = |z: f64, x: f64| ring(DVec3::new(x, 0.0, z), DVec3::Z, 9.0, N);
        let x = 0.5 * shift;
        let rings = [side(0.0, -x), side(10.0, -x), side(10.0, x), side(20.0, x)];
        let line = |z: f64| DVec3::new(x * ((z - 10.0) / 4.0).clamp(-1.0, 1.0), 0.0, z);
        let (lo, at) = ball(&tube(&rings, false), &gates_along_z(18.0, 2.0, line));
        assert!(lo <= 18.0 - shift, "{shift}: {lo}");
        // Centres are placed to 5e-4 of the room, and at the step the best line
        // bends more sharply than the pieces between them.
        assert!(lo > (18.0 - shift) * (1.0 - 3e-3), "{shift}: {lo}");
        assert!((at.z - 10.0).abs() < 0.5);
    }
}

#[test]
fn a_bend_passes_the_ball_of_its_tube() {
    // Torus of check-values C8: R = 30, r = 9; a quarter of it.
    let place = |a: f64| DVec3::new(30.0 * a.cos(), 0.0, 30.0 * a.sin());
    let tangent = |a: f64| DVec3::new(-a.sin(), 0.0, a.cos());
    let radial = |a: f64| DVec3::new(a.cos(), 0.0, a.sin());
    let rings: Vec<Vec<DVec3>> = steps(0.0, std::f64::consts::FRAC_PI_2, 200)
        .map(|a| {
            (0..N)
                .map(|i| std::f64::consts::TAU * i as f64 / N as f64)
                .map(|b| place(a) + 9.0 * (b.cos() * radial(a) + b.sin() * DVec3::Y))
                .collect()
        })
        .collect();
    let gates: Vec<Gate> =
        steps(1.4, 0.2, 30).map(|a| Gate { at: place(a), along: -tangent(a) }).collect();
    let (lo, _) = ball(&tube(&rings, false), &gates);
    // The line's chords of 1.2 stray from the middle by 1.2^2 / (8 x 30), and the
    // polygon's apothem is under its radius by (pi / 256)^2 / 2.
    let short = 2.0 * 1.2 * 1.2 / 240.0 + 18.0 * 2e-4;
    assert!(lo < 18.0 && lo > 18.0 - short, "{lo}");
}

#[test]
fn nothing_to_travel_is_no_ball() {
    let gates = gates_along_z(1.0, 0.0, |z| z * DVec3::Z);
    assert_eq!(passing_ball(&Bvh::build(&Mesh::default()), &gates), None);
    let rings = [0.0, 1.0].map(|z| ring(z * DVec3::Z, DVec3::Z, 9.0, 8));
    assert_eq!(passing_ball(&Bvh::build(&tube(&rings, false)), &gates[..1]), None);
}
