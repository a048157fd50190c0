//! Listed mends, true and invented.

use super::*;

#[test]
fn an_invented_mend_explains_nothing() {
    for kind in [
        MendKind::Duplicate,
        MendKind::Degenerate,
        MendKind::Flipped,
        MendKind::Hole,
        MendKind::NonManifoldEdge,
        MendKind::NonManifoldVertex,
        MendKind::LoosePiece,
        MendKind::SelfIntersection,
        MendKind::Outlier,
    ] {
        let good = scene(Recipe::default());
        let mut s = edited(&good, |points, _| points[10].y = next_f32(points[10].y));
        let ball = Ball { at: s.part.points()[10].to_array(), radius: 8.0 };
        s.case.mends.push(Mend { kind, ball });
        let p = proof(&s);
        assert_eq!(verdict(&p, "mends", None), Verdict::Broken, "{kind:?}");
        assert_eq!(verdict(&p, "untouched", None), Verdict::Broken, "{kind:?}");
    }
}

#[test]
fn a_true_mend_is_held_and_gives_no_leave_beyond_itself() {
    // One bore triangle of the scan is missing well below reach; the part has it.
    let good = scene(Recipe::default());
    let (points, mut triangles) = good.scan.clone().into_parts();
    let t = 2 * scene::COLUMNS * 6 + 11;
    let hole: Vec<DVec3> = triangles[t].iter().map(|&p| points[p as usize]).collect();
    triangles.remove(t);
    let scan = Mesh::new(points, triangles).expect("a mesh");
    let mut s = Scene { scan, ..good.clone() };
    s.case.scan.hole_max = Some(5.0);
    assert_eq!(verdict(&proof(&s), "untouched", None), Verdict::Broken, "no mend is listed");
    let at = hole.iter().sum::<DVec3>() / 3.0;
    let radius = hole.iter().map(|p| p.distance(at)).fold(0.0, f64::max) + 1e-4;
    let ball = Ball { at: at.to_array(), radius };
    s.case.mends.push(Mend { kind: MendKind::Hole, ball });
    let p = proof(&s);
    assert_eq!(offended(&p), vec![], "{:#?}", p.limits);
    assert_eq!(p.mends.len(), 1);
    // A neighbour moved by one step is not covered, however large the ball.
    s.case.mends[0].ball.radius = 50.0;
    let moved = edited(&s, |points, _| {
        let i = points.iter().position(|p| *p == hole[0]).expect("a point of the hole");
        points[i].x = next_f32(points[i].x);
    });
    assert_eq!(verdict(&proof(&moved), "untouched", None), Verdict::Broken);
    // Nor is a cap that bulges out of the hole.
    let bulge = edited(&s, |points, triangles| {
        let i = triangles
            .iter()
            .position(|t| t.iter().all(|&p| hole.contains(&points[p as usize])))
            .expect("the mended triangle");
        let [a, b, c] = triangles[i];
        points.push(scene::place(DVec3::new(0.0, 0.0, 13.0)));
        let m = points.len() as u32 - 1;
        triangles[i] = [a, b, m];
        triangles.extend([[b, c, m], [c, a, m]]);
    });
    assert_eq!(verdict(&proof(&bulge), "untouched", None), Verdict::Broken);
}

#[test]
fn a_hole_that_a_mend_opened_may_be_closed_by_the_next() {
    // The scan has a fin on one bore edge. The mend takes the fin and, wrongly
    // but within its ball, one wall triangle; the next mend closes that hole.
    let good = scene(Recipe::default());
    let (mut points, mut triangles) = good.scan.clone().into_parts();
    let t = 2 * scene::COLUMNS * 6 + 11;
    let [a, b, c] = triangles[t];
    let tip = scene::place(DVec3::new(8.0, 0.9, 13.0));
    points.push(tip);
    triangles.push([a, b, points.len() as u32 - 1]);
    let corners = [a, b, c].map(|p| points[p as usize]);
    let ball_of = |of: &[DVec3]| {
        let at = of.iter().sum::<DVec3>() / of.len() as f64;
        let radius = of.iter().map(|p| p.distance(at)).fold(0.0, f64::max) + 1e-4;
        Ball { at: at.to_array(), radius }
    };
    let scan = Mesh::new(points, triangles).expect("a mesh");
    let mut s = Scene { scan, ..good.clone() };
    s.case.scan.hole_max = Some(5.0);
    // The part closes the hole with a point lifted off the wall's plane by little.
    s = edited(&s, |points, triangles| {
        let i = triangles
            .iter()
            .position(|t| t.iter().all(|&p| corners.contains(&points[p as usize])))
            .expect("the wall triangle");
        let [a, b, c] = triangles[i];
        let middle = corners.iter().sum::<DVec3>() / 3.0;
        points.push(spile_mesh::round_to_f32(middle));
        let m = points.len() as u32 - 1;
        triangles[i] = [a, b, m];
        triangles.extend([[b, c, m], [c, a, m]]);
    });
    let edge = MendKind::NonManifoldEdge;
    let all: Vec<DVec3> = corners.into_iter().chain([tip]).collect();
    s.case.mends.push(Mend { kind: edge, ball: ball_of(&all) });
    s.case.mends.push(Mend { kind: MendKind::Hole, ball: ball_of(&corners) });
    let p = proof(&s);
    assert_eq!(offended(&p), vec![], "{:#?}", p.limits);
    // In the other order there was no hole to close.
    s.case.mends.reverse();
    assert_eq!(verdict(&proof(&s), "mends", None), Verdict::Broken);
}

