//! The whole judgement of `wall_min`, `bore_loss` and `ball_min`, on a small
//! invented job: good parts are held, and each way to cheat is seen.

mod scene;

use scene::{BORE, COLUMNS, NEAR_FACE, OUTSIDE, Recipe, UPPER_CUT, area_true, bore_scene, turn};
use spile_mesh::{DVec3, Mesh};
use spile_proof::{LimitResult, Proof, Verdict, judge};

fn proof(scene: &scene::Scene) -> Proof {
    judge(std::slice::from_ref(&scene.scan), &scene.part, &scene.case).expect("inputs that fit")
}

fn limit<'a>(proof: &'a Proof, name: &str, end: Option<&str>) -> &'a LimitResult {
    let is_it = |r: &&LimitResult| r.name == name && r.end.as_deref() == end;
    proof.limits.iter().find(is_it).unwrap_or_else(|| panic!("no {name} at {end:?}: {proof:#?}"))
}

/// A case with all three limits asked.
fn asked(mut scene: scene::Scene) -> scene::Scene {
    scene.case.limits.wall_min = Some(1.8);
    scene.case.limits.bore_loss = Some(0.01);
    scene.case.limits.ball_min = Some(17.5);
    scene
}

/// The part with its points moved in the tube's own frame.
fn moved(scene: &scene::Scene, to: impl Fn(DVec3) -> DVec3) -> scene::Scene {
    let shift = scene::place(DVec3::ZERO);
    let back = |p: DVec3| {
        let axes = [turn(DVec3::X), turn(DVec3::Y), turn(DVec3::Z)];
        let q = p - shift;
        DVec3::new(q.dot(axes[0]), q.dot(axes[1]), q.dot(axes[2]))
    };
    let points = (scene.part.points().iter())
        .map(|&p| {
            let own = back(p);
            let new = to(own);
            if new == own { p } else { scene::place(new) }
        })
        .collect();
    let part = Mesh::new(points, scene.part.triangles().to_vec()).expect("the same triangles");
    scene::Scene { part, ..scene.clone() }
}

#[test]
fn a_good_part_is_held() {
    let proof = proof(&asked(scene::scene(Recipe::default())));
    for (name, end) in [
        ("wall_min", "upper"),
        ("bore_loss", "upper"),
        ("bore_loss", "lower"),
        ("ball_min", "upper"),
    ] {
        let result = limit(&proof, name, Some(end));
        assert_eq!(result.verdict, Verdict::Held, "{result:#?}");
    }
    let upper = &proof.ends[0];
    assert_eq!(upper.name, "upper");
    assert!(upper.stations.windows(2).all(|p| p[0].s <= p[1].s));
    let last = upper.stations.last().unwrap();
    // The curve is straight here: it ends at the fitting's near face, whose
    // polygon has the circle's area (check-values, section 5).
    assert!((last.s - (NEAR_FACE - UPPER_CUT)).abs() < 0.01);
    let circle = std::f64::consts::PI * BORE * BORE;
    assert!((last.area_part.unwrap() / circle - 1.0).abs() < 1e-5);
    assert_eq!(last.area_scan, None);
    let apothem = area_true(BORE) * (std::f64::consts::PI / COLUMNS as f64).cos();
    assert!((last.inscribed_diameter.unwrap() - 2.0 * apothem).abs() < 0.01);
    // The scan's rows have their corners on the circle with noise of 0.02, so they
    // are narrower than the fitting: the ball's bounds must close in on them.
    let ball = limit(&proof, "ball_min", Some("upper")).bounds.unwrap();
    let rows = [BORE - 0.02, BORE].map(|r| 2.0 * r * (std::f64::consts::PI / COLUMNS as f64).cos());
    assert!(ball[0] > rows[0] - 0.02 && ball[0] <= rows[1], "{ball:?}");
    assert!(ball[1] < 2.0 * apothem && ball[1] - ball[0] < 0.03, "{ball:?}");
}

#[test]
fn a_waist_in_the_joint_is_seen() {
    let good = asked(scene::scene(Recipe::default()));
    let waist = moved(&good, |p| {
        let is_bore = p.x.hypot(p.y) < 0.5 * (BORE + OUTSIDE);
        let factor = if is_bore && (p.z - 36.0).abs() < 0.5 { 0.99 } else { 1.0 };
        DVec3::new(p.x * factor, p.y * factor, p.z)
    });
    let proof = proof(&waist);
    let loss = limit(&proof, "bore_loss", Some("upper"));
    assert_eq!(loss.verdict, Verdict::Broken);
    // Closed form: the radius is 1 % less at 36, the limit is the smaller of the
    // fitting's circle and the scan's polygon of corner radius 9 with its noise.
    let share = loss.measured.unwrap();
    assert!((0.015..0.022).contains(&share), "{share}");
    let ball = limit(&proof, "ball_min", Some("upper")).bounds.unwrap();
    let apothem = (std::f64::consts::PI / COLUMNS as f64).cos();
    assert!(ball[0] < 2.0 * BORE * 0.9925 * apothem, "{ball:?}");
}

