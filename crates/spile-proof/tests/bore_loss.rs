//! The bore's loss against closed forms, and against parts made to cheat it.

mod shapes;

use shapes::{all, circle_area, equal_area, ring, steps, tube, turned_ring};
use spile_mesh::{DVec3, Mesh};
use spile_proof::bore_loss::profile::{Band, profile};
use spile_proof::bore_loss::{BoreLoss, EndBore, FittingBore, bore_loss};
use spile_proof::flow_section::{BoreSurface, Frame, Walker};

const N: usize = 128;
const SEAM: f64 = 30.0;
const GAP: f64 = 12.0;

/// A scan along z from 0 to 40, cut at 30, and rings of a part on it.
struct Scene {
    scan: Mesh,
    part: Mesh,
    seam: Vec<DVec3>,
    fitting: FittingBore,
}

fn scene(radius: impl Fn(f64) -> f64, part_rings: Vec<Vec<DVec3>>, fitting: FittingBore) -> Scene {
    let rings: Vec<_> =
        steps(0.0, 40.0, 100).map(|z| ring(z * DVec3::Z, DVec3::Z, radius(z), N)).collect();
    let seam = ring(SEAM * DVec3::Z, DVec3::Z, radius(SEAM), N);
    Scene { scan: tube(&rings, false), part: tube(&part_rings, false), seam, fitting }
}

fn straight(at: f64, radius: f64) -> FittingBore {
    FittingBore { at: at * DVec3::Z, along: DVec3::Z, radius, length: 25.0 }
}

fn judge(scene: &Scene) -> BoreLoss {
    let scan = BoreSurface::of(&scene.scan, &all(&scene.scan));
    let part = BoreSurface::of(&scene.part, &all(&scene.part));
    let is_on_scan = |t: u32| scene.scan.corners(t as usize).iter().all(|p| p.z <= SEAM + 1e-9);
    bore_loss(&EndBore {
        scan: &scan,
        part: &part,
        is_on_scan: &is_on_scan,
        is_untouched: &|t| scene.scan.corners(t as usize).iter().all(|p| p.z <= SEAM - 12.0),
        seam: &scene.seam,
        facing: DVec3::Z,
        is_rim: false,
        reach: 12.0,
        fitting: Some(scene.fitting),
    })
    .expect("the seam bounds an area")
}

/// Rings of a part along z with this radius at each height.
fn along_z(radius: impl Fn(f64) -> f64) -> Vec<Vec<DVec3>> {
    let heights = steps(0.0, SEAM, 75).chain(steps(SEAM, SEAM + GAP, 48).skip(1));
    let heights = heights.chain([SEAM + GAP + 25.0]);
    heights.map(|z| ring(z * DVec3::Z, DVec3::Z, radius(z), N)).collect()
}

#[test]
fn a_straight_tube_loses_nothing() {
    let r = equal_area(9.0, N);
    let found = judge(&scene(|_| r, along_z(|_| r), straight(SEAM + GAP, 9.0)));
    assert_eq!(found.not_closed, None);
    assert!(found.within_reach.unwrap().share.abs() < 1e-9);
    // The polygon is as large as the circle: check-values section 5.
    assert!(found.joint.unwrap().share.abs() < 1e-9);
    let (s, a0) = found.reference.unwrap().scan.unwrap();
    assert!((a0 / circle_area(9.0) - 1.0).abs() < 1e-9);
    // Tilts of 20 degrees reach 9 tan 20 = 3.28 beyond the station.
    assert!(s < -3.2 && s > -5.0, "{s}");
    let (s, _) = found.reference.unwrap().untouched.unwrap();
    assert!(s < -15.2 && s > -17.0, "{s}");
    let station = &found.stations[found.stations.len() / 2];
    assert!((station.hydraulic_diameter.unwrap() - 18.0).abs() < 0.01);
}

#[test]
fn corners_on_the_circle_are_a_narrower_bore() {
    // check-values section 0: n = 32 with corners on the circle loses 0.641 %.
    let rings = |radius: f64| {
        let heights = steps(0.0, SEAM, 75).chain([SEAM + GAP, SEAM + GAP + 25.0]);
        heights.map(|z| ring(z * DVec3::Z, DVec3::Z, radius, 32)).collect::<Vec<_>>()
    };
    let mut made = scene(|_| 9.5, rings(9.0), straight(SEAM + GAP, 9.0));
    made.scan = tube(&rings(9.0), false);
    let found = judge(&made);
    let share = found.joint.unwrap().share;
    assert!(share.abs() < 1e-9, "A0 is the scan's own polygon: {share}");
    let wide: Vec<_> = steps(0.0, 40.0, 80).map(|z| ring(z * DVec3::Z, DVec3::Z, 9.5, N)).collect();
    made.scan = tube(&wide, false);
    let share = judge(&made).joint.unwrap().share;
    assert!((share - 0.006_413_149).abs() < 1e-6, "{share}");
}

