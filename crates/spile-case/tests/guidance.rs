//! Guidance that a case may give: what is read, what is refused, how it is written.

use std::fmt::Write as _;

use spile_case::{EndLimits, JointShape, Pin, read_case, write_case};

/// A case with room for guidance: at the upper end, the lower end, and above all.
fn case(upper: &str, lower: &str, top: &str) -> String {
    format!(
        r#"unit = "mm"

[scan]
file = "duct.stl"
form = "shell"

[[end]]
name = "upper"
cut = {{ through = [12, 0, 80], facing = [0, 0, 1] }}
reach = 15
fitting = {{ kind = "tube", bore = 18, outside = 22, length = 25 }}
place = {{ at = [12, 0, 110], along = [0, 0, 1] }}
{upper}

[[end]]
name = "lower"
cut = {{ through = [5, 0, 12], facing = [0, 0, -1] }}
{lower}

[limits]
deviation = 0.1
wall_min = 1.2
{top}
"#
    )
}

/// The mistakes of several cases as lines.
fn mistakes(cases: &[(&str, String)]) -> String {
    let mut out = String::new();
    for (words, text) in cases {
        let _ = writeln!(out, "- {words}");
        for mistake in read_case(text, "case.toml").expect_err("a mistake was put in") {
            let at = text[mistake.span.clone()].lines().next().unwrap_or_default();
            let _ = writeln!(out, "{mistake}\n  at: {at}");
            for hint in mistake.hints() {
                let _ = writeln!(out, "  hint: {hint}");
            }
        }
    }
    out
}

/// The lines of the written case that hold `key`.
fn written(text: &str, key: &str) -> String {
    let case = read_case(text, "case.toml").expect("a good case");
    let text = write_case(&case);
    assert_eq!(read_case(&text, "case.toml").expect("a good case"), case, "{text}");
    text.lines().filter(|l| l.starts_with(key)).collect::<Vec<_>>().join("\n")
}

#[test]
fn limits_of_an_end_stand_in_for_the_cases_one_by_one() {
    let text = case("[end.limits]\ndeviation = 0.2\nkink = 15", "limits = { wall_min = 2 }", "");
    let case = read_case(&text, "case.toml").expect("a good case");
    let own = EndLimits { deviation: Some(0.2), kink_deg: Some(15.0), ..EndLimits::default() };
    assert_eq!(case.ends[0].limits, own);
    let [upper, lower] = [&case.ends[0], &case.ends[1]].map(|end| case.limits_at(end));
    assert_eq!((upper.deviation, upper.kink_deg, upper.wall_min), (0.2, Some(15.0), Some(1.2)));
    // A chord that the case leaves out is a tenth of the case's own deviation.
    assert_eq!((upper.chord, lower.chord), (0.01, 0.01));
    assert_eq!((lower.deviation, lower.kink_deg, lower.wall_min), (0.1, None, Some(2.0)));
    let limits = written(&text, "limits");
    assert_eq!(limits, "limits = { deviation = 0.2, kink = 15.0 }\nlimits = { wall_min = 2.0 }");
}

#[test]
fn limits_of_an_end_are_checked_as_the_cases_are() {
    let of = |words: &'static str| (words, case(words, "", ""));
    let plain = |words: &'static str| (words, case("", words, ""));
    insta::assert_snapshot!(mistakes(&[
        of("limits = { deviaton = 0.2 }"),
        of("limits = { bore_loss = 2, kink = -1, wall_min = 0 }"),
        of("limits = 3"),
        plain("limits = { kink = 10, wall_min = 1 }"),
        plain("limits = { ball_min = 10, chord = 1 }"),
    ]));
}

#[test]
fn a_clear_is_one_ball_or_one_box() {
    let of = |words: &str| case("", "", words);
    let good = of("[[clear]]\nball = { at = [1, 2, 3], radius = 4 }\n[[clear]]\n\
                   box = { min = [0, 0, 0], max = [1, 1, 1] }");
    assert_eq!(read_case(&good, "case.toml").expect("a good case").clears.len(), 2);
    assert_eq!(written(&good, "ball"), "ball = { at = [1.0, 2.0, 3.0], radius = 4.0 }");
    for (words, said) in [
        ("[[clear]]", "`[[clear]]` needs `ball`"),
        ("[[clear]]\nfile = 'a.json'", "unknown key in `[[clear]]`: `file`"),
        ("[[clear]]\nball = { at = [1, 2, 3], radius = 0 }", "above 0"),
        ("[[clear]]\nbox = { min = [0, 2, 0], max = [1, 1, 1] }", "the box is empty: in y"),
        (
            "[[clear]]\nball = { at = [0, 0, 0], radius = 1 }\nbox = { min = [0, 0, 0], max = [1, 1, 1] }",
            "a clear is one region; two are given",
        ),
    ] {
        let mistakes = read_case(&of(words), "case.toml").expect_err("a mistake");
        assert!(mistakes.iter().any(|m| m.to_string().contains(said)), "{words}: {mistakes:?}");
    }
}