#[test]
fn a_mend_gives_no_leave_outside_its_stated_ball() {
    // A triangle is missing next to a fin; the mend's ball holds the fin's edge alone.
    let good = scene(Recipe::default());
    let (mut points, mut triangles) = good.scan.clone().into_parts();
    let t = 2 * scene::COLUMNS * 6 + 11;
    let [a, b, _] = triangles[t];
    let (pa, pb) = (points[a as usize], points[b as usize]);
    points.push(scene::place(DVec3::new(8.0, 0.9, 13.0)));
    triangles.push([a, b, points.len() as u32 - 1]);
    let mut s = Scene { scan: Mesh::new(points, triangles).expect("a mesh"), ..good };
    let ball = Ball { at: (0.5 * (pa + pb)).to_array(), radius: 0.51 * pa.distance(pb) };
    s.case.mends.push(Mend { kind: MendKind::NonManifoldEdge, ball });
    assert_only(&proof(&s), &[("untouched", None)]);
}

#[test]
fn a_crumb_may_be_left_out_and_half_the_scan_may_not() {
    let good = scene(Recipe::default());
    let with_piece = |size: f64| {
        let (mut points, mut triangles) = good.scan.clone().into_parts();
        let first = points.len() as u32;
        let corners =
            [DVec3::ZERO, DVec3::X, DVec3::Y].map(|c| scene::place(20.0 * DVec3::Y + size * c));
        points.extend(corners);
        triangles.push([first, first + 1, first + 2]);
        let mut s = Scene { scan: Mesh::new(points, triangles).expect("a mesh"), ..good.clone() };
        let ball = Ball { at: corners[0].to_array(), radius: 2.0 * size };
        s.case.mends.push(Mend { kind: MendKind::LoosePiece, ball });
        s
    };
    let p = proof(&with_piece(0.5));
    assert_eq!(offended(&p), vec![], "{:#?}", p.limits);
    let mut large = with_piece(20.0);
    large.case.scan.hole_max = Some(50.0);
    assert_eq!(verdict(&proof(&large), "mends", None), Verdict::Broken);
    assert_eq!(verdict(&proof(&large), "untouched", None), Verdict::Broken);
}

#[test]
fn a_fold_of_one_sheet_is_a_defect_and_nothing_else_is() {
    // In the scan one bore point well below reach is pulled beyond its neighbour,
    // so that the wall folds onto itself; the part has it where it belongs.
    let good = scene(Recipe::default());
    let (points, triangles) = good.scan.clone().into_parts();
    let t = 2 * scene::COLUMNS * 6 + 11;
    let [p, _, q] = triangles[t];
    let star: Vec<DVec3> = triangles
        .iter()
        .filter(|t| t.contains(&p) || t.contains(&q))
        .flatten()
        .map(|&v| points[v as usize])
        .collect();
    let (from, to) = (points[p as usize], points[q as usize]);
    // Off the wall by some share of the edge, so that the fold meets what it is folded over.
    let normal = good.scan.area_normal(t).normalize() * from.distance(to);
    let folded = |share: &f64| {
        let mut points = points.clone();
        points[p as usize] = spile_mesh::round_to_f32(from + 1.4 * (to - from) + *share * normal);
        Mesh::new(points, triangles.clone()).expect("a mesh")
    };
    let meets = |scan: &Mesh| !spile_mesh::self_intersections(scan).is_empty();
    let scan =
        [-0.5, -0.2, -0.05, 0.02, 0.05, 0.1, 0.3].iter().map(folded).find(meets).expect("a fold");
    let mut s = Scene { scan, ..good.clone() };
    let reaches = star.iter().map(|v| v.distance(to)).fold(0.0, f64::max);
    s.case.scan.hole_max = Some(2.0 * reaches);
    assert_eq!(verdict(&proof(&s), "untouched", None), Verdict::Broken, "no mend is listed");
    let ball = Ball { at: to.to_array(), radius: 1.5 * reaches };
    s.case.mends.push(Mend { kind: MendKind::SelfIntersection, ball });
    let p = proof(&s);
    assert_eq!(offended(&p), vec![], "{:#?}", p.limits);
    // A ball that is not small gives no leave, nor one beside the fold.
    for wrong in [
        Ball { radius: 3.1 * reaches, ..ball },
        Ball { at: (to + 9.0 * reaches * DVec3::Z).to_array(), ..ball },
    ] {
        s.case.mends[0].ball = wrong;
        assert_eq!(verdict(&proof(&s), "mends", None), Verdict::Broken, "{wrong:?}");
        assert_eq!(verdict(&proof(&s), "untouched", None), Verdict::Broken, "{wrong:?}");
    }
}
