//! A fitting from a STEP file: its triangles stand for the file's exact faces, in their
//! place to the bit, and the proof, which sees the exact faces itself, finds what does not.
//! The files are invented (`tests/scans/step`); the scan is the trachea of the tests.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use spile_case::{Case, ExactFaces, Unit, read_case};
use spile_formats::step::{StepBody, StepCurve, StepSurface, read_step};
use spile_joint::{Unwatched, facet, make};
use spile_mesh::{DVec3, Mesh, round_to_f32};
use spile_proof::{Proof, Verdict, exact_faces_off, judge};

const NOZZLE: &str = "trachea-nozzle-inch.step";

fn tests() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests")
}

fn scan() -> &'static Mesh {
    static SCAN: OnceLock<Mesh> = OnceLock::new();
    SCAN.get_or_init(|| {
        let path = tests().join("scans/anatomy/vhm-trachea-jagged-derived.stl");
        spile_formats::read(&path).unwrap().mesh
    })
}

/// A case of `tests/real` with its STEP file read, cut within `chord` of its own unit.
fn case(name: &str, file: &str, chord: f64) -> Case {
    let text = std::fs::read_to_string(tests().join("real").join(name)).unwrap();
    let mut case = read_case(&text, name).unwrap();
    let bytes = std::fs::read(tests().join("scans/step").join(file)).unwrap();
    let read = read_step(file, &bytes).unwrap();
    let StepBody::Exact(solid) = read.body else { panic!("exact faces") };
    let facets = facet(&solid, chord / read.unit.millimetres()).unwrap();
    let of = &mut case.solids[0];
    of.unit = Some(if read.unit.symbol() == "in" { Unit::Inch } else { Unit::Millimetre });
    of.points = facets.mesh.points().iter().map(|p| p.to_array()).collect();
    of.triangles = facets.mesh.triangles().to_vec();
    of.exact = Some(ExactFaces { solid, face: facets.face });
    case
}

struct Made {
    settled: Case,
    part: Mesh,
}

fn made(case: &Case) -> Made {
    let made = make(case, std::slice::from_ref(scan()), &Unwatched).unwrap();
    Made { settled: made.settled, part: made.part.unwrap() }
}

fn nozzle() -> &'static Made {
    static MADE: OnceLock<Made> = OnceLock::new();
    MADE.get_or_init(|| made(&case("trachea-step.toml", NOZZLE, 0.01)))
}

fn judged(part: &Mesh, settled: &Case) -> Proof {
    judge(std::slice::from_ref(scan()), part, settled).unwrap()
}

/// The limits that are broken or not judged.
fn offended(proof: &Proof) -> Vec<&str> {
    let bad = |v: Verdict| !matches!(v, Verdict::Held | Verdict::NotAsked);
    proof.limits.iter().filter(|l| bad(l.verdict)).map(|l| l.name.as_str()).collect()
}

type Corners = [[u64; 3]; 3];

fn corners(mut c: [DVec3; 3]) -> Corners {
    c = c.map(|p| p + DVec3::ZERO);
    let mut c = c.map(|p| p.to_array().map(f64::to_bits));
    let least = (0..3).min_by_key(|&k| c[k]).unwrap();
    c.rotate_left(least);
    c
}

/// In inches and as modelled: each corner times 25.4 (international yard and pound
/// agreement, 1959), rounded once, and every triangle but the joined face's.
#[test]
fn as_modelled_in_inches_every_corner_is_converted_and_rounded_once() {
    let m = nozzle();
    let proof = judged(&m.part, &m.settled);
    assert_eq!(offended(&proof), [""; 0]);
    let there: BTreeSet<Corners> =
        (0..m.part.triangles().len()).map(|t| corners(m.part.corners(t))).collect();
    let solid = &m.settled.solids[0];
    let at = DVec3::new(0.7, 643.64997, 41.536009);
    let along = DVec3::new(0.0, 0.8854333, 0.4647665).normalize();
    for t in &solid.triangles {
        let c = t.map(|v| DVec3::from_array(solid.points[v as usize]) * 25.4);
        let on_face = c.iter().all(|&p| (p - at).dot(along).abs() < 1e-6);
        assert_eq!(there.contains(&corners(c.map(round_to_f32))), !on_face, "{c:?}");
    }
    let row = proof.limits.iter().find(|l| l.name == "fitting").unwrap();
    let [lo, hi] = row.bounds.unwrap();
    // Sides of circles are within half the chord; nothing is cut finer than needed by far.
    assert!(0.002 < lo && lo <= hi && hi <= 0.01, "{lo} {hi}");
    assert!(row.how.contains("10 exact faces"), "{}", row.how);
}

