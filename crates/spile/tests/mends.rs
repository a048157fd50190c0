//! The mends that the maker lists, judged by the prover alone: on scans with
//! real defects each listed mend had its defect, and explains all that changed.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::path::Path;

use spile_case::{Case, Cut, End, Form, Limits, MendKind, Outliers, Scan, Seam, Site, Unit};
use spile_joint::{MendOptions, Mended, median_edge, mend};
use spile_mesh::{Mesh, round_to_f32, vertex_triangles};
use spile_proof::{LimitResult, Verdict, judge};

fn scan(name: &str) -> Mesh {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/scans").join(name);
    spile_formats::read_bytes(name, &std::fs::read(path).unwrap()).unwrap().mesh
}

/// A case that cuts nothing: what the part lacks or has more is the mends' alone.
fn uncut(scan: &Mesh, done: &Mended) -> Case {
    let far = (scan.bounds().max * 3.0 + 1e3).to_array();
    let site = Site::Cut(Cut { through: far, facing: [0.0, 0.0, 1.0] });
    let end = End { seam: Some(Seam::default()), ..End::plain("far", site) };
    let limits = Limits {
        deviation: 0.1,
        wall_min: None,
        bore_loss: None,
        kink_deg: None,
        ball_min: None,
        chord: 0.01,
    };
    Case {
        name: None,
        unit: Unit::Millimetre,
        scan: Scan {
            files: vec!["scan.stl".into()],
            form: Form::Shell,
            wall: None,
            hole_max: Some(2.0 * median_edge(scan)),
            inherit: Vec::new(),
            outliers: Outliers::Keep,
            align: None,
            moved: None,
        },
        ends: vec![end],
        edge: None,
        joint: spile_case::JointGuide::default(),
        limits,
        keeps: Vec::new(),
        clears: Vec::new(),
        output: spile_case::Output::default(),
        solids: Vec::new(),
        mends: done.mends.iter().map(|made| made.mend).collect(),
    }
}

fn rows(scan: &Mesh, part: &Mesh, case: &Case) -> [Option<LimitResult>; 2] {
    let proof = judge(std::slice::from_ref(scan), &part.rounded(), case).unwrap();
    ["mends", "untouched"].map(|name| proof.limits.iter().find(|l| l.name == name).cloned())
}

#[test]
fn the_prover_finds_every_defect_that_was_mended() {
    for (name, least) in [
        ("defects/Offset1.obj", 1),
        ("defects/angel-derived.ply", 100),
        ("defects/blackvase-derived.ply", 100),
        ("defects/boot-flipped-patch-derived.obj", 1),
        ("defects/vhm-prostatic-urethra-derived.stl", 10),
    ] {
        let mesh = scan(name);
        let done = mend(&mesh, MendOptions::default());
        assert!(done.mends.len() >= least, "{name}: {} mends", done.mends.len());
        let case = uncut(&mesh, &done);
        let [mends, untouched] = rows(&mesh, &done.mesh, &case);
        for row in [mends.unwrap(), untouched.unwrap()] {
            assert_eq!(row.verdict, Verdict::Held, "{name}: {row:?}");
        }
        // Without the list nothing explains what changed; a triangle that was only
        // turned over is the scan's still.
        if done.mends.iter().all(|m| m.removed_triangles + m.added_triangles == 0) {
            continue;
        }
        let unlisted = Case { mends: Vec::new(), ..case };
        let [mends, untouched] = rows(&mesh, &done.mesh, &unlisted);
        assert_eq!(mends, None);
        assert_eq!(untouched.unwrap().verdict, Verdict::Broken, "{name}");
    }
}

/// The scan with every hundredth point pulled out along the mean normal of its
/// triangles by two median edges.
fn spiked(mesh: Mesh) -> Mesh {
    let around = vertex_triangles(&mesh);
    let by = 2.0 * median_edge(&mesh);
    let (mut points, triangles) = mesh.clone().into_parts();
    for v in (0..points.len()).step_by(100) {
        let normal: spile_mesh::DVec3 =
            around.of(v as u32).iter().map(|&t| mesh.area_normal(t as usize)).sum();
        points[v] = round_to_f32(points[v] + by * normal.normalize());
    }
    Mesh::new(points, triangles).unwrap()
}

#[test]
fn the_prover_finds_every_outlier_that_was_mended_and_grants_it_only_if_asked() {
    for (name, least) in [
        ("anatomy/vhm-trachea-cut-derived.stl", 50),
        ("anatomy/aorta-arch-cut-derived.stl", 75),
        ("anatomy/airway-ct-lumen-derived.stl", 400),
    ] {
        let mesh = spiked(scan(name));
        let options = MendOptions { outliers: Outliers::Mend, ..MendOptions::default() };
        let done = mend(&mesh, options);
        let count = done.mends.iter().filter(|m| m.mend.kind == MendKind::Outlier).count();
        assert!(count >= least, "{name}: {count} outliers");
        let mut case = uncut(&mesh, &done);
        case.scan.outliers = Outliers::Mend;
        for row in rows(&mesh, &done.mesh, &case) {
            let row = row.unwrap();
            assert_eq!(row.verdict, Verdict::Held, "{name}: {row:?}");
        }
        case.scan.outliers = Outliers::Keep;
        for row in rows(&mesh, &done.mesh, &case) {
            assert_eq!(row.unwrap().verdict, Verdict::Broken, "{name}");
        }
    }
}
