//! What must not change.

use super::*;

#[test]
fn a_kept_point_moved_by_one_step_of_f32_is_seen() {
    let good = scene(Recipe::default());
    let moved = edited(&good, |points, _| points[10].y = next_f32(points[10].y));
    assert_eq!(verdict(&proof(&moved), "untouched", None), Verdict::Broken);
}

#[test]
fn a_split_triangle_beyond_reach_is_seen() {
    let good = scene(Recipe::default());
    // Still closed and in the same place, but no longer the scan's triangle.
    let split = edited(&good, |points, triangles| {
        let [a, b, c] = triangles[0];
        let middle = [a, b, c].iter().map(|&p| points[p as usize]).sum::<DVec3>() / 3.0;
        points.push(spile_mesh::round_to_f32(middle));
        let m = points.len() as u32 - 1;
        triangles[0] = [a, b, m];
        triangles.extend([[b, c, m], [c, a, m]]);
    });
    assert_eq!(verdict(&proof(&split), "untouched", None), Verdict::Broken);
}

#[test]
fn a_keep_where_scan_was_replaced_is_seen() {
    let mut s = scene(Recipe::default());
    let at = scene::place(DVec3::new(scene::BORE, 0.0, 27.0)).to_array();
    s.case.keeps.push(Keep::Ball(Ball { at, radius: 0.5 }));
    assert_only(&proof(&s), &[("untouched", None)]);
    let mut far = scene(Recipe::default());
    let at = scene::place(DVec3::new(scene::BORE, 0.0, 15.0)).to_array();
    far.case.keeps.push(Keep::Ball(Ball { at, radius: 3.0 }));
    assert_eq!(proof(&far).verdict, Verdict::Held);
}
