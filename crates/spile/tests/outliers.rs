//! Outliers on a real scan (origin and licence in `tests/scans/README.md`): mended
//! where the case asks for it, within reach too; left where it does not; and the
//! prover, which never sees how, grants a listed mend only where a point stood out.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::path::Path;

use spile_case::{Ball, Case, Mend, MendKind, Outliers, read_case};
use spile_joint::{Unwatched, make};
use spile_mesh::{DVec3, Mesh, round_to_f32, vertex_triangles};
use spile_proof::{Proof, Verdict, judge};

/// The point that the case cuts through, and off the scan there.
const THROUGH: DVec3 = DVec3::new(-0.8, 632.5, 37.1);
const FACING: DVec3 = DVec3::new(0.0, 0.93, 0.37);

fn file(name: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests").join(name)
}

fn case(outliers: Outliers) -> Case {
    let text = std::fs::read_to_string(file("real/trachea-cut.toml")).unwrap();
    let mut case = read_case(&text, "case.toml").unwrap();
    case.scan.outliers = outliers;
    case
}

fn scan() -> Mesh {
    let path = file("scans/anatomy/vhm-trachea-jagged-derived.stl");
    spile_formats::read(&path).unwrap().mesh
}

/// The scan's outside point that lies nearest `depth` below the cut on the side of
/// `turn`, and the unit normal there.
fn outside_point(mesh: &Mesh, depth: f64, turn: DVec3) -> (u32, DVec3) {
    let at = THROUGH - depth * FACING.normalize() + 30.0 * turn;
    let from = |v: &u32| mesh.points()[*v as usize].distance(at);
    let v = (0..mesh.points().len() as u32).min_by(|a, b| from(a).total_cmp(&from(b))).unwrap();
    let around = vertex_triangles(mesh);
    let normal: DVec3 = around.of(v).iter().map(|&t| mesh.area_normal(t as usize)).sum();
    (v, normal.normalize())
}

/// One point 4 mm below the cut and one 20 mm below it, each pulled out by 1 mm, ten
/// times the deviation.
fn spiked() -> (Mesh, [u32; 2]) {
    let scan = scan();
    let (mut points, triangles) = scan.clone().into_parts();
    let spikes = [(4.0, -DVec3::X), (20.0, DVec3::X)].map(|(depth, turn)| {
        let (v, normal) = outside_point(&scan, depth, turn);
        points[v as usize] = round_to_f32(points[v as usize] + normal);
        v
    });
    (Mesh::new(points, triangles).unwrap(), spikes)
}

fn has_point(mesh: &Mesh, p: DVec3) -> bool {
    mesh.points().contains(&p)
}

fn row<'a>(proof: &'a Proof, name: &str, end: Option<&str>) -> &'a spile_proof::LimitResult {
    let is_it = |l: &&spile_proof::LimitResult| l.name == name && l.end.as_deref() == end;
    proof.limits.iter().find(is_it).unwrap()
}

#[test]
fn outliers_are_mended_where_the_case_asks_and_only_there() {
    let (scan, spikes) = spiked();
    let places = spikes.map(|v| scan.points()[v as usize]);
    let scans = std::slice::from_ref(&scan);
    let made = make(&case(Outliers::Mend), scans, &Unwatched).unwrap();
    let part = made.part.unwrap();
    let mended: Vec<Ball> =
        made.settled.mends.iter().filter(|m| m.kind == MendKind::Outlier).map(|m| m.ball).collect();
    assert_eq!(mended.len(), 2, "{mended:?}");
    for place in places {
        assert!(!has_point(&part, place));
        let holds = |b: &Ball| DVec3::from(b.at).distance(place) <= b.radius;
        assert!(mended.iter().any(holds));
    }
    let proof = judge(scans, &part, &made.settled).unwrap();
    assert_eq!(proof.verdict, Verdict::Held, "{:#?}", proof.limits);

    // The same part without the leave: the spike within reach was cut off by more than
    // the deviation, the other is gone beyond reach.
    let without = Case { scan: case(Outliers::Keep).scan, ..made.settled.clone() };
    let proof = judge(scans, &part, &without).unwrap();
    assert_eq!(row(&proof, "mends", None).verdict, Verdict::Broken);
    assert_eq!(row(&proof, "deviation", Some("upper")).verdict, Verdict::Broken);
    assert_eq!(row(&proof, "untouched", None).verdict, Verdict::Broken);

    // With the leave, the place of the spike is no free ground: a dent there, or what
    // is left of the spike, is off the scan.
    let dented = |by: f64| {
        let (mut points, triangles) = part.clone().into_parts();
        let from = |v: &usize| points[*v].distance(places[0]);
        let nearest = (0..points.len()).min_by(|a, b| from(a).total_cmp(&from(b))).unwrap();
        let out = (places[0] - points[nearest]).normalize();
        points[nearest] = round_to_f32(points[nearest] + by * out);
        Mesh::new(points, triangles).unwrap()
    };
    for by in [-0.4, 0.25] {
        let proof = judge(scans, &dented(by), &made.settled).unwrap();
        let row = row(&proof, "deviation", Some("upper"));
        assert_eq!(row.verdict, Verdict::Broken, "{by}: {row:?}");
    }
}

#[test]
fn outliers_stay_where_the_case_does_not_ask() {
    let (scan, spikes) = spiked();
    let scans = std::slice::from_ref(&scan);
    let made = make(&case(Outliers::Keep), scans, &Unwatched).unwrap();
    assert!(made.settled.mends.iter().all(|m| m.kind != MendKind::Outlier));
    let part = made.part.unwrap();
    assert!(has_point(&part, scan.points()[spikes[1] as usize]), "beyond reach it stays");
    let proof = judge(scans, &part, &made.settled).unwrap();
    assert_eq!(row(&proof, "untouched", None).verdict, Verdict::Held);
    assert_eq!(row(&proof, "deviation", Some("upper")).verdict, Verdict::Held);
}

#[test]
fn a_listed_mend_of_a_point_that_does_not_stand_out_is_refused() {
    let scan = scan();
    let scans = std::slice::from_ref(&scan);
    let mut made = make(&case(Outliers::Mend), scans, &Unwatched).unwrap();
    assert!(made.settled.mends.iter().all(|m| m.kind != MendKind::Outlier));
    let part = made.part.unwrap();
    let mut refused = 0;
    for depth in [20.0, 24.0, 28.0, 32.0] {
        for turn in [DVec3::X, -DVec3::X, DVec3::Z] {
            let (v, _) = outside_point(&scan, depth, turn);
            let at = scan.points()[v as usize];
            made.settled.mends = vec![Mend {
                kind: MendKind::Outlier,
                ball: Ball { at: at.to_array(), radius: 4.0 },
            }];
            let proof = judge(scans, &part, &made.settled).unwrap();
            refused += usize::from(row(&proof, "mends", None).verdict == Verdict::Broken);
        }
    }
    assert_eq!(refused, 12);
}
