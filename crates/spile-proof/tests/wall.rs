//! The wall against closed forms, a plain twin, and parts made to cheat it.

mod shapes;

use shapes::plain::triangle_distance;
use shapes::{all, joined, ring, steps, tube};
use spile_mesh::{DVec3, Mesh};
use spile_proof::wall::{OtherSide, Replaced, SeamLimit, thinner_than_scan, wall};

const N: usize = 96;

fn pipe(radius: impl Fn(f64) -> f64, shift: f64, is_outside: bool) -> Mesh {
    let rings: Vec<_> = steps(0.0, 20.0, 40)
        .map(|z| ring(DVec3::new(shift, 0.0, z), DVec3::Z, radius(z), N))
        .collect();
    tube(&rings, is_outside)
}

/// Bore and outside in one mesh, and the triangles of each.
fn both(bore: Mesh, outside: Mesh) -> (Mesh, Vec<u32>, Vec<u32>) {
    let (mesh, numbers) = joined(&[bore, outside]);
    (mesh, numbers[0].clone(), numbers[1].clone())
}

#[test]
fn eccentric_annulus_has_its_least_wall() {
    // check-values C18: Ro 11, Ri 9, e 0.5: least 1.5. Both polygons have a
    // corner on the line of centres, but the outside's faces are flat there, so
    // the distance to them is shorter by the closed form of the corner's wedge.
    let (mesh, bore, outside) = both(pipe(|_| 9.0, 0.5, false), pipe(|_| 11.0, 0.0, true));
    let found = wall(&mesh, &bore, &OtherSide::new(&mesh, &outside), 1.2, None).unwrap();
    let exact = 1.5 * (std::f64::consts::PI / N as f64).cos();
    assert!(found.least.lo <= exact && exact <= found.least.hi + 1e-12, "{found:?}");
    assert!(found.least.hi - found.least.lo < 1e-9);
    assert!((found.least.at.x - 9.5).abs() < 1e-9, "{found:?}");
    // Seen from the outside it is the same least.
    let back = wall(&mesh, &outside, &OtherSide::new(&mesh, &bore), 1.2, None).unwrap();
    assert!((back.least.hi - found.least.hi).abs() < 1e-9);
}

#[test]
fn a_tilted_outside_has_the_closed_form_of_planes() {
    // Two flat walls that open by 30 degrees (the wedge of check-values C19-30),
    // both from 4 on: the foot of the nearer corner lies before the other wall's
    // start, so the least is the chord of the opening there, 2 x 4 sin 15.
    let tilt = 30.0_f64.to_radians();
    let strip = |up: f64| {
        let far = |x: f64, y: f64| DVec3::new(x * up.cos(), y, x * up.sin());
        let points = vec![far(4.0, -5.0), far(20.0, -5.0), far(20.0, 5.0), far(4.0, 5.0)];
        Mesh::new(points, vec![[0, 1, 2], [0, 2, 3]]).unwrap()
    };
    let (mesh, bore, outside) = both(strip(0.0), strip(tilt));
    let found = wall(&mesh, &bore, &OtherSide::new(&mesh, &outside), 1.0, None).unwrap();
    let chord = 8.0 * (0.5 * tilt).sin();
    assert!((found.least.hi - chord).abs() < 1e-9, "{found:?}");
    let brute = bore.iter().flat_map(|&a| outside.iter().map(move |&b| (a, b)));
    let least = brute
        .map(|(a, b)| triangle_distance(mesh.corners(a as usize), mesh.corners(b as usize)).0)
        .fold(f64::INFINITY, f64::min);
    assert!((least - chord).abs() < 1e-9);
}

#[test]
fn agrees_with_all_pairs() {
    // The plain twin: every triangle against every other.
    let wavy = |z: f64| 9.0 + 0.4 * (z * 1.7).sin();
    let few = |radius: &dyn Fn(f64) -> f64, shift: f64, is_outside| {
        let rings: Vec<_> = steps(0.0, 8.0, 9)
            .map(|z| ring(DVec3::new(shift, 0.3 * shift, z), DVec3::Z, radius(z), 21))
            .collect();
        tube(&rings, is_outside)
    };
    let (mesh, bore, outside) = both(few(&wavy, 0.2, false), few(&|z| 11.0 - 0.05 * z, 0.0, true));
    let other = OtherSide::new(&mesh, &outside);
    for &a in &bore {
        let corners = mesh.corners(a as usize);
        let least = outside
            .iter()
            .map(|&b| triangle_distance(corners, mesh.corners(b as usize)).0)
            .fold(f64::INFINITY, f64::min);
        let found = other.wall(corners, f64::INFINITY);
        assert!(found.lo <= least && least <= found.hi + 1e-12);
        assert!(found.hi - found.lo < 1e-9);
        assert_eq!(other.each(&mesh, &[a], f64::INFINITY)[0], found);
    }
}

