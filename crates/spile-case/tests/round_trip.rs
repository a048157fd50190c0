//! What is written reads back equal, and no text makes the reader panic.

use proptest::prelude::*;
use spile_case::{
    Ball, Case, Clear, Cone, ConeSize, Cut, End, EndLimits, FileKind, Fitting, Flange, Flow, Form,
    Gender, Inherit, JointGuide, JointShape, Keep, Limits, Mend, MendKind, MeshFitting, Motion,
    Onward, Outliers, Output, Pin, Place, Rim, Scan, Seam, Site, Solid, SolidKind, Station,
    StationCut, Tilt, Unit, Vec3, Wall, WallAt, WallShare, read_case, unit_direction, write_case,
};

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![-1e3..1e3, Just(0.0), Just(-0.0), Just(1e30), Just(-1e-300), Just(0.1 + 0.2)]
}

fn positive() -> impl Strategy<Value = f64> {
    prop_oneof![1e-6..1e3, Just(1e-320), Just(1.0), Just(1e30)]
}

fn share() -> impl Strategy<Value = f64> {
    prop_oneof![0.0..=1.0, Just(0.0), Just(1.0)]
}

fn point() -> impl Strategy<Value = Vec3> {
    [number(), number(), number()]
}

fn direction() -> impl Strategy<Value = Vec3> {
    point().prop_filter_map("zero", unit_direction)
}

/// Any finite `f32` but the largest, whose shortest digits lie above it.
fn f32_point() -> impl Strategy<Value = Vec3> {
    let coordinate = any::<f32>()
        .prop_filter("finite", |x| x.is_finite() && x.abs() < f32::MAX)
        .prop_map(f64::from);
    [coordinate.clone(), coordinate.clone(), coordinate]
}

fn f32_loop() -> impl Strategy<Value = Vec<Vec3>> {
    prop_oneof![Just(Vec::new()), prop::collection::vec(f32_point(), 3..9)]
}

fn name() -> impl Strategy<Value = String> {
    "[^\\p{C}\\s][^\\p{C}]{0,12}"
}

fn site() -> impl Strategy<Value = Site> {
    let cut =
        (point(), direction()).prop_map(|(through, facing)| Site::Cut(Cut { through, facing }));
    let rim = (point(), prop::option::of(positive()), prop::option::of(direction()))
        .prop_map(|(near, trim, facing)| Site::Rim(Rim { near, trim, facing }));
    let span = || (0.0..50.0, 1e-3..50.0).prop_map(|(from, more): (f64, f64)| [from, from + more]);
    let station = prop_oneof![
        positive().prop_map(Station::Along),
        span().prop_map(Station::Narrowest),
        span().prop_map(Station::Roundest),
    ];
    let station = (point(), prop::option::of(direction()), station)
        .prop_map(|(from, facing, station)| Site::Station(StationCut { from, facing, station }));
    prop_oneof![cut, rim, station]
}

/// Without a reach it is to be found.
type Joined = (Option<f64>, Fitting, Place);

fn joined() -> impl Strategy<Value = Joined> {
    let place = prop_oneof![
        (point(), direction()).prop_map(|(at, along)| Place::At { at, along }),
        positive().prop_map(|gap| Place::Onward(gap.into())),
        (positive(), point(), 0.0..=90.0, direction()).prop_map(|(gap, off, tilt_deg, toward)| {
            Place::Onward(Onward { gap, off, tilt: Some(Tilt { tilt_deg, toward }) })
        }),
        Just(Place::Auto),
    ];
    let flange = prop::option::of((1.01..4.0, 0.01..2.0));
    let tube =
        (1e-3..10.0, 1.001..3.0, 0.1..40.0, flange).prop_map(|(bore, ratio, length, flange)| {
            let outside = bore * ratio;
            // On the last third of its length, or up to its far face.
            let flange = flange.map(|(wider, share)| Flange {
                outside: outside * wider,
                thickness: length / 3.0,
                at: if share > 1.0 { length - length / 3.0 } else { length * 0.6 * share },
            });
            Fitting::Tube { bore, outside, length, flange }
        });
    // In shares, until the case's unit is known.
    let sizes =
        prop::sample::select(vec![ConeSize::Breathing15, ConeSize::Breathing22, ConeSize::Luer]);
    let gender = prop_oneof![Just(Gender::Male), Just(Gender::Female)];
    let flange = prop::option::of(1.01..4.0);
    let cone = (sizes, gender, 0.1..0.9, 1.0..3.0, -0.1..0.1, flange).prop_map(
        |(size, gender, other, length, allowance, flange)| {
            let flange = flange.map(|outside| Flange { outside, thickness: 0.5, at: 0.25 });
            Fitting::Cone(Cone { size, gender, other, length, allowance, flange })
        },
    );
    let reach = || prop::option::of(positive());
    let drawn = (reach(), prop_oneof![tube, cone], place.clone());
    let roll_deg = prop_oneof![Just(0.0), -360.0..360.0];
    let place = prop_oneof![place, Just(Place::AsModelled)];
    let mesh = (prop::option::of(point()), roll_deg, place).prop_map(|(rim, roll_deg, place)| {
        // What stays as modelled is not turned.
        let roll_deg = if place == Place::AsModelled { 0.0 } else { roll_deg };
        (Fitting::Mesh(MeshFitting { solid: 0, rim, roll_deg }), place)
    });
    let mesh = (reach(), mesh).prop_map(|(reach, (fitting, place))| (reach, fitting, place));
    prop_oneof![2 => drawn, 1 => mesh]
}

