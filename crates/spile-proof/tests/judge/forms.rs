//! Forms of scan and kinds of end.

use super::*;

#[test]
fn a_made_outside_is_held_and_its_spoilt_bore_is_not() {
    let good = scene::bore_scene(Recipe::default());
    let p = proof(&good);
    assert_eq!(offended(&p), vec![], "{:#?}", p.limits);
    let p = proof(&scene::bore_scene(Recipe { bump: 0.15, ..Recipe::default() }));
    assert_eq!(verdict(&p, "deviation", UPPER), Verdict::Broken);
    let p = proof(&scene::bore_scene(Recipe { seam_lift: 0.15, ..Recipe::default() }));
    assert_eq!(verdict(&p, "seam", UPPER), Verdict::Broken);
    let moved = edited(&good, |points, _| points[10].y = next_f32(points[10].y));
    assert_eq!(verdict(&proof(&moved), "untouched", None), Verdict::Broken);
}

#[test]
fn two_sheets_are_judged_as_one_shell_is() {
    let mut s = scene(Recipe::default());
    s.case.scan.form = spile_case::Form::Sheets;
    s.case.scan.files.push("outer.stl".into());
    let [inner, outer] = scene::walls();
    let p = judge(&[inner.clone(), outer.clone()], &s.part, &s.case).unwrap();
    assert_eq!(offended(&p), vec![], "{:#?}", p.limits);
    // Files in the wrong order: the inner one runs round the outer one.
    let p = judge(&[outer, inner.clone()], &s.part, &s.case).unwrap();
    assert_eq!(p.verdict, Verdict::Broken);
    let answer = judge(&[inner], &s.part, &s.case);
    assert_eq!(answer, Err(ProofError::ScanFiles { needed: 2, given: 1 }));
}

/// The upper end at the scan's own rim at 40.3, trimmed down to 30.
fn rim_scene(recipe: Recipe, trim: f64) -> Scene {
    let mut s = scene(recipe);
    let near = scene::place(DVec3::new(scene::BORE, 0.0, 41.0)).to_array();
    let facing = Some(scene::turn(DVec3::Z).to_array());
    s.case.ends[0].site = spile_case::Site::Rim(spile_case::Rim { near, trim: Some(trim), facing });
    s
}

#[test]
fn a_trimmed_rim_is_held_within_trim_only() {
    let p = proof(&rim_scene(Recipe::default(), 10.4));
    assert_eq!(offended(&p), vec![], "{:#?}", p.limits);
    let p = proof(&rim_scene(Recipe::default(), 10.2));
    assert_eq!(verdict(&p, "seam", UPPER), Verdict::Broken);
    let p = proof(&rim_scene(Recipe { bump: 0.15, ..Recipe::default() }, 10.4));
    assert_eq!(verdict(&p, "deviation", UPPER), Verdict::Broken);
}

#[test]
fn a_facing_that_points_into_the_scan_is_not_believed() {
    let mut s = rim_scene(Recipe::default(), 10.4);
    let spile_case::Site::Rim(rim) = &mut s.case.ends[0].site else { panic!("a rim") };
    rim.facing = Some(scene::turn(-DVec3::Z).to_array());
    assert_eq!(verdict(&proof(&s), "deviation", UPPER), Verdict::NotJudged);
}

/// The plain lower end at the scan's own rim at the bottom, trimmed off up to
/// the plane at 5.
fn plain_rim_scene(trim: f64) -> Scene {
    let mut s = scene(Recipe::default());
    let bottom = scene::row_height(0);
    let near = scene::place(DVec3::new(scene::BORE, 0.0, bottom)).to_array();
    let facing = Some(scene::turn(-DVec3::Z).to_array());
    s.case.ends[1].site = spile_case::Site::Rim(spile_case::Rim { near, trim: Some(trim), facing });
    s
}

#[test]
fn a_plain_end_at_a_rim_changes_what_its_seam_runs_through_and_no_more() {
    let trimmed = scene::LOWER_CUT - scene::row_height(0);
    let p = proof(&plain_rim_scene(trimmed + 0.1));
    assert_eq!(offended(&p), vec![], "{:#?}", p.limits);
    let p = proof(&plain_rim_scene(trimmed - 0.1));
    assert_eq!(verdict(&p, "seam", Some("lower")), Verdict::Broken);
    // A scan point just above the pieces, moved by one step of its coordinates.
    let lowest = |s: &Scene| {
        let height = |p: &DVec3| scene::turn(DVec3::Z).dot(*p - scene::place(DVec3::ZERO));
        let above = |p: &DVec3| height(p) > scene::LOWER_CUT + 1e-3;
        let all = s.part.points().iter().enumerate().filter(|(_, p)| above(p));
        all.min_by(|a, b| height(a.1).total_cmp(&height(b.1))).unwrap().0
    };
    let good = plain_rim_scene(trimmed + 0.1);
    let at = lowest(&good);
    let moved = edited(&good, |points, _| points[at].y = next_f32(points[at].y));
    assert_eq!(verdict(&proof(&moved), "untouched", None), Verdict::Broken);
}

#[test]
fn a_seam_that_waves_at_a_rim_is_not_judged_by_its_plane() {
    // One column's seam point drawn half a millimetre down: the seam's best plane
    // no longer parts what was replaced from what was given up.
    let good = rim_scene(Recipe::default(), 10.9);
    assert_eq!(offended(&proof(&good)), vec![]);
    let down = |p: [f64; 3]| {
        spile_mesh::round_to_f32(DVec3::from_array(p) - 0.5 * scene::turn(DVec3::Z)).to_array()
    };
    let at = good.case.ends[0].seam.as_ref().unwrap().bore[9];
    let mut waved = edited(&good, |points, _| {
        let i = points.iter().position(|p| p.to_array() == at).expect("the seam's point");
        points[i] = DVec3::from_array(down(at));
    });
    waved.case.ends[0].seam.as_mut().unwrap().bore[9] = down(at);
    assert_eq!(verdict(&proof(&waved), "deviation", UPPER), Verdict::NotJudged);
}
