//! Limits that do not hold together are named, and what is offered does hold.

use spile_proof::{Conflict, KnownBy, WantedValue};

use super::*;

/// The first number that conflict `k` offers.
fn offered(p: &Proof, k: usize) -> f64 {
    number(&p.conflicts[k])
}

fn number(c: &Conflict) -> f64 {
    match c.would_hold.first().map(|w| w.value) {
        Some(WantedValue::Number(x)) => x,
        other => panic!("no number is offered: {other:?}"),
    }
}

#[test]
fn a_wall_or_ball_that_the_fitting_cannot_give_is_a_named_conflict() {
    let mut s = scene(Recipe::default());
    s.case.limits.wall_min = Some(2.1);
    s.case.limits.ball_min = Some(2.0 * scene::BORE + 0.05);
    let p = proof(&s);
    let names: Vec<&str> = p.conflicts.iter().map(|c| c.limits[0].as_str()).collect();
    assert_eq!(names, ["wall_min", "ball_min"]);
    // An area-true polygon of 48 sides has an inscribed diameter of
    // 2 r sqrt(s / sin s) cos(s / 2), s = 2 pi / 48: closed form, 17.9871.
    let step = std::f64::consts::TAU / 48.0;
    let inscribed = 2.0 * scene::area_true(scene::BORE) * (0.5 * step).cos();
    assert!((0.0..0.01).contains(&(inscribed - offered(&p, 1))));
    // Both polygons have parallel facets, so the meshed wall is that of their flats.
    let flats = 2.0 * (0.5 * step).cos() * scene::area_true(1.0);
    assert!((offered(&p, 0) - flats).abs() < 3e-3);
    let holds = offered(&p, 0);
    s.case.limits.wall_min = Some(holds);
    s.case.limits.ball_min = Some(offered(&p, 1));
    let certain = |c: &Conflict| c.certain;
    assert!(!proof(&s).conflicts.iter().any(certain), "what is offered holds these limits");
}

/// One bulge at the seam: the only conflict, with the limits that it names.
fn only_conflict(s: &Scene, names: &[&str]) -> Conflict {
    let p = proof(s);
    assert_eq!(p.conflicts.len(), 1, "{:#?}", p.limits);
    let c = p.conflicts[0].clone();
    assert_eq!(c.limits, names);
    assert_eq!((c.end.as_deref(), c.certain), (UPPER, false));
    assert!(c.where_.is_some());
    c
}

#[test]
fn a_limit_broken_alone_is_named_with_the_value_that_this_part_holds() {
    let mut s = scene(Recipe { joint_bulge: 0.4, ..Recipe::default() });
    let c = only_conflict(&s, &["kink", "fitting"]);
    assert_eq!((c.would_hold[0].key.as_str(), c.would_hold.len()), ("limits.kink", 1));
    assert_eq!(c.would_hold[0].known_by, KnownBy::JudgedAgain);
    let value = number(&c);
    // Closed form: the first row stands 0.4 out over a height of 2 or a little less.
    assert!((10.0..13.0).contains(&value), "{value}");
    s.case.limits.kink_deg = Some(value);
    assert_eq!(proof(&s).verdict, Verdict::Held);
    // The last digit counts: one step less does not hold.
    s.case.limits.kink_deg = Some(value - 0.01);
    assert_eq!(proof(&s).verdict, Verdict::Broken);
}

#[test]
fn a_keep_close_by_and_limits_with_little_room_are_named_too() {
    let mut s = scene(Recipe { joint_bulge: 0.4, ..Recipe::default() });
    let at = proof(&s).conflicts[0].where_.unwrap();
    s.case.keeps = vec![Keep::Ball(Ball { at, radius: 1e-6 })];
    // The scan's noise is what was smoothed away: most of this deviation.
    let deviation = proof(&s).limits.iter().find(|l| l.name == "deviation").unwrap().measured;
    s.case.limits.deviation = deviation.unwrap() * 1.01;
    let p = proof(&s);
    let c = &p.conflicts[0];
    assert_eq!(c.limits, ["kink", "fitting", "keep", "deviation"], "{:#?}", p.limits);
}

#[test]
fn where_two_limits_are_broken_no_single_value_is_offered() {
    let s = scene(Recipe { joint_bulge: 0.4, bump: 0.3, ..Recipe::default() });
    let c = only_conflict(&s, &["deviation", "kink", "fitting"]);
    assert_eq!(c.would_hold, vec![]);
}

#[test]
fn what_no_shape_is_traded_against_is_no_conflict() {
    let good = scene(Recipe { joint_bulge: 0.4, ..Recipe::default() });
    let moved = edited(&good, |points, _| points[0].x = next_f32(points[0].x));
    let p = proof(&moved);
    assert_eq!(verdict(&p, "untouched", None), Verdict::Broken);
    assert_eq!(p.conflicts, vec![]);
    assert_eq!(proof(&scene(Recipe::default())).conflicts, vec![]);
}
