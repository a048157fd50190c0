//! Every mistake in a case is found, at its place, with what would be right.

use std::fmt::Write as _;

use spile_case::{FileKind, Fitting, Keep, Painted, Place, Site, read_case, read_case_with};

const GOOD: &str = r#"unit = "mm"

[scan]
file = "left-duct.stl"
form = "shell"

[[end]]
name = "upper"
cut = { through = [12.0, 0.0, 80.0], facing = [0.0, 0.0, 2.0] }
reach = 15
fitting = { kind = "tube", bore = 18.0, outside = 22.0, length = 25.0 }
place = { at = [12.0, 0.0, 110.0], along = [0.0, 0.0, 1.0] }

[[end]]
name = "lower"
cut = { through = [5.0, 0.0, 12.0], facing = [0.0, 0.0, -1.0] }

[limits]
deviation = 0.10
"#;

/// The mistakes as lines: place, what the place holds, message, hints.
fn mistakes(text: &str) -> String {
    let mut out = String::new();
    for mistake in read_case(text, "case.toml").expect_err("a mistake was put in") {
        let at = text[mistake.span.clone()].lines().next().unwrap_or_default();
        let _ = writeln!(out, "{mistake}\n  at: {at}");
        for hint in mistake.hints() {
            let _ = writeln!(out, "  hint: {hint}");
        }
    }
    out
}

/// The good case with one piece of text put in place of another.
fn with(old: &str, new: &str) -> String {
    assert_eq!(GOOD.matches(old).count(), 1, "`{old}` is not there once");
    GOOD.replace(old, new)
}

#[test]
fn a_good_case_reads_with_directions_normalised_and_chord_chosen() {
    let case = read_case(GOOD, "case.toml").unwrap();
    let Site::Cut(cut) = case.ends[0].site else { panic!("a cut") };
    assert_eq!(cut.facing, [0.0, 0.0, 1.0]);
    assert_eq!(case.ends[0].reach, Some(15.0));
    assert_eq!(
        case.ends[0].place,
        Some(Place::At { at: [12.0, 0.0, 110.0], along: [0.0, 0.0, 1.0] })
    );
    assert_eq!(case.limits.chord, 0.01);
    assert_eq!(case.limits.kink_deg, None);
}

/// One snapshot of all the mistakes of a list of changes to the good case.
macro_rules! snapshot_mistakes {
    ($name:literal, $([$old:expr => $new:expr])*) => {{
        let mut out = String::new();
        $(
            let _ = writeln!(out, "- {}\n{}", $new.trim_end().replace('\n', "\\n"), mistakes(&with($old, $new)));
        )*
        insta::assert_snapshot!($name, out);
    }};
}

#[test]
fn an_unknown_key_is_named_with_the_nearest() {
    snapshot_mistakes!("unknown keys",
        ["bore = 18.0, outside" => "bor = 18.0, outside"]
        ["deviation = 0.10" => "deviaton = 0.10"]
        ["[limits]" => "[limit]"]
        ["name = \"lower\"" => "name = \"lower\"\nqq = 1"]
    );
}

#[test]
fn what_is_wanted_beside_the_part_is_checked() {
    snapshot_mistakes!("output",
        ["[limits]" => "[output]\ndensity = 0\n\n[limits]"]
        ["[limits]" => "[output]\ndensty = 1.05\n\n[limits]"]
        ["[limits]" => "[output]\nbuild_direction = [0, 0, 0]\n\n[limits]"]
        ["[limits]" => "[output]\nflow = 15\n\n[limits]"]
        ["[limits]" => "[output]\nflow = { rate_l_min = 15, viscosity_pa_s = -1 }\n\n[limits]"]
        ["[limits]" => "[output]\nflow = { rate = 15 }\n\n[limits]"]
    );
    let output = "[output]\ndensity = 1.05\nbuild_direction = [0, 0, 2]\n\
                  flow = { rate_l_min = 15, density_kg_m3 = 1.204, viscosity_pa_s = 1.825e-5 }\n\n[limits]";
    let case = read_case(&with("[limits]", output), "case.toml").unwrap();
    assert_eq!(case.output.density_g_cm3, Some(1.05));
    assert_eq!(case.output.build_direction, Some([0.0, 0.0, 1.0]));
    assert_eq!(case.output.flow.unwrap().viscosity_pa_s, 1.825e-5);
}

