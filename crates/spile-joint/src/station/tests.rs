use spile_case::{Outliers, Vec3, read_case};
use spile_mesh::Mesh;

use super::*;

/// An open tube round z whose radius is a function of height and angle.
fn tube(heights: (f64, f64), radius: impl Fn(f64, f64) -> f64, way: impl Fn(f64) -> f64) -> Scan {
    let (rows, round) = (161_u32, 64_u32);
    let mut points = Vec::new();
    for i in 0..rows {
        let z = heights.0 + (heights.1 - heights.0) * f64::from(i) / f64::from(rows - 1);
        for j in 0..round {
            let a = std::f64::consts::TAU * f64::from(j) / f64::from(round);
            let r = radius(z, a);
            points.push(DVec3::new(r * a.cos() + way(z), r * a.sin(), z));
        }
    }
    let mut triangles = Vec::new();
    for i in 0..rows - 1 {
        for j in 0..round {
            let [a, b] = [i * round + j, i * round + (j + 1) % round];
            triangles.extend([[a, b, b + round], [a, b + round, a + round]]);
        }
    }
    Scan::of(&[Mesh::new(points, triangles).unwrap()])
}

fn end() -> End {
    End {
        name: "upper".into(),
        site: Site::Cut(Cut { through: [0.0; 3], facing: [0.0, 0.0, 1.0] }),
        reach: None,
        reach_is_auto: false,
        fitting: None,
        place: None,
        pins: Vec::new(),
        limits: spile_case::EndLimits::default(),
        seam: None,
    }
}

fn find(scan: &Scan, from: Vec3, facing: Option<Vec3>, station: Station) -> Result<Found, String> {
    find_station(scan, &end(), &StationCut { from, facing, station }, false)
        .map_err(|error| format!("{error}"))
}

#[test]
fn a_length_along_a_straight_tube_is_that_height_below_its_rim() {
    let scan = tube((0.0, 60.0), |_, _| 8.0, |_| 0.0);
    for s in [3.0, 10.0, 41.5] {
        let found = find(&scan, [8.0, 0.0, 60.0], None, Station::Along(s)).unwrap();
        assert!(found.plane.point.distance(DVec3::Z * (60.0 - s)) < 1e-4, "{}", found.plane.point);
        assert!(found.plane.normal.distance(DVec3::Z) < 1e-4);
        // From a place in the bore instead of the rim: from z = 50 on.
        let facing = Some([0.0, 0.0, 1.0]);
        let found = find(&scan, [0.0, 0.0, 50.0], facing, Station::Along(s)).unwrap();
        assert!(found.plane.point.distance(DVec3::Z * (50.0 - s)) < 1e-4);
    }
    // From the lower rim the same way up.
    let found = find(&scan, [8.0, 0.0, 0.0], None, Station::Along(7.0)).unwrap();
    assert!(found.plane.point.distance(DVec3::Z * 7.0) < 1e-4);
    assert!(found.plane.normal.distance(-DVec3::Z) < 1e-4);
}

/// The arc length of x = k z^2 is known: z sqrt(1 + 4 k^2 z^2) / 2 + asinh(2 k z) / (4 k).
#[test]
fn length_along_a_bent_tube_is_arc_length_and_the_cut_square_to_it() {
    let k = 0.004;
    let scan = tube((0.0, 60.0), |_, _| 6.0, |z| k * z * z);
    let arc =
        |z: f64| 0.5 * z * (1.0 + (2.0 * k * z).powi(2)).sqrt() + (2.0 * k * z).asinh() / (4.0 * k);
    // Beginning square to the line at z = 0, whose other rim lies at z = 60.
    let found = find(&scan, [0.0, 0.0, 0.0], None, Station::Along(arc(40.0))).unwrap();
    let p = found.plane.point;
    // Sections of this tube are sheared circles: their centroids lie on the line.
    assert!(p.distance(DVec3::new(k * 1600.0, 0.0, 40.0)) < 0.15, "{p}");
    let tangent = -DVec3::new(2.0 * k * 40.0, 0.0, 1.0).normalize();
    assert!(found.plane.normal.angle_between(tangent).to_degrees() < 1.0);
}

