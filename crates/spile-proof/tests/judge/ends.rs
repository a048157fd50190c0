//! Seams, deviation, kinks and fittings.

use super::*;

#[test]
fn a_seam_off_the_plane_is_seen() {
    let s = scene(Recipe { seam_lift: 0.15, ..Recipe::default() });
    let p = proof(&s);
    assert_eq!(verdict(&p, "seam", UPPER), Verdict::Broken);
    assert_eq!(
        proof(&scene(Recipe { seam_lift: 0.05, ..Recipe::default() })).verdict,
        Verdict::Held
    );
    assert_eq!(
        proof(&scene(Recipe { seam_lift: -0.05, ..Recipe::default() })).verdict,
        Verdict::Held
    );
}

#[test]
fn a_seam_far_below_the_plane_is_missing_material() {
    let p = proof(&scene(Recipe { seam_lift: -1.0, ..Recipe::default() }));
    assert_eq!(verdict(&p, "seam", UPPER), Verdict::Broken);
    assert_eq!(verdict(&p, "deviation", UPPER), Verdict::Broken);
}

#[test]
fn a_bump_on_replaced_scan_is_seen() {
    let p = proof(&scene(Recipe { bump: 0.15, ..Recipe::default() }));
    assert_eq!(verdict(&p, "deviation", UPPER), Verdict::Broken);
    let p = proof(&scene(Recipe { bump: -0.15, ..Recipe::default() }));
    assert_eq!(verdict(&p, "deviation", UPPER), Verdict::Broken);
}

#[test]
fn the_deviation_is_allowed_to_either_side() {
    // check-values section 0: a limit d is a surface profile of 2 d, so a surface
    // may lie 0.1 to one side or to the other, not 0.05. The scan's noise is 0.02.
    for bump in [0.07, -0.07] {
        let p = proof(&scene(Recipe { bump, ..Recipe::default() }));
        assert_eq!(verdict(&p, "deviation", UPPER), Verdict::Held, "{bump}");
    }
    for bump in [0.13, -0.13] {
        let p = proof(&scene(Recipe { bump, ..Recipe::default() }));
        assert_eq!(verdict(&p, "deviation", UPPER), Verdict::Broken, "{bump}");
    }
}

#[test]
fn a_piece_that_left_its_plane_at_a_plain_end_is_seen() {
    let p = proof(&scene(Recipe { plain_push: 0.001, ..Recipe::default() }));
    assert_only(&p, &[("deviation", LOWER)]);
}

#[test]
fn a_shifted_fitting_is_seen() {
    for shift in [DVec3::X, DVec3::Y, DVec3::Z, -DVec3::Z] {
        let s = scene(Recipe { fitting_shift: 0.06 * shift, ..Recipe::default() });
        assert_eq!(verdict(&proof(&s), "fitting", UPPER), Verdict::Broken, "{shift}");
    }
}

#[test]
fn a_fitting_of_another_length_is_seen() {
    for length in [scene::LENGTH + 0.06, scene::LENGTH - 0.06, scene::LENGTH - 5.0] {
        let s = scene(Recipe { length, ..Recipe::default() });
        assert_eq!(verdict(&proof(&s), "fitting", UPPER), Verdict::Broken, "{length}");
    }
}

#[test]
fn corners_on_the_circle_make_the_bore_too_narrow() {
    // check-values section 0: an inscribed polygon is narrower than its circle.
    let on_circle = scene::BORE / scene::area_true(scene::BORE);
    let s = scene(Recipe { fitting_bore_scale: on_circle, ..Recipe::default() });
    assert_only(&proof(&s), &[("fitting", UPPER)]);
}

#[test]
fn a_kink_at_the_seam_is_seen() {
    // One millimetre outward over two: about 26 degrees.
    let p = proof(&scene(Recipe { joint_bulge: 1.0, ..Recipe::default() }));
    assert_eq!(verdict(&p, "kink", UPPER), Verdict::Broken);
    assert_eq!(verdict(&p, "deviation", UPPER), Verdict::Held);
}

#[test]
fn a_needle_at_the_seam_is_seen() {
    let p = proof(&scene(Recipe { first_row: 0.1, ..Recipe::default() }));
    assert_eq!(verdict(&p, "seam_height", UPPER), Verdict::Broken);
}

#[test]
fn a_ring_that_bulges_out_of_a_plain_end_is_seen() {
    let good = scene(Recipe::default());
    let bulged = edited(&good, |points, triangles| {
        // The first ring triangle gets a point half a millimetre below the plane.
        let low = scene::place(DVec3::new(10.0, 0.6, 4.5));
        let in_plane =
            |p: DVec3| (p - DVec3::from_array([3.0, -7.0, 12.0])).dot(scene::turn(DVec3::Z));
        let i = triangles
            .iter()
            .position(|t| t.iter().all(|&p| (in_plane(points[p as usize]) - 5.0).abs() < 1e-4))
            .expect("a ring triangle");
        let [a, b, c] = triangles[i];
        points.push(low);
        let m = points.len() as u32 - 1;
        triangles[i] = [a, b, m];
        triangles.extend([[b, c, m], [c, a, m]]);
    });
    assert_eq!(verdict(&proof(&bulged), "seam", LOWER), Verdict::Broken);
}