/// Drawn elsewhere, in millimetres, placed and rolled: the bend's far rim is where the
/// turns take it, by their closed forms.
#[test]
fn a_bent_tube_is_placed_and_rolled() {
    let m = made(&case("trachea-elbow.toml", "elbow.step", 0.02));
    assert_eq!(offended(&judged(&m.part, &m.settled)), [""; 0]);
    // The leg's axis leads along y from the rim at (30, -15, 0); the bend turns about the
    // origin and ends at (0, 30, 0).
    let at = DVec3::new(0.7, 643.64997, 41.536009);
    let along = DVec3::new(0.0, 0.8854333, 0.4647665).normalize();
    let off = |p: DVec3| {
        let d = p - at;
        let height = d.dot(along);
        (height, (d - height * along).length())
    };
    // So its outer circle, 40 about a place 15 along, reaches 55 along, and its far face
    // hypot(30, 10) off the axis.
    let own = m.part.points().iter().map(|&p| off(p)).filter(|(height, _)| *height > 1.0);
    let (height, aside) =
        own.fold((0.0_f64, 0.0_f64), |(h, a), (height, aside)| (h.max(height), a.max(aside)));
    assert!((height - 55.0).abs() < 0.02, "{height}");
    assert!((aside - 30f64.hypot(10.0)).abs() < 0.02, "{aside}");
}

fn edited(part: &Mesh, edit: impl FnOnce(&mut Vec<DVec3>, &mut Vec<[u32; 3]>)) -> Mesh {
    let (mut points, mut triangles) = part.clone().into_parts();
    edit(&mut points, &mut triangles);
    Mesh::new(points, triangles).unwrap()
}

fn exact(case: &mut Case) -> &mut ExactFaces {
    case.solids[0].exact.as_mut().unwrap()
}

/// Every sample's triangles are called within the chord by the prover's own sums, and not
/// much less: sides of circles take half of it, doubly curved faces a little more.
#[test]
fn the_triangles_of_every_sample_stand_for_its_exact_faces() {
    let folder = tests().join("scans/step");
    let mut count = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if !name.ends_with(".step") {
            continue;
        }
        let read = read_step(&name, &std::fs::read(&path).unwrap()).unwrap();
        let StepBody::Exact(solid) = read.body else { panic!("exact faces") };
        for chord in [0.05, 0.01].map(|mm| mm / read.unit.millimetres()) {
            let facets = facet(&solid, chord).unwrap();
            let exact = ExactFaces { solid: solid.clone(), face: facets.face };
            let [lo, hi] = exact_faces_off(&exact, &facets.mesh, chord).unwrap();
            assert!(0.2 * chord < lo && hi <= chord, "{name} {chord}: {lo} {hi}");
        }
        count += 1;
    }
    assert!(count >= 8);
}

/// What the maker could get wrong, planted: the proof sees the file's exact faces and
/// calls each broken.
#[test]
fn triangles_that_do_not_stand_for_the_exact_faces_are_broken() {
    let m = nozzle();
    type Lie = fn(&mut Case);
    let lies: [(&str, Lie); 8] = [
        ("a bore of another radius", |c| {
            for face in &mut exact(c).solid.faces {
                match &mut face.surface {
                    StepSurface::Cylinder { radius, .. } if *radius < 0.35 => *radius += 0.001,
                    _ => {}
                }
            }
        }),
        ("fillets of another radius", |c| {
            for face in &mut exact(c).solid.faces {
                if let StepSurface::Torus { tube, .. } = &mut face.surface {
                    *tube *= 1.02;
                }
            }
        }),
        ("a far face elsewhere", |c| {
            let farthest = c.solids[0].points.iter().map(|p| p[1]).fold(0.0, f64::max);
            for face in &mut exact(c).solid.faces {
                match &mut face.surface {
                    StepSurface::Plane { at, normal } if at.y > farthest - 0.5 => {
                        *at += 0.0005 * *normal;
                    }
                    _ => {}
                }
            }
        }),
        ("an edge elsewhere", |c| {
            for edge in &mut exact(c).solid.edges {
                match &mut edge.curve {
                    StepCurve::Circle { centre, axis, radius } if *radius > 0.58 => {
                        *centre += 0.001 * *axis;
                    }
                    _ => {}
                }
            }
        }),
        ("triangles of the wrong faces", |c| exact(c).face.reverse()),
        ("a triangle of no face", |c| exact(c).face[7] = 1000),
        ("a face that faces into the material", |c| {
            exact(c).solid.faces[0].outward ^= true;
        }),
        ("a face without triangles", |c| {
            let last = exact(c).solid.faces.len() - 1;
            let face = exact(c).solid.faces[last].clone();
            let n = exact(c).solid.edges.len() as u32;
            let edges = exact(c).solid.edges.clone();
            exact(c).solid.edges.extend(edges);
            let moved = face.loops.iter().map(|l| l.iter().map(|(e, a)| (e + n, *a)).collect());
            let moved = spile_formats::step::StepFace { loops: moved.collect(), ..face };
            exact(c).solid.faces.push(moved);
        }),
    ];
    for (k, (name, lie)) in lies.into_iter().enumerate() {
        let mut settled = m.settled.clone();
        lie(&mut settled);
        let solid = &settled.solids[0];
        let points = solid.points.iter().map(|&p| DVec3::from_array(p)).collect();
        let mesh = Mesh::new(points, solid.triangles.clone()).unwrap();
        let chord = 0.01 / 25.4;
        let off = exact_faces_off(solid.exact.as_ref().unwrap(), &mesh, chord);
        assert!(off.as_ref().map_or(true, |off| off[0] > chord), "{name}: {off:?}");
        // A whole proof takes its time: one of those off their faces, and one without faces.
        if k == 0 || k == 5 {
            let proof = judged(&m.part, &settled);
            assert!(offended(&proof).contains(&"fitting"), "{name}: {:?}", offended(&proof));
        }
    }
}

