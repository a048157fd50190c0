use std::f64::consts::{PI, TAU};

use spile_case::{End, JointShape, Pin, Rim, Site, WallShare};

use super::*;
use crate::cut::EndLoops;
use crate::locate::Located;
use spile_mesh::SectionLoop;

/// How long [`straight`] is.
pub const LENGTH: f64 = 12.0;
const COLUMNS: u32 = 48;

/// Along z from the origin.
pub fn straight() -> Way {
    Way {
        start: DVec3::ZERO,
        facing: DVec3::Z,
        seam_normal: DVec3::Z,
        end: DVec3::Z * LENGTH,
        along: DVec3::Z,
        even: 0.0,
    }
}

/// A round seam whose points begin on the x axis and go round z.
pub fn circle(radius: f64) -> SeamLoop {
    let out = |k: u32| {
        let a = TAU * f64::from(k) / f64::from(COLUMNS);
        DVec3::new(a.cos(), a.sin(), 0.0)
    };
    let normals: Vec<DVec3> = (0..COLUMNS).map(out).collect();
    SeamLoop { points: normals.iter().map(|&n| n * radius).collect(), normals }
}

fn grid(seam: f64, radius: f64, led: &Led<'_>) -> Grid {
    let radii = energy::Radii::new(&straight(), &circle(seam), radius, 0.5, led);
    radii.grid(&radii.solve(&[]).unwrap())
}

fn shortest(kink_deg: Option<f64>) -> Led<'static> {
    Led { shape: JointShape::Shortest, kink_deg, pins: &[] }
}

fn pin(at_deg: f64, angle_deg: f64) -> Pin {
    let (y, x) = at_deg.to_radians().sin_cos();
    Pin { scan: [5.0 * x, 5.0 * y, 0.3], angle_deg }
}

/// A frustum's side: pi (r + R) times its slant height.
#[test]
fn the_shortest_joint_of_two_circles_is_the_frustum() {
    let corner = area_true_radius(6.0, COLUMNS as usize);
    let straight = grid(4.0, 6.0, &shortest(None));
    for row in &straight.rows {
        for p in row {
            let right = 4.0 + (corner - 4.0) * p.z / LENGTH;
            // But for the room that the fitting's corners have for rounding to f32.
            assert!((p.truncate().length() - right).abs() < 1e-5, "{p} {right}");
        }
    }
    let slant = (LENGTH * LENGTH + (corner - 4.0).powi(2)).sqrt();
    let right = PI * (4.0 + corner) * slant;
    // A polygon's edge is shorter than its arc, by (2 pi / n)^2 / 24.
    let chord = (TAU / f64::from(COLUMNS)).powi(2) / 24.0;
    let area = straight.mesh(true).area();
    assert!((area / right - 1.0).abs() < 1.1 * chord, "{area} {right}");
    assert!(area < grid(4.0, 6.0, &Led::FREELY).mesh(true).area());
}

/// Where straight lines would leave the scan at more than the share of the kink
/// that is theirs, they leave at that, and the rest is bent as little as can be.
#[test]
fn a_kink_that_is_asked_bends_the_shortest_joint() {
    let rise = (6.0f64 - 4.0).atan2(LENGTH).to_degrees();
    let first = |led: &Led<'_>| {
        let grid = grid(4.0, 6.0, led);
        let (a, b) = (grid.rows[0][0], grid.rows[1][0]);
        (b.x - a.x).atan2(b.z - a.z).to_degrees()
    };
    assert!((first(&shortest(Some(20.0))) - rise).abs() < 0.05);
    let held = first(&shortest(Some(10.0)));
    // The first row is some way on from the seam.
    assert!(held > 4.9 && held < 5.8 && held < rise - 2.0, "{held} {rise}");
    assert!(first(&Led::FREELY) < 1.5);
}

fn angle_of(p: DVec3) -> f64 {
    p.y.atan2(p.x).to_degrees()
}

