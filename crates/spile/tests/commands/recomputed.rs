//! `prove DIR`: the proof of a folder made anew, wherever it lies, and every byte of it.

use serde_json::Value;

use crate::shapes::closed_tube;
use crate::support::{Ran, Work};
use crate::whole_job::CASE;

/// A finished folder that was moved, far from scan and case.
fn moved() -> Work {
    let made = Work::new();
    made.write("tube.stl", closed_tube(16.0, 20.0, 60.0)).write("tube.toml", CASE);
    let ran = made.spile(&["run", "tube.toml"]);
    assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
    let work = Work::new();
    for (name, bytes) in made.files() {
        if let Some(name) = name.strip_prefix("tube-out/") {
            work.write(&format!("elsewhere/{name}"), bytes);
        }
    }
    work.write("asked/tube.stl", closed_tube(16.0, 20.0, 60.0)).write("asked/tube.toml", CASE);
    work
}

fn differences(ran: &Ran) -> Vec<String> {
    let all = ran.json()["recomputed"]["differences"].as_array().unwrap().clone();
    let text =
        |d: &Value| format!("{} {}", d["file"].as_str().unwrap(), d["what"].as_str().unwrap());
    all.iter().map(text).collect()
}

#[test]
fn a_moved_folder_proves_the_same_again() {
    let work = moved();
    let before = work.files();
    let ran = work.spile(&["prove", "elsewhere", "--json"]);
    assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
    assert_eq!(work.files(), before, "nothing is written");
    let recomputed = &ran.json()["recomputed"];
    assert_eq!(recomputed["agrees"], true);
    assert!(recomputed["left_out"][0].as_str().unwrap().contains("--asked"), "{recomputed}");
    // With the case as it was asked, every row is judged again.
    let words = ["prove", "elsewhere", "--asked", "asked/tube.toml"];
    let ran = work.spile(&words);
    assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
    assert!(ran.stdout.ends_with("every file is as listed, every figure as written\n"));
    let tail = ran.stdout.split_once("verdict: held").unwrap().1;
    insta::assert_snapshot!("recomputed", tail);
    // A looser case than was asked for is another case.
    work.write("asked/tube.toml", CASE.replace("kink = 10", "kink = 5"));
    let ran = work.spile(&words);
    assert_eq!(ran.code, 1, "{}", ran.stdout);
    assert!(ran.stdout.contains("differs: proof.json says `case`"), "{}", ran.stdout);
}

/// One bit of one byte, in each file in turn, in several places of it.
#[test]
fn one_byte_in_any_file_is_told_by_the_files_name() {
    let work = moved();
    let is_inside = |name: &str| name.starts_with("elsewhere/");
    let files: Vec<(String, Vec<u8>)> =
        work.files().into_iter().filter(|(name, _)| is_inside(name)).collect();
    let names: Vec<&str> = files.iter().map(|(name, _)| &name["elsewhere/".len()..]).collect();
    assert_eq!(
        names,
        [
            "case.toml",
            "inputs/tube.stl",
            "part.3mf",
            "part.stl",
            "proof.json",
            "report.html",
            "report.pdf"
        ]
    );
    for ((path, bytes), name) in files.iter().zip(names) {
        let last = bytes.len() - 1;
        for at in [0, last / 3, last / 2, last / 7 * 5, last] {
            let mut flipped = bytes.clone();
            flipped[at] ^= 1;
            work.write(path, flipped);
            let ran = work.spile(&["prove", "elsewhere", "--json"]);
            assert_eq!(ran.code, 1, "{name}, byte {at}: {}{}", ran.stdout, ran.stderr);
            let told = differences(&ran);
            assert!(told[0].starts_with(&format!("{name} ")), "{name}, byte {at}: {told:?}");
            assert!(ran.stderr.contains(&format!("differs: {name} ")), "{}", ran.stderr);
        }
        work.write(path, bytes);
    }
    assert_eq!(work.spile(&["prove", "elsewhere"]).code, 0, "put back, it agrees");
}