#[test]
fn the_narrowest_and_the_roundest_station_are_found_where_the_formula_has_them() {
    // Narrowest at z = 35; an ellipse whose axes are equal at z = 22 alone.
    let radius = |z: f64, a: f64| {
        let waist = 8.0 - 2.0 * (-((z - 35.0) / 6.0).powi(2)).exp();
        let oval = 0.01 * (z - 22.0);
        waist * (1.0 + oval * (2.0 * a).cos())
    };
    let scan = tube((0.0, 60.0), radius, |_| 0.0);
    let rim = [8.0, 0.0, 60.0];
    let found = find(&scan, rim, None, Station::Narrowest([10.0, 50.0])).unwrap();
    assert!((found.plane.point.z - 35.0).abs() < 0.1, "{}", found.plane.point);
    assert!(!found.at_border);
    let found = find(&scan, rim, None, Station::Roundest([28.0, 55.0])).unwrap();
    assert!((found.plane.point.z - 22.0).abs() < 0.5, "{}", found.plane.point);
    // A circle of 64 sides: pi cot(pi/64)... its quotient is (pi/64) / tan(pi/64).
    let circle = (PI / 64.0) / (PI / 64.0).tan();
    assert!((found.figures[1] - circle).abs() < 1e-3, "{}", found.figures[1]);
    // The bore widens toward the span's end: its border is the narrowest.
    let found = find(&scan, rim, None, Station::Narrowest([26.0, 40.0])).unwrap();
    assert!(found.at_border);
    assert!((found.plane.point.z - 34.0).abs() < 0.8, "{}", found.plane.point);
}

#[test]
fn what_is_not_on_the_line_is_an_error_that_says_where_it_ends() {
    let scan = tube((0.0, 60.0), |_, _| 8.0, |_| 0.0);
    let rim = [8.0, 0.0, 60.0];
    let error = find(&scan, rim, None, Station::Along(70.0)).err().unwrap();
    assert!(error.contains("is followed for") && error.contains("asks for 70"), "{error}");
    let error = find(&scan, rim, None, Station::Roundest([50.0, 80.0])).err().unwrap();
    assert!(error.contains("asks for 80"), "{error}");
    let error = find(&scan, [300.0, 0.0, 60.0], None, Station::Along(7.0)).err().unwrap();
    assert!(error.contains("no open rim lies near `from`"), "{error}");
    // A chamber 2.5 times as wide stands for a branch that opens.
    let chamber = |z: f64, _: f64| if z < 30.0 { 20.0 } else { 8.0 };
    let scan = tube((0.0, 60.0), chamber, |_| 0.0);
    let error = find(&scan, rim, None, Station::Narrowest([10.0, 40.0])).err().unwrap();
    assert!(error.contains("the section jumps"), "{error}");
}

#[test]
fn the_case_gets_a_plane_for_its_station_and_a_sentence() {
    let text = r#"unit = "mm"
[scan]
file = "tube.stl"
form = "bore"
wall = 2.0
[[end]]
name = "upper"
cut = { from = [0, 0, 60], narrowest = [10, 30] }
[limits]
deviation = 0.1
"#;
    let case = read_case(text, "case.toml").unwrap();
    assert_eq!(case.scan.outliers, Outliers::Keep);
    let scan = tube((0.0, 60.0), |z, _| 8.0 + 0.003 * (z - 40.0).powi(2), |_| 0.0);
    let (settled, said) = with_planes(&scan, &case).unwrap();
    let Site::Cut(cut) = settled.ends[0].site else { panic!("a plane") };
    assert!((cut.through[2] - 40.0).abs() < 0.1, "{cut:?}");
    assert!(said[0].contains("the narrowest from 10 to 30"), "{said:?}");
}
