//! Open rims that no end names: rings between them, or an error that names them.

mod shapes;

use shapes::{assert_solid, case, kept, plain, revolved, ring_area, steps, turn, turned};
use spile_case::Form;
use spile_joint::{MakeError, Unwatched, make};
use spile_mesh::{DVec3, Mesh};

const BORE: f64 = 8.0;
const OUTSIDE: f64 = 10.0;

/// A wall from `low` to 60, `radius` wide, its rims waved by `wave` of its angle.
fn wall(radius: f64, low: f64, outward: bool, wave: &dyn Fn(f64) -> f64) -> Mesh {
    let mut line: Vec<(f64, f64)> = steps(low, 60.0, 30).into_iter().map(|z| (radius, z)).collect();
    if !outward {
        line.reverse();
    }
    let waved = |p: DVec3| {
        let share = ((20.0 - p.z) / 20.0).clamp(0.0, 1.0);
        turned(p + DVec3::Z * share * wave(p.y.atan2(p.x)))
    };
    revolved(&line, &waved)
}

fn joined(walls: &[Mesh]) -> Mesh {
    Mesh::joined(walls).expect("few points")
}

fn same(a: [DVec3; 3], b: [DVec3; 3]) -> bool {
    a.iter().all(|p| b.contains(p))
}

fn read(file: &str) -> Mesh {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/scans/anatomy/");
    let path = format!("{folder}{file}");
    spile_formats::read(std::path::Path::new(&path)).expect("the scan reads").mesh
}

fn upper() -> spile_case::End {
    plain("upper", turned(DVec3::Z * 45.3), turn(DVec3::Z))
}

/// The part, when the rims at the lower end are left to a ring.
fn part(scan: &[Mesh], form: Form) -> Mesh {
    let mut case = case(form, vec![upper()]);
    if form == Form::Sheets {
        case.scan.files.push("outer.stl".into());
    }
    let made = make(&case, scan, &Unwatched).expect("the rims are partners");
    assert!(
        made.notes.iter().any(|n| n.to_string().contains("closed by a ring")),
        "{:?}",
        made.notes
    );
    let part = made.part.expect("a part");
    assert_solid(&part);
    part
}