/// What a hash cannot tell: figures written otherwise and hashed anew.
#[test]
fn a_figure_that_was_written_otherwise_is_found_by_judging_again() {
    let work = moved();
    let text = work.read("elsewhere/proof.json");
    let proof: Value = serde_json::from_str(&text).unwrap();
    let row = proof["limits"].as_array().unwrap().iter();
    let wall = row.into_iter().find(|l| l["name"] == "wall_min" && l["end"] == "upper").unwrap();
    let measured = format!("\"measured\": {}", wall["measured"]);
    assert!(text.contains(&measured));
    let forged = text.replace(&measured, "\"measured\": 1.9");
    let (head, tail) = forged.rsplit_once("\"own_sha256\": \"").unwrap();
    let empty = format!("{head}\"own_sha256\": \"{}", &tail[64..]);
    let own = sha256(empty.as_bytes());
    work.write("elsewhere/proof.json", format!("{head}\"own_sha256\": \"{own}{}", &tail[64..]));
    let ran = work.spile(&["prove", "elsewhere", "--json"]);
    assert_eq!(ran.code, 1);
    let told = differences(&ran);
    let expected = format!(
        "proof.json says `wall_min` at end `upper`.measured is 1.9, it is {}",
        wall["measured"]
    );
    assert_eq!(told, [expected]);
}

fn sha256(bytes: &[u8]) -> String {
    use sha2::Digest as _;
    sha2::Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect()
}

#[test]
fn files_that_are_missing_or_that_no_proof_lists_are_told() {
    let work = moved();
    let part = work.files()["elsewhere/part.stl"].clone();
    work.write("elsewhere/part-broken.stl", &part).write("elsewhere/inputs/other.stl", &part);
    work.write("elsewhere/notes.txt", "the user's own");
    let ran = work.spile(&["prove", "elsewhere", "--json"]);
    assert_eq!(ran.code, 1);
    let told = differences(&ran);
    let expected = ["part-broken.stl", "inputs/other.stl"];
    assert_eq!(told, expected.map(|name| format!("{name} is not listed in proof.json")));
    std::fs::remove_file(work.path().join("elsewhere/part.stl")).unwrap();
    std::fs::remove_file(work.path().join("elsewhere/inputs/tube.stl")).unwrap();
    let ran = work.spile(&["prove", "elsewhere", "--json"]);
    assert_eq!(ran.code, 1, "{}", ran.stderr);
    assert_eq!(
        differences(&ran)[..2],
        ["inputs/tube.stl is missing or cannot be read", "part.stl is missing or cannot be read"]
    );
}

#[test]
fn a_proof_that_names_files_outside_its_folder_is_refused() {
    let work = moved();
    let text = work.read("elsewhere/proof.json");
    for name in ["../asked/tube.stl", "/etc/hostname", "inputs/../../x", "C:/x"] {
        work.write("elsewhere/proof.json", text.replace("inputs/tube.stl", name));
        let ran = work.spile(&["prove", "elsewhere", "--json"]);
        assert_eq!(ran.code, 1);
        let said = format!("proof.json names a file outside the folder: {name}");
        assert!(differences(&ran).contains(&said), "{}", ran.stderr);
    }
}

#[test]
fn a_folder_without_a_proof_and_a_case_without_a_part_are_wrong_input() {
    let work = moved();
    work.write("empty/case.toml", CASE);
    for words in [&["prove", "empty"][..], &["prove", "elsewhere/case.toml"], &["prove", "none"]] {
        let ran = work.spile(words);
        assert_eq!(ran.code, 2, "{}{}", ran.stdout, ran.stderr);
    }
    // A folder's case with another part.
    work.write("other.stl", &work.files()["elsewhere/part.stl"]);
    let ran = work.spile(&["prove", "elsewhere", "--part", "other.stl"]);
    assert_eq!(ran.code, 0, "{}{}", ran.stdout, ran.stderr);
}

/// A part that was left broken is proved broken again, and agrees with what was written.
#[test]
fn a_broken_folder_agrees_and_is_broken_still() {
    let work = Work::new();
    let case = CASE.replace("wall_min = 1.5", "wall_min = 2.5");
    work.write("tube.stl", closed_tube(16.0, 20.0, 60.0)).write("tube.toml", case);
    assert_eq!(work.spile(&["run", "tube.toml", "--tries", "0"]).code, 1);
    let ran = work.spile(&["prove", "tube-out", "--json"]);
    assert_eq!(ran.code, 1);
    assert_eq!((differences(&ran), &ran.json()["recomputed"]["agrees"]), (vec![], &true.into()));
}
