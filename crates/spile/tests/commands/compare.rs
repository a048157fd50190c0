//! `compare`: bounds of a known distance, for a person and for a script.

use crate::shapes::{cube, solid_bar};
use crate::support::Work;

/// Two cubes of edge 10 and 13 with one corner in common: the farthest point
/// of the larger is its far corner, sqrt(3) * 3 from the smaller; of the
/// smaller, the middle of a far face is 3 from the larger. Closed form.
#[test]
fn two_cubes_are_as_far_apart_as_their_corners() {
    let work = Work::new();
    work.write("a.stl", cube(10.0)).write("b.stl", cube(13.0));
    let ran = work.spile(&["compare", "a.stl", "b.stl", "--within", "0.001", "--json"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    let answer = ran.json();
    let bounds = |key: &str| [0, 1].map(|k| answer[key][k].as_f64().unwrap());
    let far = 27f64.sqrt();
    for (key, true_distance) in [("bounds", far), ("b_to_a", far), ("a_to_b", 3.0)] {
        let [lo, hi] = bounds(key);
        assert!(lo <= true_distance && true_distance <= hi && hi - lo <= 0.001, "{key} {lo} {hi}");
    }
    let at = [0, 1, 2].map(|k| answer["where"][k].as_f64().unwrap());
    assert_eq!(at, [13.0; 3]);
    insta::assert_snapshot!(
        "compare",
        work.spile(&["compare", "a.stl", "b.stl", "--within", "0.001"]).whole()
    );
}

/// The report tells the same bounds, rounded outward, and shows what stands off what.
#[test]
fn the_report_of_two_surfaces_tells_their_distances() {
    let work = Work::new();
    work.write("a.stl", cube(10.0)).write("b.stl", cube(13.0));
    let words = ["compare", "a.stl", "b.stl", "--within", "0.001", "--report"];
    let ran = work.spile(&[&words[..], &["two.html"]].concat());
    assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
    let page = work.read("two.html");
    assert!(page.contains("No tolerance was asked."), "{page}");
    assert!(page.contains("near 13.00, 13.00, 13.00"));
    for row in ["from A to B", "from B to A", "both ways"] {
        assert!(page.contains(&format!("<th scope=\"row\">{row}</th>")), "{row}");
    }
    assert!(!page.contains("http:") && !page.contains(&*work.path().to_string_lossy()));
    let again = work.spile(&[&words[..], &["again.html", "--threads", "1"]].concat());
    assert_eq!(again.code, 0);
    assert!(work.read("again.html") == page, "the same bytes on any number of threads");
    // The same for print, as PDF, whose version is told in its first bytes.
    for (name, threads) in [("two.pdf", "2"), ("again.pdf", "1")] {
        let ran = work.spile(&[&words[..], &[name, "--threads", threads]].concat());
        assert_eq!(ran.code, 0, "{}", ran.stderr);
    }
    let [first, second] = ["two.pdf", "again.pdf"].map(|name| work.read_bytes(name));
    assert!(first.starts_with(b"%PDF-1.7") && first == second);
    let refused = work.spile(&[&words[..], &["two.docx"]].concat());
    assert_eq!(refused.code, 2);
    assert!(refused.stderr.contains("give `--report` a name that ends in .html or .pdf"));
}

#[test]
fn a_surface_is_no_distance_from_itself() {
    let work = Work::new();
    work.write("a.stl", solid_bar(20.0, 30.0));
    let answer = work.spile(&["compare", "a.stl", "a.stl", "--json"]).json();
    let hi = answer["bounds"][1].as_f64().unwrap();
    // The size is sqrt(20^2 + 20^2 + 30^2) = 41.2; a ten-thousandth of it.
    assert!((0.0..=0.00413).contains(&hi), "{hi}");
}

#[test]
fn bounds_that_cannot_be_as_close_as_asked_say_so() {
    let work = Work::new();
    work.write("a.stl", cube(10.0)).write("b.stl", cube(13.0));
    let ran = work.spile(&["compare", "a.stl", "b.stl", "--within", "1e-30", "--json"]);
    assert_eq!(ran.code, 1, "{}{}", ran.stdout, ran.stderr);
    assert!(ran.stderr.contains("not within 1.000e-30"), "{}", ran.stderr);
    let answer = ran.json();
    assert_eq!(answer["reached"], false);
    assert!(answer["within"].as_f64().is_some_and(|w| w < 1.1e-30));
    // What was reached is a pair of bounds still.
    let [lo, hi] = [0, 1].map(|k| answer["bounds"][k].as_f64().unwrap());
    assert!(lo <= 27f64.sqrt() && 27f64.sqrt() <= hi && hi - lo < 1e-9, "{lo} {hi}");
}

#[test]
fn a_file_that_cannot_be_read_is_named() {
    let work = Work::new();
    work.write("a.stl", cube(10.0));
    insta::assert_snapshot!("compare no file", work.spile(&["compare", "a.stl", "b.stl"]).whole());
}
