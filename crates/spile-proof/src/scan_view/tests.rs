use spile_case::{Case, Cut, End, Form, Limits, Scan, Site, Unit};
use spile_mesh::{DVec3, Mesh, closest_on_segment};

use super::*;

const COLUMNS: u32 = 24;

/// A wall of revolution about an axis through `centre`: one row a (radius, height).
fn revolve(
    points: &mut Vec<DVec3>,
    triangles: &mut Vec<[u32; 3]>,
    centre: DVec3,
    rows: &[(f64, f64)],
) {
    let first = points.len() as u32;
    for (j, &(r, z)) in rows.iter().enumerate() {
        for i in 0..COLUMNS {
            let a = std::f64::consts::TAU * f64::from(i) / f64::from(COLUMNS);
            let r = r + 0.01 * f64::from((i * 7 + j as u32 * 5) % 11);
            points.push(centre + DVec3::new(r * a.cos(), r * a.sin(), z));
        }
    }
    for j in 0..rows.len() as u32 - 1 {
        for i in 0..COLUMNS {
            let at = |i: u32, j: u32| first + j * COLUMNS + i % COLUMNS;
            triangles.push([at(i, j), at(i + 1, j), at(i + 1, j + 1)]);
            triangles.push([at(i, j), at(i + 1, j + 1), at(i, j + 1)]);
        }
    }
}

/// A cup with both walls in one surface, joined at a rounded lower rim, and
/// beside it a second one that the same plane crosses.
fn two_cups() -> Mesh {
    let (mut points, mut triangles) = (Vec::new(), Vec::new());
    let mut profile: Vec<(f64, f64)> = (0..=20).rev().map(|k| (4.0, f64::from(k))).collect();
    profile.push((5.0, -0.5));
    profile.extend((0..=20).map(|k| (6.0, f64::from(k))));
    for centre in [DVec3::ZERO, DVec3::X * 20.0] {
        revolve(&mut points, &mut triangles, centre, &profile);
    }
    Mesh::new(points, triangles).unwrap()
}

fn case(form: Form, through: [f64; 3], reach: f64) -> Case {
    Case {
        name: None,
        unit: Unit::Millimetre,
        scan: Scan {
            files: vec![String::new()],
            form,
            wall: None,
            hole_max: Some(0.5),
            inherit: vec![],
            outliers: spile_case::Outliers::Keep,
            align: None,
            moved: None,
        },
        ends: vec![End {
            reach: Some(reach),
            ..End::plain("top", Site::Cut(Cut { through, facing: [0.0, 0.0, 1.0] }))
        }],
        edge: None,
        joint: spile_case::JointGuide::default(),
        limits: Limits {
            deviation: 0.1,
            wall_min: None,
            bore_loss: None,
            kink_deg: None,
            ball_min: None,
            chord: 0.01,
        },
        keeps: vec![],
        clears: Vec::new(),
        output: spile_case::Output::default(),
        solids: Vec::new(),
        mends: vec![],
    }
}

fn view(mesh: &Mesh, through: [f64; 3]) -> ScanView {
    ScanView::of(mesh.clone(), mesh.triangles().len(), &case(Form::Shell, through, 6.0))
}

#[test]
fn only_the_branch_that_is_meant_is_cut() {
    let mesh = two_cups();
    for (through, shift) in [([1.0, 0.0, 15.3], 0.0), ([19.0, 1.0, 15.3], 20.0)] {
        let view = view(&mesh, through);
        assert!(view.faults.is_empty(), "{:?}", view.faults);
        for t in 0..mesh.triangles().len() {
            let c = mesh.corners(t);
            let meant = ((c[0].x - shift).abs() < 8.0) && c.iter().all(|p| p.z >= 15.3);
            assert_eq!(view.removed[t], meant.then_some(0), "triangle {t}");
        }
    }
}

#[test]
fn walls_joined_at_a_far_rim_are_told_apart_near_the_cut() {
    let mesh = two_cups();
    let view = view(&mesh, [1.0, 0.0, 15.3]);
    for t in 0..mesh.triangles().len() {
        let c = mesh.corners(t);
        let middle = c.iter().sum::<DVec3>() / 3.0;
        let wanted = match (
            middle.x < 10.0 && view.removed[t].is_none(),
            middle.truncate().length() < 5.0,
        ) {
            (true, true) => Side::Bore,
            (true, false) => Side::Outside,
            _ => Side::Neither,
        };
        if middle.z > 1.0 {
            assert_eq!(view.side[t], wanted, "triangle {t} at {middle}");
        }
    }
}

