//! `compare DIR DIR`: what went in, what was asked and measured, and what changed where.

use serde_json::Value;

use crate::shapes::closed_tube;
use crate::support::Work;
use crate::whole_job::CASE;

fn two_revisions() -> Work {
    let work = Work::new();
    // The fitting's far face half a millimetre further on, and one limit tighter.
    let second = CASE.replace("length = 25", "length = 25.5").replace("kink = 10", "kink = 8");
    work.write("tube.stl", closed_tube(16.0, 20.0, 60.0));
    work.write("first.toml", CASE).write("second.toml", second);
    for case in ["first.toml", "second.toml"] {
        let ran = work.spile(&["run", case, "--without-report"]);
        assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
    }
    work
}

#[test]
fn two_revisions_are_told_apart_by_key_limit_and_end() {
    let work = two_revisions();
    let before = work.files();
    let ran = work.spile(&["compare", "first-out", "second-out", "--within", "0.001", "--json"]);
    assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
    assert_eq!(work.files(), before, "nothing is written");
    let told = ran.json();
    assert_eq!(told["inputs"][0]["same"], true);
    let keys: Vec<&str> =
        told["case"].as_array().unwrap().iter().map(|c| c["key"].as_str().unwrap()).collect();
    assert_eq!(keys, ["end upper.fitting", "limits.kink"]);
    assert_eq!(told["verdict"], Value::from(vec!["held", "held"]));
    let row = |name: &str, end: &str| {
        let rows = told["limits"].as_array().unwrap();
        rows.iter().find(|l| l["name"] == name && l["end"] == end).unwrap()
    };
    assert_eq!(row("kink", "upper")["asked"], Value::from(vec![10.0, 8.0]));
    assert_eq!(row("deviation", "lower")["asked"][0], row("deviation", "lower")["asked"][1]);
    // Only the upper end changed. The far face moved by 0.5 along the axis: its rim's
    // corners are so far from the nearest of the other part. Closed form.
    assert_eq!(told["ends"].as_array().unwrap().len(), 1, "{}", told["ends"]);
    let end = &told["ends"][0];
    assert_eq!(end["name"], "upper");
    for bounds in [&end["bounds"], &told["bounds"]] {
        let [lo, hi] = [0, 1].map(|k| bounds[k].as_f64().unwrap());
        assert!(lo <= 0.5 + 1e-5 && hi >= 0.5 - 1e-5 && hi - lo <= 0.001, "{lo} {hi}");
    }
    // 25.5 along (0, 0.02, 1) from (0.5, 0, 53) is z = 78.495; 25 is 77.995.
    let z = end["where"][2].as_f64().unwrap();
    assert!((77.7..78.8).contains(&z), "{z}");
    let text = work.spile(&["compare", "first-out", "second-out", "--within", "0.001"]).stdout;
    insta::assert_snapshot!("compare folders", text);
}

#[test]
fn the_same_folder_twice_has_no_change() {
    let work = two_revisions();
    let ran = work.spile(&["compare", "first-out", "first-out"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    for said in
        ["the same file", "case: the same, seams apart", "the parts have the same triangles"]
    {
        assert!(ran.stdout.contains(said), "{}", ran.stdout);
    }
}

#[test]
fn the_report_of_two_revisions_tells_limits_ends_and_keys() {
    let work = two_revisions();
    let words = ["compare", "first-out", "second-out", "--within", "0.001", "--report"];
    let ran = work.spile(&[&words[..], &["two.html"]].concat());
    assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
    assert!(ran.stdout.contains("written: two.html"), "{}", ran.stdout);
    let page = work.read("two.html");
    // Closed form: the far face moved by 0.5 along the axis.
    assert!(page.contains("the largest change is at end upper"), "{page}");
    for told in [
        "second-out held against first-out",
        "2 keys of the case differ.",
        "<code>end upper.fitting</code>",
        "<strong>8 deg</strong>",
        "<h3>End upper</h3>",
        "Verdict of A: <strong>held</strong>; of B: <strong>held</strong>.",
    ] {
        assert!(page.contains(told), "{told}");
    }
    // Every limit of the proofs has its row, and nothing is said of the end that is the same.
    let limits = &work.spile(&["compare", "first-out", "second-out", "--json"]).json()["limits"];
    let rows = page.matches("<span class=\"plain\">").count();
    assert_eq!(rows, limits.as_array().unwrap().len());
    assert!(!page.contains("<h3>End lower</h3>"));
    assert!(!page.contains("http:") && !page.contains(&*work.path().to_string_lossy()));
    for (name, threads) in [("two.pdf", "2"), ("again.pdf", "1"), ("again.html", "1")] {
        let ran = work.spile(&[&words[..], &[name, "--threads", threads]].concat());
        assert_eq!(ran.code, 0, "{}", ran.stderr);
    }
    assert!(work.read_bytes("two.pdf") == work.read_bytes("again.pdf"));
    assert!(work.read("again.html") == page, "the same bytes on any number of threads");
}

#[test]
fn the_report_says_where_there_is_no_part_or_no_change() {
    let work = two_revisions();
    let ran = work.spile(&["compare", "first-out", "first-out", "--report", "same.html"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    assert!(work.read("same.html").contains("The two parts have the same triangles."));
    let proof = work.read("second-out/proof.json").replace("part.stl", "no-part.stl");
    work.write("second-out/proof.json", proof);
    let ran = work.spile(&["compare", "first-out", "second-out", "--report", "one.html"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    assert!(work.read("one.html").contains("No part was made in one of the two"));
}

#[test]
fn a_result_without_a_part_is_compared_by_its_limits_alone() {
    let work = two_revisions();
    let proof = work.read("second-out/proof.json").replace("part.stl", "no-part.stl");
    work.write("second-out/proof.json", proof);
    let ran = work.spile(&["compare", "first-out", "second-out", "--json"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    assert!(ran.json()["bounds"].is_null() && ran.stderr.contains("no part was made"));
}

#[test]
fn what_is_no_pair_of_results_is_wrong_input() {
    let work = two_revisions();
    work.write("empty/notes.txt", "");
    for words in [
        &["compare", "first-out", "empty"][..],
        &["compare", "first-out", "tube.stl"],
        &["compare", "first-out", "second-out", "--align"],
        &["compare", "tube.stl", "tube.stl", "--tolerance", "1"],
    ] {
        let ran = work.spile(words);
        assert_eq!(ran.code, 2, "{words:?}: {}{}", ran.stdout, ran.stderr);
    }
    work.write("second-out/proof.json", "{ \"inputs\": 3 }");
    let ran = work.spile(&["compare", "first-out", "second-out"]);
    assert!(ran.code == 2 && ran.stderr.contains("lists no files"), "{}", ran.stderr);
}
