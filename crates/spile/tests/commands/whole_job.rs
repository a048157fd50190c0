//! The whole job on a straight tube: files, sameness, proof and its JSON.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::shapes::{closed_tube, open_tube};
use crate::support::{Work, repository_scan};

pub const CASE: &str = r#"unit = "mm"

[scan]
file = "tube.stl"
form = "shell"

[[end]]
name = "upper"
cut = { through = [0, 0, 41], facing = [0, 0, 1] }
reach = 10
fitting = { kind = "tube", bore = 16.5, outside = 20.5, length = 25 }
place = { at = [0.5, 0, 53], along = [0, 0.02, 1] }

[[end]]
name = "lower"
cut = { through = [0, 0, 11], facing = [0, 0, -1] }

[limits]
deviation = 0.1
wall_min = 1.5
bore_loss = 0.01
kink = 10
"#;

fn tube_work() -> Work {
    let work = Work::new();
    work.write("tube.stl", closed_tube(16.0, 20.0, 60.0)).write("tube.toml", CASE);
    work
}

/// The files below `folder`, by their names inside it.
fn below(work: &Work, folder: &str) -> BTreeMap<String, Vec<u8>> {
    let prefix = format!("{folder}/");
    let inside = |(name, bytes): (String, Vec<u8>)| {
        name.strip_prefix(&prefix).map(|n| (n.to_owned(), bytes.clone()))
    };
    work.files().into_iter().filter_map(inside).collect()
}

/// The fitting of `CASE`, within `chord`'s default, 0.01: its triangles' corners
/// lie no further from its exact surface.
fn the_fitting_is_recognised(found: &Value) {
    let along = [0.0_f64, 0.02, 1.0];
    let length = along.iter().map(|x| x * x).sum::<f64>().sqrt();
    let along = along.map(|x| x / length);
    let number = |value: &Value| value.as_f64().unwrap();
    for (diameter, hollow) in [(16.5, true), (20.5, false)] {
        let is_it = |shape: &&Value| {
            shape["kind"] == "cylinder"
                && shape["hollow"] == hollow
                && (2.0 * number(&shape["radius"]) - diameter).abs() <= 0.02
        };
        let shape = found["shapes"].as_array().unwrap().iter().find(is_it);
        let shape = shape.unwrap_or_else(|| panic!("no cylinder of diameter {diameter}"));
        let dot: f64 = (0..3).map(|k| number(&shape["axis"][k]) * along[k]).sum();
        assert!(dot.abs() > 1.0 - 1e-7, "{}", shape["axis"]);
        // How far the axis passes from the middle of the near face.
        let from: Vec<f64> =
            (0..3).map(|k| number(&shape["at"][k]) - [0.5, 0.0, 53.0][k]).collect();
        let height: f64 = (0..3).map(|k| from[k] * along[k]).sum();
        let off: f64 = (0..3).map(|k| (from[k] - height * along[k]).powi(2)).sum();
        assert!(off.sqrt() < 1e-3, "{}", shape["at"]);
    }
}

