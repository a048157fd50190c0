//! `[scan] align`: a case written for one scan is run on another that lies elsewhere.

use spile_mesh::{DVec3, Mesh, round_to_f32};

use crate::shapes::{closed_tube, stl};
use crate::support::{Work, repository_scan};

const CASE: &str = r#"unit = "mm"
[scan]
file = "second.stl"
form = "shell"
align = { to = "first.stl" }
[[end]]
name = "upper"
cut = { through = [-0.8, 632.5, 37.1], facing = [0.0, 0.93, 0.37] }
reach = 12.0
fitting = { kind = "tube", bore = 16.0, outside = 20.0, length = 25.0 }
place = { at = [0.7, 643.64997, 41.536009], along = [0.0, 0.8854333, 0.4647665] }
[[end]]
name = "lower"
cut = { through = [-3.7, 562.6, 1.0], facing = [0.0, -0.93, -0.37] }
[limits]
deviation = 0.1
wall_min = 1.2
bore_loss = 0.005
kink = 10.0
[[keep]]
ball = { at = [8.9, 626.46, 34.70], radius = 3.0 }
"#;

fn first() -> Vec<u8> {
    repository_scan("anatomy/vhm-trachea-jagged-derived.stl")
}

/// A rotation by rational numbers (the quaternion 1, 2, -2, 4 made unit), and a shift.
fn elsewhere(p: DVec3) -> DVec3 {
    let (w, x, y, z) = (0.2, 0.4, -0.4, 0.8);
    let v = DVec3::new(x, y, z);
    p + 2.0 * v.cross(v.cross(p) + w * p) + DVec3::new(40.0, -130.5, 25.25)
}

/// The trachea with each triangle parted in three from its middle, which is raised by
/// `bump` times its size in turn to either side, carried elsewhere.
fn second(bump: f64) -> Vec<u8> {
    let mesh: Mesh = spile_formats::read_bytes("first.stl", &first()).unwrap().mesh;
    let corner = |p: DVec3| round_to_f32(elsewhere(p)).to_array();
    let mut out = Vec::new();
    for t in 0..mesh.triangles().len() {
        let [a, b, c] = mesh.corners(t);
        let normal = mesh.area_normal(t);
        let high = if t % 2 == 0 { bump } else { -bump };
        let middle = (a + b + c) / 3.0 + high * normal / normal.length().sqrt().max(1e-9);
        let [a, b, c, m] = [a, b, c, middle].map(corner);
        out.extend([[a, b, m], [b, c, m], [c, a, m]]);
    }
    stl(&out)
}

