//! The form `cavity`: a closed hollow, cut open where the case says, gets a wall of
//! even or graded thickness; its bore side stays bit for bit beyond reach.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::collections::HashSet;
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use spile_case::{Case, read_case};
use spile_joint::{MakeError, Unwatched, Watch, make};
use spile_mesh::{Bvh, DVec3, Mesh, Topology, boundary_loops, round_to_f32};
use spile_proof::{Verdict, judge};

/// A closed oval hollow along z from -30 to 30, bent a little, 14 wide at most;
/// invented.
fn hollow() -> Mesh {
    let (rows, round) = (61_u32, 48_u32);
    let at = |i: u32, j: u32| {
        let t = f64::from(i) / f64::from(rows - 1);
        let z = -30.0 * (std::f64::consts::PI * t).cos();
        let radius = 7.0 * (1.0 - (z / 30.0).powi(4)).max(0.0).sqrt();
        let (s, c) = (std::f64::consts::TAU * f64::from(j) / f64::from(round)).sin_cos();
        let bend = 0.002 * z * z;
        round_to_f32(DVec3::new(radius * c + bend, 0.85 * radius * s, z))
    };
    let mut points = vec![at(0, 0)];
    points.extend((1..rows - 1).flat_map(|i| (0..round).map(move |j| at(i, j))));
    points.push(at(rows - 1, 0));
    let last = points.len() as u32 - 1;
    let number = |i: u32, j: u32| 1 + (i - 1) * round + j % round;
    let mut triangles = Vec::new();
    for j in 0..round {
        triangles.push([0, number(1, j + 1), number(1, j)]);
        triangles.push([last, number(rows - 2, j), number(rows - 2, j + 1)]);
        for i in 1..rows - 2 {
            let [a, b] = [number(i, j), number(i, j + 1)];
            triangles.extend([[a, b, b + round], [a, b + round, a + round]]);
        }
    }
    Mesh::new(points, triangles).unwrap()
}

fn case(form: &str, wall: &str) -> Case {
    let text = format!(
        r#"unit = "mm"
[scan]
file = "hollow.stl"
form = "{form}"
wall = {wall}
[[end]]
name = "upper"
cut = {{ through = [0.5, 0, 16], facing = [0.06, 0, 1] }}
reach = 8
fitting = {{ kind = "tube", bore = 12, outside = 16, length = 12 }}
place = {{ gap = 10 }}
[[end]]
name = "lower"
cut = {{ through = [0.5, 0, -18], facing = [0, 0, -1] }}
[limits]
deviation = 0.1
wall_min = 1.4
bore_loss = 0.01
kink = 10
"#
    );
    read_case(&text, "case.toml").unwrap()
}

fn key(mesh: &Mesh, t: usize) -> [[u64; 3]; 3] {
    let mut key = mesh.corners(t).map(|p| (p + DVec3::ZERO).to_array().map(f64::to_bits));
    key.sort_unstable();
    key
}

#[test]
fn a_closed_hollow_gets_a_wall_as_thick_as_asked_along_its_way() {
    let scan = hollow();
    assert!(Topology::of(&scan).is_closed());
    let scans = std::slice::from_ref(&scan);
    let graded = "[{ at = [0, 0, -18], thickness = 3.0 }, { at = [0, 0, 10], thickness = 1.6 }]";
    for (wall, at_low, at_high) in [("2.0", 2.0, 2.0), (graded, 3.0, 1.6)] {
        let case = case("cavity", wall);
        let made = make(&case, scans, &Unwatched).unwrap();
        let part = made.part.unwrap();
        let proof = judge(scans, &part, &made.settled).unwrap();
        let bad = proof.limits.iter().filter(|l| l.verdict != Verdict::Held);
        let bad: Vec<_> = bad.filter(|l| l.verdict != Verdict::NotAsked).collect();
        assert!(bad.is_empty(), "{wall}: {bad:#?}");
        // The bore side beyond reach, bit for bit; what is neither that nor near the
        // joint is the made outside.
        let of_scan: HashSet<_> = (0..scan.triangles().len()).map(|t| key(&scan, t)).collect();
        let is_kept = |t: &usize| of_scan.contains(&key(&part, *t));
        let kept: Vec<usize> = (0..part.triangles().len()).filter(is_kept).collect();
        let beyond = (0..scan.triangles().len())
            .filter(|&t| scan.corners(t).iter().all(|p| (-17.9..6.0).contains(&p.z)));
        let kept_keys: HashSet<_> = kept.iter().map(|&t| key(&part, t)).collect();
        assert!(beyond.clone().all(|t| kept_keys.contains(&key(&scan, t))));
        let others: Vec<u32> = (0..part.triangles().len())
            .filter(|t| !kept_keys.contains(&key(&part, *t)))
            .filter(|&t| part.corners(t).iter().all(|p| (-17.0..5.0).contains(&p.z)))
            .map(|t| t as u32)
            .collect();
        let outside = Bvh::build_of(&part, &others);
        let mut seen = 0;
        for t in beyond {
            let p = scan.corners(t).iter().sum::<DVec3>() / 3.0;
            if !(-14.0..2.0).contains(&p.z) {
                continue;
            }
            seen += 1;
            let share = ((p.z + 18.0) / 28.0).clamp(0.0, 1.0);
            let asked = at_low + (at_high - at_low) * share;
            let thick = outside.closest(p).unwrap().distance;
            // A slope of 0.05 and a bore that narrows shift the nearest place a little.
            assert!((thick - asked).abs() < 0.05 * asked, "{p}: {thick}, asked {asked}");
        }
        assert!(seen > 500);
    }
}

