//! A fitting from a mesh file: its triangles come out corner for corner, the
//! joint meets its rim whatever sides that has, and the proof finds what is
//! tampered with. The tubes are made here; the scan is the trachea of the tests.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::collections::BTreeSet;
use std::f64::consts::TAU;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use spile_case::{Case, Fitting, Motion, Place, Scan, Site, read_case};
use spile_joint::{Unwatched, make, round_rims};
use spile_mesh::{DVec3, Mesh, round_to_f32};
use spile_proof::{Proof, Verdict, judge_as_asked};

/// Near face and axis of the trachea's fitting, as its case in `tests/real` has them.
const AT: DVec3 = DVec3::new(0.7, 643.64997, 41.536009);
const ALONG: DVec3 = DVec3::new(0.0, 0.8854333, 0.4647665);

/// A tube to be written to a file.
#[derive(Clone, Copy)]
struct Tube {
    at: DVec3,
    along: DVec3,
    /// Times 8 bore radius, 10 outer radius, 25 long.
    scale: f64,
    /// Sides of the bore and of the outside.
    sides: [usize; 2],
    /// How unequal the sides are.
    uneven: f64,
    /// Share of the radius by which it is oval.
    oval: f64,
}

const TUBE: Tube =
    Tube { at: AT, along: ALONG, scale: 1.0, sides: [96, 96], uneven: 0.0, oval: 0.0 };

impl Tube {
    fn mesh(&self) -> Mesh {
        let along = self.along.normalize();
        let u = along.any_orthonormal_vector();
        let v = along.cross(u);
        let angle = |i: usize, n: usize| {
            let wobble = self.uneven * (7.0 * i as f64).sin();
            TAU * (i as f64 + wobble) / n as f64
        };
        let mut points = Vec::new();
        // Rings: bore near and far, outside near and far.
        let rings = [(0, 8.0, 0.0), (0, 8.0, 25.0), (1, 10.0, 0.0), (1, 10.0, 25.0)];
        let first = rings.map(|(side, radius, height)| {
            let n = self.sides[side];
            let first = points.len() as u32;
            points.extend((0..n).map(|i| {
                let a = angle(i, n);
                let r = self.scale * radius * (1.0 + self.oval * (2.0 * a).cos());
                let p = self.at + r * (a.cos() * u + a.sin() * v) + self.scale * height * along;
                round_to_f32(p)
            }));
            first
        });
        let [n, m] = self.sides;
        let mut triangles = Vec::new();
        for (near, far, n, outward) in
            [(first[0], first[1], n, false), (first[2], first[3], m, true)]
        {
            for i in 0..n as u32 {
                let j = (i + 1) % n as u32;
                for [a, b, c] in [[near + i, near + j, far + j], [near + i, far + j, far + i]] {
                    triangles.push(if outward { [a, b, c] } else { [a, c, b] });
                }
            }
        }
        for (bore, outside, is_far) in [(first[0], first[2], false), (first[1], first[3], true)] {
            let (mut i, mut j) = (0, 0);
            while i < n || j < m {
                let on_bore = i < n && (j == m || angle(i + 1, n) <= angle(j + 1, m));
                let at = |first: u32, k: usize, n: usize| first + (k % n) as u32;
                let (a, b) = (at(bore, i, n), at(outside, j, m));
                let next = if on_bore { at(bore, i + 1, n) } else { at(outside, j + 1, m) };
                triangles.push(if is_far { [a, b, next] } else { [a, next, b] });
                if on_bore { i += 1 } else { j += 1 }
            }
        }
        Mesh::new(points, triangles).unwrap()
    }
}

fn real() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests")
}

fn scan() -> &'static Mesh {
    static SCAN: OnceLock<Mesh> = OnceLock::new();
    SCAN.get_or_init(|| {
        let path = real().join("scans/anatomy/vhm-trachea-jagged-derived.stl");
        spile_formats::read(&path).unwrap().mesh
    })
}

/// The trachea's case with another fitting and place.
fn text(fitting: &str, place: &str) -> String {
    let text = std::fs::read_to_string(real().join("real/trachea-cut.toml")).unwrap();
    let line = |line: &str| match line.split(' ').next() {
        Some("fitting") => format!("fitting = {fitting}\n"),
        Some("place") => format!("place = {place}\n"),
        // What is lost is told by the file's own sides.
        Some("bore_loss") => "bore_loss = 0.02\n".to_owned(),
        _ => format!("{line}\n"),
    };
    text.lines().map(line).collect()
}