/// A cone's shares as lengths in a case's unit.
fn sized(cone: &mut Cone, unit: Unit) {
    let taper = cone.taper_in(unit);
    cone.allowance /= unit.in_millimetres();
    let [free, wide] = cone.ends_in(unit);
    cone.other = if cone.gender == Gender::Male { free * cone.other } else { free / cone.other };
    let body = if cone.gender == Gender::Male { wide } else { cone.other };
    // What lies before the taper is for the flange.
    let before = taper * cone.length;
    cone.length = taper + before;
    if let Some(flange) = &mut cone.flange {
        flange.outside *= body;
        flange.thickness *= before;
        flange.at *= before;
    }
}

fn end_limits() -> impl Strategy<Value = EndLimits> {
    let maybe = || prop::option::of(positive());
    let kink = prop::option::of(0.0..=180.0);
    (maybe(), maybe(), prop::option::of(share()), kink, maybe(), maybe()).prop_map(
        |(deviation, wall_min, bore_loss, kink_deg, ball_min, chord)| EndLimits {
            deviation,
            wall_min,
            bore_loss,
            kink_deg,
            ball_min,
            chord,
        },
    )
}

fn end() -> impl Strategy<Value = End> {
    let seam = (f32_loop(), f32_loop()).prop_map(|(bore, outside)| Seam { bore, outside });
    let reach = prop::option::of(positive());
    let joined = prop::option::of(joined());
    let pin = (point(), -360.0..360.0).prop_map(|(scan, angle_deg)| Pin { scan, angle_deg });
    let pins = prop::collection::vec(pin, 0..3);
    (name(), site(), reach, joined, prop::option::of(seam), end_limits(), pins).prop_map(
        |(name, site, reach, joined, seam, limits, pins)| match joined {
            Some((reach, fitting, place)) => End {
                name,
                site,
                reach,
                reach_is_auto: reach.is_none(),
                fitting: Some(fitting),
                place: Some(place),
                pins,
                limits,
                seam,
            },
            None => {
                // Not judged at a plain end.
                let limits = EndLimits { kink_deg: None, ball_min: None, chord: None, ..limits };
                End {
                    name,
                    site,
                    reach,
                    reach_is_auto: false,
                    fitting: None,
                    place: None,
                    pins: Vec::new(),
                    limits,
                    seam,
                }
            }
        },
    )
}

fn ends() -> impl Strategy<Value = Vec<End>> {
    prop::collection::vec(end(), 1..4).prop_map(|mut ends| {
        for (k, end) in ends.iter_mut().enumerate() {
            end.name.push_str(&k.to_string());
        }
        ends
    })
}

