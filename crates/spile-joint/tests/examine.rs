//! What is found on open scans, against the README's rows (a reference library
//! counted them) and the ends named there.

use std::path::Path;

use spile_joint::{Effect, Examination, ExamineOptions, FindingKind, examine};
use spile_mesh::{DVec3, Mesh};

fn look(file: &str) -> Examination {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/scans");
    let mesh = spile_formats::read(&folder.join(file)).expect("the scan reads").mesh;
    examine(&mesh, ExamineOptions::default())
}

fn count(seen: &Examination, kind: FindingKind) -> usize {
    seen.findings.iter().filter(|finding| finding.kind == kind).map(|finding| finding.count).sum()
}

#[test]
fn defects_are_counted_as_the_rows_say() {
    let seen = look("defects/nonmanifold-crash.obj");
    // Row: 1 degenerate triangle, 3 duplicate faces.
    assert_eq!(count(&seen, FindingKind::Duplicate), 3);
    assert_eq!(count(&seen, FindingKind::Degenerate), 1);
    let seen = look("defects/boot-flipped-patch-derived.obj");
    // Row: 95 edges with inconsistent winding.
    assert_eq!(count(&seen, FindingKind::Flipped), 95);
    assert!(!seen.closed && seen.ends.is_empty());
    let seen = look("defects/angel-derived.ply");
    // Row: 41 non-manifold edges, 8 components.
    assert_eq!(count(&seen, FindingKind::NonManifoldEdge), 41);
    assert_eq!(seen.shells, 8);
    // Row: 338 intersecting pairs, closed, one component.
    let seen = look("defects/self_intersectA.obj");
    assert_eq!(count(&seen, FindingKind::SelfIntersection), 338);
    assert!(seen.closed && seen.shells == 1);
}

#[test]
fn the_trachea_s_upper_end_is_found_with_both_walls() {
    // README, main-job input 1: centre (-1.0, 640.4, 39.0), axis (0, 0.93, 0.37),
    // outer diameter about 19.3, bore about 16.5.
    let seen = look("anatomy/vhm-trachea-cut-derived.stl");
    let end = seen.ends.iter().find(|end| end.outside.is_some()).expect("an end of two walls");
    assert!(end.centre.distance(DVec3::new(-1.0, 640.4, 39.0)) < 1.0, "{end:?}");
    assert!(end.direction.dot(DVec3::new(0.0, 0.93, 0.37).normalize()) > 0.99, "{end:?}");
    assert!((end.bore - 16.5).abs() < 0.5, "{end:?}");
    assert!((end.outside.unwrap_or(0.0) - 19.3).abs() < 0.5, "{end:?}");
    assert!(seen.findings.iter().all(|finding| finding.kind != FindingKind::NonManifoldEdge));
}

#[test]
fn the_airway_s_one_end_faces_up() {
    // README, main-job input 2: centre (1.8, 167.6, 784.7), rim normal (0, 0, 1),
    // bore about 17.7, single wall.
    let seen = look("anatomy/airway-ct-lumen-derived.stl");
    assert_eq!(seen.ends.len(), 1);
    let end = seen.ends[0];
    assert!(end.centre.distance(DVec3::new(1.8, 167.6, 784.7)) < 1.0, "{end:?}");
    assert!(end.direction.z > 0.999 && end.outside.is_none(), "{end:?}");
    assert!((end.bore - 17.7).abs() < 0.5, "{end:?}");
}

/// A square grid of unit steps with planted faults.
fn grid(change: impl Fn(&mut Vec<DVec3>, &mut Vec<[u32; 3]>)) -> Examination {
    let mut points: Vec<DVec3> = (0..400)
        .map(|i| DVec3::new(f64::from(i % 20), f64::from(i / 20), 0.01 * f64::from(i * 7 % 5)))
        .collect();
    let mut triangles = Vec::new();
    for i in (0..380).filter(|i| i % 20 != 19) {
        triangles.extend([[i, i + 1, i + 21], [i, i + 21, i + 20]]);
    }
    change(&mut points, &mut triangles);
    let mesh = Mesh::new(points, triangles).expect("the grid is a mesh");
    examine(&mesh, ExamineOptions::default())
}

#[test]
fn planted_faults_are_found_all_and_only() {
    let clean = grid(|_, _| {});
    assert!(clean.findings.is_empty(), "{:?}", clean.findings);
    let seen = grid(|points, _| points[210].z = 3.0);
    let outlier = &seen.findings[0];
    assert_eq!((outlier.kind, outlier.count), (FindingKind::Outlier, 1));
    assert_eq!(outlier.at, DVec3::new(10.0, 10.0, 3.0));
    let seen = grid(|_, triangles| {
        triangles.remove(300);
    });
    assert_eq!(seen.findings.len(), 1);
    assert_eq!(seen.findings[0].kind, FindingKind::Hole);
    assert_eq!(seen.findings[0].effect, Effect::StopsClosing);
    let seen = grid(|points, _| points[210] = points[211] - DVec3::new(1e-3, 0.0, 0.0));
    assert!(count(&seen, FindingKind::Needle) > 0, "{:?}", seen.findings);
    assert!(examine(&Mesh::default(), ExamineOptions::default()).findings.is_empty());
}