fn case(mesh: &Mesh, fitting: &str, place: &str) -> Case {
    let mut case = read_case(&text(fitting, place), "case.toml").unwrap();
    case.solids[0].points = mesh.points().iter().map(|p| p.to_array()).collect();
    case.solids[0].triangles = mesh.triangles().to_vec();
    case
}

struct Made {
    asked: Case,
    settled: Case,
    part: Mesh,
}

fn made(mesh: &Mesh, fitting: &str, place: &str) -> Made {
    made_of(case(mesh, fitting, place), scan())
}

fn made_of(asked: Case, scan: &Mesh) -> Made {
    let made = make(&asked, std::slice::from_ref(scan), &Unwatched).unwrap();
    Made { asked, settled: made.settled, part: made.part.unwrap() }
}

const AS_MODELLED: [&str; 2] = [r#"{ kind = "mesh", file = "tube.stl" }"#, r#""as-modelled""#];

/// A tube of 24 uneven sides on the bore and 31 on the outside.
const COARSE: Tube = Tube { sides: [24, 31], uneven: 0.2, ..TUBE };

fn coarse() -> &'static Made {
    static MADE: OnceLock<Made> = OnceLock::new();
    MADE.get_or_init(|| made(&COARSE.mesh(), AS_MODELLED[0], AS_MODELLED[1]))
}

fn judged(part: &Mesh, settled: &Case, asked: &Case) -> Proof {
    judge_as_asked(std::slice::from_ref(scan()), part, settled, asked).unwrap()
}

/// The limits that are broken or not judged.
fn offended(proof: &Proof) -> Vec<&str> {
    let bad = |v: Verdict| !matches!(v, Verdict::Held | Verdict::NotAsked);
    proof.limits.iter().filter(|l| bad(l.verdict)).map(|l| l.name.as_str()).collect()
}

type Corners = [[u64; 3]; 3];

fn corners(mesh: &Mesh, t: usize) -> Corners {
    let mut c = mesh.corners(t).map(|p| (p + DVec3::ZERO).to_array().map(f64::to_bits));
    let least = (0..3).min_by_key(|&k| c[k]).unwrap();
    c.rotate_left(least);
    c
}

/// As modelled the file's triangles are in the part to the bit, wound as they
/// were, all but the end face toward the scan; and all limits hold.
#[test]
fn as_modelled_every_triangle_but_the_joined_face_is_in_the_part_to_the_bit() {
    let m = coarse();
    assert_eq!(offended(&judged(&m.part, &m.settled, &m.asked)), [""; 0]);
    let there: BTreeSet<Corners> =
        (0..m.part.triangles().len()).map(|t| corners(&m.part, t)).collect();
    let tube = COARSE.mesh();
    let on_face =
        |t: usize| tube.corners(t).iter().all(|&p| (p - AT).dot(ALONG.normalize()).abs() < 1e-3);
    for t in 0..tube.triangles().len() {
        assert_eq!(there.contains(&corners(&tube, t)), !on_face(t), "triangle {t}");
    }
    assert_eq!(m.settled.ends[0].place, Some(Place::AsModelled));
}

/// The circles of a round tube, closed form: radius 8 and 10 about its axis.
#[test]
fn the_round_rims_are_found_with_their_circles() {
    let found = round_rims(&COARSE.mesh()).unwrap();
    assert_eq!((found.round.len(), found.not_round.len()), (2, 0));
    for rim in &found.round {
        let height = (rim.centre - AT).dot(ALONG.normalize());
        let facing = if height > 1.0 { 1.0 } else { -1.0 };
        assert!((height - 12.5).abs() - 12.5 < 1e-4, "{height}");
        assert!((rim.axis * facing - ALONG.normalize()).length() < 1e-5);
        assert!((rim.bore.radius - 8.0).abs() < 1e-4 && (rim.outside.radius - 10.0).abs() < 1e-4);
        // Coordinates near 650 are f32 steps of 6e-5 apart.
        assert!(rim.bore.largest < 6e-5 && rim.outside.largest < 6e-5);
        assert_eq!([rim.loops[0].len(), rim.loops[1].len()], [24, 31]);
    }
}

