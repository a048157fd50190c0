//! Cuts: walls in one piece, planes through points of the scan.

mod shapes;

use shapes::{
    COLUMNS, assert_solid, case, kept, plain, revolved, ring_area, steps, turn, turned, upright,
};
use spile_case::{Case, Form};
use spile_joint::{Made, MakeError, Unwatched, make};
use spile_mesh::{DVec3, Mesh};

const BORE: f64 = 8.0;
const OUTSIDE: f64 = 10.0;

fn made(scan: &Mesh, case: &Case) -> Made {
    make(case, std::slice::from_ref(scan), &Unwatched).expect("a part")
}

/// A tube of both walls with a rounded rim at the top; below it is closed by a
/// rounded rim too, or is a blind cup with a bottom as thick as the wall.
fn one_piece(blind: bool, rows: usize) -> Vec<(f64, f64)> {
    let round = |z: f64, up: f64| -> Vec<(f64, f64)> {
        (1..4)
            .map(|k| {
                let a = std::f64::consts::PI * f64::from(k) / 4.0;
                (9.0 + a.cos(), z + up * a.sin())
            })
            .collect()
    };
    let mut line: Vec<(f64, f64)> = Vec::new();
    if blind {
        line.extend([(0.0, -2.0), (4.0, -2.0), (7.0, -2.0)]);
    }
    let low = if blind { -2.0 } else { 0.0 };
    line.extend(steps(low, 60.0, rows).into_iter().map(|z| (OUTSIDE, z)));
    line.extend(round(60.0, 1.0));
    line.extend(steps(60.0, 0.0, rows).into_iter().map(|z| (BORE, z)));
    if blind {
        line.extend([(4.0, 0.0), (0.0, 0.0)]);
    } else {
        let mut low = round(0.0, -1.0);
        low.reverse();
        line.extend(low);
        line.push(line[0]);
    }
    line
}

#[test]
fn walls_joined_by_a_rounded_rim_are_cut_together() {
    for placing in [&upright as &dyn Fn(DVec3) -> DVec3, &turned] {
        let scan = revolved(&one_piece(true, 23), placing);
        assert_solid(&scan);
        let axis = placing(DVec3::Z) - placing(DVec3::ZERO);
        let upper = plain("upper", placing(DVec3::Z * 50.3), axis);
        let part = made(&scan, &case(Form::Shell, vec![upper])).part.unwrap();
        assert_solid(&part);
        // Bottom of thickness 2, then the wall; prisms over polygons.
        let volume = ring_area(0.0, OUTSIDE) * 2.0 + ring_area(BORE, OUTSIDE) * 50.3;
        assert!((part.volume() / volume - 1.0).abs() < 1e-5, "{} {volume}", part.volume());
    }
}

#[test]
fn both_ends_of_a_closed_tube_are_cut() {
    let scan = revolved(&one_piece(false, 30), &turned);
    assert_solid(&scan);
    let (up, at) = (turn(DVec3::Z), |z: f64| turned(DVec3::Z * z));
    let ends = vec![plain("upper", at(45.1), up), plain("lower", at(11.7), -up)];
    let part = made(&scan, &case(Form::Shell, ends)).part.unwrap();
    assert_solid(&part);
    let volume = ring_area(BORE, OUTSIDE) * (45.1 - 11.7);
    assert!((part.volume() / volume - 1.0).abs() < 1e-5, "{} {volume}", part.volume());
    // Rows from 12 to 44, two triangles a column, on both walls.
    assert_eq!(kept(&scan, &part), 2 * 2 * 16 * COLUMNS);
}

