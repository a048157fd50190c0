//! A mistake in a case is shown with its value underlined, and ends with 2.

use crate::shapes::closed_tube;
use crate::support::Work;

const CASE: &str = r#"unit = "mm"

[scan]
file = "tube.stl"
form = "shell"

[[end]]
name = "upper"
cut = { through = [0, 0, 40], facing = [0, 0, 1] }
reach = 10
fitting = { kind = "tube", bore = 16, outside = 20, length = 25 }
place = { gap = 12 }

[limits]
deviation = 0.1
"#;

fn changed(old: &str, new: &str) -> (Work, String) {
    let work = Work::new();
    work.write("tube.stl", closed_tube(16.0, 20.0, 60.0));
    assert_eq!(CASE.matches(old).count(), 1, "{old}");
    work.write("a.toml", CASE.replace(old, new));
    let before = work.files();
    let ran = work.spile(&["run", "a.toml"]);
    assert_eq!(ran.code, 2, "{}", ran.stderr);
    assert_eq!(work.files(), before, "nothing is written");
    let whole = ran.whole();
    (work, whole)
}

#[test]
fn the_value_is_underlined_with_what_is_allowed() {
    insta::assert_snapshot!("unknown key", changed("outside = 20", "outsied = 20").1);
    insta::assert_snapshot!("unknown value", changed("\"shell\"", "\"shel\"").1);
    insta::assert_snapshot!("two mistakes", changed("unit = \"mm\"", "unit = \"km\"\n[outputs]").1);
    insta::assert_snapshot!("not toml", changed("[limits]", "[limits").1);
}

#[test]
fn a_script_gets_the_same_as_json() {
    let (work, _) = changed("deviation = 0.1", "deviaton = 0.1");
    let ran = work.spile(&["run", "a.toml", "--json"]);
    assert_eq!(ran.code, 2);
    let place = &ran.json()["error"]["places"][0];
    assert_eq!(place["line"], 15);
    assert_eq!(place["nearest"], "deviation");
    insta::assert_snapshot!("case mistake json", ran.stdout);
}

#[test]
fn files_that_are_not_there_are_named() {
    let work = Work::new();
    insta::assert_snapshot!("no case", work.spile(&["run", "a.toml"]).whole());
    work.write("a.toml", CASE);
    insta::assert_snapshot!("no scan", work.spile(&["run", "a.toml"]).whole());
    work.write("b.toml", b"unit = \"m\xff\"");
    insta::assert_snapshot!("not utf-8", work.spile(&["run", "b.toml"]).whole());
}

#[test]
fn painted_triangles_of_another_scan_are_refused() {
    let work = Work::new();
    work.write("tube.stl", closed_tube(16.0, 20.0, 60.0));
    work.write("a.toml", format!("{CASE}\n[[keep]]\nfile = \"painted.json\"\n"));
    insta::assert_snapshot!("no painted file", work.spile(&["run", "a.toml"]).whole());
    work.write("painted.json", "{ \"scan_sha256\": 1 }");
    insta::assert_snapshot!("malformed painted file", work.spile(&["run", "a.toml"]).whole());
    let painted = format!("{{ \"scan_sha256\": \"{}\", \"triangles\": [1] }}", "0".repeat(64));
    work.write("painted.json", painted);
    insta::assert_snapshot!("painted on another", work.spile(&["run", "a.toml"]).whole());
}
