//! Bad input, case by case: each ends with a clear error or a named conflict,
//! with the exit code that is fixed for it, and leaves nothing partial behind.

use crate::shapes::{closed_tube, cube, open_tube, solid_bar, stl};
use crate::support::{Ran, Work, repository_scan};

/// One bad input and what must come of it.
struct Bad {
    name: &'static str,
    /// The scan's file name and bytes.
    scan: (&'static str, Vec<u8>),
    /// The case after `[scan]`; deviation is set where it is not given.
    case: String,
    /// The exit codes that may come, and words that must be said.
    codes: &'static [i32],
    says: &'static [&'static str],
}

const TOP_CUT: &str = "cut = { through = [0, 0, 41], facing = [0, 0, 1] }";

fn end(name: &str, site: &str, rest: &str) -> String {
    format!("[[end]]\nname = \"{name}\"\n{site}\n{rest}\n\n")
}

/// A tube of bore 16 and outside 20 on the tube's own axis, `gap` above the cut.
fn tube_at(gap: f64) -> String {
    format!(
        "reach = 10\nfitting = {{ kind = \"tube\", bore = 16, outside = 20, length = 25 }}\n\
         place = {{ at = [0, 0, {}], along = [0, 0, 1] }}",
        41.0 + gap
    )
}

fn limits(text: &str) -> String {
    format!("[limits]\ndeviation = 0.1\n{text}\n")
}

fn plain_case() -> String {
    end("upper", TOP_CUT, &tube_at(12.0)) + &limits("")
}

fn tube() -> Vec<u8> {
    closed_tube(16.0, 20.0, 60.0)
}

fn files_that_are_no_scan() -> Vec<Bad> {
    let of = |name, file, bytes, says| Bad {
        name,
        scan: (file, bytes),
        case: plain_case(),
        codes: &[2],
        says,
    };
    let cube_bytes = cube(10.0);
    let mut huge_count = cube_bytes.clone();
    huge_count[80..84].copy_from_slice(&u32::MAX.to_le_bytes());
    let nan = stl(&[[[0.0, 0.0, f64::NAN], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]]);
    vec![
        of("empty", "a.stl", Vec::new(), &["a.stl", "empty"]),
        of("truncated", "a.stl", cube_bytes[..400].to_vec(), &["a.stl"]),
        of("NaN", "a.stl", nan, &["a.stl", "triangle"]),
        of("huge-count header", "a.stl", huge_count, &["a.stl", "4294967295"]),
        of("header only", "a.stl", stl(&[]), &["a.stl", "no triangle"]),
        of("unknown format", "a.xyz", vec![1, 2, 3], &["a.xyz", "not supported"]),
        of("no file name extension", "scan", cube_bytes, &["scan", "not supported"]),
    ]
}

fn cases_that_do_not_fit_the_scan() -> Vec<Bad> {
    let of =
        |name, bytes, case, says| Bad { name, scan: ("a.stl", bytes), case, codes: &[2], says };
    let far = "cut = { through = [0, 0, 400], facing = [0, 0, 1] }";
    let joined_at = |site: &str| end("upper", site, &tube_at(12.0)) + &limits("");
    vec![
        of("open rim missing", tube(), joined_at("rim = [0, 0, 60]"), &["`upper`", "rim"]),
        of("cut plane that misses", tube(), joined_at(far), &["`upper`"]),
        of("a solid without a bore", solid_bar(20.0, 60.0), plain_case(), &["`upper`", "bore"]),
        of("a rim that no end names", open_tube(16.0, 24.0, 60.0), plain_case(), &["rim"]),
    ]
}

/// The airway's first fork: at z 718 a level plane runs along a branch, and the
/// section is one outline 87 mm long (measured with a reference library; below,
/// at z 715, there are two, and above, at z 727, one of 30 mm).
fn cut_through_a_branch_point() -> Bad {
    let cut = "cut = { through = [6.0, 144.0, 718.0], facing = [0, 0, 1] }";
    let tube = "reach = 10\nfitting = { kind = \"tube\", bore = 18, outside = 22, length = 25 }\n\
                place = { at = [6.0, 144.0, 733.0], along = [0, 0, 1] }";
    Bad {
        name: "cut through a branch point",
        scan: ("a.stl", repository_scan("anatomy/airway-ct-lumen-derived.stl")),
        case: end("upper", cut, tube) + &limits("bore_loss = 0.01"),
        codes: &[1, 2],
        says: &["upper"],
    }
}

fn run(work: &Work, bad: &Bad) -> Ran {
    let (file, bytes) = &bad.scan;
    let form = match bad.name {
        "cut through a branch point" => "form = \"bore\"\nwall = 2.0",
        _ => "form = \"shell\"",
    };
    work.write(file, bytes);
    work.write(
        "a.toml",
        format!("unit = \"mm\"\n\n[scan]\nfile = \"{file}\"\n{form}\n\n{}", bad.case),
    );
    work.spile(&["run", "a.toml"])
}

fn check(bad: &Bad) -> Result<(), String> {
    let work = Work::new();
    // Earlier outputs: exit 2 leaves them, exit 1 replaces all of them.
    work.write("a-out/part.stl", "earlier").write("a-out/proof.json", "earlier");
    let ran = run(&work, bad);
    let said = format!("{}{}", ran.stdout, ran.stderr);
    if !bad.codes.contains(&ran.code) {
        return Err(format!("exit {} in place of {:?}\n{said}", ran.code, bad.codes));
    }
    if let Some(missing) = bad.says.iter().find(|word| !said.contains(*word)) {
        return Err(format!("nothing is said of `{missing}`\n{said}"));
    }
    let mut left: Vec<String> = work.files().into_keys().collect();
    left.retain(|name| name != "a.toml" && *name != bad.scan.0);
    let expected: &[&[&str]] = match ran.code {
        2 => &[&["a-out/part.stl", "a-out/proof.json"]],
        // With a part that closes, or with none.
        _ => &[
            &[
                "a-out/case.toml",
                "a-out/inputs/a.stl",
                "a-out/part-broken.3mf",
                "a-out/part-broken.stl",
                "a-out/proof.json",
            ],
            &["a-out/case.toml", "a-out/inputs/a.stl", "a-out/proof.json"],
        ],
    };
    if !expected.iter().any(|names| *names == left) {
        return Err(format!("left on disk: {left:?}"));
    }
    if ran.code == 2 && work.read("a-out/part.stl") != "earlier" {
        return Err("an earlier output was changed".to_owned());
    }
    Ok(())
}

fn check_all(list: &[Bad]) {
    let faults: Vec<String> = list
        .iter()
        .filter_map(|bad| check(bad).err().map(|e| format!("{}: {e}", bad.name)))
        .collect();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn files_that_are_no_scan_are_refused() {
    check_all(&files_that_are_no_scan());
}

#[test]
fn cases_that_do_not_fit_the_scan_are_refused() {
    check_all(&cases_that_do_not_fit_the_scan());
}

#[test]
fn a_cut_through_a_branch_point_is_refused() {
    check_all(&[cut_through_a_branch_point()]);
}