#[test]
fn values_of_the_wrong_kind_or_range_are_underlined() {
    snapshot_mistakes!("values",
        ["unit = \"mm\"" => "unit = \"mn\""]
        ["form = \"shell\"" => "form = \"cavity\""]
        ["form = \"shell\"" => "form = \"bore\"\nwall = [{ at = [0, 0, 0], thickness = 2 }]"]
        ["form = \"shell\"" => "form = \"cavity\"\nwall = [{ at = [0, 0, 0], thickness = 2 }, { at = [0, 0, 5], thickness = 4 }]"]
        ["form = \"shell\"" => "form = \"bore\"\nwall = [{ at = [0, 0, 0], thick = 2 }, { at = [0, 0, 5], thickness = -4 }]"]
        ["form = \"shell\"" => "form = \"shell\"\noutliers = \"drop\""]
        ["unit = \"mm\"" => "unit = 1"]
        ["reach = 15" => "reach = \"15\""]
        ["reach = 15" => "reach = -1.5"]
        ["reach = 15" => "reach = inf"]
        ["facing = [0.0, 0.0, -1.0]" => "facing = [0, 0, 0]"]
        ["through = [5.0, 0.0, 12.0]" => "through = [5.0, nan]"]
        ["through = [5.0, 0.0, 12.0]" => "through = [5.0, nan, 1e999]"]
        ["deviation = 0.10" => "deviation = 0.10\nbore_loss = 1.5\nkink = -1"]
        ["name = \"upper\"" => "name = \" \""]
    );
}

#[test]
fn what_belongs_together_must_be_given_together() {
    snapshot_mistakes!("together",
        ["reach = 15\n" => ""]
        ["fitting = { kind = \"tube\", bore = 18.0, outside = 22.0, length = 25.0 }\n" => ""]
        ["along = [0.0, 0.0, 1.0]" => "gap = 3"]
        ["along = [0.0, 0.0, 1.0] }" => "}"]
        ["bore = 18.0" => "bore = 22.0"]
        ["\"lower\"" => "\"upper\"\ntrim = 2.0"]
        ["name = \"lower\"" => "name = \"lower\"\nrim = [0, 0, 0]"]
        ["form = \"shell\"" => "form = \"sheets\""]
        ["form = \"shell\"" => "form = \"bore\""]
        ["form = \"shell\"" => "form = \"shell\"\nwall = 2.0"]
    );
}

#[test]
fn what_cannot_be_moved_onto_another_scan_is_said() {
    let shell = "form = \"shell\"";
    snapshot_mistakes!("align",
        ["form = \"shell\"" => "form = \"shell\"\nalign = true"]
        ["form = \"shell\"" => "form = \"shell\"\nalign = { onto = \"first.stl\" }"]
        ["form = \"shell\"" => "form = \"shell\"\nalign = { to = 3 }"]
        ["form = \"shell\"" => "form = \"shell\"\nmoved = { turn = [[1, 0, 0], [0, 1, 0], [0, 0, -1]], shift = [0, 0, 0] }"]
        ["form = \"shell\"" => "form = \"shell\"\nmoved = { turn = [[1, 0, 0], [0, 1, 0]] }"]
    );
    let align = with(shell, "form = \"shell\"\nalign = { to = \"first.stl\" }");
    let case = read_case(&align, "case.toml").unwrap();
    assert_eq!(case.scan.align.unwrap().to, "first.stl");
    let moved = "moved = { turn = [[1, 0, 0], [0, 1, 0], [0, 0, 1]], shift = [0, 0, 0] }";
    let numbers = format!(
        "[[keep]]\ntriangles = {{ scan_sha256 = \"{}\", numbers = [1] }}\n\n[limits]",
        "0".repeat(64)
    );
    for (old, new, said) in [
        ("[limits]", numbers.as_str(), "a keep cannot name triangles"),
        (shell, &format!("{shell}\n{moved}"), "`align` beside `moved`"),
        (
            "file = \"left-duct.stl\"\nform = \"shell\"",
            "files = [\"a.stl\", \"b.stl\"]\nform = \"sheets\"",
            "form `sheets` has two",
        ),
        (
            "fitting = { kind = \"tube\", bore = 18.0, outside = 22.0, length = 25.0 }\nplace = { at = [12.0, 0.0, 110.0], along = [0.0, 0.0, 1.0] }",
            "fitting = { kind = \"mesh\", file = \"a.stl\" }\nplace = \"as-modelled\"",
            "a place cannot be `as-modelled`",
        ),
    ] {
        let found = mistakes(&align.replace(old, new));
        assert!(found.contains(said), "{new}: {found}");
    }
}

