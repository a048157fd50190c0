//! `examine` and `new`: what is found in made and real scans.

use crate::shapes::{closed_tube, cube, open_tube, solid_bar, two_cubes};
use crate::support::{Work, repository_scan};

/// Counts of triangles, points and pieces: the scan's row in tests/scans/README.md.
#[test]
fn a_real_scan_shows_its_ends() {
    let work = Work::new();
    work.write("trachea.stl", repository_scan("anatomy/vhm-trachea-jagged-derived.stl"));
    let ran = work.spile(&["examine", "trachea.stl", "--json"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    let found = ran.json();
    assert_eq!(found["triangles"], 12658);
    assert_eq!(found["vertices"], 6420);
    assert_eq!(found["shells"], 2);
    assert_eq!(found["closed"], false);
    let top = &found["ends"][0];
    assert!(top["bore"].as_f64() < top["outside"].as_f64(), "{top}");
    for key in ["file", "sha256", "unit_guess", "size", "findings"] {
        assert!(found.get(key).is_some(), "no `{key}`");
    }
    insta::assert_snapshot!("trachea", work.spile(&["examine", "trachea.stl"]).whole());
    insta::assert_snapshot!("new trachea", work.spile(&["new", "trachea.stl"]).whole());
}

/// Two walls of diameter 16 and 20 as 64-gons: the circle of a rim's area is
/// sqrt(n sin(2 pi / n) / (2 pi)) times the diameter across corners.
#[test]
fn the_rims_of_a_tube_have_their_closed_form_size() {
    let work = Work::new();
    work.write("tube.stl", open_tube(16.0, 20.0, 60.0));
    let found = work.spile(&["examine", "tube.stl", "--json"]).json();
    let turn = std::f64::consts::TAU;
    let share = (64.0 * (turn / 64.0).sin() / turn).sqrt();
    let ends = found["ends"].as_array().unwrap();
    assert_eq!(ends.len(), 2);
    for end in ends {
        let of = |key: &str| end[key].as_f64().unwrap();
        assert!((of("bore") - 16.0 * share).abs() < 1e-5, "{end}");
        assert!((of("outside") - 20.0 * share).abs() < 1e-5, "{end}");
        let (z, up) = (end["centre"][2].as_f64().unwrap(), end["direction"][2].as_f64().unwrap());
        assert!((z - if up > 0.0 { 60.0 } else { 0.0 }).abs() < 1e-9, "{end}");
        assert!(up.abs() > 0.999_999, "{end}");
    }
    assert_eq!(found["findings"].as_array().map(Vec::len), Some(0));
}

/// A closed tube of diameters 16 and 20 across the corners of 64-gons: two
/// cylinders through those corners, and both ends.
#[test]
fn a_tube_is_recognised_with_its_closed_form_size() {
    let work = Work::new();
    work.write("tube.stl", closed_tube(16.0, 20.0, 60.0));
    let found = work.spile(&["examine", "tube.stl", "--json"]).json();
    let shapes = found["shapes"].as_array().unwrap();
    let kinds: Vec<_> = shapes.iter().map(|shape| shape["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["cylinder", "cylinder", "plane", "plane"]);
    for (shape, radius, hollow) in [(&shapes[0], 10.0, false), (&shapes[1], 8.0, true)] {
        assert!((shape["radius"].as_f64().unwrap() - radius).abs() < 1e-5, "{shape}");
        assert!(shape["axis"][2].as_f64().unwrap().abs() > 1.0 - 1e-9, "{shape}");
        assert!((shape["extent"]["length"].as_f64().unwrap() - 60.0).abs() < 1e-6, "{shape}");
        assert_eq!((&shape["hollow"], &shape["exact"]), (&hollow.into(), &true.into()));
        // 64 sides, 30 rows of 2 mm, two triangles each.
        assert_eq!(shape["triangles"].as_array().map(Vec::len), Some(64 * 30 * 2));
    }
    insta::assert_snapshot!("recognised tube", work.spile(&["examine", "tube.stl"]).whole());
    work.write("open.stl", open_tube(16.0, 20.0, 60.0));
    let found = work.spile(&["examine", "open.stl", "--json"]).json();
    for end in found["ends"].as_array().unwrap() {
        for (key, radius) in [("circle", 8.0), ("outside_circle", 10.0)] {
            let circle = &end[key];
            assert!((circle["radius"].as_f64().unwrap() - radius).abs() < 1e-5, "{end}");
            let along = |v: &serde_json::Value| v[2].as_f64().unwrap();
            assert!(along(&circle["axis"]) * along(&end["direction"]) > 0.999_999, "{end}");
        }
    }
    insta::assert_snapshot!("recognised open", work.spile(&["examine", "open.stl"]).whole());
}

/// Anatomy is no designed part: none of these scans has a shape to be found, nor
/// a round rim.
#[test]
fn nothing_is_recognised_in_anatomy() {
    let work = Work::new();
    for scan in ["vhf-aortic-arch", "vhf-cricoid", "vhm-trachea-cut", "aorta-arch-cut"] {
        let name = format!("{scan}.stl");
        work.write(&name, repository_scan(&format!("anatomy/{scan}-derived.stl")));
        let found = work.spile(&["examine", &name, "--json"]).json();
        assert_eq!(found["shapes"], serde_json::json!([]), "{scan}");
        for end in found["ends"].as_array().unwrap() {
            assert!(end["circle"].is_null() && end["outside_circle"].is_null(), "{scan} {end}");
        }
    }
}

#[test]
fn defects_are_found_with_what_they_do() {
    let work = Work::new();
    work.write("boot.obj", repository_scan("defects/boot-flipped-patch-derived.obj"));
    let found = work.spile(&["examine", "boot.obj", "--json"]).json();
    // tests/scans/README.md: 95 edges with inconsistent winding.
    let flipped = &found["findings"][0];
    assert_eq!(flipped["kind"], "flipped");
    assert_eq!(flipped["count"], 95);
    assert_eq!(flipped["effect"], "stops closing");
    assert_eq!(found["unit_guess"], "m");
}

/// A cube of 8 and one of 4 in its middle that faces out too: 12 triangles of
/// area 6 x 4 x 4.
#[test]
fn an_internal_wall_is_named_with_its_triangles() {
    let work = Work::new();
    work.write("nested.stl", two_cubes(8.0, 4.0));
    let found = work.spile(&["examine", "nested.stl", "--json"]).json();
    let finding = &found["findings"][0];
    assert_eq!(finding["kind"], "internal-wall");
    assert_eq!(finding["effect"], "stops closing");
    assert_eq!(finding["area"], 96.0);
    let named: Vec<u64> =
        finding["triangles"].as_array().unwrap().iter().map(|t| t.as_u64().unwrap()).collect();
    assert_eq!(named, (12..24).collect::<Vec<u64>>());
    insta::assert_snapshot!("nested", work.spile(&["examine", "nested.stl"]).whole());
}

#[test]
fn a_mended_scan_has_its_defects_no_more() {
    let work = Work::new();
    work.write("boot.obj", repository_scan("defects/boot-flipped-patch-derived.obj"));
    let ran = work.spile(&["examine", "boot.obj", "--mend", "boot.stl", "--json"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    assert_eq!(ran.json()["mended"]["mends"][0]["kind"], "flipped");
    let after = work.spile(&["examine", "boot.stl", "--json"]).json();
    assert_eq!(after["closed"], true);
    assert_eq!(after["triangles"], 39906);
    let ran = work.spile(&["examine", "boot.obj", "--mend", "boot.xyz"]);
    assert_eq!(ran.code, 2, "{}", ran.stdout);
    let names: Vec<String> = work.files().into_keys().collect();
    assert_eq!(names, ["boot.obj", "boot.stl"]);
}

#[test]
fn several_files_give_a_list() {
    let work = Work::new();
    work.write("a.stl", cube(10.0)).write("b.stl", solid_bar(20.0, 60.0));
    insta::assert_snapshot!("examine two", work.spile(&["examine", "a.stl", "b.stl"]).whole());
    let found = work.spile(&["examine", "a.stl", "b.stl", "--json"]).json();
    assert_eq!(found[1]["file"], "b.stl");
}

/// A starter case runs as far as reading goes: no mistake in it is reported.
#[test]
fn a_starter_case_reads_back() {
    let work = Work::new();
    for (name, bytes) in [
        ("open.stl", open_tube(16.0, 20.0, 60.0)),
        ("closed.stl", closed_tube(16.0, 20.0, 60.0)),
        ("bar.stl", solid_bar(20.0, 60.0)),
        ("lumen.stl", repository_scan("anatomy/airway-ct-lumen-derived.stl")),
    ] {
        work.write(name, bytes);
        let new = work.spile(&["new", name]);
        assert_eq!((new.code, new.stderr.as_str()), (0, ""));
        let case = spile_case::read_case(&new.stdout, "new.toml");
        assert!(case.is_ok(), "{case:?}\n{}", new.stdout);
    }
}

/// The row in tests/scans/README.md: one patch of 711 triangles turned over.
#[test]
fn a_mended_scan_is_written_and_says_what_was_done() {
    let work = Work::new();
    work.write("boot.obj", repository_scan("defects/boot-flipped-patch-derived.obj"));
    let ran = work.spile(&["examine", "boot.obj", "--mend", "mended.3mf", "--json"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    let mends = ran.json()["mended"]["mends"].clone();
    assert_eq!(mends.as_array().map(Vec::len), Some(1));
    assert_eq!(mends[0]["kind"], "flipped");
    let again = work.spile(&["examine", "mended.3mf", "--json"]).json();
    assert_eq!(again["closed"], true);
    assert_eq!(again["triangles"], 39906);
    let wrong = work.spile(&["examine", "boot.obj", "--mend", "mended.obj"]);
    assert_eq!(wrong.code, 2);
    assert!(wrong.stderr.contains(".stl or .3mf"), "{}", wrong.stderr);
}