/// Drawn at the origin in centimetres, upside down, and placed: radii and
/// heights are the closed form's, to the steps of f32.
#[test]
fn a_placed_fitting_in_another_unit_is_turned_scaled_and_held() {
    let drawn = Tube { at: DVec3::ZERO, along: DVec3::NEG_Y, scale: 0.1, ..TUBE };
    let fitting = r#"{ kind = "mesh", file = "tube.stl", unit = "cm", rim = [0.1, 0.2, 0.1] }"#;
    let place = "{ at = [0.7, 643.64997, 41.536009], along = [0.0, 0.8854333, 0.4647665] }";
    let m = made(&drawn.mesh(), fitting, place);
    assert_eq!(offended(&judged(&m.part, &m.settled, &m.asked)), [""; 0]);
    let along = ALONG.normalize();
    let far: Vec<DVec3> =
        m.part.points().iter().copied().filter(|p| (*p - AT).dot(along) > 1.0).collect();
    assert_eq!(far.len(), 2 * 96);
    for p in far {
        let height = (p - AT).dot(along);
        let radius = (p - AT - height * along).length();
        assert!((height - 25.0).abs() < 1e-4, "{height}");
        assert!((radius - 8.0).abs().min((radius - 10.0).abs()) < 1e-4, "{radius}");
    }
    let Some(Fitting::Mesh(mesh)) = m.settled.ends[0].fitting else { panic!("a mesh") };
    assert!(DVec3::from_array(mesh.rim.unwrap()).length() < 1e-6);
}

/// A roll turns every corner of the file about the axis by its angle, right-handed
/// about the direction off the scan; another roll in the settled case, or none, is
/// told by `case`, and a part that was rolled otherwise by `fitting`.
#[test]
fn a_rolled_fitting_is_turned_about_its_axis_and_judged_so() {
    let drawn = Tube { at: DVec3::ZERO, along: DVec3::Z, uneven: 0.2, ..TUBE };
    let place = "{ at = [0.7, 643.64997, 41.536009], along = [0.0, 0.8854333, 0.4647665] }";
    let fitting = r#"{ kind = "mesh", file = "tube.stl", rim = [0, 0, 0] }"#;
    let [plain, rolled] =
        ["", "\nroll = 40"].map(|roll| made(&drawn.mesh(), fitting, &format!("{place}{roll}")));
    assert_eq!(offended(&judged(&rolled.part, &rolled.settled, &rolled.asked)), [""; 0]);
    let along = ALONG.normalize();
    let far = |m: &Made| -> Vec<DVec3> {
        m.part.points().iter().copied().filter(|p| (*p - AT).dot(along) > 1.0).collect()
    };
    let (sine, cosine) = 40f64.to_radians().sin_cos();
    let turned = |p: DVec3| {
        let v = p - AT;
        AT + v * cosine + along.cross(v) * sine + along * (along.dot(v) * (1.0 - cosine))
    };
    let there = far(&rolled);
    for p in far(&plain) {
        // Coordinates near 650 are f32 steps of 6e-5 apart.
        let off = there.iter().map(|q| q.distance(turned(p))).fold(f64::INFINITY, f64::min);
        assert!(off < 2e-4, "{off}");
    }
    let with = |roll_deg: f64| {
        let mut settled = rolled.settled.clone();
        let Some(Fitting::Mesh(mesh)) = &mut settled.ends[0].fitting else { panic!("a mesh") };
        mesh.roll_deg = roll_deg;
        settled
    };
    for other in [with(0.0), with(40.01)] {
        let told = judged(&rolled.part, &other, &rolled.asked);
        let offended = offended(&told);
        assert!(offended.contains(&"case") && offended.contains(&"fitting"), "{offended:?}");
    }
}

/// A case that came from another scan takes the fitting along: every corner is where
/// the motion takes it, though the least turn from the file's axis is another here.
#[test]
fn a_rolled_fitting_goes_with_the_case_onto_another_scan() {
    // The coordinates change places, which is a rotation and exact.
    let around = |p: DVec3| DVec3::new(p.y, p.z, p.x);
    let tube = Tube { at: DVec3::ZERO, along: DVec3::Z, uneven: 0.2, ..TUBE }.mesh();
    let place =
        "{ at = [0.7, 643.64997, 41.536009], along = [0.0, 0.8854333, 0.4647665] }\nroll = 40";
    let fitting = r#"{ kind = "mesh", file = "tube.stl", rim = [0, 0, 0] }"#;
    let first = made(&tube, fitting, place);
    let mut case = first.asked.clone();
    let turn = [[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]];
    case.scan.moved = Some(Motion { turn, shift: [0.0; 3] });
    let moved = |p: [f64; 3]| around(p.into()).to_array();
    for end in &mut case.ends {
        let Site::Cut(cut) = &mut end.site else { panic!("a cut") };
        (cut.through, cut.facing) = (moved(cut.through), moved(cut.facing));
    }
    let Some(Place::At { at, along }) = &mut case.ends[0].place else { panic!("a place") };
    (*at, *along) = (moved(*at), moved(*along));
    let second_scan = edited(scan(), |points, _| points.iter_mut().for_each(|p| *p = around(*p)));
    let second = made_of(case, &second_scan);
    let judged = |settled: &Case| {
        judge_as_asked(std::slice::from_ref(&second_scan), &second.part, settled, &second.asked)
            .unwrap()
    };
    assert_eq!(offended(&judged(&second.settled)), [""; 0]);
    let far = |m: &Made, at: DVec3, along: DVec3| -> Vec<DVec3> {
        m.part.points().iter().copied().filter(|p| (*p - at).dot(along) > 1.0).collect()
    };
    let there = far(&second, around(AT), around(ALONG));
    for p in far(&first, AT, ALONG) {
        let off = there.iter().map(|q| q.distance(around(p))).fold(f64::INFINITY, f64::min);
        assert!(off < 2e-4, "{off}");
    }
    let unmoved = Case {
        scan: Scan { moved: None, ..second.settled.scan.clone() },
        ..second.settled.clone()
    };
    let judged = judged(&unmoved);
    let offended = offended(&judged);
    assert!(offended.contains(&"case") && offended.contains(&"fitting"), "{offended:?}");
}

