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

#[test]
fn a_changed_piece_on_neither_side_comes_to_an_end() {
    // Spreading `neither` from kept to new triangles of a void once went round
    // for ever.
    let with_void = |mesh: &Mesh, split: bool| {
        let (mut points, mut triangles) = mesh.clone().into_parts();
        let first = points.len() as u32;
        let at = DVec3::new(9.8, 0.0, 15.0);
        let corners = [DVec3::ZERO, DVec3::X, DVec3::Y, DVec3::Z, DVec3::splat(0.1)];
        points.extend(corners.map(|c| scene::place(at + 0.3 * c)));
        let faces = [[0, 1, 2], [0, 3, 1], [0, 2, 3], [1, 3, 2]];
        triangles.extend(faces.map(|t| t.map(|p: u32| p + first)));
        if split {
            triangles.pop();
            triangles.extend([[1, 3, 4], [3, 2, 4], [2, 1, 4]].map(|t| t.map(|p: u32| p + first)));
        }
        Mesh::new(points, triangles).expect("a mesh")
    };
    let good = scene(Recipe::default());
    let s = Scene { scan: with_void(&good.scan, false), part: with_void(&good.part, true), ..good };
    assert_eq!(verdict(&proof(&s), "untouched", None), Verdict::Broken);
}
