//! Samples of every format, mangled in thousands of ways from a fixed seed:
//! each gives a mesh that keeps its invariants or an error, never a panic.

use std::io::{Cursor, Read, Write};
use std::path::Path;

use spile_formats::read_bytes;

/// Small and fast random numbers, the same everywhere (Marsaglia 2003, xorshift64).
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % n.max(1) as u64) as usize
    }
}

const NUMBERS: [&[u8]; 12] = [
    b"0",
    b"-1",
    b"4294967295",
    b"4294967296",
    b"1e999",
    b"nan",
    b"-0",
    b"1e-320",
    b" ",
    b"\n",
    b"999999999999999999999",
    b"\xFF\xFE",
];

fn mangle(bytes: &mut Vec<u8>, other: &[u8], dice: &mut Dice) {
    for _ in 0..=dice.below(4) {
        let at = dice.below(bytes.len());
        match dice.below(8) {
            0 => bytes.truncate(at),
            1 if !bytes.is_empty() => bytes[at] = dice.below(256) as u8,
            2 if !bytes.is_empty() => bytes[at] ^= 1 << dice.below(8),
            3 => {
                let number = NUMBERS[dice.below(NUMBERS.len())];
                let end = (at + number.len()).min(bytes.len());
                bytes.splice(at..end, number.iter().copied());
            }
            4 => {
                let end = (at + dice.below(40)).min(bytes.len());
                bytes.drain(at..end);
            }
            5 => {
                let from = dice.below(other.len());
                let to = (from + dice.below(200)).min(other.len());
                bytes.splice(at..at, other[from..to].iter().copied());
            }
            6 => {
                let end = (at + dice.below(300)).min(bytes.len());
                let again = bytes[at..end].to_vec();
                bytes.splice(at..at, again);
            }
            _ => {
                for byte in bytes.iter_mut().skip(at).take(4) {
                    *byte = [0, 0xFF, 0x7F, 0x80][dice.below(4)];
                }
            }
        }
    }
}

fn samples(extension: &str) -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/scans/formats");
    let mut paths: Vec<_> = std::fs::read_dir(folder)
        .expect("the samples are there")
        .map(|entry| entry.expect("the folder can be listed").path())
        .filter(|path| path.extension().is_some_and(|e| e.eq_ignore_ascii_case(extension)))
        .collect();
    paths.sort();
    let all = paths.iter().map(|path| std::fs::read(path).expect("the sample reads"));
    all.filter(|bytes| bytes.len() < 40_000).collect()
}

/// Of the model parts alone.
const ROUNDS: usize = 600;

fn check(extension: &str, rounds: usize) {
    let name = format!("x.{extension}");
    let samples = samples(extension);
    assert!(samples.len() >= 7, "{} samples", samples.len());
    let mut dice = Dice(0x5EED_0001);
    let mut read = 0;
    for round in 0..rounds {
        for (i, sample) in samples.iter().enumerate() {
            let mut bytes = sample.clone();
            mangle(&mut bytes, &samples[(i + 1) % samples.len()], &mut dice);
            if let Ok(answer) = read_bytes(&name, &bytes) {
                read += 1;
                let sound = answer.mesh.check();
                assert!(sound.is_ok(), "round {round}, sample {i}: {sound:?}");
                assert!(!answer.mesh.triangles().is_empty(), "round {round}, sample {i}");
            }
        }
    }
    // Mangling that only ever gives errors would test little.
    assert!(read > rounds / 10, "only {read} of {} read", rounds * samples.len());
}

#[test]
fn stl_seed_1() {
    check("stl", 1500);
}

#[test]
fn ply_seed_1() {
    check("ply", 1500);
}

#[test]
fn obj_seed_1() {
    check("obj", 600);
}

#[test]
fn threemf_seed_1() {
    check("3mf", 300);
}

/// A package with one model part of these bytes.
fn package(model: &[u8]) -> Vec<u8> {
    let rels = r#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Target="/m.model" Id="r" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>"#;
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let stored =
        zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (part, bytes) in [("_rels/.rels", rels.as_bytes()), ("m.model", model)] {
        zip.start_file(part, stored).expect("memory takes all");
        zip.write_all(bytes).expect("memory takes all");
    }
    zip.finish().expect("memory takes all").into_inner()
}

/// Mangled before it is packed, so that the mangling reaches the XML.
#[test]
fn threemf_model_seed_2() {
    let models: Vec<Vec<u8>> = samples("3mf")
        .iter()
        .map(|bytes| {
            let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).expect("a package");
            let mut model = Vec::new();
            let mut part = zip.by_name("3D/3dmodel.model").expect("the samples' model part");
            part.read_to_end(&mut model).expect("it unpacks");
            model
        })
        .collect();
    let mut dice = Dice(0x5EED_0002);
    let mut read = 0;
    for round in 0..ROUNDS {
        for (i, model) in models.iter().enumerate() {
            let mut bytes = model.clone();
            mangle(&mut bytes, &models[(i + 1) % models.len()], &mut dice);
            if let Ok(answer) = read_bytes("x.3mf", &package(&bytes)) {
                read += 1;
                assert!(answer.mesh.check().is_ok(), "round {round}, sample {i}");
            }
        }
    }
    assert!(read > ROUNDS / 10, "only {read} read");
}