#[test]
fn replaced_scan_that_shrank_is_seen() {
    let good = asked(scene::scene(Recipe::default()));
    // Inside the deviation limit of 0.1, yet narrower than 1 % of area.
    let shrunk = moved(&good, |p| {
        let is_bore = p.x.hypot(p.y) < 0.5 * (BORE + OUTSIDE);
        let factor = if is_bore && (p.z - 26.3).abs() < 0.1 { 1.0 - 0.07 / BORE } else { 1.0 };
        DVec3::new(p.x * factor, p.y * factor, p.z)
    });
    let proof = proof(&shrunk);
    let loss = limit(&proof, "bore_loss", Some("upper"));
    assert_eq!(loss.verdict, Verdict::Broken, "{loss:#?}");
    assert!((0.013..0.018).contains(&loss.measured.unwrap()), "{loss:#?}");
    assert_eq!(limit(&proof, "deviation", Some("upper")).verdict, Verdict::Held);
}

#[test]
fn a_thin_joint_and_thin_replaced_scan_are_seen() {
    let good = asked(scene::scene(Recipe::default()));
    let thinned = |from: f64, to: f64, by: f64| {
        let part = moved(&good, |p| {
            let r = p.x.hypot(p.y);
            let is_there = r > 0.5 * (BORE + OUTSIDE) && p.z > from && p.z < to;
            let factor = if is_there { 1.0 - by / r } else { 1.0 };
            DVec3::new(p.x * factor, p.y * factor, p.z)
        });
        let proof = proof(&part);
        limit(&proof, "wall_min", Some("upper")).clone()
    };
    let joint = thinned(35.0, 37.0, 0.3);
    assert_eq!(joint.verdict, Verdict::Broken);
    // Closed form: parallel faces 2 apart less 0.3, less what the columns' faces
    // (apothem) and the noise-free rows leave.
    assert!((1.65..1.71).contains(&joint.measured.unwrap()), "{joint:#?}");
    // Under wall_min 1.8 only where the scan has more: replaced scan thinner than
    // it is broken though the joint holds.
    let replaced = thinned(25.0, 27.0, 0.3);
    assert_eq!(replaced.verdict, Verdict::Broken, "{replaced:#?}");
    assert!(replaced.how.contains("replaced scan is thinner"), "{replaced:#?}");
}

#[test]
fn a_wall_limit_above_the_scans_own_wall_holds_only_near_the_seam() {
    let mut scene = asked(scene::scene(Recipe::default()));
    // The scan is about 2 thick: 2.2 holds near its seam, and nowhere else.
    scene.case.limits.wall_min = Some(2.2);
    let far = limit(&proof(&scene), "wall_min", Some("upper")).clone();
    assert_eq!(far.verdict, Verdict::Broken);
    let thick = moved(&scene, |p| {
        let r = p.x.hypot(p.y);
        // The joint's outside grows to 2.4 over the first 4 from the seam.
        let grown = ((p.z - UPPER_CUT) / 4.0).clamp(0.0, 1.0) * 0.4;
        let is_outside = r > 0.5 * (BORE + OUTSIDE) && p.z > UPPER_CUT + 0.5 && p.z < 41.0;
        let factor = if is_outside { 1.0 + grown / r } else { 1.0 };
        DVec3::new(p.x * factor, p.y * factor, p.z)
    });
    let near = limit(&proof(&thick), "wall_min", Some("upper")).clone();
    // At the fitting the wall is the fitting's, about 2: broken there, not at the seam.
    let at = DVec3::from_array(near.where_.unwrap()) - scene::place(DVec3::ZERO);
    assert!(at.dot(turn(DVec3::Z)) > 40.0, "{near:#?}");
    assert!(near.how.contains("this applied"), "{near:#?}");
}

#[test]
fn form_bore_is_judged_everywhere() {
    let mut scene = asked(bore_scene(Recipe::default()));
    scene.case.limits.wall_min = Some(1.9);
    let whole = proof(&scene);
    let result = limit(&whole, "wall_min", None);
    assert_eq!(result.verdict, Verdict::Held, "{result:#?}");
    // A dent of the made outside far from every joint.
    let dented = moved(&scene, |p| {
        let is_there = p.x.hypot(p.y) > 10.5 && (p.z - 12.0).abs() < 0.1 && p.x > 10.9;
        if is_there { DVec3::new(p.x - 0.5, p.y, p.z) } else { p }
    });
    let result = limit(&proof(&dented), "wall_min", None).clone();
    assert_eq!(result.verdict, Verdict::Broken);
    assert!((result.measured.unwrap() - 1.5).abs() < 0.06, "{result:#?}");
}

#[test]
fn a_limit_of_zero_allows_what_rounding_takes() {
    let mut scene = asked(scene::scene(Recipe::default()));
    scene.case.limits.bore_loss = Some(0.0);
    // At the plain end nothing moved: the same triangles up to rounding.
    let result = limit(&proof(&scene), "bore_loss", Some("lower")).clone();
    assert_eq!(result.verdict, Verdict::Held, "{result:#?}");
    assert!(result.how.contains("a limit of 0 is held"), "{result:#?}");
    let upper = limit(&proof(&scene), "bore_loss", Some("upper")).clone();
    assert_eq!(upper.verdict, Verdict::Broken, "the smoothed rows lose the noise: {upper:#?}");
}
