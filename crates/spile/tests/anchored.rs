//! A case that names its places by the centreline gives the like result on another
//! scan of the same part, and a settled case that has other places is found out.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::collections::BTreeMap;
use std::path::Path;

use spile_case::{Case, Place, Site, read_case};
use spile_joint::{Made, Unwatched, make};
use spile_mesh::{DVec3, Mesh, round_to_f32};
use spile_proof::{Proof, Verdict, judge_as_asked};

const CASE: &str = r#"unit = "mm"
[scan]
file = "trachea.stl"
form = "shell"
[[end]]
name = "upper"
cut = { from = [-1.0, 637.0, 38.0], along = 9.0 }
reach = 12.0
fitting = { kind = "tube", bore = 16.0, outside = 20.0, length = 25.0 }
place = { gap = 12.0, off = [1.5, 0.0, 0.0], tilt_deg = 6.0, toward = [0.0, 0.0, 1.0] }
[[end]]
name = "lower"
cut = { from = [-3.7, 562.6, 1.0], facing = [0.0, -0.93, -0.37], narrowest = [2.0, 18.0] }
[limits]
deviation = 0.1
wall_min = 1.2
bore_loss = 0.005
kink = 10.0
"#;

fn trachea() -> Mesh {
    let file = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../tests/scans/anatomy/vhm-trachea-jagged-derived.stl");
    spile_formats::read(&file).unwrap().mesh
}

