//! Limits of one end that differ from the case's.

use spile_case::EndLimits;
use spile_proof::{LimitResult, WantedValue, judge_as_asked};

use super::*;

/// As loose as the case file lets them be.
const LOOSE: EndLimits = EndLimits {
    deviation: Some(50.0),
    wall_min: Some(1e-6),
    bore_loss: Some(1.0),
    kink_deg: Some(180.0),
    ball_min: Some(1e-6),
    chord: Some(50.0),
};

const AT: [usize; 2] = [0, 1];

/// All that a case can ask, at ends `upper` and `lower`.
fn asking(recipe: Recipe) -> Scene {
    let mut s = scene(recipe);
    s.case.limits.wall_min = Some(1.8);
    s.case.limits.bore_loss = Some(0.01);
    s.case.limits.ball_min = Some(17.5);
    s
}

fn row<'a>(p: &'a Proof, name: &str, end: Option<&str>) -> &'a LimitResult {
    let found = p.limits.iter().find(|l| l.name == name && l.end.as_deref() == end);
    found.unwrap_or_else(|| panic!("no limit {name} at {end:?}"))
}

#[test]
fn each_end_is_judged_by_its_own_limits_and_its_rows_say_which() {
    let [upper, lower] = AT;
    let mut s = asking(Recipe { bump: 0.07, ..Recipe::default() });
    s.case.limits.kink_deg = None;
    assert_eq!(proof(&s).verdict, Verdict::Held);
    s.case.ends[upper].limits.deviation = Some(0.05);
    let p = proof(&s);
    assert_only(&p, &[("deviation", UPPER)]);
    assert_eq!(row(&p, "deviation", UPPER).asked, Some(0.05));
    s.case.ends[upper].limits = EndLimits { wall_min: Some(1.95), ..EndLimits::default() };
    let p = proof(&s);
    assert_eq!(row(&p, "wall_min", UPPER).asked, Some(1.95));
    // The part's wall is 2 less its facets; 1.95 is broken somewhere or not, but
    // the other end's row has the case's own.
    s.case.ends[lower].limits.wall_min = Some(1.0);
    assert_eq!(row(&proof(&s), "wall_min", LOWER).asked, Some(1.0));
    // Looser at the end that needs it: 0.13 under 0.2, which 0.1 does not hold.
    let mut s = asking(Recipe { bump: 0.13, ..Recipe::default() });
    assert_eq!(verdict(&proof(&s), "deviation", UPPER), Verdict::Broken);
    s.case.ends[upper].limits.deviation = Some(0.2);
    assert_eq!(verdict(&proof(&s), "deviation", UPPER), Verdict::Held);
}

/// Parts that are bad at the upper end, each by the row that shows it.
fn bad_above() -> Vec<(&'static str, Recipe)> {
    let good = Recipe::default;
    vec![
        ("deviation", Recipe { bump: 0.13, ..good() }),
        ("deviation", Recipe { bump: -0.13, ..good() }),
        ("deviation", Recipe { seam_lift: -1.0, ..good() }),
        ("seam", Recipe { seam_lift: 0.15, ..good() }),
        ("fitting", Recipe { fitting_shift: 0.06 * DVec3::X, ..good() }),
        ("fitting", Recipe { fitting_bore_scale: 0.99, ..good() }),
        ("kink", Recipe { joint_bulge: 0.8, ..good() }),
        ("wall_min", Recipe { joint_bulge: 0.8, ..good() }),
        ("bore_loss", Recipe { joint_bulge: -0.8, ..good() }),
        ("ball_min", Recipe { joint_bulge: -0.8, ..good() }),
    ]
}

#[test]
fn limits_loosened_at_one_end_hold_nothing_at_another() {
    let [_, lower] = AT;
    for (name, recipe) in bad_above() {
        let mut s = asking(recipe);
        let before = proof(&s);
        assert_eq!(verdict(&before, name, UPPER), Verdict::Broken, "{name}");
        s.case.ends[lower].limits = LOOSE;
        let after = proof(&s);
        let is_held = |p: &Proof| verdict(p, name, UPPER) == Verdict::Held;
        assert!(!is_held(&after) && after.verdict == Verdict::Broken, "{name}");
        assert_eq!(row(&after, name, UPPER).asked, row(&before, name, UPPER).asked, "{name}");
        // In whatever order the ends stand.
        s.case.ends.reverse();
        let after = proof(&s);
        assert!(!is_held(&after) && after.verdict == Verdict::Broken, "{name}");
    }
    // And the other way about.
    let mut s = asking(Recipe { plain_push: 0.001, ..Recipe::default() });
    s.case.ends[0].limits = LOOSE;
    let p = proof(&s);
    assert!(verdict(&p, "deviation", LOWER) != Verdict::Held && p.verdict == Verdict::Broken);
}

