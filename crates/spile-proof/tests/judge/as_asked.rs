//! A settled case that asks less, or other, than the case that it settles.

use spile_case::{
    Case, Clear, EndLimits, FileKind, Fitting, Flow, Form, Inherit, JointShape, Outliers, Pin, Rim,
    Site, Unit, Wall, WallShare,
};
use spile_proof::judge_as_asked;

use super::*;

fn asked() -> Scene {
    let mut s = scene(Recipe::default());
    s.case.limits.wall_min = Some(1.8);
    s.case.limits.bore_loss = Some(0.01);
    s.case.keeps.push(Keep::Ball(Ball {
        at: scene::place(DVec3::new(scene::BORE, 0.0, 12.0)).to_array(),
        radius: 1.0,
    }));
    s
}

/// A change to a settled case.
type Lie = Box<dyn Fn(&mut Case)>;

/// The user's own case: nothing settled.
fn unsettled(case: &Case) -> Case {
    let mut case = case.clone();
    case.ends.iter_mut().for_each(|end| end.seam = None);
    case
}

fn row(s: &Scene, settled: &Case, asked: &Case) -> (Verdict, Verdict) {
    let p = judge_as_asked(std::slice::from_ref(&s.scan), &s.part, settled, asked)
        .expect("the inputs belong together");
    (verdict(&p, "case", None), p.verdict)
}

#[test]
fn a_settled_case_that_asks_the_same_is_held() {
    let s = asked();
    assert_eq!(row(&s, &s.case, &unsettled(&s.case)), (Verdict::Held, Verdict::Held));
    // Automatic values, written out.
    let mut user = unsettled(&s.case);
    user.scan.hole_max = None;
    assert_eq!(row(&s, &s.case, &user), (Verdict::Held, Verdict::Held));
    user.ends[0].place = Some(Place::Onward((scene::NEAR_FACE - scene::UPPER_CUT).into()));
    assert_eq!(row(&s, &s.case, &user), (Verdict::Held, Verdict::Held));
}

#[test]
fn a_settled_case_that_asks_less_is_broken_though_the_part_holds_it() {
    let s = asked();
    let user = unsettled(&s.case);
    let lies: Vec<(&str, Lie)> = vec![
        ("a dropped limit", Box::new(|c| c.limits.bore_loss = None)),
        ("a dropped wall", Box::new(|c| c.limits.wall_min = None)),
        ("a wider deviation", Box::new(|c| c.limits.deviation = 0.11)),
        ("a wider chord", Box::new(|c| c.limits.chord = 0.031)),
        ("a thinner wall", Box::new(|c| c.limits.wall_min = Some(1.7))),
        ("a larger reach", Box::new(|c| c.ends[0].reach = Some(scene::REACH + 0.5))),
        ("reach where none was", Box::new(|c| c.ends[1].reach = Some(0.5))),
        ("a keep forgotten", Box::new(|c| c.keeps.clear())),
        ("inherited faults", Box::new(|c| c.scan.inherit.push(Inherit::SelfIntersection))),
        ("larger holes", Box::new(|c| c.scan.hole_max = Some(2.0))),
        (
            "another place along the axis",
            Box::new(|c| {
                if let Some(Place::At { at, .. }) = &mut c.ends[0].place {
                    *at = (DVec3::from_array(*at) + 0.002 * scene::turn(DVec3::Z)).to_array();
                }
            }),
        ),
        (
            "another length",
            Box::new(|c| {
                c.ends[0].fitting = Some(Fitting::Tube {
                    bore: 2.0 * scene::BORE,
                    outside: 2.0 * scene::OUTSIDE,
                    length: scene::LENGTH + 0.001,
                    flange: None,
                });
            }),
        ),
        (
            "a flange forgotten",
            Box::new(|c| {
                let Some(Fitting::Tube { flange, .. }) = &mut c.ends[0].fitting else { return };
                *flange = Some(spile_case::Flange { outside: 30.0, thickness: 2.0, at: 10.0 });
            }),
        ),
        (
            "another cut",
            Box::new(|c| {
                if let Site::Cut(cut) = &mut c.ends[0].site {
                    cut.through =
                        (DVec3::from_array(cut.through) + 0.01 * scene::turn(DVec3::Z)).to_array();
                }
            }),
        ),
        ("an end renamed", Box::new(|c| c.ends[0].name = "top".to_owned())),
    ];
    for (name, lie) in lies {
        let mut settled = s.case.clone();
        lie(&mut settled);
        assert_eq!(row(&s, &settled, &user), (Verdict::Broken, Verdict::Broken), "{name}");
    }
}

