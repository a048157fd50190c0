//! A list of attacks on a held part of a real scan; each must end broken by the
//! limit that it offends. The longer list, on an invented scene, is with the prover.

use rayon::prelude::*;
use spile_case::{Ball, Case, Fitting, Keep, Mend, MendKind, Place, Site};
use spile_mesh::{DVec3, Mesh};
use spile_proof::Verdict;

use crate::made::{Made, judged, offended, trachea};

/// An attack: the part, the settled case, and the limit that must see it.
type Attack = (&'static str, Mesh, Case, &'static str);

fn next_f32(x: f64) -> f64 {
    f64::from((x as f32).next_up())
}

/// The triangle of the joint nearest `near`, among those that hang with `seam`.
fn joint_triangle(made: &Made, seam: &[u32], near: DVec3) -> usize {
    let middle = |t: usize| made.part.corners(t).iter().sum::<DVec3>() / 3.0;
    (made.new_beside(seam).into_iter())
        .filter(|&t| made.part.corners(t).iter().all(|&p| made.over_cut(p) > -0.01))
        .min_by(|&a, &b| middle(a).distance(near).total_cmp(&middle(b).distance(near)))
        .expect("a joint")
}

/// A triangle gets a point in its middle, pushed into the wall: its corners stay.
fn dented(made: &Made, t: usize, by: f64) -> Mesh {
    made.edited(|points, triangles| {
        let [a, b, c] = triangles[t];
        let [pa, pb, pc] = [a, b, c].map(|p| points[p as usize]);
        let inward = -(pb - pa).cross(pc - pa).normalize();
        points.push((pa + pb + pc) / 3.0 + by * inward);
        let m = points.len() as u32 - 1;
        triangles[t] = [a, b, m];
        triangles.extend([[b, c, m], [c, a, m]]);
    })
}

fn tampered(made: &Made) -> Vec<Attack> {
    let (at, along, length) = made.fitting();
    let is_scan = made.scan_points();
    let place = |i: usize| made.part.points()[i];
    let in_fitting = |i: usize| made.over_face(place(i)) > -1e-3;
    let at_far_face = |i: usize| made.over_face(place(i)) > length - 0.1;
    // In the middle of the scan that is kept, a tooth's width from either end.
    let kept = (0..is_scan.len())
        .find(|&i| is_scan[i] && (-40.0..-30.0).contains(&made.over_cut(place(i))))
        .expect("kept scan");
    let thinnest = judged(made, &made.part, &made.settled)
        .limits
        .iter()
        .find(|l| l.name == "wall_min")
        .and_then(|l| l.where_)
        .map_or(at, DVec3::from_array);
    let [bore, outside] = made.seams();
    let thin = [&bore, &outside].map(|seam| joint_triangle(made, seam, thinnest));
    let joint: Vec<u32> = (made.new_beside(&bore).into_iter())
        .flat_map(|t| made.part.triangles()[t])
        .filter(|&p| {
            made.over_cut(place(p as usize)) > 1.0 && made.over_face(place(p as usize)) < -1.0
        })
        .collect();
    // The joint must not be narrower than the narrower of scan and fitting, here
    // 180 of the fitting's 201 mm^2: seven parts in a hundred off the radius are too many.
    let in_band =
        |i: usize| (made.over_face(place(i)) + 1.5).abs() < 0.4 && joint.contains(&(i as u32));
    let drawn_in = |p: DVec3| {
        let on_axis = at + made.over_face(p) * along;
        on_axis + 0.93 * (p - on_axis)
    };
    let side = along.any_orthonormal_vector();
    let turned = |p: DVec3| p + 0.002 * made.over_face(p) * side;
    let same = made.settled.clone();
    let parts = vec![
        (
            "a kept point one step of f32 off",
            made.edited(|p, _| p[kept].x = next_f32(p[kept].x)),
            "untouched",
        ),
        ("a triangle turned over", made.edited(|_, t| t[1000].swap(0, 1)), "closed"),
        ("a triangle gone", made.edited(|_, t| t.truncate(t.len() - 1)), "closed"),
        ("a second shell", made.edited(second_shell), "closed"),
        (
            "the bore's wall thinned by 0.2 inside a triangle",
            dented(made, thin[0], 0.2),
            "wall_min",
        ),
        (
            "the outside's wall thinned by 0.2 inside a triangle",
            dented(made, thin[1], 0.2),
            "wall_min",
        ),
        ("a waist between two stations", made.moved(in_band, drawn_in), "bore_loss"),
        (
            "the fitting set off by twice the chord",
            made.moved(in_fitting, |p| p + 0.02 * side),
            "fitting",
        ),
        ("the fitting cut short", made.moved(at_far_face, |p| p - 0.02 * along), "fitting"),
        ("the fitting turned", made.moved(in_fitting, turned), "fitting"),
    ];
    parts.into_iter().map(|(name, part, limit)| (name, part, same.clone(), limit)).collect()
}