#[test]
fn a_pinch_between_stations_is_found() {
    let r = equal_area(9.0, N);
    // Area falls by 1.2 % at one height alone, over 0.1 to each side.
    for centre in steps(SEAM + 1.0, SEAM + 2.0, 7).chain([SEAM - 4.03]) {
        let pinch = |z: f64| {
            let depth = (1.0 - (z - centre).abs() / 0.1).max(0.0);
            r * (1.0 - 0.012 * depth).sqrt()
        };
        let mut heights: Vec<f64> = steps(0.0, SEAM + GAP, 100).collect();
        heights.extend([centre - 0.1, centre, centre + 0.1, SEAM + GAP + 25.0]);
        heights.sort_by(f64::total_cmp);
        let rings = heights.iter().map(|&z| ring(z * DVec3::Z, DVec3::Z, pinch(z), N)).collect();
        let found = judge(&scene(|_| r, rings, straight(SEAM + GAP, 9.0)));
        let worst = found.worst().unwrap();
        // Within a tilt of the search's last step the pinch is seen whole.
        assert!(worst.share > 0.0119 && worst.share < 0.0121, "{centre}: {worst:?}");
        assert!((worst.at.z - centre).abs() < 0.05, "{centre}: {worst:?}");
    }
}

#[test]
fn a_twisted_joint_has_its_waist() {
    // check-values C14-30: waist of a ruled joint twisted by 30 degrees.
    let r = equal_area(9.0, N);
    let twist = 30.0_f64.to_radians();
    let bottom = ring(SEAM * DVec3::Z, DVec3::Z, r, N);
    let top = turned_ring((SEAM + GAP) * DVec3::Z, DVec3::Z, r, N, twist);
    let mut rings: Vec<_> =
        steps(0.0, SEAM, 75).map(|z| ring(z * DVec3::Z, DVec3::Z, r, N)).collect();
    for share in steps(0.0, 1.0, 48).skip(1) {
        rings.push(bottom.iter().zip(&top).map(|(a, b)| a.lerp(*b, share)).collect());
    }
    rings.push(turned_ring((SEAM + GAP + 25.0) * DVec3::Z, DVec3::Z, r, N, twist));
    let found = judge(&scene(|_| r, rings, straight(SEAM + GAP, 9.0)));
    let over = found.joint.unwrap().share - (1.0 - 0.933_012_701_9);
    // Never less than the waist's own plane shows. The triangulated surface bends
    // inward along its diagonals, so a plane turned a little cuts a little less.
    assert!((-1e-9..2e-4).contains(&over), "{over}");
    assert!((found.joint.unwrap().at.z - (SEAM + 0.5 * GAP)).abs() < 0.3);
}

#[test]
fn a_skewed_frustum_keeps_its_smaller_end() {
    // check-values C11: sections of a skewed frustum are circles that grow from
    // r = 9 to 11 whatever the sideways offset.
    let (r, big) = (equal_area(9.0, N), equal_area(11.0, N));
    let mut rings: Vec<_> =
        steps(0.0, SEAM, 75).map(|z| ring(z * DVec3::Z, DVec3::Z, r, N)).collect();
    for share in steps(0.0, 1.0, 40).skip(1) {
        let centre = DVec3::new(1.5 * share, 0.0, SEAM + GAP * share);
        rings.push(ring(centre, DVec3::Z, r + share * (big - r), N));
    }
    rings.push(ring(DVec3::new(1.5, 0.0, SEAM + GAP + 25.0), DVec3::Z, big, N));
    let at = DVec3::new(1.5, 0.0, SEAM + GAP);
    let fitting = FittingBore { at, along: DVec3::Z, radius: 11.0, length: 25.0 };
    let found = judge(&scene(|_| r, rings, fitting));
    // A tilted section of the sheared tube is narrower than its flat circle:
    // never by more than the cosine of the axis' lean, atan(1.5 / 12).
    let share = found.joint.unwrap().share;
    assert!(share > -1e-9 && share < 1.0 - (1.5_f64 / 12.0).atan().cos(), "{share}");
}