#[test]
fn automatic_values_are_held_to_what_was_asked_of_them() {
    let s = asked();
    // Twice the median edge is under 4.1 here, and the user gave no hole_max.
    let mut user = unsettled(&s.case);
    user.scan.hole_max = None;
    let mut settled = s.case.clone();
    settled.scan.hole_max = Some(5.0);
    assert_eq!(row(&s, &settled, &user).0, Verdict::Broken);
    // A gap of 11 was asked, the near face lies 12 on.
    let mut user = unsettled(&s.case);
    user.ends[0].place = Some(Place::Onward((scene::NEAR_FACE - scene::UPPER_CUT - 1.0).into()));
    assert_eq!(row(&s, &s.case, &user).0, Verdict::Broken);
    // More given up at a rim than was allowed.
    let rim = |trim: f64| {
        let near = scene::place(DVec3::new(scene::BORE, 0.0, 41.0)).to_array();
        let facing = Some(scene::turn(DVec3::Z).to_array());
        Site::Rim(Rim { near, trim: Some(trim), facing })
    };
    let (mut user, mut settled) = (unsettled(&s.case), s.case.clone());
    (user.ends[0].site, settled.ends[0].site) = (rim(10.4), rim(10.4));
    assert_eq!(row(&s, &settled, &user).0, Verdict::Held);
    user.ends[0].site = rim(10.3);
    assert_eq!(row(&s, &settled, &user).0, Verdict::Broken);
}

/// What spile chose is held to what it may choose: straight on along the bore, which
/// here runs along the axis of a closed form, and not out of all measure.
#[test]
fn what_was_found_is_held_to_the_bore() {
    let s = asked();
    let axis = scene::turn(DVec3::Z);
    let Some(Place::At { at, .. }) = s.case.ends[0].place else { panic!("settled") };
    let gap = scene::NEAR_FACE - scene::UPPER_CUT;
    let from = DVec3::from_array(at) - gap * axis;
    let placed = |on: f64, turned_deg: f64, aside: f64| {
        let (sin, cos) = f64::to_radians(turned_deg).sin_cos();
        let along = cos * axis + sin * scene::turn(DVec3::X);
        let at = from + on * along + aside * scene::turn(DVec3::Y);
        Some(Place::At { at: at.to_array(), along: along.to_array() })
    };
    let across = 2.0 * scene::BORE;
    let mut user = unsettled(&s.case);
    (user.ends[0].reach, user.ends[0].reach_is_auto) = (None, true);
    for place in [Place::Auto, Place::Onward(gap.into())] {
        user.ends[0].place = Some(place);
        let case_row = |reach: f64, place| {
            let mut settled = s.case.clone();
            (settled.ends[0].reach, settled.ends[0].place) = (Some(reach), place);
            row(&s, &settled, &user).0
        };
        assert_eq!(row(&s, &s.case, &user), (Verdict::Held, Verdict::Held));
        assert_eq!(case_row(1.9 * across, placed(gap, 8.0, 0.0)), Verdict::Held);
        assert_eq!(case_row(2.2 * across, placed(gap, 0.0, 0.0)), Verdict::Broken);
        assert_eq!(case_row(scene::REACH, placed(gap, 11.0, 0.0)), Verdict::Broken);
        assert_eq!(case_row(scene::REACH, placed(gap, 0.0, 0.5)), Verdict::Broken);
        assert_eq!(case_row(scene::REACH, placed(-1.0, 0.0, 0.0)), Verdict::Broken);
        assert_eq!(case_row(scene::REACH, placed(5.5 * across, 0.0, 0.0)), Verdict::Broken);
    }
    // Of a place that is found any gap that can be is held.
    user.ends[0].place = Some(Place::Auto);
    let mut settled = s.case.clone();
    settled.ends[0].place = placed(4.9 * across, 0.0, 0.0);
    assert_eq!(row(&s, &settled, &user).0, Verdict::Held);
}

/// A case that gives every key whose value a judged part need not show.
fn guided() -> Scene {
    let mut s = asked();
    s.case.name = Some("guided".to_owned());
    s.case.edge = Some(0.7);
    s.case.joint.shape = JointShape::Shortest;
    s.case.joint.wall =
        [(0.3, 2.4), (0.7, 2.2)].map(|(at, thickness)| WallShare { at, thickness }).to_vec();
    s.case.scan.hole_max = Some(4.0);
    // Far off the part, so that no joint enters it.
    s.case.clears.push(Clear::Ball(Ball { at: [900.0, 0.0, 0.0], radius: 1.0 }));
    s.case.output.density_g_cm3 = Some(1.2);
    s.case.output.build_direction = Some([0.0, 0.0, 1.0]);
    s.case.output.flow =
        Some(Flow { rate_l_min: 30.0, density_kg_m3: 1.2, viscosity_pa_s: 1.8e-5 });
    s.case.output.files = vec![FileKind::Obj];
    let at_rim = scene::place(DVec3::new(scene::BORE, 0.0, scene::UPPER_CUT)).to_array();
    s.case.ends[0].pins = vec![Pin { scan: at_rim, angle_deg: 20.0 }];
    s.case.ends[0].limits.kink_deg = Some(30.0);
    s
}