#[test]
fn only_the_branch_meant_is_cut_where_the_walls_are_one_piece() {
    // A closed tube bent like a U: the plane crosses both legs.
    let bend = |p: DVec3| {
        let a = std::f64::consts::PI * p.z / 60.0;
        let out = 40.0 + p.x;
        DVec3::new(out * a.cos(), p.y, out * a.sin())
    };
    let scan = revolved(&one_piece(false, 30), &bend);
    assert_solid(&scan);
    let end = plain("left", DVec3::new(-40.0, 0.0, 12.0), -DVec3::Z);
    let part = made(&scan, &case(Form::Shell, vec![end])).part.unwrap();
    assert_solid(&part);
    let bounds = part.bounds();
    assert!(bounds.min.z < 0.0, "the other leg keeps its end: {bounds:?}");
    let left = part.points().iter().filter(|p| p.x < 0.0).map(|p| p.z).fold(50.0, f64::min);
    assert!((left - 12.0).abs() < 1e-5, "{left}");
}

#[test]
fn a_plane_through_a_ring_of_points_cuts_there() {
    for placing in [&upright as &dyn Fn(DVec3) -> DVec3, &turned] {
        let scan = revolved(&one_piece(true, 30), placing);
        let axis = placing(DVec3::Z) - placing(DVec3::ZERO);
        // Every other row is a row of the bore; the outside's lie elsewhere.
        let upper = plain("upper", placing(DVec3::Z * 40.0), axis);
        let part = made(&scan, &case(Form::Shell, vec![upper])).part.unwrap();
        assert_solid(&part);
        let volume = ring_area(0.0, OUTSIDE) * 2.0 + ring_area(BORE, OUTSIDE) * 40.0;
        // Rounding turns some points below the plane, where the rim is lifted
        // by 0.02 of an edge at most.
        let share = (part.volume() - volume) / (ring_area(BORE, OUTSIDE) * 0.04);
        assert!((-1e-3..1.0).contains(&share), "{share}");
    }
    // Exactly on the plane: the bore's triangles stay whole, and none is cut.
    let scan = revolved(&one_piece(false, 30), &upright);
    let upper = plain("upper", DVec3::Z * 40.0, DVec3::Z);
    let part = made(&scan, &case(Form::Shell, vec![upper])).part.unwrap();
    assert_solid(&part);
    let below = (0..scan.triangles().len())
        .filter(|&t| scan.corners(t).iter().all(|p| p.z <= 40.0))
        .count();
    assert_eq!(kept(&scan, &part), below);
    assert_eq!(part.triangles().len(), below + 2 * COLUMNS);
}

/// An elbow: upright above z = 0, then round an arc of radius 12 and level along
/// z = -12; local x points to the inside of the bend.
fn elbow(p: DVec3) -> DVec3 {
    let arc = 12.0 * std::f64::consts::FRAC_PI_2;
    if p.z < 30.0 {
        DVec3::new(42.0 - p.z, p.y, p.x - 12.0)
    } else if p.z < 30.0 + arc {
        let (s, c) = ((p.z - 30.0) / 12.0).sin_cos();
        DVec3::new(12.0 - (12.0 - p.x) * s, p.y, -(12.0 - p.x) * c)
    } else {
        DVec3::new(p.x, p.y, p.z - 30.0 - arc)
    }
}

#[test]
fn a_cut_that_would_shave_the_wall_made_round_another_part_is_named() {
    let mut line: Vec<(f64, f64)> = vec![(0.0, 0.0), (4.0, 0.0)];
    line.extend(steps(0.0, 70.0, 70).into_iter().map(|z| (BORE, z)));
    line.extend([(4.0, 70.0), (0.0, 70.0)]);
    let scan = revolved(&line, &elbow);
    assert_solid(&scan);
    let cut_at = |z: f64| {
        let mut case = case(Form::Bore, vec![plain("upper", DVec3::Z * z, DVec3::Z)]);
        case.scan.wall = Some(spile_case::Wall::Even(2.0));
        make(&case, std::slice::from_ref(&scan), &Unwatched)
    };
    assert_solid(&cut_at(10.3).expect("a part").part.expect("it closes"));
    // The level leg's bore ends at z = -4 above, its wall at z = -2.
    let answer = cut_at(-3.3);
    let Err(MakeError::End { end, what, hints }) = answer else { panic!("{answer:?}") };
    assert_eq!((end.as_str(), hints.len()), ("upper", 2));
    assert!(what.contains("another part of the bore, near (4"), "{what}");
}