#[test]
fn naive_smoothing_narrows_the_bore() {
    // Umbrella smoothing of a tube's vertices shrinks it: ring by ring the
    // radius falls by (1 - cos(2 pi / n)) / 3 a round, about 0.2 % of area here.
    let r = equal_area(9.0, 48);
    let rounds = 10;
    let smooth = |z: f64| if z > 20.0 && z < SEAM { 1.0 } else { 0.0 };
    let mut rings: Vec<_> =
        steps(0.0, 42.0, 84).chain([67.0]).map(|z| ring(z * DVec3::Z, DVec3::Z, r, 48)).collect();
    let scan = tube(&rings, false);
    for _ in 0..rounds {
        let old = rings.clone();
        for k in 1..rings.len() - 1 {
            for i in 0..48 {
                let around = old[k][(i + 1) % 48] + old[k][(i + 47) % 48];
                let mean = 0.25 * (around + old[k - 1][i] + old[k + 1][i]);
                rings[k][i] = old[k][i].lerp(mean, smooth(old[k][i].z));
            }
        }
    }
    let seam = ring(SEAM * DVec3::Z, DVec3::Z, r, 48);
    let fitting = straight(SEAM + GAP, 9.0);
    let made = Scene { scan, part: tube(&rings, false), seam, fitting };
    let worst = judge(&made).within_reach.unwrap();
    assert!(worst.share > 0.01, "{worst:?}");
    assert!(worst.at.z > 20.0 && worst.at.z < SEAM);
}

#[test]
fn oblique_sections_have_the_closed_form() {
    let section_area = |mesh: &Mesh, frame: &Frame| {
        let bore = BoreSurface::of(mesh, &all(mesh));
        let among = bore.between(frame, 0.0, 0.0);
        bore.section(frame, 0.0, frame.origin, &among, &mut Walker::default()).unwrap().area
    };
    let tilt = 30.0_f64.to_radians();
    let frame = Frame::new(DVec3::ZERO, DVec3::new(tilt.sin(), 0.0, tilt.cos()));
    // check-values C5: oblique plane through a cylinder, exact for its polygon.
    let r = equal_area(9.0, 360);
    let ends = [-20.0, 20.0].map(|z| ring(z * DVec3::Z, DVec3::Z, r, 360));
    assert!((section_area(&tube(&ends, false), &frame) - 293.835_497).abs() < 1e-4);
    // check-values C6: oblique plane through a 1:40 cone of 22 on the axis.
    let cone = [-20.0, 20.0]
        .map(|z: f64| ring(z * DVec3::Z, DVec3::Z, equal_area(11.0 + z / 80.0, 720), 720));
    assert!((section_area(&tube(&cone, false), &frame) / 438.973_740_5 - 1.0).abs() < 1e-4);
}

#[test]
fn a_bore_shaped_as_a_lens_has_its_area() {
    // check-values C16: the lens that two circles of r = 9 shifted by e leave.
    for (shift, area) in
        [(0.5, 245.470_162_5), (1.0, 236.478_268_5), (2.0, 218.543_216_8), (4.0, 183.066_066_4)]
    {
        let x = 0.5 * shift;
        let half = (x / 9.0_f64).acos();
        let arc = |from: f64, centre: f64| {
            (0..2000)
                .map(move |i| from + 2.0 * half * f64::from(i) / 2000.0 - half)
                .map(move |a| DVec3::new(centre + 9.0 * a.cos(), 9.0 * a.sin(), 0.0))
        };
        let outline: Vec<DVec3> = arc(0.0, -x).chain(arc(std::f64::consts::PI, x)).collect();
        let at = |z: f64| outline.iter().map(|p| *p + z * DVec3::Z).collect::<Vec<_>>();
        let bore = tube(&[at(-5.0), at(5.0)], false);
        let bore = BoreSurface::of(&bore, &all(&bore));
        let frame = Frame::new(DVec3::ZERO, DVec3::Z);
        let among = bore.between(&frame, 0.0, 0.0);
        let found = bore.section(&frame, 0.0, DVec3::ZERO, &among, &mut Walker::default());
        // An inscribed polygon of 4000 sides is smaller by under one part in 10^5.
        let share = found.unwrap().area / area;
        assert!(share <= 1.0 + 1e-9 && share > 1.0 - 1e-5, "{shift}: {share}");
    }
}