#[test]
fn what_is_to_be_found_goes_with_a_fitting_and_is_spelled_auto() {
    snapshot_mistakes!("auto",
        ["place = { at = [12.0, 0.0, 110.0], along = [0.0, 0.0, 1.0] }" => "place = \"aut\""]
        ["place = { at = [12.0, 0.0, 110.0], along = [0.0, 0.0, 1.0] }" => "place = { gap = \"auto\" }"]
        ["reach = 15" => "reach = \"Auto\""]
        ["name = \"lower\"" => "name = \"lower\"\nreach = \"auto\""]
        ["name = \"lower\"" => "name = \"lower\"\nplace = \"auto\""]
    );
    let place =
        with("place = { at = [12.0, 0.0, 110.0], along = [0.0, 0.0, 1.0] }", "place = \"auto\"");
    let case = read_case(&place.replace("reach = 15", "reach = \"auto\""), "case.toml").unwrap();
    let end = &case.ends[0];
    assert_eq!((end.place, end.reach, end.reach_is_auto), (Some(Place::Auto), None, true));
}

/// Puts these words in place of the good case's fitting.
macro_rules! snapshot_fittings {
    ($name:literal, $([$new:expr])*) => {
        snapshot_mistakes!($name, $([
            "fitting = { kind = \"tube\", bore = 18.0, outside = 22.0, length = 25.0 }"
                => concat!("fitting = { ", $new, " }")
        ])*)
    };
}

