//! Any bytes as .obj give a mesh or an error, and a mesh keeps its invariants.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Ok(read) = spile_formats::read_bytes("x.obj", bytes) {
        assert!(read.mesh.check().is_ok());
        assert!(!read.mesh.triangles().is_empty());
    }
});