#[test]
fn within_reach_equals_the_plain_search() {
    let mesh = two_cups();
    let view = view(&mesh, [1.0, 0.0, 15.3]);
    let l = &view.ends[0].bore;
    let line = Polyline::closed(&l.points);
    for reach in [0.5, 1.9, 6.0, 40.0] {
        let found = view.connected(
            &l.triangles,
            |_| true,
            |c| c.into_iter().all(|p| line.distance(p) < reach),
        );
        // Plainly: every segment for every corner, then sweeps over all pairs
        // of triangles that share two points, until nothing is added.
        let n = l.points.len();
        let near = |p: DVec3| {
            (0..n).any(|k| {
                (p - closest_on_segment(p, l.points[k], l.points[(k + 1) % n])).length() < reach
            })
        };
        let count = mesh.triangles().len();
        let passes: Vec<bool> = (0..count)
            .map(|t| view.removed[t].is_none() && mesh.corners(t).into_iter().all(near))
            .collect();
        let mut plain: Vec<bool> =
            (0..count).map(|t| passes[t] && l.triangles.contains(&(t as u32))).collect();
        loop {
            let mut added = false;
            for s in (0..count).filter(|&s| passes[s]) {
                let touches = (0..count).any(|t| {
                    plain[t]
                        && mesh.triangles()[s]
                            .iter()
                            .filter(|p| mesh.triangles()[t].contains(p))
                            .count()
                            == 2
                });
                if touches && !plain[s] {
                    (plain[s], added) = (true, true);
                }
            }
            if !added {
                break;
            }
        }
        let plain: Vec<u32> = (0..count as u32).filter(|&t| plain[t as usize]).collect();
        assert_eq!(found, plain, "reach {reach}");
    }
}

#[test]
fn cut_loops_hold_every_crossed_triangle_once() {
    let mesh = two_cups();
    let edges = Edges::of(&mesh);
    let plane = Plane { point: DVec3::Z * 7.77, normal: DVec3::new(0.1, 0.2, 1.0).normalize() };
    let (loops, open) = cut_loops(&mesh, &edges, plane, &vec![false; mesh.triangles().len()]);
    assert!(!open);
    assert_eq!(loops.len(), 4);
    let mut held: Vec<u32> = loops.iter().flat_map(|l| l.triangles.clone()).collect();
    held.sort_unstable();
    let plain: Vec<u32> = (0..mesh.triangles().len() as u32)
        .filter(|&t| {
            let h = mesh.corners(t as usize).map(|p| height(plane, p) >= 0.0);
            h[0] != h[1] || h[1] != h[2]
        })
        .collect();
    assert_eq!(held, plain);
    assert!(loops.iter().flat_map(|l| &l.points).all(|&p| height(plane, p).abs() < 1e-12));
}

#[test]
fn a_cut_that_does_not_part_the_scan_is_a_fault() {
    // Both cups joined at the top by a bridge of two triangles.
    let (points, mut triangles) = two_cups().into_parts();
    let top = |x: f64| {
        (0..points.len() as u32)
            .filter(|&p| points[p as usize].z == 20.0 && (points[p as usize].x - x).abs() < 1.0)
            .collect::<Vec<_>>()
    };
    let (a, b, inner) = (top(6.0), top(14.0), top(4.0));
    triangles.push([a[0], a[1], b[0]]);
    let mesh = Mesh::new(points, triangles).unwrap();
    let view = view(&mesh, [1.0, 0.0, 15.3]);
    // The flood runs over the bridge and down the other cup, which has no loop
    // of this cut; that is what lies beyond, and only the other cup's.
    let gone_low = (0..mesh.triangles().len())
        .filter(|&t| view.removed[t].is_some())
        .any(|t| mesh.corners(t)[0].z < 10.0);
    assert!(gone_low && view.faults.is_empty());
    // Cut through both at once it would have to be two ends; with a handle
    // back to the same cup it does not part the scan.
    let (points, mut triangles) = mesh.into_parts();
    let low = (0..points.len() as u32)
        .find(|&p| points[p as usize].z == 3.0 && points[p as usize].x > 5.0)
        .unwrap();
    triangles.push([inner[0], inner[1], low]);
    let mesh = Mesh::new(points, triangles).unwrap();
    let view = ScanView::of(mesh.clone(), 0, &case(Form::Bore, [4.0, 0.0, 15.3], 6.0));
    assert_eq!(view.faults.len(), 1);
}
