//! `prove` on parts that were made elsewhere: here, by the formula of a tube.

use std::f64::consts::TAU;
use std::fmt::Write as _;

use crate::shapes::{ROUND, closed_tube, cube};
use crate::support::Work;

/// A tube cut level at z 40, closed by a flat ring: settled, with its seam.
fn settled() -> String {
    let circle = |radius: f64| {
        let mut text = String::new();
        for k in 0..ROUND {
            let angle = TAU * k as f64 / ROUND as f64;
            let [x, y] = [radius * angle.cos(), radius * angle.sin()].map(|v| v as f32);
            let _ = writeln!(text, "    [{x:?}, {y:?}, 40.0],");
        }
        text
    };
    format!(
        "unit = \"mm\"\n\n[scan]\nfile = \"tube.stl\"\nform = \"shell\"\nhole_max = 1.0\n\n\
         [[end]]\nname = \"upper\"\ncut = {{ through = [0, 0, 40], facing = [0, 0, 1] }}\n\n\
         [end.seam]\nbore = [\n{}]\noutside = [\n{}]\n\n[limits]\ndeviation = 0.1\n",
        circle(8.0),
        circle(10.0)
    )
}

fn work() -> Work {
    let work = Work::new();
    work.write("tube.stl", closed_tube(16.0, 20.0, 60.0)).write("case.toml", settled());
    work.write("cut.stl", closed_tube(16.0, 20.0, 40.0)).write("cube.stl", cube(10.0));
    work
}

#[test]
fn a_tube_cut_by_hand_holds() {
    let work = work();
    let before = work.files();
    let ran = work.spile(&["prove", "case.toml", "--part", "cut.stl"]);
    assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
    assert_eq!(work.files(), before, "nothing is written");
    let proof = work.spile(&["prove", "case.toml", "--part", "cut.stl", "--json"]).json();
    assert_eq!(proof["verdict"], "held");
    // Of 60 rows of walls a third is given up, and the upper ring: closed form.
    let kept = proof["changed"]["triangles_kept"].as_u64();
    assert_eq!(kept, Some((2 * 20 * 2 * ROUND + 2 * ROUND) as u64));
}

#[test]
fn another_solid_is_broken_and_every_reason_is_told() {
    let work = work();
    let ran = work.spile(&["prove", "case.toml", "--part", "cube.stl", "--json"]);
    assert_eq!(ran.code, 1, "{}{}", ran.stdout, ran.stderr);
    assert_eq!(ran.json()["verdict"], "broken");
    assert!(ran.stderr.contains("broken: `untouched`"), "{}", ran.stderr);
}

#[test]
fn a_part_or_case_that_cannot_be_read_is_wrong_input() {
    let work = work();
    work.write("part.stl", [1, 2, 3]);
    assert_eq!(work.spile(&["prove", "case.toml", "--part", "part.stl"]).code, 2);
    assert_eq!(work.spile(&["prove", "case.toml", "--part", "none.stl"]).code, 2);
    assert_eq!(work.spile(&["prove", "none.toml", "--part", "cut.stl"]).code, 2);
}

/// The settled case without its seams.
fn without_seams() -> String {
    let (head, tail) =
        settled().split_once("[end.seam]").map(|(a, b)| (a.to_owned(), b.to_owned())).unwrap();
    let (_, limits) = tail.split_once("[limits]").unwrap();
    format!("{head}[limits]{limits}")
}

#[test]
fn a_plain_end_is_settled_from_the_part() {
    let work = work();
    work.write("open.toml", without_seams());
    let proof = work.spile(&["prove", "open.toml", "--part", "cut.stl", "--json"]);
    assert_eq!(proof.code, 0, "{}", proof.stderr);
    let settled = work.spile(&["prove", "case.toml", "--part", "cut.stl", "--json"]).json();
    // The same rows and verdicts as with the seams written out; the order of
    // their points differs, and with it the last digits of a place.
    let rows = |proof: &serde_json::Value| -> Vec<[String; 3]> {
        let rows = proof["limits"].as_array().unwrap().iter();
        rows.map(|l| ["name", "verdict", "asked"].map(|key| l[key].to_string())).collect()
    };
    assert_eq!(rows(&proof.json()), rows(&settled));
    assert_eq!(
        proof.json()["notes"][0],
        "end `upper`: settled: `seam`: the part's loops in the cut's plane"
    );
}

/// A straight tube cut level and lengthened by a tube of the same facets: its
/// circle is the one whose area the polygon has, `n/2 R^2 sin(2 pi/n)`.
#[test]
fn a_joint_that_starts_in_the_plane_is_settled_from_the_part() {
    let work = work();
    let step = TAU / ROUND as f64;
    let [bore, outside] = [16.0, 20.0].map(|d: f64| d * (step.sin() / step).sqrt() * (1.0 - 1e-6));
    let fitting = format!(
        "reach = 5\nfitting = {{ kind = \"tube\", bore = {bore}, outside = {outside}, length = 26 }}\n\
         place = {{ gap = 12 }}\n\n[limits]\nkink = 1\nchord = 0.02\n"
    );
    work.write("gap.toml", without_seams().replace("[limits]\n", &fitting));
    work.write("joined.stl", closed_tube(16.0, 20.0, 78.0));
    let ran = work.spile(&["prove", "gap.toml", "--part", "joined.stl", "--json"]);
    assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
    assert_eq!(ran.json()["ends"][0]["name"], "upper");
}

#[test]
fn what_cannot_be_settled_without_solving_is_named_end_by_end() {
    let work = work();
    // No edge of this part lies in the plane at 41, and no fitting is there.
    work.write("open.toml", without_seams().replace("[0, 0, 40]", "[0, 0, 41]"));
    let ran = work.spile(&["prove", "open.toml", "--part", "cut.stl"]);
    insta::assert_snapshot!("prove unsettled", ran.whole());
}

/// A part made elsewhere, its seam nowhere near the plane: what needs no seam is judged,
/// and every other limit says why it is not.
#[test]
fn without_seams_what_needs_none_is_judged_and_the_rest_is_told() {
    let work = work();
    work.write("open.toml", without_seams().replace("[0, 0, 40]", "[0, 0, 41]"));
    let ran = work.spile(&["prove", "open.toml", "--part", "cut.stl"]);
    assert_eq!(ran.code, 2, "{}", ran.stdout);
    assert!(ran.stderr.contains("hint: with `--without-seams`"), "{}", ran.stderr);
    let ran = work.spile(&["prove", "open.toml", "--part", "cut.stl", "--without-seams", "--json"]);
    assert_eq!(ran.code, 1, "{}", ran.stderr);
    let proof = ran.json();
    let rows = proof["limits"].as_array().unwrap();
    let row = |name: &str| rows.iter().find(|l| l["name"] == name).unwrap();
    assert_eq!(row("closed")["verdict"], "held");
    let how = row("deviation")["how"].as_str().unwrap();
    assert!(row("deviation")["verdict"] == "not judged" && how.contains("none is given"), "{how}");
    assert!(proof["notes"].to_string().contains("not judged for want of it"), "{}", proof["notes"]);
}
