//! The report that a run leaves: what it says of the demo and of a case that is
//! broken, and that nothing of the place where it was made is in it.

use crate::shapes::closed_tube;
use crate::support::Work;
use crate::whole_job::CASE;

/// What is read of a page: its text line by line. Digits are taken out: what parts
/// measure is tested elsewhere.
fn text(page: &str) -> String {
    let (_, body) = page.split_once("<body>").unwrap();
    let mut out = String::new();
    for piece in body.split('<') {
        let (tag, words) = piece.split_once('>').unwrap_or(("", piece));
        if tag.starts_with("td") || tag.starts_with("dd") {
            out.push_str(" | ");
        }
        out.push_str(words);
    }
    let mut masked = String::new();
    for c in out.chars() {
        let is_number = c.is_ascii_digit();
        if !(is_number && masked.ends_with('#')) {
            masked.push(if is_number { '#' } else { c });
        }
    }
    // One mark a number, sign, decimals and groups included.
    let masked = masked.replace("#.#", "#").replace("#\u{202f}#", "#").replace("-#", "#");
    let lines = masked.lines().map(str::trim_end).filter(|l| !l.is_empty());
    lines.collect::<Vec<_>>().join("\n")
}

/// The page without the part to be turned, which is there where the script for it was built.
fn without_turning(page: &str) -> String {
    let Some((before, rest)) = page.split_once("<div id=\"turnable\"") else {
        return page.to_owned();
    };
    let (_, after) = rest.split_once("</script>\n</div>\n").unwrap();
    format!("{before}{after}")
}

/// The sections of a page, in order.
fn sections(page: &str) -> Vec<&str> {
    page.split("<h2>").skip(1).filter_map(|s| s.split("</h2>").next()).collect()
}

#[test]
fn the_demos_report_tells_all_of_it() {
    let work = Work::new();
    let ran = work.spile(&["demo", "--out", "demo"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    let page = work.read("demo/phantom-out/report.html");
    assert!(page.len() < 5_000_000, "{}", page.len());
    let page = without_turning(&page);
    let (told, _) = page.split_once("<h2>How each limit was measured</h2>").unwrap();
    insta::assert_snapshot!("report of the demo", text(told));
    assert!(!page.contains(&*work.path().to_string_lossy()));
}

#[test]
fn the_report_of_a_broken_case_says_so_first_and_what_would_hold() {
    let limits = "wall_min = 1.5\nbore_loss = 0.01\nkink = 10\n";
    assert!(CASE.contains(limits));
    let case = CASE.replace(limits, "ball_min = 17\n");
    let work = Work::new();
    work.write("tube.stl", closed_tube(16.0, 20.0, 60.0)).write("tube.toml", case);
    let ran = work.spile(&["run", "tube.toml", "--tries", "0"]);
    assert_eq!(ran.code, 1, "{}{}", ran.stdout, ran.stderr);
    let page = work.read("tube-out/report.html");
    let text = text(&page);
    let verdict = text.find("Broken: # of # checks are not held.").unwrap();
    assert!(verdict < text.find("Limits").unwrap());
    assert!(text.contains("ball_min at end upper: # mm measured, at least # mm asked"), "{text}");
    assert!(sections(&page).contains(&"Conflicts and suggestions"));
    assert!(text.contains("part-broken.stl"));
}
