//! A list of attacks: each spoils a part that is held, with every limit asked,
//! in a way that one limit must see. What else it breaks does not matter.

use super::*;
use scene::{BORE, COLUMNS, LOWER_CUT, NEAR_FACE, OUTSIDE, UPPER_CUT, turn};

/// The good scene with every limit asked.
pub(crate) fn asked() -> Scene {
    let mut s = scene(Recipe::default());
    s.case.limits.wall_min = Some(1.8);
    s.case.limits.bore_loss = Some(0.01);
    s.case.limits.ball_min = Some(17.5);
    s
}

fn without(triangles: &mut Vec<[u32; 3]>, t: usize) {
    triangles.remove(t);
}

/// A point of the part in the tube's own frame.
pub(crate) fn own(p: DVec3) -> DVec3 {
    let q = p - scene::place(DVec3::ZERO);
    DVec3::new(q.dot(turn(DVec3::X)), q.dot(turn(DVec3::Y)), q.dot(turn(DVec3::Z)))
}

pub(crate) fn radius(p: DVec3) -> f64 {
    p.x.hypot(p.y)
}

/// The part with every point for which `wanted` holds (in the own frame) moved.
pub(crate) fn moved(
    s: &Scene,
    wanted: impl Fn(DVec3) -> bool,
    to: impl Fn(DVec3) -> DVec3,
) -> Scene {
    edited(s, |points, _| {
        let mut count = 0;
        for p in points.iter_mut().filter(|p| wanted(own(**p))) {
            *p = scene::place(to(own(*p)));
            count += 1;
        }
        assert!(count > 0, "nothing was moved");
    })
}

pub(crate) fn scaled(p: DVec3, factor: f64) -> DVec3 {
    DVec3::new(factor * p.x, factor * p.y, p.z)
}

/// Points of a row of the bore at this height.
fn on_bore_at(height: f64) -> impl Fn(DVec3) -> bool {
    move |p| (p.z - height).abs() < 1e-3 && (radius(p) - BORE).abs() < 0.5
}

/// A triangle of the joint's bore gets a point in its middle, moved along the
/// radius: the corners, where one would sample, stay.
fn dented(s: &Scene, by: f64) -> Scene {
    edited(s, |points, triangles| {
        let inside = |p: DVec3| (34.0..38.5).contains(&p.z) && radius(p) < BORE + 0.5;
        let i = triangles
            .iter()
            .position(|t| t.iter().all(|&p| inside(own(points[p as usize]))))
            .expect("a triangle of the joint's bore");
        let [a, b, c] = triangles[i];
        let middle = [a, b, c].iter().map(|&p| own(points[p as usize])).sum::<DVec3>() / 3.0;
        points.push(scene::place(scaled(middle, 1.0 + by / radius(middle))));
        let m = points.len() as u32 - 1;
        triangles[i] = [a, b, m];
        triangles.extend([[b, c, m], [c, a, m]]);
    })
}

/// The bore between two neighbouring rows replaced by a plug with a pinhole.
fn with_membrane(s: &Scene, low: f64, high: f64) -> Scene {
    edited(s, |points, triangles| {
        let row = |height: f64| -> Vec<u32> {
            let mut row: Vec<(f64, u32)> = (0..points.len() as u32)
                .filter(|&i| on_bore_at(height)(own(points[i as usize])))
                .map(|i| {
                    let p = own(points[i as usize]);
                    (p.y.atan2(p.x).rem_euclid(std::f64::consts::TAU - 1e-4), i)
                })
                .collect();
            row.sort_by(|a, b| a.0.total_cmp(&b.0));
            row.into_iter().map(|(_, i)| i).collect()
        };
        let rows = [row(low), row(high)];
        assert_eq!(rows.each_ref().map(Vec::len), [COLUMNS; 2]);
        let between = |t: &[u32; 3]| t.iter().all(|p| rows[0].contains(p) || rows[1].contains(p));
        triangles.retain(|t| !between(t));
        let middle = 0.5 * (low + high);
        let mut hole = |z: f64| -> Vec<u32> {
            (0..COLUMNS)
                .map(|i| {
                    let a = std::f64::consts::TAU * i as f64 / COLUMNS as f64;
                    points.push(scene::place(DVec3::new(0.5 * a.cos(), 0.5 * a.sin(), z)));
                    points.len() as u32 - 1
                })
                .collect()
        };
        let [near, far] = [middle - 0.05, middle + 0.05].map(&mut hole);
        for (lower, upper) in [(&rows[0], &near), (&near, &far), (&far, &rows[1])] {
            for i in 0..COLUMNS {
                let j = (i + 1) % COLUMNS;
                triangles.push([lower[i], upper[j], lower[j]]);
                triangles.push([lower[i], upper[i], upper[j]]);
            }
        }
    })
}