fn edited(part: &Mesh, edit: impl FnOnce(&mut Vec<DVec3>, &mut Vec<[u32; 3]>)) -> Mesh {
    let (mut points, mut triangles) = part.clone().into_parts();
    edit(&mut points, &mut triangles);
    Mesh::new(points, triangles).unwrap()
}

#[test]
fn what_is_tampered_with_is_broken() {
    let m = coarse();
    let along = ALONG.normalize();
    let height = |p: DVec3| (p - AT).dot(along);
    let far = m.part.points().iter().position(|&p| height(p) > 20.0).unwrap();
    let axis = along.any_orthonormal_vector();
    let in_part = |p: DVec3| height(p) > -1e-3;
    let by = 1.0_f64.to_radians();
    // Rodrigues' formula about the near face's centre.
    let turned = |p: DVec3, axis: DVec3| {
        let v = p - AT;
        let k = axis;
        AT + v * by.cos() + k.cross(v) * by.sin() + k * (k.dot(v) * (1.0 - by.cos()))
    };
    let moved = |f: &dyn Fn(DVec3) -> DVec3| {
        edited(&m.part, |points, _| {
            points.iter_mut().filter(|p| in_part(**p)).for_each(|p| *p = round_to_f32(f(*p)));
        })
    };
    let step = |x: f64| f64::from(f32::from_bits((x as f32).to_bits() + 1));
    let parts = [
        ("a corner one step of f32 off", edited(&m.part, |p, _| p[far].y = step(p[far].y))),
        (
            "a triangle missing",
            edited(&m.part, |_, t| t.retain(|c| c[0] as usize != far || c[1] == c[2])),
        ),
        (
            "a triangle wound the other way",
            edited(&m.part, |_, t| {
                let k = t.iter().position(|c| c.contains(&(far as u32))).unwrap();
                t[k].swap(0, 1);
            }),
        ),
        ("tilted by a degree", moved(&|p| turned(p, axis))),
        ("turned by a degree about its axis", moved(&|p| turned(p, along))),
        ("moved by a tenth of the chord", moved(&|p| p + 0.001 * axis)),
    ];
    for (name, part) in parts {
        let proof = judged(&part, &m.settled, &m.asked);
        assert_eq!(proof.verdict, Verdict::Broken, "{name}");
        assert!(offended(&proof).contains(&"fitting"), "{name}: {:?}", offended(&proof));
    }
}

#[test]
fn a_settled_case_that_lies_about_the_file_is_broken() {
    let m = coarse();
    let far_rim = (AT + 25.0 * ALONG.normalize()).to_array();
    type Lie = fn(&mut Case, [f64; 3]);
    let lies: [(&str, Lie); 4] = [
        ("another corner", |c, _| c.solids[0].points[3][0] += 0.001),
        ("another unit", |c, _| c.solids[0].unit = Some(spile_case::Unit::Centimetre)),
        ("fewer triangles", |c, _| c.solids[0].triangles.truncate(100)),
        ("the other rim", |c, far| {
            if let Some(Fitting::Mesh(mesh)) = &mut c.ends[0].fitting {
                mesh.rim = Some(far);
            }
        }),
    ];
    for (name, lie) in lies {
        let mut settled = m.settled.clone();
        lie(&mut settled, far_rim);
        let proof = judged(&m.part, &settled, &m.asked);
        assert_eq!(proof.verdict, Verdict::Broken, "{name}");
        assert!(offended(&proof).contains(&"case"), "{name}: {:?}", offended(&proof));
    }
}