#[test]
fn a_thin_spot_in_the_middle_of_big_triangles_is_seen() {
    // Two big parallel squares 2 apart; the outer side has a dimple of 0.9 that
    // ends 1.1 over the middle of the inner side's two triangles.
    let square = |z: f64| {
        let at = |x: f64, y: f64| DVec3::new(x, y, z);
        vec![at(-20.0, -20.0), at(20.0, -20.0), at(20.0, 20.0), at(-20.0, 20.0)]
    };
    let bore = Mesh::new(square(0.0), vec![[0, 1, 2], [0, 2, 3]]).unwrap();
    let mut points = square(2.0);
    points.push(DVec3::new(3.0, -4.0, 1.1));
    let outside = Mesh::new(points, vec![[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]]).unwrap();
    let (mesh, bore, outside) = both(bore, outside);
    let found = wall(&mesh, &bore, &OtherSide::new(&mesh, &outside), 1.2, None).unwrap();
    assert!((found.least.hi - 1.1).abs() < 1e-12 && found.margin() < -0.099);
    assert!(found.least.at.distance(DVec3::new(3.0, -4.0, 0.0)) < 1e-9, "{found:?}");
}

#[test]
fn near_the_seam_the_scans_own_wall_is_the_limit() {
    // The scan is 1.08 thick; the joint starts at z = 10 with that wall and
    // thickens to 1.3 over 2 mm: less than 2 x 1.2.
    let thin = |z: f64| if z < 10.0 { 1.08 } else { 1.08 + 0.22 * ((z - 10.0) / 2.0).min(1.0) };
    let check = |wall_at: &dyn Fn(f64) -> f64| {
        let (scan, scan_bore, scan_outside) =
            both(pipe(|_| 9.0, 0.0, false), pipe(|_| 10.08, 0.0, true));
        let (part, bore, outside) =
            both(pipe(|_| 9.0, 0.0, false), pipe(|z| 9.0 + wall_at(z), 0.0, true));
        let sides = [&scan_bore, &scan_outside].map(|side| OtherSide::new(&scan, side));
        let seams = [9.0, 10.08].map(|r| ring(10.0 * DVec3::Z, DVec3::Z, r, N));
        let seam = SeamLimit::new(
            1.2,
            &[(&seams[0], &sides[0], &sides[1]), (&seams[1], &sides[1], &sides[0])],
        );
        let joint: Vec<u32> = (bore.iter().copied())
            .filter(|&t| part.corners(t as usize).iter().all(|p| p.z >= 10.0 - 1e-9))
            .collect();
        wall(&part, &joint, &OtherSide::new(&part, &outside), 1.2, Some(&seam)).unwrap()
    };
    let held = check(&thin);
    assert!(held.margin() >= -1e-9 && held.has_local_limit, "{held:?}");
    assert!(held.least.hi < 1.09);
    // Thickening too slowly is broken beyond 2.4 from the seam, and only there.
    let broken = check(&|z| if z < 10.0 { 1.08 } else { 1.08 + 0.012 * (z - 10.0) });
    assert!(broken.margin() < -0.08, "{broken:?}");
    assert!(broken.tightest.at.z > 12.3, "{broken:?}");
    // So is a joint thinner than the scan on its seam.
    let broken = check(&|z| if z < 10.0 { 1.08 } else { 1.08 - 0.05 * (z - 10.0).min(1.0) });
    assert!(broken.margin() < -0.02);
}

#[test]
fn replaced_scan_may_not_be_thinner_than_the_scan() {
    let (scan, scan_bore, scan_outside) =
        both(pipe(|z| 9.0 + 0.01 * z, 0.0, false), pipe(|_| 10.2, 0.0, true));
    let by = |inward: f64| {
        let (part, bore, outside) =
            both(pipe(|z| 9.0 + 0.01 * z, 0.0, false), pipe(|_| 10.2 - inward, 0.0, true));
        let replaced: Vec<u32> = (bore.iter().copied())
            .filter(|&t| part.corners(t as usize).iter().all(|p| p.z > 5.0 && p.z < 15.0))
            .collect();
        thinner_than_scan(
            &Replaced {
                part: &part,
                triangles: &replaced,
                part_other: &OtherSide::new(&part, &outside),
                scan_own: &OtherSide::new(&scan, &scan_bore),
                scan_other: &OtherSide::new(&scan, &scan_outside),
            },
            1.2,
            0.1,
            0.01,
        )
        .unwrap()
        .by()
    };
    // Looking up the scan's wall at points can only ask for too much: the search
    // stops when the allowance covers it.
    assert!(by(0.0) <= 0.01, "{}", by(0.0));
    // Within 0.1 of a point the scan is thinner by up to 0.1 x 0.01.
    assert!(by(0.008) <= 0.01);
    assert!(by(0.02) > 0.01);
    assert!(by(0.2) > 0.15);
}

#[test]
fn nothing_to_measure_is_no_wall() {
    let mesh = pipe(|_| 9.0, 0.0, false);
    let none = OtherSide::new(&mesh, &[]);
    assert_eq!(wall(&mesh, &all(&mesh), &none, 1.0, None), None);
    let some = OtherSide::new(&mesh, &all(&mesh));
    assert_eq!(wall(&mesh, &[], &some, 1.0, None), None);
}
