//! Any bytes as the model part of a sound 3MF package give a mesh or an error.
//! Mangled packages seldom get past their checksums; these always do.
#![no_main]

use std::io::{Cursor, Write};

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

const RELATIONSHIPS: &[u8] = br#"<?xml version="1.0" encoding="UTF-8"?>
<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Target="/3D/3dmodel.model" Id="rel0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>"#;

fn package(model: &[u8]) -> Option<Vec<u8>> {
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (part, bytes) in [("_rels/.rels", RELATIONSHIPS), ("3D/3dmodel.model", model)] {
        zip.start_file(part, options).ok()?;
        zip.write_all(bytes).ok()?;
    }
    Some(zip.finish().ok()?.into_inner())
}

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let Some(package) = package(bytes) else { return };
    if let Ok(read) = spile_formats::read_bytes("x.3mf", &package) {
        assert!(read.mesh.check().is_ok());
        assert!(!read.mesh.triangles().is_empty());
    }
});
