//! Nothing that comes in makes the proof panic or hold: triangle soups, seams
//! over any points, mends anywhere.

use proptest::prelude::*;
use spile_case::{Cut, Form, Rim, Seam, Site};

use super::*;

fn soup() -> impl Strategy<Value = Mesh> {
    let points = prop::collection::vec((0..4_i32, 0..4_i32, 0..4_i32), 4..16);
    let triangles = prop::collection::vec((0..64_u32, 0..64_u32, 0..64_u32), 1..40);
    (points, triangles).prop_map(|(points, triangles)| {
        let n = points.len() as u32;
        let points = points
            .into_iter()
            .map(|(x, y, z)| DVec3::new(f64::from(x), f64::from(y), f64::from(z)))
            .collect();
        let triangles = triangles.into_iter().map(|(a, b, c)| [a % n, b % n, c % n]).collect();
        Mesh::new(points, triangles).expect("a mesh")
    })
}

const KINDS: [MendKind; 9] = [
    MendKind::Duplicate,
    MendKind::Degenerate,
    MendKind::Flipped,
    MendKind::Hole,
    MendKind::NonManifoldEdge,
    MendKind::NonManifoldVertex,
    MendKind::LoosePiece,
    MendKind::SelfIntersection,
    MendKind::Outlier,
];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn soups_are_judged_without_panic_and_never_held(
        scan in soup(),
        part in soup(),
        form in 0..3_usize,
        at_rim in any::<bool>(),
        kind in 0..7_usize,
        through in (0.0..3.0_f64, 0.0..3.0_f64, 0.0..3.0_f64),
    ) {
        let mut case = scene(Recipe::default()).case;
        let through = [through.0, through.1, through.2];
        case.scan.form = [Form::Shell, Form::Sheets, Form::Bore][form];
        let facing = [0.0, 0.6, 0.8];
        for end in &mut case.ends {
            end.site = if at_rim {
                Site::Rim(Rim { near: through, trim: Some(1.0), facing: Some(facing) })
            } else {
                Site::Cut(Cut { through, facing })
            };
            let loop_points = part.points().iter().take(4).map(|p| p.to_array()).collect();
            end.seam = Some(Seam { bore: loop_points, outside: vec![through; 3] });
        }
        case.limits.wall_min = Some(1.0);
        case.limits.bore_loss = Some(0.01);
        case.limits.ball_min = Some(1.0);
        case.keeps.push(Keep::Box { min: [0.0; 3], max: [1.0; 3] });
        case.mends.push(Mend { kind: KINDS[kind], ball: Ball { at: through, radius: 2.0 } });
        let scans = if form == 1 { vec![scan.clone(), part.clone()] } else { vec![scan] };
        let proof = judge(&scans, &part, &case).expect("these inputs belong together");
        prop_assert_eq!(proof.verdict, Verdict::Broken);
    }
}

#[test]
fn a_soup_instead_of_the_part_or_the_scan_is_broken() {
    let good = scene(Recipe::default());
    let lone = Mesh::new(vec![DVec3::ZERO, DVec3::X, DVec3::Y], vec![[0, 1, 2]]).expect("a mesh");
    for (scan, part) in [(&lone, &good.part), (&good.scan, &lone)] {
        let proof = judge(std::slice::from_ref(scan), part, &good.case).expect("judged");
        assert_eq!(proof.verdict, Verdict::Broken);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// Any point of scan or fitting pushed toward or off the axis by three times
    /// the deviation: no such part is held.
    #[test]
    fn a_point_pushed_anywhere_but_in_the_joint_is_seen(pick in any::<u32>(), inward in any::<bool>()) {
        let good = scene(Recipe::default());
        let axis = scene::turn(DVec3::Z);
        let origin = DVec3::new(3.0, -7.0, 12.0);
        let height = |p: DVec3| (p - origin).dot(axis);
        let fixed: Vec<usize> = (0..good.part.points().len())
            .filter(|&i| {
                let h = height(good.part.points()[i]);
                !(scene::UPPER_CUT + 0.1..=scene::NEAR_FACE - 0.1).contains(&h)
            })
            .collect();
        let i = fixed[pick as usize % fixed.len()];
        let pushed = edited(&good, |points, _| {
            let off_axis = points[i] - origin - height(points[i]) * axis;
            let by = if inward { -0.3 } else { 0.3 };
            points[i] = spile_mesh::round_to_f32(points[i] + by * off_axis.normalize());
        });
        prop_assert_eq!(proof(&pushed).verdict, Verdict::Broken, "point {}", i);
    }
}