#[test]
fn a_cone_or_socket_takes_the_side_that_no_standard_fixes() {
    snapshot_fittings!(
        "cones",
        [r#"bore = 18, outside = 22, length = 25"#][r#"kind = "cone", bore = 18"#][r#"kind = "cone", size = "breathing-23", bore = 18"#]
            [r#"kind = "cone", size = "breathing-22", bore = 18, outside = 22"#][r#"kind = "socket", size = "breathing-22", bore = 22.37, outside = 26"#]
            [r#"kind = "cone", size = "breathing-22", bore = 22"#][r#"kind = "cone", size = "breathing-22", bore = 21.9, allowance = 0.1"#]
            [r#"kind = "socket", size = "luer", outside = 4.2"#][r#"kind = "cone", size = "luer", bore = 2, length = 7"#]
            [r#"kind = "cone", size = "luer", bore = 2, allowance = "0.1""#][r#"kind = "tube", bore = 18, outside = 22, length = 25, allowance = 0.1"#]
            [r#"kind = "tube", size = "luer", bore = 18, outside = 22, length = 25"#]
    );
}

#[test]
fn a_fitting_from_a_file_has_that_and_no_dimensions() {
    snapshot_fittings!(
        "mesh fittings",
        [r#"kind = "mesh""#][r#"kind = "step", unit = "ft", allowance = 0.1"#][r#"kind = "mesh", file = 3, unit = "ft", rim = [0, 0]"#]
            [r#"kind = "mesh", file = "a.stl", bore = 18, allowance = 0.1"#][r#"kind = "tube", bore = 18, outside = 22, length = 25, file = "a.stl", unit = "mm", rim = [0, 0, 0]"#]
    );
    let text = r#"unit = "mm"
scan = { file = "a.stl", form = "shell" }
limits = { deviation = 0.1 }
[[end]]
name = "a"
rim = [0, 0, 0]
reach = 5
place = "as-modelled"
fitting = { kind = "tube", bore = 18, outside = 22, length = 25 }
"#;
    let mistakes = read_case(text, "case.toml").unwrap_err();
    assert_eq!(mistakes.len(), 1, "{mistakes:?}");
    assert!(mistakes[0].message.contains("the place of a fitting from a file"), "{mistakes:?}");
}

#[test]
fn a_flange_is_wider_than_its_fitting_and_lies_on_it() {
    snapshot_fittings!(
        "flanges",
        [r#"kind = "tube", bore = 18, outside = 22, length = 25, flange = { outside = 30 }"#][r#"kind = "tube", bore = 18, outside = 22, length = 25, flange = { outside = 22, thickness = 2 }"#]
            [r#"kind = "tube", bore = 18, outside = 22, length = 25, flange = { outside = 30, thickness = 25 }"#]
            [r#"kind = "tube", bore = 18, outside = 22, length = 25, flange = { outside = 30, thickness = 2, at = 23.5 }"#]
            [r#"kind = "tube", bore = 18, outside = 22, length = 25, flange = { outside = 30, thick = 2 }"#]
            [r#"kind = "cone", size = "breathing-22", bore = 18, flange = { outside = 30, thickness = 2 }"#]
            [r#"kind = "cone", size = "breathing-22", bore = 18, length = 30, flange = { outside = 30, thickness = 2, at = 8 }"#]
    );
}

/// The rule of the allowance, closed form: clearance makes a cone smaller and a
/// socket larger, all along, by the allowance on the diameter.
#[test]
fn an_allowance_above_zero_gives_clearance() {
    let ends = |words: &str| {
        let case = read_case(
            &with("kind = \"tube\", bore = 18.0, outside = 22.0, length = 25.0", words),
            "case.toml",
        )
        .unwrap();
        let Some(Fitting::Cone(cone)) = case.ends[0].fitting else { panic!("a cone") };
        cone.ends_in(case.unit)
    };
    let [cone, smaller] = ["0", "0.2"]
        .map(|a| ends(&format!("kind = \"cone\", size = \"luer\", bore = 2, allowance = {a}")));
    let [socket, larger] = ["0", "0.2"].map(|a| {
        ends(&format!("kind = \"socket\", size = \"luer\", outside = 7, allowance = {a}"))
    });
    for k in 0..2 {
        assert!((cone[k] - smaller[k] - 0.2).abs() < 1e-12);
        assert!((larger[k] - socket[k] - 0.2).abs() < 1e-12);
    }
}

#[test]
fn an_empty_or_malformed_case_says_what_is_needed() {
    insta::assert_snapshot!("empty", mistakes(""));
    insta::assert_snapshot!("unclosed header", mistakes("unit = \"mm\"\n\n[scan\nfile = 1\n"));
    insta::assert_snapshot!("twice", mistakes("unit = \"mm\"\nunit = \"mm\"\n"));
}

#[test]
fn keeps_are_one_region_each() {
    snapshot_mistakes!("keeps",
        ["[limits]" => "[[keep]]\nball = { at = [0, 0, 0], radius = 0 }\n\n[limits]"]
        ["[limits]" => "[[keep]]\nbox = { min = [0, 2, 0], max = [1, 1, 1] }\n\n[limits]"]
        ["[limits]" => "[[keep]]\nball = { at = [0, 0, 0], radius = 1 }\nfile = \"painted.json\"\n\n[limits]"]
        ["[limits]" => "[[keep]]\nfile = \"painted.json\"\n\n[limits]"]
        ["[limits]" => "[[keep]]\ntriangles = { scan_sha256 = \"AB\", numbers = [1, -2] }\n\n[limits]"]
    );
}

#[test]
fn a_keep_file_is_opened_by_who_asks() {
    let text = format!("{GOOD}\n[[keep]]\nfile = \"painted.json\"\n");
    let painted = Painted { scan_sha256: "0".repeat(64), triangles: vec![3, 1] };
    let case = read_case_with(&text, "case.toml", &mut |file| {
        assert_eq!(file, "painted.json");
        Ok(painted.clone())
    })
    .unwrap();
    let Painted { scan_sha256, triangles } = painted;
    assert_eq!(case.keeps, [Keep::Triangles { scan_sha256, triangles }]);
}

/// A settled case, as it is written: kept as text so that its layout stays.
#[test]
fn the_layout_of_a_settled_case_is_stable() {
    let text = r#"
unit = "in"
scan = { file = "inputs/a \"b\".stl", form = "bore", wall = 0.08, inherit = ["self-intersection"] }
joint = { edge = 1e-7 }
limits = { deviation = 0.004, wall_min = 0.07, bore_loss = 0, kink = 10, ball_min = 0.5 }
keep = [{ ball = { at = [10, 3, 60], radius = 6 } }, { box = { min = [0, 0, 0], max = [1, 1, 1] } }]
mend = [{ kind = "hole", at = [1, 2, 3], radius = 0.25 }]

[[end]]
name = "upper"
rim = [12, 0, 81]
trim = 0.2
facing = [0, 0, 5]
reach = 0.6
fitting = { kind = "tube", bore = 0.7, outside = 0.86, length = 1 }
place = { gap = 0.8 }
seam = { bore = [[0.1, 0.2, 0.3], [1, 0, 0], [0, 1, 0]] }
"#;
    let case = read_case(text, "case.toml").unwrap();
    insta::assert_snapshot!("settled", spile_case::write_case(&case));
}

/// Each kind of fitting in a settled case.
#[test]
fn the_layout_of_a_settled_fitting_is_stable() {
    let fittings = [
        r#"kind = "tube", bore = 18, outside = 22, length = 25, flange = { outside = 30, thickness = 2 }"#,
        r#"kind = "cone", size = "breathing-22", bore = 18"#,
        r#"kind = "socket", size = "luer", outside = 7, length = 9.5, allowance = -0.05, flange = { outside = 12, thickness = 1, at = 3 }"#,
    ];
    let written: Vec<String> = fittings
        .iter()
        .map(|words| {
            let old = "kind = \"tube\", bore = 18.0, outside = 22.0, length = 25.0";
            let case = read_case(&with(old, words), "case.toml").unwrap();
            let text = spile_case::write_case(&case);
            let line = text.lines().find(|l| l.starts_with("fitting"));
            line.expect("a line for the fitting").to_owned()
        })
        .collect();
    insta::assert_snapshot!("settled fittings", written.join("\n"));
}

/// The guide's own examples are cases.
#[test]
fn every_case_in_the_guide_reads_without_a_mistake() {
    let guide = concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/src/");
    let page = std::fs::read_to_string(format!("{guide}case-file.md")).unwrap();
    let blocks: Vec<&str> = page
        .split("```toml\n")
        .skip(1)
        .filter_map(|rest| rest.split("```").next())
        .filter(|block| block.contains("[scan]"))
        .collect();
    assert!(!blocks.is_empty());
    for block in blocks {
        assert!(read_case(block, "case-file.md").is_ok(), "{}", mistakes(block));
    }
}

#[test]
fn a_kind_of_file_that_is_not_known_is_refused_with_those_that_are() {
    let files = |value: &str| with("[limits]", &format!("[output]\nfiles = {value}\n\n[limits]"));
    let found = mistakes(&files("[\"obj\", \"iges\"]"));
    assert!(found.contains("unknown value: `iges`"), "{found}");
    let known: Vec<String> = FileKind::ALL.map(|kind| format!("`{}`", kind.name())).into();
    assert!(found.contains(&format!("allowed here: {}", known.join(", "))), "{found}");
    let found = mistakes(&files("\"obj\""));
    assert!(found.contains("expected a list of kinds of files"), "{found}");
    let case = read_case(&files("[\"ply\", \"obj\", \"ply\"]"), "case.toml").unwrap();
    assert_eq!(case.output.files, [FileKind::Obj, FileKind::Ply]);
}

#[test]
fn a_station_has_a_beginning_and_one_way_to_name_it() {
    let cut = "cut = { through = [12.0, 0.0, 80.0], facing = [0.0, 0.0, 2.0] }";
    for (new, said) in [
        ("cut = { from = [12, 0, 80] }", "a `cut` `from` a rim needs its station"),
        ("cut = { along = 12 }", "`cut` needs `from`"),
        ("cut = { from = [12, 0, 80], along = 12, roundest = [1, 2] }", "a `cut` has one station"),
        ("cut = { from = [12, 0, 80], along = 0 }", "expected a number above 0: 0"),
        ("cut = { from = [12, 0, 80], narrowest = [30, 10] }", "the lesser first"),
        ("cut = { from = [12, 0, 80], roundest = 10 }", "the lesser first"),
        ("cut = { from = [12, 0, 80], through = [1, 2, 3], along = 2 }", "not both"),
    ] {
        let found = mistakes(&with(cut, new));
        assert!(found.contains(said), "{new}: {found}");
    }
    let case = read_case(&with(cut, "cut = { from = [1, 2, 3], roundest = [0, 9] }"), "case.toml");
    let Site::Station(read) = case.unwrap().ends[0].site else { panic!("a station") };
    assert_eq!((read.from, read.facing), ([1.0, 2.0, 3.0], None));
    assert_eq!(read.station, spile_case::Station::Roundest([0.0, 9.0]));
}

#[test]
fn a_place_aside_and_tilted_goes_with_a_gap_and_tells_its_direction() {
    let place = "place = { at = [12.0, 0.0, 110.0], along = [0.0, 0.0, 1.0] }";
    for (new, said) in [
        ("place = { gap = 12, tilt_deg = 6 }", "`tilt_deg` needs `toward`"),
        ("place = { gap = 12, toward = [1, 0, 0] }", "`toward` needs `tilt_deg`"),
        ("place = { gap = 12, tilt_deg = 91, toward = [1, 0, 0] }", "from 0 to 90: 91"),
        ("place = { at = [1, 2, 3], along = [0, 0, 1], off = [1, 0, 0] }", "it goes with `gap`"),
    ] {
        let found = mistakes(&with(place, new));
        assert!(found.contains(said), "{new}: {found}");
    }
}