#[test]
fn a_tube_is_joined_proved_and_proved_again_wherever_it_is_moved() {
    let work = tube_work();
    let ran = work.spile(&["run", "tube.toml"]);
    assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
    // No screen, so no bar: not a byte.
    assert_eq!(ran.stderr, "");
    let first = below(&work, "tube-out");
    let names: Vec<&str> = first.keys().map(String::as_str).collect();
    assert_eq!(
        names,
        [
            "case.toml",
            "inputs/tube.stl",
            "inputs/tube.toml",
            "part.3mf",
            "part.stl",
            "proof.json",
            "report.html",
            "report.pdf",
        ]
    );

    the_fitting_is_recognised(&work.spile(&["examine", "tube-out/part.stl", "--json"]).json());
    std::fs::rename(work.path().join("tube-out"), work.path().join("moved")).unwrap();
    let again = work.spile(&["run", "moved/case.toml", "--out", "again", "--threads", "1"]);
    assert_eq!(again.code, 0, "{}{}", again.stdout, again.stderr);
    let again = below(&work, "again");
    // What was asked is another file now, which proof and report list: all else is the same.
    let tells = |name: &str| name.contains(".toml") && name.contains('/');
    let is_told =
        |name: &str| name.starts_with("proof.") || name.starts_with("report.") || tells(name);
    for (name, bytes) in first.iter().filter(|(name, _)| !is_told(name)) {
        assert!(again.get(name) == Some(bytes), "{name} differs when made again");
    }
    assert_eq!(again["inputs/case.toml"], first["case.toml"]);
    // The case as it was asked makes every byte again, and so does the settled one from the
    // very folder that the inputs are read from.
    let asked = work.spile(&["run", "moved/inputs/tube.toml", "--out", "asked"]);
    assert_eq!(asked.code, 0, "{}", asked.stderr);
    assert!(below(&work, "asked") == first);
    let inside = work.spile(&["run", "again/case.toml", "--out", "again"]);
    assert_eq!(inside.code, 0, "{}", inside.stderr);
    assert!(below(&work, "again") == again);

    let judged = ["prove", "moved/case.toml", "--part", "moved/part.stl"];
    let proved = work.spile(&[&judged[..], &["--asked", "tube.toml", "--json"]].concat());
    assert_eq!(proved.code, 0, "{}", proved.stderr);
    let written: Value = serde_json::from_str(&work.read("moved/proof.json")).unwrap();
    for key in ["verdict", "limits", "part", "changed", "ends", "mends", "inputs"] {
        assert_eq!(proved.json()[key], written[key], "{key}");
    }
}

#[test]
fn the_bytes_are_the_same_on_one_and_two_threads() {
    let work = tube_work();
    for threads in ["1", "2"] {
        let all = ["run", "tube.toml", "--all-files", "--out", threads, "--threads", threads];
        let ran = work.spile(&all);
        assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
    }
    assert!(below(&work, "1") == below(&work, "2"));
}

/// The files of `--all-files`, in their order.
const ALL_FILES: [&str; 19] = [
    "part.stl",
    "part.3mf",
    "part.obj",
    "part.ply",
    "part.glb",
    "part.step",
    "part-sections/upper_tightest.svg",
    "part-sections/upper_tightest.dxf",
    "part-sections/upper_seam.svg",
    "part-sections/upper_seam.dxf",
    "part-sections/upper_face.svg",
    "part-sections/upper_face.dxf",
    "part-sections/lower_tightest.svg",
    "part-sections/lower_tightest.dxf",
    "part-sections/lower_face.svg",
    "part-sections/lower_face.dxf",
    "part-stations.csv",
    "part-limits.csv",
    "part-cautions.txt",
];

