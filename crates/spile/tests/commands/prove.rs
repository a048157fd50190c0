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

#[test]
fn an_unsettled_case_proves_nothing_and_says_what_is_missing() {
    let work = work();
    let case = settled().replace(
        "[end.seam]",
        "reach = 5\nfitting = { kind = \"tube\", bore = 16, outside = 20, length = 25 }\n\
         place = { gap = 12 }\n\n[end.seam]",
    );
    work.write("gap.toml", case);
    let ran = work.spile(&["prove", "gap.toml", "--part", "cut.stl"]);
    insta::assert_snapshot!("prove unsettled", ran.whole());
}

#[test]
fn a_settled_case_is_held_to_the_case_that_was_asked() {
    let work = work();
    // As the user wrote it: no seam, and a wall asked for.
    let (head, rest) =
        settled().split_once("[end.seam]").map(|(a, b)| (a.to_owned(), b.to_owned())).unwrap();
    let limits = &rest[rest.find("[limits]").unwrap()..];
    let asked = format!("{head}{limits}");
    work.write("asked.toml", &asked).write("wall.toml", format!("{asked}wall_min = 1.0\n"));
    let prove = |asked: &str| {
        work.spile(&["prove", "case.toml", "--part", "cut.stl", "--asked", asked, "--json"])
    };
    let ran = prove("asked.toml");
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    assert_eq!(ran.json()["limits"][0]["name"], "case");
    let ran = prove("wall.toml");
    assert_eq!(ran.code, 1, "{}", ran.stderr);
    assert_eq!(ran.json()["limits"][0]["verdict"], "broken");
    assert!(ran.stderr.contains("`limits.wall_min` differs"), "{}", ran.stderr);
    // The same words, of another scan.
    work.write("longer.stl", closed_tube(16.0, 20.0, 62.0));
    work.write("other.toml", asked.replace("tube.stl", "longer.stl"));
    let ran = prove("other.toml");
    assert_eq!(ran.code, 2, "{}", ran.stderr);
    assert!(ran.stderr.contains("longer.stl") && ran.stderr.contains("SHA-256"), "{}", ran.stderr);
}