/// What a file has to be, and what is said where it is not.
#[test]
fn wrong_files_are_errors_that_say_what_and_what_to_do() {
    let place = "{ gap = 12 }";
    let [only, rim] = [
        r#"{ kind = "mesh", file = "tube.stl" }"#,
        r#"{ kind = "mesh", file = "tube.stl", rim = [0, 0, 0] }"#,
    ];
    let tube = Tube { at: DVec3::ZERO, along: DVec3::Z, ..TUBE };
    let whole = tube.mesh();
    let open = edited(&whole, |_, t| t.truncate(t.len() - 1));
    let twice = edited(&whole, |points, triangles| {
        let (n, more) = (points.len() as u32, triangles.clone());
        points.extend(points.clone().iter().map(|p| *p + 100.0 * DVec3::X));
        triangles.extend(more.iter().map(|t| t.map(|v| v + n)));
    });
    let crossed = edited(&whole, |points, _| points[100] += 30.0 * DVec3::X);
    let inside_out = edited(&whole, |_, t| t.iter_mut().for_each(|t| t.swap(1, 2)));
    let wrong = [
        (whole.clone(), only, "it has 2 round rims"),
        (open, rim, "not closed"),
        (twice, rim, "more than one piece"),
        (crossed, rim, "meets itself"),
        (inside_out, rim, "inside out"),
        (Tube { oval: 0.004, ..tube }.mesh(), rim, "not round: 0.0"),
        (Tube { oval: 0.04, ..tube }.mesh(), rim, "no round rim"),
        (Tube { sides: [8, 8], ..tube }.mesh(), rim, "a loop of 8 sides"),
        (Tube { scale: 0.1, ..tube }.mesh(), rim, "its bore is 1.6"),
    ];
    for (mesh, fitting, said) in wrong {
        let error = make(&case(&mesh, fitting, place), &[scan().clone()], &Unwatched).unwrap_err();
        let text = error.to_string();
        assert!(text.contains("tube.stl: ") && text.contains(said), "{said}: {text}");
        assert!(!error.hints().is_empty(), "{said}");
    }
    let away = r#"{ kind = "mesh", file = "tube.stl", rim = [0.7, 665, 53] }"#;
    let error = make(&case(&TUBE.mesh(), away, AS_MODELLED[1]), &[scan().clone()], &Unwatched);
    assert!(error.unwrap_err().to_string().contains("faces away"));
}

/// From files: the folder that `run` leaves holds the fitting's file and proves
/// again, and a changed file is told.
#[test]
fn the_folder_of_a_run_holds_the_fittings_file_and_proves_again() {
    let spile = || assert_cmd::Command::new(env!("CARGO_BIN_EXE_spile"));
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    std::fs::copy(real().join("scans/anatomy/vhm-trachea-jagged-derived.stl"), at("scan.stl"))
        .unwrap();
    std::fs::write(at("tube.obj"), obj(&TUBE.mesh())).unwrap();
    let case = text(r#"{ kind = "mesh", file = "tube.obj" }"#, AS_MODELLED[1])
        .replace("../scans/anatomy/vhm-trachea-jagged-derived.stl", "scan.stl");
    std::fs::write(at("job.toml"), case).unwrap();
    spile().args(["run", "--without-report"]).arg(at("job.toml")).assert().code(0);
    let (settled, part) = (at("job-out/case.toml"), at("job-out/part.stl"));
    let prove = || {
        let mut command = spile();
        command.arg("prove").arg(&settled).arg("--part").arg(&part);
        command.arg("--asked").arg(at("job.toml"));
        command
    };
    prove().assert().code(0);
    let listed = spile().arg("fittings").arg(at("job-out/inputs/tube.obj")).assert().code(0);
    let listed = String::from_utf8_lossy(&listed.get_output().stdout).into_owned();
    assert!(listed.contains("2 round rims") && listed.contains("radius 8.0000"), "{listed}");
    std::fs::write(at("job-out/inputs/tube.obj"), obj(&COARSE.mesh())).unwrap();
    prove().assert().code(2);
}

fn obj(mesh: &Mesh) -> String {
    let point = |p: &DVec3| format!("v {} {} {}\n", p.x, p.y, p.z);
    let face = |t: &[u32; 3]| format!("f {} {} {}\n", t[0] + 1, t[1] + 1, t[2] + 1);
    let points: String = mesh.points().iter().map(point).collect();
    points + &mesh.triangles().iter().map(face).collect::<String>()
}