fn error(scan: &[Mesh], form: Form) -> String {
    let mut case = case(form, vec![upper()]);
    case.scan.wall = (form == Form::Bore).then_some(spile_case::Wall::Even(2.0));
    // Else large triangles would make a hole of any rim.
    case.scan.hole_max = Some(1.0);
    match make(&case, scan, &Unwatched) {
        Err(MakeError::Scan { what, hints }) => {
            assert!(!hints.is_empty());
            what
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn flat_rims_are_closed_flat() {
    let walls = [wall(BORE, 0.0, false, &|_| 0.0), wall(OUTSIDE, 0.0, true, &|_| 0.0)];
    for part in [part(&[joined(&walls)], Form::Shell), part(&walls, Form::Sheets)] {
        let volume = ring_area(BORE, OUTSIDE) * 45.3;
        assert!((part.volume() / volume - 1.0).abs() < 1e-5, "{} {volume}", part.volume());
        // Rows 0 to 44 of both walls, untouched.
        assert_eq!(kept(&joined(&walls), &part), 2 * 2 * 22 * shapes::COLUMNS);
    }
}

#[test]
fn a_scan_inside_out_is_closed_too() {
    let walls = [wall(BORE, 0.0, true, &|_| 0.0), wall(OUTSIDE, 0.0, false, &|_| 0.0)];
    let part = part(&[joined(&walls)], Form::Shell);
    let volume = ring_area(BORE, OUTSIDE) * 45.3;
    assert!((part.volume() / volume - 1.0).abs() < 1e-5, "{} {volume}", part.volume());
}

#[test]
fn wavy_and_set_back_rims_are_closed() {
    let wave = |a: f64| 0.7 * (2.0 * a + 0.4).sin() + 0.4 * (5.0 * a).sin();
    let other = |a: f64| 0.5 * (3.0 * a).sin();
    for set_back in [-1.0, 0.0, 1.0] {
        let scan = joined(&[wall(BORE, set_back, false, &other), wall(OUTSIDE, 0.0, true, &wave)]);
        let part = part(std::slice::from_ref(&scan), Form::Shell);
        // The ring's triangles, one for each edge of the rims, face off the solid.
        let down = turn(-DVec3::Z);
        let is_low = |p: &DVec3| (*p - turned(DVec3::ZERO)).dot(down) > -3.0;
        let ring = (0..part.triangles().len()).filter(|&t| {
            let c = part.corners(t);
            c.iter().all(is_low) && !(0..scan.triangles().len()).any(|s| same(c, scan.corners(s)))
        });
        assert!(ring.clone().all(|t| part.area_normal(t).dot(down) > 0.0));
        assert_eq!(ring.count(), 2 * shapes::COLUMNS);
        assert_eq!(kept(&scan, &part), 2 * 2 * 22 * shapes::COLUMNS);
    }
}

#[test]
fn teeth_that_overhang_are_named() {
    // tests/scans/README.md: both rims are saw-tooth, at different heights; one of
    // them, seen along the bore, crosses itself.
    let scan = read("vhm-trachea-jagged-derived.stl");
    let end = plain("lower", DVec3::new(-3.7, 562.6, 1.0), DVec3::new(0.0, -0.93, -0.37));
    let answer = make(&case(Form::Shell, vec![end]), &[scan], &Unwatched);
    let Err(MakeError::Scan { what, hints }) = answer else { panic!("{answer:?}") };
    assert!(what.contains("near (-1.37, 640.15, 39.39) would fold over"), "{what}");
    assert!(hints[0].contains("`trim`"), "{hints:?}");
}

#[test]
fn a_rim_set_back_too_far_is_named() {
    let scan = joined(&[wall(BORE, 8.0, false, &|_| 0.0), wall(OUTSIDE, 0.0, true, &|_| 0.0)]);
    let what = error(&[scan], Form::Shell);
    // The bore's rim is at a height of 8, the outside's at 0.
    let (bore, outside) = (turned(DVec3::Z * 8.0), turned(DVec3::ZERO));
    for p in [bore, outside] {
        let place = format!("near ({:.2}, {:.2}, {:.2})", p.x, p.y, p.z);
        assert!(what.contains(&place), "{place}: {what}");
    }
    assert!(what.contains("of the bore") && what.contains("of the outside"), "{what}");
}

#[test]
fn large_triangles_do_not_hide_how_far_a_rim_is_set_back() {
    let line = |r: f64, low: f64| [(r, low), (r, 40.0), (r, 60.0)];
    let mut inner = line(BORE, 9.0).to_vec();
    inner.reverse();
    let scan = joined(&[revolved(&inner, &turned), revolved(&line(OUTSIDE, 0.0), &turned)]);
    let what = error(&[scan], Form::Shell);
    assert!(what.contains("2 open rims"), "{what}");
}

#[test]
fn a_rim_without_partner_is_named() {
    // The outside is closed below by a cone, the bore is open.
    let mut line: Vec<(f64, f64)> = vec![(0.0, -6.0), (5.0, -6.0)];
    line.extend(steps(-6.0, 60.0, 30).into_iter().map(|z| (OUTSIDE, z)));
    let scan = joined(&[wall(BORE, 0.0, false, &|_| 0.0), revolved(&line, &turned)]);
    let what = error(&[scan], Form::Shell);
    assert!(what.contains("there is no other"), "{what}");
}

#[test]
fn a_bore_alone_may_have_no_rim_left() {
    let what = error(&[wall(BORE, 0.0, false, &|_| 0.0)], Form::Bore);
    assert!(what.contains("no end names"), "{what}");
}

#[test]
fn the_openings_of_the_trachea_are_named() {
    // tests/scans/README.md: the outer wall has two bronchus openings, the
    // inner wall ends blind but for a 3 mm hole.
    let end = plain("upper", DVec3::new(-0.8, 632.5, 37.1), DVec3::new(0.0, 0.93, 0.37));
    let answer =
        make(&case(Form::Shell, vec![end]), &[read("vhm-trachea-derived.stl")], &Unwatched);
    let Err(MakeError::Scan { what, .. }) = answer else { panic!("{answer:?}") };
    assert!(what.contains("3 open rims"), "{what}");
    assert_eq!(what.matches("of the outside").count(), 2, "{what}");
    assert_eq!(what.matches("of the bore").count(), 1, "{what}");
}