#[test]
fn what_is_pinned_meets_and_the_fitting_keeps_its_area() {
    let pins = [pin(0.0, 30.0), pin(90.0, 150.0), pin(180.0, 200.0)];
    let grid = grid(5.0, 6.0, &Led { pins: &pins, ..Led::FREELY });
    let face = &grid.rows[grid.rows.len() - 1];
    for (column, right) in [(0, 30.0), (12, 150.0), (24, -160.0), (6, 90.0)] {
        assert!((angle_of(face[column]) - right).abs() < 1e-9, "{column}");
    }
    let n = face.len();
    let area: f64 = (0..n).map(|k| 0.5 * face[k].cross(face[(k + 1) % n]).z).sum();
    // The circle's, and not less.
    assert!((0.0..1e-6).contains(&(area / (PI * 36.0) - 1.0)), "{area}");
}

#[test]
fn one_pin_turns_the_fitting_as_a_whole() {
    let pins = [pin(90.0, 60.0)];
    let grid = grid(5.0, 6.0, &Led { pins: &pins, ..Led::FREELY });
    let face = &grid.rows[grid.rows.len() - 1];
    for (column, p) in face.iter().enumerate() {
        let off = angle_of(*p) + 30.0 - 360.0 * column as f64 / f64::from(COLUMNS);
        assert!((off / 360.0 - (off / 360.0).round()).abs() < 1e-12, "{column} {off}");
    }
    // It does so the shorter way round.
    let middle = &grid.rows[grid.rows.len() / 2];
    assert!((angle_of(middle[0]) + 15.0).abs() < 1e-9, "{}", angle_of(middle[0]));
}

#[test]
fn pins_out_of_order_or_off_the_rim_are_refused() {
    let points = circle(5.0).points;
    let triangles = vec![0; points.len()];
    let rim = SectionLoop { points, triangles, closed: true };
    let plane = Plane { point: DVec3::ZERO, normal: DVec3::Z };
    let loops = EndLoops { plane, bore: rim, outside: None };
    let located = Located { loops, facing: DVec3::Z, given_up: None };
    let near = Rim { near: [0.0; 3], trim: None, facing: None };
    let mut end = End::plain("upper", Site::Rim(near));
    let mut of = |pins: &[Pin]| {
        end.pins = pins.to_vec();
        stretch(&end, &located, DVec3::Z).map_err(|e| e.to_string())
    };
    assert_eq!(of(&[]), Ok(1.0));
    assert_eq!(of(&[pin(0.0, 77.0)]), Ok(1.0));
    // 120 degrees over a quarter of the rim.
    let spread = of(&[pin(0.0, 30.0), pin(90.0, 150.0)]).unwrap();
    assert!((spread - 120.0 / 90.0).abs() < 0.01, "{spread}");
    let mut told = |pins: &[Pin], words: &str| {
        let said = of(pins).unwrap_err();
        assert!(said.contains(words), "{said}");
    };
    told(&[pin(0.0, 0.0), pin(90.0, 200.0), pin(180.0, 100.0)], "do not go round the rim");
    told(&[pin(0.0, 0.0), pin(90.0, 350.0)], "spreads 350 degrees of the fitting over 25 %");
    told(&[Pin { scan: [0.0, 0.0, 20.0], angle_deg: 0.0 }], "from the rim");
}

