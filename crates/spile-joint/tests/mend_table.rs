//! Every class of defect on every broken file of `tests/scans` (origin and
//! licence in its README, which also lists the known defects): what was found,
//! what was mended with which change, what was refused, what was left.
#![expect(clippy::unwrap_used, reason = "the scans are in the repository and known to be whole")]

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use spile_formats::FileUnit;
use spile_joint::{ExamineOptions, MendOptions, examine, mend};
use spile_mesh::{Mesh, self_intersections};

const FILES: [&str; 12] = [
    "defects/Generic_Twin_7081.1.t0_right.obj",
    "defects/Offset1.obj",
    "defects/angel-derived.ply",
    "defects/blackvase-derived.ply",
    "defects/boot-flipped-patch-derived.obj",
    "defects/nonmanifold-crash.obj",
    "defects/plane_holes.obj",
    "defects/self_intersectA.obj",
    "defects/soup.stl",
    "defects/vhm-prostatic-urethra-derived.stl",
    "general/seavase-derived.ply",
    "formats/assimp-sphereWithHole.stl",
];

fn scan(name: &str) -> Mesh {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/scans").join(name);
    spile_formats::read(&path).unwrap().mesh
}

/// One line a class: how many were found; mended, with triangles touched and
/// the largest change as a share of the hole limit; refused.
fn table(name: &str) -> String {
    let mesh = scan(name);
    let done = mend(&mesh, MendOptions::default());
    let mut out = format!("{name}: {} triangles\n", mesh.triangles().len());
    let found = examine(&mesh, ExamineOptions::default());
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    for finding in &found.findings {
        *counts.entry(format!("{:?}", finding.kind)).or_default() += finding.count;
    }
    for (kind, count) in counts {
        let _ = writeln!(out, "  found {count} {kind}");
    }
    let mut mended: BTreeMap<String, (usize, [usize; 3], f64)> = BTreeMap::new();
    for made in &done.mends {
        let entry = mended.entry(format!("{:?}", made.mend.kind)).or_default();
        let touched = [made.removed_triangles, made.added_triangles, made.turned_triangles];
        entry.0 += 1;
        entry.1 = std::array::from_fn(|k| entry.1[k] + touched[k]);
        entry.2 = entry.2.max(made.change / done.hole_max);
    }
    for (kind, (count, [gone, new, turned], change)) in mended {
        let _ = writeln!(
            out,
            "  mended {count} {kind}: {gone} out, {new} in, {turned} turned, change {change:.2}"
        );
    }
    let mut refused: BTreeMap<String, usize> = BTreeMap::new();
    for refusal in &done.refused {
        *refused.entry(format!("{:?}: {}", refusal.kind, refusal.why)).or_default() += 1;
    }
    for (why, count) in refused {
        let _ = writeln!(out, "  refused {count} {why}");
    }
    let left = examine(&done.mesh, ExamineOptions { hole_max: Some(done.hole_max) });
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    for finding in left.findings.iter().filter(|f| f.kind.why_left().is_some()) {
        *counts.entry(format!("{:?}", finding.kind)).or_default() += finding.count;
    }
    for (kind, count) in counts {
        let _ = writeln!(out, "  left {count} {kind}");
    }
    out
}

/// How many pairs of triangles intersect once the mesh was written and read.
fn meeting(mesh: &Mesh) -> usize {
    let mut bytes = Vec::new();
    spile_formats::stl::write(mesh, FileUnit::Millimetre, &mut bytes).unwrap();
    self_intersections(&spile_formats::read_bytes("x.stl", &bytes).unwrap().mesh).len()
}

#[test]
fn every_class_on_every_broken_file() {
    let all: Vec<String> = FILES.iter().map(|name| table(name)).collect();
    insta::assert_snapshot!(all.join(""));
}

#[test]
fn mending_again_changes_nothing_and_nothing_gets_worse() {
    for name in FILES {
        let mesh = scan(name);
        let done = mend(&mesh, MendOptions::default());
        let again = mend(
            &done.mesh,
            MendOptions { hole_max: Some(done.hole_max), ..MendOptions::default() },
        );
        assert!(again.mends.is_empty(), "{name}: {:?}", again.mends.first());
        assert_eq!(again.mesh, done.mesh, "{name}");
        // As a file carries them, where the copies of a parted point are one again.
        let (was, is) = (meeting(&mesh), meeting(&done.mesh));
        assert!(is <= was, "{name}: {was} pairs met, now {is}");
        // A triangle is the scan's, corner for corner, or lies in a mend's ball.
        for (t, origin) in done.origin.iter().enumerate() {
            let corners = done.mesh.corners(t);
            let holds = |made: &spile_joint::MendMade| {
                let at = spile_mesh::DVec3::from(made.mend.ball.at);
                corners.iter().all(|p| p.distance(at) <= made.mend.ball.radius)
            };
            match origin {
                Some(old) => {
                    let old = mesh.corners(*old as usize);
                    assert!(corners.iter().all(|p| old.contains(p)), "{name}: triangle {t}");
                }
                None => assert!(done.mends.iter().any(holds), "{name}: triangle {t}"),
            }
        }
    }
}

#[test]
fn a_clean_scan_passes_bit_for_bit() {
    for name in ["anatomy/vhm-trachea-cut-derived.stl", "anatomy/aorta-arch-cut-derived.stl"] {
        let mesh = scan(name);
        let done = mend(&mesh, MendOptions::default());
        assert!(done.mends.is_empty(), "{name}: {:?}", done.mends.first());
        assert_eq!(done.mesh, mesh, "{name}");
    }
}