#[test]
fn another_branch_does_not_stand_in() {
    // Two legs cut by one plane: the one that is open there has no section.
    let leg = |x: f64, from: f64, to: f64| {
        let at = |z: f64| ring(DVec3::new(x, 0.0, z), DVec3::Z, 9.0, N);
        tube(&[at(from), at(to)], false)
    };
    let (legs, _) = shapes::joined(&[leg(0.0, -9.0, -1.0), leg(40.0, -9.0, 9.0)]);
    let bore = BoreSurface::of(&legs, &all(&legs));
    let frame = Frame::new(DVec3::ZERO, DVec3::Z);
    let mut walker = Walker::default();
    assert_eq!(bore.section(&frame, 0.0, DVec3::ZERO, &all(&legs), &mut walker), None);
    let other = bore.section(&frame, 0.0, 40.0 * DVec3::X, &all(&legs), &mut walker);
    assert!(other.is_some_and(|section| section.area > 250.0));
}

#[test]
fn islands_take_their_area() {
    let outer = [-5.0, 5.0].map(|z| ring(z * DVec3::Z, DVec3::Z, 9.0, N));
    let inner = [-5.0, 5.0].map(|z| ring(z * DVec3::Z, DVec3::Z, 3.0, N));
    let (both, _) = shapes::joined(&[tube(&outer, false), tube(&inner, true)]);
    let bore = BoreSurface::of(&both, &all(&both));
    let frame = Frame::new(DVec3::ZERO, DVec3::Z);
    let station = DVec3::new(6.0, 0.0, 0.0);
    let found = bore.section(&frame, 0.0, station, &all(&both), &mut Walker::default()).unwrap();
    let polygon = (N as f64 / 2.0) * (std::f64::consts::TAU / N as f64).sin();
    assert!((found.area - polygon * (81.0 - 9.0)).abs() < 1e-9);
}
/// A tube along z with seeded noise on every point, so that loops are born and
/// die between any two heights.
fn noisy_tube(depth: f64) -> Mesh {
    let mut state = 7_u64;
    let mut random = move || {
        state =
            state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as f64 / f64::from(1_u32 << 31) - 0.5
    };
    let rings: Vec<Vec<DVec3>> = steps(-6.0, 6.0, 30)
        .map(|z| ring(z * DVec3::Z, DVec3::Z, 9.0, 96))
        .map(|points| {
            points
                .into_iter()
                .map(|p| p + depth * DVec3::new(random(), random(), random()))
                .collect()
        })
        .collect();
    tube(&rings, false)
}

#[test]
fn the_profile_is_what_single_planes_cut() {
    // More noise would make the surface cross itself, and nesting mean nothing.
    for depth in [0.05, 0.2, 0.4] {
        let mesh = noisy_tube(depth);
        let bore = BoreSurface::of(&mesh, &all(&mesh));
        let frame = Frame::new(DVec3::new(0.3, 0.2, -1.3), DVec3::new(0.1, -0.15, 1.0));
        let band = Band { frame, to: DVec3::new(0.1, 0.0, 1.1) };
        let pieces = profile(&bore, &band, &|_| true);
        assert!(pieces.len() > 500);
        let mut walker = Walker::default();
        let mut low = 0.0;
        for piece in &pieces {
            assert_eq!(piece.from, low);
            low = piece.to;
            let height = piece.from + 0.3 * (piece.to - piece.from);
            let among = bore.between(&frame, height, height);
            let cut = bore.section(&frame, height, band.station(height), &among, &mut walker);
            let [a, b, c] = piece.quadratic(piece.from, piece.to).unwrap();
            let value = a + 0.3 * (b + 0.3 * c);
            let cut = cut.unwrap();
            let off = (value - cut.area).abs();
            assert!(off < 1e-9 * value, "{depth} {height} {value} {cut:?}");
        }
        assert_eq!(low, band.thickness());
    }
}

