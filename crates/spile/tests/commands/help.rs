//! The help of every command, and what is said to a command line that is wrong.

use crate::support::Work;

const COMMANDS: [&str; 8] =
    ["examine", "new", "run", "prove", "compare", "fittings", "demo", "completions"];

#[test]
fn every_command_has_help_with_a_worked_example() {
    let work = Work::new();
    insta::assert_snapshot!("help", work.spile(&["--help"]).whole());
    for command in COMMANDS {
        let ran = work.spile(&[command, "--help"]);
        assert!(ran.stdout.contains("Worked example:\n  spile "), "{}", ran.stdout);
        assert!(ran.stdout.contains("--json"), "{}", ran.stdout);
        insta::assert_snapshot!(format!("help {command}"), ran.whole());
    }
}

#[test]
fn a_wrong_command_line_is_wrong_input() {
    let work = Work::new();
    let lines: [&[&str]; 7] = [
        &[],
        &["rum", "a.toml"],
        &["run"],
        &["run", "a.toml", "--ouf", "b"],
        &["compare", "a.stl", "b.stl", "--within", "-1"],
        &["run", "a.toml", "--threads", "0"],
        &["completions", "cobol"],
    ];
    let whole: Vec<String> = lines
        .iter()
        .map(|args| format!("$ spile {}\n{}", args.join(" "), work.spile(args).whole()))
        .collect();
    insta::assert_snapshot!("wrong command lines", whole.join("\n"));
    assert!(work.files().is_empty());
}

#[test]
fn a_wrong_command_line_is_told_as_json_too() {
    let ran = Work::new().spile(&["run", "--json"]);
    assert_eq!(ran.code, 2);
    insta::assert_snapshot!("wrong command line json", ran.whole());
}

#[test]
fn the_version_is_an_answer() {
    insta::assert_snapshot!("version", Work::new().spile(&["--version"]).whole());
}

#[test]
fn completions_name_every_command() {
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let ran = Work::new().spile(&["completions", shell]);
        assert_eq!((ran.code, ran.stderr.as_str()), (0, ""));
        for command in COMMANDS {
            assert!(ran.stdout.contains(command), "{shell} misses {command}");
        }
    }
}