/// A small repeatable number from -1 to 1.
fn noise(seed: u64) -> f64 {
    let mut x = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15);
    x = (x ^ (x >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    (x >> 40) as f64 / (1_u64 << 23) as f64 - 1.0
}

/// How far the second scan's noise goes, and how far it lies from the first.
const NOISE: f64 = 0.02;
const MOVED: DVec3 = DVec3::new(0.06, -0.04, 0.05);

/// The scan as if taken again: every edge longer than the mean is divided, points
/// are noisy, a stretch in the middle is 1 % wider, and all of it is moved by less
/// than the deviation allowed.
fn again(scan: &Mesh) -> Mesh {
    let mut points = scan.points().to_vec();
    let length = |a: u32, b: u32| scan.points()[a as usize].distance(scan.points()[b as usize]);
    let sides = || scan.triangles().iter().flat_map(|t| (0..3).map(|k| (t[k], t[(k + 1) % 3])));
    let mean = sides().map(|(a, b)| length(a, b)).sum::<f64>() / sides().count() as f64;
    let mut middle: BTreeMap<(u32, u32), u32> = BTreeMap::new();
    for (a, b) in sides().filter(|&(a, b)| length(a, b) > mean) {
        middle.entry((a.min(b), a.max(b))).or_insert_with(|| {
            points.push(scan.points()[a as usize].midpoint(scan.points()[b as usize]));
            points.len() as u32 - 1
        });
    }
    let mut triangles = Vec::new();
    for &t in scan.triangles() {
        let half = |k: usize| {
            let (a, b) = (t[k], t[(k + 1) % 3]);
            middle.get(&(a.min(b), a.max(b))).copied()
        };
        let round: Vec<u32> = (0..3).flat_map(|k| std::iter::once(t[k]).chain(half(k))).collect();
        match round[..] {
            [a, b, c] => triangles.push([a, b, c]),
            // Turned so that no fan runs along a divided side.
            [_, _, _, _] => {
                let k = (0..3).find(|&k| half(k).is_some()).unwrap();
                let m = half(k).unwrap();
                triangles.extend([[t[k], m, t[(k + 2) % 3]], [m, t[(k + 1) % 3], t[(k + 2) % 3]]]);
            }
            [_, _, _, _, _] => {
                let k = (0..3).find(|&k| half(k).is_none()).unwrap();
                let (a, b, c) = (t[k], t[(k + 1) % 3], t[(k + 2) % 3]);
                let (m, n) = (half((k + 1) % 3).unwrap(), half((k + 2) % 3).unwrap());
                triangles.extend([[a, b, m], [a, m, n], [n, m, c]]);
            }
            _ => {
                let [m, n, o] = [0, 1, 2].map(|k| half(k).unwrap());
                triangles.extend([[t[0], m, o], [m, t[1], n], [o, n, t[2]], [m, n, o]]);
            }
        }
    }
    let centre = scan.bounds().min.midpoint(scan.bounds().max);
    let size = 0.2 * scan.bounds().diagonal();
    let points = points.iter().enumerate().map(|(k, &p)| {
        let shake = [0, 1, 2].map(|axis| NOISE * noise(3 * k as u64 + axis));
        let wider = 0.01 * (-(p.distance(centre) / size).powi(2)).exp();
        round_to_f32(p + wider * (p - centre).with_y(0.0) + DVec3::from(shake) + MOVED)
    });
    Mesh::new(points.collect(), triangles).unwrap()
}

fn run(scan: &Mesh, case: &Case) -> (Made, Proof) {
    let made = make(case, std::slice::from_ref(scan), &Unwatched).unwrap();
    let part = made.part.as_ref().unwrap();
    let proof = judge_as_asked(std::slice::from_ref(scan), part, &made.settled, case).unwrap();
    (made, proof)
}

fn cut(case: &Case, end: usize) -> (DVec3, DVec3) {
    let Site::Cut(cut) = case.ends[end].site else { panic!("settled") };
    (DVec3::from(cut.through), DVec3::from(cut.facing))
}

#[test]
fn one_case_gives_the_like_result_on_two_scans_of_one_part() {
    let case = read_case(CASE, "case.toml").unwrap();
    let first = trachea();
    let second = again(&first);
    assert!(second.triangles().len() > 3 * first.triangles().len() / 2);
    let (made, proof) = run(&first, &case);
    let (made_again, proof_again) = run(&second, &case);
    assert_eq!(proof.verdict, Verdict::Held, "{:?}", proof.limits);
    assert_eq!(proof_again.verdict, Verdict::Held, "{:?}", proof_again.limits);
    for end in 0..2 {
        let ((p, n), (q, m)) = (cut(&made.settled, end), cut(&made_again.settled, end));
        // Half a millimetre on a bore of 16: the narrowest place of a nearly even
        // bore is less sharply told than a length.
        let most = if end == 0 { 0.25 } else { 0.5 };
        assert!((p + MOVED).distance(q) < most, "end {end}: {p} {q}");
        assert!(n.angle_between(m).to_degrees() < 1.0, "end {end}: {n} {m}");
    }
    let at = |case: &Case| match case.ends[0].place {
        Some(Place::At { at, along }) => (DVec3::from(at), DVec3::from(along)),
        _ => panic!("settled"),
    };
    let ((p, n), (q, m)) = (at(&made.settled), at(&made_again.settled));
    assert!((p + MOVED).distance(q) < 0.6 && n.angle_between(m).to_degrees() < 2.0, "{p} {q}");
    let verdicts = |proof: &Proof| -> Vec<_> {
        proof.limits.iter().map(|l| (l.name.clone(), l.end.clone(), l.verdict)).collect()
    };
    assert_eq!(verdicts(&proof), verdicts(&proof_again));
    // The stations in the settled case are told, and the proof measures them its
    // own way: moved by a millimetre, or turned, the claim is found out.
    assert!(made.notes[0].to_string().contains("cut 9.000 along the centreline"));
    let row = |settled: &Case| {
        let part = made.part.as_ref().unwrap();
        let proof = judge_as_asked(std::slice::from_ref(&first), part, settled, &case).unwrap();
        (proof.limits[0].name.clone(), proof.limits[0].verdict, proof.limits[0].how.clone())
    };
    for end in 0..2 {
        for (along, turn, aside) in [(20.0, 0.0, 0.0), (0.0, 0.15, 0.0), (0.0, 0.0, 2.0)] {
            let mut settled = made.settled.clone();
            let Site::Cut(lie) = &mut settled.ends[end].site else { panic!("settled") };
            let (through, facing) = (DVec3::from(lie.through), DVec3::from(lie.facing));
            let side = facing.any_orthonormal_vector();
            lie.through = (through - along * facing + aside * side).to_array();
            lie.facing = (facing + turn * side).normalize().to_array();
            let (name, verdict, how) = row(&settled);
            assert_eq!((name.as_str(), verdict), ("case", Verdict::Broken), "{how}");
            assert!(how.contains("is not at the station asked for"), "{how}");
        }
    }
    // A fitting turned back to the bore's direction, or set back in line.
    let Some(Place::At { at, .. }) = made.settled.ends[0].place else { panic!("settled") };
    let mut settled = made.settled.clone();
    let (_, facing) = cut(&settled, 0);
    settled.ends[0].place = Some(Place::At { at, along: facing.to_array() });
    assert_eq!(row(&settled).1, Verdict::Broken);
}