#[test]
fn every_key_that_was_given_must_be_the_same() {
    let s = guided();
    let user = unsettled(&s.case);
    assert_eq!(row(&s, &s.case, &user).0, Verdict::Held);
    let end_limit = |change: fn(&mut EndLimits)| -> Lie {
        Box::new(move |c: &mut Case| change(&mut c.ends[1].limits))
    };
    // What the row must tell, and the change that it must be told for.
    let lies: Vec<(&str, Lie)> = vec![
        ("`name`", Box::new(|c| c.name = Some("another".to_owned()))),
        ("`name`", Box::new(|c| c.name = None)),
        ("`unit`", Box::new(|c| c.unit = Unit::Inch)),
        ("`joint.edge`", Box::new(|c| c.edge = Some(0.8))),
        ("`joint.edge`", Box::new(|c| c.edge = None)),
        ("`joint.shape`", Box::new(|c| c.joint.shape = JointShape::Tangent)),
        ("`joint.wall`", Box::new(|c| c.joint.wall.clear())),
        ("`joint.wall`", Box::new(|c| c.joint.wall[1].thickness = 2.1)),
        ("`joint.wall`", Box::new(|c| c.joint.wall[0].at = 0.31)),
        ("`match of end", Box::new(|c| c.ends[0].pins.clear())),
        ("`match of end", Box::new(|c| c.ends[0].pins[0].angle_deg = 21.0)),
        ("`match of end", Box::new(|c| c.ends[0].pins[0].scan[0] += 0.001)),
        ("`clear 1`", Box::new(|c| c.clears.clear())),
        ("`clear 1`", Box::new(|c| c.clears[0] = Clear::Box { min: [900.0; 3], max: [901.0; 3] })),
        ("`keep 1`", Box::new(|c| c.keeps.clear())),
        ("`scan.form`", Box::new(|c| c.scan.form = Form::Cavity)),
        ("`scan.files`", Box::new(|c| c.scan.files.push("second.stl".to_owned()))),
        ("`scan.wall`", Box::new(|c| c.scan.wall = Some(Wall::Even(2.0)))),
        ("`scan.hole_max`", Box::new(|c| c.scan.hole_max = Some(3.9))),
        ("`scan.outliers`", Box::new(|c| c.scan.outliers = Outliers::Mend)),
        ("`scan.inherit`", Box::new(|c| c.scan.inherit.push(Inherit::SelfIntersection))),
        ("`limits.deviation`", Box::new(|c| c.limits.deviation *= 1.01)),
        ("`limits.chord`", Box::new(|c| c.limits.chord *= 1.01)),
        ("`limits.wall_min`", Box::new(|c| c.limits.wall_min = None)),
        ("`limits.bore_loss`", Box::new(|c| c.limits.bore_loss = Some(0.02))),
        ("`limits.kink`", Box::new(|c| c.limits.kink_deg = Some(89.0))),
        ("`limits.ball_min`", Box::new(|c| c.limits.ball_min = Some(0.5))),
        ("`limits.kink of end", Box::new(|c| c.ends[0].limits.kink_deg = None)),
        ("`limits.deviation of end", end_limit(|l| l.deviation = Some(0.2))),
        ("`limits.wall_min of end", end_limit(|l| l.wall_min = Some(0.1))),
        ("`limits.bore_loss of end", end_limit(|l| l.bore_loss = Some(0.5))),
        ("`limits.kink of end", end_limit(|l| l.kink_deg = Some(89.0))),
        ("`limits.ball_min of end", end_limit(|l| l.ball_min = Some(0.1))),
        ("`limits.chord of end", end_limit(|l| l.chord = Some(0.1))),
        ("`output.density`", Box::new(|c| c.output.density_g_cm3 = Some(1.3))),
        ("`output.build_direction`", Box::new(|c| c.output.build_direction = None)),
        ("`output.flow`", Box::new(|c| c.output.flow = None)),
        ("`output.files`", Box::new(|c| c.output.files.clear())),
        ("`reach of end", Box::new(|c| c.ends[0].reach = Some(scene::REACH + 0.5))),
        ("`fitting of end", Box::new(|c| c.ends[0].fitting = None)),
        ("`end`", Box::new(|c| c.ends.swap(0, 1))),
    ];
    for (told, lie) in lies {
        let mut settled = s.case.clone();
        lie(&mut settled);
        let judged = judge_as_asked(std::slice::from_ref(&s.scan), &s.part, &settled, &user);
        let proof = judged.expect("the inputs belong together");
        let case = proof.limits.iter().find(|l| l.name == "case").expect("a row `case`");
        assert_eq!(case.verdict, Verdict::Broken, "{told}");
        assert!(case.how.contains(told), "{told} is not told by: {}", case.how);
        assert_eq!(proof.verdict, Verdict::Broken, "{told}");
    }
}

#[test]
fn what_was_not_given_may_be_settled() {
    let s = guided();
    let mut user = unsettled(&s.case);
    (user.name, user.edge, user.scan.hole_max) = (None, None, None);
    user.output.files.clear();
    assert_eq!(row(&s, &s.case, &user).0, Verdict::Held);
}