/// Reach from the loose end goes over all that the strict end replaced: what
/// both may change is held to the stricter of the two, whoever it is counted to.
#[test]
fn where_reaches_overlap_the_stricter_limit_counts_for_both() {
    for bump in [0.13, -0.13] {
        let mut s = asking(Recipe { bump, ..Recipe::default() });
        s.case.ends[1].reach = Some(scene::UPPER_CUT - scene::LOWER_CUT - 1.0);
        s.case.ends[1].limits = EndLimits { deviation: Some(50.0), ..EndLimits::default() };
        for _ in 0..2 {
            let p = proof(&s);
            assert_eq!(p.verdict, Verdict::Broken);
            let rows = [UPPER, LOWER].map(|end| row(&p, "deviation", end));
            assert!(rows.iter().all(|r| r.asked == Some(0.1)), "{rows:#?}");
            assert!(rows.iter().any(|r| r.verdict == Verdict::Broken), "{rows:#?}");
            s.case.ends.reverse();
        }
    }
}

/// A piece of the upper end's scan is gone, and what stands there was moved by
/// ten times what is allowed: the loose end's room must not explain it.
#[test]
fn what_a_loose_end_may_move_stands_in_for_nothing_at_a_strict_one() {
    let mut s = asking(Recipe { bump: 1.0, ..Recipe::default() });
    s.case.ends[1].limits = LOOSE;
    s.case.ends[1].reach = Some(scene::UPPER_CUT - scene::LOWER_CUT - scene::REACH - 1.0);
    assert_eq!(verdict(&proof(&s), "deviation", UPPER), Verdict::Broken);
}

#[test]
fn a_settled_case_keeps_the_limits_of_each_end() {
    let mut s = asking(Recipe::default());
    s.case.ends[0].limits.deviation = Some(0.09);
    let case_row = |settled: &spile_case::Case| {
        let scans = std::slice::from_ref(&s.scan);
        let p = judge_as_asked(scans, &s.part, settled, &s.case).expect("they belong together");
        (verdict(&p, "case", None), p.verdict)
    };
    assert_eq!(case_row(&s.case), (Verdict::Held, Verdict::Held));
    let lies: [&dyn Fn(&mut spile_case::Case); 4] = [
        &|c| c.ends[0].limits.deviation = None,
        &|c| c.ends[0].limits.deviation = Some(0.091),
        &|c| c.ends[0].limits.bore_loss = Some(0.5),
        &|c| c.ends[1].limits.wall_min = Some(0.1),
    ];
    for lie in lies {
        let mut settled = s.case.clone();
        lie(&mut settled);
        assert_eq!(case_row(&settled), (Verdict::Broken, Verdict::Broken));
    }
}

/// The value that would hold is named by the key that asks: running it holds.
#[test]
fn what_would_hold_is_a_limit_of_that_end() {
    let mut s = scene(Recipe { bump: 0.07, ..Recipe::default() });
    s.case.limits.kink_deg = None;
    s.case.ends[0].limits.deviation = Some(0.05);
    let p = proof(&s);
    let wanted = &p.conflicts[0].would_hold[0];
    assert_eq!(wanted.key, "end.limits.deviation");
    let WantedValue::Number(value) = wanted.value else { panic!("a number") };
    s.case.ends[0].limits.deviation = Some(value);
    assert_eq!(proof(&s).verdict, Verdict::Held);
    // Certain conflicts, too: the fitting's own wall is no more than 2.
    s.case.ends[0].limits.wall_min = Some(2.1);
    let p = proof(&s);
    assert_eq!(p.conflicts[0].would_hold[0].key, "end.limits.wall_min");
}

/// The form whose wall is made: the end's own limit in a row of its own, all
/// else by the case's, both ways.
#[test]
fn a_wall_that_is_made_is_judged_by_end_and_rest() {
    let mut s = scene::bore_scene(Recipe::default());
    s.case.limits.wall_min = Some(1.8);
    let p = proof(&s);
    assert_eq!(verdict(&p, "wall_min", None), Verdict::Held, "{:#?}", p.limits);
    s.case.ends[0].limits.wall_min = Some(2.5);
    let p = proof(&s);
    assert_eq!(row(&p, "wall_min", UPPER).asked, Some(2.5));
    assert_eq!(row(&p, "wall_min", UPPER).verdict, Verdict::Broken);
    assert_eq!(verdict(&p, "wall_min", None), Verdict::Held);
    // Loosened at the end, asked of the rest: still broken there.
    s.case.limits.wall_min = Some(2.5);
    s.case.ends[0].limits.wall_min = Some(0.1);
    let p = proof(&s);
    assert_eq!(verdict(&p, "wall_min", UPPER), Verdict::Held);
    assert_eq!(row(&p, "wall_min", None).asked, Some(2.5));
    assert_eq!(row(&p, "wall_min", None).verdict, Verdict::Broken);
}
