//! A settled case that does not fit the part.

use super::*;

#[test]
fn a_fitting_turned_in_the_case_is_seen() {
    let mut s = scene(Recipe::default());
    let axis = scene::turn(DVec3::Z);
    let tilted = (axis + 0.003 * axis.any_orthonormal_vector()).normalize();
    let Some(Place::At { along, .. }) = &mut s.case.ends[0].place else { panic!("settled") };
    *along = tilted.to_array();
    assert_eq!(verdict(&proof(&s), "fitting", UPPER), Verdict::Broken);
}

#[test]
fn a_seam_that_is_no_loop_of_the_part_is_not_believed() {
    let mut s = scene(Recipe::default());
    s.case.ends[0].seam.as_mut().unwrap().bore.swap(3, 9);
    let p = proof(&s);
    assert_eq!(verdict(&p, "deviation", UPPER), Verdict::NotJudged);
    assert_eq!(verdict(&p, "seam", UPPER), Verdict::NotJudged);
    assert_eq!(p.verdict, Verdict::Broken);
    let mut s = scene(Recipe::default());
    let point = &mut s.case.ends[0].seam.as_mut().unwrap().outside[3];
    point[0] = next_f32(point[0]);
    assert_eq!(verdict(&proof(&s), "kink", UPPER), Verdict::NotJudged);
    let mut s = scene(Recipe::default());
    s.case.ends[0].seam = Some(spile_case::Seam::default());
    assert_eq!(verdict(&proof(&s), "seam", UPPER), Verdict::NotJudged);
}

#[test]
fn seams_that_swap_bore_and_outside_are_not_believed() {
    let mut s = scene(Recipe::default());
    let seam = s.case.ends[0].seam.as_mut().unwrap();
    std::mem::swap(&mut seam.bore, &mut seam.outside);
    let p = proof(&s);
    assert_eq!(verdict(&p, "deviation", UPPER), Verdict::NotJudged, "{:#?}", p.limits);
}

#[test]
fn a_seam_claimed_deeper_than_it_is_does_not_hide_a_bump() {
    // The row at 28.3 claimed as the seam: what is above would be joint, where
    // the deviation is not asked.
    let mut s = scene(Recipe { bump: 0.0, ..Recipe::default() });
    let row: Vec<[f64; 3]> = {
        let p = |i: usize| {
            let a = std::f64::consts::TAU * i as f64 / scene::COLUMNS as f64;
            scene::place(DVec3::new(scene::BORE * a.cos(), scene::BORE * a.sin(), 28.3))
        };
        (0..scene::COLUMNS).map(|i| p(i).to_array()).collect()
    };
    s.case.ends[0].seam.as_mut().unwrap().bore = row;
    let p = proof(&s);
    assert_eq!(verdict(&p, "seam", UPPER), Verdict::Broken);
    assert_eq!(verdict(&p, "deviation", UPPER), Verdict::Broken);
}

#[test]
fn an_unsettled_case_is_sent_back() {
    let mut s = scene(Recipe::default());
    s.case.ends[1].seam = None;
    let answer = judge(std::slice::from_ref(&s.scan), &s.part, &s.case);
    assert_eq!(answer, Err(ProofError::NotSettled { end: "lower".into(), missing: "seam" }));
}