/// The plain end's ring drawn in under the bore as a thin membrane: all of it
/// lies within the deviation of the plane.
fn with_drawn_in_ring(s: &Scene) -> Scene {
    let mut s = edited(s, |points, triangles| {
        let in_plane = |p: u32| (own(points[p as usize]).z - LOWER_CUT).abs() < 1e-4;
        triangles.retain(|t| !t.iter().all(|&p| in_plane(p)));
        let loop_of = |outer: bool| -> Vec<u32> {
            let side = |p: DVec3| (radius(p) > 10.0) == outer;
            let mut all: Vec<(f64, u32)> = (0..points.len() as u32)
                .filter(|&i| in_plane(i) && side(own(points[i as usize])))
                .map(|i| {
                    let p = own(points[i as usize]);
                    (p.y.atan2(p.x), i)
                })
                .collect();
            all.sort_by(|a, b| a.0.total_cmp(&b.0));
            all.into_iter().map(|(_, i)| i).collect()
        };
        let (bore, outside) = (loop_of(false), loop_of(true));
        assert_eq!(bore.len(), outside.len());
        let mut drawn = |ring: &[u32], z: f64| -> Vec<u32> {
            ring.iter()
                .map(|&i| {
                    let p = own(points[i as usize]);
                    points.push(scene::place(DVec3::new(0.1 * p.x, 0.1 * p.y, z)));
                    points.len() as u32 - 1
                })
                .collect()
        };
        let above = drawn(&bore, LOWER_CUT);
        let below = drawn(&bore, LOWER_CUT - 0.06);
        for (from, to) in [(&bore, &above), (&above, &below), (&below, &outside)] {
            for i in 0..from.len() {
                let j = (i + 1) % from.len();
                triangles.push([from[i], from[j], to[j]]);
                triangles.push([from[i], to[j], to[i]]);
            }
        }
    });
    // With reach the end's ring may be faired, and so lie off its plane a little.
    s.case.ends[1].reach = Some(4.0);
    s
}