#[test]
fn a_joint_may_be_told_its_shape_and_wall() {
    let text = case(
        "",
        "",
        "[joint]\nshape = \"shortest\"\nwall = [{ at = 0.25, thickness = 2 }, { at = 0.75, thickness = 3 }]",
    );
    let joint = read_case(&text, "case.toml").expect("a good case").joint;
    assert_eq!(joint.shape, JointShape::Shortest);
    // Evenly between the places that are given, and nothing beyond them.
    let at = [0.2, 0.25, 0.5, 0.75, 0.8].map(|at| joint.thickness(at));
    assert_eq!(at, [None, Some(2.0), Some(2.5), Some(3.0), None]);
    assert_eq!(written(&text, "shape"), "shape = \"shortest\"");
    assert_eq!(
        written(&text, "wall ="),
        "wall = [{ at = 0.25, thickness = 2.0 }, { at = 0.75, thickness = 3.0 }]"
    );
    // What is as if left out is left out.
    let text = case("", "", "[joint]\nshape = \"tangent\"");
    assert_eq!(written(&text, "[joint]"), "");
}

#[test]
fn an_end_may_match_places_of_rim_and_fitting() {
    let text = case("match = [[[21, 0, 80], 90], [[12, 9, 80], -180.5]]", "", "");
    let pins = read_case(&text, "case.toml").expect("a good case").ends[0].pins.clone();
    let second = Pin { scan: [12.0, 9.0, 80.0], angle_deg: -180.5 };
    assert_eq!((pins.len(), pins[1]), (2, second));
    assert_eq!(
        written(&text, "match"),
        "match = [[[21.0, 0.0, 80.0], 90.0], [[12.0, 9.0, 80.0], -180.5]]"
    );
}

#[test]
fn guidance_of_joints_is_checked() {
    let joint = |words: &'static str| (words, case("", "", &format!("[joint]\n{words}")));
    let end = |words: &'static str| (words, case(words, "", ""));
    insta::assert_snapshot!(mistakes(&[
        joint("shape = \"short\""),
        joint("wall = 2"),
        joint("wall = [{ at = 0.5, thickness = 2 }]"),
        joint("wall = [{ at = 0.5, thickness = 2 }, { at = 0.5, thickness = 3 }]"),
        joint("wall = [{ at = -0.1, thickness = 0 }, { thickness = 3 }]"),
        joint("wall = [{ at = 0.1, thick = 2 }, { at = 0.2, thickness = 3 }]"),
        end("match = 90"),
        end("match = [[21, 0, 80], 90]"),
        end("match = [[[21, 0], 90]]"),
        end("match = [[[21, 0, 80], 400]]"),
        ("at a plain end", case("", "match = [[[0, 0, 12], 0]]\nroll = 5", "")),
        end("roll = 5"),
    ]));
}

#[test]
fn a_match_is_of_one_scan() {
    let text = case("match = [[[21, 0, 80], 90]]", "", "")
        .replace("form = \"shell\"", "form = \"shell\"\nalign = { to = \"first.stl\" }");
    let said = mistakes(&[("aligned", text)]);
    assert!(said.contains("with `align` an end cannot have a `match`"), "{said}");
}

#[test]
fn a_mesh_fitting_may_be_rolled() {
    let tube = "fitting = { kind = \"tube\", bore = 18, outside = 22, length = 25 }";
    let at = "place = { at = [12, 0, 110], along = [0, 0, 1] }";
    let mesh = "fitting = { kind = \"mesh\", file = \"y.stl\" }";
    let of = |roll: &str| case(roll, "", "").replace(tube, mesh);
    assert_eq!(written(&of("roll = -12.5"), "roll"), "roll = -12.5");
    assert_eq!(written(&of("roll = 0"), "roll"), "");
    let fixed = of("roll = 30").replace(at, "place = \"as-modelled\"");
    insta::assert_snapshot!(mistakes(&[("too far", of("roll = 400")), ("as modelled", fixed)]));
}