fn second_shell(points: &mut Vec<DVec3>, triangles: &mut Vec<[u32; 3]>) {
    let (first, corner) = (points.len() as u32, points[0] + DVec3::splat(300.0));
    points.extend([corner, corner + DVec3::X, corner + DVec3::Y, corner + DVec3::Z]);
    triangles.extend([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]].map(|t| t.map(|p| p + first)));
}

/// The seam led round the third corner of a triangle on one side of one of its
/// edges, so that this triangle counts for the other side.
fn seam_round_a_triangle(made: &Made, case: &mut Case, toward_joint: bool) {
    let [bore, _] = made.seams();
    let place = |p: u32| made.part.points()[p as usize];
    let (i, apex) = (0..bore.len())
        .find_map(|i| {
            let (a, b) = (bore[i], bore[(i + 1) % bore.len()]);
            let triangles = made.part.triangles().iter();
            let apex = triangles
                .filter(|t| t.contains(&a) && t.contains(&b))
                .filter_map(|t| t.iter().copied().find(|p| *p != a && *p != b))
                .find(|&p| {
                    (made.over_cut(place(p)) > 0.11) == toward_joint
                        && made.over_cut(place(p)).abs() > 0.11
                        && !bore.contains(&p)
                })?;
            Some((i, apex))
        })
        .expect("an edge of the seam with such a triangle");
    let seam = case.ends[0].seam.as_mut().unwrap();
    seam.bore.insert(i + 1, place(apex).to_array());
}

fn lied(made: &Made) -> Vec<Attack> {
    let with = |change: &dyn Fn(&mut Case)| {
        let mut case = made.settled.clone();
        change(&mut case);
        case
    };
    let shift_cut = |by: f64| {
        move |c: &mut Case| {
            let Site::Cut(cut) = &mut c.ends[0].site else { panic!("a cut") };
            let facing = DVec3::from_array(cut.facing).normalize();
            cut.through = (DVec3::from_array(cut.through) + by * facing).to_array();
        }
    };
    let replaced = made.settled.ends[0].seam.as_ref().unwrap().outside[7];
    let cases = vec![
        (
            "a seam that gives joint to the scan",
            with(&|c| seam_round_a_triangle(made, c, true)),
            "seam",
        ),
        (
            "a seam that gives scan to the joint",
            with(&|c| seam_round_a_triangle(made, c, false)),
            "seam",
        ),
        (
            "the seams of bore and outside swapped",
            with(&|c| {
                let seam = c.ends[0].seam.as_mut().unwrap();
                std::mem::swap(&mut seam.bore, &mut seam.outside);
            }),
            "deviation",
        ),
        (
            "a mend where nothing was wrong",
            with(&|c| {
                c.mends
                    .push(Mend { kind: MendKind::Hole, ball: Ball { at: replaced, radius: 3.0 } })
            }),
            "mends",
        ),
        (
            "a keep on what was replaced",
            with(&|c| c.keeps.push(Keep::Ball(Ball { at: replaced, radius: 1.0 }))),
            "untouched",
        ),
        ("a cut claimed half a millimetre higher", with(&shift_cut(0.5)), "case"),
        ("a larger reach", with(&|c| c.ends[0].reach = Some(15.0)), "case"),
        ("a limit dropped", with(&|c| c.limits.bore_loss = None), "case"),
        ("a limit loosened", with(&|c| c.limits.deviation = 0.2), "case"),
        ("the keep forgotten", with(&|c| c.keeps.clear()), "case"),
        (
            "a fitting claimed longer",
            with(&|c| {
                let Some(Fitting::Tube { length, .. }) = &mut c.ends[0].fitting else {
                    panic!("a tube")
                };
                *length += 0.02;
            }),
            "fitting",
        ),
        (
            "a fitting claimed elsewhere",
            with(&|c| {
                let Some(Place::At { at, .. }) = &mut c.ends[0].place else { panic!("settled") };
                at[0] += 0.02;
            }),
            "fitting",
        ),
    ];
    cases.into_iter().map(|(name, case, limit)| (name, made.part.clone(), case, limit)).collect()
}

#[test]
fn every_attack_on_a_real_part_ends_broken_by_the_limit_that_it_offends() {
    let made = trachea();
    let own = judged(made, &made.part, &made.settled);
    assert_eq!((own.verdict, offended(&own)), (Verdict::Held, Vec::new()));
    let attacks: Vec<Attack> = tampered(made).into_iter().chain(lied(made)).collect();
    let slipped: Vec<String> = attacks
        .par_iter()
        .filter_map(|(name, part, settled, limit)| {
            let proof = judged(made, part, settled);
            let bad = offended(&proof);
            let seen = proof.verdict == Verdict::Broken && bad.iter().any(|b| b == limit);
            (!seen).then(|| format!("{name}: {:?}, {bad:?}", proof.verdict))
        })
        .collect();
    assert!(slipped.is_empty(), "{slipped:#?}");
}