type Attack = (&'static str, Scene, &'static str, Option<&'static str>);

fn on_the_part(good: &Scene) -> Vec<Attack> {
    let first = |s: &Scene, wanted: &dyn Fn(DVec3) -> bool| {
        s.part.points().iter().position(|&p| wanted(own(p))).expect("such a point")
    };
    let kept = first(good, &|p| (p.z - 14.3).abs() < 1e-3);
    let joint_row = on_bore_at(36.0);
    let column = |p: DVec3| p.y.atan2(p.x).abs() < 0.01;
    let recipe = |r: Recipe| Scene { case: good.case.clone(), ..scene(r) };
    let base = Recipe::default();
    let drawn = with_drawn_in_ring(good);
    vec![
        (
            "a kept point one step of f32 off",
            edited(good, |p, _| p[kept].z = next_f32(p[kept].z)),
            "untouched",
            None,
        ),
        ("a triangle turned over", edited(good, |_, t| t[300].swap(1, 2)), "closed", None),
        ("a triangle gone", edited(good, |_, t| without(t, 300)), "closed", None),
        ("a triangle twice", edited(good, |_, t| t.push(t[300])), "closed", None),
        ("a kept triangle gone", edited(good, |_, t| without(t, 100)), "untouched", None),
        ("the wall thinned between the joint's points", dented(good, 0.3), "wall_min", UPPER),
        (
            "the wall thinned at one point",
            moved(good, |p| joint_row(p) && column(p), |p| scaled(p, 1.03)),
            "wall_min",
            UPPER,
        ),
        ("a waist of one row", moved(good, &joint_row, |p| scaled(p, 0.98)), "bore_loss", UPPER),
        (
            "a membrane with a pinhole in the joint",
            with_membrane(good, 36.0, 38.0),
            "bore_loss",
            UPPER,
        ),
        (
            "a membrane with a pinhole in the fitting",
            with_membrane(good, NEAR_FACE, NEAR_FACE + scene::LENGTH),
            "fitting",
            UPPER,
        ),
        (
            "a membrane with a pinhole in replaced scan",
            with_membrane(good, 26.3, 28.3),
            "deviation",
            UPPER,
        ),
        (
            "a ball too large for the joint",
            moved(good, &joint_row, |p| if p.x > 0.0 { p - 0.6 * DVec3::X } else { p }),
            "ball_min",
            UPPER,
        ),
        (
            "a fitting set off",
            recipe(Recipe { fitting_shift: 0.06 * DVec3::X, ..base }),
            "fitting",
            UPPER,
        ),
        (
            "a fitting further on",
            recipe(Recipe { fitting_shift: 0.06 * DVec3::Z, ..base }),
            "fitting",
            UPPER,
        ),
        (
            "a fitting cut short",
            recipe(Recipe { length: scene::LENGTH - 0.1, ..base }),
            "fitting",
            UPPER,
        ),
        (
            "a fitting's far end turned",
            moved(
                good,
                |p| p.z > NEAR_FACE + 1.0,
                |p| p + 0.004 * p.x * DVec3::Z + 0.05 * DVec3::X,
            ),
            "fitting",
            UPPER,
        ),
        (
            "a fitting's bore drawn in at its far end",
            moved(good, |p| p.z > NEAR_FACE + 1.0 && radius(p) < 10.0, |p| scaled(p, 0.999)),
            "fitting",
            UPPER,
        ),
        ("a bump on replaced scan", recipe(Recipe { bump: -0.15, ..base }), "deviation", UPPER),
        (
            "replaced outside thinned",
            moved(good, |p| (p.z - 28.3).abs() < 1e-3 && radius(p) > 10.0, |p| scaled(p, 0.975)),
            "deviation",
            UPPER,
        ),
        ("a kink at the scan's seam", recipe(Recipe { joint_bulge: 0.5, ..base }), "kink", UPPER),
        ("a needle at the seam", recipe(Recipe { first_row: 0.1, ..base }), "seam_height", UPPER),
        (
            "a crease at the far border of reach",
            recipe(Recipe { bump: 0.9, ..base }),
            "kink_border",
            UPPER,
        ),
        ("a seam too high", recipe(Recipe { seam_lift: 0.15, ..base }), "seam", UPPER),
        (
            "a piece off its plane at the plain end",
            recipe(Recipe { plain_push: 0.001, ..base }),
            "deviation",
            LOWER,
        ),
        (
            "the plain end's seam off its plane",
            moved(
                good,
                |p| (p.z - LOWER_CUT).abs() < 1e-4 && column(p) && radius(p) > 10.0,
                |p| p - 0.12 * DVec3::Z,
            ),
            "seam",
            LOWER,
        ),
        ("the plain end's ring drawn in under the bore", drawn, "end_face", LOWER),
    ]
}

fn lies(good: &Scene) -> Vec<Attack> {
    let with = |change: &dyn Fn(&mut spile_case::Case)| {
        let mut s = good.clone();
        change(&mut s.case);
        s
    };
    let along = turn(DVec3::Z);
    let shifted = |p: [f64; 3], by: DVec3| (DVec3::from_array(p) + by).to_array();
    let at_rim = |trim: f64| {
        let near = scene::place(DVec3::new(BORE, 0.0, 41.0)).to_array();
        spile_case::Site::Rim(spile_case::Rim {
            near,
            trim: Some(trim),
            facing: Some(along.to_array()),
        })
    };
    let cut = |through: DVec3, facing: DVec3| {
        let [through, facing] = [scene::place(through), turn(facing)].map(|v| v.to_array());
        spile_case::Site::Cut(spile_case::Cut { through, facing })
    };
    let keep = Keep::Ball(Ball {
        at: scene::place(DVec3::new(OUTSIDE, 0.0, 26.0)).to_array(),
        radius: 1.0,
    });
    vec![
        (
            "a cut claimed higher",
            with(&|c| c.ends[0].site = cut(DVec3::Z * (UPPER_CUT + 0.5), DVec3::Z)),
            "seam",
            UPPER,
        ),
        (
            "a cut claimed turned",
            with(&|c| c.ends[0].site = cut(DVec3::Z * UPPER_CUT, DVec3::new(0.0, 0.05, 1.0))),
            "seam",
            UPPER,
        ),
        (
            "a cut claimed to face the scan",
            with(&|c| c.ends[0].site = cut(DVec3::Z * UPPER_CUT, -DVec3::Z)),
            "untouched",
            None,
        ),
        ("a cut called a rim", with(&|c| c.ends[0].site = at_rim(5.0)), "seam", UPPER),
        ("a smaller reach", with(&|c| c.ends[0].reach = Some(3.0)), "untouched", None),
        ("a keep in the replaced zone", with(&|c| c.keeps.push(keep.clone())), "untouched", None),
        (
            "a keep of another scan",
            with(&|c| {
                c.keeps.push(Keep::Triangles {
                    scan_sha256: String::new(),
                    triangles: vec![4_000_000],
                })
            }),
            "untouched",
            None,
        ),
        (
            "a fitting claimed elsewhere",
            with(&|c| {
                if let Some(Place::At { at, .. }) = &mut c.ends[0].place {
                    *at = shifted(*at, 0.05 * turn(DVec3::X))
                }
            }),
            "fitting",
            UPPER,
        ),
        (
            "a fitting claimed longer",
            with(&|c| {
                c.ends[0].fitting = Some(spile_case::Fitting::Tube {
                    bore: 2.0 * BORE,
                    outside: 2.0 * OUTSIDE,
                    length: scene::LENGTH + 0.05,
                    flange: None,
                })
            }),
            "fitting",
            UPPER,
        ),
        (
            "a fitting claimed wider",
            with(&|c| {
                c.ends[0].fitting = Some(spile_case::Fitting::Tube {
                    bore: 2.0 * BORE + 0.1,
                    outside: 2.0 * OUTSIDE,
                    length: scene::LENGTH,
                    flange: None,
                })
            }),
            "fitting",
            UPPER,
        ),
        (
            "bore and outside of the fitting swapped",
            with(&|c| {
                c.ends[0].fitting = Some(spile_case::Fitting::Tube {
                    bore: 2.0 * OUTSIDE,
                    outside: 2.0 * BORE,
                    length: scene::LENGTH,
                    flange: None,
                })
            }),
            "fitting",
            UPPER,
        ),
        (
            "a fitting whose axis has no direction",
            with(&|c| {
                if let Some(Place::At { along, .. }) = &mut c.ends[0].place {
                    *along = [0.0; 3]
                }
            }),
            "deviation",
            UPPER,
        ),
        (
            "a fitting left out",
            with(&|c| {
                c.ends[0].fitting = None;
                c.ends[0].place = None;
            }),
            "end_face",
            UPPER,
        ),
        (
            "a mend where nothing was wrong",
            with(&|c| {
                c.mends.push(Mend {
                    kind: MendKind::Degenerate,
                    ball: Ball {
                        at: c.ends[0].seam.as_ref().map_or([0.0; 3], |s| s.bore[0]),
                        radius: 4.0,
                    },
                })
            }),
            "mends",
            None,
        ),
        ("another form", with(&|c| c.scan.form = spile_case::Form::Bore), "deviation", UPPER),
    ]
}

pub(crate) fn judged(s: &Scene) -> Proof {
    judge(std::slice::from_ref(&s.scan), &s.part, &s.case).expect("the inputs belong together")
}

#[test]
fn every_attack_ends_broken_by_the_limit_that_it_offends() {
    let good = asked();
    let p = judged(&good);
    assert_eq!(offended(&p), vec![], "{:#?}", p.limits);
    let mut slipped = Vec::new();
    for (name, s, limit, end) in on_the_part(&good).into_iter().chain(lies(&good)) {
        let p = judged(&s);
        let seen = offended(&p).contains(&(limit.to_owned(), end.map(str::to_owned)));
        if p.verdict != Verdict::Broken || !seen {
            slipped.push(format!("{name}: {:?} {:?}", p.verdict, offended(&p)));
        }
    }
    assert!(slipped.is_empty(), "{slipped:#?}");
}

#[test]
fn a_tunnel_through_the_wall_between_two_holes_is_no_ring() {
    // One triangle is missing on each wall at the same place, and the part has a
    // tunnel between them: new surface from a bore rim to an outside rim.
    let good = asked();
    let t = 2 * COLUMNS * 6 + 11;
    let wall = good.scan.triangles().len() / 2;
    let (points, mut triangles) = good.scan.clone().into_parts();
    let holes = [t, t + wall].map(|t| triangles[t].map(|p| points[p as usize]));
    triangles.remove(t + wall);
    triangles.remove(t);
    let mut s = Scene { scan: Mesh::new(points, triangles).expect("a mesh"), ..good.clone() };
    s = edited(&s, |points, triangles| {
        let at = |p: DVec3, points: &[DVec3]| {
            points.iter().position(|q| *q == p).expect("the hole's point") as u32
        };
        let rings = holes.map(|h| h.map(|p| at(p, points)));
        triangles.retain(|t| !rings.iter().any(|r| t.iter().all(|p| r.contains(p))));
        // Both triangles have their corners in the same order seen from outside
        // or from inside; pair them by place.
        let pair = |p: u32| {
            let d = |q: u32| points[p as usize].distance(points[q as usize]);
            rings[1].into_iter().min_by(|&a, &b| d(a).total_cmp(&d(b))).expect("three")
        };
        let upper = rings[0].map(pair);
        for i in 0..3 {
            let j = (i + 1) % 3;
            triangles.push([rings[0][i], rings[0][j], upper[j]]);
            triangles.push([rings[0][i], upper[j], upper[i]]);
        }
    });
    let p = judged(&s);
    assert_eq!(p.verdict, Verdict::Broken, "{:#?}", p.limits);
    assert_eq!(offended(&p), vec![("rims".to_owned(), None)]);
}