fn scan() -> impl Strategy<Value = Scan> {
    let inherit = prop_oneof![Just(vec![]), Just(vec![Inherit::SelfIntersection])];
    let forms = vec![Form::Shell, Form::Sheets, Form::Bore, Form::Cavity];
    let form = prop::sample::select(forms);
    let near = || -100.0..100.0;
    let graded = ([near(), near(), near()], 1.0..100.0, 1.0..5.0, -0.001..0.2).prop_map(
        |(at, far, thickness, rise): (Vec3, f64, f64, f64)| {
            let other =
                WallAt { at: [at[0] + far, at[1], at[2]], thickness: thickness + rise * far };
            Wall::Graded([WallAt { at, thickness }, other])
        },
    );
    let wall = prop_oneof![positive().prop_map(Wall::Even), graded];
    let outliers = prop_oneof![Just(Outliers::Keep), Just(Outliers::Mend)];
    let turns = vec![
        [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        [[0.6, -0.8, 0.0], [0.8, 0.6, 0.0], [0.0, 0.0, 1.0]],
    ];
    let moved = (prop::sample::select(turns), point());
    let moved = prop::option::of(moved.prop_map(|(turn, shift)| Motion { turn, shift }));
    (form, name(), name(), wall, prop::option::of(positive()), inherit, outliers, moved).prop_map(
        |(form, first, second, wall, hole_max, inherit, outliers, moved)| Scan {
            align: None,
            moved,
            files: if form == Form::Sheets { vec![first, second] } else { vec![first] },
            form,
            wall: form.makes_wall().then_some(wall),
            hole_max,
            inherit,
            outliers,
        },
    )
}

fn limits() -> impl Strategy<Value = Limits> {
    let maybe = || prop::option::of(positive());
    let kink = prop::option::of(0.0..=180.0);
    (positive(), maybe(), prop::option::of(share()), kink, maybe(), positive()).prop_map(
        |(deviation, wall_min, bore_loss, kink_deg, ball_min, chord)| Limits {
            deviation,
            wall_min,
            bore_loss,
            kink_deg,
            ball_min,
            chord,
        },
    )
}

fn ball() -> impl Strategy<Value = Ball> {
    (point(), positive()).prop_map(|(at, radius)| Ball { at, radius })
}

fn keep() -> impl Strategy<Value = Keep> {
    let block = (point(), point()).prop_map(|(a, b)| Keep::Box {
        min: [0, 1, 2].map(|k| a[k].min(b[k])),
        max: [0, 1, 2].map(|k| a[k].max(b[k])),
    });
    let painted = ("[0-9a-f]{64}", prop::collection::vec(any::<u32>(), 0..5))
        .prop_map(|(scan_sha256, triangles)| Keep::Triangles { scan_sha256, triangles });
    prop_oneof![ball().prop_map(Keep::Ball), block, painted]
}

fn clear() -> impl Strategy<Value = Clear> {
    let block = (point(), point()).prop_map(|(a, b)| Clear::Box {
        min: [0, 1, 2].map(|k| a[k].min(b[k])),
        max: [0, 1, 2].map(|k| a[k].max(b[k])),
    });
    prop_oneof![ball().prop_map(Clear::Ball), block]
}

fn mend() -> impl Strategy<Value = Mend> {
    let kind = prop_oneof![
        Just(MendKind::Duplicate),
        Just(MendKind::Degenerate),
        Just(MendKind::Flipped),
        Just(MendKind::Hole),
        Just(MendKind::NonManifoldEdge),
        Just(MendKind::NonManifoldVertex),
        Just(MendKind::LoosePiece),
        Just(MendKind::SelfIntersection),
        Just(MendKind::Outlier),
    ];
    (kind, ball()).prop_map(|(kind, ball)| Mend { kind, ball })
}

fn joint() -> impl Strategy<Value = JointGuide> {
    let shape = prop_oneof![Just(JointShape::Tangent), Just(JointShape::Shortest)];
    let wall = prop::option::of((0.0..0.4, 0.5..1.0, positive(), positive()));
    (shape, wall).prop_map(|(shape, wall)| {
        let shares = wall.map(|(a, b, s, t)| [(a, s), (b, t)]);
        let shares = shares.into_iter().flatten();
        let wall = shares.map(|(at, thickness)| WallShare { at, thickness }).collect();
        JointGuide { shape, wall }
    })
}

fn output() -> impl Strategy<Value = Output> {
    let flow = (positive(), positive(), positive()).prop_map(
        |(rate_l_min, density_kg_m3, viscosity_pa_s)| Flow {
            rate_l_min,
            density_kg_m3,
            viscosity_pa_s,
        },
    );
    let files = prop::sample::subsequence(FileKind::ALL.to_vec(), 0..=FileKind::ALL.len());
    let optional =
        (prop::option::of(positive()), prop::option::of(direction()), prop::option::of(flow));
    (optional, files).prop_map(|((density_g_cm3, build_direction, flow), files)| Output {
        density_g_cm3,
        build_direction,
        flow,
        files,
    })
}

fn case() -> impl Strategy<Value = Case> {
    let unit = prop_oneof![
        Just(Unit::Millimetre),
        Just(Unit::Centimetre),
        Just(Unit::Metre),
        Just(Unit::Inch)
    ];
    let keeps = prop::collection::vec(keep(), 0..3);
    let clears = prop::collection::vec(clear(), 0..3);
    let mends = prop::collection::vec(mend(), 0..3);
    let name = prop::option::of("[a-z \\\\\"\u{e9}]{0,8}x");
    let joints = (prop::option::of(positive()), joint());
    // On the heap, or a test's stack is too small for it all.
    let (ends, output) = (ends().boxed(), output().boxed());
    ((name, unit), scan().boxed(), ends, joints, limits(), keeps, (clears, output), mends).prop_map(
        |((name, unit), scan, mut ends, (edge, joint), limits, keeps, (clears, output), mends)| {
            let mut solids = Vec::new();
            for (k, end) in ends.iter_mut().enumerate() {
                if let Some(Fitting::Mesh(mesh)) = &mut end.fitting {
                    mesh.solid = solids.len();
                    let (points, triangles) = (Vec::new(), Vec::new());
                    let file = format!("part \"{k}\".stl");
                    // A STEP file's unit is known once it has been read.
                    let (kind, unit) = match k % 3 {
                        0 => (SolidKind::Mesh, Some(unit)),
                        1 => (SolidKind::Step, Some(unit)),
                        _ => (SolidKind::Step, None),
                    };
                    solids.push(Solid { file, kind, unit, points, triangles, exact: None });
                }
                if let Some(Fitting::Cone(cone)) = &mut end.fitting {
                    sized(cone, unit);
                }
            }
            Case {
                name,
                unit,
                scan,
                ends,
                edge,
                joint,
                solids,
                limits,
                keeps,
                clears,
                output,
                mends,
            }
        },
    )
}

/// All the characters that a case file is made of, in likely chunks.
fn near_case() -> impl Strategy<Value = String> {
    let chunk = prop_oneof![
        Just("[scan]\n"),
        Just("[[end]]\n"),
        Just("[limits]\n"),
        Just("[[keep]]\n"),
        Just("[[mend]]\n"),
        Just("unit = \"mm\"\n"),
        Just("cut = { through = [0, 0], facing = [0, 0, 0] }\n"),
        Just("place = "),
        Just("rim = [1, 2, nan]\n"),
        Just("fitting = { kind = \"tube\", bore = inf }\n"),
        Just("seam = { bore = [[1, 2], 3] }\n"),
        Just("triangles = { numbers = [-1] }\n"),
        Just("deviation = 0x1_0\n"),
        Just("file = \"ü\u{7f}\"\n"),
        Just("{"),
        Just("]"),
        Just("= 1979-05-27\n"),
        Just("'''"),
        Just("\u{feff}"),
    ];
    prop::collection::vec(chunk, 0..12).prop_map(|chunks| chunks.concat())
}

proptest! {
    #[test]
    fn a_written_case_reads_back_equal(case in case()) {
        let text = write_case(&case);
        let read = read_case(&text, "case.toml");
        prop_assert!(read.is_ok(), "{read:?}\n{text}");
        let read = read.unwrap();
        prop_assert_eq!(&read, &case, "{}", text);
        // Equal compares -0.0 and 0.0 alike; the bytes do not.
        prop_assert_eq!(write_case(&read), text);
    }

    #[test]
    fn no_bytes_make_the_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let _ = read_case(&String::from_utf8_lossy(&bytes), "case.toml");
    }

    #[test]
    fn no_text_near_a_case_makes_the_reader_panic(text in near_case()) {
        if let Err(mistakes) = read_case(&text, "case.toml") {
            prop_assert!(!mistakes.is_empty());
            for mistake in mistakes {
                prop_assert!(text.get(mistake.span.clone()).is_some(), "{mistake:?}");
            }
        }
    }
}
