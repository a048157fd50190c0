//! Every scan and sample of `tests/scans/` reads with the counts that its row
//! of the README states (found by a reference library, not by this program), or
//! gives an error that says where and why.

use std::path::{Path, PathBuf};

use spile_formats::{FileUnit, Format, read};

fn scans() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/scans")
}

/// Files that must not read, and what their error says.
const REFUSED: [(&str, &[&str]); 20] = [
    // Its face of 936 corners goes 234 times round the same four points.
    ("assimp-box_longline.obj", &["in line 24", "936 corners", "crosses itself"]),
    ("stl-bin-truncated-derived.stl", &["at byte 557", "12 triangles", "684 bytes", "9 are whole"]),
    ("stl-bin-count-too-big-derived.stl", &["at byte 684", "13 triangles", "12 are whole"]),
    ("stl-bin-nan-derived.stl", &["triangle", "at byte", "no finite number"]),
    ("stl-bin-trailing-bytes-derived.stl", &["at byte 684", "18 more bytes"]),
    ("trimesh-empty.stl", &["no triangle"]),
    ("trimesh-stl_empty_bin.stl", &["no triangle"]),
    ("trimesh-points_emptyface.ply", &["no triangle"]),
    ("ply-bin-truncated-derived.ply", &["at byte", "the file ends"]),
    ("assimp-malformed.obj", &["in line 28", "point 0"]),
    ("obj-negative-out-of-range-derived.obj", &["in line 5", "point -4", "3 points"]),
    ("3mf-beamlattice-pyramid.3mf", &["not supported", "beam"]),
    (
        "3mf-MUSTFAIL_Chapter2.3.2b_DataTypeDefinitionInXMLMarkup.3mf",
        &["document type", "3D/3dmodel.model"],
    ),
    ("3mf-MUSTFAIL_Chapter3.4.3.1a_NotMatchingObjectIdInBuildItem.3mf", &["object 14"]),
    ("assimp-malformed_property_index_oob.3mf", &["1000000"]),
    ("SBU_F_Intestine_Large.glb", &["not supported", ".glb", "STL", "3MF"]),
    ("3d-vh-m-trachea.glb", &["not supported", ".glb", "STL", "3MF"]),
    ("vertebrae_T12.nii.gz", &["not supported", "volume", "STL"]),
    ("aorta.nii.gz", &["not supported", "volume", "STL"]),
    ("seaVase_decimated.vtp", &["not supported", ".vtp", "STL"]),
];

/// Files whose row states no count that can be compared, and theirs by other means.
const BY_HAND: [(&str, usize, usize); 6] = [
    // Two of its points lie 3.4e-15 apart; the row's count merges them. Counted
    // over the coordinates as written there are 658.
    ("nonmanifold-crash.obj", 1442, 658),
    // Written out in the file: one facet.
    ("stl-ascii-uppercase-cr-derived.stl", 1, 3),
    // Two build items, or two components, of 30 triangles over 17 points each;
    // the pieces lie 30 and 40 apart and share no point.
    ("3mf-MUSTPASS_Chapter3.2c_MultipleItemsTransform.3mf", 60, 34),
    ("3mf-MUSTPASS_Chapter4.2_Components.3mf", 60, 34),
    // Its XML: 88 triangles over 46 points, six build items apart from each other.
    ("3mf-core-multiple_cylinders.3mf", 528, 276),
    // One triangle is named; the row counts its points.
    ("assimp-number_formats.obj", 1, 3),
];

/// Triangles and vertices as the row of this file states them.
fn stated(readme: &str, file: &str) -> Option<(usize, usize)> {
    let row = readme.lines().find(|line| line.starts_with(&format!("| `{file}`")))?;
    row.split('|').find_map(|cell| {
        let counts = cell.trim().split(" as written").next()?;
        let (triangles, vertices) = counts.split_once(" / ")?;
        Some((triangles.trim().parse().ok()?, vertices.trim().parse().ok()?))
    })
}