#[test]
fn a_case_is_moved_onto_a_scan_that_lies_elsewhere() {
    let work = Work::new();
    work.write("first.stl", first()).write("second.stl", second(0.0)).write("a.toml", CASE);
    let ran = work.spile(&["run", "a.toml", "--without-report", "--json", "--tries", "0"]);
    assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
    let proof = ran.json();
    let row = &proof["limits"][0];
    assert_eq!((row["name"].as_str(), row["verdict"].as_str()), (Some("case"), Some("held")));
    // The residual is measured by the proof: f32 rounding, here.
    let align = &proof["align"];
    assert!(align["rms"].as_f64().unwrap() < 1e-4, "{align}");
    assert_eq!(align["first"], "inputs/first.stl");
    assert!(work.files().contains_key("a-out/inputs/first.stl"));
    // The settled case has the moved numbers: within what f32 rounding leaves to a fit.
    let settled = work.read("a-out/case.toml");
    let case = spile_case::read_case(&settled, "case.toml").unwrap();
    assert!(case.scan.align.is_none() && case.scan.moved.is_some());
    let spile_case::Site::Cut(cut) = case.ends[0].site else { panic!("a cut") };
    let off = DVec3::from(cut.through).distance(elsewhere(DVec3::new(-0.8, 632.5, 37.1)));
    assert!(off < 1e-3, "{off}");
    // It stands alone: it runs again, and is proved against what was asked.
    let args = ["prove", "a-out/case.toml", "--part", "a-out/part.stl"];
    assert_eq!(work.spile(&args).code, 0);
    assert_eq!(work.spile(&[&args[..], &["--asked", "a.toml"]].concat()).code, 0);
    // A claim of other places, or of another motion, is found out.
    let moved_on = |from: &str, by: f64| {
        let at = settled.find(from).unwrap() + from.len();
        let end = at + settled[at..].find(',').unwrap();
        let x: f64 = settled[at..end].parse().unwrap();
        format!("{}{:?}{}", &settled[..at], x + by, &settled[end..])
    };
    for lie in [
        moved_on("through = [", 0.01),
        moved_on("ball = { at = [", 0.01),
        moved_on("shift = [", 3.0),
    ] {
        work.write("a-out/lie.toml", &lie);
        let args = ["prove", "a-out/lie.toml", "--part", "a-out/part.stl", "--asked", "a.toml"];
        let ran = work.spile(&args);
        assert_eq!(ran.code, 1, "{}", ran.stderr);
        assert!(ran.stdout.contains("broken: `case`"), "{}", ran.stdout);
    }
    // A case that is still to be aligned is not settled.
    let ran = work.spile(&["prove", "a.toml", "--part", "a-out/part.stl"]);
    assert_eq!(ran.code, 2);
    assert!(ran.stderr.contains("`align` is found by `run`"), "{}", ran.stderr);
}

#[test]
fn a_changed_scan_leaves_a_residual_and_the_like_result() {
    let work = Work::new();
    work.write("first.stl", first()).write("second.stl", second(0.02)).write("a.toml", CASE);
    let ran = work.spile(&["run", "a.toml", "--without-report", "--json", "--tries", "0"]);
    let proof = ran.json();
    let row = &proof["limits"][0];
    assert_eq!((row["name"].as_str(), row["verdict"].as_str()), (Some("case"), Some("held")));
    let rms = proof["align"]["rms"].as_f64().unwrap();
    assert!(rms > 1e-3 && rms < 0.1, "{rms}");
    let case = spile_case::read_case(&work.read("a-out/case.toml"), "case.toml").unwrap();
    let spile_case::Site::Cut(cut) = case.ends[0].site else { panic!("a cut") };
    let off = DVec3::from(cut.through).distance(elsewhere(DVec3::new(-0.8, 632.5, 37.1)));
    assert!(off < 0.05, "{off}");
}

#[test]
fn what_looks_the_same_from_several_sides_or_is_another_part_is_refused() {
    let case = "unit = \"mm\"\n[scan]\nfile = \"second.stl\"\nform = \"shell\"\nalign = { to = \"first.stl\" }\n\
                [[end]]\nname = \"a\"\ncut = { through = [0, 0, 20], facing = [0, 0, 1] }\n[limits]\ndeviation = 0.1\n";
    let work = Work::new();
    work.write("first.stl", closed_tube(16.0, 20.0, 60.0)).write("a.toml", case);
    work.write("second.stl", closed_tube(16.0, 20.0, 60.0));
    let ran = work.spile(&["run", "a.toml", "--without-report"]);
    assert_eq!(ran.code, 2, "{}", ran.whole());
    assert!(ran.stderr.contains("lies on this scan in two ways alike"), "{}", ran.stderr);
    assert!(ran.stderr.contains("hint: the part looks the same from several sides"));
    work.write("second.stl", first());
    let ran = work.spile(&["run", "a.toml", "--without-report"]);
    assert_eq!(ran.code, 2, "{}", ran.whole());
    assert!(ran.stderr.contains("does not lie on this scan"), "{}", ran.stderr);
    work.write("a.toml", case.replace("first.stl", "gone.stl"));
    let ran = work.spile(&["run", "a.toml", "--without-report"]);
    assert_eq!(ran.code, 2);
    assert!(ran.stderr.contains("gone.stl"), "{}", ran.stderr);
}
