//! Readers: any bytes give something sound or an error.

use std::io::{Cursor, Write};

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

const RELATIONSHIPS: &[u8] = br#"<?xml version="1.0" encoding="UTF-8"?>
<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Target="/3D/3dmodel.model" Id="rel0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>"#;

/// As an STL file.
pub fn read_stl(bytes: &[u8]) {
    read("x.stl", bytes);
}

/// As a PLY file.
pub fn read_ply(bytes: &[u8]) {
    read("x.ply", bytes);
}

/// As an OBJ file.
pub fn read_obj(bytes: &[u8]) {
    read("x.obj", bytes);
}

/// As a STEP file: a sound mesh or exact faces that fit together, or an error.
pub fn read_step(bytes: &[u8]) {
    use spile_formats::step::{StepBody, read_step};
    match read_step("x.step", bytes).map(|read| read.body) {
        Ok(StepBody::Triangles(mesh)) => assert_eq!(mesh.check(), Ok(())),
        Ok(StepBody::Exact(solid)) => {
            let mut uses = vec![[0, 0]; solid.edges.len()];
            for &(edge, along) in solid.faces.iter().flat_map(|f| &f.loops).flatten() {
                uses[edge as usize][usize::from(along)] += 1;
            }
            assert!(uses.iter().all(|&uses| uses == [1, 1]));
            assert!(solid.vertices.iter().all(|p| p.is_finite()));
            cut(&solid);
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}

/// Exact faces are cut into triangles that each stand for one, or it is said why not.
fn cut(solid: &spile_formats::step::StepSolid) {
    let zero = spile_mesh::DVec3::ZERO;
    let first = solid.vertices.first().copied().unwrap_or(zero);
    let size = solid.vertices.iter().map(|p| p.distance(first)).fold(0.0, f64::max);
    match spile_joint::facet(solid, 0.05 * size) {
        Ok(facets) => assert_eq!(facets.face.len(), facets.mesh.triangles().len()),
        Err(what) => assert!(!what.is_empty()),
    }
}

/// As a 3MF file.
pub fn read_threemf(bytes: &[u8]) {
    read("x.3mf", bytes);
}

/// As the model part of a sound 3MF package. Mangled packages seldom get past
/// their checksums; these always do.
pub fn read_threemf_model(bytes: &[u8]) {
    if let Some(package) = package(bytes) {
        read("x.3mf", &package);
    }
}

/// As a case, which gives the case or mistakes; a case that is written reads
/// back the same.
pub fn read_case(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let Ok(case) = spile_case::read_case(text, "x.toml") {
        let written = spile_case::write_case(&case);
        let again = spile_case::read_case(&written, "x.toml");
        assert_eq!(again.as_ref(), Ok(&case), "{written}");
    }
}

/// A mesh that keeps its invariants, or an error.
fn read(name: &str, bytes: &[u8]) {
    if let Ok(read) = spile_formats::read_bytes(name, bytes) {
        assert_eq!(read.mesh.check(), Ok(()));
        assert!(!read.mesh.triangles().is_empty());
    }
}

fn package(model: &[u8]) -> Option<Vec<u8>> {
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (part, bytes) in [("_rels/.rels", RELATIONSHIPS), ("3D/3dmodel.model", model)] {
        zip.start_file(part, options).ok()?;
        zip.write_all(bytes).ok()?;
    }
    Some(zip.finish().ok()?.into_inner())
}