#[test]
fn every_file_that_is_asked_for_is_written_listed_and_goes_when_it_is_not() {
    let work = tube_work();
    let ran = work.spile(&["run", "tube.toml", "--all-files", "--json"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    let document = ran.json();
    let outputs = document["outputs"].as_array().unwrap();
    let listed: Vec<&str> = outputs.iter().map(|o| o["file"].as_str().unwrap()).collect();
    assert_eq!(
        listed,
        ALL_FILES.into_iter().chain(["case.toml", "report.html", "report.pdf"]).collect::<Vec<_>>()
    );
    let first = below(&work, "tube-out");
    for output in outputs {
        let bytes = &first[output["file"].as_str().unwrap()];
        assert_eq!(output["sha256"], sha256(bytes), "{output}");
    }
    // What the program reads of them is the part: bit for bit, or in decimals that stand for
    // the same 32-bit numbers (check-values 3.2: those near 100 are 7.63e-6 apart).
    for (name, apart) in [("part.obj", 7.63e-6), ("part.ply", 0.0)] {
        let inside = format!("tube-out/{name}");
        let found = work.spile(&["compare", &inside, "tube-out/part.stl", "--json"]).json();
        assert!(found["bounds"][0].as_f64().unwrap() <= apart, "{name} {}", found["bounds"]);
    }
    // STL has no room for it, 3MF is packed, and tables have a file beside them for it.
    let silent = [".stl", ".3mf", ".csv"];
    for name in ALL_FILES.into_iter().filter(|name| !silent.iter().any(|s| name.ends_with(s))) {
        let text = String::from_utf8_lossy(&first[name]).replace("\n# ", " ");
        assert!(text.contains("This proof covers geometry only."), "{name}");
    }
    for group in ["bore", "outside", "joint_bore_upper", "fitting_outside_upper", "end_face_lower"]
    {
        let line = format!("g {group}");
        assert!(work.read("tube-out/part.obj").lines().any(|l| l == line), "{group}");
    }
    // The settled case asks for the same.
    let again = work.spile(&["run", "tube-out/case.toml", "--out", "again"]);
    assert_eq!(again.code, 0, "{}", again.stderr);
    let again = below(&work, "again");
    for name in ALL_FILES {
        assert!(again.get(name) == first.get(name), "{name} differs when made again");
    }
    let fewer = format!("{CASE}\n[output]\nfiles = [\"obj\"]\n");
    work.write("tube.toml", fewer);
    let ran = work.spile(&["run", "tube.toml"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    let names: Vec<String> = below(&work, "tube-out").into_keys().collect();
    assert_eq!(
        names,
        [
            "case.toml",
            "inputs/tube.stl",
            "inputs/tube.toml",
            "part.3mf",
            "part.obj",
            "part.stl",
            "proof.json",
            "report.html",
            "report.pdf"
        ]
    );
}

fn sha256(bytes: &[u8]) -> String {
    use sha2::Digest as _;
    sha2::Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect()
}

fn has(value: &Value, keys: &[&str]) {
    for key in keys {
        assert!(value.get(key).is_some(), "no `{key}` in {value}");
    }
}

/// Keys of the documents that scripts rely on: they are never renamed.
#[test]
fn examine_and_compare_have_every_field() {
    let work = tube_work();
    let found = work.spile(&["examine", "tube.stl", "--json"]).json();
    let keys =
        ["file", "sha256", "triangles", "vertices", "unit_guess", "size", "shells", "closed"];
    has(&found, &keys);
    let shape = ["kind", "at", "axis", "radius", "hollow", "exact", "rms", "extent", "triangles"];
    has(&found["shapes"][0], &shape);
    assert!(found["findings"].is_array() && found["ends"].is_array(), "{found}");
    work.write("open.stl", open_tube(16.0, 20.0, 60.0));
    let found = work.spile(&["examine", "open.stl", "--json"]).json();
    has(&found["ends"][0], &["centre", "direction", "bore", "outside", "circle", "outside_circle"]);
    work.write("boot.obj", repository_scan("defects/boot-flipped-patch-derived.obj"));
    let found = work.spile(&["examine", "boot.obj", "--json"]).json();
    has(&found["findings"][0], &["kind", "effect", "where", "count", "size"]);
    let apart = work.spile(&["compare", "tube.stl", "open.stl", "--json"]).json();
    has(&apart, &["a", "b", "bounds", "a_to_b", "b_to_a", "where"]);
}

/// A run that ends broken is one JSON document too, and says what fights.
#[test]
fn a_broken_run_names_its_conflict_in_every_field() {
    let work = tube_work();
    work.write("tube.toml", CASE.replace("wall_min = 1.5", "wall_min = 2.5"));
    let ran = work.spile(&["run", "tube.toml", "--json", "--tries", "0"]);
    assert_eq!(ran.code, 1, "{}", ran.stderr);
    let conflict = &ran.json()["conflicts"][0];
    has(conflict, &["limits", "end", "where", "would_hold", "certain"]);
    has(&conflict["would_hold"][0], &["key", "value", "known_by"]);
    assert_eq!(ran.json()["verdict"], "broken");
    assert_eq!(ran.json()["outputs"][0]["file"], "part-broken.stl");
    // All else goes to standard error, and no bar with it.
    assert!(ran.stderr.contains("conflict: `wall_min` and `fitting` cannot hold together"));
    assert!(!ran.stderr.contains('\r') && !ran.stderr.contains('\u{1b}'), "{:?}", ran.stderr);
}

/// Keys of `proof.json` that scripts rely on: they are never renamed.
#[test]
fn the_proof_has_every_field_and_no_place_or_time() {
    let work = tube_work();
    let ran = work.spile(&["run", "tube.toml", "--json"]);
    let proof = ran.json();
    assert_eq!(ran.stdout, work.read("tube-out/proof.json"));
    for key in [
        "spile",
        "case",
        "unit",
        "inputs",
        "outputs",
        "verdict",
        "limits",
        "conflicts",
        "mends",
        "part",
        "changed",
        "ends",
    ] {
        assert!(proof.get(key).is_some(), "no `{key}`");
    }
    has(&proof["inputs"][0], &["file", "sha256", "triangles"]);
    has(&proof["outputs"][0], &["file", "sha256"]);
    for limit in proof["limits"].as_array().unwrap() {
        let keys = ["name", "end", "asked", "measured", "bounds", "where", "verdict", "how"];
        has(limit, &keys);
    }
    let part = [
        "triangles",
        "vertices",
        "area",
        "volume",
        "shells",
        "boundary_edges",
        "self_intersections",
    ];
    has(&proof["part"], &part);
    let changed = ["triangles_kept", "triangles_replaced", "area_replaced", "area_given_up"];
    has(&proof["changed"], &changed);
    has(&proof["ends"][0], &["name", "stations"]);
    let here = work.path().to_string_lossy().into_owned();
    for (name, bytes) in below(&work, "tube-out") {
        let text = String::from_utf8_lossy(&bytes).into_owned();
        assert!(!text.contains(&here), "{name} holds an absolute path");
    }
}

#[test]
fn the_table_names_every_limit_that_was_asked() {
    let work = tube_work();
    let ran = work.spile(&["run", "tube.toml"]);
    let row = |name: &str| {
        ran.stdout
            .lines()
            .find(|l| l.starts_with(name))
            .unwrap_or_else(|| panic!("no `{name}` in\n{}", ran.stdout))
            .to_owned()
    };
    for name in ["closed", "untouched", "deviation", "wall_min", "bore_loss", "kink", "fitting"] {
        assert!(row(name).ends_with("held"), "{}", row(name));
    }
    assert!(row("ball_min").ends_with("not asked"));
    assert!(ran.stdout.contains("verdict: held"));
    assert!(ran.stdout.contains("This proof covers geometry only."), "the caution is missing");
}

#[test]
fn a_file_of_the_users_in_the_output_folder_stays() {
    let work = tube_work();
    work.write("tube-out/notes.txt", "mine").write("tube-out/part-broken.stl", "earlier");
    let ran = work.spile(&["run", "tube.toml"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    let names: Vec<String> = below(&work, "tube-out").into_keys().collect();
    assert_eq!(
        names,
        [
            "case.toml",
            "inputs/tube.stl",
            "inputs/tube.toml",
            "notes.txt",
            "part.3mf",
            "part.stl",
            "proof.json",
            "report.html",
            "report.pdf",
        ]
    );
}

#[test]
fn an_unsettled_case_proves_nothing_and_says_what_is_missing() {
    let work = tube_work();
    let ran = work.spile(&["prove", "tube.toml", "--part", "tube.stl"]);
    assert_eq!(ran.code, 2, "{}", ran.stdout);
    for end in ["upper", "lower"] {
        let said = format!("hint: missing: end `{end}`: `seam`: ");
        assert!(ran.stderr.contains(&said), "{}", ran.stderr);
    }
}
