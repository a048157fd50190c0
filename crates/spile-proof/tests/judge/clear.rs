//! Regions that the joint must not enter.

use spile_case::Clear;
use spile_mesh::Bvh;
use spile_proof::{LimitResult, WantedValue, judge_as_asked};

use super::*;

/// Half way up the joint, between two rows of points or on one.
const MIDDLE: f64 = 0.5 * (scene::UPPER_CUT + scene::NEAR_FACE);

fn ball(x: f64, z: f64, radius: f64) -> Clear {
    Clear::Ball(Ball { at: scene::place(DVec3::new(x, 0.0, z)).to_array(), radius })
}

/// A box round a place given in the tube's own frame.
fn block(p: DVec3, half: DVec3) -> Clear {
    let at = scene::place(p);
    Clear::Box { min: (at - half).to_array(), max: (at + half).to_array() }
}

fn asking(clears: &[Clear]) -> Scene {
    let mut s = scene(Recipe::default());
    s.case.clears = clears.to_vec();
    s
}

fn row(s: &Scene) -> LimitResult {
    let p = proof(s);
    let mut rows = p.limits.iter().filter(|l| l.name == "clear");
    let row = rows.next().expect("a row at the end with a fitting").clone();
    assert!(rows.next().is_none() && row.end.as_deref() == UPPER);
    assert_eq!(row.verdict == Verdict::Held, p.verdict == Verdict::Held);
    row
}

fn verdicts(clears: &[Clear]) -> Vec<Verdict> {
    clears.iter().map(|&clear| row(&asking(&[clear])).verdict).collect()
}

#[test]
fn nothing_asked_is_no_row() {
    assert!(proof(&asking(&[])).limits.iter().all(|l| l.name != "clear"));
}

#[test]
fn the_distance_is_that_of_a_plain_search() {
    for x in [14.0, 12.0, 4.0, 0.0] {
        let s = asking(&[ball(x, MIDDLE, 0.5)]);
        let Clear::Ball(region) = s.case.clears[0] else { panic!("a ball") };
        // The joint is what is nearest of the part there.
        let closest = Bvh::build(&s.part).closest(DVec3::from_array(region.at)).unwrap();
        let [lo, hi] = row(&s).bounds.unwrap();
        let apart = closest.distance - region.radius;
        assert!(lo <= apart && apart <= hi && hi - lo < 1e-4, "{x}: {apart} in {lo}..{hi}");
        assert_eq!(row(&s).verdict, Verdict::Held);
        let half = DVec3::splat(0.2);
        let s = asking(&[block(DVec3::new(x, 0.0, MIDDLE), half)]);
        let [lo, hi] = row(&s).bounds.unwrap();
        // A box lies between the balls in and round it.
        assert!(closest.distance - half.length() <= hi && lo <= closest.distance - half.x);
    }
}

#[test]
fn a_region_that_the_joint_enters_is_broken_and_the_ball_that_holds_is_named() {
    let mut s = asking(&[ball(12.5, MIDDLE, 2.0)]);
    let p = proof(&s);
    assert_only(&p, &[("clear", UPPER)]);
    assert_eq!(p.conflicts[0].limits[0], "clear");
    let wanted = &p.conflicts[0].would_hold[0];
    assert_eq!(wanted.key, "clear.ball.radius");
    let WantedValue::Number(radius) = wanted.value else { panic!("a number") };
    assert!((1.3..1.6).contains(&radius), "{radius}");
    s.case.clears = vec![ball(12.5, MIDDLE, radius)];
    assert_eq!(proof(&s).verdict, Verdict::Held);
    s.case.clears = vec![ball(12.5, MIDDLE, radius * 1.001)];
    assert_eq!(proof(&s).verdict, Verdict::Broken);
}

#[test]
fn no_way_in_is_overlooked() {
    let at = |x: f64| DVec3::new(x, 0.0, MIDDLE);
    let broken = [
        // In the middle of the material: no triangle comes near.
        ball(10.0, MIDDLE, 0.2),
        block(at(10.0), DVec3::splat(0.2)),
        // All of the part in it.
        ball(0.0, MIDDLE, 500.0),
        block(at(0.0), DVec3::splat(500.0)),
        // Over the bore alone, and over the outside alone.
        ball(0.0, MIDDLE, 9.5),
        ball(12.0, MIDDLE, 1.5),
        // Through a face, with no corner in it: thin along x, y or z.
        block(at(11.0), DVec3::new(0.01, 0.01, 3.0)),
        block(at(11.0), DVec3::new(3.0, 0.01, 0.01)),
        block(at(11.0), DVec3::new(0.01, 3.0, 0.01)),
        // In the material just over the scan's seam and just under the fitting.
        ball(10.0, scene::UPPER_CUT + 0.3, 0.2),
        ball(10.0, scene::NEAR_FACE - 0.3, 0.2),
        // Over the seam: half in the scan's wall, half in the joint's.
        ball(10.0, scene::UPPER_CUT, 0.2),
    ];
    for (k, verdict) in verdicts(&broken).into_iter().enumerate() {
        assert_eq!(verdict, Verdict::Broken, "{k}: {:?}", broken[k]);
    }
}

#[test]
fn scan_and_fitting_do_not_count() {
    let held = [
        ball(10.0, 15.0, 0.2),
        ball(11.0, 15.0, 3.0),
        ball(10.0, scene::NEAR_FACE + 5.0, 0.2),
        ball(0.0, scene::NEAR_FACE + 12.0, 11.5),
        block(DVec3::new(10.0, 0.0, 15.0), DVec3::splat(2.0)),
        ball(0.0, MIDDLE, 8.5),
    ];
    for (k, verdict) in verdicts(&held).into_iter().enumerate() {
        assert_eq!(verdict, Verdict::Held, "{k}: {:?}", held[k]);
    }
}

#[test]
fn of_several_regions_the_worst_is_told() {
    let s = asking(&[ball(20.0, MIDDLE, 1.0), ball(12.0, MIDDLE, 1.5), ball(30.0, MIDDLE, 1.0)]);
    let found = row(&s);
    assert_eq!(found.verdict, Verdict::Broken);
    assert!(found.how.contains("region 2"), "{}", found.how);
}

#[test]
fn a_settled_case_forgets_no_region() {
    let s = asking(&[ball(20.0, MIDDLE, 1.0)]);
    let mut settled = s.case.clone();
    let broken = |settled: &spile_case::Case| {
        let scans = std::slice::from_ref(&s.scan);
        let p = judge_as_asked(scans, &s.part, settled, &s.case).expect("they belong together");
        verdict(&p, "case", None)
    };
    assert_eq!(broken(&settled), Verdict::Held);
    settled.clears = vec![ball(20.0, MIDDLE, 0.9)];
    assert_eq!(broken(&settled), Verdict::Broken);
    settled.clears.clear();
    assert_eq!(broken(&settled), Verdict::Broken);
}

/// A wall that is made has no seam on its outside: the joint ends there where
/// its triangles do.
#[test]
fn a_made_wall_is_kept_clear_too() {
    let mut s = scene::bore_scene(Recipe::default());
    for (x, radius, expected) in
        [(14.0, 0.5, Verdict::Held), (12.0, 1.5, Verdict::Broken), (10.0, 0.2, Verdict::Broken)]
    {
        s.case.clears = vec![ball(x, MIDDLE, radius)];
        assert_eq!(row(&s).verdict, expected, "{x}");
    }
}