/// Triangles cut for five times the chord are too far off; and a part whose fitting has,
/// corner for corner, the triangles of the case is broken where those are not the file's
/// exact faces: one corner is moved in both alike.
#[test]
fn triangles_that_are_too_far_from_the_exact_faces_are_broken() {
    let coarse = case("trachea-step.toml", NOZZLE, 0.05);
    let points = coarse.solids[0].points.iter().map(|&p| DVec3::from_array(p)).collect();
    let mesh = Mesh::new(points, coarse.solids[0].triangles.clone()).unwrap();
    let off = |mm: f64| exact_faces_off(coarse.solids[0].exact.as_ref().unwrap(), &mesh, mm / 25.4);
    assert!(off(0.05).is_ok_and(|off| off[1] <= 0.05 / 25.4));
    assert!(off(0.01).map_or(true, |off| off[0] > 0.01 / 25.4));
    let m = nozzle();
    let mut settled = m.settled.clone();
    let solid = &mut settled.solids[0];
    // On the far end face's rim: bore or outside.
    let (k, was) = (solid.points.iter().copied().enumerate())
        .max_by(|a, b| a.1[1].total_cmp(&b.1[1]))
        .unwrap();
    let to_case = |p: [f64; 3]| round_to_f32(DVec3::from_array(p) * 25.4);
    let is = [was[0], was[1] + 0.0006, was[2]];
    solid.points[k] = is;
    let part = edited(&m.part, |points, _| {
        let moved = points.iter_mut().filter(|p| **p == to_case(was));
        moved.for_each(|p| *p = to_case(is));
    });
    let proof = judged(&part, &settled);
    assert!(offended(&proof).contains(&"fitting"), "{:?}", offended(&proof));
}

/// The part is not believed either: moved, turned or of other corners.
#[test]
fn a_part_that_has_other_triangles_is_broken() {
    let m = nozzle();
    let at = DVec3::new(0.7, 643.64997, 41.536009);
    let along = DVec3::new(0.0, 0.8854333, 0.4647665).normalize();
    let moved = |f: &dyn Fn(DVec3) -> DVec3| {
        edited(&m.part, |points, _| {
            let own = points.iter_mut().filter(|p| (**p - at).dot(along) > -1e-3);
            own.for_each(|p| *p = round_to_f32(f(*p)));
        })
    };
    let parts = [
        ("moved by a tenth of the chord", moved(&|p| p + 0.001 * DVec3::X)),
        ("wider by a thousandth", moved(&|p| p + 1e-3 * (p - at).reject_from_normalized(along))),
        ("one corner a step off", {
            let far = m.part.points().iter().position(|&p| (p - at).dot(along) > 20.0).unwrap();
            edited(&m.part, |points, _| {
                let next = f32::from_bits((points[far].y as f32).to_bits() + 1);
                points[far].y = f64::from(next);
            })
        }),
    ];
    for (name, part) in parts {
        let proof = judged(&part, &m.settled);
        assert!(offended(&proof).contains(&"fitting"), "{name}: {:?}", offended(&proof));
    }
}