/// A rim whose seam stands 30 degrees oblique to the bore, on a straight scan; the
/// part's bore is `shape` of each of its points.
fn at_oblique_rim(shape: impl Fn(DVec3) -> DVec3) -> BoreLoss {
    let r = equal_area(9.0, N);
    let lift = |p: DVec3| 30.0_f64.to_radians().tan() * p.x;
    let mut made = scene(|_| r, along_z(|_| r), straight(SEAM + GAP, 9.0));
    made.seam.iter_mut().for_each(|p| p.z += lift(*p));
    let (points, triangles) = made.part.into_parts();
    let part = Mesh::new(points.into_iter().map(shape).collect(), triangles).expect("as before");
    let scan_bore = BoreSurface::of(&made.scan, &all(&made.scan));
    let part_bore = BoreSurface::of(&part, &all(&part));
    let is_on_scan =
        |t: u32| made.scan.corners(t as usize).iter().all(|p| p.z - lift(*p) <= SEAM + 1e-9);
    bore_loss(&EndBore {
        scan: &scan_bore,
        part: &part_bore,
        is_on_scan: &is_on_scan,
        is_untouched: &|_| false,
        seam: &made.seam,
        facing: DVec3::Z,
        is_rim: true,
        reach: 12.0,
        fitting: Some(made.fitting),
    })
    .expect("the seam bounds an area")
}

#[test]
fn the_wedge_beside_an_oblique_rim_is_judged() {
    let good = at_oblique_rim(|p| p);
    assert_eq!(good.not_closed, None);
    assert!(good.beside_seam.unwrap().share.abs() < 1e-9);
    assert!(good.worst().unwrap().share.abs() < 1e-9);
    // A dent in the joint alone, low on the seam's short side: no plane that lies
    // wholly on scan meets it, nor do tilts up to 20 degrees about the seam's
    // middle, which reach down to 30 - 9 tan 20 = 26.7.
    let dent = |p: DVec3| {
        let is_joint = p.z > SEAM + 30.0_f64.to_radians().tan() * p.x;
        if is_joint && p.x < 0.0 && p.z < 26.3 { DVec3::new(0.8 * p.x, p.y, p.z) } else { p }
    };
    let found = at_oblique_rim(dent);
    assert_eq!(found.not_closed, None);
    assert!(found.within_reach.unwrap().share < 1e-3, "{:?}", found.within_reach);
    assert!(found.joint.unwrap().share < 1e-3, "{:?}", found.joint);
    assert!(found.beside_seam.unwrap().share > 0.01, "{:?}", found.beside_seam);
    assert_eq!(found.worst(), found.beside_seam);
}

#[test]
fn half_the_diameter_is_three_quarters_of_the_area() {
    // Narrowing is a share of area, not of diameter: 10, 30, 50 and 70 % of the
    // diameter are 19, 51, 75 and 91 % of the area (check-values W10, section 4.4).
    let r = equal_area(9.0, N);
    for (of_diameter, of_area) in [(0.1, 0.19), (0.3, 0.51), (0.5, 0.75), (0.7, 0.91)] {
        let waist = |z: f64| {
            let depth = (1.0 - ((z - 36.0) / 4.0).powi(2)).max(0.0);
            r * (1.0 - of_diameter * depth)
        };
        let found = judge(&scene(|_| r, along_z(waist), straight(SEAM + GAP, 9.0)));
        let share = found.joint.unwrap().share;
        assert!((share - of_area).abs() < 1e-3, "{of_diameter}: {share}");
    }
}

#[test]
fn the_diameters_of_an_oval_are_told_apart() {
    // check-values C21 to C23: an ellipse of semi-axes 12 and 8.
    let oval = |z: f64| -> Vec<DVec3> {
        ring(z * DVec3::Z, DVec3::Z, 1.0, 1024)
            .into_iter()
            .map(|p| DVec3::new(12.0 * p.x, 8.0 * p.y, p.z))
            .collect()
    };
    let mesh = tube(&[oval(0.0), oval(10.0)], false);
    let bore = BoreSurface::of(&mesh, &all(&mesh));
    let frame = Frame::new(5.0 * DVec3::Z, DVec3::Z);
    let among = bore.between(&frame, 0.0, 0.0);
    let found = spile_proof::stations::figures(0.0, &frame, None, (&bore, &among));
    let area_diameter = 2.0 * (found.area_part.unwrap() / std::f64::consts::PI).sqrt();
    assert!((area_diameter - 19.595_917_94).abs() < 1e-3, "{area_diameter}");
    let hydraulic = found.hydraulic_diameter.unwrap();
    assert!((hydraulic - 19.009_425_68).abs() < 1e-3, "{hydraulic}");
    let inscribed = found.inscribed_diameter.unwrap();
    assert!((inscribed - 16.0).abs() < 0.01, "{inscribed}");
}
