//! `spile fittings FILE` of STEP files: their rims with the radii that an open CAD
//! kernel was told to draw, and what is said of a file that is not taken.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::path::{Path, PathBuf};

fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/scans/step").join(name)
}

fn listed(file: &Path) -> assert_cmd::assert::Assert {
    let mut spile = assert_cmd::Command::new(env!("CARGO_BIN_EXE_spile"));
    spile.args(["fittings", "--json"]).arg(file).assert()
}

/// A tube of radii 8 and 10, 25 long, in millimetres and (25.4 mm each) inches.
#[test]
fn the_exact_radii_and_the_files_unit_are_told() {
    for (name, unit, inch) in [("flanged.step", "mm", 1.0), ("flanged-inch.step", "in", 25.4)] {
        let output = listed(&sample(name)).code(0).get_output().stdout.clone();
        let json: serde_json::Value = serde_json::from_slice(&output).unwrap();
        assert_eq!((&json["unit"], &json["exact"]["faces"]), (&unit.into(), &8.into()));
        let rims = json["rims"].as_array().unwrap();
        assert_eq!(rims.len(), 2, "{name}");
        for rim in rims {
            let centre = inch * rim["centre"][2].as_f64().unwrap();
            assert!((centre - 12.5).abs() - 12.5 < 1e-9, "{name}: {centre}");
            for (side, radius) in [("bore", 8.0), ("outside", 10.0)] {
                let exact = inch * rim[side]["exact_radius"].as_f64().unwrap();
                assert!((exact - radius).abs() < 1e-9, "{name} {side}: {exact}");
            }
        }
    }
}

#[test]
fn what_is_not_taken_is_named_with_its_place_and_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("free.step");
    let text = std::fs::read_to_string(sample("flanged.step")).unwrap();
    let text = text.replacen("CYLINDRICAL_SURFACE('',#33,10.)", "B_SPLINE_SURFACE('',3)", 1);
    std::fs::write(&file, text).unwrap();
    let output = listed(&file).code(2).get_output().clone();
    let said = String::from_utf8_lossy(&[output.stdout, output.stderr].concat()).into_owned();
    for part in ["#32 in line 44", "B_SPLINE_SURFACE", "model it with planes"] {
        assert!(said.contains(part), "{part}: {said}");
    }
}