#[test]
fn an_open_scan_is_no_cavity_and_says_where() {
    let (points, mut triangles) = hollow().into_parts();
    triangles.retain(|t| t.iter().all(|&v| points[v as usize].z < 25.0));
    let open = Mesh::new(points, triangles).unwrap();
    let made = make(&case("cavity", "2.0"), std::slice::from_ref(&open), &Unwatched);
    let Err(MakeError::Scan { what, hints }) = made else { panic!("{made:?}") };
    assert!(what.contains("closed surface") && what.contains("the scan is open at"), "{what}");
    assert!(hints[0].contains("form `bore`"), "{hints:?}");
    assert!(make(&case("bore", "2.0"), std::slice::from_ref(&open), &Unwatched).is_ok());
}

/// Stops when it has been asked so often within a step.
struct StopsAt {
    step: &'static str,
    most: usize,
    /// Asks so far, within the step and since another began.
    asks: AtomicUsize,
    is_there: AtomicBool,
}

impl Watch for StopsAt {
    fn step(&self, step: &'static str, _: Option<&str>) {
        self.is_there.store(step == self.step, Ordering::Relaxed);
    }

    fn cancelled(&self) -> bool {
        self.is_there.load(Ordering::Relaxed)
            && self.asks.fetch_add(1, Ordering::Relaxed) + 1 == self.most
    }
}

#[test]
fn making_the_wall_can_be_stopped_anywhere() {
    let hollow = hollow();
    let stopped = |most| {
        let asks = AtomicUsize::new(0);
        let watch = StopsAt { step: "wall", most, asks, is_there: AtomicBool::new(false) };
        let made = make(&case("cavity", "2.0"), std::slice::from_ref(&hollow), &watch);
        (made.map(drop), watch.asks.into_inner())
    };
    let (made, asks) = stopped(usize::MAX);
    assert_eq!(made, Ok(()));
    // At each place that is measured: tens of thousands.
    assert!(asks > 10_000, "{asks}");
    for most in [1, 2, 3, asks / 8, asks / 4, asks / 2, asks * 3 / 4] {
        assert_eq!(stopped(most).0, Err(MakeError::Cancelled), "at ask {most} of {asks}");
    }
}

#[test]
fn a_real_airway_closed_by_a_lid_is_a_cavity() {
    // Origin and licence of the scan in `tests/scans/README.md`; the lid is ours.
    let tests = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests");
    let open = spile_formats::read(&tests.join("scans/anatomy/airway-ct-lumen-derived.stl"));
    let (mut points, mut triangles) = open.unwrap().mesh.into_parts();
    let mesh = Mesh::new(points.clone(), triangles.clone()).unwrap();
    for rim in boundary_loops(&mesh, &Topology::of(&mesh)) {
        let middle = rim.iter().map(|&v| points[v as usize]).sum::<DVec3>() / rim.len() as f64;
        let lid = points.len() as u32;
        points.push(round_to_f32(middle));
        triangles.extend((0..rim.len()).map(|k| [rim[(k + 1) % rim.len()], rim[k], lid]));
    }
    let closed = Mesh::new(points, triangles).unwrap();
    assert!(Topology::of(&closed).is_closed());
    let text = std::fs::read_to_string(tests.join("real/airway-cut.toml")).unwrap();
    let text = text.replace("form = \"bore\"", "form = \"cavity\"");
    let case = read_case(&text, "case.toml").unwrap();
    let scans = std::slice::from_ref(&closed);
    let made = make(&case, scans, &Unwatched).unwrap();
    let proof = judge(scans, &made.part.unwrap(), &made.settled).unwrap();
    assert_eq!(proof.verdict, Verdict::Held, "{:#?}", proof.limits);
}