/// The wall that is asked along the joint is there, measured from the middles of
/// the outside's triangles, none of which the solver looks at.
#[test]
fn the_wall_that_is_wanted_is_made() {
    let bore = Bvh::build(&grid(4.0, 4.5, &Led::FREELY).mesh(true));
    let wall = |guide: &JointGuide, wall_min: f64| {
        let limits = SpanLimits {
            area_min: 0.0,
            area_loss_share: 1.0,
            wall_min: &|_| wall_min,
            wall_most: wall_min,
            wall_room: 0.05,
            clear: KeepOut::NONE,
            edge: 0.5,
            led: Led::FREELY,
            wall: guide,
            stop: spile_mesh::NEVER_STOP,
        };
        let made = span_outside(&straight(), &circle(5.5), 6.0, &bore, &limits).unwrap();
        let mesh = made.mesh(true);
        let middles =
            (0..mesh.triangles().len()).map(|t| mesh.corners(t).iter().sum::<DVec3>() / 3.0);
        middles.map(|p| (p.z / LENGTH, bore.closest(p).unwrap().distance)).collect::<Vec<_>>()
    };
    let shares = [(0.25, 2.0), (0.75, 2.8)].map(|(at, thickness)| WallShare { at, thickness });
    let guide = JointGuide { wall: shares.to_vec(), ..JointGuide::default() };
    let free = wall(&JointGuide::default(), 1.0);
    assert!(free.iter().all(|&(_, wall)| wall < 1.6));
    for (at, made) in wall(&guide, 1.0) {
        if let Some(wanted) = guide.thickness(at) {
            assert!((made - wanted).abs() < 0.03, "{made} for {wanted} at {at}");
        }
    }
    // Where the limit asks more than the profile, the limit is made.
    for (at, made) in wall(&guide, 2.4) {
        if let Some(wanted) = guide.thickness(at) {
            assert!(made > 2.4 && made < wanted.max(2.5) + 0.03, "{made} for {wanted} at {at}");
        }
    }
}

/// Where a joint bends sharply, sections across it are narrower than its ends: the
/// area is kept by bending more. What may be lost is left to the plate, and where that
/// is all it loses, nothing is raised.
#[test]
fn area_that_may_be_lost_is_not_paid_for_with_bending() {
    let radius = 8.0;
    let end = DVec3::new(4.0, 0.0, 14.0);
    let along = DVec3::new(-0.28, 0.0, 0.96);
    let way = Way { end, along, ..straight() }.with_room(radius);
    let seam = circle(area_true_radius(radius, COLUMNS as usize));
    let last = way.frames(9)[8];
    let round = seam.points.iter().map(|p| last.across * p.x + last.up * p.y + end);
    let tube = |ring: &[DVec3], by: DVec3, from: i32| {
        let row = |k: i32| ring.iter().map(|&p| p + by * f64::from(k)).collect();
        Grid { rows: (from..=from + 20).map(row).collect() }.mesh(true)
    };
    let round: Vec<DVec3> = round.collect();
    let near = joined(&tube(&seam.points, DVec3::Z, -20), &tube(&round, along, 0));
    let area_min = PI * radius.powi(2);
    let made = |share: f64| {
        let limits = SpanLimits {
            area_min,
            area_loss_share: share,
            wall_min: &|_| 0.0,
            wall_most: 0.0,
            wall_room: 0.0,
            clear: KeepOut::NONE,
            edge: 0.5,
            led: Led::FREELY,
            wall: &JointGuide::default(),
            stop: spile_mesh::NEVER_STOP,
        };
        let bore = span_bore(&way, &seam, radius, &near, &limits).unwrap();
        let bending = Bending::of(&bore.grid, &way, &seam, radius, 0.5, &Led::FREELY).unwrap();
        (bore.least / area_min, bending)
    };
    let (free, bending) = made(0.9);
    assert!(bending.made < 1.0001 * bending.free && (0.85..0.95).contains(&free), "{free}");
    let mut last = f64::INFINITY;
    for share in [0.002, 0.01, 0.02, 0.05] {
        let (area, bending) = made(share);
        assert!(area > 1.0 - share && area < 1.004 - share, "{area} for {share}");
        assert!(bending.made > 2.0 * bending.free && bending.made < 0.95 * last, "{bending:?}");
        last = bending.made;
    }
    let (_, bending) = made(1.0 - free + 0.004);
    assert!(bending.made < 1.0001 * bending.free, "{bending:?}");
}
