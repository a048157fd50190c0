//! Joints that a case leads: their shape and wall as measured on the written part.

use serde_json::Value;

use crate::shapes::closed_tube;
use crate::support::Work;

/// A tube of 16 and 20, cut at 41 and joined to one of 16.5 and 20.5 in line, 12 on.
fn case(joint: &str, end: &str) -> String {
    format!(
        r#"unit = "mm"

[scan]
file = "tube.stl"
form = "shell"

[[end]]
name = "upper"
cut = {{ through = [0, 0, 41], facing = [0, 0, 1] }}
reach = 10
fitting = {{ kind = "tube", bore = 16.5, outside = 20.5, length = 25 }}
place = {{ at = [0, 0, 53], along = [0, 0, 1] }}
{end}

[[end]]
name = "lower"
cut = {{ through = [0, 0, 11], facing = [0, 0, -1] }}

[joint]
{joint}

[limits]
deviation = 0.1
wall_min = 1.5
bore_loss = 0.01
kink = 10
"#
    )
}

/// The proof of a case that holds, and the joint's points: share of the way and
/// distance from the axis.
fn made(joint: &str, end: &str) -> (Value, Vec<(f64, f64)>) {
    let work = Work::new();
    work.write("tube.stl", closed_tube(16.0, 20.0, 60.0)).write("tube.toml", case(joint, end));
    let ran = work.spile(&["run", "tube.toml", "--without-report"]);
    assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
    let proof = serde_json::from_str(&work.read("tube-out/proof.json")).unwrap();
    let part = spile_formats::read_bytes("part.stl", &work.files()["tube-out/part.stl"]).unwrap();
    let place = |p: &spile_mesh::DVec3| ((p.z - 41.0) / 12.0, p.x.hypot(p.y));
    let in_joint = |&(share, _): &(f64, f64)| share > 0.02 && share < 0.98;
    (proof, part.mesh.points().iter().map(place).filter(in_joint).collect())
}

#[test]
fn the_shortest_joint_runs_straight() {
    let (proof, points) = made("shape = \"shortest\"", "");
    // A slope of a quarter over 12, far less than the kink lets it be.
    for (share, r) in points {
        let [bore, outside] = [8.0, 10.0].map(|from| from + 0.25 * share);
        let off = (r - bore).abs().min((r - outside).abs());
        assert!(off < 0.02, "{off} at {share}");
    }
    assert_eq!(proof["bending"], serde_json::json!([]));
}

#[test]
fn the_wall_is_as_thick_as_it_is_led_and_a_match_holds_all_limits() {
    let wall = "wall = [{ at = 0.3, thickness = 2.5 }, { at = 0.7, thickness = 2.5 }]";
    let (proof, points) = made(wall, "match = [[[8, 0, 41], 20]]");
    let led = points.iter().filter(|(share, _)| (0.32..0.68).contains(share));
    let (bore, outside): (Vec<f64>, Vec<f64>) = led.map(|&(_, r)| r).partition(|&r| r < 9.2);
    let mean = |radii: &[f64]| radii.iter().sum::<f64>() / radii.len() as f64;
    let between = mean(&outside) - mean(&bore);
    assert!((between - 2.5).abs() < 0.02, "{between}");
    let bent = |k: usize| proof["bending"][k]["ratio"].as_f64().unwrap();
    assert!(bent(1) > 1.5, "{}", proof["bending"]);
}