fn spile() -> assert_cmd::Command {
    assert_cmd::Command::new(env!("CARGO_BIN_EXE_spile"))
}

/// A folder with the trachea, a STEP file, and the nozzle's case that names it.
fn folder(step: &str, fitting: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    std::fs::copy(tests().join("scans/anatomy/vhm-trachea-jagged-derived.stl"), at("scan.stl"))
        .unwrap();
    std::fs::write(at("nozzle.step"), step).unwrap();
    let text = std::fs::read_to_string(tests().join("real/trachea-step.toml")).unwrap();
    let line = |line: &str| match line.split(' ').next() {
        Some("fitting") => format!("fitting = {fitting}\n"),
        Some("file") => "file = \"scan.stl\"\n".to_owned(),
        _ => format!("{line}\n"),
    };
    std::fs::write(at("job.toml"), text.lines().map(line).collect::<String>()).unwrap();
    folder
}

/// From files: the folder that `run` leaves holds the STEP file and proves again; a changed
/// one is told.
#[test]
fn the_folder_of_a_run_proves_again() {
    let step = std::fs::read_to_string(tests().join("scans/step").join(NOZZLE)).unwrap();
    let folder = folder(&step, r#"{ kind = "step", file = "nozzle.step" }"#);
    let at = |name: &str| folder.path().join(name);
    let ran = spile().args(["run", "--without-report"]).arg(at("job.toml")).assert().code(0);
    let said = String::from_utf8_lossy(&ran.get_output().stdout).into_owned();
    assert!(said.contains("states in as its unit: its lengths were multiplied by 25.4"), "{said}");
    let settled = std::fs::read_to_string(at("job-out/case.toml")).unwrap();
    assert!(settled.contains(r#"kind = "step", file = "inputs/nozzle.step", unit = "in""#));
    std::fs::rename(at("job-out"), at("elsewhere")).unwrap();
    spile().arg("prove").arg(at("elsewhere")).assert().code(0);
    spile()
        .arg("prove")
        .arg(at("elsewhere/case.toml"))
        .arg("--part")
        .arg(at("elsewhere/part.stl"))
        .arg("--asked")
        .arg(at("job.toml"))
        .assert()
        .code(0);
    let wider = step.replace("0.314960629921", "0.314970629921");
    assert_ne!(step, wider);
    std::fs::write(at("elsewhere/inputs/nozzle.step"), wider).unwrap();
    let told = spile().arg("prove").arg(at("elsewhere")).assert().failure();
    let told = String::from_utf8_lossy(&told.get_output().stdout).into_owned();
    assert!(told.contains("nozzle.step"), "{told}");
}

/// What is wrong with a file or its unit is said with what to do, and nothing is written.
#[test]
fn wrong_files_and_units_are_errors_that_say_what_to_do() {
    let read = |name: &str| std::fs::read_to_string(tests().join("scans/step").join(name)).unwrap();
    let as_step = r#"{ kind = "step", file = "nozzle.step" }"#;
    let nozzle = read(NOZZLE);
    let in_metres = read("flanged.step").replace(".MILLI.,.METRE.", "$,.METRE.");
    let in_centimetres = read("flanged.step").replace(".MILLI.,.METRE.", ".CENTI.,.METRE.");
    let stated = r#"{ kind = "step", file = "nozzle.step", unit = "mm" }"#;
    let placed = r#"{ kind = "step", file = "nozzle.step", rim = [0, 0, 0] }"#;
    let allowed = r#"{ kind = "step", file = "nozzle.step", allowance = 0.1 }"#;
    let as_mesh = r#"{ kind = "mesh", file = "nozzle.step" }"#;
    let cases = [
        ("stated unit", nozzle.as_str(), stated),
        ("metres", in_metres.as_str(), placed),
        ("centimetres", in_centimetres.as_str(), placed),
        ("allowance", nozzle.as_str(), allowed),
        ("as a mesh", nozzle.as_str(), as_mesh),
        ("no step file", "solid", as_step),
        ("a free-form face", &nozzle.replace("TOROIDAL_SURFACE", "SURFACE_OF_REVOLUTION"), as_step),
    ];
    let mut text = String::new();
    for (name, step, fitting) in cases {
        let folder = folder(step, fitting);
        let ran = spile().current_dir(folder.path()).args(["run", "job.toml"]).assert().code(2);
        let said = String::from_utf8_lossy(&ran.get_output().stderr).into_owned();
        text.push_str(&format!("- {name}\n{said}\n"));
        assert!(!folder.path().join("job-out").exists());
    }
    insta::assert_snapshot!("wrong files", text);
}