fn files(under: &Path) -> Vec<PathBuf> {
    let mut all = Vec::new();
    for entry in std::fs::read_dir(under).expect("the scans are there") {
        let path = entry.expect("the folder can be listed").path();
        if path.is_dir() { all.extend(files(&path)) } else { all.push(path) }
    }
    all.sort();
    all
}

#[test]
fn every_file_reads_as_its_row_says_or_is_refused_with_the_reason() {
    let readme = std::fs::read_to_string(scans().join("README.md")).unwrap();
    let mut wrong = Vec::new();
    let mut count = 0;
    for path in files(&scans()) {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        // Drawings hold no triangles, the tests of `step` read them; nor does their script.
        if name == "README.md" || [".txt", ".step", ".py"].iter().any(|e| name.ends_with(e)) {
            continue;
        }
        count += 1;
        let refused = REFUSED.iter().find(|(file, _)| *file == name).map(|(_, says)| says);
        match (read(&path), refused) {
            (Err(error), Some(says)) => {
                let text = error.to_string();
                if !says.iter().all(|part| text.contains(part)) {
                    wrong.push(format!("{name}: {text}"));
                }
            }
            (Err(error), None) => wrong.push(format!("{name} is refused: {error}")),
            (Ok(_), Some(_)) => wrong.push(format!("{name} reads, but must not")),
            (Ok(read), None) => {
                let by_hand = BY_HAND.iter().find(|(file, ..)| *file == name);
                let expected = by_hand.map(|&(_, t, v)| (t, v)).or(stated(&readme, &name));
                let got = (read.mesh.triangles().len(), read.mesh.points().len());
                if expected != Some(got) {
                    wrong.push(format!("{name}: {got:?} where {expected:?} is stated"));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(count >= 70, "only {count} files");
}

#[test]
fn formats_and_units_are_told() {
    let told = |file: &str| {
        let read = read(&scans().join("formats").join(file)).unwrap();
        (read.format, read.unit)
    };
    assert_eq!(told("trimesh-unit_cube.STL"), (Format::StlBinary, None));
    assert_eq!(told("assimp-sphereWithHole.stl"), (Format::StlText, None));
    assert_eq!(told("assimp-cube.ply"), (Format::PlyText, None));
    assert_eq!(told("assimp-cube_binary.ply"), (Format::PlyLittleEndian, None));
    assert_eq!(told("ply-big-endian-derived.ply"), (Format::PlyBigEndian, None));
    assert_eq!(told("assimp-box.obj"), (Format::Obj, None));
    assert_eq!(told("3mf-core-box.3mf"), (Format::ThreeMf, Some(FileUnit::Millimetre)));
}

/// One cube in many spellings: the same box, whatever the format.
#[test]
fn boxes_and_volumes_come_out_as_the_rows_say() {
    // Extents from the README's rows.
    for (file, extents) in [
        ("trimesh-negative_indices.obj", [2.0, 2.0, 2.0]),
        ("trimesh-polygonfaces.obj", [1000.0, 500.0, 1000.0]),
        ("assimp-box_UTF16BE.obj", [1.0, 1.0, 1.0]),
        ("trimesh-metadata.ply", [8.0, 8.0, 0.0]),
        ("assimp-cube_binary_starts_with_nl.ply", [1.0, 1.0, 1.0]),
        ("3mf-core-box.3mf", [10.0, 20.0, 30.0]),
    ] {
        let bounds = read(&scans().join("formats").join(file)).unwrap().mesh.bounds();
        assert_eq!((bounds.max - bounds.min).to_array(), extents, "{file}");
    }
    // The concave polygons are rings of area pi (0.7425^2 - r^2) each; whatever
    // r is, the triangles' areas must add up to the polygons' own (Newell).
    let read = read(&scans().join("formats/assimp-concave_polygon.obj")).unwrap();
    let whole: f64 = read.mesh.area();
    let signed: spile_mesh::DVec3 =
        (0..read.mesh.triangles().len()).map(|t| 0.5 * read.mesh.area_normal(t)).sum();
    assert!((whole - signed.length()).abs() < 1e-9 * whole, "{whole} {signed}");
}
