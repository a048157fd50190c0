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
    let left_out = recomputed["left_out"].as_array().unwrap();
    assert!(left_out.iter().all(|l| !l.as_str().unwrap().contains("`case`")), "{recomputed}");
    // The case as it was asked is kept in it, so that every row is judged again; so it is with
    // one that is named.
    assert_eq!(work.read("elsewhere/inputs/tube.toml"), CASE);
    assert!(work.spile(&["prove", "elsewhere"]).stdout.contains("\ncase "));
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
            "inputs/tube.toml",
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

/// A limit loosened in the settled case, with every hash made anew, asks less than was asked.
#[test]
fn a_settled_case_that_was_loosened_is_found_by_the_asked_one_in_the_folder() {
    let work = moved();
    let (case, proof) = (work.read("elsewhere/case.toml"), work.read("elsewhere/proof.json"));
    let loosened = case.replace("wall_min = 1.5", "wall_min = 1.25");
    assert_ne!(case, loosened);
    let forged = proof.replace(&sha256(case.as_bytes()), &sha256(loosened.as_bytes()));
    work.write("elsewhere/case.toml", loosened);
    work.write("elsewhere/proof.json", hashed_anew(&forged));
    let ran = work.spile(&["prove", "elsewhere", "--json"]);
    assert_eq!(ran.code, 1);
    let told = differences(&ran);
    assert!(told.iter().all(|what| what.starts_with("proof.json says ")), "{told:?}");
    assert!(told[0].starts_with("proof.json says `case`"), "{told:?}");
    // Left out of the proof, it is a file that no proof lists, and the row cannot be made.
    let mut json: Value = serde_json::from_str(&proof).unwrap();
    json.as_object_mut().unwrap().remove("asked");
    work.write("elsewhere/case.toml", &case);
    work.write("elsewhere/proof.json", json.to_string());
    let ran = work.spile(&["prove", "elsewhere", "--json"]);
    assert_eq!(ran.code, 1);
    let unlisted = "inputs/tube.toml is not listed in proof.json".to_owned();
    assert!(differences(&ran).contains(&unlisted), "{}", ran.stderr);
    let left_out = &ran.json()["recomputed"]["left_out"][0];
    assert!(left_out.as_str().unwrap().contains("--asked"), "{left_out}");
}

/// What the asked case names lies elsewhere and has one name: painted keeps, too, come along.
#[test]
fn painted_keeps_and_files_of_one_name_are_kept_with_the_asked_case() {
    let made = Work::new();
    let tube = closed_tube(16.0, 20.0, 60.0);
    let painted = format!(r#"{{"scan_sha256": "{}", "triangles": [0]}}"#, sha256(&tube));
    let keep = "\n[[keep]]\nfile = \"../painted/tube.toml\"\n";
    let case = CASE.replace("\"tube.stl\"", "\"../scans/tube.stl\"") + keep;
    made.write("scans/tube.stl", &tube).write("painted/tube.toml", &painted);
    made.write("cases/tube.toml", &case);
    let ran = made.spile(&["run", "cases/tube.toml", "--out", "out", "--without-report"]);
    assert!(ran.code < 2, "{}{}", ran.stdout, ran.stderr);
    let work = Work::new();
    for (name, bytes) in made.files() {
        if name.starts_with("out/") {
            work.write(&name, bytes);
        }
    }
    assert_eq!(work.read("out/inputs/tube.toml"), case);
    assert_eq!(work.read("out/inputs/2-tube.toml"), painted);
    let again = work.spile(&["prove", "out", "--json"]);
    assert_eq!((again.code, differences(&again)), (ran.code, vec![]), "{}", again.stderr);
    work.write("out/inputs/2-tube.toml", painted.replace("[0]", "[1]"));
    let again = work.spile(&["prove", "out", "--json"]);
    assert_eq!(again.code, 1);
    assert!(differences(&again)[0].starts_with("inputs/2-tube.toml has changed"));
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
    work.write("elsewhere/proof.json", hashed_anew(&forged));
    let ran = work.spile(&["prove", "elsewhere", "--json"]);
    assert_eq!(ran.code, 1);
    let told = differences(&ran);
    let expected = format!(
        "proof.json says `wall_min` at end `upper`.measured is 1.9, it is {}",
        wall["measured"]
    );
    assert_eq!(told, [expected]);
}

/// A proof's text with its own hash made anew.
fn hashed_anew(text: &str) -> String {
    let (head, tail) = text.rsplit_once("\"own_sha256\": \"").unwrap();
    let own = sha256(format!("{head}\"own_sha256\": \"{}", &tail[64..]).as_bytes());
    format!("{head}\"own_sha256\": \"{own}{}", &tail[64..])
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
